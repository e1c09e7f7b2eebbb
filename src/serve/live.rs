//! What followers of one bench hear: its latest events, numbered.
//!
//! Promises: the events kept are bounded in number, whoever listens or does not; a follower asks
//! for what comes after a number, so it needs no queue, and one that was cut off goes on where it
//! was. While nobody has listened for as many events as are kept, none are kept. Leaves to others:
//! what the events say.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use tokio::sync::watch;

use super::secret;

/// Events kept for a follower that fell behind or was cut off: the last 25 seconds of a balance
/// that sends ten lines a second.
const KEPT: usize = 256;

/// One event for followers: its name, and its JSON on one line.
#[derive(Debug, Clone)]
pub struct Message {
    /// `state`, `reading` or `bell`.
    pub event: &'static str,
    /// The data, a JSON object on one line.
    pub data: Arc<str>,
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
    recent: Mutex<Recent>,
    /// The number of the latest event.
    last: watch::Sender<u64>,
    /// What moments are counted from, and when the balance was last read.
    origin: Instant,
    read: Mutex<Option<Instant>>,
}

#[derive(Debug)]
struct Recent {
    last: u64,
    kept: VecDeque<Message>,
    /// Events that came since somebody listened.
    unheard: usize,
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
    /// Nothing was told yet.
    pub fn new() -> Self {
        Self {
            shared: Arc::new(Shared {
                run: secret::random::<8>(),
                recent: Mutex::new(Recent {
                    last: 0,
                    kept: VecDeque::new(),
                    unheard: KEPT,
                }),
                last: watch::Sender::new(0),
                origin: Instant::now(),
                read: Mutex::new(None),
            }),
        }
    }

    /// Milliseconds since the service started.
    pub fn moment(&self) -> u64 {
        u64::try_from(self.shared.origin.elapsed().as_millis()).unwrap_or(u64::MAX)
    }

    /// The balance was read just now.
    pub fn was_read(&self) {
        *self
            .shared
            .read
            .lock()
            .unwrap_or_else(PoisonError::into_inner) = Some(Instant::now());
    }

    /// Milliseconds since it was read; none before it ever was.
    pub fn age(&self) -> Option<u64> {
        let read = *self
            .shared
            .read
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        read.map(|read| u64::try_from(read.elapsed().as_millis()).unwrap_or(u64::MAX))
    }

    /// Whether somebody follows, or did until a short while ago and may come back.
    pub fn is_followed(&self) -> bool {
        self.shared.last.receiver_count() > 0 || self.recent().unheard < KEPT
    }

    /// Tells an event to all who follow.
    pub fn tell(&self, event: &'static str, data: String) {
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
            event,
            data: data.into(),
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

    /// What comes after an event. `missed`: up to here it is being made up for what was missed
    /// while cut off, and a reading that a later one or a later state replaces is left out, so that
    /// an old one is never shown as current.
    pub(super) fn after(&self, number: u64, missed: u64) -> After {
        let recent = self.recent();
        let first = recent.last + 1 - recent.kept.len() as u64;
        if number + 1 < first || number > recent.last {
            return After::Lost;
        }
        let skip = usize::try_from(number + 1 - first).unwrap_or(usize::MAX);
        let mut rest = (number + 1..).zip(recent.kept.iter().skip(skip)).peekable();
        while let Some((number, message)) = rest.next() {
            let mut later = rest.clone().map(|(_, message)| message.event);
            let replaced = message.event == "reading" && later.any(|event| event != "bell");
            if number > missed || !replaced {
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

impl Default for Live {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use super::*;

    fn tell(live: &Live, events: &[&'static str]) {
        for event in events {
            live.tell(event, format!("{{\"n\":{}}}", live.last() + 1));
        }
    }

    /// The numbers heard after one, until nothing more comes; none when it is lost.
    fn heard(live: &Live, mut number: u64, missed: u64) -> Option<Vec<u64>> {
        let mut numbers = Vec::new();
        loop {
            match live.after(number, missed) {
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

    #[test]
    fn every_event_is_heard_once_and_in_order() {
        let live = Live::new();
        let _follows = live.follow();
        tell(&live, &["state", "reading", "reading", "bell", "reading"]);
        assert_eq!(heard(&live, 0, 0).unwrap(), [1, 2, 3, 4, 5]);
        assert_eq!(heard(&live, 4, 0).unwrap(), [5]);
        assert_eq!(heard(&live, 5, 0).unwrap(), [] as [u64; 0]);
        assert_eq!(heard(&live, 6, 0), None, "it never was");
    }

    #[test]
    fn of_what_was_missed_a_reading_that_was_replaced_is_left_out_and_a_bell_never() {
        let live = Live::new();
        let _follows = live.follow();
        tell(&live, &["reading", "bell", "reading", "state", "bell"]);
        tell(&live, &["reading", "reading", "bell"]);
        assert_eq!(heard(&live, 0, 8).unwrap(), [2, 4, 5, 7, 8]);
        assert_eq!(heard(&live, 5, 8).unwrap(), [7, 8]);
    }

    #[test]
    fn so_many_are_kept_and_what_is_gone_is_lost() {
        let live = Live::new();
        let _follows = live.follow();
        tell(&live, &["bell"; KEPT + 10]);
        assert_eq!(heard(&live, 9, 0), None);
        assert_eq!(heard(&live, 10, 0).unwrap().len(), KEPT);
    }

    #[test]
    fn nobody_listens_for_long_and_nothing_is_kept_and_the_gap_is_seen() {
        let live = Live::new();
        assert!(!live.is_followed());
        let follows = live.follow();
        tell(&live, &["bell"; 3]);
        drop(follows);
        assert!(live.is_followed(), "it may come back");
        tell(&live, &["bell"; KEPT - 1]);
        assert!(live.is_followed());
        assert!(heard(&live, 3, 0).is_some());
        tell(&live, &["bell"]);
        assert!(!live.is_followed());
        let last = live.last();
        let _follows = live.follow();
        assert!(live.is_followed());
        assert_eq!(heard(&live, last - 1, 0), None);
    }

    #[test]
    fn an_id_is_of_its_run_alone() {
        let (one, other) = (Live::new(), Live::new());
        assert_eq!(one.number(&one.id(7)), Some(7));
        assert_eq!(one.number(&other.id(7)), None);
        for odd in ["", ".", "7", "x.7", ".7"] {
            assert_eq!(one.number(odd), None, "{odd}");
        }
        assert_eq!(one.number(&format!("{}.x", one.id(1))), None);
    }
}
