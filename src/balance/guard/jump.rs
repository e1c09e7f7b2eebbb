//! Jumps: numbers that change from one line to the next in a way that no mass can.
//!
//! Metal that is put on a pan goes through the balance's own settling, so the numbers after the
//! first change go on changing. A unit key changes the display at once: the number jumps by the
//! ratio of two units and is where it stays, or goes on as steadily as it did before, times that
//! ratio. Mode keys (per cent, counting) jump by any ratio; that counts only for a balance whose
//! loads were all seen to settle in between. The tare and zero keys jump to nothing, and are no
//! matter of units. Leaves to others: what follows from it.

use std::time::Duration;

use rust_decimal::Decimal;

use crate::mass::{Division, Moment, Status, Unit};

/// What a line says of a jump.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Seen {
    /// Nothing.
    Nothing,
    /// It may be one; the next lines tell.
    Maybe,
    /// The display jumped into this unit, or into something that is no unit known.
    Into(Option<Unit>),
    /// The display jumped as it would from this unit back into the bench's.
    Back(Unit),
}

/// Lines further apart than this do not show what lay between.
const CLOSE: Duration = Duration::from_millis(1200);
/// Lines as near as this show a load on its way in several of them.
const FLUENT: Duration = Duration::from_millis(300);
/// The display must stay for so long: some balances repeat a number twice a second.
const STAYS: Duration = Duration::from_millis(600);
/// A pan is at rest for this after so many lines within a division of each other.
const REST_LINES: u32 = 3;
/// Loads that must have been seen to settle before a jump by an odd ratio counts.
const SETTLED_LOADS: u32 = 4;
/// A change of so many divisions may be a jump.
const LEAST_JUMP: u32 = 10;
/// For a jump, which is there at once, plain displays count too, that write ounces with as few
/// decimals as grams.
const LEAST_AT_ONCE: Decimal = Decimal::from_parts(3, 0, 0, false, 2);
/// While metal falls, a jump is so many times the largest change lately: the first lines of a load
/// grow by less.
const OVER_PACE: u32 = 20;
/// Lines over which the pace of pouring is remembered.
const PACE_LINES: usize = 6;

/// Follows the numbers of a balance that sends no unit.
#[derive(Debug, Clone)]
pub(super) struct Jumps {
    unit: Unit,
    step: Decimal,
    last: Option<(Decimal, Moment)>,
    rest: u32,
    /// Changes from line to line lately, newest first.
    pace: [Decimal; PACE_LINES],
    pending: Option<Pending>,
    /// Loads that were seen to settle, and those that were there at once.
    settled: u32,
    instant: u32,
}

#[derive(Debug, Clone, Copy)]
struct Pending {
    before: Decimal,
    after: Decimal,
    at: Moment,
    gap: Duration,
    was_at_rest: bool,
    pace: Decimal,
    lines: u32,
}

impl Jumps {
    pub(super) fn new(division: Division) -> Self {
        Self {
            unit: division.unit(),
            step: division.in_unit(division.mass(), division.decimals()),
            last: None,
            rest: 0,
            pace: [Decimal::ZERO; PACE_LINES],
            pending: None,
            settled: 0,
            instant: 0,
        }
    }

    /// What was heard before has nothing to do with what comes.
    pub(super) fn forget(&mut self) {
        self.last = None;
        self.rest = 0;
        self.pace = [Decimal::ZERO; PACE_LINES];
        self.pending = None;
    }

    /// Takes the next number.
    pub(super) fn take(&mut self, digits: Decimal, status: Status, at: Moment) -> Seen {
        let Some((last, heard)) = self.last.replace((digits, at)) else {
            return Seen::Nothing;
        };
        let gap = at.since(heard);
        if gap > CLOSE {
            self.forget();
            self.last = Some((digits, at));
            return Seen::Nothing;
        }
        let change = (digits - last).abs();
        if let Some(pending) = self.pending {
            return self.judge(pending, digits, change, status, at);
        }
        let pace = self.fastest();
        let least = self.step * Decimal::from(LEAST_JUMP);
        let threshold = least.max(pace * Decimal::from(OVER_PACE));
        let nothing = self.step * Decimal::TWO;
        if change >= threshold && digits.abs() > nothing && last.abs() > nothing {
            self.pending = Some(Pending {
                before: last,
                after: digits,
                at,
                gap,
                was_at_rest: self.rest >= REST_LINES,
                pace: if self.rest >= REST_LINES {
                    Decimal::ZERO
                } else {
                    pace
                },
                lines: 0,
            });
            return Seen::Maybe;
        }
        if change >= threshold && last.abs() <= nothing && self.rest >= REST_LINES {
            // A load on an empty pan: how it comes to rest shows how this balance settles.
            self.pending = Some(Pending {
                before: Decimal::ZERO,
                after: digits,
                at,
                gap,
                was_at_rest: true,
                pace: Decimal::ZERO,
                lines: 0,
            });
            return Seen::Nothing;
        }
        self.note(change);
        Seen::Nothing
    }

    fn note(&mut self, change: Decimal) {
        self.rest = if change <= self.step {
            self.rest.saturating_add(1)
        } else {
            0
        };
        self.pace.rotate_right(1);
        if let Some(newest) = self.pace.first_mut() {
            *newest = change;
        }
    }

    fn fastest(&self) -> Decimal {
        self.pace.iter().copied().max().unwrap_or_default()
    }

    /// The lines after a change that may have been a jump.
    fn judge(
        &mut self,
        mut pending: Pending,
        digits: Decimal,
        change: Decimal,
        status: Status,
        at: Moment,
    ) -> Seen {
        let from_nothing = pending.before.is_zero();
        let ratio = if from_nothing {
            Decimal::ONE
        } else {
            (pending.after / pending.before).abs()
        };
        let times = ratio.max(Decimal::ONE);
        let nothing = self.step * Decimal::TWO;
        // As before, in the new number's size: the pace of pouring, and a division's tremble.
        let allowed = times * (pending.pace * Decimal::TWO + self.step) + self.step * Decimal::TWO;
        let moves = change > allowed || (pending.was_at_rest && status == Status::InMotion);
        if moves || digits.abs() <= nothing {
            self.pending = None;
            self.settled = self.settled.saturating_add(u32::from(pending.was_at_rest));
            self.rest = 0;
            self.pace = [Decimal::ZERO; PACE_LINES];
            self.note(change);
            return Seen::Nothing;
        }
        pending.lines += 1;
        self.pending = Some(pending);
        if pending.lines < 2 || at.since(pending.at) < STAYS {
            return if from_nothing {
                Seen::Nothing
            } else {
                Seen::Maybe
            };
        }
        self.pending = None;
        self.rest = if pending.was_at_rest {
            pending.lines
        } else {
            0
        };
        self.pace = [Decimal::ZERO; PACE_LINES];
        if from_nothing {
            self.instant = self.instant.saturating_add(1);
            return Seen::Nothing;
        }
        let close = pending.was_at_rest || pending.gap <= FLUENT;
        let seen = if close {
            self.unit_between(&pending)
        } else {
            Seen::Nothing
        };
        if seen != Seen::Nothing {
            return seen;
        }
        let fluent = self.instant == 0 && self.settled >= SETTLED_LOADS && pending.gap <= FLUENT;
        if fluent && pending.was_at_rest {
            return Seen::Into(None);
        }
        self.instant = self.instant.saturating_add(u32::from(pending.was_at_rest));
        Seen::Nothing
    }

    /// The unit whose ratio to the bench's explains the jump.
    fn unit_between(&self, pending: &Pending) -> Seen {
        for (unit, factor) in within(self.unit, LEAST_AT_ONCE) {
            if self.explains(pending, factor) {
                return Seen::Into(Some(unit));
            }
        }
        for (unit, factor) in within(self.unit, LEAST_AT_ONCE) {
            if self.explains(pending, Decimal::ONE / factor) {
                return Seen::Back(unit);
            }
        }
        Seen::Nothing
    }

    fn explains(&self, pending: &Pending, factor: Decimal) -> bool {
        explains(
            pending.before,
            pending.after,
            factor,
            self.step,
            pending.pace,
        )
    }
}

/// Whether one number is another times a factor, as rounding and pouring on leave it: half a
/// division of the first, times the factor, and half of the second's, which may be five of its
/// last digit.
pub(super) fn explains(
    before: Decimal,
    after: Decimal,
    factor: Decimal,
    step: Decimal,
    pace: Decimal,
) -> bool {
    let half = step / Decimal::TWO;
    let slack = factor * (half + pace * Decimal::TWO)
        + half * Decimal::from(5).min(factor.max(Decimal::ONE));
    (after - before * factor).abs() <= slack
}

/// The units that a balance could show with as many decimals as the bench's, each with how many of
/// it make one of the bench's: a division that is sixteen times finer is beyond what the balance
/// feels, one that is four times coarser would be shown with another decimal.
pub(super) fn plausible(bench: Unit) -> impl Iterator<Item = (Unit, Decimal)> {
    within(bench, Decimal::new(25, 2))
}

/// The same, down to units of which so much makes one of the bench's.
fn within(bench: Unit, least: Decimal) -> impl Iterator<Item = (Unit, Decimal)> {
    let range = least..=Decimal::from(16);
    Unit::all()
        .filter(move |unit| *unit != bench)
        .map(move |unit| (unit, bench.grams() / unit.grams()))
        .filter(move |(_, factor)| range.contains(factor))
        // Twins cannot be told apart by their numbers.
        .filter(|(_, factor)| (*factor - Decimal::ONE).abs() > Decimal::new(1, 2))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    struct Wire(Jumps, u64, u64);

    impl Wire {
        fn new(every_ms: u64) -> Self {
            Self(Jumps::new("0.01 g".parse().unwrap()), 0, every_ms)
        }

        /// The last thing seen of these numbers, other than nothing.
        fn say(&mut self, numbers: &[&str]) -> Seen {
            let mut seen = Seen::Nothing;
            for number in numbers {
                self.1 += self.2;
                let at = Moment::after_origin(Duration::from_millis(self.1));
                match self.0.take(number.parse().unwrap(), Status::Unsaid, at) {
                    Seen::Nothing | Seen::Maybe => {}
                    other => seen = other,
                }
            }
            seen
        }

        fn rest(&mut self, number: &str) -> Seen {
            self.say(&[number; 10])
        }
    }

    #[test]
    fn a_unit_key_is_told_from_a_load_of_five_times_as_much() {
        let mut wire = Wire::new(100);
        wire.rest("4.02");
        assert_eq!(wire.rest("20.10"), Seen::Into(Some(Unit::Carat)));
        let mut wire = Wire::new(100);
        wire.rest("4.02");
        assert_eq!(wire.say(&["15.30", "19.02", "19.90"]), Seen::Nothing);
        assert_eq!(wire.rest("20.10"), Seen::Nothing);
    }

    #[test]
    fn back_into_the_benchs_unit_is_another_thing_than_out_of_it() {
        let mut wire = Wire::new(100);
        wire.rest("100.00");
        assert_eq!(wire.rest("20.00"), Seen::Back(Unit::Carat));
        let mut wire = Wire::new(100);
        wire.rest("20.00");
        assert_eq!(wire.rest("12.86"), Seen::Into(Some(Unit::Pennyweight)));
    }

    #[test]
    fn a_unit_key_while_metal_falls() {
        let mut wire = Wire::new(100);
        wire.rest("23.10");
        wire.say(&["23.14", "23.19", "23.25", "23.29", "23.36"]);
        let on = [
            "117.05", "117.30", "117.55", "117.75", "118.05", "118.25", "118.50",
        ];
        assert_eq!(wire.say(&on), Seen::Into(Some(Unit::Carat)));
    }

    #[test]
    fn the_tare_key_is_no_unit_and_modes_count_where_loads_were_seen_to_settle() {
        let mut wire = Wire::new(100);
        for _ in 0..3 {
            wire.rest("0.00");
            wire.say(&["6.00", "9.10", "9.80"]);
            wire.rest("10.00");
            wire.say(&["4.00", "0.90", "0.20"]);
        }
        wire.say(&["6.00", "9.10", "9.80"]);
        wire.rest("10.00");
        assert_eq!(wire.rest("0.00"), Seen::Nothing);
        wire.say(&["6.00", "9.10", "9.80"]);
        wire.rest("10.00");
        assert_eq!(wire.rest("73.50"), Seen::Into(None));
        // A balance whose loads are there at once can only be judged by the ratio.
        let mut wire = Wire::new(500);
        for load in ["10.00", "7.31", "22.40"] {
            wire.rest("0.00");
            wire.rest(load);
        }
        assert_eq!(wire.rest("73.50"), Seen::Nothing);
    }
}
