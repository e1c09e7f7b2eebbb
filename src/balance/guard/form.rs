//! The form of the digits: what a number without a unit says of the division behind it.
//!
//! Another number of decimals, or a last digit that is no multiple of the division, is another
//! division and so most likely another unit, or a mode that counts or shows per cents. Digits that
//! move only in steps of two or five divisions have a coarser division behind them than the
//! bench's: 0.01 g becomes 0.05 ct. Leaves to others: what that is in the end.

use rust_decimal::Decimal;

use crate::mass::Division;

/// What a number says of the division behind it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fit {
    /// The bench's.
    Bench,
    /// Another, from this number on.
    Other,
    /// A coarser one, for some numbers already.
    Coarser,
}

/// Follows the digits of a balance that sends no unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Form {
    step: Decimal,
    decimals: u32,
    last: Option<Decimal>,
    /// Different numbers in a row that were whole multiples of two, and of five, divisions.
    twos: u32,
    fives: u32,
}

/// So many different numbers in a row that are multiples of five divisions are no chance: one run
/// of them in 5^10, ten million.
const FIVES: u32 = 10;
/// The same for two: 2^24, seventeen million.
const TWOS: u32 = 24;

impl Form {
    pub(super) fn new(division: Division) -> Self {
        let decimals = division.decimals();
        Self {
            step: division.in_unit(division.mass(), decimals),
            decimals,
            last: None,
            twos: 0,
            fives: 0,
        }
    }

    /// Whether the digits have the decimals and the step of the division.
    pub(super) fn fits(&self, digits: Decimal) -> bool {
        digits.scale() == self.decimals && is_multiple(digits, self.step)
    }

    /// Takes the next number; says what division is behind it.
    pub(super) fn take(&mut self, digits: Decimal) -> Fit {
        if self.last != Some(digits) {
            // The same number again says nothing new, nor does one next to it that trembles.
            let far = self
                .last
                .is_none_or(|last| (digits - last).abs() > self.step);
            self.last = Some(digits);
            let counted = |run: u32, times: i64| {
                if !is_multiple(digits, self.step * Decimal::from(times)) {
                    0
                } else if far && !digits.is_zero() {
                    run.saturating_add(1)
                } else {
                    run
                }
            };
            (self.twos, self.fives) = (counted(self.twos, 2), counted(self.fives, 5));
        }
        if !self.fits(digits) {
            Fit::Other
        } else if self.twos >= TWOS || self.fives >= FIVES {
            Fit::Coarser
        } else {
            Fit::Bench
        }
    }

    pub(super) fn forget(&mut self) {
        (self.last, self.twos, self.fives) = (None, 0, 0);
    }
}

fn is_multiple(digits: Decimal, step: Decimal) -> bool {
    step.is_zero() || (digits % step).is_zero()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn first_misfit(division: &str, numbers: &[&str]) -> Option<usize> {
        let mut form = Form::new(division.parse().unwrap());
        numbers
            .iter()
            .position(|number| form.take(number.parse().unwrap()) != Fit::Bench)
    }

    #[test]
    fn decimals_and_steps_of_another_division_are_seen_at_once() {
        assert_eq!(first_misfit("0.01 g", &["0.00", "1.23", "1.2"]), Some(2));
        assert_eq!(first_misfit("0.01 g", &["0.00", "0.000"]), Some(1));
        assert_eq!(first_misfit("0.01 g", &["1.23", "12"]), Some(1));
        assert_eq!(first_misfit("0.05 ct", &["1.25", "1.30", "1.26"]), Some(2));
    }

    #[test]
    fn a_coarser_division_is_seen_from_numbers_in_a_row_and_chance_is_not() {
        let fives: Vec<String> = (0..12).map(|n| format!("{}.{}5", n, n % 10)).collect();
        let fives: Vec<&str> = fives.iter().map(String::as_str).collect();
        assert_eq!(first_misfit("0.01 g", &fives), Some(9));
        let mut broken = fives.clone();
        broken[8] = "8.83";
        assert_eq!(first_misfit("0.01 g", &broken), None);
        let resting = ["5.00"; 100];
        assert_eq!(first_misfit("0.01 g", &resting), None);
    }
}
