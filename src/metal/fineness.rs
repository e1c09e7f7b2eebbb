//! Fineness: parts of gold in the whole by mass, in per mille or in karat.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use crate::mass::{NoNumber, fixed, typed_number_to};
use crate::trouble::Trouble;

/// An exact fineness, from none to pure gold.
///
/// Held in three-thousandths, which 24 and 1000 both divide: 14 karat is 1750 of them and 585 per
/// mille is 1755, both without a remainder. Karat k means k/24 (definition).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Fineness(Decimal);

/// Three-thousandths in the whole.
const WHOLE: i64 = 3000;
/// Three-thousandths in one per mille.
const PER_MILLE: i64 = 3;
/// Three-thousandths in one karat.
const KARAT: i64 = 125;
/// Digits after the point that a fineness in per mille may have.
const MOST_DECIMALS: u32 = 4;
/// And one in karat: as many as a karat moved by any per mille of four decimals needs, so that a
/// limit such as 14 karat and 0.01 per mille can be written exactly.
const MOST_KARAT_DECIMALS: u32 = 7;

impl Fineness {
    /// No gold.
    pub const NONE: Self = Self(Decimal::ZERO);

    /// Pure gold, 1000 per mille.
    pub fn pure() -> Self {
        Self(Decimal::from(WHOLE))
    }

    /// A fineness in per mille; `None` outside 0 to 1000 or with more than four decimals.
    pub fn per_mille(ppt: Decimal) -> Option<Self> {
        Self::stated(ppt, PER_MILLE, MOST_DECIMALS)
    }

    /// A fineness in karat; `None` outside 0 to 24 or with more than seven decimals.
    pub fn karat(karat: Decimal) -> Option<Self> {
        Self::stated(karat, KARAT, MOST_KARAT_DECIMALS)
    }

    fn stated(number: Decimal, each: i64, most_decimals: u32) -> Option<Self> {
        if number.is_sign_negative() && !number.is_zero()
            || number.normalize().scale() > most_decimals
        {
            return None;
        }
        let parts = number.checked_mul(Decimal::from(each))?;
        (parts <= Decimal::from(WHOLE)).then_some(Self(parts.normalize()))
    }

    /// A fineness worked out from exact sums: `gold` in three-thousandths of the same unit as
    /// `mass`. `None` when there is no mass.
    pub(crate) fn of_sums(gold: Decimal, mass: Decimal) -> Option<Self> {
        (mass > Decimal::ZERO)
            .then(|| Self((gold / mass).clamp(Decimal::ZERO, Decimal::from(WHOLE))))
    }

    /// Halfway between two finenesses, exact.
    #[must_use]
    pub fn middle(self, other: Self) -> Self {
        Self((self.0 + other.0) / Decimal::TWO)
    }

    /// Parts in three thousand, exact.
    pub fn three_thousandths(self) -> Decimal {
        self.0
    }

    /// In per mille, rounded half up to `decimals`.
    pub fn to_per_mille(self, decimals: u32) -> Decimal {
        fixed(self.0 / Decimal::from(PER_MILLE), decimals)
    }

    /// In karat, rounded half up to `decimals`.
    pub fn to_karat(self, decimals: u32) -> Decimal {
        fixed(self.0 / Decimal::from(KARAT), decimals)
    }

    /// Lower by so many per mille, not below none.
    #[must_use]
    pub fn less(self, ppt: Decimal) -> Self {
        Self((self.0 - ppt * Decimal::from(PER_MILLE)).max(Decimal::ZERO))
    }

    /// Higher by so many per mille, not above pure.
    #[must_use]
    pub fn plus(self, ppt: Decimal) -> Self {
        Self((self.0 + ppt * Decimal::from(PER_MILLE)).min(Decimal::from(WHOLE)))
    }

    /// Lower by a span that is itself held like a fineness (half a karat, 3 per mille), exact;
    /// not below none.
    #[must_use]
    pub fn below(self, span: Self) -> Self {
        Self((self.0 - span.0).max(Decimal::ZERO))
    }

    /// The fineness as it is written in job files: `750 ppt`, or `14 k` where per
    /// mille cannot write it.
    pub fn stated_text(self) -> String {
        let ppt = self.0 / Decimal::from(PER_MILLE);
        if ppt.scale() <= MOST_DECIMALS {
            format!("{} ppt", ppt.normalize())
        } else {
            format!("{} k", (self.0 / Decimal::from(KARAT)).normalize())
        }
    }
}

impl fmt::Display for Fineness {
    /// Per mille to two decimals, for people: `583.33 ‰`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ppt = self.to_per_mille(2);
        let short = ppt.normalize();
        if short.scale() == 0 {
            write!(f, "{short} ‰")
        } else {
            write!(f, "{ppt} ‰")
        }
    }
}

/// The least that a bare number is taken for: gold is sold from about 333 per mille up.
const LEAST_BARE: u32 = 100;

impl FromStr for Fineness {
    type Err = Trouble;

    /// Reads `585`, `585 ppt`, `585 ‰`, `14k`, `14 k`. A bare number is per mille, and must be
    /// 100 or more, so that a karat without its k, or a percentage, is never taken for one; less is
    /// written `58.5 ppt`, and none is `0`.
    fn from_str(text: &str) -> Result<Self, Trouble> {
        let text = text.trim();
        let cut = text
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
            .unwrap_or(text.len());
        let (number, suffix) = text.split_at(cut);
        let suffix = suffix.trim();
        // More than the whole is not meant, so a comma before three digits is a decimal one.
        let most = if matches!(suffix, "k" | "K") {
            24
        } else {
            1000
        };
        let digits = typed_number_to(number, Decimal::from(most)).map_err(|no| match no {
            NoNumber::Odd => trouble(text, "it does not begin with plain digits"),
            no @ NoNumber::Either { .. } => trouble(text, &no.to_string()),
        })?;
        let fineness = match suffix {
            "" if digits > Decimal::ZERO && digits < Decimal::from(LEAST_BARE) => {
                return Err(trouble(
                    text,
                    "a bare number is per mille, and so few would be hardly any gold",
                ));
            }
            "" | "ppt" | "‰" => Self::per_mille(digits),
            "k" | "K" => Self::karat(digits),
            "ct" | "kt" | "c" => {
                return Err(trouble(
                    text,
                    "ct is the carat, a mass of 0.2 g, and kt is read both ways; karat is written k, as in 18k",
                ));
            }
            "%" => return Err(trouble(text, "per cent is not used for fineness here")),
            _ => return Err(trouble(text, "what follows the number is unknown")),
        };
        fineness.ok_or_else(|| {
            trouble(
                text,
                "it lies outside 0 to 1000 per mille (0 to 24 karat) or has too many decimals",
            )
        })
    }
}

fn trouble(text: &str, why: &str) -> Trouble {
    Trouble::new(
        "fineness-unreadable",
        format!("\"{text}\" is not a fineness: {why}."),
        "Nothing is planned from it.",
        "Write per mille as 585, karat as 14k, and so little gold, if it is meant, as 58.5 ppt.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn f(text: &str) -> Fineness {
        text.parse().unwrap()
    }

    #[test]
    fn karat_and_per_mille_are_both_exact_and_kept_apart() {
        assert_eq!(f("14k").three_thousandths(), Decimal::from(1750));
        assert_eq!(f("585").three_thousandths(), Decimal::from(1755));
        assert!(f("14k") < f("585"));
        assert_eq!(f("18k"), f("750"));
        assert_eq!(f("14k").to_string(), "583.33 ‰");
        assert_eq!(f("585").to_karat(2).to_string(), "14.04");
    }

    #[test]
    fn what_is_written_reads_back_the_same() {
        for text in [
            "14 k",
            "585 ppt",
            "999.9 ppt",
            "916.6 ppt",
            "13.9 k",
            "0 ppt",
            "58.5 ppt",
            "750,5",
            "583,333",
            "22,125 k",
            "22.5 k",
            "14.00024 k", // 14 karat and a hundredth per mille: a give-away limit
            "14.0000024 k",
        ] {
            assert_eq!(f(&f(text).stated_text()), f(text), "{text}");
        }
    }

    #[test]
    fn doubtful_finenesses_are_refused() {
        for text in [
            "14",
            "24",
            "58.5",
            "99.9",
            "14ct",
            "14kt",
            "58%",
            "1001",
            "25k",
            "-1",
            "",
            "k",
            "585.00001",
            "1e2",
        ] {
            assert!(text.parse::<Fineness>().is_err(), "{text}");
        }
    }
}
