//! The weighing of a check weight as it is recorded: what was to be seen, what was seen, and what
//! that says. Leaves to others: when one is asked for (`checking`), and what the unit guard makes
//! of it.

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::record::{Raw, unreadable};
use super::written::{text, text_option};
use crate::balance::Ground;
use crate::mass::{CheckWeight, Class, Division, Indication, Mass, Unit};
use crate::trouble::Trouble;

/// What a check weight said of the balance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CheckVerdict {
    /// It was shown within its limits, in the bench's unit.
    Agreed,
    /// It was shown outside its limits, and no unit explains it.
    Off,
    /// It was shown as it would be in another unit.
    OtherUnit,
}

impl CheckVerdict {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Agreed => "agreed",
            Self::Off => "off",
            Self::OtherUnit => "other-unit",
        }
    }
}

/// One weighing of a check weight.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Checked {
    /// The weight.
    #[serde(with = "text")]
    pub weight: CheckWeight,
    /// How far it may be shown from its nominal mass, in the unit of the bench.
    #[serde(with = "text")]
    pub limit: Indication,
    /// What the balance showed for it above what lay on the pan; the unit is the bench's, by the
    /// line or supposed.
    #[serde(with = "text")]
    pub shown: Indication,
    /// What the balance showed before it was put on, for what lay there.
    #[serde(with = "text_option", default, skip_serializing_if = "Option::is_none")]
    pub beside: Option<Indication>,
    /// That less its nominal mass, in the unit of the bench.
    #[serde(with = "text")]
    pub deviation: Indication,
    /// What it says.
    pub verdict: CheckVerdict,
    /// The unit that the number shown would be right in, if it is another.
    #[serde(with = "text_option", default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<Unit>,
    /// The line as it came.
    #[serde(flatten)]
    pub raw: Raw,
}

/// Digits beyond the division that limits and deviations are given to.
const FINER: u32 = 2;

impl Checked {
    /// What a mass shown for a weight says. `is_stated`: the unit stood in the line; else digits
    /// of another form (`has_form` false) cannot agree.
    pub fn judge(
        weight: CheckWeight,
        shown: Indication,
        (division, class): (Division, Option<Class>),
        (is_stated, has_form): (bool, bool),
        raw: Raw,
    ) -> Option<Self> {
        let limit = weight.limit(division, class);
        let deviation = shown.mass() - weight.nominal().mass();
        let seen = weight
            .unit_of(shown.digits(), division, class)
            .filter(|_| !is_stated);
        let verdict = match seen {
            _ if deviation.abs() <= limit && (is_stated || has_form) => CheckVerdict::Agreed,
            Some(_) => CheckVerdict::OtherUnit,
            None => CheckVerdict::Off,
        };
        let told = |mass: Mass| {
            let digits = division.in_unit(mass, (division.decimals() + FINER).min(7));
            Indication::new(digits, division.unit())
        };
        Some(Self {
            weight,
            limit: told(limit)?,
            shown,
            beside: None,
            deviation: told(deviation)?,
            verdict,
            seen: seen.filter(|_| verdict == CheckVerdict::OtherUnit),
            raw,
        })
    }

    /// The same, put beside what the balance showed as this.
    #[must_use]
    pub fn beside(mut self, lay_there: Indication) -> Self {
        self.beside = Some(lay_there);
        self
    }

    /// What it says, for people.
    pub fn sentence(&self) -> String {
        let Self {
            weight,
            shown,
            limit,
            ..
        } = self;
        let shown_as = format!("The check weight {weight} is shown as {shown}");
        match (self.verdict, self.seen) {
            (CheckVerdict::Agreed, _) => {
                format!("{shown_as}, within its limits of {limit} either way.")
            }
            (CheckVerdict::OtherUnit, Some(unit)) => format!(
                "{shown_as}: the balance weighs in {}. Set it back to {}, then show it the check weight again.",
                unit.name(),
                shown.unit().name()
            ),
            _ => format!(
                "{shown_as}, outside its limits of {limit} either way. See that it is clean, the right one and in the middle of the pan; then adjust the balance as its booklet says, and show it again."
            ),
        }
    }
}

/// A line in the book of check weights, which has the form of a job file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum CheckEntry {
    /// A check weight was weighed.
    CheckWeight {
        /// The bench.
        bench: String,
        /// What came of it.
        #[serde(flatten)]
        checked: Checked,
    },
}

impl CheckEntry {
    /// The keys of the entry as JSON text, without the braces.
    pub fn body(&self) -> Result<String, Trouble> {
        let text = serde_json::to_string(self).map_err(|error| unreadable(&error.to_string()))?;
        let keys = text.strip_prefix('{').and_then(|t| t.strip_suffix('}'));
        Ok(keys.unwrap_or(&text).to_owned())
    }
}

/// The last check weight of a bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LastCheck {
    /// What came of it.
    pub checked: Checked,
    /// How long ago that was when it was told.
    pub age: Duration,
}

/// What the unit of a capture rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum UnitBy {
    /// The unit in the line.
    #[default]
    Line,
    /// A check weight, by its number in the book of check weights.
    CheckWeight(u64),
}

/// How a check weight is named in a capture, before its number.
const BY_WEIGHT: &str = "check-weight ";

impl From<Ground> for UnitBy {
    fn from(ground: Ground) -> Self {
        match ground {
            Ground::Line => Self::Line,
            Ground::CheckWeight(number) => Self::CheckWeight(number),
        }
    }
}

impl fmt::Display for UnitBy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line => f.write_str("line"),
            Self::CheckWeight(number) => write!(f, "{BY_WEIGHT}{number}"),
        }
    }
}

impl FromStr for UnitBy {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        if text == "line" {
            return Ok(Self::Line);
        }
        let number = text
            .strip_prefix(BY_WEIGHT)
            .and_then(|number| number.parse().ok());
        number
            .map(Self::CheckWeight)
            .ok_or_else(|| unreadable(&format!("\"{text}\" is nothing that a unit can rest on")))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn judged(shown: &str, has_form: bool) -> Checked {
        let division: Division = "0.01 g".parse().unwrap();
        Checked::judge(
            "20 g F2".parse().unwrap(),
            shown.parse().unwrap(),
            (division, None),
            (false, has_form),
            Raw::of(shown.as_bytes()),
        )
        .unwrap()
    }

    #[test]
    fn what_a_number_says_of_the_weight() {
        use CheckVerdict::{Agreed, Off, OtherUnit};
        for (shown, verdict, seen) in [
            ("20.00 g", Agreed, None),
            ("20.03 g", Agreed, None),
            ("19.97 g", Agreed, None),
            ("20.04 g", Off, None),
            ("19.50 g", Off, None),
            ("100.00 g", OtherUnit, Some(Unit::Carat)),
            ("12.86 g", OtherUnit, Some(Unit::Pennyweight)),
        ] {
            let judged = judged(shown, true);
            assert_eq!((judged.verdict, judged.seen), (verdict, seen), "{shown}");
        }
        assert_eq!(judged("20.0 g", false).verdict, Off);
    }

    #[test]
    fn an_entry_reads_back_and_says_what_it_rests_on() {
        let checked = judged("20.01 g", true);
        let entry = CheckEntry::CheckWeight {
            bench: "bench".to_owned(),
            checked: checked.clone(),
        };
        let body = entry.body().unwrap();
        assert_eq!(
            body,
            r#""event":"check-weight","bench":"bench","weight":"20 g F2","limit":"0.0308 g","shown":"20.01 g","deviation":"0.0100 g","verdict":"agreed","raw":"20.01 g""#
        );
        let read: CheckEntry = serde_json::from_str(&format!("{{{body}}}")).unwrap();
        assert_eq!(read, entry);
        let checked = checked.beside("29.60 g".parse().unwrap());
        let bench = "bench".to_owned();
        let entry = CheckEntry::CheckWeight { bench, checked };
        let body = entry.body().unwrap();
        assert!(body.contains(r#""beside":"29.60 g""#), "{body}");
        let read: CheckEntry = serde_json::from_str(&format!("{{{body}}}")).unwrap();
        assert_eq!(read, entry);
        for by in [UnitBy::Line, UnitBy::CheckWeight(17)] {
            assert_eq!(by.to_string().parse::<UnitBy>().unwrap(), by);
        }
        assert!("check-weight".parse::<UnitBy>().is_err());
    }
}
