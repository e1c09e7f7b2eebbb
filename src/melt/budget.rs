//! Where the uncertainty of a melt comes from: the share of every source, so that the one that is
//! worth knowing better is known. Leaves to others: the uncertainty itself (`doubt.rs`).

use rust_decimal::prelude::ToPrimitive as _;

use super::Mix;
use super::doubt::{FinenessDoubt, MassDoubt, grams, per_mille};
use crate::mass::Mass;
use crate::metal::Fineness;

/// What one source adds to the uncertainty of a melt.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// What it is: `fineness of lot 1`, `accuracy of the balance`.
    pub name: String,
    /// Its own contribution to the standard uncertainty of the fineness, per mille.
    pub u_ppt: f64,
    /// Its part of the whole variance, in per mille of it.
    pub part: u32,
}

/// A metal of a melt, by name, with all that is known of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// What it is: `lot 1`.
    pub name: String,
    /// Its mass.
    pub mass: Mass,
    /// How well that is known.
    pub u_mass: MassDoubt,
    /// Its fineness.
    pub gold: Fineness,
    /// How well that is known.
    pub u_gold: FinenessDoubt,
    /// Whether every fineness within its bounds is as likely as another, as under a stamp; else
    /// the middle is the likeliest.
    pub even: bool,
}

/// The contribution of every source, the largest first: what to know better to be surer.
pub fn budget(metals: &[Known]) -> Vec<Share> {
    let mix = metals.iter().fold(Mix::NOTHING, |mix, m| {
        mix.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
    });
    let Some(fineness) = mix.fineness() else {
        return Vec::new();
    };
    let (whole, fineness) = (grams(mix.mass()), per_mille(fineness));
    // The balance's own error is one source, however many were weighed on it.
    let of_balance: f64 = metals
        .iter()
        .map(|m| (per_mille(m.gold) - fineness) / whole * m.u_mass.common_to_grams())
        .sum();
    let of_balance = ("accuracy of the balance".to_owned(), of_balance.abs());
    let mut shares: Vec<Share> = metals
        .iter()
        .flat_map(|m| {
            let of_gold = grams(m.mass) / whole * m.u_gold.to_per_mille().to_f64().unwrap_or(0.0);
            let of_mass = (per_mille(m.gold) - fineness).abs() / whole * m.u_mass.to_grams();
            [
                (format!("fineness of {}", m.name), of_gold),
                (format!("mass of {}", m.name), of_mass),
            ]
        })
        .chain(std::iter::once(of_balance))
        .filter(|(_, u)| *u > 0.0)
        .map(|(name, u_ppt)| Share {
            name,
            u_ppt,
            part: 0,
        })
        .collect();
    let variance: f64 = shares.iter().map(|share| share.u_ppt * share.u_ppt).sum();
    for share in &mut shares {
        share.part = (share.u_ppt * share.u_ppt / variance * 1000.0)
            .round()
            .to_u32()
            .unwrap_or(0);
    }
    shares.sort_by(|a, b| b.u_ppt.total_cmp(&a.u_ppt));
    shares
}
