//! Jumps: numbers that change from one line to the next in a way that no mass can.
//!
//! Metal that is put on a pan goes through the balance's own settling, so between two numbers at
//! rest others are seen that are no unit's multiple of the first. A unit key changes the display at
//! once, and so do two or three presses in a row: every number from the last rest to the next is
//! that rest in some unit. While metal falls or the pan settles the display goes on as steadily as
//! before, times the ratio. Mode keys (per cent, counting) jump by any ratio; alone that counts only
//! for a balance whose loads were all seen to settle. The tare and zero keys jump to nothing, and
//! are no matter of units. Leaves to others: what follows from it.

use std::time::Duration;

use rust_decimal::Decimal;

use super::turn::{Turn, Turns};
use crate::mass::{Division, Moment, Status, Unit};

/// What a line says of a jump.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Seen {
    /// Nothing.
    Nothing,
    /// It may be one; the next lines tell.
    Maybe,
    /// The display jumped from the bench's unit into this one, or into something that is no unit
    /// known.
    Into(Option<Unit>),
    /// The display jumped out of this unit, into the bench's or a third: it had been in another
    /// before.
    OutOf(Unit),
}

/// Lines further apart than this do not show what lay between.
const CLOSE: Duration = Duration::from_millis(1200);
/// Lines as near as this show metal fall from one to the next.
const FLUENT: Duration = Duration::from_millis(300);
/// Lines as near as this show any load on its way, if they did so far.
const DENSE: Duration = Duration::from_millis(130);
/// The display must stay for so long: some balances repeat a number twice a second.
const STAYS: Duration = Duration::from_millis(600);
/// The display rests after so many lines within a division of each other, over so long: a display
/// that is refreshed more seldom than it is sent repeats a number under a moving pan.
const REST_LINES: u32 = 3;
const REST_TIME: Duration = Duration::from_millis(350);
/// So many numbers must have been seen of loads on their way, at most and at least so many of each,
/// before a jump by an odd ratio counts.
const SETTLED: usize = 6;
const MOST_ON_ITS_WAY: usize = 3;
const LEAST_ON_ITS_WAY: usize = 2;
/// A change of so many divisions may be a jump by the ratio of two units.
const LEAST_JUMP: u32 = 10;
/// The lighter number of a jump has so many divisions, and the heavier so many: else any grain
/// makes one.
const LEAST_LIGHT: u32 = 10;
const LEAST_HEAVY: u32 = 100;
/// A change of so many divisions takes its time, and shows how a balance settles; less may be
/// there at once.
const LEAST_LOAD: u32 = 100;
/// While metal falls, a jump is so many times the largest change lately: the first lines of a load
/// grow by less.
const OVER_PACE: u32 = 20;
/// Lines over which the pace of pouring is remembered, and in how many of them metal falls.
const PACE_LINES: usize = 6;
const FALLING_LINES: usize = 3;
/// No load begins by so many divisions a line.
const SLOWLY: u32 = 4;
/// The most different numbers from one rest to the next that can be presses of a key.
const MOST_NUMBERS: usize = 6;
/// A burst of presses that goes through a mode shows so many numbers that are no unit's.
const MOST_ODD: usize = 2;
/// From its first press to its last.
const BURST: Duration = Duration::from_millis(900);

/// Follows the numbers of a balance that sends no unit.
#[derive(Debug, Clone)]
pub(super) struct Jumps {
    step: Decimal,
    least_jump: Decimal,
    turns: Turns,
    last: Option<(Decimal, Moment)>,
    /// Lines within a division of this, one after another, and since when.
    stands: Stands,
    /// Changes from line to line lately, newest first.
    pace: [Decimal; PACE_LINES],
    burst: Option<Burst>,
    flow: Option<Flow>,
    /// Numbers seen of loads on their way, and loads that were there at once or nearly so.
    settled: usize,
    thin: u32,
}

#[derive(Debug, Clone, Copy, Default)]
struct Stands {
    at: Decimal,
    since: Moment,
    lines: u32,
}

/// What the display did since it last rested.
#[derive(Debug, Clone)]
struct Burst {
    rest: Decimal,
    since: Moment,
    /// The time to the line that began it.
    gap: Duration,
    /// Different numbers, each as first shown, and whether it is the rest before in some unit.
    numbers: Vec<(Decimal, bool)>,
    last_new: Moment,
    /// More than a key could make, or the balance said that it moves.
    moves: bool,
}

/// A jump while the numbers went on changing.
#[derive(Debug, Clone, Copy)]
struct Flow {
    seen: Seen,
    at: Moment,
    allowed: Decimal,
    lines: u32,
}

impl Burst {
    /// The numbers that are no unit's multiple of the rest before, nor near to the last.
    fn odd_numbers(&self, last: Option<(Decimal, Decimal)>) -> impl Iterator<Item = Decimal> {
        let is_last =
            move |number: Decimal| last.is_some_and(|(last, near)| (last - number).abs() <= near);
        let odd = self.numbers.iter().filter(|(_, is_turned)| !is_turned);
        odd.map(|(number, _)| *number)
            .filter(move |number| !is_last(*number))
    }
}

impl Jumps {
    pub(super) fn new(division: Division) -> Self {
        let step = division.in_unit(division.mass(), division.decimals());
        Self {
            step,
            least_jump: step * Decimal::from(LEAST_JUMP),
            turns: Turns::new(division.unit(), step),
            last: None,
            stands: Stands::default(),
            pace: [Decimal::ZERO; PACE_LINES],
            burst: None,
            flow: None,
            settled: 0,
            thin: 0,
        }
    }

    /// What was heard before has nothing to do with what comes.
    pub(super) fn forget(&mut self) {
        self.last = None;
        self.stands = Stands::default();
        self.pace = [Decimal::ZERO; PACE_LINES];
        (self.burst, self.flow) = (None, None);
    }

    fn steps(&self, count: u32) -> Decimal {
        self.step * Decimal::from(count)
    }

    fn is_nothing(&self, digits: Decimal) -> bool {
        digits.abs() <= self.step * Decimal::TWO
    }

    /// Takes the next number.
    pub(super) fn take(&mut self, digits: Decimal, status: Status, at: Moment) -> Seen {
        let Some((last, heard)) = self.last.replace((digits, at)) else {
            self.stand(digits, at);
            return Seen::Nothing;
        };
        let gap = at.since(heard);
        if gap > CLOSE {
            self.forget();
            self.last = Some((digits, at));
            self.stand(digits, at);
            return Seen::Nothing;
        }
        let was_at_rest = self.is_at_rest(heard);
        let rest = self.stands.at;
        let begins = was_at_rest && self.burst.is_none();
        let flow = self.follow_flow(last, digits, (heard, at, begins));
        self.note((digits - last).abs());
        self.stand(digits, at);
        if begins && self.stands.lines == 1 {
            self.burst = Some(Burst {
                rest,
                since: at,
                gap,
                numbers: Vec::with_capacity(MOST_NUMBERS),
                last_new: at,
                moves: false,
            });
        }
        let burst = self.follow_burst(digits, status, at);
        match (burst, flow) {
            (Seen::Nothing, flow) => flow,
            (Seen::Maybe, flow) if flow != Seen::Nothing => flow,
            (burst, _) => burst,
        }
    }

    /// Whether the display stood still up to this moment.
    fn is_at_rest(&self, heard: Moment) -> bool {
        self.stands.lines >= REST_LINES && heard.since(self.stands.since) >= REST_TIME
    }

    /// How far numbers lie apart that are one at rest, `rest` having been so before: a division, or
    /// as much in a finer unit.
    fn tremble(&self, rest: Decimal, digits: Decimal) -> Decimal {
        if rest.is_zero() || digits.abs() <= rest.abs() * Decimal::new(15, 1) {
            return self.step;
        }
        let times = (digits / rest).abs().min(Decimal::from(16));
        self.step * (times * Decimal::new(15, 1))
    }

    fn stand(&mut self, digits: Decimal, at: Moment) {
        let stands = self.stands;
        let rest = self.burst.as_ref().map_or(digits, |burst| burst.rest);
        let off = (digits - stands.at).abs();
        let is_same = off <= self.step || off <= self.tremble(rest, digits);
        self.stands = if stands.lines > 0 && is_same {
            Stands {
                lines: stands.lines.saturating_add(1),
                ..stands
            }
        } else {
            Stands {
                at: digits,
                since: at,
                lines: 1,
            }
        };
    }

    fn note(&mut self, change: Decimal) {
        self.pace.rotate_right(1);
        if let Some(newest) = self.pace.first_mut() {
            *newest = change;
        }
    }

    /// How much the number may change by the next line if nothing happens: where it slows down to
    /// rest, as last; where metal falls, as the fastest lately. Nobody knows of a load that begins.
    fn pace(&self, heard: Moment) -> Option<Decimal> {
        let since = heard.since(self.stands.since);
        let [first, second, third, ..] = self.pace;
        let rests = !second.is_zero() || since >= REST_TIME;
        if first <= second && second <= third && rests {
            return Some(first);
        }
        let fastest = self.pace.iter().copied().max().unwrap_or_default();
        let falls = self.pace.iter().filter(|change| **change > self.step);
        (fastest <= self.steps(SLOWLY) || falls.count() >= FALLING_LINES).then_some(fastest)
    }

    fn can_be_jump(&self, before: Decimal, after: Decimal) -> bool {
        let (before, after) = (before.abs(), after.abs());
        (before - after).abs() >= self.least_jump
            && before.min(after) >= self.steps(LEAST_LIGHT)
            && before.max(after) >= self.steps(LEAST_HEAVY)
    }

    /// A jump while metal falls or the pan settles: by a unit's ratio, and then on as before.
    fn follow_flow(
        &mut self,
        last: Decimal,
        digits: Decimal,
        (heard, at, from_rest): (Moment, Moment, bool),
    ) -> Seen {
        let gap = at.since(heard);
        let change = (digits - last).abs();
        if let Some(mut flow) = self.flow.take() {
            if change > flow.allowed || self.is_nothing(digits) {
                return Seen::Nothing;
            }
            flow.lines += 1;
            if flow.lines >= 2 && at.since(flow.at) >= STAYS {
                return flow.seen;
            }
            self.flow = Some(flow);
            return Seen::Maybe;
        }
        // Most lines are out of the question at a glance.
        if change < self.least_jump || from_rest || gap > FLUENT {
            return Seen::Nothing;
        }
        let Some(pace) = self.pace(heard) else {
            return Seen::Nothing;
        };
        if change < pace * Decimal::from(OVER_PACE) || !self.can_be_jump(last, digits) {
            return Seen::Nothing;
        }
        let seen = match self.turns.of(last, digits, pace, false) {
            Some(Turn::Into(unit)) => Seen::Into(Some(unit)),
            Some(Turn::OutOf(unit)) => Seen::OutOf(unit),
            Some(Turn::Same) | None => return Seen::Nothing,
        };
        let times = (digits / last).abs().max(Decimal::ONE);
        self.flow = Some(Flow {
            seen,
            at,
            allowed: times * (pace * Decimal::TWO + self.step) + self.step * Decimal::TWO,
            lines: 0,
        });
        Seen::Maybe
    }

    /// What the display does from one rest to the next.
    fn follow_burst(&mut self, digits: Decimal, status: Status, at: Moment) -> Seen {
        let Some(mut burst) = self.burst.take() else {
            return Seen::Nothing;
        };
        burst.moves |= status == Status::InMotion;
        let tremble = self.tremble(burst.rest, digits);
        if !burst
            .numbers
            .iter()
            .any(|(number, _)| (digits - *number).abs() <= tremble)
        {
            if burst.numbers.len() < MOST_NUMBERS {
                let is_turned = self
                    .turns
                    .of(burst.rest, digits, Decimal::ZERO, true)
                    .is_some();
                burst.numbers.push((digits, is_turned));
            } else {
                burst.moves = true;
            }
            burst.last_new = at;
        }
        // What was seen on its way is a load, and needs no patience: it may have been a key only if
        // nothing was.
        let near = self.tremble(burst.rest, digits) + self.step;
        let is_load = burst.moves || burst.odd_numbers(Some((digits, near))).next().is_some();
        let patience = if is_load { REST_TIME } else { STAYS };
        if self.stands.lines >= REST_LINES && at.since(self.stands.since) >= patience {
            return self.judge_burst(&burst);
        }
        let maybe = !burst.moves
            && self.can_be_jump(burst.rest, digits)
            && burst.odd_numbers(None).count() <= MOST_ODD;
        self.burst = Some(burst);
        if maybe { Seen::Maybe } else { Seen::Nothing }
    }

    /// The display rests again.
    fn judge_burst(&mut self, burst: &Burst) -> Seen {
        let (before, after) = (burst.rest, self.stands.at);
        let near = self.tremble(before, after) + self.step;
        let on_its_way = burst.odd_numbers(Some((after, near))).count();
        let is_at_once = on_its_way == 0 && !burst.moves;
        let is_load = (after - before).abs() >= self.steps(LEAST_LOAD);
        if !self.can_be_jump(before, after) {
            // Off to nothing, or on from it: how it comes to rest shows how this balance settles.
            // The tare key, there at once, does not.
            if is_load && burst.gap <= DENSE {
                let is_instant = is_at_once && self.is_nothing(before);
                self.settle(burst, on_its_way, is_instant);
            }
            return Seen::Nothing;
        }
        let turn = self.turns.of(
            before,
            after,
            Decimal::ZERO,
            burst.numbers.len() > 1 && is_load,
        );
        let through_modes = !burst.moves
            && on_its_way <= MOST_ODD
            && burst.last_new.since(burst.since) <= BURST
            && self.goes_astray(burst, before, after);
        match turn {
            Some(Turn::Into(unit)) if is_at_once || through_modes => return Seen::Into(Some(unit)),
            Some(Turn::OutOf(unit)) if is_at_once || through_modes => return Seen::OutOf(unit),
            Some(Turn::Same) => return Seen::Nothing,
            _ => {}
        }
        let is_fluent = self.thin == 0 && self.settled >= SETTLED && burst.gap <= DENSE;
        let near = self.tremble(before, after) + self.step;
        let is_pressed = burst
            .numbers
            .iter()
            .filter(|(number, _)| (*number - after).abs() > near)
            .any(|(number, _)| self.is_into_unit(before, *number));
        if is_at_once && is_load && (is_fluent || is_pressed) {
            return Seen::Into(None);
        }
        if is_load && burst.gap <= DENSE {
            self.settle(burst, on_its_way, is_at_once);
        }
        Seen::Nothing
    }

    fn settle(&mut self, burst: &Burst, on_its_way: usize, is_instant: bool) {
        let seen = if burst.moves {
            MOST_ON_ITS_WAY
        } else {
            on_its_way
        };
        self.settled = self.settled.saturating_add(seen.min(MOST_ON_ITS_WAY));
        let is_thin = is_instant || (seen > 0 && seen < LEAST_ON_ITS_WAY);
        self.thin = self.thin.saturating_add(u32::from(is_thin));
    }

    fn is_into_unit(&self, before: Decimal, after: Decimal) -> bool {
        let turn = self.turns.of(before, after, Decimal::ZERO, false);
        matches!(turn, Some(Turn::Into(_)))
    }

    /// Whether a burst went far beyond both its ends, as no load on its way does.
    fn goes_astray(&self, burst: &Burst, before: Decimal, after: Decimal) -> bool {
        let (low, high) = (before.min(after), before.max(after));
        let beyond = (high - low) * Decimal::new(25, 2) + self.steps(LEAST_JUMP);
        burst.numbers.iter().any(|(number, _)| {
            *number > high + beyond || (*number < low - beyond && !self.is_nothing(*number))
        })
    }
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
        assert_eq!(wire.rest("20.00"), Seen::OutOf(Unit::Carat));
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

    #[test]
    fn presses_in_a_row_are_held_against_the_rest_before_them() {
        let ct = Seen::Into(Some(Unit::Carat));
        let dwt = Seen::Into(Some(Unit::Pennyweight));
        for (shown, rests, seen) in [
            (&["100.00"][..], "12.86", dwt),
            (&["12.86", "308.65"], "100.00", ct),
            // A mode on its way: a number that is no unit's.
            (&["100.00", "437.10"], "12.86", dwt),
            (&["100.00"], "437.10", Seen::Into(None)),
            (&["100.00", "12.86"], "20.00", Seen::Nothing),
        ] {
            let mut wire = Wire::new(100);
            wire.rest("20.00");
            wire.say(shown);
            assert_eq!(wire.rest(rests), seen, "{shown:?} {rests}");
        }
        let mut wire = Wire::new(100);
        wire.rest("100.00");
        wire.say(&["12.86"]);
        assert_eq!(wire.rest("20.00"), Seen::OutOf(Unit::Carat));
    }

    #[test]
    fn what_hands_do_over_a_slow_display_is_no_key() {
        // A tap of the spoon is there at once, whatever settled before.
        let mut wire = Wire::new(100);
        for _ in 0..3 {
            wire.rest("0.00");
            wire.say(&["6.00", "9.10", "9.80"]);
            wire.rest("10.00");
            wire.say(&["4.00", "0.90", "0.20"]);
        }
        wire.rest("2.11");
        assert_eq!(wire.rest("2.28"), Seen::Nothing);
        assert_eq!(wire.rest("2.51"), Seen::Nothing);
        // The first lines of a load have any ratio to each other.
        let mut wire = Wire::new(100);
        wire.rest("0.00");
        assert_eq!(wire.say(&["0.08", "4.08", "11.80", "15.50"]), Seen::Nothing);
        assert_eq!(wire.rest("15.96"), Seen::Nothing);
        // A display that is refreshed three times a second stands still while the load moves.
        let mut wire = Wire::new(100);
        wire.rest("3.08");
        assert_eq!(wire.say(&["34.11", "34.11", "34.11"]), Seen::Nothing);
        assert_eq!(wire.rest("53.05"), Seen::Nothing);
    }
}
