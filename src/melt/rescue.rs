//! The way back after an overshoot: which metals would put the melt right, and how much of each.

use super::{Demand, Mix, Window, window};
use crate::mass::Division;
use crate::metal::Fineness;

/// A metal that could be had: fine gold, one of the shelf, or a further lot like one weighed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// What to call it in a sentence: `fine gold`, `a further lot like lot 1`.
    pub name: String,
    /// Its gold.
    pub gold: Fineness,
}

/// One way back: so much of a metal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    /// The metal.
    pub source: Source,
    /// How much of it.
    pub window: Window,
}

/// Every source that brings `melt` back between the edges, the least metal first. Empty when the
/// melt needs none or none can.
pub fn ways(melt: &Mix, sources: &[Source], demand: &Demand, division: Division) -> Vec<Way> {
    let mut ways: Vec<Way> = sources
        .iter()
        .filter_map(|source| {
            let window = window(melt, source.gold, demand, division).ok()?;
            (window.lower.is_positive()).then(|| Way {
                source: source.clone(),
                window,
            })
        })
        .collect();
    ways.sort_by_key(|way| way.window.aim);
    ways.dedup_by(|a, b| a.source.gold == b.source.gold);
    ways
}
