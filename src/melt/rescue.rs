//! The way back after an overshoot, a low proof or a bad button: every metal that would put the
//! melt right, how much of each and what it costs, or the next lawful standard down.

use rust_decimal::Decimal;

use super::{Added, Demand, Mix, Window, window};
use crate::mass::{Division, Mass};
use crate::metal::{DEFERS, Judged, Mark, MarkLaw};

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

    /// Whether the other way, of metal of the same gold, has nothing that this one has not: it is no
    /// better known or weighed, no more likely to be at hand and no cheaper. A price that is not
    /// known is neither cheaper nor dearer than one that is.
    fn is_no_worse_than(&self, other: &Self) -> bool {
        let (metal, others) = (&self.source.metal, &other.source.metal);
        metal.gold == others.gold
            && metal.u_gold <= others.u_gold
            && metal.u_mass <= others.u_mass
            && (self.is_in_stock() || !other.is_in_stock())
            && match (self.cost, other.cost) {
                (Some(cost), Some(others)) => cost <= others,
                (cost, others) => cost.is_none() && others.is_none(),
            }
    }
}

/// Every source that brings `melt` back between the edges: what the shelf holds before what it
/// does not, the cheapest first, what has no price after that, then the least metal. Of ways by metal
/// of the same gold, one that another is at least as good as in everything is left out. Empty when
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
    let mut kept: Vec<Way> = Vec::new();
    for way in ways {
        if !kept.iter().any(|better| better.is_no_worse_than(&way)) {
            kept.push(way);
        }
    }
    kept
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

/// In a sentence: the marks that a melt may carry; of one that is not surely lawful as asked for, the
/// lower one that it may.
pub fn marks_told(melt: &Mix, law: &MarkLaw, demand: &Demand) -> String {
    if melt.is_surely_at_least(demand.lowest, demand.risk) {
        return law.told(demand.target, Judged::WithoutSolder);
    }
    let lower = next_mark(melt, law, demand).map_or_else(
        || "nor for any lower mark".to_owned(),
        |mark| format!("by {}, it may carry the lower mark {}", law.name, mark.text),
    );
    format!(
        "It is not sure enough to be marked for {}; {lower}. {DEFERS}",
        demand.target
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod tests {
    use super::*;
    use crate::mass::Indication;
    use crate::melt::{FinenessDoubt, Risk};
    use crate::metal::Fineness;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    #[test]
    fn a_way_that_another_beats_in_everything_is_left_out_wherever_it_stands() {
        let target: Fineness = "750".parse().unwrap();
        let demand = Demand {
            target,
            lowest: target,
            highest: target.plus(Decimal::from(5)),
            risk: Risk::default(),
        };
        let source = |name: &str, gold: &str, price: Option<i64>, stock: Option<&str>| Source {
            name: name.to_owned(),
            metal: gold.parse::<Fineness>().unwrap().into(),
            stock: stock.map(mass),
            price: price.map(Decimal::from),
        };
        let unsure = Source {
            metal: Added {
                u_gold: FinenessDoubt::per_mille(Decimal::new(1, 1)),
                ..source("", "916", None, None).metal
            },
            ..source("lot 3", "916", None, None)
        };
        let sources = [
            source("dear fine gold", "999.9", Some(90), None),
            source("coin gold", "916", Some(70), None),
            source("fine gold", "999.9", Some(80), None),
            source("a pinch of fine gold", "999.9", Some(60), Some("0.01 g")),
            source("lot 1", "916", None, None),
            unsure,
            source("lot 2", "916", None, None),
        ];
        let melt = Mix::NOTHING.with(mass("20 g"), "745".parse().unwrap());
        let found = ways(&melt, &sources, &demand, "0.01 g".parse().unwrap());
        let names: Vec<&str> = found.iter().map(|way| way.source.name.as_str()).collect();
        // Cheaper, and out of stock: kept, behind what is there.
        assert_eq!(
            names,
            ["fine gold", "coin gold", "lot 1", "a pinch of fine gold"]
        );
        let costs: Vec<Option<Decimal>> = found.iter().map(|way| way.cost).collect();
        assert!(costs[0] < costs[1], "{costs:?}");
    }
}
