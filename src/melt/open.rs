//! What would open an empty window: how well each lot would have to be known.
//!
//! Promises: what is named has been tried, and opens every window of the answer, if it is as well known
//! as that and turns out to be what it is taken for. Leaves to others: how to come to know it.

use rust_decimal::Decimal;

use super::{FinenessDoubt, Lot, NoAnswer, Reckoning};

/// How well lots would have to be known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Opening {
    /// Each of these lots, by its place, would open it alone, were its fineness known to this
    /// standard uncertainty, per mille, to a tenth below (to a hundredth where a tenth is too much).
    Alone(Vec<(usize, Decimal)>),
    /// No lot alone opens it; all together do, none known worse than this, per mille.
    Together(Decimal),
    /// Not even lots that are exactly known open it.
    Never,
}

/// What would open the empty windows of an answer, with everything else as it is. `reckon` reckons
/// anew for lots that are known better.
pub fn opening(lots: &[Lot], reckon: impl Fn(&[Lot]) -> Result<Reckoning, NoAnswer>) -> Opening {
    let is_open = |lots: &[Lot]| reckon(lots).is_ok_and(|found| found.is_open());
    let capped = |at: Option<usize>, u: Decimal| -> Vec<Lot> {
        let each = lots.iter().enumerate().map(|(place, lot)| Lot {
            u: if at.is_none_or(|at| at == place) {
                FinenessDoubt::per_mille(u.min(lot.u.to_per_mille()))
            } else {
                lot.u
            },
            ..lot.clone()
        });
        each.collect()
    };
    let known_to = |at: Option<usize>, worst: Decimal| {
        // In tenths of a per mille, else in hundredths: the most that opens.
        [1, 2].into_iter().find_map(|places| {
            let opens = |steps: i64| is_open(&capped(at, Decimal::new(steps, places)));
            most(whole(worst, places), opens).map(|steps| Decimal::new(steps, places))
        })
    };
    let alone: Vec<(usize, Decimal)> = lots
        .iter()
        .enumerate()
        .filter(|(_, lot)| lot.u > FinenessDoubt::NONE)
        .filter_map(|(at, lot)| Some((at, known_to(Some(at), lot.u.to_per_mille())?)))
        .collect();
    if !alone.is_empty() {
        return Opening::Alone(alone);
    }
    let worst = lots.iter().map(|lot| lot.u.to_per_mille()).max();
    let together = worst.and_then(|worst| known_to(None, worst));
    together.map_or(Opening::Never, Opening::Together)
}

/// So many whole steps of a tenth, a hundredth, ... are in it.
fn whole(ppt: Decimal, places: u32) -> i64 {
    let steps = ppt.round_dp_with_strategy(places, rust_decimal::RoundingStrategy::ToZero);
    i64::try_from((steps * Decimal::from(10_i64.pow(places))).trunc()).unwrap_or(0)
}

/// The most steps, from one up to `worst`, that open; none where one does not. What opens is tried, so a
/// gap in between can hide a greater answer and never give a wrong one.
fn most(worst: i64, opens: impl Fn(i64) -> bool) -> Option<i64> {
    if worst < 1 || !opens(1) {
        return None;
    }
    let (mut good, mut bad) = (1, worst + 1);
    while bad - good > 1 {
        let middle = i64::midpoint(good, bad);
        if opens(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Some(good)
}
