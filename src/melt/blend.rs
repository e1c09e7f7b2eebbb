//! Blending: how much of each metal of the shelf makes a lawful alloy of the lots, inside every
//! limit, at the least cost or with the most of the client's metal.
//!
//! Promises: every answer is a mass a balance can weigh, and meets every limit exactly after
//! rounding; where it can be had at all, its fineness is not below the aim; where there is no
//! answer, it says which limit is in the way and how near it can be met. The search is a linear program in binary
//! floating point (`blend/program.rs`); nothing of it is believed unchecked. Leaves to others: the
//! window itself and its uncertainty, and what the metals do in the melt.

mod colour;
mod hinder;
mod program;
mod round;
mod share;
mod sure;
mod table;

use rust_decimal::Decimal;

use super::Mix;
use crate::mass::{Division, Mass};
use crate::metal::{Composition, Element, Fineness};
use crate::trouble::Trouble;

pub use colour::{ColourWay, WHITENS, colour_ways};
pub use hinder::Hinder;
use program::Found;
pub use sure::{SureBlend, sure_blend};
use table::Table;

/// A lot of the client's metal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlendLot {
    /// Its mass.
    pub mass: Mass,
    /// What it is made of, as far as known.
    pub metal: Composition,
}

/// A metal of the shelf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlendMetal {
    /// What to call it in a sentence.
    pub name: String,
    /// What it is made of.
    pub metal: Composition,
    /// How much there is; none for as much as needed.
    pub stock: Option<Mass>,
    /// Price of a gram, in the shop's money, not below zero; none if it is not known. A metal
    /// without a price is taken only where the others give no answer, and then counts as ten times
    /// as dear as the dearest of them. Without any price, the cheapest blend is the one that adds
    /// the least metal.
    pub price: Option<Decimal>,
}

/// A limit on an element of the finished alloy, in per mille.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// No more than this; `0` forbids it.
    AtMost(Element, Decimal),
    /// No less than this.
    AtLeast(Element, Decimal),
}

/// What the blend should be best at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Goal {
    /// All lots are used whole, and the metals of the shelf cost the least.
    Cheapest,
    /// As much of the lots as can be, each whole or in part; then the least cost.
    MostOfTheLots,
}

/// How metal of which nothing is known stands to the limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum UnknownPart {
    /// Limits hold for what is known; those that the unknown part could break are named in
    /// [`Blend::unproven`].
    Reported,
    /// Limits must hold whatever the unknown part turns out to be.
    Counted,
}

/// What is to be blended of what, and within which limits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlendAsk {
    /// The client's lots.
    pub lots: Vec<BlendLot>,
    /// The shop's metals that may be added.
    pub shelf: Vec<BlendMetal>,
    /// The lowest fineness that the alloy may have.
    pub lowest: Fineness,
    /// The fineness to aim at, between the two others.
    pub aim: Fineness,
    /// The highest fineness that does not give gold away.
    pub highest: Fineness,
    /// Limits on elements.
    pub limits: Vec<Limit>,
    /// The colour as bounds on silver in silver and copper together, Ag/(Ag+Cu), each 0 to 1.
    pub silver_share: Option<(Decimal, Decimal)>,
    /// The finished mass that is needed; it is met in full and passed by at most a division for
    /// each metal that is weighed (and at most eight).
    pub mass: Option<Mass>,
    /// How metal of which nothing is known stands to the limits.
    pub unknown: UnknownPart,
    /// The division that masses are weighed to.
    pub division: Division,
    /// What to be best at.
    pub goal: Goal,
}

/// A blend that meets every limit exactly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Blend {
    /// How much of each lot, in the order asked.
    pub lots: Vec<Mass>,
    /// How much of each metal of the shelf, in the order asked; zero for one not needed.
    pub shelf: Vec<Mass>,
    /// All of it.
    pub mass: Mass,
    /// Its fineness.
    pub fineness: Fineness,
    /// What it is made of.
    pub metal: Composition,
    /// Price of the shelf's metals in it; none when one of them has no price.
    pub cost: Option<Decimal>,
    /// Limits that hold for what is known, but that the unknown part of the lots could break.
    pub unproven: Vec<Hinder>,
}

/// Why there is no blend.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoBlend {
    /// What was asked contradicts itself or is no measure; the sentence says how.
    Unclear(String),
    /// No blend meets all limits.
    Hindered {
        /// Limits of which dropping any single one would do, each with the nearest that can be
        /// had (see [`Hinder`] for its unit) where that could be worked out.
        alone: Vec<(Hinder, Option<Decimal>)>,
        /// Limits that contradict each other, none of which could be left out of the
        /// contradiction.
        together: Vec<Hinder>,
    },
    /// A blend exists, but none was found in masses that this balance can weigh.
    TooCoarse,
    /// The search failed in its numbers; nothing is known.
    NoAnswer,
}

impl NoBlend {
    /// Told to the person who asked.
    pub fn trouble(&self, ask: &BlendAsk) -> Trouble {
        hinder::trouble(self, ask)
    }
}

/// The most lots and metals together that are searched.
pub const MOST_METALS: usize = 100;
/// The most limits on elements.
pub const MOST_LIMITS: usize = 50;

/// The best blend.
///
/// The search first keeps to the aim exactly, before rounding; if no blend stands there, or it
/// would use less of the lots than another when the most of them is wanted, anywhere in the window.
pub fn blend(ask: &BlendAsk) -> Result<Blend, NoBlend> {
    check(ask).map_err(NoBlend::Unclear)?;
    let table = Table::of(ask);
    let mut second_best = None;
    let (mut was_feasible, mut was_unknown) = (false, false);
    for costs in table.costs() {
        for place in Search::of(&table, &costs) {
            let masses = match place.unrounded() {
                Found::Best(masses) => masses,
                Found::Infeasible => continue,
                Found::Unknown => {
                    was_unknown = true;
                    continue;
                }
            };
            was_feasible = true;
            for masses in place.drawn_in(masses) {
                match round::rounded(&table, &masses) {
                    Some((masses, true)) => return answer(ask, &table, masses),
                    Some((masses, false)) => second_best = second_best.or(Some(masses)),
                    None => {}
                }
            }
        }
        if let Some(masses) = second_best {
            return answer(ask, &table, masses);
        }
    }
    if was_feasible {
        return Err(NoBlend::TooCoarse);
    }
    if was_unknown {
        return Err(NoBlend::NoAnswer);
    }
    Err(hinder::hindered(ask))
}

/// One way to search: where the fineness must stand, with what cost.
struct Search<'a> {
    table: &'a Table,
    costs: &'a [Option<Decimal>],
    at_aim: bool,
    /// Grams of the lots that must be used, when the most of them is wanted.
    of_lots: Option<Decimal>,
}

/// Grams of the lots that may be left behind for the aim: less than any division.
const LEFT_BEHIND: Decimal = Decimal::from_parts(1, 0, 0, false, 7);
/// Divisions that limits are drawn in by, when rounding alone leaves them.
const DRAWN_IN: [i64; 3] = [1, 2, 4];

impl<'a> Search<'a> {
    /// The ways, best first.
    fn of(table: &'a Table, costs: &'a [Option<Decimal>]) -> Vec<Self> {
        let way = |at_aim, of_lots| Self {
            table,
            costs,
            at_aim,
            of_lots,
        };
        if !table.lots_in_part() {
            return vec![way(true, None), way(false, None)];
        }
        // Of all metals: a missing price is no reason to leave more of the lots behind.
        match table.most_of_lots(&table.program(0, &[])) {
            Ok(most) => {
                let least = (most - LEFT_BEHIND).max(Decimal::ZERO);
                vec![way(true, Some(least)), way(false, Some(least))]
            }
            Err(_) => vec![way(false, None)],
        }
    }

    fn unrounded(&self) -> Found {
        self.found(0, &[])
    }

    /// The masses as found, then found again with every limit drawn in further and further, so
    /// that rounding has room.
    fn drawn_in(&self, masses: Vec<Decimal>) -> impl Iterator<Item = Vec<Decimal>> {
        let again = masses.clone();
        std::iter::once(masses).chain(DRAWN_IN.into_iter().filter_map(move |divisions| {
            match self.found(divisions, &again) {
                Found::Best(masses) => Some(masses),
                Found::Infeasible | Found::Unknown => None,
            }
        }))
    }

    /// The best masses with every limit drawn in by what so many divisions of each metal `used`
    /// could do to it.
    fn found(&self, divisions: i64, used: &[Decimal]) -> Found {
        let mut program = self.table.program(divisions, used);
        if self.at_aim {
            program.rows.extend(self.table.aim_rows(divisions, used));
        }
        for (bounds, cost) in program.bounds.iter_mut().zip(self.costs) {
            if cost.is_none() {
                bounds.1 = Some(Decimal::ZERO); // left out
            }
        }
        if let Some(least) = self.of_lots {
            // Drawn-in limits leave room for less of the lots; how much less is found anew.
            let least = if divisions == 0 {
                least
            } else {
                match self.table.most_of_lots(&program) {
                    Ok(most) => (most - LEFT_BEHIND).max(Decimal::ZERO),
                    Err(found) => return found,
                }
            };
            program.rows.push(self.table.lots_row(least));
        }
        let goal: Vec<Decimal> = self.costs.iter().map(|c| c.unwrap_or_default()).collect();
        program.least(&goal)
    }
}

/// The answer of these masses, after a last look at it.
fn answer(ask: &BlendAsk, table: &Table, masses: Vec<Mass>) -> Result<Blend, NoBlend> {
    if !table.holds(&masses) {
        return Err(NoBlend::NoAnswer);
    }
    let shelf = masses.get(ask.lots.len()..).unwrap_or_default().to_vec();
    let lots: Vec<Mass> = masses.into_iter().take(ask.lots.len()).collect();
    let metals = || {
        let lots = lots.iter().zip(ask.lots.iter().map(|lot| &lot.metal));
        let shelf = shelf.iter().zip(ask.shelf.iter().map(|on| &on.metal));
        lots.chain(shelf).map(|(mass, metal)| (*mass, metal))
    };
    let melt = metals().fold(Mix::NOTHING, |melt, (mass, metal)| {
        melt.with(mass, metal.gold())
    });
    let (Some(fineness), Some(metal)) = (melt.fineness(), Composition::mixed(metals())) else {
        return Err(NoBlend::NoAnswer);
    };
    if !melt.is_at_least(ask.lowest) || !melt.is_at_most(ask.highest) {
        return Err(NoBlend::NoAnswer);
    }
    let cost = ask
        .shelf
        .iter()
        .zip(&shelf)
        .filter(|(_, mass)| mass.is_positive())
        .map(|(on, mass)| on.price?.checked_mul(mass.grams()))
        .sum();
    Ok(Blend {
        unproven: hinder::unproven(ask, &lots, &shelf),
        mass: melt.mass(),
        fineness,
        metal,
        cost,
        lots,
        shelf,
    })
}

/// What contradicts itself in what was asked.
fn check(ask: &BlendAsk) -> Result<(), String> {
    let whole = |ppt: Decimal| (Decimal::ZERO..=Decimal::ONE_THOUSAND).contains(&ppt);
    let say = |holds: bool, what: &str| {
        if holds { Ok(()) } else { Err(what.to_owned()) }
    };
    say(
        ask.lots.len() + ask.shelf.len() <= MOST_METALS,
        "there are more than a hundred lots and metals",
    )?;
    say(
        ask.limits.len() <= MOST_LIMITS,
        "there are more than fifty limits",
    )?;
    say(
        ask.lots.iter().all(|lot| lot.mass.is_positive()),
        "a lot weighs nothing",
    )?;
    say(
        ask.mass.map_or(!ask.lots.is_empty(), Mass::is_positive),
        "there is neither a lot nor a mass that is needed",
    )?;
    say(
        ask.lowest <= ask.aim && ask.aim <= ask.highest,
        "the aim does not lie between the lowest and the highest fineness",
    )?;
    let million = Decimal::from(1_000_000);
    say(
        ask.shelf.iter().all(|on| {
            on.price
                .is_none_or(|price| price >= Decimal::ZERO && price <= million)
        }),
        "a price lies below zero or above a million a gram",
    )?;
    say(
        ask.shelf
            .iter()
            .all(|on| on.stock.is_none_or(|stock| !stock.is_negative())),
        "a stock lies below zero",
    )?;
    say(
        ask.limits.iter().all(|limit| match limit {
            Limit::AtMost(_, ppt) | Limit::AtLeast(_, ppt) => whole(*ppt),
        }),
        "a limit lies outside 0 to 1000 per mille",
    )?;
    say(
        ask.silver_share
            .is_none_or(|(low, high)| Decimal::ZERO <= low && low <= high && high <= Decimal::ONE),
        "the share of silver does not run upward between 0 and 1",
    )
}
