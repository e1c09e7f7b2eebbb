//! Sound from the service itself, for a bench without a page in view.
//!
//! Promises: asking for a sound takes no time, cannot fail and waits for nothing; what is heard is
//! the newest state, however slow the sound server is; nothing is open and nothing wakes up while
//! nothing is to be heard. Leaves to others: what a state sounds like ([`tune`]).

mod player;
pub mod tune;
mod wav;

use std::collections::BTreeMap;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

pub use tune::Tune;

use crate::settings::SoundSettings;
use crate::trouble::Trouble;

/// For so long an `over` or a hold is not drowned by what another bench sounds like.
const URGENT: Duration = Duration::from_secs(4);

/// Asks for sounds. Cheap to clone; the thread behind it ends with the last one.
#[derive(Debug, Clone)]
pub(super) struct Sound(Arc<Asker>);

#[derive(Debug)]
struct Asker(Arc<Shared>);

impl Drop for Asker {
    fn drop(&mut self) {
        self.0.lock().ended = true;
        self.0.news.notify_all();
    }
}

/// What the threads of the sound share.
#[derive(Debug, Default)]
struct Shared {
    wanted: Mutex<Wanted>,
    news: Condvar,
}

#[derive(Debug, Default)]
struct Wanted {
    benches: BTreeMap<String, Asked>,
    turns: u64,
    ended: bool,
}

#[derive(Debug, Clone, Copy)]
struct Asked {
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
        let shared = Arc::new(Shared::default());
        let (theirs, settings) = (Arc::clone(&shared), settings.clone());
        let run = move || match &settings.file {
            Some(file) => wav::run(&theirs, settings.volume, file),
            None => player::run(&theirs, settings.volume),
        };
        match std::thread::Builder::new().name("sound".into()).spawn(run) {
            Ok(_runs_by_itself) => Some(Self(Arc::new(Asker(shared)))),
            Err(error) => {
                complain(&format!("no thread could be started ({error})"));
                None
            }
        }
    }

    /// What a bench is to sound like from now on.
    pub(super) fn ask(&self, bench: &str, tune: Tune) {
        let shared = &self.0.0;
        let mut wanted = shared.lock();
        if wanted.put(bench, tune, Instant::now()) {
            drop(wanted);
            shared.news.notify_all();
        }
    }
}

impl Shared {
    /// What is behind the lock is whole at every moment.
    fn lock(&self) -> MutexGuard<'_, Wanted> {
        self.wanted.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is to be heard now; none at the end.
    fn now(&self) -> Option<Heard> {
        let wanted = self.lock();
        (!wanted.ended).then(|| wanted.pick(Instant::now()))
    }

    /// Waits until something else than was seen may be wanted; says whether it goes on.
    fn wait(&self, seen: u64) -> bool {
        let alike = |wanted: &mut Wanted| !wanted.ended && wanted.turns == seen;
        let wanted = self.news.wait_while(self.lock(), alike);
        !wanted.unwrap_or_else(PoisonError::into_inner).ended
    }

    /// Lets a while pass; says whether it goes on.
    fn pause(&self, pause: Duration) -> bool {
        let goes_on = |wanted: &mut Wanted| !wanted.ended;
        let waited = self.news.wait_timeout_while(self.lock(), pause, goes_on);
        !waited.unwrap_or_else(PoisonError::into_inner).0.ended
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
            let asked = Asked {
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
