//! What followers of one bench hear: its latest events, numbered.
//!
//! Promises: the events kept are bounded in number, whoever listens or does not; a follower asks
//! for what comes after a number, so it needs no queue; what a later event replaces is left out for
//! one that is late, and a bell never. While nobody has listened for as many events as are kept, none
//! are kept. Leaves to others: what the events say.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::watch;

use super::clock::Clock;
use super::door::Rung;
use super::secret;
use super::view::BeatView;
use crate::mass::Moment;

/// Events kept for a follower that fell behind or was cut off: the last 25 seconds of a balance
/// that sends ten lines a second.
const KEPT: usize = 256;
/// Older than this, what a later event replaces is left out: a follower that keeps up hears all, and
/// one that does not hears what is so.
const LATE: Duration = Duration::from_millis(200);

/// What an event is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The whole state.
    State,
    /// What a reading changes.
    Reading,
    /// A bell.
    Bell,
}

impl Kind {
    /// As the stream names it.
    pub fn word(self) -> &'static str {
        match self {
            Self::State => "state",
            Self::Reading => "reading",
            Self::Bell => "bell",
        }
    }

    /// Whether nothing is missed of this one by who hears the other, later one.
    fn is_replaced_by(self, later: Self) -> bool {
        match self {
            Self::Bell => false,
            Self::Reading => later != Self::Bell,
            Self::State => later == Self::State,
        }
    }
}

/// One event for followers: what it is, and its JSON on one line.
#[derive(Debug, Clone)]
pub(super) struct Message {
    /// What it is.
    pub kind: Kind,
    /// The data, a JSON object on one line.
    pub data: Arc<str>,
    at: Moment,
}

/// The bench's end and every follower's end of its events.
#[derive(Debug, Clone)]
pub struct Live {
    shared: Arc<Shared>,
}

#[derive(Debug)]
struct Shared {
    /// Names this run of the service, so that a number of an earlier run is not taken for one of it.
    run: String,
    /// What moments are told from.
    clock: Clock,
    recent: Mutex<Recent>,
    /// The number of the latest event.
    last: watch::Sender<u64>,
}

#[derive(Debug)]
struct Recent {
    last: u64,
    kept: VecDeque<Message>,
    /// Events that came since somebody listened.
    unheard: usize,
    /// When the balance was last read.
    read: Option<Moment>,
    rung: Rung,
}

/// What comes after an event.
#[derive(Debug)]
pub(super) enum After {
    /// This one, with its number.
    Event(u64, Message),
    /// Nothing yet.
    Nothing,
    /// It is not kept any more.
    Lost,
}

impl Live {
    /// Nothing was told yet. Moments are told by this clock.
    pub fn new(clock: Clock) -> Self {
        Self {
            shared: Arc::new(Shared {
                run: secret::random::<8>(),
                clock,
                recent: Mutex::new(Recent {
                    last: 0,
                    kept: VecDeque::new(),
                    unheard: KEPT,
                    read: None,
                    rung: Rung::default(),
                }),
                last: watch::Sender::new(0),
            }),
        }
    }

    /// Whether somebody follows, or did until a short while ago and may come back.
    pub fn is_followed(&self) -> bool {
        self.shared.last.receiver_count() > 0 || self.recent().unheard < KEPT
    }

    /// The balance was read just now, whoever follows.
    pub fn was_read(&self) {
        self.recent().read = Some(self.shared.clock.now());
    }

    /// What the last bell was about.
    pub fn rings(&self, rung: Rung) {
        self.recent().rung = rung;
    }

    pub(super) fn rung(&self) -> Rung {
        self.recent().rung.clone()
    }

    /// How it stands with the time, now.
    pub(super) fn beat(&self) -> BeatView {
        let (read, now) = (self.recent().read, self.shared.clock.now());
        BeatView {
            t: millis(now.since_origin()),
            age: read.map(|read| millis(now.since(read))),
        }
    }

    /// Tells an event to all who follow.
    pub fn tell(&self, kind: Kind, data: String) {
        let heard = self.shared.last.receiver_count() > 0;
        let mut recent = self.recent();
        recent.unheard = if heard { 0 } else { recent.unheard + 1 };
        recent.last += 1;
        if recent.unheard >= KEPT {
            // What comes from now on is not told here at all: the number that is left out keeps
            // the gap from being taken for none.
            recent.kept = VecDeque::new();
            return;
        }
        if recent.kept.len() == KEPT {
            recent.kept.pop_front();
        }
        recent.kept.push_back(Message {
            kind,
            data: data.into(),
            at: self.shared.clock.now(),
        });
        self.shared.last.send_replace(recent.last);
    }

    /// The number of the latest event.
    pub fn last(&self) -> u64 {
        self.recent().last
    }

    /// The `id` of an event.
    pub(super) fn id(&self, number: u64) -> String {
        format!("{}.{number}", self.shared.run)
    }

    /// The number in an `id` of this run.
    pub(super) fn number(&self, id: &str) -> Option<u64> {
        let (run, number) = id.split_once('.')?;
        (run == self.shared.run).then(|| number.parse().ok())?
    }

    /// Counts as a follower as long as it is kept; is woken at each event.
    pub(super) fn follow(&self) -> watch::Receiver<u64> {
        self.recent().unheard = 0;
        self.shared.last.subscribe()
    }

    /// What comes after an event, without what is late and was replaced since.
    pub(super) fn after(&self, number: u64) -> After {
        let now = self.shared.clock.now();
        self.find(number, |message, later| {
            let is_late = now.since(message.at) > LATE;
            let mut replaced = later.map(|later| message.kind.is_replaced_by(later));
            !(is_late && replaced.any(|is_replaced| is_replaced))
        })
    }

    /// The bell that comes after an event, if there is one up to another event.
    pub(super) fn bell_after(&self, number: u64, until: u64) -> After {
        match self.find(number, |message, _| message.kind == Kind::Bell) {
            After::Event(number, _) if number > until => After::Nothing,
            found => found,
        }
    }

    /// The first event after a number that is wanted, seen with the kinds of those after it.
    fn find(
        &self,
        number: u64,
        is_wanted: impl Fn(&Message, &mut dyn Iterator<Item = Kind>) -> bool,
    ) -> After {
        let recent = self.recent();
        let first = recent.last + 1 - recent.kept.len() as u64;
        if number + 1 < first || number > recent.last {
            return After::Lost;
        }
        let skip = usize::try_from(number + 1 - first).unwrap_or(usize::MAX);
        let mut rest = (number + 1..).zip(recent.kept.iter().skip(skip));
        while let Some((number, message)) = rest.next() {
            let mut later = rest.clone().map(|(_, message)| message.kind);
            if is_wanted(message, &mut later) {
                return After::Event(number, message.clone());
            }
        }
        After::Nothing
    }

    fn recent(&self) -> MutexGuard<'_, Recent> {
        // Nothing in here can stop half-way, so what a panic left is whole.
        let recent = self.shared.recent.lock();
        recent.unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whole milliseconds.
fn millis(time: Duration) -> u64 {
    u64::try_from(time.as_millis()).unwrap_or(u64::MAX)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use super::Kind::{Bell, Reading, State};
    use super::*;

    fn live() -> Live {
        Live::new(Clock::start().sooner(Duration::from_secs(10)))
    }

    fn tell(live: &Live, events: &[Kind]) {
        for kind in events {
            live.tell(*kind, format!("{{\"n\":{}}}", live.last() + 1));
        }
    }

    /// Makes all that was told so far late.
    fn grow_late(live: &Live) {
        for message in &mut live.recent().kept {
            let before = message.at.since_origin().saturating_sub(2 * LATE);
            message.at = Moment::after_origin(before);
        }
    }

    /// The numbers heard one after another, until nothing more comes; none when it is lost.
    fn numbers(mut number: u64, next: impl Fn(u64) -> After) -> Option<Vec<u64>> {
        let mut numbers = Vec::new();
        loop {
            match next(number) {
                After::Event(next, message) => {
                    assert_eq!(*message.data, format!("{{\"n\":{next}}}"));
                    numbers.push(next);
                    number = next;
                }
                After::Nothing => return Some(numbers),
                After::Lost => return None,
            }
        }
    }

    fn heard(live: &Live, number: u64) -> Option<Vec<u64>> {
        numbers(number, |number| live.after(number))
    }

    #[test]
    fn who_keeps_up_hears_every_event_once_and_in_order() {
        let live = live();
        let _follows = live.follow();
        tell(&live, &[State, Reading, Reading, Bell, Reading]);
        assert_eq!(heard(&live, 0).unwrap(), [1, 2, 3, 4, 5]);
        assert_eq!(heard(&live, 4).unwrap(), [5]);
        assert_eq!(heard(&live, 5).unwrap(), [] as [u64; 0]);
        assert_eq!(heard(&live, 6), None, "it never was");
    }

    #[test]
    fn of_what_is_late_what_was_replaced_is_left_out_and_a_bell_never() {
        let live = live();
        let _follows = live.follow();
        tell(&live, &[Reading, Bell, Reading, State, Bell]);
        tell(&live, &[Reading, State, Reading, Bell]);
        grow_late(&live);
        assert_eq!(heard(&live, 0).unwrap(), [2, 5, 7, 8, 9]);
        tell(&live, &[Reading, Reading]);
        assert_eq!(heard(&live, 0).unwrap(), [2, 5, 7, 9, 10, 11]);
        // A state holds more than the reading after it.
        assert_eq!(heard(&live, 6).unwrap(), [7, 9, 10, 11]);
    }

    #[test]
    fn the_bells_that_were_missed_are_heard_by_themselves() {
        let live = live();
        let _follows = live.follow();
        tell(&live, &[Bell, Reading, Bell, State, Bell]);
        let bells = |number, until| numbers(number, |number| live.bell_after(number, until));
        assert_eq!(bells(0, 5).unwrap(), [1, 3, 5]);
        assert_eq!(bells(1, 4).unwrap(), [3]);
        assert_eq!(bells(5, 5).unwrap(), [] as [u64; 0]);
        assert_eq!(bells(9, 9), None);
    }

    #[test]
    fn so_many_are_kept_and_what_is_gone_is_lost() {
        let live = live();
        let _follows = live.follow();
        tell(&live, &[Bell; KEPT + 10]);
        assert_eq!(heard(&live, 9), None);
        assert_eq!(heard(&live, 10).unwrap().len(), KEPT);
    }

    #[test]
    fn nobody_listens_for_long_and_nothing_is_kept_and_the_gap_is_seen() {
        let live = live();
        assert!(!live.is_followed());
        let follows = live.follow();
        tell(&live, &[Bell; 3]);
        drop(follows);
        assert!(live.is_followed(), "it may come back");
        tell(&live, &[Bell; KEPT - 1]);
        assert!(live.is_followed());
        assert!(heard(&live, 3).is_some());
        tell(&live, &[Bell]);
        assert!(!live.is_followed());
        let last = live.last();
        let _follows = live.follow();
        assert!(live.is_followed());
        assert_eq!(heard(&live, last - 1), None);
    }

    #[test]
    fn an_id_is_of_its_run_alone() {
        let (one, other) = (live(), live());
        assert_eq!(one.number(&one.id(7)), Some(7));
        assert_eq!(one.number(&other.id(7)), None);
        for odd in ["", ".", "7", "x.7", ".7"] {
            assert_eq!(one.number(odd), None, "{odd}");
        }
        assert_eq!(one.number(&format!("{}.x", one.id(1))), None);
    }

    #[test]
    fn a_beat_says_how_old_the_last_reading_is() {
        let live = live();
        assert_eq!(live.beat().age, None);
        live.was_read();
        let beat = live.beat();
        assert!(beat.age.unwrap() <= beat.t + 1);
    }
}
