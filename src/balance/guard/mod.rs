//! The unit guard: whether the unit of what the balance shows is proven to be the bench's.
//!
//! The first kind of evidence, and the strongest, is the unit in the line. A line in another
//! unit, or with a symbol that the balance file gives no unit for, is a conflict at once; nothing
//! is ever converted. After a conflict the unit must be agreed again, by lines in a row, before
//! the bench goes on.

use crate::mass::{Reading, Shown, Unit};

/// What the guard says of the unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The line states the bench's unit.
    Agreed,
    /// Nothing states the unit: shown, never captured.
    Unproven,
    /// The line states another unit, or an unknown one (`None`).
    Conflict(Option<Unit>),
}

/// Keeps the verdict from line to line.
#[derive(Debug, Clone)]
pub struct UnitGuard {
    unit: Unit,
    verdict: Verdict,
    agreed_in_a_row: u32,
}

/// Lines in the bench's unit, one after another, that end a conflict: one alone could be a
/// garbled one.
const AGREED_AGAIN: u32 = 2;

impl UnitGuard {
    /// A guard for a bench that weighs in this unit; unproven until a line says it.
    pub fn new(unit: Unit) -> Self {
        Self {
            unit,
            verdict: Verdict::Unproven,
            agreed_in_a_row: 0,
        }
    }

    /// The unit of the bench.
    pub fn unit(&self) -> Unit {
        self.unit
    }

    /// The verdict as it stands.
    pub fn verdict(&self) -> Verdict {
        self.verdict
    }

    /// Judges one reading.
    pub fn judge(&mut self, reading: &Reading) -> Verdict {
        let said = match reading.shown {
            Shown::Weighed(mass) if mass.unit() == self.unit => Verdict::Agreed,
            Shown::Weighed(mass) => Verdict::Conflict(Some(mass.unit())),
            Shown::UnitUnknown(_) => Verdict::Conflict(None),
            Shown::UnitUnstated(_) => Verdict::Unproven,
            // A line without digits says nothing of the unit.
            Shown::Nothing => return self.verdict,
        };
        self.agreed_in_a_row = if said == Verdict::Agreed {
            self.agreed_in_a_row.saturating_add(1)
        } else {
            0
        };
        self.verdict = match (self.verdict, said) {
            (conflict @ Verdict::Conflict(_), Verdict::Unproven) => conflict,
            (conflict @ Verdict::Conflict(_), Verdict::Agreed)
                if self.agreed_in_a_row < AGREED_AGAIN =>
            {
                conflict
            }
            (_, said) => said,
        };
        self.verdict
    }

    /// The link was lost: what was proven is not proven any more. A conflict stays.
    pub fn link_lost(&mut self) {
        self.agreed_in_a_row = 0;
        if self.verdict == Verdict::Agreed {
            self.verdict = Verdict::Unproven;
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Status;
    use rust_decimal::Decimal;

    fn line(text: &str) -> Reading {
        let shown = match text.parse() {
            Ok(mass) => Shown::Weighed(mass),
            Err(_) if text.ends_with('?') => Shown::UnitUnknown(Decimal::ONE),
            Err(_) => Shown::UnitUnstated(Decimal::ONE),
        };
        Reading {
            shown,
            status: Status::Unsaid,
        }
    }

    fn verdicts(lines: &[&str]) -> Vec<Verdict> {
        let mut guard = UnitGuard::new(Unit::Gram);
        lines.iter().map(|text| guard.judge(&line(text))).collect()
    }

    #[test]
    fn a_conflict_is_at_once_and_is_ended_only_by_agreement() {
        use Verdict::{Agreed, Conflict, Unproven};
        let ct = Conflict(Some(Unit::Carat));
        assert_eq!(
            verdicts(&["1", "1 g", "5 ct", "1", "1 g", "5 ct", "1 g", "1 g"]),
            [Unproven, Agreed, ct, ct, ct, ct, ct, Agreed]
        );
        assert_eq!(verdicts(&["1 g", "1 ?"])[1], Conflict(None));
    }

    #[test]
    fn a_lost_link_takes_the_proof_away() {
        let mut guard = UnitGuard::new(Unit::Gram);
        guard.judge(&line("1 g"));
        guard.link_lost();
        assert_eq!(guard.verdict(), Verdict::Unproven);
    }
}
