//! Turns: how one number at rest may have come of another by the unit key alone, by the ratio of two
//! units and what rounding leaves of it. Leaves to others: whether the display went there at once.

use rust_decimal::Decimal;

use crate::mass::Unit;

/// For a jump, which is there at once, plain displays count too, that write ounces with as few
/// decimals as grams.
const LEAST_AT_ONCE: Decimal = Decimal::from_parts(3, 0, 0, false, 2);
/// What a number may be off, in parts of it, and still be told from its neighbours: one at rest,
/// and one that goes on.
const ROUGHEST: Decimal = Decimal::from_parts(15, 0, 0, false, 3);
const ROUGHEST_PACE: Decimal = Decimal::from_parts(10, 0, 0, false, 2);
/// Two units as near as this are no evidence that the display went from one to the other: any
/// grain does so.
const TOO_NEAR: std::ops::RangeInclusive<Decimal> =
    Decimal::from_parts(6, 0, 0, false, 1)..=Decimal::from_parts(16, 0, 0, false, 1);

/// How one number follows from another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Turn {
    /// By nothing but its tremble.
    Same,
    /// From the bench's unit into this one.
    Into(Unit),
    /// Out of this unit, into the bench's or a third.
    OutOf(Unit),
}

/// The factors that the unit key can turn a number by.
#[derive(Debug, Clone)]
pub(super) struct Turns {
    step: Decimal,
    /// A factor, what it means, and whether it is between two units that are not the bench's.
    factors: Vec<(Decimal, Turn, bool)>,
}

impl Turns {
    /// Those of a bench that weighs in this unit, in steps of so much.
    pub(super) fn new(bench: Unit, step: Decimal) -> Self {
        Self {
            step,
            factors: factors(bench),
        }
    }

    /// How one number may have come of another by the unit key. `between`: also from one unit that
    /// is not the bench's to another.
    pub(super) fn of(
        &self,
        before: Decimal,
        after: Decimal,
        pace: Decimal,
        between: bool,
    ) -> Option<Turn> {
        if explains(before, after, Decimal::ONE, self.step, pace) {
            return Some(Turn::Same);
        }
        if before.is_zero()
            || after.is_zero()
            || before.is_sign_negative() != after.is_sign_negative()
        {
            return None;
        }
        // Most turns are out of the question at a glance.
        let ratio = after / before;
        let (least, most) = (ratio * Decimal::new(9, 1), ratio * Decimal::new(11, 1));
        self.factors
            .iter()
            .filter(|(factor, _, is_between)| {
                (between || !is_between) && *factor >= least && *factor <= most
            })
            .find(|(factor, ..)| explains(before, after, *factor, self.step, pace))
            .map(|(_, turn, _)| *turn)
    }
}

/// What a unit key can make of a number, by its factor: into a unit, out of one into the bench's,
/// and (`true`) from one other to another.
fn factors(bench: Unit) -> Vec<(Decimal, Turn, bool)> {
    let units: Vec<(Unit, Decimal)> = within(bench, LEAST_AT_ONCE).collect();
    let into = units
        .iter()
        .map(|(unit, of)| (*of, Turn::Into(*unit), false));
    let out_of = units
        .iter()
        .map(|(unit, of)| (Decimal::ONE / *of, Turn::OutOf(*unit), false));
    let between = units.iter().flat_map(|(from, of)| {
        let factors = units.iter().map(move |(_, to)| to / *of);
        factors.map(|factor| (factor, Turn::OutOf(*from), true))
    });
    let between = between.filter(|(factor, ..)| !TOO_NEAR.contains(factor));
    into.chain(out_of).chain(between).collect()
}

/// Whether one number is another times a factor, as rounding and pouring on leave it: half a
/// division of the first and its tremble, times the factor, and half of the second's, which may be
/// five of its last digit. So far off that any factor would do, it is not.
pub(super) fn explains(
    before: Decimal,
    after: Decimal,
    factor: Decimal,
    step: Decimal,
    pace: Decimal,
) -> bool {
    let half = step / Decimal::TWO;
    let slack = factor * (step * Decimal::new(75, 2) + pace * Decimal::TWO)
        + half * Decimal::from(5).min(factor.max(Decimal::ONE));
    let roughest = if pace.is_zero() {
        ROUGHEST
    } else {
        ROUGHEST_PACE
    };
    let expected = before * factor;
    (after - expected).abs() <= slack && slack <= (expected * roughest).abs().max(step)
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
