//! The health of the link to the balance, and when to try again.

use std::time::Duration;

use crate::mass::Moment;

/// How the link stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LinkState {
    /// The port is not there or not open.
    Absent,
    /// The port is open and nothing is heard.
    Silent,
    /// Bytes come that make no sense: commonly a wrong speed.
    Garbled,
    /// Readings come.
    Talking,
}

impl LinkState {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Absent => "absent",
            Self::Silent => "silent",
            Self::Garbled => "garbled",
            Self::Talking => "talking",
        }
    }
}

/// When silence counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LinkLimits {
    /// No line for so long: the balance is silent, and its last reading is old.
    pub silence: Duration,
}

/// Follows the link.
#[derive(Debug, Clone)]
pub struct Link {
    limits: LinkLimits,
    state: LinkState,
    heard: Moment,
    odd_in_a_row: u32,
    good_in_a_row: u32,
    damaged: u64,
    was_heard: bool,
}

/// Lines that make no sense, one after another, before the link is called garbled; noise on a
/// plug gives one or two.
const ODD_FOR_GARBLED: u32 = 5;
/// Readings in a row before a garbled link is called talking again.
const GOOD_FOR_TALKING: u32 = 2;

impl Link {
    /// Not open yet.
    pub fn new(limits: LinkLimits) -> Self {
        Self {
            limits,
            state: LinkState::Absent,
            heard: Moment::default(),
            odd_in_a_row: 0,
            good_in_a_row: 0,
            damaged: 0,
            was_heard: false,
        }
    }

    /// How it stands.
    pub fn state(&self) -> LinkState {
        self.state
    }

    /// The port was opened. It counts as silent only after the silence limit, so until then an
    /// absent link stays absent.
    pub fn opened(&mut self, at: Moment) {
        self.heard = at;
        self.odd_in_a_row = 0;
        self.good_in_a_row = 0;
        self.was_heard = false;
        self.state = LinkState::Silent;
    }

    /// The port went away or could not be opened.
    pub fn lost(&mut self) {
        self.state = LinkState::Absent;
    }

    /// A line was understood.
    pub fn good_line(&mut self, at: Moment) {
        self.heard = at;
        self.was_heard = true;
        self.odd_in_a_row = 0;
        self.good_in_a_row = self.good_in_a_row.saturating_add(1);
        if self.state != LinkState::Garbled || self.good_in_a_row >= GOOD_FOR_TALKING {
            self.state = LinkState::Talking;
        }
    }

    /// A line was not understood, or was too long to be one.
    pub fn odd_line(&mut self, at: Moment) {
        self.heard = at;
        self.good_in_a_row = 0;
        self.odd_in_a_row = self.odd_in_a_row.saturating_add(1);
        if self.odd_in_a_row >= ODD_FOR_GARBLED {
            self.state = LinkState::Garbled;
        }
    }

    /// A frame failed its check: it counts as a line that makes no sense, and is counted.
    pub fn damaged_line(&mut self, at: Moment) {
        self.damaged = self.damaged.saturating_add(1);
        self.odd_line(at);
    }

    /// Whether readings came since the port was opened.
    pub fn has_been_heard(&self) -> bool {
        self.was_heard
    }

    /// Frames that failed their check so far, over every time the port was open.
    pub fn damaged(&self) -> u64 {
        self.damaged
    }

    /// Time passed: silence may have become too long.
    pub fn tick(&mut self, at: Moment) {
        if matches!(self.state, LinkState::Talking | LinkState::Garbled) && at >= self.silent_from()
        {
            self.state = LinkState::Silent;
            self.good_in_a_row = 0;
        }
    }

    /// When a tick could change something; none while it is silent or absent already.
    pub fn wake_at(&self) -> Option<Moment> {
        matches!(self.state, LinkState::Talking | LinkState::Garbled).then(|| self.silent_from())
    }

    fn silent_from(&self) -> Moment {
        self.heard.plus(self.limits.silence)
    }
}

/// When to try to open the port again: soon at first, then every two seconds for ever.
#[derive(Debug, Clone, Copy, Default)]
pub struct Retry {
    failures: u32,
}

impl Retry {
    /// The longest wait between two attempts: a person who plugs in a cable looks up by then.
    pub const LONGEST: Duration = Duration::from_secs(2);
    const FIRST: Duration = Duration::from_millis(100);

    /// An attempt failed; how long to wait before the next.
    pub fn failed(&mut self) -> Duration {
        let wait = Self::FIRST.saturating_mul(1 << self.failures.min(5));
        self.failures = self.failures.saturating_add(1);
        wait.min(Self::LONGEST)
    }

    /// An attempt went well.
    pub fn succeeded(&mut self) {
        self.failures = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: u64) -> Moment {
        Moment::after_origin(Duration::from_millis(ms))
    }

    #[test]
    fn the_four_states_follow_what_is_heard() {
        let mut link = Link::new(LinkLimits {
            silence: Duration::from_secs(3),
        });
        assert_eq!(link.state(), LinkState::Absent);
        link.opened(at(0));
        assert_eq!((link.state(), link.wake_at()), (LinkState::Silent, None));
        link.good_line(at(100));
        assert_eq!(
            (link.state(), link.wake_at()),
            (LinkState::Talking, Some(at(3100)))
        );
        link.tick(at(3000));
        assert_eq!(link.state(), LinkState::Talking);
        link.tick(at(3100));
        assert_eq!(link.state(), LinkState::Silent);
        for ms in 0..5 {
            link.odd_line(at(4000 + ms));
        }
        assert_eq!(link.state(), LinkState::Garbled);
        link.good_line(at(4100));
        assert_eq!(
            link.state(),
            LinkState::Garbled,
            "one line alone could be chance"
        );
        link.good_line(at(4200));
        assert_eq!(link.state(), LinkState::Talking);
        link.lost();
        assert_eq!(link.state(), LinkState::Absent);
    }

    #[test]
    fn attempts_back_off_to_two_seconds() {
        let mut retry = Retry::default();
        let waits: Vec<u128> = (0..8).map(|_| retry.failed().as_millis()).collect();
        assert_eq!(waits, [100, 200, 400, 800, 1600, 2000, 2000, 2000]);
        retry.succeeded();
        assert_eq!(retry.failed().as_millis(), 100);
    }
}
