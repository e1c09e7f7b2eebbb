//! The form of a line, written as a regular expression from lines laid over each other.
//!
//! Promises: where the balance fills its places with blanks or zeros, places are counted, so that a
//! line that lost a character is not understood instead of being another mass; a unit is left open, so
//! that a unit key is noticed; a status is one of those heard. Leaves to others: whether the real
//! layout reads every line with it (`mod`).

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::family::{Column, Family, Line, Row};
use super::filled::Counted;
use super::roles::{Role, is_unit};
use super::token::Marks;

/// The longest symbol of a unit that a form leaves room for.
pub(super) const LONGEST_UNIT: usize = 12;

/// A form, and whether its places are counted.
pub(super) struct Form {
    pub(super) text: String,
    pub(super) counted: bool,
}

/// Writes the form of a family's lines.
pub(super) fn form(
    family: &Family,
    roles: &[Role],
    lines: &[Line<'_>],
    (marks, worded): (Marks, bool),
    unit_marks: &[Vec<u8>],
) -> Form {
    let tabs = family.rows.iter().any(|row| {
        lines
            .get(row.line)
            .is_some_and(|line| line.bytes.contains(&b'\t'))
    });
    let writer = Writer {
        family,
        roles,
        lines,
        marks,
        worded,
        unit_marks,
        blank: if tabs { r"[ \t]" } else { " " },
    };
    match writer.counted() {
        Some(text) => Form {
            text,
            counted: true,
        },
        None => {
            let (text, counted) = writer.free();
            Form { text, counted }
        }
    }
}

pub(super) struct Writer<'a> {
    pub(super) family: &'a Family,
    pub(super) roles: &'a [Role],
    lines: &'a [Line<'a>],
    pub(super) marks: Marks,
    /// Whether the sign has symbols of its own.
    pub(super) worded: bool,
    /// What stands in the unit's place while the pan moves.
    unit_marks: &'a [Vec<u8>],
    /// What a blank is: tabs only where they were seen.
    pub(super) blank: &'static str,
}

impl Writer<'_> {
    pub(super) fn bytes(&self, row: &Row) -> &[u8] {
        self.lines.get(row.line).map_or(&[][..], |line| line.bytes)
    }

    pub(super) fn cell(row: &Row, at: usize) -> Option<(usize, usize)> {
        row.cells.get(at).copied().flatten()
    }

    pub(super) fn role(&self, at: usize) -> Role {
        self.roles.get(at).copied().unwrap_or(Role::Text)
    }

    pub(super) fn bracket_marks(&self, row: &Row) -> (&'static str, &'static str) {
        let open = row
            .number
            .bracket
            .and_then(|(open, _)| self.bytes(row).get(open));
        if open == Some(&b'(') {
            (r"\(", r"\)")
        } else {
            (r"\[", r"\]")
        }
    }

    /// A form whose parts stand freely, and whether the value has counted places all the same.
    fn free(&self) -> (String, bool) {
        let mut out = String::new();
        let rows = &self.family.rows;
        // How far each row is written; what follows begins there.
        let mut edges = vec![0; rows.len()];
        let mut after_optional = false;
        let mut first = true;
        let mut fixed = false;
        for (at, column) in self.family.columns.iter().enumerate() {
            let present = rows
                .iter()
                .filter(|row| Self::cell(row, at).is_some())
                .count();
            if present == 0 {
                continue;
            }
            let optional = present < rows.len();
            let counted = match self.role(at) {
                Role::Value if !optional && !after_optional => self.filled(at, &edges),
                Role::Value | Role::Number | Role::Unit => None,
                _ if after_optional => None,
                _ => self.slot(at, &edges),
            };
            if let Some(Counted { text, ends }) = counted {
                out.push_str(&text);
                edges = ends;
                fixed |= self.role(at) == Role::Value;
                (after_optional, first) = (false, false);
                continue;
            }
            let gap = if after_optional && !first {
                self.loose_gap(at, &edges)
            } else {
                self.gap(at, &edges)
            };
            let mut part = String::new();
            self.free_part(&mut part, at, column);
            if optional {
                let _written = write!(out, "(?:{gap}{part})?");
            } else {
                out.push_str(&gap);
                out.push_str(&part);
            }
            for (edge, row) in edges.iter_mut().zip(rows) {
                *edge = Self::cell(row, at).map_or(*edge, |(_, to)| to);
            }
            after_optional = optional;
            first = false;
        }
        let ends = (rows.iter().zip(&edges)).any(|(row, edge)| *edge < self.bytes(row).len());
        if ends {
            let _written = write!(out, "{}*", self.blank);
        }
        (out, fixed)
    }

    /// Blanks between what is written before a column and the column, in each line that has it.
    fn gaps(&self, at: usize, edges: &[usize]) -> Vec<usize> {
        let rows = self.family.rows.iter().zip(edges);
        let gap = |(row, edge): (&Row, &usize)| {
            let (from, _) = Self::cell(row, at)?;
            from.checked_sub(*edge)
        };
        rows.filter_map(gap).collect()
    }

    fn gap(&self, at: usize, edges: &[usize]) -> String {
        let gaps = self.gaps(at, edges);
        let (least, most) = (
            gaps.iter().min().copied().unwrap_or(0),
            gaps.iter().max().copied().unwrap_or(0),
        );
        if least == most && !(matches!(self.role(at), Role::Value | Role::Number) && most > 1) {
            let mut out = String::new();
            for _ in 0..most {
                out.push_str(self.blank);
            }
            return out;
        }
        format!("{}{}", self.blank, if least == 0 { "*" } else { "+" })
    }

    fn loose_gap(&self, at: usize, edges: &[usize]) -> String {
        if self.gaps(at, edges).iter().all(|gap| *gap == 0) {
            String::new()
        } else {
            format!("{}*", self.blank)
        }
    }

    fn free_part(&self, out: &mut String, at: usize, column: &Column) {
        let texts: BTreeSet<&[u8]> = column.texts.keys().map(Vec::as_slice).collect();
        match self.role(at) {
            Role::Value => self.free_value(out),
            Role::Sign if self.worded => one_of(out, Some("sign"), &texts),
            Role::Sign => out.push_str("(?<sign>[+-])"),
            Role::Close => one_of(out, Some("close"), &texts),
            Role::SignStatus => sign_status(out, &texts),
            Role::Unit => {
                let units = texts
                    .into_iter()
                    .filter(|text| is_unit(self.unit_marks, text));
                let unit = format!("(?<unit>{})", self.free_unit(at, &units.collect()));
                self.or_marks(out, &unit, None);
            }
            Role::Status => one_of(out, Some("status"), &texts),
            Role::Kind => one_of(out, Some("kind"), &texts),
            Role::Text if texts.len() > 12 => out.push_str("[!-~]+"),
            Role::Text => one_of(out, None, &texts),
            Role::Number => {
                let seen: BTreeSet<u8> =
                    texts.iter().flat_map(|text| text.iter().copied()).collect();
                // A number that counts grows longer one day.
                class(out, of_number(seen).into_iter(), 1);
                out.push('+');
            }
        }
    }

    /// The part of a unit, or what stands in its place in motion, filled up to a width.
    pub(super) fn or_marks(&self, out: &mut String, unit: &str, width: Option<usize>) {
        if self.unit_marks.is_empty() {
            out.push_str(unit);
            return;
        }
        let says_status = self
            .roles
            .iter()
            .any(|role| matches!(role, Role::Status | Role::SignStatus));
        let marks = self.unit_marks.iter().map(Vec::as_slice).collect();
        let mut text = String::new();
        one_of(&mut text, (!says_status).then_some("status"), &marks);
        let longest = self.unit_marks.iter().map(Vec::len).max().unwrap_or(0);
        if width.is_some_and(|width| width > longest) {
            text.push_str(" *");
        }
        let _written = write!(out, "(?:{text}|{unit})");
    }

    /// Whether a column stands right behind another in some line.
    fn touches(&self, at: usize) -> bool {
        self.family.rows.iter().any(|row| {
            let before = row.cells.get(..at).unwrap_or_default();
            let last = before.iter().rev().copied().flatten().next();
            matches!((last, Self::cell(row, at)), (Some((_, to)), Some((from, _))) if to == from)
        })
    }

    /// Any symbol of a unit that does not reach into what follows.
    fn free_unit(&self, at: usize, texts: &BTreeSet<&[u8]>) -> String {
        let next = self.family.columns.get(at + 1).map(|column| column.kind);
        let touches = self.touches(at + 1);
        // A sign that follows at once is none of the unit's letters.
        let signed =
            matches!(self.role(at + 1), Role::Sign | Role::Close) && self.role(at) == Role::Unit;
        if touches && signed {
            return format!("[!-*,./:-~\\x80-\\xFF]{{1,{LONGEST_UNIT}}}?");
        }
        let odd = texts
            .iter()
            .any(|text| text.iter().any(|byte| !byte.is_ascii_alphabetic()));
        match next {
            Some(_) if touches && !odd => format!("[A-Za-z]{{1,{LONGEST_UNIT}}}"),
            _ if at < self.family.slot && texts.iter().all(|text| text.is_ascii()) => {
                format!("[A-Za-z%][!-*/:-~]{{0,{}}}", LONGEST_UNIT - 1)
            }
            _ if at < self.family.slot => format!(
                "[A-Za-z%\\x80-\\xFF][!-*/:-~\\x80-\\xFF]{{0,{}}}",
                LONGEST_UNIT - 1
            ),
            Some(_) if touches => format!(
                "[A-Za-z%\\x80-\\xFF][A-Za-z0-9._%/\\x80-\\xFF-]{{0,{}}}",
                LONGEST_UNIT - 1
            ),
            // No sign and no digit begins a unit.
            _ => format!(
                "[!-*,./:-~\\x80-\\xFF][!-~\\x80-\\xFF]{{0,{}}}",
                LONGEST_UNIT - 1
            ),
        }
    }

    /// Digits that count, as many as all lines have.
    pub(super) fn count_value(&self, out: &mut String) {
        let rows = &self.family.rows;
        let text = |row: &Row| {
            let (_, to) = Self::cell(row, self.family.slot)?;
            self.bytes(row).get(row.number.digits..to)
        };
        let texts = || rows.iter().filter_map(text);
        let small = texts().any(|text| text.iter().any(u8::is_ascii_lowercase));
        let letters = if small { "a-f" } else { "A-F" };
        let least = texts().map(<[u8]>::len).min().unwrap_or(1);
        let most = texts().map(<[u8]>::len).max().unwrap_or(1);
        let _written = if least == most {
            write!(out, "(?<value>[0-9{letters}]{{{most}}})")
        } else {
            write!(out, "(?<value>[0-9{letters}]{{{least},{most}}})")
        };
    }

    fn free_value(&self, out: &mut String) {
        let rows = &self.family.rows;
        if self.marks.digits.are_counts() {
            self.count_value(out);
            return;
        }
        let decimal = escaped(&[self.marks.decimal]);
        let apart = rows
            .iter()
            .any(|row| row.number.sign.is_some_and(|at| row.number.digits > at + 1));
        let signed = !self.roles.contains(&Role::Sign);
        let sign = match (signed, apart) {
            (false, _) => "",
            (true, true) => r"[+-]?[ \t]*",
            (true, false) => "[+-]?",
        };
        let whole = match self.marks.thousands {
            Some(mark) => format!("[0-9]{{1,3}}(?:{}?[0-9]{{3}})*", escaped(&[mark])),
            None => "[0-9]+".to_owned(),
        };
        let brackets = rows
            .iter()
            .filter(|row| row.number.bracket.is_some())
            .count();
        if brackets > 0 {
            let sample = rows.iter().find(|row| row.number.bracket.is_some());
            let (open, close) = sample.map_or(("", ""), |row| self.bracket_marks(row));
            let may = if brackets < rows.len() { "?" } else { "" };
            let _written = write!(
                out,
                "(?<value>{sign}{whole}(?:{decimal}[0-9]*)?)(?:{open}(?<fine>[0-9]{{1,2}}){close}){may}"
            );
            return;
        }
        let always = rows.iter().all(|row| row.number.decimals > 0);
        let fraction = if always {
            format!("{decimal}[0-9]+")
        } else {
            format!("(?:{decimal}[0-9]+)?")
        };
        let _written = write!(out, "(?<value>{sign}{whole}{fraction})");
    }
}

pub(super) fn blanks(out: &mut String, count: usize) {
    let _written = match count {
        0 => Ok(()),
        1 => write!(out, " "),
        more => write!(out, " {{{more}}}"),
    };
}

/// One of these texts, as a group of this name.
pub(super) fn one_of(out: &mut String, group: Option<&str>, texts: &BTreeSet<&[u8]>) {
    let all: Vec<String> = texts.iter().map(|text| escaped(text)).collect();
    let any = all.join("|");
    let _written = match group {
        Some(group) => write!(out, "(?<{group}>{any})"),
        None if all.len() == 1 => write!(out, "{any}"),
        None => write!(out, "(?:{any})"),
    };
}

/// One of these texts, as both the status and the sign.
pub(super) fn sign_status(out: &mut String, texts: &BTreeSet<&[u8]>) {
    out.push_str("(?<status>");
    one_of(out, Some("sign"), texts);
    out.push(')');
}

/// So many bytes out of these; a `0` stands for every digit.
pub(super) fn class(out: &mut String, bytes: impl Iterator<Item = u8>, width: usize) {
    let bytes: BTreeSet<u8> = bytes.collect();
    out.push('[');
    for byte in &bytes {
        match byte {
            b'0' => out.push_str("0-9"),
            b'1'..=b'9' | b'-' => {}
            other => out.push_str(&escaped(&[*other])),
        }
    }
    if bytes.contains(&b'-') {
        out.push('-');
    }
    let _written = if width == 1 {
        write!(out, "]")
    } else {
        write!(out, "]{{{width}}}")
    };
}

/// The bytes of a number that is no mass: every hexadecimal digit where some were seen.
pub(super) fn of_number(seen: BTreeSet<u8>) -> BTreeSet<u8> {
    let mut out = seen;
    let hex = |byte: &u8| byte.is_ascii_hexdigit() || matches!(byte, b' ' | b'+' | b'-');
    if out.iter().all(hex) {
        if out.iter().any(u8::is_ascii_uppercase) {
            out.extend(b'A'..=b'F');
        } else if out.iter().any(u8::is_ascii_lowercase) {
            out.extend(b'a'..=b'f');
        }
    }
    // Another mass, as the gross one, goes below zero one day.
    if out.contains(&b'.') || out.contains(&b',') {
        out.insert(b'-');
    }
    out.insert(b'0');
    out
}

/// A text that matches itself. Bytes that are not plain are written as `\xNN`.
fn escaped(text: &[u8]) -> String {
    let mut out = String::new();
    for byte in text {
        match byte {
            b'a'..=b'z'
            | b'A'..=b'Z'
            | b'0'..=b'9'
            | b' '
            | b','
            | b';'
            | b':'
            | b'='
            | b'/'
            | b'%'
            | b'_'
            | b'!'
            | b'"'
            | b'@'
            | b'<'
            | b'>' => {
                out.push(char::from(*byte));
            }
            // No apostrophe: the file writes a form between apostrophes.
            b'\'' | 0..=0x1f | 0x7f.. => {
                let _written = write!(out, "\\x{byte:02X}");
            }
            mark => {
                out.push('\\');
                out.push(char::from(*mark));
            }
        }
    }
    out
}
