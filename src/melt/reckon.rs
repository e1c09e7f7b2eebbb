//! What to add, without a job or a balance: several metals to some lots, with their windows, for
//! as much as comes of it or for a finished mass.

use rust_decimal::Decimal;

use super::doubt::{Known, Share, budget};
use super::{
    Added, Demand, FinenessDoubt, MassDoubt, Mix, NoWindow, Planned, Window, plan, window,
};
use crate::mass::{Division, Mass};
use crate::metal::{Composition, Fineness};

/// A lot of metal to be used.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// What to call it: `lot 1`.
    pub name: String,
    /// How much of it there is; none for as much as needed.
    pub mass: Option<Mass>,
    /// The fineness as stated.
    pub stated: Fineness,
    /// The fineness that it is taken for, and how well that is known.
    pub taken: Fineness,
    /// How well that is known.
    pub u: FinenessDoubt,
    /// Whether every fineness within its bounds is as likely as another.
    pub even: bool,
    /// What it is made of.
    pub made_of: Composition,
}

/// A metal to add, with its part by mass against the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Addition {
    /// What to call it: `fine silver`.
    pub name: String,
    /// Gold in it, and how well that is known.
    pub metal: Added,
    /// Parts by mass, above zero.
    pub share: Decimal,
    /// What it is made of.
    pub made_of: Composition,
}

/// An addition, reckoned.
#[derive(Debug, Clone, PartialEq)]
pub struct ToAdd {
    /// The metal.
    pub name: String,
    /// The plain mass balance to the target with every fineness as stated, unrounded.
    pub exact: Option<Mass>,
    /// Its window, the others weighed out as planned; or why it is empty, though the metal does
    /// bring the melt to the target.
    pub window: Result<Window, NoWindow>,
    /// What to weigh out: the aim of the window, or, where it is empty, the mass at the give-away
    /// limit, which is the surest of those that waste no more.
    pub aim: Mass,
    /// What it is made of.
    pub made_of: Composition,
}

/// Everything that is reckoned.
#[derive(Debug, Clone, PartialEq)]
pub struct Reckoning {
    /// How much of each lot is used.
    pub used: Vec<(String, Mass)>,
    /// What to add, in order; empty where the lots alone make it.
    pub add: Vec<ToAdd>,
    /// The finished melt with every addition at its aim.
    pub melt: Mix,
    /// What it is made of.
    pub made_of: Composition,
    /// The contributions to its uncertainty, the largest first.
    pub budget: Vec<Share>,
    /// The metals of the finished melt with all that is known of them.
    pub metals: Vec<Known>,
}

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq)]
pub enum NoAnswer {
    /// An addition has no window: which, and why.
    NoWindow(usize, NoWindow),
    /// The finenesses given do not enclose the target.
    NotBetween,
    /// So much cannot be made of what is given: the most that can.
    TooLittle(Mass),
    /// A mass is missing where one is needed.
    MassMissing,
    /// There is nothing to reckon with.
    Nothing,
}

/// An addition with how much of it is planned, and how much by plain mass balance.
struct ToCome<'a> {
    addition: &'a Addition,
    planned: Option<Mass>,
    exact: Option<Mass>,
}

/// Reckons what to add to the lots, all of them used whole.
pub fn reckon(
    lots: &[Lot],
    add: &[Addition],
    demand: &Demand,
    division: Division,
    u_mass: MassDoubt,
) -> Result<Reckoning, NoAnswer> {
    let known = known(lots, u_mass)?;
    let plain = Demand {
        lowest: demand.target,
        highest: demand.target,
        ..*demand
    };
    let shares = shares(add);
    let exact = plan(&as_stated(lots), &shares, &plain);
    let planned = plan(&melted(&known), &shares, demand);
    let nth = |masses: &Option<Vec<Mass>>, at: usize| masses.as_ref()?.get(at).copied();
    let to_come: Vec<ToCome> = add
        .iter()
        .enumerate()
        .map(|(at, addition)| ToCome {
            addition,
            planned: nth(&planned, at),
            exact: nth(&exact, at),
        })
        .collect();
    reckoned(known, lots, &to_come, demand, division)
}

/// The answer for what is planned to come: the windows, and the melt with every addition at its aim.
fn reckoned(
    mut metals: Vec<Known>,
    lots: &[Lot],
    to_come: &[ToCome],
    demand: &Demand,
    division: Division,
) -> Result<Reckoning, NoAnswer> {
    let done = melted(&metals);
    if done.mass() == Mass::ZERO {
        return Err(NoAnswer::Nothing);
    }
    let used = metals.iter().map(|m| (m.name.clone(), m.mass)).collect();
    let mut add = Vec::new();
    for (at, coming) in to_come.iter().enumerate() {
        let addition = coming.addition;
        let others = to_come.iter().enumerate().filter(|(other, _)| *other != at);
        let rest = others.fold(done, |mix, (_, other)| {
            let metal = &other.addition.metal;
            other.planned.map_or(mix, |mass| metal.to(&mix, mass))
        });
        let window = window(&rest, addition.metal, demand, division);
        let aim = match (&window, coming.planned) {
            (Ok(window), _) => window.aim,
            // The plan lies at the give-away limit where nothing lower is sure.
            (Err(NoWindow::NotSure { .. } | NoWindow::TooCoarse { .. }), Some(mass)) => {
                if addition.metal.gold > demand.target {
                    division.floor(mass)
                } else {
                    division.ceil(mass)
                }
            }
            (Err(why), _) => return Err(NoAnswer::NoWindow(at, *why)),
        };
        metals.push(Known {
            name: addition.name.clone(),
            mass: aim,
            u_mass: addition.metal.u_mass,
            gold: addition.metal.gold,
            u_gold: addition.metal.u_gold,
            even: false,
        });
        add.push(ToAdd {
            name: addition.name.clone(),
            exact: coming.exact,
            window,
            aim,
            made_of: addition.made_of.clone(),
        });
    }
    let parts = lots
        .iter()
        .map(|lot| (lot.mass.unwrap_or_default(), &lot.made_of));
    let made_of = Composition::mixed(parts.chain(add.iter().map(|a| (a.aim, &a.made_of))));
    Ok(Reckoning {
        used,
        melt: melted(&metals),
        made_of: made_of.ok_or(NoAnswer::Nothing)?,
        budget: budget(&metals),
        metals,
        add,
    })
}

/// Reckons for a finished mass. Where the lots make more, as much of each is left over in
/// proportion; where they make less, they are used up and the additions are joined by `filler`, a
/// metal on the other side of the target.
pub fn reckon_for(
    make: Mass,
    lots: &[Lot],
    add: &[Addition],
    filler: Option<&Addition>,
    demand: &Demand,
    division: Division,
    u_mass: MassDoubt,
) -> Result<Reckoning, NoAnswer> {
    let known = known(lots, u_mass)?;
    let done = melted(&known);
    let shares = shares(add);
    let added: Mass = plan(&done, &shares, demand).into_iter().flatten().sum();
    let makes = done.mass() + added;
    if makes >= make {
        let used: Vec<Lot> = lots
            .iter()
            .map(|lot| Lot {
                mass: lot.mass.and_then(|mass| part(mass, make, makes, division)),
                ..lot.clone()
            })
            .collect();
        return reckon(&used, add, demand, division, u_mass);
    }
    let (Some(filler), Some(mixture)) = (filler, blended(&shares)) else {
        return Err(NoAnswer::TooLittle(makes));
    };
    let total: Decimal = add.iter().map(|a| a.share).sum();
    // Masses of the filler and of each addition, in order.
    let filled = |done: &Mix, aim: Fineness| {
        let (x, y) = fill(make, done, filler.metal.gold, mixture, aim)?;
        let each = add.iter().map(|a| (y * a.share).checked_div(total));
        std::iter::once(Some(x))
            .chain(each)
            .map(|grams| Some(Mass::computed(grams?)))
            .collect::<Option<Vec<Mass>>>()
    };
    let all: Vec<&Addition> = std::iter::once(filler).chain(add).collect();
    let at_aim: Vec<Mass> = filled(&done, demand.aim()).ok_or(NoAnswer::TooLittle(makes))?;
    let finished = at_aim
        .iter()
        .zip(&all)
        .fold(done, |mix, (mass, a)| a.metal.to(&mix, *mass));
    let planned: Vec<Mass> = filled(&done, finished.sure_aim(demand)).unwrap_or(at_aim);
    let exact: Option<Vec<Mass>> = filled(&as_stated(lots), demand.target);
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
    reckoned(known, lots, &to_come, demand, division)
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

/// The lots as taken, each of which must have a mass.
fn known(lots: &[Lot], u_mass: MassDoubt) -> Result<Vec<Known>, NoAnswer> {
    lots.iter()
        .map(|lot| {
            Ok(Known {
                name: lot.name.clone(),
                mass: lot.mass.ok_or(NoAnswer::MassMissing)?,
                u_mass,
                gold: lot.taken,
                u_gold: lot.u,
                even: lot.even,
            })
        })
        .collect()
}

/// The lots with every fineness as stated, exactly.
fn as_stated(lots: &[Lot]) -> Mix {
    lots.iter().fold(Mix::NOTHING, |mix, lot| {
        mix.with(lot.mass.unwrap_or_default(), lot.stated)
    })
}

fn shares(add: &[Addition]) -> Vec<Planned> {
    add.iter()
        .map(|a| Planned {
            gold: a.metal.gold,
            share: a.share,
        })
        .collect()
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

fn melted(metals: &[Known]) -> Mix {
    metals.iter().fold(Mix::NOTHING, |mix, m| {
        mix.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
    })
}

/// The part of a lot that a smaller melt takes, rounded down to the division.
fn part(mass: Mass, make: Mass, makes: Mass, division: Division) -> Option<Mass> {
    let part = (mass.grams() * make.grams()).checked_div(makes.grams())?;
    Some(division.floor(Mass::computed(part)))
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
    use crate::mass::Indication;
    use crate::melt::Risk;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    fn lot(grams: &str, gold: &str) -> Lot {
        let gold: Fineness = gold.parse().unwrap();
        Lot {
            name: "lot".to_owned(),
            mass: Some(mass(grams)),
            stated: gold,
            taken: gold,
            u: FinenessDoubt::NONE,
            even: false,
            made_of: Composition::of_gold(gold),
        }
    }

    fn addition(gold: &str) -> Addition {
        let gold: Fineness = gold.parse().unwrap();
        Addition {
            name: gold.to_string(),
            metal: gold.into(),
            share: Decimal::ONE,
            made_of: Composition::of_gold(gold),
        }
    }

    fn demand(target: &str) -> Demand {
        let target: Fineness = target.parse().unwrap();
        Demand {
            target,
            lowest: target,
            highest: target.plus(Decimal::from(5)),
            risk: Risk::default(),
        }
    }

    #[test]
    fn raising_gives_the_plain_mass_balance_unrounded() {
        let d: Division = "0.01 g".parse().unwrap();
        let found = reckon(
            &[lot("20 g", "10k")],
            &[addition("999.9")],
            &demand("14k"),
            d,
            MassDoubt::NONE,
        )
        .unwrap();
        let exact = found.add[0].exact.unwrap().grams().round_dp(6);
        assert_eq!(exact.to_string(), "8.001920");
        assert!(found.melt.is_at_least("14k".parse().unwrap()));
    }

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
            (small.melt.mass() - mass("12 g")).abs() <= mass("0.03 g"),
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
            (large.melt.mass() - mass("40 g")).abs() <= mass("0.05 g"),
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
            (doubled.melt.mass() - mass("40 g")).abs() <= mass("0.05 g"),
            "{:?}",
            doubled.melt.mass()
        );
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
