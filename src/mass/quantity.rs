//! An exact mass.

use std::ops::{Add, Neg, Sub};

use rust_decimal::Decimal;

/// An exact mass, held in grams whatever unit it was weighed in.
///
/// Every value is bounded to ±[`Mass::LIMIT_GRAMS`] where it enters, so sums of any number of
/// weighings that fit in memory stay far inside the decimal's range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Mass(Decimal);

impl Mass {
    /// No mass.
    pub const ZERO: Self = Self(Decimal::ZERO);

    /// The largest magnitude that an indication or an order may carry: 100 kg. Far above any
    /// bench balance, far below where exact products would lose digits.
    pub const LIMIT_GRAMS: i64 = 100_000;

    /// A mass of so many grams; `None` beyond the limit.
    pub fn from_grams(grams: Decimal) -> Option<Self> {
        (grams.abs() <= Decimal::from(Self::LIMIT_GRAMS)).then_some(Self(grams))
    }

    /// A result of arithmetic on masses already inside the limit.
    pub(crate) fn computed(grams: Decimal) -> Self {
        Self(grams)
    }

    /// The mass in grams.
    pub fn grams(self) -> Decimal {
        self.0
    }

    /// Whether it is above zero.
    pub fn is_positive(self) -> bool {
        self.0 > Decimal::ZERO
    }

    /// Whether it is below zero, as a net mass can be.
    pub fn is_negative(self) -> bool {
        self.0 < Decimal::ZERO
    }

    /// The magnitude.
    #[must_use]
    pub fn abs(self) -> Self {
        Self(self.0.abs())
    }

    /// Not below zero: a debt of mass counts as none.
    #[must_use]
    pub fn or_zero(self) -> Self {
        self.max(Self::ZERO)
    }

    /// The mass a whole number of times.
    #[must_use]
    pub fn times(self, n: u32) -> Self {
        Self(self.0.saturating_mul(Decimal::from(n)))
    }
}

impl Add for Mass {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for Mass {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Neg for Mass {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl std::iter::Sum for Mass {
    fn sum<I: Iterator<Item = Self>>(masses: I) -> Self {
        masses.fold(Self::ZERO, Add::add)
    }
}
