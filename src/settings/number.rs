//! The numbers among the settings: default and bounds of each, written once.
//!
//! Promises: the bounds that are checked are the bounds that are told. Leaves to others: where a
//! number stands in a file.

use std::fmt;
use std::time::Duration;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;

use crate::mass::typed_number_to;

/// A setting that is a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Number {
    pub(super) key: &'static str,
    /// What is counted: `seconds`, `divisions`, `ppt`.
    pub(super) unit: &'static str,
    /// Lowest, default and highest, in thousandths.
    lowest: i64,
    usual: i64,
    highest: i64,
    /// The most digits after the point.
    decimals: u32,
}

/// The most gold that is given away, above the mark. Less than a tenth of a per mille leaves no
/// window on any balance; more than a tenth of the metal is a slip of the pen.
pub(super) const GIVE_AWAY: Number = ppt("give_away", 100, 5_000, 100_000);
/// How far below the mark a melt may be. None is the rule; a law that gives a tolerance gives a
/// small one, and half a karat (about 20) would be another mark.
pub(super) const MINUS_TOLERANCE: Number = ppt("minus_tolerance", 0, 0, 20_000);
/// The largest chance that a melt falls below the lowest lawful fineness, in thousandths. A chance of
/// one half is no care at all; less than one in ten thousand is beyond what is known of any metal.
pub(super) const RISK: Number = ppt("risk", 100, 25_000, 500_000);
/// How far readings at rest may lie apart.
pub(super) const SPAN: Number = divisions("span_divisions", 0, 1, 20);
/// How long they must stay so.
pub(super) const STEADY: Number = seconds("seconds", 100, 1_000, 30_000);
/// How long an addition must rest inside its window.
pub(super) const DWELL: Number = seconds("dwell_seconds", 500, 2_000, 60_000);
/// How near to a mass counts as back at it.
pub(super) const TOLERANCE: Number = divisions("tolerance_divisions", 1, 3, 100);
/// The least load that counts as one.
pub(super) const LEAST_LOAD: Number = divisions("least_load_divisions", 2, 10, 10_000);
/// No line for so long, and the last reading is old. Balances send at least once a second; a
/// minute is far beyond what may be shown as if it were now.
pub(super) const SILENCE: Number = seconds("silence_seconds", 500, 3_000, 60_000);
/// How loud the sound is, in hundredths of full scale.
pub(super) const VOLUME: Number = Number {
    key: "volume",
    unit: "percent",
    lowest: 0,
    usual: 50_000,
    highest: 100_000,
    decimals: 0,
};

/// Every one.
#[cfg(test)]
pub(super) const ALL: [Number; 10] = [
    VOLUME,
    GIVE_AWAY,
    MINUS_TOLERANCE,
    RISK,
    SPAN,
    STEADY,
    DWELL,
    TOLERANCE,
    LEAST_LOAD,
    SILENCE,
];

const fn ppt(key: &'static str, lowest: i64, usual: i64, highest: i64) -> Number {
    Number {
        key,
        unit: "ppt",
        lowest,
        usual,
        highest,
        decimals: 4,
    }
}

const fn seconds(key: &'static str, lowest: i64, usual: i64, highest: i64) -> Number {
    Number {
        key,
        unit: "seconds",
        lowest,
        usual,
        highest,
        decimals: 3,
    }
}

const fn divisions(key: &'static str, lowest: i64, usual: i64, highest: i64) -> Number {
    Number {
        key,
        unit: "divisions",
        lowest: lowest * 1000,
        usual: usual * 1000,
        highest: highest * 1000,
        decimals: 0,
    }
}

impl Number {
    /// What holds when the file does not say.
    pub(super) fn usual(&self) -> Decimal {
        Decimal::new(self.usual, 3).normalize()
    }

    /// Whether a number is inside the bounds, and no finer than it may be.
    pub(super) fn holds(&self, number: Decimal) -> bool {
        let (lowest, highest) = (Decimal::new(self.lowest, 3), Decimal::new(self.highest, 3));
        (lowest..=highest).contains(&number) && number.normalize().scale() <= self.decimals
    }

    /// The bounds in words: `from 0.1 to 30 seconds, with at most 3 decimals`.
    pub(super) fn bounds(&self) -> String {
        let end = |thousandths| Decimal::new(thousandths, 3).normalize();
        let fine = match self.decimals {
            0 => "without decimals".to_owned(),
            n => format!("with at most {n} decimals"),
        };
        format!(
            "from {} to {} {}, {fine}",
            end(self.lowest),
            end(self.highest),
            self.unit
        )
    }
}

/// A number of divisions that passed its bounds.
pub(super) fn count(number: Decimal) -> u32 {
    // Inside the bounds it always fits.
    number.to_u32().unwrap_or(u32::MAX)
}

/// A number of seconds that passed its bounds.
pub(super) fn duration(number: Decimal) -> Duration {
    // Inside the bounds it always fits.
    Duration::from_millis((number * Decimal::from(1000)).to_u64().unwrap_or(u64::MAX))
}

/// A difference of finenesses in parts per thousand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct PerMille(Decimal);

impl PerMille {
    pub(super) fn of(number: Decimal) -> Self {
        Self(number.normalize())
    }

    /// Reads `5 ppt` or `5 ‰`; why not, otherwise.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        let number = text
            .strip_suffix("ppt")
            .or_else(|| text.strip_suffix('‰'))
            .ok_or("it does not end with ppt, parts per thousand")?;
        typed_number_to(number.trim(), Decimal::ONE_THOUSAND)
            .map(Self::of)
            .map_err(|no| no.to_string())
    }

    /// The parts per thousand.
    pub fn amount(self) -> Decimal {
        self.0
    }
}

impl fmt::Display for PerMille {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ppt", self.0)
    }
}
