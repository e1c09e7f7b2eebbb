//! Several additions: how much of each is still to come.

use rust_decimal::Decimal;

use super::{Demand, Mix};
use crate::mass::Mass;
use crate::metal::Fineness;

/// An addition still to come: its fineness, and its share of all that is still to come (parts by
/// mass against the other shares).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Planned {
    /// Gold in it.
    pub gold: Fineness,
    /// Parts by mass, above zero.
    pub share: Decimal,
}

/// The masses, in order, that bring `done` to the aim when the additions still to come keep their
/// proportion to each other. `None` when they cannot: no metal, no lever, or the wrong way.
///
/// With X the whole still to come, shares s summing to S: G + X sum(s f)/S = A (M + X), so
/// X = S (G - A M) / sum(s (A - f)). The aim A lies halfway between the give-away limit and the
/// lowest lawful fineness, or what of it is surely reached as well as the metals are known.
pub fn plan(done: &Mix, to_come: &[Planned], demand: &Demand) -> Option<Vec<Mass>> {
    // A melt that stands at the aim already may still need metal to be sure.
    let first = plan_to(demand.aim(), done, to_come);
    let finished = first
        .iter()
        .flatten()
        .zip(to_come)
        .fold(*done, |mix, (mass, p)| mix.with(*mass, p.gold));
    match finished.sure_aim(demand) {
        aim if aim == demand.aim() => first,
        aim => plan_to(aim, done, to_come),
    }
}

/// The mass of the melt once the additions still to come have brought it to the target exactly; as it
/// is, where they cannot.
pub fn finished_mass(done: &Mix, to_come: &[Planned], target: Fineness) -> Mass {
    let masses = plan_to(target, done, to_come).unwrap_or_default();
    masses
        .into_iter()
        .fold(done.mass(), |whole, mass| whole + mass)
}

fn plan_to(aim: Fineness, done: &Mix, to_come: &[Planned]) -> Option<Vec<Mass>> {
    let lever: Decimal = to_come
        .iter()
        .map(|p| p.share * (aim.three_thousandths() - p.gold.three_thousandths()))
        .sum();
    let each = done.surplus(aim).checked_div(lever)?;
    if each.is_sign_negative() && !each.is_zero() || done.mass() == Mass::ZERO {
        return None;
    }
    to_come
        .iter()
        .map(|p| Mass::from_grams(each.checked_mul(p.share)?))
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::{Division, Indication};

    #[test]
    fn shares_keep_their_proportion_and_later_ones_follow_what_was_weighed() {
        let d: Division = "0.01 g".parse().unwrap();
        let target: Fineness = "750".parse().unwrap();
        let demand = Demand {
            target,
            lowest: target,
            highest: target,
            risk: crate::melt::Risk::default(),
        };
        let lots = Mix::NOTHING.with(
            "30 g".parse::<Indication>().unwrap().mass(),
            Fineness::pure(),
        );
        let silver = Planned {
            gold: Fineness::NONE,
            share: Decimal::ONE,
        };
        let masses = plan(&lots, &[silver, silver], &demand).unwrap();
        assert_eq!(
            masses
                .iter()
                .map(|m| d.show(*m).to_string())
                .collect::<Vec<_>>(),
            ["5.00 g", "5.00 g"]
        );
        // Half a gram too much of the first leaves half a gram less of the second.
        let after = lots.with(
            "5.50 g".parse::<Indication>().unwrap().mass(),
            Fineness::NONE,
        );
        assert_eq!(
            d.show(plan(&after, &[silver], &demand).unwrap()[0])
                .to_string(),
            "4.50 g"
        );
        let ruined = lots.with(
            "10.50 g".parse::<Indication>().unwrap().mass(),
            Fineness::NONE,
        );
        assert_eq!(plan(&ruined, &[silver], &demand), None);
    }
}
