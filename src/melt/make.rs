//! What to add for a finished mass: part of the lots, or all of them filled up.
//!
//! Promises: where the lots, or the shop's metals beside them, make so much at all, no less than the
//! mass asked for comes of what is to be weighed, and a melt with open windows is lawful as surely as
//! the shop asks. Leaves to others: the windows (`window.rs`).

use rust_decimal::Decimal;

use super::reckon::{ToCome, as_stated, finished, known, melted, reckoned, shares};
use super::{
    Addition, Demand, Known, Lot, MassDoubt, Mix, NoAnswer, Planned, Reckoning, Window, plan,
    reckon,
};
use crate::mass::{Division, Mass};
use crate::metal::Fineness;

/// How often more is asked for, so that what is lost in rounding is made up: a division or more each
/// time, and no melt loses more than one a metal.
const ROUNDS: u32 = 64;

/// Reckons for a finished mass. Where the lots make more, as much of each is left over in
/// proportion, as near as the balance weighs; where they make less, they are used up and the additions
/// are joined by `filler`, a metal on the other side of the target. No less than `make` comes of it;
/// only lots that make just so much, or whose window is empty, may fall short by the rounding of the
/// additions.
pub fn reckon_for(
    make: Mass,
    lots: &[Lot],
    add: &[Addition],
    filler: Option<&Addition>,
    demand: &Demand,
    division: Division,
    u_mass: MassDoubt,
) -> Result<Reckoning, NoAnswer> {
    let terms = Terms {
        lots,
        add,
        demand,
        division,
        u_mass,
    };
    let done = melted(&known(lots, u_mass)?);
    let added: Mass = plan(&done, &shares(add), demand)
        .into_iter()
        .flatten()
        .sum();
    let planned = done.mass() + added;
    // What is weighed out lies in the middle of its window, a little beside the plan.
    let weighed = reckon(lots, add, demand, division, u_mass);
    let makes = weighed.map_or(planned, |whole| whole.melt.mass());
    let suffices = makes.max(planned) >= make;
    let is_lawful = |melt: &Mix| melt.is_surely_at_least(demand.lowest, demand.risk);
    // Lots that nothing is added to are as lawful as they are.
    let must_be = !add.is_empty() || is_lawful(&done);
    let is_enough = |found: &Reckoning| {
        found.melt.mass() >= make && (is_lawful(&found.melt) || !must_be || !found.is_open())
    };
    let mut wanted = make;
    let mut best = None;
    for _ in 0..ROUNDS {
        let found = if suffices {
            terms.of_parts(wanted, makes)
        } else {
            terms.filled_up(wanted, &done, filler, planned)
        };
        let found = match found {
            Ok(found) => found,
            Err(why) if best.is_none() => return Err(why),
            Err(_) => {
                // So many divisions of each lot leave no window; a few more may.
                wanted = wanted + division.mass();
                continue;
            }
        };
        if is_enough(&found) {
            return Ok(found);
        }
        if suffices && wanted >= makes {
            // All of every lot is in it.
            return terms.topped_up(found, make);
        }
        let short = make - found.melt.mass();
        wanted = wanted + short.max(division.mass());
        best = Some(found);
    }
    terms.topped_up(best.ok_or(NoAnswer::Nothing)?, make)
}

/// What is the same for every try.
struct Terms<'a> {
    lots: &'a [Lot],
    add: &'a [Addition],
    demand: &'a Demand,
    division: Division,
    u_mass: MassDoubt,
}

impl Terms<'_> {
    /// As much of each lot as makes so much in proportion, to the nearest division, with the additions.
    fn of_parts(&self, wanted: Mass, makes: Mass) -> Result<Reckoning, NoAnswer> {
        let part = |whole: Mass| {
            let part = (whole.grams() * wanted.grams()).checked_div(makes.grams())?;
            Some(self.division.nearest(Mass::computed(part)).min(whole))
        };
        let used: Vec<Lot> = self
            .lots
            .iter()
            .map(|lot| Lot {
                mass: lot.mass.and_then(part),
                ..lot.clone()
            })
            .collect();
        reckon(&used, self.add, self.demand, self.division, self.u_mass)
    }

    /// All of the lots, filled up to so much.
    fn filled_up(
        &self,
        wanted: Mass,
        done: &Mix,
        filler: Option<&Addition>,
        makes: Mass,
    ) -> Result<Reckoning, NoAnswer> {
        let (Some(filler), Some(mixture)) = (filler, blended(&shares(self.add))) else {
            return Err(NoAnswer::TooLittle(makes));
        };
        let total: Decimal = self.add.iter().map(|a| a.share).sum();
        // Masses of the filler and of each addition, in order.
        let filled = |done: &Mix, aim: Fineness| {
            let (x, y) = fill(wanted, done, filler.metal.gold, mixture, aim)?;
            let each = self.add.iter().map(|a| (y * a.share).checked_div(total));
            std::iter::once(Some(x))
                .chain(each)
                .map(|grams| Some(Mass::computed(grams?)))
                .collect::<Option<Vec<Mass>>>()
        };
        let all: Vec<&Addition> = std::iter::once(filler).chain(self.add).collect();
        let at_aim: Vec<Mass> =
            filled(done, self.demand.aim()).ok_or(NoAnswer::TooLittle(makes))?;
        let finished = at_aim
            .iter()
            .zip(&all)
            .fold(*done, |mix, (mass, a)| a.metal.to(&mix, *mass));
        let planned = filled(done, finished.sure_aim(self.demand)).unwrap_or(at_aim);
        let exact = filled(&as_stated(self.lots), self.demand.target);
        let to_come: Vec<ToCome> = all
            .into_iter()
            .zip(&planned)
            .enumerate()
            .filter(|(_, (_, mass))| mass.is_positive())
            .map(|(at, (addition, mass))| ToCome {
                addition,
                planned: Some(*mass),
                exact: exact.as_ref().and_then(|masses| masses.get(at).copied()),
            })
            .collect();
        let known = known(self.lots, self.u_mass)?;
        reckoned(known, self.lots, &to_come, self.demand, self.division)
    }

    /// The same with more of the additions, division by division, as long as too little comes of it and
    /// both their windows and the melt allow it: the one that has the most room goes first.
    fn topped_up(&self, found: Reckoning, make: Mass) -> Result<Reckoning, NoAnswer> {
        let mut best = found;
        while best.melt.mass() < make {
            let more = (0..best.add.len())
                .filter_map(|at| self.with_one_more(&best, at))
                .max_by_key(|(room, _)| *room);
            let Some((_, more)) = more else { break };
            best = more;
        }
        let used = self.lots.iter().zip(&best.used);
        let lots: Vec<Lot> = used
            .map(|(lot, (_, mass))| Lot {
                mass: Some(*mass),
                ..lot.clone()
            })
            .collect();
        finished(&lots, best.used, best.metals, best.add)
    }

    /// With a division more of an addition and the room that is left in its window; none where there
    /// was none.
    fn with_one_more(&self, found: &Reckoning, at: usize) -> Option<(Mass, Reckoning)> {
        let mut more = found.clone();
        let metal = more.metals.len().checked_sub(more.add.len())? + at;
        let (add, known): (_, &mut Known) = (more.add.get_mut(at)?, more.metals.get_mut(metal)?);
        let window: Window = add.window.ok()?;
        let aim = add.aim + self.division.mass();
        (add.aim, known.mass) = (aim, aim);
        more.melt = melted(&more.metals);
        let fits = aim <= window.upper
            && more
                .melt
                .is_surely_at_least(self.demand.lowest, self.demand.risk)
            && more.melt.is_at_most(self.demand.highest);
        fits.then_some((window.upper - aim, more))
    }
}

/// Grams of the filler of gold f and of a mixture of gold g (in three-thousandths) that make so much
/// of `aim` out of what is done, of mass M and gold G: x + y = make - M, G + x f + y g = A make.
/// None where one of them would have to be taken out.
fn fill(
    make: Mass,
    done: &Mix,
    filler: Fineness,
    g: Decimal,
    aim: Fineness,
) -> Option<(Decimal, Decimal)> {
    let short = make - done.mass();
    let wanted = make.grams() * aim.three_thousandths() - done.gold().three_thousandths();
    let x = (wanted - g * short.grams()).checked_div(filler.three_thousandths() - g)?;
    let y = short.grams() - x;
    (x >= Decimal::ZERO && y >= Decimal::ZERO).then_some((x, y))
}

/// How much of each of two finenesses makes a mass of the target: exact, unrounded.
pub fn two_of(
    make: Mass,
    one: Fineness,
    other: Fineness,
    target: Fineness,
) -> Result<(Mass, Mass), NoAnswer> {
    let (low, high) = if one < other {
        (one, other)
    } else {
        (other, one)
    };
    if !(low..=high).contains(&target) || low == high {
        return Err(NoAnswer::NotBetween);
    }
    let lever = one.three_thousandths() - other.three_thousandths();
    let arm = target.three_thousandths() - other.three_thousandths();
    let first = Mass::computed(make.grams() * arm / lever);
    Ok((first, make - first))
}

/// Fineness of the additions together, in three-thousandths.
fn blended(shares: &[Planned]) -> Option<Decimal> {
    let total: Decimal = shares.iter().map(|p| p.share).sum();
    let gold: Decimal = shares
        .iter()
        .map(|p| p.share * p.gold.three_thousandths())
        .sum();
    gold.checked_div(total)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::melt::reckon::tests::{addition, demand, lot, mass};

    #[test]
    fn a_finished_mass_leaves_some_over_or_is_filled_up() {
        let d: Division = "0.01 g".parse().unwrap();
        let lots = [lot("20 g", "22k")];
        let silver = [addition("0 ppt")];
        let small = reckon_for(
            mass("12 g"),
            &lots,
            &silver,
            None,
            &demand("18k"),
            d,
            MassDoubt::NONE,
        )
        .unwrap();
        assert!(
            (mass("12 g")..=mass("12.03 g")).contains(&small.melt.mass()),
            "{:?}",
            small.melt.mass()
        );
        assert!(small.used[0].1 < mass("20 g"));
        let none = reckon_for(
            mass("40 g"),
            &lots,
            &silver,
            None,
            &demand("18k"),
            d,
            MassDoubt::NONE,
        );
        assert!(matches!(none, Err(NoAnswer::TooLittle(_))));
        let fine = addition("999.9");
        let large = reckon_for(
            mass("40 g"),
            &lots,
            &silver,
            Some(&fine),
            &demand("18k"),
            d,
            MassDoubt::NONE,
        )
        .unwrap();
        assert!(
            (mass("40 g")..=mass("40.05 g")).contains(&large.melt.mass()),
            "{:?}",
            large.melt.mass()
        );
        assert_eq!(large.used[0].1, mass("20 g"));
        // As much by plain sums: x + y = 20, 916.67 x 20 + 999.9 x = 750 x 40.
        let exact: Mass = large.add.iter().filter_map(|a| a.exact).sum();
        assert!(
            (exact - mass("20 g")).abs() < mass("0.000001 g"),
            "{exact:?}"
        );
        assert!(large.melt.is_at_least("18k".parse().unwrap()));
        // A lot that stands at the aim already says nothing of how much; the mass to make does.
        let right = [lot("20 g", "752.5")];
        let doubled = reckon_for(
            mass("40 g"),
            &right,
            &silver,
            Some(&fine),
            &demand("18k"),
            d,
            MassDoubt::of_decimal(Decimal::new(4, 3)),
        )
        .unwrap();
        assert!(
            (mass("40 g")..=mass("40.05 g")).contains(&doubled.melt.mass()),
            "{:?}",
            doubled.melt.mass()
        );
    }

    #[test]
    fn what_rounding_takes_is_made_up() {
        let d: Division = "0.01 g".parse().unwrap();
        let silver = [addition("0 ppt")];
        let made = |make: &str, lots: &[Lot]| {
            let (make, none) = (mass(make), MassDoubt::NONE);
            reckon_for(make, lots, &silver, None, &demand("18k"), d, none).unwrap()
        };
        let small = made("12 g", &[lot("20 g", "22k"), lot("4 g", "22k")]);
        assert!((mass("12 g")..=mass("12.01 g")).contains(&small.melt.mass()));
        // The middle of the window is 4.3635 g and the aim 4.36 g: a division more is within it.
        let whole = made("24.363 g", &[lot("20 g", "22k")]);
        assert_eq!(whole.used[0].1, mass("20 g"));
        assert_eq!(whole.melt.mass(), mass("24.37 g"));
        assert_eq!(whole.add[0].aim, mass("4.37 g"));
        assert!(whole.melt.is_at_least("18k".parse().unwrap()));
    }

    #[test]
    fn two_finenesses_by_the_lever() {
        let two = |make: &str, one: &str, other: &str, target: &str| {
            let (a, b) = two_of(
                mass(make),
                one.parse().unwrap(),
                other.parse().unwrap(),
                target.parse().unwrap(),
            )
            .unwrap();
            (a, b)
        };
        // School algebra texts: 18 and 12 karat to 120 g of 16; 20 and 60 per cent to 80 g of 52.
        assert_eq!(
            two("120 g", "18k", "12k", "16k"),
            (mass("80 g"), mass("40 g"))
        );
        assert_eq!(
            two("80 g", "200", "600", "520"),
            (mass("16 g"), mass("64 g"))
        );
        assert!(
            two_of(
                mass("1 g"),
                "18k".parse().unwrap(),
                "20k".parse().unwrap(),
                "22k".parse().unwrap()
            )
            .is_err()
        );
    }
}
