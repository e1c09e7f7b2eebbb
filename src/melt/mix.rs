//! Exact sums of metal.

use rust_decimal::Decimal;

use super::doubt::{Doubt, FinenessDoubt, MassDoubt};
use crate::mass::Mass;
use crate::metal::Fineness;

/// An exact amount of gold, in three-thousandths of a gram, so that karat and per mille sums both
/// close to the last digit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Gold(Decimal);

impl Gold {
    /// The gold in so much metal of this fineness.
    pub fn of(mass: Mass, fineness: Fineness) -> Self {
        Self(mass.grams() * fineness.three_thousandths())
    }

    /// Three-thousandths of a gram, exact.
    pub fn three_thousandths(self) -> Decimal {
        self.0
    }

    /// As a mass of fine gold; the division by 3000 is rounded far beyond any balance.
    pub fn mass(self) -> Mass {
        Mass::computed(self.0 / Decimal::from(3000))
    }

    /// What is left without `other`.
    #[must_use]
    pub fn less(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

/// Metal melted, or to be melted, together.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Mix {
    mass: Mass,
    gold: Gold,
    pub(super) doubt: Doubt,
}

impl Mix {
    /// Nothing yet.
    pub const NOTHING: Self = Self {
        mass: Mass::ZERO,
        gold: Gold(Decimal::ZERO),
        doubt: Doubt::NONE,
    };

    /// With so much more metal of this fineness, both taken as exactly known.
    #[must_use]
    pub fn with(self, mass: Mass, fineness: Fineness) -> Self {
        self.with_known(mass, MassDoubt::NONE, fineness, FinenessDoubt::NONE)
    }

    /// With so much more metal, and how well its mass and its fineness are known.
    #[must_use]
    pub fn with_known(
        self,
        mass: Mass,
        u_mass: MassDoubt,
        fineness: Fineness,
        u: FinenessDoubt,
    ) -> Self {
        Self {
            mass: self.mass + mass,
            gold: Gold(self.gold.0 + Gold::of(mass, fineness).0),
            doubt: self.doubt.with(mass, u_mass, fineness, u),
        }
    }

    /// The whole mass.
    pub fn mass(&self) -> Mass {
        self.mass
    }

    /// The gold in it.
    pub fn gold(&self) -> Gold {
        self.gold
    }

    /// Its fineness; none when there is no metal.
    pub fn fineness(&self) -> Option<Fineness> {
        Fineness::of_sums(self.gold.0, self.mass.grams())
    }

    /// Whether it holds at least this fineness, exactly.
    pub fn is_at_least(&self, fineness: Fineness) -> bool {
        self.surplus(fineness) >= Decimal::ZERO
    }

    /// Whether it holds at most this fineness, exactly.
    pub fn is_at_most(&self, fineness: Fineness) -> bool {
        self.surplus(fineness) <= Decimal::ZERO
    }

    /// Gold above what this fineness asks of the whole mass, in three-thousandths of a gram;
    /// below zero when gold is missing.
    pub fn surplus(&self, fineness: Fineness) -> Decimal {
        self.gold.0 - self.mass.grams() * fineness.three_thousandths()
    }
}
