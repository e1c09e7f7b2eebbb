//! A report to a reading.
//!
//! Promises: digits exactly as sent, with as many decimals as the scaling says; a tael is no unit
//! until it is said whose; what is reserved by the standard gives no mass. Leaves to others: holds
//! and their words.

use rust_decimal::Decimal;

use super::descriptor::{Parts, ScaleLayout};
use super::field::Chosen;
use super::page::{self, Named};
use crate::mass::{Indication, Reading, Shown, Status, Unit};

/// Why a report gives no reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum OddReport {
    /// It is shorter than described, or empty.
    Short,
    /// Its status is reserved by the standard, or there is none.
    OddStatus,
    /// Its weight and scaling make no number that a bench balance shows.
    OddNumber,
}

/// The most decimals and digits that are shown, as for a line.
const MOST_DECIMALS: u32 = 7;
const MOST_DIGITS: u32 = 12;

impl ScaleLayout {
    /// Reads one report, as it comes from the device, its number in front if it has one. `None`
    /// for a report that is no weighing. `tael` says whose tael the scale's tael is, if that is
    /// known.
    ///
    /// # Errors
    /// When it is a weighing that cannot be taken as the standard has it.
    pub fn read(&self, report: &[u8], tael: Option<Unit>) -> Result<Option<Reading>, OddReport> {
        let (id, body) = if self.is_numbered() {
            report.split_first().ok_or(OddReport::Short)?
        } else {
            (&0, report)
        };
        match self.parts(*id) {
            Some(_) if body.is_empty() => Err(OddReport::Short),
            Some(parts) => parts.read(body, tael).map(Some),
            None => Ok(None),
        }
    }
}

impl Parts {
    fn read(&self, body: &[u8], tael: Option<Unit>) -> Result<Reading, OddReport> {
        if body.len() < self.length() {
            return Err(OddReport::Short);
        }
        let status = match self.status.read(body).ok_or(OddReport::Short)? {
            Chosen::Usage(usage) => page::status(usage).ok_or(OddReport::OddStatus)?,
            Chosen::Reserved | Chosen::Nothing => return Err(OddReport::OddStatus),
        };
        let unit = self.unit.read(body).ok_or(OddReport::Short)?;
        let weight = self.weight.read(body).ok_or(OddReport::Short)?;
        let scaling = self.scaling.read(body).ok_or(OddReport::Short)?;
        // Past the limit, or broken, a balance sends whatever its field can hold.
        if matches!(status, Status::OverLimit | Status::Fault) {
            return Ok(Reading {
                shown: Shown::Nothing,
                status,
            });
        }
        let (Some(weight), Some(scaling)) = (weight, scaling) else {
            return Ok(Reading {
                shown: Shown::Nothing,
                status,
            });
        };
        // The weight has no sign of its own in the standard: only the status tells. (One with a
        // sign keeps it.) What is under zero is shown so, and is never captured.
        let weight = match status {
            Status::UnderZero if weight > 0 => -weight,
            _ => weight,
        };
        let number = number(weight, scaling).ok_or(OddReport::OddNumber)?;
        let known = match unit {
            Chosen::Nothing => None,
            Chosen::Reserved => Some(None),
            Chosen::Usage(usage) => Some(match page::unit(usage) {
                Some(Named::Unit(unit)) => Some(unit),
                Some(Named::Tael) => tael,
                Some(Named::Ton) | None => None,
            }),
        };
        let shown = match known {
            None => Shown::UnitUnstated(number),
            Some(None) => Shown::UnitUnknown(number),
            Some(Some(unit)) => {
                Shown::Weighed(Indication::new(number, unit).ok_or(OddReport::OddNumber)?)
            }
        };
        Ok(Reading { shown, status })
    }
}

/// The weight times ten to the power of the scaling, with as many decimals as the scaling says.
fn number(weight: i64, scaling: i64) -> Option<Decimal> {
    let power = u32::try_from(scaling.unsigned_abs()).ok()?;
    let number = if scaling < 0 {
        (power <= MOST_DECIMALS).then(|| Decimal::new(weight, power))?
    } else {
        let factor = 10_i64.checked_pow(power)?;
        Decimal::from(weight.checked_mul(factor)?)
    };
    let most = 10_i128.pow(MOST_DIGITS);
    (number.mantissa().abs() < most).then_some(number)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn scaling_is_exact_and_keeps_zeros() {
        let told = |weight, scaling| number(weight, scaling).map(|it| it.to_string());
        assert_eq!(told(0, -3).as_deref(), Some("0.000"));
        assert_eq!(told(10_000, -4).as_deref(), Some("1.0000"));
        assert_eq!(told(10, 1).as_deref(), Some("100"));
        assert_eq!(told(-12, -2).as_deref(), Some("-0.12"));
        assert_eq!(told(7, 0).as_deref(), Some("7"));
        for (weight, scaling) in [
            (1, -8),
            (1, 12),
            (1, 127),
            (1, -127),
            (i64::MAX, 1),
            (0, i64::MIN),
        ] {
            assert_eq!(told(weight, scaling), None, "{weight} {scaling}");
        }
    }
}
