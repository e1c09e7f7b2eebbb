//! Steadiness, from the balance's own status and from the readings.

use std::time::Duration;

use super::{Arrival, Pace};
use crate::mass::{Mass, Moment, Status};

/// When readings count as steady.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SteadyRule {
    /// The widest span of readings, lowest to highest.
    pub span: Mass,
    /// For how long they must stay inside it.
    pub time: Duration,
}

impl SteadyRule {
    /// So many readings one after another must stay inside the span as well, however slowly they
    /// come: two that are alike can be taken from the midst of pouring (our own choice).
    pub const READINGS: u32 = 4;
}

/// Whether the pan is at rest.
///
/// Keeps the lowest and highest reading since they last lay within the span of each other: a
/// reading outside starts anew from itself, and so does one that comes after a gap, since what was
/// not heard is not known. Slow drift therefore restarts it every span, which is the safe side.
#[derive(Debug, Clone)]
pub struct Steadiness {
    rule: SteadyRule,
    pace: Pace,
    run: Option<Run>,
    hindered: Hindered,
}

#[derive(Debug, Clone, Copy)]
struct Run {
    since: Moment,
    lowest: Mass,
    highest: Mass,
    /// Readings that the balance sent one after another, not together.
    readings: u32,
    counted: Moment,
    last: Moment,
    /// The longest time between two of them, in case the pace was not known yet.
    longest: Duration,
}

impl Run {
    fn begin(mass: Mass, at: Moment) -> Self {
        Self {
            since: at,
            lowest: mass,
            highest: mass,
            readings: 1,
            counted: at,
            last: at,
            longest: Duration::ZERO,
        }
    }

    fn widened(mut self, mass: Mass) -> Self {
        self.lowest = self.lowest.min(mass);
        self.highest = self.highest.max(mass);
        self
    }
}

/// What one reading makes of the rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stillness {
    /// The pan is at rest.
    pub steady: bool,
    /// How it came: in time, what was heard before leads up to it.
    pub arrival: Arrival,
}

/// Gaps in what would have been a rest without them.
#[derive(Debug, Clone, Copy, Default)]
struct Hindered {
    gaps: u32,
    last: Moment,
}

/// So many gaps keep the pan from rest before it is worth a word.
const WORTH_A_WORD: u32 = 3;
/// Gaps further apart than this do not keep it from rest (the longest rest that can be set).
const FAR_APART: Duration = Duration::from_secs(30);

impl Steadiness {
    /// Nothing heard yet.
    pub fn new(rule: SteadyRule) -> Self {
        Self {
            rule,
            pace: Pace::new(),
            run: None,
            hindered: Hindered::default(),
        }
    }

    /// Takes a usable mass with the balance's own word on it. `newest`: nothing newer was there
    /// when it was read; one that is not newest may end a rest, and is never at rest itself.
    pub fn take(&mut self, mass: Mass, status: Status, newest: bool, at: Moment) -> Stillness {
        let arrival = self.pace.heard(at);
        let run = self.run.take();
        if status == Status::InMotion {
            self.hindered.gaps = 0;
            return Stillness {
                steady: false,
                arrival,
            };
        }
        let run = match run.map(|run| run.widened(mass)) {
            Some(run) if run.highest - run.lowest <= self.rule.span => {
                if arrival == Arrival::AfterGap {
                    self.note_gap(at);
                }
                if arrival == Arrival::InTime {
                    self.follow(run, mass, at)
                } else {
                    Run::begin(mass, at)
                }
            }
            _ => {
                self.hindered.gaps = 0;
                Run::begin(mass, at)
            }
        };
        self.run = Some(run);
        let steady =
            newest && at.since(run.since) >= self.rule.time && run.readings >= SteadyRule::READINGS;
        if steady {
            self.hindered.gaps = 0;
        }
        Stillness { steady, arrival }
    }

    /// The run with one more reading, which lies inside its span.
    fn follow(&self, mut run: Run, mass: Mass, at: Moment) -> Run {
        run.longest = run.longest.max(at.since(run.last));
        run.last = at;
        if self.pace.limit().is_some_and(|limit| run.longest > limit) {
            // The pace as it is known now does not explain it.
            return Run::begin(mass, at);
        }
        let apart = self.pace.usual().unwrap_or_default() / 2;
        if at > run.counted && at.since(run.counted) >= apart {
            run.readings = run.readings.saturating_add(1);
            run.counted = at;
        }
        run
    }

    fn note_gap(&mut self, at: Moment) {
        if at.since(self.hindered.last) > FAR_APART {
            self.hindered.gaps = 0;
        }
        self.hindered.gaps = self.hindered.gaps.saturating_add(1);
        self.hindered.last = at;
    }

    /// Whether the last reading still stands for the pan: no more time has passed since than the
    /// pace explains.
    pub fn is_overdue(&self, at: Moment) -> bool {
        self.pace.is_overdue(at)
    }

    /// Whether gaps keep a pan from rest that would be at rest as far as it is heard.
    pub fn is_hindered(&self) -> bool {
        self.hindered.gaps >= WORTH_A_WORD
    }

    /// What was heard does not count any more: a hold, a lost link.
    pub fn forget(&mut self) {
        self.run = None;
        self.pace.pause();
    }

    /// The port was opened or lost: how often the balance sends has to be learned anew.
    pub fn forget_pace(&mut self) {
        self.run = None;
        self.pace = Pace::new();
        self.hindered = Hindered::default();
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    struct Heard(Steadiness, u64);

    impl Heard {
        fn new(ms: u64) -> Self {
            let rule = SteadyRule {
                span: mass("0.01 g"),
                time: Duration::from_millis(ms),
            };
            Self(Steadiness::new(rule), 0)
        }

        fn say(&mut self, after: u64, text: &str, status: Status) -> bool {
            self.1 += after;
            let at = Moment::after_origin(Duration::from_millis(self.1));
            self.0.take(mass(text), status, true, at).steady
        }

        /// So many lines of this, so far apart; which of them are at rest.
        fn lines(&mut self, every: u64, text: &str, lines: usize) -> Vec<bool> {
            let line = |_| self.say(every, text, Status::Unsaid);
            (0..lines).map(line).collect()
        }
    }

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    #[test]
    fn at_rest_after_the_time_inside_the_span_and_not_while_the_balance_says_it_moves() {
        let mut heard = Heard::new(500);
        assert_eq!(
            heard.lines(100, "1.00 g", 6),
            [false, false, false, false, false, true]
        );
        assert!(heard.say(100, "1.01 g", Status::Stable));
        assert!(
            !heard.say(100, "1.02 g", Status::Stable),
            "beyond the span of what went before"
        );
        assert_eq!(
            heard.lines(100, "1.02 g", 5),
            [false, false, false, false, true]
        );
        assert!(!heard.say(100, "1.02 g", Status::InMotion));
        assert!(
            !heard.say(100, "1.02 g", Status::Stable),
            "motion starts the time anew"
        );
    }

    #[test]
    fn a_gap_is_no_rest_and_counting_starts_anew_behind_it() {
        for gap in [300, 1050, 2900] {
            let mut heard = Heard::new(1000);
            heard.lines(100, "5.54 g", 20);
            heard.lines(100, "5.55 g", 3);
            assert!(!heard.say(gap, "5.55 g", Status::Stable), "{gap}");
            assert_eq!(heard.lines(100, "5.55 g", 9), [false; 9], "{gap}");
            assert!(heard.say(100, "5.55 g", Status::Stable), "{gap}");
        }
    }

    #[test]
    fn what_comes_at_once_after_a_gap_is_old() {
        let mut heard = Heard::new(1000);
        heard.lines(100, "5.55 g", 20);
        heard.lines(0, "6.30 g", 1);
        heard.say(1500, "6.30 g", Status::Unsaid);
        assert_eq!(heard.lines(0, "6.30 g", 14), [false; 14]);
        assert_eq!(heard.lines(100, "6.30 g", 9), [false; 9]);
        assert_eq!(heard.lines(100, "6.30 g", 2), [true, true]);
    }

    #[test]
    fn a_slow_balance_is_at_rest_after_four_readings() {
        let mut heard = Heard::new(1000);
        for poured in ["3.10 g", "3.11 g", "5.00 g", "7.00 g", "9.00 g"] {
            assert!(!heard.say(1400, poured, Status::Unsaid), "{poured}");
        }
        assert_eq!(heard.lines(1400, "9.00 g", 4), [false, false, true, true]);
    }

    #[test]
    fn two_stalls_at_the_beginning_are_no_pace() {
        let mut heard = Heard::new(1000);
        heard.lines(2900, "5.55 g", 3);
        assert_eq!(heard.lines(100, "5.55 g", 10), [false; 10]);
        assert_eq!(heard.lines(100, "5.55 g", 2), [true; 2]);
    }

    #[test]
    fn gaps_that_keep_a_pan_from_rest_are_worth_a_word() {
        let mut heard = Heard::new(1000);
        heard.lines(100, "5.55 g", 20);
        for told in [false, false, true] {
            heard.say(800, "5.55 g", Status::Unsaid);
            heard.lines(100, "5.55 g", 5);
            assert_eq!(heard.0.is_hindered(), told);
        }
        heard.lines(100, "5.55 g", 10);
        assert!(!heard.0.is_hindered());
    }
}
