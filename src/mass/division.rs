//! The division of a balance: the step of its last digit.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use rust_decimal::RoundingStrategy::{
    MidpointAwayFromZero, ToNegativeInfinity, ToPositiveInfinity,
};

use super::{Indication, Mass, Unit, fixed};
use crate::trouble::Trouble;

/// The scale interval d of a balance, in the unit it is read in. A job weighs in this unit only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Division(Indication);

impl Division {
    /// A division of this size; `None` unless it is above zero.
    pub fn new(step: Indication) -> Option<Self> {
        step.mass().is_positive().then_some(Self(step))
    }

    /// The unit that it is read in.
    pub fn unit(self) -> Unit {
        self.0.unit()
    }

    /// One division as a mass.
    pub fn mass(self) -> Mass {
        self.0.mass()
    }

    /// Digits after the point.
    pub fn decimals(self) -> u32 {
        self.0.digits().scale()
    }

    /// The largest multiple of the division that is not above `mass`.
    #[must_use]
    pub fn floor(self, mass: Mass) -> Mass {
        self.rounded(mass, ToNegativeInfinity)
    }

    /// The smallest multiple of the division that is not below `mass`.
    #[must_use]
    pub fn ceil(self, mass: Mass) -> Mass {
        self.rounded(mass, ToPositiveInfinity)
    }

    /// The nearest multiple of the division.
    #[must_use]
    pub fn nearest(self, mass: Mass) -> Mass {
        self.rounded(mass, MidpointAwayFromZero)
    }

    fn rounded(self, mass: Mass, how: rust_decimal::RoundingStrategy) -> Mass {
        let step = self.mass().grams();
        let steps = mass.grams() / step;
        Mass::computed(steps.round_dp_with_strategy(0, how) * step)
    }

    /// The mass as the balance would show it, to the nearest division, in the balance's unit.
    pub fn show(self, mass: Mass) -> Indication {
        let digits = self.in_unit(self.nearest(mass), self.decimals());
        Indication::new(digits, self.unit()).unwrap_or(self.0)
    }

    /// The mass in the balance's unit, for sums that are finer than a division.
    pub fn in_unit(self, mass: Mass, decimals: u32) -> Decimal {
        fixed(mass.grams() / self.unit().grams(), decimals)
    }
}

impl fmt::Display for Division {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for Division {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        Self::new(text.parse()?).ok_or_else(|| {
            Trouble::new(
                "division-unreadable",
                format!("A division of {text} is no division."),
                "Nothing can be rounded to it.",
                "Give the step of the balance's last digit, as in 0.01 g.",
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    #[test]
    fn rounding_is_exact_in_any_unit() {
        let d: Division = "0.02 dwt".parse().unwrap();
        assert_eq!(d.floor(mass("12.46 dwt")), mass("12.46 dwt"));
        assert_eq!(d.ceil(mass("12.46 dwt")), mass("12.46 dwt"));
        assert_eq!(d.floor(mass("12.4799 dwt")), mass("12.46 dwt"));
        assert_eq!(d.ceil(mass("12.4601 dwt")), mass("12.48 dwt"));
        assert_eq!(d.floor(mass("-0.01 dwt")), mass("-0.02 dwt"));
        assert_eq!(d.show(mass("12.469 dwt")).to_string(), "12.46 dwt");
        assert_eq!(d.show(mass("12.5 dwt")).to_string(), "12.50 dwt");
    }
}
