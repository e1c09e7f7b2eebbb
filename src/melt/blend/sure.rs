//! A blend that is surely lawful, as well as its metals are known.
//!
//! The search of a blend takes every fineness as exact. What is not exactly known must stand above the
//! lowest lawful fineness by the shop's guard, and how large that is depends on the blend itself: so the
//! lowest fineness is raised by the guard of the blend that was found, and the blend is searched anew,
//! until it is sure. Promises: every answer meets all that was asked; it is surely lawful where such a
//! blend was found inside the give-away limit, else it is the surest that wastes no more.

use rust_decimal::Decimal;

use super::{Blend, BlendAsk, NoBlend, blend};
use crate::melt::{FinenessDoubt, MassDoubt, Mix, Risk};

/// How often the lowest fineness is raised: each blend has an uncertainty of its own.
const ROUNDS: u32 = 6;

/// Hundredths of the way from the lowest to the highest fineness, for what is sure only near that.
const NEARER: [i64; 8] = [50, 65, 75, 85, 90, 94, 97, 99];

/// A blend with how sure it is.
#[derive(Debug, Clone, PartialEq)]
pub struct SureBlend {
    /// The blend.
    pub blend: Blend,
    /// Its melt, as well as it is known.
    pub melt: Mix,
    /// Whether the chance of falling below the lowest fineness stays within the risk.
    pub is_sure: bool,
}

/// The best blend that is surely lawful. `lots` says how well the fineness of each lot is known, in
/// order (exactly, where it says nothing); a metal of the shelf is taken as it is said to be. What is
/// weighed is known to `u_mass`.
pub fn sure_blend(
    ask: &BlendAsk,
    lots: &[FinenessDoubt],
    u_mass: MassDoubt,
    risk: Risk,
) -> Result<SureBlend, NoBlend> {
    let solve = |ask_now: &BlendAsk| {
        let blend = blend(ask_now)?;
        let melt = melt(ask, &blend, lots, u_mass);
        Ok::<_, NoBlend>(SureBlend {
            is_sure: melt.is_surely_at_least(ask.lowest, risk),
            melt,
            blend,
        })
    };
    let mut found = solve(ask)?;
    if found.is_sure {
        return Ok(found);
    }
    for _ in 0..ROUNDS {
        if found.is_sure {
            break;
        }
        let sure = found.melt.guarded(ask.lowest, risk);
        if sure >= ask.highest {
            break;
        }
        let surer = solve(&BlendAsk {
            lowest: sure,
            aim: sure.middle(ask.highest),
            ..ask.clone()
        });
        match surer {
            Ok(surer) => found = surer,
            Err(_) => break,
        }
    }
    // Near the give-away limit each step changes the blend, and a guard can miss it: the limit is come
    // at in smaller and smaller steps, and the blend of the least metal that is sure is taken.
    let room = ask.highest.three_thousandths() - ask.lowest.three_thousandths();
    let near = NEARER.iter().filter_map(|part| {
        let lowest = ask
            .lowest
            .plus(room * Decimal::new(*part, 2) / Decimal::from(3));
        let nearer = solve(&BlendAsk {
            lowest,
            aim: lowest.middle(ask.highest),
            ..ask.clone()
        });
        nearer.ok().filter(|nearer| nearer.is_sure)
    });
    let used =
        |found: &SureBlend| -> Decimal { found.blend.lots.iter().map(|mass| mass.grams()).sum() };
    let raised = found.is_sure.then(|| found.clone());
    let best = near.chain(raised).min_by_key(|found| {
        (
            std::cmp::Reverse(used(found)),
            found.blend.cost.is_none(),
            found.blend.cost,
            found.blend.mass,
        )
    });
    if let Some(best) = best {
        return Ok(best);
    }
    let surest = solve(&BlendAsk {
        aim: ask.highest,
        ..ask.clone()
    });
    let chance = |found: &SureBlend| found.melt.chance_at_least(ask.lowest);
    match surest {
        Ok(surest) if chance(&surest) > chance(&found) => Ok(surest),
        Ok(_) | Err(_) => Ok(found),
    }
}

/// The melt of a blend; what is not weighed brings no doubt.
fn melt(ask: &BlendAsk, blend: &Blend, doubts: &[FinenessDoubt], u_mass: MassDoubt) -> Mix {
    let doubts = doubts
        .iter()
        .copied()
        .chain(std::iter::repeat(FinenessDoubt::NONE));
    let lots = ask.lots.iter().zip(&blend.lots).zip(doubts);
    let lots = lots.map(|((lot, mass), u)| (*mass, lot.metal.gold(), u));
    let shelf = ask.shelf.iter().zip(&blend.shelf);
    let shelf = shelf.map(|(on, mass)| (*mass, on.metal.gold(), FinenessDoubt::NONE));
    lots.chain(shelf)
        .filter(|(mass, ..)| mass.is_positive())
        .fold(Mix::NOTHING, |mix, (mass, gold, u)| {
            mix.with_known(mass, u_mass, gold, u)
        })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::{Indication, Mass};
    use crate::melt::{BlendLot, BlendMetal, Goal, UnknownPart};
    use rust_decimal::Decimal;

    fn ask(give_away: i64) -> BlendAsk {
        let target = "750".parse::<crate::metal::Fineness>().unwrap();
        let highest = target.plus(Decimal::from(give_away));
        let mass: Mass = "20 g".parse::<Indication>().unwrap().mass();
        BlendAsk {
            lots: vec![BlendLot {
                mass,
                metal: "Au 916 Ag 42 Cu 42".parse().unwrap(),
            }],
            shelf: vec![BlendMetal {
                name: "copper".to_owned(),
                metal: "Cu 1000".parse().unwrap(),
                stock: None,
                price: None,
            }],
            lowest: target,
            aim: target.middle(highest),
            highest,
            limits: Vec::new(),
            silver_share: None,
            mass: None,
            unknown: UnknownPart::Reported,
            division: "0.01 g".parse().unwrap(),
            goal: Goal::Cheapest,
        }
    }

    fn sure(give_away: i64, u: i64) -> SureBlend {
        let u = FinenessDoubt::per_mille(Decimal::new(u, 1));
        let um = MassDoubt::of_decimal(Decimal::new(4, 3));
        sure_blend(&ask(give_away), &[u], um, Risk::default()).unwrap()
    }

    #[test]
    fn the_lowest_fineness_is_raised_as_far_as_the_lots_are_unknown() {
        let plain = blend(&ask(5)).unwrap();
        // Well enough known, the aim in the middle is sure already.
        let known = sure(5, 5);
        assert!(known.is_sure);
        assert_eq!(known.blend, plain);
        // u 2 leaves 2 x 750/916 x 1.96 = 3.2 per mille of guard: less copper, and sure.
        let doubtful = sure(5, 20);
        assert!(doubtful.is_sure);
        assert!(doubtful.blend.fineness > plain.fineness);
        assert!(doubtful.blend.fineness <= ask(5).highest);
        assert!(
            doubtful
                .melt
                .is_surely_at_least(ask(5).lowest, Risk::default())
        );
    }

    #[test]
    fn what_cannot_be_sure_is_the_surest_that_wastes_no_more() {
        // u 5 needs 8 per mille.
        let unsure = sure(5, 50);
        assert!(!unsure.is_sure);
        let division = ask(5).division;
        let one_less = unsure.melt.mass() - division.mass();
        let gold = unsure.melt.gold().three_thousandths();
        // A division less of copper would waste more than the limit.
        assert!(unsure.blend.fineness <= ask(5).highest);
        assert!(gold > one_less.grams() * ask(5).highest.three_thousandths());
        assert!(sure(10, 50).is_sure, "with more given away it is");
    }
}
