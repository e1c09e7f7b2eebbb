//! How sure a melt is: first-order uncertainty of its fineness.
//!
//! The fineness of a melt is F = sum(m f) / M. With every mass m known to u(m) and every fineness
//! f to u(f), all independent, the law of propagation of uncertainty (JCGM 100:2008, 5.1.2) gives
//! u(F)^2 = sum((m/M)^2 u(f)^2) + sum(((f - F)/M)^2 u(m)^2). The sums are kept so that one more
//! metal costs the same however many went before. Binary floating point lives here; what decides
//! a mass is rounded and checked again exactly by the window.

use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive as _, ToPrimitive as _};
use statrs::function::erf::{erfc, erfc_inv};

use crate::mass::Mass;
use crate::metal::Fineness;

/// A standard uncertainty of a fineness, in per mille. Never negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct FinenessDoubt(Decimal);

impl FinenessDoubt {
    /// Exactly known.
    pub const NONE: Self = Self(Decimal::ZERO);

    /// So many per mille; the magnitude counts.
    pub fn per_mille(ppt: Decimal) -> Self {
        Self(ppt.abs())
    }

    /// In per mille.
    pub fn to_per_mille(self) -> Decimal {
        self.0
    }
}

/// A standard uncertainty of a mass, in grams. Never negative.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct MassDoubt(f64);

impl MassDoubt {
    /// Exactly known.
    pub const NONE: Self = Self(0.0);

    /// So many grams; the magnitude counts, and what is no number counts as none.
    pub fn grams(grams: f64) -> Self {
        Self(if grams.is_finite() { grams.abs() } else { 0.0 })
    }

    /// So many grams, written exactly.
    pub fn of_decimal(grams: Decimal) -> Self {
        Self::grams(grams.to_f64().unwrap_or(0.0))
    }

    /// In grams.
    pub fn to_grams(self) -> f64 {
        self.0
    }
}

/// The largest chance that a finished melt falls below the lowest lawful fineness, and the factor
/// of the normal distribution that belongs to it (JCGM 106:2012, 7.3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risk {
    chance: f64,
    factor: f64,
}

impl Risk {
    /// A chance above 0 and at most one half; `None` outside.
    pub fn new(chance: Decimal) -> Option<Self> {
        let chance = chance.to_f64()?;
        let factor = std::f64::consts::SQRT_2 * erfc_inv(2.0 * chance);
        (chance > 0.0 && chance <= 0.5 && factor.is_finite()).then_some(Self { chance, factor })
    }

    /// The chance.
    pub fn chance(self) -> f64 {
        self.chance
    }

    /// So many standard uncertainties must lie between the fineness and the limit.
    pub fn factor(self) -> f64 {
        self.factor
    }
}

impl Default for Risk {
    /// 2.5 per cent, the shop's usual (a choice, common practice).
    fn default() -> Self {
        Self {
            chance: 0.025,
            factor: 1.959_963_984_540_054,
        }
    }
}

/// What is uncertain about metals melted together.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Doubt {
    /// Sum of (m u(f))^2, g^2 ppt^2.
    finenesses: f64,
    /// Sums of u(m)^2 times f^0, f^1, f^2.
    masses: [f64; 3],
}

impl Doubt {
    /// Everything is exactly known.
    pub const NONE: Self = Self {
        finenesses: 0.0,
        masses: [0.0; 3],
    };

    /// Whether everything is exactly known.
    pub fn is_none(&self) -> bool {
        *self == Self::NONE
    }

    /// With one more metal.
    #[must_use]
    pub fn with(self, mass: Mass, u_mass: MassDoubt, fineness: Fineness, u: FinenessDoubt) -> Self {
        let (m, f, uf) = (
            grams(mass),
            per_mille(fineness),
            u.0.to_f64().unwrap_or(0.0),
        );
        let um = u_mass.0 * u_mass.0;
        let [none, one, two] = self.masses;
        Self {
            finenesses: self.finenesses + (m * uf) * (m * uf),
            masses: [none + um, one + um * f, two + um * f * f],
        }
    }

    /// The standard uncertainty in per mille of a melt of this mass in grams and this fineness in
    /// per mille.
    pub(super) fn of_melt(&self, mass: f64, fineness: f64) -> f64 {
        let [none, one, two] = self.masses;
        let masses = two - 2.0 * fineness * one + fineness * fineness * none;
        // A difference of nearly equal sums can come out a hair below nothing.
        ((self.finenesses + masses.max(0.0)).max(0.0)).sqrt() / mass
    }
}

/// The chance that a quantity known as `value` with standard uncertainty `u` lies at or above
/// `limit`, by the normal model: Phi((value - limit)/u) (JCGM 106:2012, 7.3.2).
pub fn chance_at_least(value: f64, u: f64, limit: f64) -> f64 {
    if u <= 0.0 {
        return if value >= limit { 1.0 } else { 0.0 };
    }
    0.5 * erfc((limit - value) / (u * std::f64::consts::SQRT_2))
}

/// A mass in grams, as near as binary can hold it.
pub(super) fn grams(mass: Mass) -> f64 {
    mass.grams().to_f64().unwrap_or(0.0)
}

/// A fineness in per mille, as near as binary can hold it.
pub(super) fn per_mille(fineness: Fineness) -> f64 {
    fineness.three_thousandths().to_f64().unwrap_or(0.0) / 3.0
}

/// Grams from a search, to a tenth of a microgram; `None` beyond what a balance weighs.
pub(super) fn to_mass(grams: f64) -> Option<Mass> {
    Mass::from_grams(Decimal::from_f64(grams)?.round_dp(7))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mass::Indication;
    use crate::melt::Mix;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    #[test]
    fn two_metals_give_the_propagated_figure() {
        // 20.000 g at 416.67 (u 2.0) and 8.000 g at 999.9 (u 0.05), each mass u 0.001 g:
        // 583.305 and 1.4287, worked out from the formula above by hand.
        let known = |ppt: &str| FinenessDoubt::per_mille(ppt.parse().unwrap());
        let um = MassDoubt::grams(0.001);
        let mix = Mix::NOTHING
            .with_known(mass("20.000 g"), um, "10k".parse().unwrap(), known("2.0"))
            .with_known(mass("8.000 g"), um, "999.9".parse().unwrap(), known("0.05"));
        assert_eq!(
            mix.fineness().unwrap().to_per_mille(3).to_string(),
            "583.305"
        );
        assert!((mix.u_ppt() - 1.4287).abs() < 0.0005, "{}", mix.u_ppt());
    }

    #[test]
    fn quantiles_and_chances_are_those_of_the_normal_distribution() {
        // One-sided quantiles of the standard normal distribution, to 1e-6.
        for (risk, factor) in [
            ("0.1", 1.281_552),
            ("0.05", 1.644_854),
            ("0.025", 1.959_964),
            ("0.01", 2.326_348),
            ("0.001", 3.090_232),
        ] {
            let risk = Risk::new(risk.parse().unwrap()).unwrap();
            assert!((risk.factor() - factor).abs() < 1e-6, "{risk:?}");
        }
        assert!((chance_at_least(586.0, 0.8, 585.0) - 0.8944).abs() < 1e-4);
        assert_eq!(Risk::new("0".parse().unwrap()), None);
        assert_eq!(Risk::new("0.6".parse().unwrap()), None);
    }
}
