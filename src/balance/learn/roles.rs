//! What each part of a line is: unit, status, sign, label, or text without a meaning.
//!
//! Promises: a status is only given a meaning by what the value did while it was sent; a symbol of a
//! unit that could mean two only by the check weight. What cannot be told is said. Leaves to
//! others: writing the form.

use rust_decimal::Decimal;

use super::Phase;
use super::family::{Column, FEWEST, Family, Line, Row, SELDOM};
use super::series::{self, Levels, Point};
use super::signs::Signs;
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

/// Whether nothing but dashes and plus signs was seen in a column.
fn all_dashes(column: &Column) -> bool {
    let dashes = |text: &Vec<u8>| text.iter().all(|byte| is_dash(*byte));
    !column.texts.is_empty() && column.texts.keys().all(dashes)
}

/// The column of the unit: the nearest that looks like one, behind the value first. A word that is
/// always there right behind a value that the check weight proves is one, too, and so is one in
/// letters beyond ASCII, which no status of the trade is written in where it never changes.
fn unit_column(family: &Family, signs: &Signs, proven: bool) -> Option<usize> {
    let slot = family.slot;
    let free = |at: usize| Some(at) != signs.column && Some(at) != signs.close;
    let looks = |at: &usize| {
        free(*at)
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

/// Whether a number stands next to a mark that dates and times have.
fn is_dated(family: &Family, at: usize) -> bool {
    let joint = |at: Option<usize>| {
        let column = at.and_then(|at| family.columns.get(at));
        column.is_some_and(|column| matches!(column.kind, Kind::Mark(b':' | b'/' | b'.' | b'+')))
    };
    joint(at.checked_sub(1)) || joint(at.checked_add(1))
}

/// Fewer lines than that tell nothing of motion.
const FEW: usize = 12;

/// How often a text came while the pan moved, and while it rested, and at which values.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    moved: usize,
    rested: usize,
    away: bool,
    /// It was sent while the check weight lay at rest.
    loaded: bool,
}

/// How it is known when the check weight lay on the pan.
#[derive(Debug, Clone, Copy)]
enum Loaded {
    /// The person was asked to put it on.
    Phase,
    /// This value, at which the pan rested farthest from zero.
    Level(Decimal),
}

impl Loaded {
    fn of(points: &[Point], levels: &Levels, weighed: bool) -> Option<Self> {
        let asked = |point: &Point| point.phase == Some(Phase::Loaded);
        if points.iter().any(asked) {
            return Some(Self::Phase);
        }
        levels.loaded.filter(|_| weighed).map(Self::Level)
    }

    fn lies(self, point: &Point, near: Decimal) -> bool {
        match self {
            Self::Phase => point.phase == Some(Phase::Loaded),
            Self::Level(level) => (point.value - level).abs() <= near,
        }
    }
}

/// The texts of a column, each with its tally.
type Tallies = Vec<(Vec<u8>, Tally)>;

/// Whether a text in a column comes again after another one.
fn comes_back(family: &Family, lines: &[Line<'_>], at: usize) -> bool {
    let cell = |row: &Row| {
        let (from, to) = row.cells.get(at).copied().flatten()?;
        lines.get(row.line)?.bytes.get(from..to)
    };
    let mut runs: Vec<Option<&[u8]>> = family.rows.iter().map(cell).collect();
    runs.dedup();
    let all = runs.len();
    runs.sort_unstable();
    runs.dedup();
    runs.len() < all
}

impl Tally {
    fn lines(self) -> usize {
        self.moved + self.rested
    }

    fn share_moved(self) -> Option<usize> {
        (self.moved * 100).checked_div(self.moved + self.rested)
    }

    fn rests(self) -> bool {
        self.share_moved().is_some_and(|share| share <= 5)
    }

    fn moves(self) -> bool {
        self.moved > 0 && self.share_moved().is_some_and(|share| share >= 20)
    }
}

impl Roles {
    fn take_status(
        &mut self,
        family: &Family,
        lines: &[Line<'_>],
        points: &[Point],
        (unit, loaded): (Option<usize>, Option<Loaded>),
    ) {
        let motion = series::motion(points);
        let near = series::near(points);
        let mut best: Option<(usize, usize, Tallies)> = None;
        let mut open = Vec::new();
        for (at, column) in family.columns.iter().enumerate() {
            let rows = family.rows.len();
            let present: usize = column.texts.values().sum();
            let variants = column.texts.len() + usize::from(present < rows);
            let short = |text: &Vec<u8>| text.len() <= 2;
            let may = match column.kind {
                Kind::Number => {
                    at != family.slot && column.texts.keys().all(short) && !is_dated(family, at)
                }
                Kind::Word => Some(at) != unit && !column.label,
                Kind::Mark(_) => true,
            } && self.may_be_status(at);
            // A few lines, as of a print key, are rests all.
            if !may || rows < FEW || !(2..=8).contains(&variants) {
                continue;
            }
            let mut tallies = Tallies::new();
            for ((row, point), motion) in family.rows.iter().zip(points).zip(&motion) {
                let cell = row.cells.get(at).copied().flatten();
                let text = cell.and_then(|(from, to)| lines.get(row.line)?.bytes.get(from..to));
                let text = text.unwrap_or_default();
                let place = tallies.iter().position(|(known, _)| known == text);
                let place = place.unwrap_or_else(|| {
                    tallies.push((text.to_vec(), Tally::default()));
                    tallies.len() - 1
                });
                if let Some((_, tally)) = tallies.get_mut(place) {
                    tally.moved += usize::from(*motion == Some(true));
                    tally.rested += usize::from(*motion == Some(false));
                    tally.away |= point.value.abs() > near;
                    let rests = *motion == Some(false);
                    tally.loaded |= rests && loaded.is_some_and(|it| it.lies(point, near));
                }
            }
            let rests = tallies.iter().filter(|(_, tally)| tally.rests());
            let rested: usize = rests.map(|(_, tally)| tally.rested).sum();
            let moves = tallies.iter().filter(|(_, tally)| tally.moves());
            let moved: usize = moves.map(|(_, tally)| tally.moved).sum();
            // A number that only counts up never comes back, as a status does.
            let counts = column.kind == Kind::Number && !self::comes_back(family, lines, at);
            let score = if rested > 0 && !counts { moved } else { 0 };
            if score > 0 && best.as_ref().is_none_or(|(_, most, _)| score > *most) {
                best = Some((at, score, tallies));
            } else {
                open.push(at);
            }
        }
        if let Some((at, _, tallies)) = best {
            if let Some(role) = self.of.get_mut(at) {
                *role = match role {
                    Role::Sign => Role::SignStatus,
                    _ => Role::Status,
                };
            }
            self.status_table(&tallies, loaded.is_some());
        } else if self.take_dashes(family, &open) {
            self.unsettled.push("Dashes stand in some lines, and what they mean could not be told: they are taken for in motion, so that nothing is captured on them. If they mean rest, say so in the file.".to_owned());
        } else if unit
            .and_then(|at| family.columns.get(at))
            .is_some_and(|column| column.texts.values().sum::<usize>() < family.rows.len())
        {
            self.unsettled.push("The unit is left out in some lines, probably while the pan moves: such a line is shown and never captured.".to_owned());
        } else {
            self.unsettled.push("Nothing in the lines was seen to tell rest from motion: panbell goes by the values alone.".to_owned());
        }
        for at in open {
            let Some(column) = family.columns.get(at) else {
                continue;
            };
            if !matches!(
                self.of.get(at),
                Some(Role::Status | Role::SignStatus | Role::Sign)
            ) {
                let texts: Vec<String> = column.texts.keys().map(|text| shown(text)).collect();
                self.unsettled.push(format!(
                    "A part of the line changes ({}), and what it means could not be told.",
                    texts.join(", ")
                ));
            }
        }
    }

    /// A sign is no status, but words for each of several may say both.
    fn may_be_status(&self, at: usize) -> bool {
        match self.of.get(at) {
            Some(Role::Sign) => self.signs.len() > 2,
            Some(Role::Close) => false,
            _ => true,
        }
    }

    /// Dashes that are no sign and were not proven to be a status: never at rest.
    fn take_dashes(&mut self, family: &Family, open: &[usize]) -> bool {
        let dashes = |at: &&usize| family.columns.get(**at).is_some_and(all_dashes);
        let Some(at) = open.iter().find(dashes) else {
            return false;
        };
        if let (Some(role), Some(column)) = (self.of.get_mut(*at), family.columns.get(*at)) {
            *role = Role::Status;
            let moving = |text: &Vec<u8>| (symbol_of(text), Status::InMotion);
            self.statuses.extend(column.texts.keys().map(moving));
        }
        true
    }

    fn status_table(&mut self, tallies: &[(Vec<u8>, Tally)], weighed: bool) {
        let rests_away = tallies.iter().any(|(_, tally)| tally.rests() && tally.away);
        let lines: usize = tallies.iter().map(|(_, tally)| tally.lines()).sum();
        for (text, tally) in tallies {
            let seldom =
                tally.lines() < (lines / SELDOM).max(FEWEST) && lines > FEWEST * SELDOM / 2;
            let status = if seldom && tally.rests() && !text.is_empty() {
                // An error or a total also comes at rest, and nothing may be captured by it.
                self.unsettled.push(format!(
                    "The word {} came in {} lines only: it is taken for in motion, so that nothing is captured on it. If it means rest, say so in the file.",
                    shown(text),
                    tally.lines()
                ));
                Status::InMotion
            } else if tally.moves() {
                Status::InMotion
            } else if tally.rests() && !tally.away && rests_away {
                Status::StableAtZero
            } else if tally.rests() && weighed && !tally.loaded && !text.is_empty() {
                // What came at rest only beside the weight may mean an empty pan, or a fault.
                self.unsettled.push(format!(
                    "The word {} came at rest, and never while the check weight lay still on the pan: it is taken for in motion, so that nothing is captured on it. Learn again and let the weight lie longer; if it means rest, say so in the file.",
                    shown(text)
                ));
                Status::InMotion
            } else if tally.rests() {
                Status::Stable
            } else if !text.is_empty() && text.iter().all(|byte| is_dash(*byte)) {
                Status::InMotion
            } else {
                self.unsettled.push(format!(
                    "The status {} came too seldom to tell what it means.",
                    shown(text)
                ));
                continue;
            };
            if text.is_empty() {
                let what = status.word();
                self.unsettled.push(format!("Where no status is sent the balance was {what}; a missing status has no entry, so panbell goes by the values there."));
            } else {
                self.statuses.push((symbol_of(text), status));
            }
        }
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
