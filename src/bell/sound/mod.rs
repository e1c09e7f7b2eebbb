//! Sound from the service itself, for a bench without a page in view.
//!
//! Promises: asking for a sound takes no time, cannot fail and waits for nothing; what is heard is
//! the newest state, however slow the sound server is; nothing is open and nothing wakes up while
//! nothing is to be heard. Leaves to others: what a state sounds like ([`tune`]).

mod player;
pub mod tune;
mod wav;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

pub use tune::Tune;

use super::asked::{Asked, Asker};
use crate::settings::SoundSettings;
use crate::trouble::Trouble;

/// For so long an `over` or a hold is not drowned by what another bench sounds like.
const URGENT: Duration = Duration::from_secs(4);

/// Asks for sounds. Cheap to clone; the thread behind it ends with the last one.
#[derive(Debug, Clone)]
pub(super) struct Sound(Asker<Wanted>);

/// What the threads of the sound share.
type Shared = Asked<Wanted>;

#[derive(Debug, Default)]
pub(super) struct Wanted {
    benches: BTreeMap<String, OfBench>,
    turns: u64,
}

#[derive(Debug, Clone, Copy)]
struct OfBench {
    tune: Tune,
    /// When the kind of it was asked for, by count and by clock, and when anything of it changed.
    turn: u64,
    since: Instant,
    changed: u64,
}

/// What is to be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Heard {
    tune: Tune,
    /// Which time of asking it is.
    turn: u64,
    /// The count of all askings so far.
    seen: u64,
}

impl Sound {
    /// Starts the thread; it opens nothing before there is something to be heard.
    pub(super) fn start(settings: &SoundSettings) -> Option<Self> {
        let settings = settings.clone();
        let run = move |shared: Arc<Shared>| match &settings.file {
            Some(file) => wav::run(&shared, settings.volume, file),
            None => player::run(&shared, settings.volume),
        };
        match Asker::start("sound", run) {
            Ok(asker) => Some(Self(asker)),
            Err(error) => {
                complain(&format!("no thread could be started ({error})"));
                None
            }
        }
    }

    /// What a bench is to sound like from now on.
    pub(super) fn ask(&self, bench: &str, tune: Tune) {
        self.0.ask(|wanted| wanted.put(bench, tune, Instant::now()));
    }
}

impl Shared {
    /// What is to be heard now, also at the end.
    fn heard(&self) -> Heard {
        self.look(|wanted| wanted.pick(Instant::now()))
    }

    /// What is to be heard now; none at the end.
    fn now(&self) -> Option<Heard> {
        (!self.is_over()).then(|| self.heard())
    }

    /// Waits until something else than was seen may be wanted; says whether it goes on.
    fn wait(&self, seen: u64) -> bool {
        self.wait_while(|wanted| wanted.turns == seen)
    }
}

impl Wanted {
    /// Says whether anything changed.
    fn put(&mut self, bench: &str, tune: Tune, now: Instant) -> bool {
        let next = self.turns + 1;
        if let Some(asked) = self.benches.get_mut(bench) {
            if asked.tune == tune {
                return false;
            }
            if !asked.tune.is_like(tune) {
                (asked.turn, asked.since) = (next, now);
            }
            (asked.tune, asked.changed) = (tune, next);
        } else {
            let asked = OfBench {
                tune,
                turn: next,
                since: now,
                changed: next,
            };
            self.benches.insert(bench.to_owned(), asked);
        }
        self.turns = next;
        true
    }

    /// Of several benches the one that changed last is heard, after what is urgent and young.
    fn pick(&self, now: Instant) -> Heard {
        let sounding = self.benches.values().filter(|it| it.tune != Tune::Silent);
        let heard = sounding.max_by_key(|it| {
            let cries = it.tune.is_urgent() && now.duration_since(it.since) < URGENT;
            (cries, it.changed)
        });
        Heard {
            tune: heard.map_or(Tune::Silent, |it| it.tune),
            turn: heard.map_or(0, |it| it.turn),
            seen: self.turns,
        }
    }
}

fn complain(why: &str) {
    let trouble = trouble(why);
    tracing::warn!(
        code = trouble.code,
        means = trouble.means,
        mend = trouble.mend,
        "{}",
        trouble.happened
    );
}

fn trouble(why: &str) -> Trouble {
    Trouble::new(
        "sound-silent",
        format!("The sound cannot be heard: {why}."),
        "Weighing and recording go on in silence.",
        "Keep the page or the notices in view, and see that the desktop itself can be heard.",
    )
    .passing()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_bench_is_heard_unless_another_cries_out() {
        let (start, mut wanted) = (Instant::now(), Wanted::default());
        assert_eq!(wanted.pick(start).tune, Tune::Silent);
        assert!(wanted.put("left", Tune::Ticks(600), start));
        assert!(!wanted.put("left", Tune::Ticks(600), start), "no news");
        wanted.put("right", Tune::Within, start);
        assert_eq!(wanted.pick(start).tune, Tune::Within);
        wanted.put("left", Tune::Over, start);
        wanted.put("right", Tune::Ticks(700), start);
        assert_eq!(wanted.pick(start).tune, Tune::Over);
        assert_eq!(wanted.pick(start + URGENT).tune, Tune::Ticks(700));
        wanted.put("right", Tune::Silent, start);
        assert_eq!(wanted.pick(start + URGENT).tune, Tune::Over);
    }

    #[test]
    fn a_quicker_tick_is_the_same_turn() {
        let (start, mut wanted) = (Instant::now(), Wanted::default());
        wanted.put("left", Tune::Ticks(600), start);
        let before = wanted.pick(start);
        wanted.put("left", Tune::Ticks(601), start);
        let after = wanted.pick(start);
        assert_eq!((after.tune, after.turn), (Tune::Ticks(601), before.turn));
    }
}
