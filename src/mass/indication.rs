//! What a balance shows: digits and a unit, kept as shown.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use super::{Mass, Unit, typed_number};
use crate::trouble::Trouble;

/// A mass exactly as it was indicated or typed: its digits, trailing zeros included, and its unit.
///
/// Equality is of what is shown: `"12.460 g"` is not `"12.46 g"`. Compare [`Indication::mass`]
/// for the quantity.
#[derive(Debug, Clone, Copy)]
pub struct Indication {
    digits: Decimal,
    unit: Unit,
}

impl PartialEq for Indication {
    fn eq(&self, other: &Self) -> bool {
        self.unit == other.unit
            && self.digits == other.digits
            && self.digits.scale() == other.digits.scale()
    }
}

impl Eq for Indication {}

/// Digits that may stand after the point.
const MOST_DECIMALS: u32 = 7;

impl Indication {
    /// An indication of these digits; `None` when it is beyond what any bench balance shows:
    /// more than 12 digits, more than 7 decimals, or above [`Mass::LIMIT_GRAMS`].
    pub fn new(digits: Decimal, unit: Unit) -> Option<Self> {
        if digits.scale() > MOST_DECIMALS {
            return None;
        }
        let digits = if digits.is_zero() {
            digits.abs()
        } else {
            digits
        };
        Mass::from_grams(digits.checked_mul(unit.grams())?)?;
        Some(Self { digits, unit })
    }

    /// The digits as shown.
    pub fn digits(self) -> Decimal {
        self.digits
    }

    /// The unit shown.
    pub fn unit(self) -> Unit {
        self.unit
    }

    /// What is left when `other` is taken off, as it would be shown; `None` in another unit.
    pub fn minus(self, other: Self) -> Option<Self> {
        (self.unit == other.unit)
            .then(|| Self::new(self.digits - other.digits, self.unit))
            .flatten()
    }

    /// The exact mass.
    pub fn mass(self) -> Mass {
        Mass::computed(self.digits * self.unit.grams())
    }
}

impl fmt::Display for Indication {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.digits, self.unit)
    }
}

impl FromStr for Indication {
    type Err = Trouble;

    /// Reads `"12.46 g"` or `"24grain"`.
    fn from_str(text: &str) -> Result<Self, Trouble> {
        let text = text.trim();
        let cut = text
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-')))
            .unwrap_or(text.len());
        let (number, symbol) = text.split_at(cut);
        let symbol = symbol.trim();
        if symbol.is_empty() {
            return Err(mass_trouble(
                text,
                "it has no unit",
                "Write the unit with it, as in 12.46 g.",
            ));
        }
        let unit: Unit = symbol.parse()?;
        let digits = typed_number(number)
            .map_err(|no| mass_trouble(text, &no.to_string(), "Write it as in 12.46 g."))?;
        Self::new(digits, unit)
            .ok_or_else(|| mass_trouble(text, "no bench balance weighs that", "Check the digits."))
    }
}

fn mass_trouble(text: &str, why: &str, mend: &str) -> Trouble {
    Trouble::new(
        "mass-unreadable",
        format!("\"{text}\" is not a mass: {why}."),
        "Nothing is taken from it.",
        mend,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_kept_as_shown() {
        for text in ["12.460 g", "0.00 g", "-3.1 ct", "24 grain", "0.0000001 g"] {
            assert_eq!(text.parse::<Indication>().unwrap().to_string(), text);
        }
        assert_eq!(
            "18,42 g".parse::<Indication>().unwrap().to_string(),
            "18.42 g"
        );
        assert_ne!(
            "12.460 g".parse::<Indication>().unwrap(),
            "12.46 g".parse().unwrap()
        );
        assert_eq!(
            "-0.00 g".parse::<Indication>().unwrap().to_string(),
            "0.00 g"
        );
    }

    #[test]
    fn odd_numbers_are_refused() {
        for text in [
            "1e3 g",
            "1,234 g",
            "1.234,5 g",
            "1.2.3 g",
            ".5 g",
            "5. g",
            "12",
            "g",
            "",
            "1234567890123 g",
            "999999 kg",
            "0.00000001 g",
            "--1 g",
        ] {
            assert!(text.parse::<Indication>().is_err(), "{text}");
        }
    }
}
