//! The clock of a bench, and whether its loop ran in time.
//!
//! Promises: time goes on while the machine sleeps; a loop that stood still is noticed, be it that
//! the process was stopped, the machine slept or was busy. Leaves to others: what follows from it.

use std::time::Duration;

use crate::mass::Moment;
use crate::serve::Clock;

/// A loop with an open port runs at least so often. What lay there unread while it stood still for
/// less than this and [`LATE`] together is young enough to be shown as current.
const BEAT: Duration = Duration::from_millis(500);
/// A loop that is later than this stood still.
const LATE: Duration = Duration::from_millis(250);

/// The clock of one bench.
pub(super) struct Watchful {
    clock: Clock,
    /// When the loop last went to wait, and whether it was to be woken by the beat.
    waits_since: Option<Moment>,
}

impl Watchful {
    pub(super) fn by(clock: Clock) -> Self {
        Self {
            clock,
            waits_since: None,
        }
    }

    pub(super) fn now(&self) -> Moment {
        self.clock.now()
    }

    /// The loop goes to wait; gives for how long at most. `listens`: what it waits for may lie there
    /// unread while it stands still, so it must run in time.
    pub(super) fn waits(&mut self, wake: Option<Moment>, listens: bool) -> Option<Duration> {
        let now = self.now();
        self.waits_since = listens.then_some(now);
        let beat = listens.then(|| now.plus(BEAT));
        let due = wake.into_iter().chain(beat).min()?;
        Some(due.since(now))
    }

    /// The loop runs again; says whether it stood still meanwhile. Once for each wait.
    pub(super) fn stood_still(&mut self) -> bool {
        let now = self.now();
        self.waits_since
            .take()
            .is_some_and(|since| now.since(since) > BEAT + LATE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loop_that_listens_is_woken_and_one_that_is_late_stood_still() {
        let mut clock = Watchful::by(Clock::start());
        assert_eq!(clock.waits(None, false), None);
        assert!(!clock.stood_still(), "nothing could lie there unread");
        let wait = clock.waits(None, true);
        assert!(wait.is_some_and(|wait| wait <= BEAT));
        clock.waits_since = Some(Moment::default());
        clock.clock = clock.clock.sooner(BEAT + LATE + LATE);
        assert!(clock.stood_still());
        assert!(!clock.stood_still(), "told once");
    }
}
