//! A value in a field of its own width, wherever in the line the field stands.
//!
//! Promises: none where the lines do not show that the field is filled; every row fits what is
//! written, and one that lost or doubled a digit does not. Leaves to others: the rest of the line
//! (`form`, `counted`).

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::family::Row;
use super::form::{Writer, class, one_of, sign_status};
use super::roles::Role;
use crate::balance::layout::Digits;

/// The most decimals that a balance shows in any of its units.
const MOST_DECIMALS: usize = 5;
/// Fewer lines than that show no width.
const FEWEST: usize = 3;

/// A part of the form that is as long in every row, and where it ends in each.
pub(super) struct Counted {
    pub(super) text: String,
    pub(super) ends: Vec<usize>,
}

impl Writer<'_> {
    /// A word, a mark or a sign with a place of its own, filled up with blanks where there is none:
    /// none unless it comes and goes, or its texts are of different lengths.
    pub(super) fn slot(&self, at: usize, edges: &[usize]) -> Option<Counted> {
        let rows = || self.family.rows.iter().zip(edges);
        let cells =
            || rows().filter_map(|(row, edge)| Self::cell(row, at).map(|cell| (cell, *edge)));
        let width = cells().map(|((_, to), edge)| to - edge).max()?;
        let starts: BTreeSet<usize> = cells().map(|((from, _), edge)| from - edge).collect();
        let lengths: BTreeSet<usize> = cells().map(|((from, to), _)| to - from).collect();
        if starts.len() != 1 || lengths.len() == 1 && cells().count() == self.family.rows.len() {
            return None;
        }
        // Behind the value its place is only one of its own if what follows does not move with it.
        let next = |(row, edge): (&Row, &usize)| {
            let next = row.cells.get(at + 1..)?.iter().copied().flatten().next();
            Some(next.map_or(self.bytes(row).len(), |(from, _)| from) - edge)
        };
        let follow: BTreeSet<Option<usize>> = rows().map(next).collect();
        if at > self.family.slot && follow.len() != 1 {
            return None;
        }
        let mut texts: BTreeSet<&[u8]> = BTreeSet::new();
        for (row, edge) in rows() {
            let text = self.bytes(row).get(*edge..edge + width)?;
            let rest = match Self::cell(row, at) {
                Some((_, to)) => self.bytes(row).get(to..edge + width)?,
                None => text,
            };
            if !rest.iter().all(|byte| matches!(byte, b' ' | b'\t')) {
                return None;
            }
            texts.insert(text);
        }
        let mut text = String::new();
        match self.role(at) {
            Role::Sign => one_of(&mut text, Some("sign"), &texts),
            Role::Close => one_of(&mut text, Some("close"), &texts),
            Role::SignStatus => sign_status(&mut text, &texts),
            Role::Status => one_of(&mut text, Some("status"), &texts),
            Role::Kind => one_of(&mut text, Some("kind"), &texts),
            _ => one_of(&mut text, None, &texts),
        }
        let ends = edges.iter().map(|edge| edge + width).collect();
        Some(Counted { text, ends })
    }

    /// The value with the blanks before it or behind it, when they make up one width.
    pub(super) fn filled(&self, at: usize, edges: &[usize]) -> Option<Counted> {
        let rows: Vec<(&Row, usize)> = self.family.rows.iter().zip(edges.iter().copied()).collect();
        let bracket = |(row, _): &(&Row, usize)| row.number.bracket.is_some();
        if rows.len() < FEWEST || rows.iter().any(bracket) {
            return None;
        }
        let to_right = |(row, edge): &(&Row, usize)| Some((*edge, Self::cell(row, at)?.1));
        let to_next = |(row, edge): &(&Row, usize)| {
            let next = row.cells.get(at + 1..)?.iter().copied().flatten().next();
            let end = next.map_or(self.bytes(row).len(), |(from, _)| from);
            let all = self.family.rows.iter();
            // What comes and goes is no edge.
            let same = match row.cells.iter().skip(at + 1).position(Option::is_some) {
                None => all
                    .into_iter()
                    .all(|row| row.cells.iter().skip(at + 1).all(Option::is_none)),
                Some(place) => all
                    .into_iter()
                    .all(|row| row.cells.get(at + 1 + place).is_some_and(Option::is_some)),
            };
            same.then_some((*edge, end))
        };
        self.field(
            at,
            &rows.iter().map(to_right).collect::<Option<Vec<_>>>()?,
            false,
        )
        .or_else(|| {
            self.field(
                at,
                &rows.iter().map(to_next).collect::<Option<Vec<_>>>()?,
                true,
            )
        })
    }

    /// The value in these stretches of the rows; `left`: it stands at the left side of them.
    fn field(&self, at: usize, fields: &[(usize, usize)], left: bool) -> Option<Counted> {
        let widths: BTreeSet<usize> = fields
            .iter()
            .map(|(from, to)| to.checked_sub(*from))
            .collect::<Option<_>>()?;
        let width = widths.first().copied().filter(|_| widths.len() == 1)?;
        let texts: Vec<&[u8]> = self
            .family
            .rows
            .iter()
            .zip(fields)
            .map(|(row, (from, to))| self.bytes(row).get(*from..*to))
            .collect::<Option<_>>()?;
        let is_blank = |byte: &u8| matches!(byte, b' ' | b'\t');
        let blank = |text: &&[u8]| text.iter().take_while(|byte| is_blank(byte)).count();
        let behind = |text: &&[u8]| text.iter().rev().take_while(|byte| is_blank(byte)).count();
        let least = texts.iter().map(blank).min()?;
        let most = texts.iter().map(blank).max()?;
        let zeros = texts
            .iter()
            .filter(|text| {
                let digits = text.iter().position(u8::is_ascii_digit).unwrap_or(0);
                matches!(text.get(digits..), Some([b'0', b'0'..=b'9', ..]))
            })
            .count();
        let filled = if left {
            let ends: BTreeSet<usize> = texts.iter().map(behind).collect();
            ends.len() > 1
        } else {
            most != least || zeros * 2 > texts.len()
        };
        // A tab keeps fields apart and fills none; one blank may do the same.
        let tabs = |text: &&[u8]| text.iter().take_while(|byte| **byte == b'\t').count();
        let apart = texts
            .iter()
            .map(tabs)
            .max()?
            .max(usize::from(least > 0 && at > 0));
        let tabbed = texts
            .iter()
            .any(|text| text.iter().skip(apart).any(|byte| *byte == b'\t'));
        if !filled && !self.marks.digits.are_counts() || tabbed || apart > least {
            return None;
        }
        let mut text = String::new();
        for byte in texts.first()?.get(..apart)? {
            text.push_str(if *byte == b'\t' { r"\t" } else { " " });
        }
        let texts: Vec<&[u8]> = texts.iter().filter_map(|text| text.get(apart..)).collect();
        if self.marks.digits.are_counts() {
            if left || most != least {
                return None;
            }
            for _ in apart..least {
                text.push(' ');
            }
            self.count_value(&mut text);
        } else {
            text.push_str("(?<value>");
            self.places(
                &mut text,
                &texts,
                width - apart,
                !self.roles.contains(&Role::Sign),
            );
            text.push(')');
        }
        let ends = fields.iter().map(|(_, to)| *to).collect();
        Some(Counted { text, ends })
    }

    /// So many places of digits with a decimal mark at one of them.
    pub(super) fn places(&self, out: &mut String, texts: &[&[u8]], width: usize, signed: bool) {
        let decimal = self.marks.decimal;
        let seen: BTreeSet<u8> = texts
            .iter()
            .flat_map(|text| text.iter().copied())
            .filter(|byte| matches!(byte, b' ' | b'+' | b'-'))
            .collect();
        let signs = if signed { &b"+-"[..] } else { b"" };
        let filling = || {
            seen.iter()
                .copied()
                .chain(signs.iter().copied())
                .chain(*b"0")
        };
        let left = texts.iter().any(|text| text.ends_with(b" "));
        if left || self.marks.thousands.is_some() || self.marks.digits == Digits::LastFirst {
            let marks = [decimal, b' '].into_iter().chain(self.marks.thousands);
            class(out, filling().chain(marks), width);
            return;
        }
        let after = |text: &&[u8]| {
            let mark = text.iter().position(|byte| *byte == decimal);
            mark.map_or(0, |mark| text.len() - mark - 1)
        };
        let mut places: BTreeSet<usize> = texts.iter().map(after).collect();
        let most = places.iter().max().copied().unwrap_or(0);
        let usual = texts.first().map_or(0, after);
        if !places.contains(&0) {
            // Another unit is shown with other decimals.
            places.extend(1..=MOST_DECIMALS.max(most));
        }
        let mut order: Vec<usize> = places
            .into_iter()
            .filter(|after| after + 2 <= width)
            .collect();
        order.sort_by_key(|after| (*after != usual, *after));
        for (n, after) in order.iter().enumerate() {
            if n > 0 {
                out.push('|');
            }
            if *after == 0 {
                class(out, filling(), width);
                continue;
            }
            class(out, filling(), width - after - 1);
            let _written = write!(out, "{}[0-9]", if decimal == b'.' { r"\." } else { "," });
            if *after > 1 {
                let _written = write!(out, "{{{after}}}");
            }
        }
    }
}
