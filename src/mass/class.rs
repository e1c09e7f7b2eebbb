//! Accuracy classes of balances: errors allowed, and the least load.
//!
//! Source: OIML R 76-1, tables 3 and 6. "In service" is twice the error at verification (restated
//! from a secondary text).

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use super::{Division, Mass};
use crate::trouble::Trouble;

/// An accuracy class.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// Special, I.
    Special,
    /// High, II.
    High,
    /// Medium, III.
    Medium,
    /// Ordinary, IIII.
    Ordinary,
}

impl Class {
    /// Every class with its numeral.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("I", Self::Special),
        ("II", Self::High),
        ("III", Self::Medium),
        ("IIII", Self::Ordinary),
    ];

    /// Loads, in verification scale intervals e, up to which the error allowed is half of one, and
    /// up to which it is one; beyond, it is one and a half.
    fn steps(self) -> (u32, u32) {
        match self {
            Self::Special => (50_000, 200_000),
            Self::High => (5_000, 20_000),
            Self::Medium => (500, 2_000),
            Self::Ordinary => (50, 200),
        }
    }

    /// The largest error allowed at this load when the balance is verified.
    pub fn error_at_verification(self, e: Division, load: Mass) -> Mass {
        let (half, one) = self.steps();
        let load = load.abs();
        let halves = if load <= e.mass().times(half) {
            1
        } else if load <= e.mass().times(one) {
            2
        } else {
            3
        };
        Mass::computed(e.mass().times(halves).grams() / Decimal::TWO)
    }

    /// The largest error allowed at this load in service.
    pub fn error_in_service(self, e: Division, load: Mass) -> Mass {
        self.error_at_verification(e, load).times(2)
    }

    /// The smallest load that may lawfully be weighed.
    pub fn least_load(self, e: Division) -> Mass {
        let tenth = Mass::computed(Decimal::new(1, 1));
        let intervals = match self {
            Self::Special => 100,
            // 50 for the coarser balances of class II, those with e of 0.1 g and more.
            Self::High if e.mass() >= tenth => 50,
            Self::High | Self::Medium => 20,
            Self::Ordinary => 10,
        };
        e.mass().times(intervals)
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let numeral = Self::WORDS
            .iter()
            .find(|(_, class)| class == self)
            .map_or("", |(numeral, _)| numeral);
        f.write_str(numeral)
    }
}

impl FromStr for Class {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        let found = Self::WORDS
            .iter()
            .find(|(numeral, _)| *numeral == text.trim());
        found.map(|(_, class)| *class).ok_or_else(|| {
            Trouble::new(
                "class-unknown",
                format!("\"{text}\" is not an accuracy class."),
                "The balance is taken by its division alone.",
                "Write I, II, III or IIII, as it stands on the balance's plate.",
            )
        })
    }
}

/// The smallest net mass that a balance may weigh to one part in a thousand, by its repeatability:
/// two thousand standard deviations, which count as 0.41 divisions at least (USP chapter 41, 2019).
pub fn least_net(division: Division, repeatability: Option<Mass>) -> Mass {
    let floor = Mass::computed(division.mass().grams() * Decimal::new(41, 2));
    repeatability.unwrap_or_default().max(floor).times(2000)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    #[test]
    fn errors_allowed_step_at_the_tables_loads() {
        // OIML R 76-1, table 6.
        let e: Division = "0.01 g".parse().unwrap();
        let fine: Division = "0.001 g".parse().unwrap();
        for (class, e, load, error) in [
            (Class::High, e, "60 g", "0.010 g"),
            (Class::High, e, "50 g", "0.005 g"),
            (Class::High, e, "310 g", "0.015 g"),
            (Class::Special, fine, "150 g", "0.001 g"),
        ] {
            assert_eq!(
                class.error_at_verification(e, mass(load)),
                mass(error),
                "{class} {load}"
            );
            assert_eq!(class.error_in_service(e, mass(load)), mass(error).times(2));
        }
    }

    #[test]
    fn the_least_load() {
        // OIML R 76-1, table 3.
        assert_eq!(
            Class::High.least_load("0.01 g".parse().unwrap()),
            mass("0.2 g")
        );
        assert_eq!(
            Class::Special.least_load("0.001 g".parse().unwrap()),
            mass("0.1 g")
        );
        assert_eq!(
            Class::High.least_load("0.1 g".parse().unwrap()),
            mass("5 g")
        );
        // USP <41>, 2019 text: s 0.00015 g; s 0.2 mg; s 0.02 mg at d 0.1 mg; s none at d 1 mg.
        for (d, s, least) in [
            ("0.1 mg", Some("0.15 mg"), "0.3 g"),
            ("0.1 mg", Some("0.2 mg"), "400 mg"),
            ("0.1 mg", Some("0.02 mg"), "82 mg"),
            ("1 mg", None, "820 mg"),
        ] {
            assert_eq!(
                least_net(d.parse().unwrap(), s.map(mass)),
                mass(least),
                "{d} {s:?}"
            );
        }
    }
}
