//! A line layout: which part of a line is the value, its sign, its unit, its status.
//!
//! A layout is a regular expression over bytes with named groups (`value`, `sign`, `unit`,
//! `status`) and two small tables of symbols. Nothing is guessed: a line that does not fit is
//! not understood, a symbol without an entry is an unknown unit or an unsaid status.

use regex::bytes::{CaptureLocations, Regex, RegexBuilder};
use rust_decimal::Decimal;

use crate::mass::{Indication, Reading, Shown, Status, Unit};
use crate::trouble::Trouble;

/// A layout as a balance file states it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LayoutSpec {
    /// The regular expression; it must match the whole line.
    pub line: String,
    /// The decimal mark: a point or a comma.
    pub decimal: u8,
    /// Symbols of units as they stand in the line.
    pub units: Vec<(String, Unit)>,
    /// Symbols of status as they stand in the line.
    pub statuses: Vec<(String, Status)>,
}

/// Why a line gives no reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NotUnderstood {
    /// It does not have the layout's form.
    OtherForm,
    /// Its value is not plain digits, or has more of them than any balance shows.
    OddNumber,
}

/// A layout ready to read lines.
#[derive(Debug)]
pub struct Layout {
    line: Regex,
    locations: CaptureLocations,
    value: usize,
    sign: Option<usize>,
    unit: Option<usize>,
    status: Option<usize>,
    decimal: u8,
    units: Vec<(Vec<u8>, Unit)>,
    statuses: Vec<(Vec<u8>, Status)>,
}

/// The most memory that a compiled layout may take; a balance file is not trusted to be small.
const LARGEST_PROGRAM: usize = 1 << 20;

impl Layout {
    /// Prepares a layout; says what is wrong with one that cannot be used.
    pub fn compile(spec: &LayoutSpec) -> Result<Self, Trouble> {
        let whole = format!("^(?:{})$", spec.line);
        let line = RegexBuilder::new(&whole)
            .unicode(false)
            .size_limit(LARGEST_PROGRAM)
            .dfa_size_limit(LARGEST_PROGRAM)
            .build()
            .map_err(|error| unusable(&format!("its line pattern cannot be read: {error}")))?;
        let group = |name: &str| line.capture_names().position(|n| n == Some(name));
        let known = ["value", "sign", "unit", "status"];
        if let Some(odd) = line
            .capture_names()
            .flatten()
            .find(|name| !known.contains(name))
        {
            return Err(unusable(&format!(
                "its line pattern names a group \"{odd}\"; known are {}",
                known.join(", ")
            )));
        }
        let value =
            group("value").ok_or_else(|| unusable("its line pattern has no group named value"))?;
        if !matches!(spec.decimal, b'.' | b',') {
            return Err(unusable("its decimal mark is neither a point nor a comma"));
        }
        Ok(Self {
            value,
            sign: group("sign"),
            unit: group("unit"),
            status: group("status"),
            locations: line.capture_locations(),
            line,
            decimal: spec.decimal,
            units: spec
                .units
                .iter()
                .map(|(s, u)| (s.trim().as_bytes().to_vec(), *u))
                .collect(),
            statuses: spec
                .statuses
                .iter()
                .map(|(s, u)| (s.trim().as_bytes().to_vec(), *u))
                .collect(),
        })
    }

    /// Whether lines of this layout can state a unit at all.
    pub fn states_unit(&self) -> bool {
        self.unit.is_some()
    }

    /// Reads one line.
    pub fn read(&mut self, line: &[u8]) -> Result<Reading, NotUnderstood> {
        if self.line.captures_read(&mut self.locations, line).is_none() {
            return Err(NotUnderstood::OtherForm);
        }
        let part = |group: Option<usize>| {
            let (from, to) = self.locations.get(group?)?;
            Some(line.get(from..to)?.trim_ascii())
        };
        let status = match part(self.status) {
            Some(symbol) => lookup(&self.statuses, symbol).unwrap_or(Status::Unsaid),
            None => Status::Unsaid,
        };
        let Some(digits) = part(Some(self.value)).filter(|value| !value.is_empty()) else {
            return Ok(Reading {
                shown: Shown::Nothing,
                status,
            });
        };
        let sign = part(self.sign).unwrap_or_default();
        let number = number(sign, digits, self.decimal).ok_or(NotUnderstood::OddNumber)?;
        let shown = match part(self.unit).filter(|symbol| !symbol.is_empty()) {
            None => Shown::UnitUnstated(number),
            Some(symbol) => match lookup(&self.units, symbol) {
                Some(unit) => {
                    Shown::Weighed(Indication::new(number, unit).ok_or(NotUnderstood::OddNumber)?)
                }
                None => Shown::UnitUnknown(number),
            },
        };
        Ok(Reading { shown, status })
    }
}

fn lookup<T: Copy>(table: &[(Vec<u8>, T)], symbol: &[u8]) -> Option<T> {
    table
        .iter()
        .find(|(known, _)| known == symbol)
        .map(|(_, value)| *value)
}

/// Plain digits with at most one decimal mark and blanks only in front; the sign may stand apart.
fn number(sign: &[u8], digits: &[u8], mark: u8) -> Option<Decimal> {
    let (own_sign, digits) = match digits.split_first() {
        Some((b'+', rest)) => (1, rest.trim_ascii_start()),
        Some((b'-', rest)) => (-1, rest.trim_ascii_start()),
        _ => (1, digits),
    };
    let sign = own_sign
        * match sign {
            b"-" => -1,
            b"" | b"+" => 1,
            _ => return None,
        };
    let (mut mantissa, mut decimals, mut count, mut after_mark) = (0_i64, 0_u32, 0_u32, false);
    for byte in digits {
        match byte {
            b'0'..=b'9' => {
                // Leading zeros are free; every digit after the first other one counts.
                count += u32::from(mantissa != 0 || *byte != b'0');
                decimals += u32::from(after_mark);
                if count > 12 || decimals > 7 {
                    return None;
                }
                mantissa = mantissa * 10 + i64::from(byte - b'0');
            }
            byte if *byte == mark && !after_mark => after_mark = true,
            _ => return None,
        }
    }
    let has_digit = digits.first().is_some_and(u8::is_ascii_digit)
        && digits.last().is_some_and(u8::is_ascii_digit);
    has_digit.then(|| Decimal::new(sign * mantissa, decimals))
}

fn unusable(why: &str) -> Trouble {
    Trouble::new(
        "layout-unusable",
        format!("The line layout cannot be used: {why}."),
        "The balance cannot be read with it, so nothing is weighed.",
        "Mend the balance file.",
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn layout() -> Layout {
        Layout::compile(&LayoutSpec {
            line: r"(?<status>[a-z]*) *(?<sign>[+-]?) *(?<value>[0-9.,eE]*) *(?<unit>\S*)"
                .to_owned(),
            decimal: b'.',
            units: vec![("g".to_owned(), Unit::Gram), ("ct".to_owned(), Unit::Carat)],
            statuses: vec![
                ("moving".to_owned(), Status::InMotion),
                ("stable".to_owned(), Status::Stable),
            ],
        })
        .unwrap()
    }

    fn weighed(line: &[u8]) -> String {
        match layout().read(line).unwrap() {
            Reading {
                shown: Shown::Weighed(mass),
                status,
            } => format!("{} {mass}", status.word()),
            other => format!("{other:?}"),
        }
    }

    #[test]
    fn value_unit_and_status_are_taken_as_they_stand() {
        assert_eq!(weighed(b"stable 12.460 g"), "stable 12.460 g");
        assert_eq!(weighed(b"moving - 0.10 ct"), "in motion -0.10 ct");
        assert_eq!(weighed(b"odd 00012.3 g"), "unsaid 12.3 g");
    }

    #[test]
    fn a_unit_is_never_supposed() {
        assert!(matches!(
            layout().read(b"stable 1.00").unwrap().shown,
            Shown::UnitUnstated(_)
        ));
        assert!(matches!(
            layout().read(b"stable 1.00 gr").unwrap().shown,
            Shown::UnitUnknown(_)
        ));
        assert!(matches!(
            layout().read(b"stable 1.00 g\xb0").unwrap().shown,
            Shown::UnitUnknown(_)
        ));
    }

    #[test]
    fn odd_numbers_are_not_understood() {
        for line in [
            &b"stable 1e3 g"[..],
            b"stable 1.2.3 g",
            b"stable 1,2 g",
            b"stable 1234567890123 g",
            b"stable . g",
            b"stable 999999999999 g",
            b"stable 5. g",
        ] {
            assert_eq!(
                layout().read(line),
                Err(NotUnderstood::OddNumber),
                "{}",
                line.escape_ascii()
            );
        }
        assert_eq!(
            layout().read(b"stable 1.0 g extra words"),
            Err(NotUnderstood::OtherForm)
        );
        assert_eq!(layout().read(b"stable").unwrap().shown, Shown::Nothing);
    }

    #[test]
    fn a_layout_that_cannot_be_used_says_why() {
        let spec = |line: &str| LayoutSpec {
            line: line.to_owned(),
            decimal: b'.',
            units: vec![],
            statuses: vec![],
        };
        for (line, word) in [
            ("(", "cannot be read"),
            ("(?<mass>.*)", "\"mass\""),
            ("[0-9]+", "no group named value"),
        ] {
            assert!(
                Layout::compile(&spec(line))
                    .unwrap_err()
                    .happened
                    .contains(word),
                "{line}"
            );
        }
    }

    proptest! {
        #[test]
        fn no_line_panics(line in proptest::collection::vec(any::<u8>(), 0..300)) {
            let _either = layout().read(&line);
        }

        #[test]
        fn digits_survive_exactly(mantissa in -9_999_999_i64..=9_999_999, scale in 2u32..=6) {
            let number = Decimal::new(mantissa, scale);
            let line = format!("stable {number} g");
            let Shown::Weighed(mass) = layout().read(line.as_bytes()).unwrap().shown else {
                return Err(TestCaseError::fail("not weighed"));
            };
            prop_assert_eq!(mass.digits().to_string(), if mantissa == 0 { number.abs().to_string() } else { number.to_string() });
        }
    }
}
