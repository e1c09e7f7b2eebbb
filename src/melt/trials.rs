//! The Monte Carlo check of the first-order uncertainty (JCGM 101:2008).
//!
//! Draws every mass and every fineness from its distribution - a normal one, or an even one
//! between bounds where the basis says so (half-width u sqrt(3)) - and melts them, many times. What
//! the weighings of a balance have in common is drawn once for each melt.
//! Pure: the same seed gives the same trials. Parts run apart can be put together.

use rand::rngs::SmallRng;
use rand::{RngExt as _, SeedableRng as _};
use rand_distr::StandardNormal;
use rust_decimal::prelude::ToPrimitive as _;

use super::Known;
use super::doubt::{grams, per_mille};
use crate::metal::Fineness;

/// The outcome of so many trials.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Trials {
    count: f64,
    mean: f64,
    /// Sum of squared differences from the mean.
    spread: f64,
    lawful: f64,
}

/// Melts the metals so many times; counts how often the melt is at least `limit`.
pub fn trials(metals: &[Known], limit: Fineness, count: u32, seed: u64) -> Trials {
    let mut rng = SmallRng::seed_from_u64(seed);
    let limit = per_mille(limit);
    let drawn: Vec<[f64; 5]> = metals
        .iter()
        .map(|m| {
            let u_gold = m.u_gold.to_per_mille().to_f64().unwrap_or(0.0);
            [
                grams(m.mass),
                m.u_mass.to_grams(),
                m.u_mass.common_to_grams(),
                per_mille(m.gold),
                u_gold,
            ]
        })
        .collect();
    let even: Vec<bool> = metals.iter().map(|m| m.even).collect();
    let is_off = drawn.iter().any(|[_, _, common, ..]| *common > 0.0);
    let mut all = Trials::default();
    for _ in 0..count {
        let (mut mass, mut gold) = (0.0, 0.0);
        // The balance's own error is drawn once for all that is weighed on it.
        let off = if is_off {
            rng.sample::<f64, _>(StandardNormal)
        } else {
            0.0
        };
        for ([m, u_m, common, f, u_f], even) in drawn.iter().zip(&even) {
            let m = m + common * off + u_m * rng.sample::<f64, _>(StandardNormal);
            let f = if *even {
                f + u_f * 3.0_f64.sqrt() * rng.random_range(-1.0..=1.0)
            } else {
                f + u_f * rng.sample::<f64, _>(StandardNormal)
            };
            mass += m;
            gold += m * f;
        }
        all.take(gold / mass, limit);
    }
    all
}

impl Trials {
    fn take(&mut self, fineness: f64, limit: f64) {
        self.count += 1.0;
        let from = fineness - self.mean;
        self.mean += from / self.count;
        self.spread += from * (fineness - self.mean);
        self.lawful += f64::from(u8::from(fineness >= limit));
    }

    /// These trials and others together.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        let count = self.count + other.count;
        if count == 0.0 {
            return self;
        }
        let apart = other.mean - self.mean;
        Self {
            count,
            mean: self.mean + apart * other.count / count,
            spread: self.spread + other.spread + apart * apart * self.count * other.count / count,
            lawful: self.lawful + other.lawful,
        }
    }

    /// The mean fineness, per mille.
    pub fn mean_ppt(&self) -> f64 {
        self.mean
    }

    /// The standard deviation of the fineness, per mille.
    pub fn u_ppt(&self) -> f64 {
        if self.count < 2.0 {
            0.0
        } else {
            (self.spread / (self.count - 1.0)).sqrt()
        }
    }

    /// The share of trials that were at least the limit.
    pub fn chance(&self) -> f64 {
        if self.count == 0.0 {
            0.0
        } else {
            self.lawful / self.count
        }
    }

    /// Where first order does not hold against these trials, in words; none where it does: the
    /// uncertainty within three per cent, the chance within one in a hundred, both beyond what so
    /// many trials can tell.
    pub fn against(&self, u_ppt: f64, chance: f64) -> Option<String> {
        let noise = 3.0 / self.count.max(1.0).sqrt();
        let (u_off, chance_off) = ((self.u_ppt() - u_ppt).abs(), (self.chance() - chance).abs());
        let mut against = Vec::new();
        if u_off > u_ppt * (0.03 + noise) {
            against.push(format!(
                "the trials spread by {:.3} per mille, first order says {u_ppt:.3}",
                self.u_ppt()
            ));
        }
        if chance_off > 0.01 + noise {
            against.push(format!(
                "{:.1} % of the trials are lawful, first order says {:.1} %",
                self.chance() * 100.0,
                chance * 100.0
            ));
        }
        (!against.is_empty()).then(|| format!("First order fails here: {}.", against.join("; ")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mass::Indication;
    use crate::melt::{FinenessDoubt, MassDoubt, Mix};

    fn known(mass: &str, gold: &str, u: &str, even: bool) -> Known {
        Known {
            name: gold.to_owned(),
            mass: mass.parse::<Indication>().unwrap().mass(),
            u_mass: MassDoubt::grams(0.01 / 6.0_f64.sqrt()),
            gold: gold.parse().unwrap(),
            u_gold: FinenessDoubt::per_mille(u.parse().unwrap()),
            even,
        }
    }

    fn first_order(metals: &[Known], limit: Fineness) -> (f64, f64) {
        let mix = metals.iter().fold(Mix::NOTHING, |mix, m| {
            mix.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
        });
        (mix.u_ppt(), mix.chance_at_least(limit))
    }

    #[test]
    fn trials_agree_with_first_order_where_it_holds_and_say_where_it_fails() {
        let limit: Fineness = "750".parse().unwrap();
        let usual = [
            known("14.86 g", "873.5", "0.866", true),
            known("4.12 g", "752", "1.0", false),
            known("2.40 g", "0 ppt", "0", false),
        ];
        let (u, chance) = first_order(&usual, limit);
        let half = trials(&usual, limit, 50_000, 1).with(trials(&usual, limit, 50_000, 2));
        assert_eq!(half.against(u, chance), None, "{half:?}");
        assert!((half.mean_ppt() - 752.0).abs() < 0.1, "{half:?}");
        // A single stamp, everything in its even distribution: the tail is not normal.
        let stamped = [known("20 g", "751", "1.0", true)];
        let (u, chance) = first_order(&stamped, limit);
        let said = trials(&stamped, limit, 100_000, 3)
            .against(u, chance)
            .unwrap();
        assert!(said.contains("lawful"), "{said}");
    }
}
