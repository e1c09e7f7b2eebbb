//! What to add, without a job or a balance: several metals to some lots, with their windows.
//! Leaves to others: how much of the lots to take for a finished mass (`make.rs`).

use rust_decimal::Decimal;

use super::{
    Added, Demand, FinenessDoubt, Known, MassDoubt, Mix, NoWindow, Planned, Share, Window, budget,
    plan, window,
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
pub(super) struct ToCome<'a> {
    pub(super) addition: &'a Addition,
    pub(super) planned: Option<Mass>,
    pub(super) exact: Option<Mass>,
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
pub(super) fn reckoned(
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
        // To the side of more gold.
        let rounded = |mass: Mass, raises: bool| {
            if raises {
                division.ceil(mass)
            } else {
                division.floor(mass)
            }
        };
        let aim = match (&window, coming.planned) {
            // Several keep to their plan, which holds their proportion; the middle of each window
            // counts the others' as given.
            (Ok(window), Some(mass)) if to_come.len() > 1 => {
                rounded(mass, window.raises).clamp(window.lower, window.upper)
            }
            (Ok(window), _) => window.aim,
            // The plan lies at the give-away limit where nothing lower is sure; no further.
            (Err(NoWindow::NotSure { .. } | NoWindow::TooCoarse { .. }), Some(mass)) => {
                rounded(mass, addition.metal.gold <= demand.target)
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
    finished(lots, used, metals, add)
}

/// The answer of these masses: the lots, and behind them in `metals` the additions in order.
pub(super) fn finished(
    lots: &[Lot],
    used: Vec<(String, Mass)>,
    metals: Vec<Known>,
    add: Vec<ToAdd>,
) -> Result<Reckoning, NoAnswer> {
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

impl Reckoning {
    /// Whether every addition has a window.
    pub fn is_open(&self) -> bool {
        self.add.iter().all(|add| add.window.is_ok())
    }
}

/// The lots as taken, each of which must have a mass.
pub(super) fn known(lots: &[Lot], u_mass: MassDoubt) -> Result<Vec<Known>, NoAnswer> {
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
pub(super) fn as_stated(lots: &[Lot]) -> Mix {
    lots.iter().fold(Mix::NOTHING, |mix, lot| {
        mix.with(lot.mass.unwrap_or_default(), lot.stated)
    })
}

/// The additions as they share what is still to come.
pub fn shares(add: &[Addition]) -> Vec<Planned> {
    add.iter()
        .map(|a| Planned {
            gold: a.metal.gold,
            share: a.share,
        })
        .collect()
}

pub(super) fn melted(metals: &[Known]) -> Mix {
    metals.iter().fold(Mix::NOTHING, |mix, m| {
        mix.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
    })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::mass::Indication;
    use crate::melt::Risk;

    pub(in crate::melt) fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    pub(in crate::melt) fn lot(grams: &str, gold: &str) -> Lot {
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

    pub(in crate::melt) fn addition(gold: &str) -> Addition {
        let gold: Fineness = gold.parse().unwrap();
        Addition {
            name: gold.to_string(),
            metal: gold.into(),
            share: Decimal::ONE,
            made_of: Composition::of_gold(gold),
        }
    }

    pub(in crate::melt) fn demand(target: &str) -> Demand {
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
}
