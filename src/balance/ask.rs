//! When a balance that must be asked is asked.
//!
//! Promises: asked again only after an answer, and then no sooner than the file says, or after a
//! time-out that doubles while no answer comes, so that a slow balance is never flooded; no clock,
//! every moment is told. Leaves to others: writing the request, and what the answer says.

use std::time::Duration;

use crate::mass::Moment;

/// How a balance is asked, as its file states it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskSpec {
    /// What to send.
    pub send: Vec<u8>,
    /// The least time between two requests.
    pub every: Duration,
    /// How long an answer may take.
    pub timeout: Duration,
    /// What presses its tare key; sent only when a person orders it.
    pub tare: Option<Vec<u8>>,
    /// What presses its zero key; sent only when a person orders it.
    pub zero: Option<Vec<u8>>,
}

impl AskSpec {
    /// The longest request, in bytes.
    pub const LONGEST: usize = 64;
    /// The least time between two requests that can be set.
    pub const SHORTEST_EVERY: Duration = Duration::from_millis(20);
    /// The least time that an answer can be given.
    pub const SHORTEST_TIMEOUT: Duration = Duration::from_millis(100);
    /// The most that either can be.
    pub const LONGEST_TIME: Duration = Duration::from_secs(10);
}

/// A key of a balance that can be pressed from afar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Key {
    /// Takes off what is on the pan.
    Tare,
    /// Sets the empty pan to zero.
    Zero,
}

impl Key {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Tare => "tare",
            Self::Zero => "zero",
        }
    }
}

impl AskSpec {
    /// What presses a key, if the file says it.
    pub fn press(&self, key: Key) -> Option<&[u8]> {
        match key {
            Key::Tare => self.tare.as_deref(),
            Key::Zero => self.zero.as_deref(),
        }
    }
}

/// Follows the asking of one balance.
#[derive(Debug, Clone)]
pub struct Asking {
    every: Duration,
    timeout: Duration,
    /// How long an answer is waited for now.
    patience: Duration,
    asked: Option<Moment>,
    answered: bool,
    /// Answers in a row that came well inside the patience.
    quick: u32,
}

/// The longest wait for an answer, unless the file gives a longer time-out (a balance that needs
/// longer for one weighing must be given it): a balance that is
/// switched on again is heard by then.
const LONGEST_PATIENCE: Duration = Duration::from_secs(5);
/// Quick answers in a row after which patience is halved again.
const QUICK: u32 = 8;

impl Asking {
    /// Not asked yet.
    pub fn new(spec: &AskSpec) -> Self {
        Self {
            every: spec.every,
            timeout: spec.timeout,
            patience: spec.timeout,
            asked: None,
            answered: true,
            quick: 0,
        }
    }

    /// The port was opened: nothing was asked on it yet.
    pub fn opened(&mut self) {
        self.asked = None;
        self.answered = true;
        self.patience = self.timeout;
        self.quick = 0;
    }

    /// When it may be asked next; at once, if it never was.
    pub fn due(&self) -> Moment {
        match self.asked {
            None => Moment::default(),
            Some(asked) if self.answered => asked.plus(self.every),
            Some(asked) => asked.plus(self.patience.max(self.every)),
        }
    }

    /// It is asked now. Says whether the request before went without an answer.
    pub fn ask(&mut self, at: Moment) -> bool {
        let unanswered = !self.answered;
        if unanswered {
            // It may be slow, and answer both: the next wait is longer.
            self.patience = self
                .patience
                .saturating_mul(2)
                .min(LONGEST_PATIENCE.max(self.timeout));
            self.quick = 0;
        }
        self.asked = Some(at);
        self.answered = false;
        unanswered
    }

    /// Something came that answers.
    pub fn answered(&mut self, at: Moment) {
        let Some(asked) = self.asked.filter(|_| !self.answered) else {
            return;
        };
        self.answered = true;
        if at.since(asked) > self.patience / 2 {
            self.quick = 0;
        } else {
            self.quick = self.quick.saturating_add(1);
        }
        if self.quick >= QUICK {
            self.quick = 0;
            self.patience = (self.patience / 2).max(self.timeout);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(ms: u64) -> Moment {
        Moment::after_origin(Duration::from_millis(ms))
    }

    fn spec() -> AskSpec {
        AskSpec {
            send: b"brilvo\r\n".to_vec(),
            every: Duration::from_millis(200),
            timeout: Duration::from_secs(1),
            tare: None,
            zero: None,
        }
    }

    #[test]
    fn asked_after_an_answer_or_a_time_out_that_doubles() {
        let mut asking = Asking::new(&spec());
        assert_eq!(asking.due(), at(0));
        assert!(!asking.ask(at(10)));
        assert_eq!(asking.due(), at(1010), "no answer yet");
        asking.answered(at(60));
        assert_eq!(asking.due(), at(210));
        asking.answered(at(70));
        assert_eq!(asking.due(), at(210), "one answer is enough");
        assert!(!asking.ask(at(210)));
        let mut waits = Vec::new();
        for _ in 0..4 {
            let due = asking.due();
            assert!(asking.ask(due));
            waits.push(asking.due().since(due).as_secs());
        }
        assert_eq!(waits, [2, 4, 5, 5]);
        let mut now = asking.due();
        asking.opened();
        assert_eq!(asking.due(), at(0));
        asking.ask(now);
        assert_eq!(
            asking.due().since(now).as_secs(),
            1,
            "a new port, a new try"
        );
        for _ in 0..3 {
            now = asking.due();
            asking.ask(now);
        }
        for _ in 0..2 * QUICK {
            asking.answered(now.plus(Duration::from_millis(50)));
            now = asking.due();
            asking.ask(now);
        }
        assert_eq!(asking.due().since(now).as_secs(), 1, "it is quick again");
    }

    proptest! {
        /// A balance that answers each request in turn, however slowly, never has more than a few
        /// waiting; and one that lost requests is asked on.
        #[test]
        fn a_slow_balance_is_never_flooded(takes in 1u64..5_000, lost in proptest::collection::vec(any::<bool>(), 40)) {
            let mut asking = Asking::new(&spec());
            let (mut now, mut waiting, mut answers, mut lost) = (0_u64, std::collections::VecDeque::new(), 0_u32, lost.into_iter());
            let mut free_at = 0_u64;
            for _ in 0..400 {
                let due = u64::try_from(asking.due().since_origin().as_millis()).unwrap_or(u64::MAX).max(now);
                match waiting.front().copied() {
                    Some(done) if done <= due => {
                        now = done;
                        waiting.pop_front();
                        answers += 1;
                        asking.answered(at(now));
                    }
                    _ => {
                        now = due;
                        asking.ask(at(now));
                        if !lost.next().unwrap_or(false) {
                            free_at = free_at.max(now) + takes;
                            waiting.push_back(free_at);
                        }
                    }
                }
                prop_assert!(waiting.len() <= 4, "{} wait", waiting.len());
            }
            prop_assert!(answers > 100, "{answers} answers");
        }
    }
}
