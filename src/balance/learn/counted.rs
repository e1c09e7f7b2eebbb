//! A form with counted places, for a balance that fills its places with blanks or zeros.
//!
//! Promises: none where the lines do not show that places are filled; every line of the usual
//! length fits what is written. Leaves to others: lines whose parts stand freely (`form`).

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::family::Row;
use super::form::{LONGEST_UNIT, Writer, blanks, class, of_number, one_of, sign_status};
use super::roles::Role;

/// Places by which a unit in front of the value may be longer than those that were heard.
const UNIT_GROWS: usize = 3;

impl Writer<'_> {
    /// The form with counted places; none where the lines do not show that they have any.
    pub(super) fn counted(&self) -> Option<String> {
        let family = self.family;
        let length = self.usual_length().filter(|_| self.blank == " ")?;
        let rows: Vec<&Row> = family
            .rows
            .iter()
            .filter(|row| self.bytes(row).len() == length)
            .collect();
        let slot = family.slot;
        let unit = self.roles.iter().position(|role| *role == Role::Unit);
        if !self.pads(&rows) {
            return None;
        }
        let brackets = rows
            .iter()
            .filter(|row| row.number.bracket.is_some())
            .count();
        if brackets != 0 && brackets != rows.len() {
            return None;
        }
        let mut out = String::new();
        let mut at = 0;
        for (column, _) in family.columns.iter().enumerate() {
            let (from, to) = Self::zone(&rows, column)?;
            let next = if column + 1 < family.columns.len() {
                Self::zone(&rows, column + 1)?.0
            } else {
                length
            };
            if from < at || to > next {
                return None;
            }
            let role = self.role(column);
            let (begin, end) = match role {
                Role::Value if self.marks.digits.are_counts() => (from, to),
                Role::Value => (
                    at,
                    if Self::ends_vary(&rows, column) {
                        next
                    } else {
                        to
                    },
                ),
                Role::Number => (at, to),
                // In front of the value a unit may grow into the blanks, but not into digits.
                Role::Unit if unit < Some(slot) => (from, next.min(to + UNIT_GROWS)),
                Role::Unit => (from, next),
                _ => (from, to),
            };
            blanks(&mut out, begin - at);
            self.counted_part(&mut out, column, &rows, (begin, end, length))?;
            at = end;
        }
        blanks(&mut out, length - at);
        Some(out)
    }

    /// The length that nine tenths of the lines have.
    fn usual_length(&self) -> Option<usize> {
        let mut lengths: Vec<usize> = self
            .family
            .rows
            .iter()
            .map(|row| self.bytes(row).len())
            .collect();
        lengths.sort_unstable();
        let run = lengths
            .chunk_by(|one, other| one == other)
            .max_by_key(|run| run.len())?;
        (run.len() * 10 >= lengths.len() * 9).then(|| run.first().copied())?
    }

    /// Whether values of different length were seen to be filled up to the same place.
    fn pads(&self, rows: &[&Row]) -> bool {
        let slot = self.family.slot;
        let zero_led = |row: &&&Row| {
            let digits = self.bytes(row).get(row.number.digits..).unwrap_or_default();
            matches!(digits, [b'0', b'0'..=b'9', ..])
        };
        let starts: BTreeSet<usize> = rows.iter().map(|row| row.number.digits).collect();
        let begins: BTreeSet<Option<usize>> = rows
            .iter()
            .map(|row| Self::cell(row, slot).map(|cell| cell.0))
            .collect();
        let led = rows.iter().any(|row| {
            // A sign in the place of a digit is no filling.
            let before = row.number.digits.checked_sub(1);
            before.and_then(|at| self.bytes(row).get(at)) == Some(&b' ')
        });
        starts.len() > 1 && led
            || Self::ends_vary(rows, slot) && begins.len() == 1
            || rows.iter().filter(zero_led).count() * 2 > rows.len()
    }

    fn ends_vary(rows: &[&Row], column: usize) -> bool {
        let ends: BTreeSet<Option<usize>> = rows
            .iter()
            .map(|row| Self::cell(row, column).map(|cell| cell.1))
            .collect();
        ends.len() > 1
    }

    fn zone(rows: &[&Row], column: usize) -> Option<(usize, usize)> {
        let cells = rows.iter().filter_map(|row| Self::cell(row, column));
        cells.reduce(|one, other| (one.0.min(other.0), one.1.max(other.1)))
    }

    fn counted_part(
        &self,
        out: &mut String,
        column: usize,
        rows: &[&Row],
        (from, to, length): (usize, usize, usize),
    ) -> Option<()> {
        let texts = || -> BTreeSet<&[u8]> {
            rows.iter()
                .filter_map(|row| self.bytes(row).get(from..to))
                .collect()
        };
        match self.role(column) {
            Role::Value if self.marks.digits.are_counts() => self.count_value(out),
            Role::Value => return self.counted_value(out, rows, (from, to)),
            Role::Sign if self.worded => one_of(out, Some("sign"), &texts()),
            Role::Sign => out.push_str("(?<sign>[ +-])"),
            Role::Close => one_of(out, Some("close"), &texts()),
            Role::SignStatus => sign_status(out, &texts()),
            Role::Unit => {
                let foreign = texts().iter().any(|text| !text.is_ascii());
                let signs = if foreign { "!-~\\x80-\\xFF" } else { "!-~" };
                let width = to - from;
                if to < length {
                    let unit = format!("(?<unit>[{signs} ]{{{width}}})");
                    self.or_marks(out, &unit, Some(width));
                    return Some(());
                }
                let filled = texts().iter().any(|text| text.ends_with(b" "));
                let longer = format!(
                    "[{signs}]{{{},{LONGEST_UNIT}}}",
                    if filled { width + 1 } else { 1 }
                );
                let unit = if filled && width < LONGEST_UNIT {
                    format!("(?<unit>[{signs} ]{{{width}}}|{longer})")
                } else {
                    format!("(?<unit>{longer})")
                };
                self.or_marks(out, &unit, Some(width));
            }
            Role::Status => one_of(out, Some("status"), &texts()),
            Role::Kind => one_of(out, Some("kind"), &texts()),
            Role::Text => one_of(out, None, &texts()),
            Role::Number => {
                let seen: BTreeSet<u8> = texts()
                    .iter()
                    .flat_map(|text| text.iter().copied())
                    .collect();
                class(out, of_number(seen).into_iter().chain(*b" "), to - from);
            }
        }
        Some(())
    }

    fn counted_value(
        &self,
        out: &mut String,
        rows: &[&Row],
        (from, to): (usize, usize),
    ) -> Option<()> {
        let bracket = rows.first()?.number.bracket;
        if rows.iter().any(|row| row.number.bracket != bracket) {
            return None;
        }
        let digits_to = bracket.map_or(to, |(open, _)| open);
        let mut from = from;
        // A sign that has a place of its own in front of the filling.
        let placed = rows
            .iter()
            .all(|row| matches!(self.bytes(row).get(from), Some(b'+' | b'-' | b' ')))
            && rows
                .iter()
                .all(|row| row.number.sign.is_none_or(|at| at == from))
            && rows
                .iter()
                .any(|row| row.number.sign.is_some() && row.number.digits > from + 1);
        if placed {
            out.push_str("(?<sign>[ +-])");
            from += 1;
        }
        out.push_str("(?<value>");
        let texts = rows.iter().map(|row| self.bytes(row).get(from..digits_to));
        let texts: Option<Vec<&[u8]>> = texts.collect();
        if bracket.is_some() {
            let signs: &[u8] = if placed { b"" } else { b"+-" };
            let marks = [b' ', b'0', self.marks.decimal]
                .into_iter()
                .chain(self.marks.thousands);
            class(out, marks.chain(signs.iter().copied()), digits_to - from);
        } else {
            let right = texts?;
            self.places(out, &right, digits_to - from, !placed);
        }
        out.push(')');
        if let Some((open, close)) = bracket {
            let (open_mark, close_mark) = self.bracket_marks(rows.first()?);
            let _written = write!(
                out,
                "{open_mark}(?<fine>[0-9]{{{}}}){close_mark}",
                close - open - 1
            );
            blanks(out, to.checked_sub(close + 1)?);
        }
        Some(())
    }
}
