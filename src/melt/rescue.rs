//! The way back after an overshoot, a low proof or a bad button: every metal that would put the
//! melt right, how much of each and what it costs, or the next lawful standard down.

use rust_decimal::Decimal;

use super::{Added, Demand, Mix, Window, window};
use crate::mass::{Division, Mass};
use crate::metal::{Judged, Mark, MarkLaw};

/// A metal that could be had: one of the shelf, or a further lot like one weighed.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// What to call it in a sentence: `fine gold`, `a further lot like lot 1`.
    pub name: String,
    /// Its gold, and how well that and its weighing are known.
    pub metal: Added,
    /// How much of it there is, where that is kept count of.
    pub stock: Option<Mass>,
    /// What a gram of it costs, where the shop says.
    pub price: Option<Decimal>,
}

/// One way back: so much of a metal.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// The metal.
    pub source: Source,
    /// How much of it.
    pub window: Window,
    /// What its aim costs, where the price is known.
    pub cost: Option<Decimal>,
}

impl Way {
    /// Whether the shelf holds enough of it, as far as it is kept count of.
    pub fn is_in_stock(&self) -> bool {
        self.source
            .stock
            .is_none_or(|stock| stock >= self.window.aim)
    }
}

/// Every source that brings `melt` back between the edges: what the shelf holds before what it
/// does not, the cheapest first, what has no price after that, then the least metal. Empty when
/// the melt needs none or none can.
pub fn ways(melt: &Mix, sources: &[Source], demand: &Demand, division: Division) -> Vec<Way> {
    // Nothing added needs no weighing; the windows below count the doubt of one.
    if melt.is_surely_at_least(demand.lowest, demand.risk) && melt.is_at_most(demand.highest) {
        return Vec::new();
    }
    let mut ways: Vec<Way> = sources
        .iter()
        .filter_map(|source| {
            let window = window(melt, source.metal, demand, division).ok()?;
            let cost = source.price.map(|price| price * window.aim.grams());
            (window.lower.is_positive()).then(|| Way {
                source: source.clone(),
                window,
                cost,
            })
        })
        .collect();
    ways.sort_by_key(|way| {
        (
            !way.is_in_stock(),
            way.cost.is_none(),
            way.cost,
            way.window.aim,
        )
    });
    ways.dedup_by(|a, b| a.source.metal.gold == b.source.metal.gold);
    ways
}

/// The highest mark below the one asked for that the melt surely may carry as it is, by this law
/// and within the risk: what is left when nothing is to be added.
pub fn next_mark<'a>(melt: &Mix, law: &'a MarkLaw, demand: &Demand) -> Option<&'a Mark> {
    let fineness = melt.fineness()?;
    let marks = law.marks_for(fineness, Judged::WithoutSolder).into_iter();
    let mut lower = marks.filter(|mark| mark.fineness < demand.target);
    lower.find(|mark| {
        melt.is_surely_at_least(
            law.lowest(mark.fineness, Judged::WithoutSolder),
            demand.risk,
        )
    })
}
