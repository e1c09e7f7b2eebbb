//! The digits of a line as an exact decimal.
//!
//! Promises: the digits come out exactly as they were sent, never more and never fewer, but for
//! trailing zeros that the balance is known to have lost; a number that is written in any other
//! way than the layout says is none. Leaves to others: where in the line the digits stand.

use rust_decimal::Decimal;

/// How the digits of a value are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Digits {
    /// As people write them.
    #[default]
    Plain,
    /// From behind: the last digit comes first.
    LastFirst,
    /// A hexadecimal count of the factor.
    Hexadecimal,
    /// The same, in two's complement: the upper half of all counts is below zero.
    HexadecimalSigned,
}

impl Digits {
    /// Every one with its word.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("plain", Self::Plain),
        ("last first", Self::LastFirst),
        ("hexadecimal", Self::Hexadecimal),
        ("hexadecimal, two's complement", Self::HexadecimalSigned),
    ];
    /// The most digits of a count.
    pub const MOST_OF_COUNT: usize = 8;

    /// Whether they count steps instead of stating a value.
    pub fn are_counts(self) -> bool {
        matches!(self, Self::Hexadecimal | Self::HexadecimalSigned)
    }

    /// Whether a factor can be that of a count.
    pub fn is_factor(factor: Decimal) -> bool {
        factor > Decimal::ZERO && factor <= Decimal::ONE_THOUSAND && factor.scale() <= MOST_DECIMALS
    }

    /// The value of hexadecimal digits that count so much each, with the decimals of the factor;
    /// none when they are none or too many.
    pub(in crate::balance) fn counted(self, digits: &[u8], factor: Decimal) -> Option<Decimal> {
        let mut value = Decimal::from(self.count(digits)?) * factor;
        value.rescale(factor.scale());
        Some(value)
    }

    fn count(self, digits: &[u8]) -> Option<i64> {
        let text = std::str::from_utf8(digits).ok()?;
        if text.is_empty() || text.len() > Self::MOST_OF_COUNT || text.starts_with('+') {
            return None;
        }
        let count = i64::from_str_radix(text, 16).ok()?;
        let bits = 4 * u32::try_from(text.len()).ok()?;
        let below = self == Self::HexadecimalSigned && count >> (bits - 1) == 1;
        Some(if below { count - (1 << bits) } else { count })
    }
}

/// How a layout writes its numbers.
#[derive(Debug, Clone, Copy)]
pub(super) struct Writing {
    /// The decimal mark.
    pub(super) decimal: u8,
    /// The mark between groups of three digits, if there is one.
    pub(super) thousands: Option<u8>,
    /// Decimals that the balance shows; a number with fewer is filled up with zeros.
    pub(super) decimals: u32,
    /// How the digits are written.
    pub(super) digits: Digits,
    /// What one count is; one for digits that are no counts.
    pub(super) factor: Decimal,
}

/// The most digits after leading zeros; more than any balance shows.
const MOST_DIGITS: u32 = 12;
/// The most decimals.
const MOST_DECIMALS: u32 = 7;

impl Writing {
    /// Plain digits with at most one decimal mark; blanks only in front. The sign may stand apart,
    /// and so may the last, uncertified digits.
    pub(super) fn read(self, sign: &[u8], digits: &[u8], fine: &[u8]) -> Option<Decimal> {
        match self.digits {
            Digits::Plain => self.read_plain(sign, digits, fine),
            Digits::LastFirst => {
                // A sign in front stays there; one that comes last is in front when turned.
                let (own, digits) = match digits {
                    [b'+' | b'-', rest @ ..] => digits.split_at(digits.len() - rest.len()),
                    _ => (&b""[..], digits),
                };
                let turned: Vec<u8> = own
                    .iter()
                    .chain(digits.trim_ascii().iter().rev())
                    .copied()
                    .collect();
                self.read_plain(sign, &turned, fine)
            }
            Digits::Hexadecimal | Digits::HexadecimalSigned => {
                let (own, digits) = match digits {
                    [b'+' | b'-', rest @ ..] => digits.split_at(digits.len() - rest.len()),
                    _ => (&b""[..], digits),
                };
                let negative = match (own, sign) {
                    (b"", b"" | b"+") | (b"+", b"") => false,
                    (b"", b"-") | (b"-", b"") => true,
                    _ => return None,
                };
                let digits = [digits.trim_ascii_start(), fine].concat();
                let value = self.digits.counted(&digits, self.factor)?;
                // Nothing below zero is ever written as minus zero.
                Some(if negative && !value.is_zero() {
                    -value
                } else {
                    value
                })
            }
        }
    }

    fn read_plain(self, sign: &[u8], digits: &[u8], fine: &[u8]) -> Option<Decimal> {
        let (own_sign, digits) = match digits.split_first() {
            Some((mark @ (b'+' | b'-'), rest)) => (Some(*mark), rest.trim_ascii_start()),
            _ => (None, digits),
        };
        let negative = match (own_sign, sign) {
            (None, b"" | b"+") | (Some(b'+'), b"") => false,
            (None, b"-") | (Some(b'-'), b"") => true,
            // Two signs contradict each other or say a thing twice; neither is believed.
            _ => return None,
        };
        if !fine.iter().all(u8::is_ascii_digit) {
            return None;
        }
        let (first, last) = (digits.first()?, fine.last().or(digits.last())?);
        if !first.is_ascii_digit() || !last.is_ascii_digit() {
            return None;
        }
        let (mut mantissa, mut decimals, mut count) = (0_i64, 0_u32, 0_u32);
        let mut after_mark = false;
        // Digits since the last thousands mark, and whether there was one.
        let (mut group, mut grouped) = (0_u32, false);
        for byte in digits.iter().chain(fine) {
            match *byte {
                digit @ b'0'..=b'9' => {
                    // Leading zeros are free; every digit after the first other one counts.
                    count += u32::from(mantissa != 0 || digit != b'0');
                    decimals += u32::from(after_mark);
                    group += u32::from(!after_mark);
                    if count > MOST_DIGITS || decimals > MOST_DECIMALS {
                        return None;
                    }
                    mantissa = mantissa * 10 + i64::from(digit - b'0');
                }
                mark if mark == self.decimal && !after_mark => after_mark = true,
                mark if Some(mark) == self.thousands && !after_mark => {
                    if if grouped { group != 3 } else { group > 3 } {
                        return None;
                    }
                    (group, grouped) = (0, true);
                }
                _ => return None,
            }
        }
        if grouped && group != 3 {
            return None;
        }
        // Filled up, since the balance shows them and only its line leaves them out.
        while decimals < self.decimals {
            count += u32::from(mantissa != 0);
            if count > MOST_DIGITS {
                return None;
            }
            mantissa *= 10;
            decimals += 1;
        }
        Some(Decimal::new(
            if negative { -mantissa } else { mantissa },
            decimals,
        ))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PLAIN: Writing = Writing {
        decimal: b'.',
        thousands: None,
        decimals: 0,
        digits: Digits::Plain,
        factor: Decimal::ONE,
    };

    fn read(writing: Writing, sign: &str, digits: &str, fine: &str) -> Option<String> {
        let number = writing.read(sign.as_bytes(), digits.as_bytes(), fine.as_bytes())?;
        Some(number.to_string())
    }

    #[test]
    fn numbers_of_every_writing() {
        let comma = Writing {
            decimal: b',',
            thousands: Some(b'.'),
            decimals: 2,
            ..PLAIN
        };
        let quote = Writing {
            thousands: Some(b'\''),
            ..PLAIN
        };
        for (writing, sign, digits, fine, want) in [
            (PLAIN, "", "0012.340", "", "12.340"),
            (PLAIN, "-", "   12", "", ""),
            (PLAIN, "-", "12", "", "-12"),
            (PLAIN, "", "-  1.5", "", "-1.5"),
            (PLAIN, "", "12.3", "4", "12.34"),
            (PLAIN, "", "12.", "4", "12.4"),
            (PLAIN, "", "12", "[4]", ""),
            (PLAIN, "-", "-1.5", "", ""),
            (PLAIN, "-", "+1.5", "", ""),
            (PLAIN, "", "1,234.5", "", ""),
            (PLAIN, "", "999999999999", "", "999999999999"),
            (PLAIN, "", "1000000000000", "", ""),
            (PLAIN, "", "1.00000000", "", ""),
            (quote, "", "1'234'567.8", "", "1234567.8"),
            (quote, "", "1234.5", "", "1234.5"),
            (quote, "", "1'23.5", "", ""),
            (quote, "", "1234'567", "", ""),
            (quote, "", "1''234", "", ""),
            (quote, "", "1'2345", "", ""),
            (quote, "", "1.234'567", "", ""),
            (comma, "", "1.234,5", "", "1234.50"),
            (comma, "+", "12", "", "12.00"),
            (comma, "", "0,005", "", "0.005"),
            (comma, "", "12,34", "5", "12.345"),
            (comma, "", "12345678901", "", ""),
        ] {
            let want = (!want.is_empty()).then(|| want.to_owned());
            let found = read(writing, sign, digits, fine);
            assert_eq!(found, want, "{writing:?} {sign} {digits} {fine}");
        }
    }

    proptest! {
        #[test]
        fn a_number_written_with_marks_comes_out_the_same(mantissa in -99_999_999_i64..=99_999_999, scale in 0u32..=4) {
            let number = Decimal::new(mantissa, scale);
            let text = number.abs().to_string();
            let (whole, after) = text.split_once('.').map_or((text.as_str(), None), |(a, b)| (a, Some(b)));
            let mut marked = String::new();
            for (at, digit) in whole.chars().enumerate() {
                if at > 0 && (whole.len() - at) % 3 == 0 {
                    marked.push(' ');
                }
                marked.push(digit);
            }
            if let Some(after) = after {
                marked = format!("{marked},{after}");
            }
            let writing = Writing { decimal: b',', thousands: Some(b' '), ..PLAIN };
            let sign = if mantissa < 0 { "-" } else { "" };
            let found = writing.read(sign.as_bytes(), marked.as_bytes(), b"").unwrap();
            prop_assert_eq!(found, number);
            prop_assert_eq!(found.scale(), scale);
        }

        #[test]
        fn nothing_panics(sign in proptest::collection::vec(any::<u8>(), 0..3), digits in proptest::collection::vec(any::<u8>(), 0..40), fine in proptest::collection::vec(any::<u8>(), 0..3)) {
            let _either = PLAIN.read(&sign, &digits, &fine);
        }
    }
}
