//! The values of one place in the lines over time: where they rest, and whether the known weight is
//! among them.
//!
//! Promises: the unit of a weight is only concluded when the weight's mass in that unit is what
//! the value rose by; exact. Leaves to others: which place in the lines it is.

use rust_decimal::Decimal;

use super::Phase;
use crate::mass::{Mass, Unit};

/// A value at its place in the capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Point {
    /// Which line of the capture.
    pub(super) line: usize,
    pub(super) value: Decimal,
    pub(super) decimals: u32,
    /// What the person was asked to do then, if anyone was.
    pub(super) phase: Option<Phase>,
}

/// The levels of a series, and which units the known weight has there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Levels {
    pub(super) empty: Option<Decimal>,
    pub(super) loaded: Option<Decimal>,
    /// The units in which the rise is the weight, best first.
    pub(super) units: Vec<Unit>,
}

/// Fewer lines than that are taken one by one, as a print key gives them.
const FEW: usize = 12;

/// One step of the last digit.
pub(super) fn step(decimals: u32) -> Decimal {
    Decimal::new(1, decimals.min(7))
}

/// The most decimals of the series.
pub(super) fn decimals(series: &[Point]) -> u32 {
    series.iter().map(|point| point.decimals).max().unwrap_or(0)
}

/// How far values at rest lie apart at most: two divisions. The division is the least change that
/// was seen, since a last digit can go in fives, or be reckoned from another unit; a change that is
/// large beside all that was weighed is none.
pub(super) fn near(series: &[Point]) -> Decimal {
    let step = step(decimals(series));
    let values = || series.iter().map(|point| point.value);
    let range = values().max().unwrap_or_default() - values().min().unwrap_or_default();
    let changes = series.windows(2).filter_map(|pair| {
        let change = (pair.first()?.value - pair.last()?.value).abs();
        (!change.is_zero() && change * Decimal::from(50) <= range).then_some(change)
    });
    changes.min().unwrap_or(step).max(step) * Decimal::TWO
}

/// The levels of a series; of rests that could all be the weight, one that is so in the unit that
/// the lines state.
pub(super) fn levels(series: &[Point], weight: Option<Mass>, stated: Option<Unit>) -> Levels {
    let step = step(decimals(series));
    let phased = |wanted: fn(Phase) -> bool| {
        let values = series
            .iter()
            .filter(|point| point.phase.is_some_and(wanted));
        most_frequent(values.map(|point| point.value))
    };
    let (empty, loaded) = if series
        .iter()
        .any(|point| point.phase == Some(Phase::Loaded))
    {
        (
            phased(|phase| phase == Phase::Empty)
                .or_else(|| phased(|phase| phase == Phase::Lifted)),
            phased(|phase| phase == Phase::Loaded),
        )
    } else {
        let fit = |rise: Decimal| {
            let units = weight.map_or_else(Vec::new, |weight| units_of(weight, rise, step));
            u8::from(!units.is_empty()) + u8::from(stated.is_some_and(|unit| units.contains(&unit)))
        };
        by_themselves(series, near(series), fit)
    };
    let units = match (weight, loaded) {
        (Some(weight), Some(loaded)) => {
            let empty = empty.unwrap_or_default();
            if leaps(series, empty, loaded) {
                Vec::new()
            } else {
                units_of(weight, loaded - empty, step)
            }
        }
        _ => Vec::new(),
    };
    Levels {
        empty,
        loaded,
        units,
    }
}

/// Whether the weight was seen at two values, each its mass in another unit: a unit key was pressed.
pub(super) fn is_two_units(series: &[Point], levels: &Levels, weight: Option<Mass>) -> bool {
    let (Some(weight), Some(loaded)) = (weight, levels.loaded) else {
        return false;
    };
    let (near, zero) = (near(series), levels.empty.unwrap_or_default());
    // However few its steps are: this is to doubt, not to prove.
    let fine = step(decimals(series)) / Decimal::from(100);
    let fits = |rest: Decimal| units_of(weight, rest - zero, fine);
    let first = fits(loaded);
    rests(series, near)
        .into_iter()
        .filter(|rest| (*rest - loaded).abs() > near)
        .any(|rest| fits(rest).iter().any(|unit| !first.contains(unit)))
}

/// Whether values lie far beyond the weight, again and again: a weight that comes and goes is never
/// shown as twice itself, so what is read is not its mass. One odd value may be an overload or noise.
fn leaps(series: &[Point], empty: Decimal, loaded: Decimal) -> bool {
    let rise = (loaded - empty).abs();
    let mut beyond: Vec<Decimal> = series
        .iter()
        .map(|point| point.value)
        .filter(|value| (value - empty).abs() > rise * Decimal::TWO)
        .collect();
    beyond.sort();
    beyond.dedup();
    beyond.len() >= 3
}

/// The levels that the values tell by themselves: the farthest from zero at which they rested, of
/// those that fit the weight best, and the nearest to zero.
fn by_themselves(
    series: &[Point],
    near: Decimal,
    fit: impl Fn(Decimal) -> u8,
) -> (Option<Decimal>, Option<Decimal>) {
    let rests = rests(series, near);
    let empty = rests.iter().copied().min_by_key(Decimal::abs);
    // A weight that was tared and lifted rests as far below zero.
    let rank = |rest: &Decimal| {
        let rise = *rest - empty.unwrap_or_default();
        (fit(rise), rest.abs(), rise)
    };
    let loaded = rests.iter().copied().max_by_key(rank);
    match (empty, loaded) {
        (Some(empty), Some(loaded)) if (loaded - empty).abs() > near => (Some(empty), Some(loaded)),
        (_, loaded) => (None, loaded),
    }
}

/// The values at which a series rested.
pub(super) fn rests(series: &[Point], near: Decimal) -> Vec<Decimal> {
    let rests: Vec<Decimal> = series
        .chunk_by(|one, other| (one.value - other.value).abs() <= near)
        .filter(|run| run.len() >= 3 || run.len() >= 2 && series.len() <= FEW * 4)
        .filter_map(|run| most_frequent(run.iter().map(|point| point.value)))
        .collect();
    if rests.len() < 2 && series.len() <= FEW {
        return series.iter().map(|point| point.value).collect();
    }
    rests
}

fn most_frequent(values: impl Iterator<Item = Decimal>) -> Option<Decimal> {
    let mut values: Vec<Decimal> = values.collect();
    values.sort();
    let run = values
        .chunk_by(|one, other| one == other)
        .max_by_key(|run| run.len())?;
    run.first().copied()
}

/// The units in which a rise of the display is this mass: to three steps and half a per mille,
/// which tells every pair of units apart that a balance of enough digits can tell.
pub(super) fn units_of(weight: Mass, rise: Decimal, step: Decimal) -> Vec<Unit> {
    let slack = Decimal::new(5, 4);
    let mut found: Vec<(Decimal, Unit)> = Unit::all()
        .filter_map(|unit| {
            let expected = weight.grams().checked_div(unit.grams())?;
            let off = (rise - expected).abs();
            // A weight of a few steps would be found in any small number.
            let heavy = expected >= step * Decimal::from(50);
            let allowed = step * Decimal::from(3) + expected * slack;
            (heavy && off <= allowed).then_some((off, unit))
        })
        .collect();
    found.sort();
    found.into_iter().map(|(_, unit)| unit).collect()
}

/// Whether the pan moved at each point: `Some(true)` within a movement, `Some(false)` within a
/// rest, nothing at the edge of one. A balance that talks faster than it weighs sends each value
/// several times while the pan moves; how often is told by the shortest runs of one value.
pub(super) fn motion(series: &[Point]) -> Vec<Option<bool>> {
    let near = near(series);
    let runs: Vec<usize> = series
        .chunk_by(|one, other| (one.value - other.value).abs() <= near)
        .map(<[_]>::len)
        .collect();
    let mut sorted = runs.clone();
    sorted.sort_unstable();
    let short = sorted.get(sorted.len() / 4).copied().unwrap_or(0);
    let long = sorted.last().copied().unwrap_or(0);
    let short = if long >= 3 * short { short } else { 0 };
    let mut out = Vec::with_capacity(series.len());
    for (at, run) in runs.iter().copied().enumerate() {
        let (first, last) = (at == 0, at + 1 == runs.len());
        for place in 0..run {
            out.push(if run <= short && !first && !last {
                Some(true)
            } else if run < 3 && run <= short {
                None
            } else {
                let begins = place == 0 && !first;
                let ends = place + 1 == run && !last;
                (!begins && !ends).then_some(false)
            });
        }
    }
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    fn series(values: &[&str]) -> Vec<Point> {
        let point = |(line, text): (usize, &&str)| {
            let value: Decimal = text.parse().unwrap();
            Point {
                line,
                value,
                decimals: value.scale(),
                phase: None,
            }
        };
        values.iter().enumerate().map(point).collect()
    }

    #[test]
    fn the_unit_is_told_by_what_the_value_rose_by() {
        let weight: Indication = "20 g".parse().unwrap();
        for (empty, loaded, unit) in [
            ("0.00", "20.00", Unit::Gram),
            ("0.00", "100.00", Unit::Carat),
            ("0.01", "308.65", Unit::Grain),
            ("0.000", "12.860", Unit::Pennyweight),
            ("5.000", "5.643", Unit::TroyOunce),
        ] {
            let values = [
                empty, empty, empty, "3.33", loaded, loaded, loaded, empty, empty,
            ];
            let levels = levels(&series(&values), Some(weight.mass()), None);
            assert_eq!(levels.units.first(), Some(&unit), "{loaded}: {levels:?}");
            assert_eq!(levels.empty, Some(empty.parse().unwrap()));
        }
        let none = levels(
            &series(&["0.00", "0.00", "19.00", "19.00"]),
            Some(weight.mass()),
            None,
        );
        assert!(none.units.is_empty(), "{none:?}");
    }

    #[test]
    fn moving_is_told_from_resting_however_often_a_value_is_sent() {
        let once = [
            "0.00", "0.01", "5.00", "15.00", "18.00", "20.00", "20.00", "20.00",
        ];
        let (moved, rested) = (Some(true), Some(false));
        let want = [rested, None, moved, moved, moved, None, rested, rested];
        assert_eq!(motion(&series(&once)), want);
        // Each value is sent twice, and the rest is longer.
        let twice: Vec<&str> = once
            .iter()
            .chain(&["20.00"; 3])
            .flat_map(|value| [*value; 2])
            .collect();
        let found = motion(&series(&twice));
        assert_eq!(found[..4], [rested, rested, rested, None], "the empty pan");
        assert_eq!(found[4..10], [moved; 6]);
        assert_eq!(found[11..], [rested; 11]);
    }
}
