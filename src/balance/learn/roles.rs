//! What each part of a line is: unit, status, sign, label, or text without a meaning.
//!
//! Promises: a symbol of a unit that could mean two is only given a meaning by the check weight. What
//! cannot be told is said. Leaves to others: the sign (`signs`), rest and motion (`status`), writing
//! the form.

use super::family::{Column, Family, Line, Row};
use super::series::{Levels, Point};
use super::signs::Signs;
use super::status::Loaded;
use super::symbols::{self, Of, like_unit, plain_unit};
use super::token::{Kind, is_dash};
use crate::balance::layout::{Kind as MassKind, Sign, symbol_of};
use crate::mass::{Status, Unit};

/// What a column is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Value,
    Sign,
    /// The second half of a sign that stands about the digits.
    Close,
    Unit,
    Status,
    /// One word that is both.
    SignStatus,
    Kind,
    /// The same text in every line, or one of a few without a meaning.
    Text,
    /// A number that is no mass.
    Number,
}

/// How the unit is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitKnown {
    /// The check weight proves it.
    Proven(Unit),
    /// The line states it plainly; no check weight was seen.
    Stated(Unit),
    /// The person said so; nothing speaks against it.
    Told(Unit),
    /// The line states one unit and the check weight shows another.
    Conflict {
        /// What the line states.
        stated: Unit,
        /// What the check weight shows.
        shown: Unit,
    },
    /// It cannot be told.
    No,
}

impl UnitKnown {
    /// The unit, when it is known.
    pub fn unit(self) -> Option<Unit> {
        match self {
            Self::Proven(unit) | Self::Stated(unit) | Self::Told(unit) => Some(unit),
            Self::Conflict { .. } | Self::No => None,
        }
    }
}

/// The roles of a family's columns, and the tables that go with them.
#[derive(Debug, Clone)]
pub(super) struct Roles {
    pub(super) of: Vec<Role>,
    pub(super) units: Vec<(String, Unit)>,
    /// What stands in the unit's place while the pan moves.
    pub(super) unit_marks: Vec<Vec<u8>>,
    pub(super) statuses: Vec<(String, Status)>,
    pub(super) kinds: Vec<(String, MassKind)>,
    pub(super) signs: Vec<(String, Sign)>,
    pub(super) takes: MassKind,
    pub(super) unit: UnitKnown,
    pub(super) unsettled: Vec<String>,
}

/// Gives every column of a family its role.
pub(super) fn roles(
    family: &Family,
    lines: &[Line<'_>],
    levels: &Levels,
    signs: &Signs,
    (weighed, told): (bool, Option<Unit>),
) -> Roles {
    let points = family.points(lines);
    let mut roles = Roles {
        of: plain(family, signs),
        units: Vec::new(),
        unit_marks: Vec::new(),
        statuses: Vec::new(),
        kinds: Vec::new(),
        signs: signs
            .table
            .iter()
            .map(|(text, sign)| (symbol_of(text), *sign))
            .collect(),
        takes: MassKind::Net,
        unit: UnitKnown::No,
        unsettled: Vec::new(),
    };
    let unit = unit_column(family, signs, !levels.units.is_empty());
    if let Some(role) = unit.and_then(|at| roles.of.get_mut(at)) {
        *role = Role::Unit;
    }
    let loaded = Loaded::of(&points, levels, weighed);
    roles.take_status(family, lines, &points, (unit, loaded));
    roles.take_unit(family, unit, levels, (weighed, told));
    roles
}

/// The roles that the look of a column tells.
pub(super) fn plain(family: &Family, signs: &Signs) -> Vec<Role> {
    let sign = signs.column.or_else(|| sign_column(family));
    let role = |(at, column): (usize, &Column)| match column.kind {
        _ if at == family.slot => Role::Value,
        _ if Some(at) == sign => Role::Sign,
        _ if Some(at) == signs.close => Role::Close,
        Kind::Number => Role::Number,
        _ => Role::Text,
    };
    family.columns.iter().enumerate().map(role).collect()
}

/// The column in which a sign would stand apart from the digits, where none below zero was heard:
/// the nearest plus, not behind the unit or beside another dash.
fn sign_column(family: &Family) -> Option<usize> {
    let slot = family.slot;
    let dash = |row: &Row, at: Option<usize>| {
        at.is_some_and(|at| {
            let column = family.columns.get(at);
            column.is_some_and(|column| column.kind == Kind::Mark(b'+') || all_dashes(column))
                && row.cells.get(at).is_some_and(Option::is_some)
        })
    };
    let beside = |at: usize| {
        family.rows.iter().any(|row| {
            dash(row, Some(at)) && (dash(row, at.checked_sub(1)) || dash(row, at.checked_add(1)))
        })
    };
    let behind_word = |at: usize| {
        let between = family.columns.get(slot.saturating_add(1)..at);
        between.is_some_and(|all| all.iter().any(|column| column.kind == Kind::Word))
    };
    let is_sign = |at: &usize| {
        if beside(*at) || behind_word(*at) {
            return false;
        }
        family.columns.get(*at).is_some_and(|column| {
            let dash = column.texts.contains_key(&b"-"[..]);
            column.kind == Kind::Mark(b'+') && !dash
        })
    };
    let all = 0..family.columns.len();
    all.filter(is_sign)
        .min_by_key(|at| at.abs_diff(slot))
        .filter(|_| slot != usize::MAX)
}

/// Whether a text in the unit's place is a unit, and none of the marks that stand there in motion.
pub(super) fn is_unit(unit_marks: &[Vec<u8>], text: &[u8]) -> bool {
    !unit_marks.iter().any(|mark| mark == text.trim_ascii())
}

/// Whether nothing but dashes and plus signs was seen in a column.
pub(super) fn all_dashes(column: &Column) -> bool {
    let dashes = |text: &Vec<u8>| text.iter().all(|byte| is_dash(*byte));
    !column.texts.is_empty() && column.texts.keys().all(dashes)
}

/// The column of the unit: the nearest that looks like one, behind the value first. A word that is
/// always there right behind a value that the check weight proves is one, too, and so is one in
/// letters beyond ASCII, which no status of the trade is written in where it never changes.
fn unit_column(family: &Family, signs: &Signs, proven: bool) -> Option<usize> {
    let slot = family.slot;
    let free = |at: usize| Some(at) != signs.column && Some(at) != signs.close;
    let labelled = |at: usize| is_label(family, at);
    let looks = |at: &usize| {
        free(*at)
            && !labelled(*at)
            && family.columns.get(*at).is_some_and(|column| {
                let (like, all) = column
                    .texts
                    .iter()
                    .fold((0, 0), |(like, all), (text, count)| {
                        (like + if like_unit(text) { *count } else { 0 }, all + count)
                    });
                column.kind == Kind::Word && !column.label && like * 2 > all
            })
    };
    let behind = (slot + 1..family.columns.len()).find(looks);
    let found = behind.or_else(|| (0..slot).rev().find(looks));
    found.or_else(|| {
        let next = family.columns.get(slot + 1)?;
        let always = next.texts.len() == 1 && next.kind == Kind::Word && !next.label;
        let present: usize = next.texts.values().sum();
        let foreign =
            next.texts.keys().any(|text| !text.is_ascii()) && present == family.rows.len();
        let may = always && free(slot + 1) && (proven || foreign);
        (may && !next.texts.keys().any(|text| says_rest(text))).then_some(slot + 1)
    })
}

/// The values of the rows in the unit that most of them are in.
pub(super) fn of_one_unit(family: &Family, lines: &[Line<'_>], signs: &Signs) -> Vec<Point> {
    let points = family.points(lines);
    let Some(at) = unit_column(family, signs, false) else {
        return points;
    };
    let text = |row: &Row| {
        let (from, to) = row.cells.get(at).copied().flatten()?;
        lines.get(row.line)?.bytes.get(from..to)
    };
    let most = family.columns.get(at).and_then(|column| {
        let like = |text: &Vec<u8>| like_unit(text);
        let commonest = column
            .texts
            .iter()
            .max_by_key(|(text, count)| (like(text), **count));
        commonest.map(|(text, _)| text.as_slice())
    });
    let rows = points.iter().zip(&family.rows);
    rows.filter(|(_, row)| text(row).is_none_or(|text| Some(text) == most))
        .map(|(point, _)| *point)
        .collect()
}

/// Whether a word names the mass that follows it, as another one names another mass.
fn is_label(family: &Family, at: usize) -> bool {
    let names = |at: usize| {
        let column = family.columns.get(at);
        let says = |text: &Vec<u8>| symbols::of(text).is_some();
        let mut behind = family.columns.iter().skip(at + 1);
        let next = behind.find(|column| column.kind != Kind::Mark(b'+'));
        column.is_some_and(|column| column.kind == Kind::Word && column.texts.keys().all(says))
            && next.is_some_and(|next| next.kind == Kind::Number)
    };
    names(at) && (0..family.columns.len()).any(|other| other != at && names(other))
}

/// Plain words that speak of rest or motion, or of what is weighed, and so are no units.
fn says_rest(text: &[u8]) -> bool {
    let word = String::from_utf8_lossy(text).to_ascii_lowercase();
    let words = [
        "s", "st", "stable", "steady", "rest", "ok", "moving", "motion",
    ];
    words.contains(&word.as_str())
        || symbols::of(text).is_some()
        || text.iter().all(|byte| is_dash(*byte))
}

impl Roles {
    /// Whether a text in the unit's place is a unit.
    pub(super) fn is_unit(&self, text: &[u8]) -> bool {
        is_unit(&self.unit_marks, text)
    }

    fn take_unit(
        &mut self,
        family: &Family,
        unit: Option<usize>,
        levels: &Levels,
        (weighed, told): (bool, Option<Unit>),
    ) {
        let Some(column) = unit.and_then(|at| family.columns.get(at)) else {
            let agreed = told.filter(|unit| levels.units.contains(unit));
            self.unit = match (agreed, levels.units.as_slice()) {
                (Some(unit), _) => UnitKnown::Proven(unit),
                (None, [unit]) => UnitKnown::Proven(*unit),
                _ => UnitKnown::No,
            };
            return;
        };
        // A status in its place, where the unit is left out, is none.
        let like = |text: &Vec<u8>| like_unit(text);
        let commonest = column
            .texts
            .iter()
            .max_by_key(|(text, count)| (like(text), **count));
        let Some((main, _)) = commonest else {
            return;
        };
        self.unit = match (plain_unit(main), levels.units.as_slice()) {
            (Some(stated), units) if units.contains(&stated) => UnitKnown::Proven(stated),
            (Some(stated), [shown, ..]) => UnitKnown::Conflict {
                stated,
                shown: *shown,
            },
            // A weight was named, and no value is it: then nobody knows what is read.
            (Some(_), []) if weighed => UnitKnown::No,
            (Some(stated), []) => UnitKnown::Stated(stated),
            (None, [one]) => UnitKnown::Proven(*one),
            (None, units) => match told {
                Some(unit) if units.contains(&unit) => UnitKnown::Proven(unit),
                Some(unit) if !weighed => UnitKnown::Told(unit),
                _ => UnitKnown::No,
            },
        };
        if self.unit == UnitKnown::No
            && weighed
            && levels.units.is_empty()
            && plain_unit(main).is_some()
        {
            self.unsettled.push(format!("The check weight was never seen as a value in {}: what is read is probably not the mass, so no unit has an entry and nothing is captured. Learn again with the weight named as it is, and let it lie still.", shown(main)));
            return;
        } else if self.unit == UnitKnown::No {
            let several: Vec<&str> = levels.units.iter().map(|unit| unit.name()).collect();
            self.unsettled.push(if several.is_empty() && !main.is_ascii() {
                format!("Behind the value stands {}, which panbell knows as no unit, and no check weight proves which it is: it has no entry, so nothing is captured in it. Learn again with a check weight that lies still on the pan, or write it into [units] of the file yourself.", shown(main))
            } else if several.is_empty() {
                format!("The unit {} can mean more than one, and no check weight proves which: it has no entry, so nothing is captured in it.", shown(main))
            } else {
                format!("The unit {} can mean more than one, and the check weight fits {}: say which with --unit, or use a heavier weight.", shown(main), several.join(" and "))
            });
        }
        let main_unit = self.unit.unit();
        for text in column.texts.keys() {
            if !self.is_unit(text) {
                continue;
            }
            let meant = if text == main {
                main_unit
            } else {
                plain_unit(text)
            };
            if let Some(unit) = meant {
                self.units.push((symbol_of(text), unit));
            }
        }
        let conflict = matches!(self.unit, UnitKnown::Conflict { .. });
        for (symbol, unit) in symbols::PLAIN {
            let known = self.units.iter().any(|(known, _)| known == symbol);
            let stated = matches!(self.unit, UnitKnown::Conflict { stated, .. } if stated == unit);
            let unproven = self.unit == UnitKnown::No && plain_unit(main) == Some(unit);
            if !(known || conflict && stated || unproven) {
                self.units.push((symbol.to_owned(), unit));
            }
        }
    }

    /// Gives the label its meaning, when lines of other kinds were taken into the family.
    pub(super) fn take_kinds(&mut self, family: &Family) {
        let Some(at) = family.columns.iter().position(|column| column.label) else {
            return;
        };
        let Some(column) = family
            .columns
            .get(at)
            .filter(|column| column.texts.len() > 1)
        else {
            return;
        };
        if let Some(role) = self.of.get_mut(at) {
            *role = Role::Kind;
        }
        for text in column.texts.keys() {
            let kind = match symbols::of(text) {
                Some(Of::Net) => MassKind::Net,
                Some(Of::Gross) => MassKind::Gross,
                Some(Of::Tare) => MassKind::Tare,
                None => continue,
            };
            self.kinds.push((symbol_of(text), kind));
        }
        let net = self.kinds.iter().any(|(_, kind)| *kind == MassKind::Net);
        self.takes = if net { MassKind::Net } else { MassKind::Gross };
    }
}

/// A text from a line in quotes, with what is not plain escaped.
pub(super) fn shown(text: &[u8]) -> String {
    if text.is_empty() {
        return "none".to_owned();
    }
    // Letters of any script are shown as such, with the bytes that stand for them.
    if let Ok(plain) = std::str::from_utf8(text)
        && !text.is_ascii()
        && plain.chars().all(char::is_alphanumeric)
    {
        return format!("\"{plain}\" (bytes {})", text.escape_ascii());
    }
    format!("\"{}\"", text.escape_ascii())
}
