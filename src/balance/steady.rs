//! Steadiness, from the balance's own status and from the readings.

use std::time::Duration;

use crate::mass::{Mass, Moment, Status};

/// When readings count as steady.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SteadyRule {
    /// The widest span of readings, lowest to highest.
    pub span: Mass,
    /// For how long they must stay inside it.
    pub time: Duration,
}

/// Whether the pan is at rest.
///
/// Keeps the lowest and highest reading since they last lay within the span of each other: a
/// reading outside starts anew from itself. Slow drift therefore restarts it every span, which is
/// the safe side.
#[derive(Debug, Clone)]
pub struct Steadiness {
    rule: SteadyRule,
    run: Option<Run>,
}

#[derive(Debug, Clone, Copy)]
struct Run {
    since: Moment,
    lowest: Mass,
    highest: Mass,
}

impl Steadiness {
    /// Nothing heard yet.
    pub fn new(rule: SteadyRule) -> Self {
        Self { rule, run: None }
    }

    /// Takes a usable mass with the balance's own word on it; says whether the pan is at rest.
    pub fn take(&mut self, mass: Mass, status: Status, at: Moment) -> bool {
        if status == Status::InMotion {
            self.run = None;
            return false;
        }
        let run = match self.run {
            Some(run) => {
                let (lowest, highest) = (run.lowest.min(mass), run.highest.max(mass));
                if highest - lowest <= self.rule.span {
                    Run {
                        since: run.since,
                        lowest,
                        highest,
                    }
                } else {
                    Run {
                        since: at,
                        lowest: mass,
                        highest: mass,
                    }
                }
            }
            None => Run {
                since: at,
                lowest: mass,
                highest: mass,
            },
        };
        self.run = Some(run);
        at.since(run.since) >= self.rule.time
    }

    /// What was heard does not count any more: a hold, a lost link.
    pub fn forget(&mut self) {
        self.run = None;
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    #[test]
    fn at_rest_after_the_time_inside_the_span_and_not_while_the_balance_says_it_moves() {
        let mass = |text: &str| text.parse::<Indication>().unwrap().mass();
        let mut steady = Steadiness::new(SteadyRule {
            span: mass("0.01 g"),
            time: Duration::from_millis(500),
        });
        let mut take = |text: &str, status, ms| {
            steady.take(
                mass(text),
                status,
                Moment::after_origin(Duration::from_millis(ms)),
            )
        };
        assert!(!take("1.00 g", Status::Unsaid, 0));
        assert!(!take("1.01 g", Status::Unsaid, 400));
        assert!(take("1.00 g", Status::Stable, 500));
        assert!(
            !take("1.02 g", Status::Stable, 600),
            "beyond the span of what went before"
        );
        assert!(take("1.02 g", Status::Stable, 1100));
        assert!(!take("1.02 g", Status::InMotion, 1200));
        assert!(
            !take("1.02 g", Status::Stable, 1300),
            "motion starts the time anew"
        );
    }
}
