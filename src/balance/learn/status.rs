//! Which part of a line says whether the pan rests.
//!
//! Promises: a text means rest only if it came while the check weight lay still, and motion unless
//! it is shown otherwise; a check of the line is no status. What cannot be told is said. Leaves to
//! others: the other parts of a line (`roles`).

use rust_decimal::Decimal;

use super::Phase;
use super::family::{FEWEST, Family, Line, Row, SELDOM};
use super::roles::{Role, Roles, all_dashes, shown};
use super::series::{self, Levels, Point};
use super::symbols::like_unit;
use super::token::{Kind, is_dash};
use crate::balance::layout::symbol_of;
use crate::mass::Status;

/// Whether a number stands next to a mark that dates and times have.
fn is_dated(family: &Family, at: usize) -> bool {
    let joint = |at: Option<usize>| {
        let column = at.and_then(|at| family.columns.get(at));
        column.is_some_and(|column| matches!(column.kind, Kind::Mark(b':' | b'/' | b'.' | b'+')))
    };
    joint(at.checked_sub(1)) || joint(at.checked_add(1))
}

/// More words than that in one place are more likely a check than a status.
const MOST_WORDS: usize = 4;
/// Fewer lines than that tell nothing of motion.
const FEW: usize = 12;

/// How often a text came while the pan moved, and while it rested, and at which values.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    moved: usize,
    rested: usize,
    away: bool,
    /// It came at rest near zero.
    home: bool,
    /// It was sent while the check weight lay at rest.
    loaded: bool,
}

/// How it is known when the check weight lay on the pan.
#[derive(Debug, Clone, Copy)]
pub(super) enum Loaded {
    /// The person was asked to put it on.
    Phase,
    /// This value, at which the pan rested farthest from zero.
    Level(Decimal),
}

impl Loaded {
    pub(super) fn of(points: &[Point], levels: &Levels, weighed: bool) -> Option<Self> {
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

/// Every line's value, whether it rested, and what counts as near.
struct Judged<'a> {
    points: &'a [Point],
    motion: &'a [Option<bool>],
    near: Decimal,
    loaded: Option<Loaded>,
}

/// The texts of a column, an absent one among them, each with how it came.
fn tallies(family: &Family, lines: &[Line<'_>], at: usize, judged: &Judged<'_>) -> Tallies {
    let near = judged.near;
    let mut tallies = Tallies::new();
    let judgements = judged.points.iter().zip(judged.motion);
    for (row, (point, motion)) in family.rows.iter().zip(judgements) {
        let cell = row.cells.get(at).copied().flatten();
        let text = cell.and_then(|(from, to)| lines.get(row.line)?.bytes.get(from..to));
        let text = text.unwrap_or_default();
        let place = tallies.iter().position(|(known, _)| known == text);
        let place = place.unwrap_or_else(|| {
            tallies.push((text.to_vec(), Tally::default()));
            tallies.len() - 1
        });
        if let Some((_, tally)) = tallies.get_mut(place) {
            let rests = *motion == Some(false);
            tally.moved += usize::from(*motion == Some(true));
            tally.rested += usize::from(rests);
            tally.away |= point.value.abs() > near;
            tally.home |= rests && point.value.abs() <= near;
            tally.loaded |= rests && judged.loaded.is_some_and(|it| it.lies(point, near));
        }
    }
    tallies
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
    pub(super) fn take_status(
        &mut self,
        family: &Family,
        lines: &[Line<'_>],
        points: &[Point],
        (unit, loaded): (Option<usize>, Option<Loaded>),
    ) {
        let judged = Judged {
            points,
            motion: &series::motion(points),
            near: series::near(points),
            loaded,
        };
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
            let tallies = tallies(family, lines, at, &judged);
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
        if let Some(at) = unit {
            let of_unit = tallies(family, lines, at, &judged);
            self.take_unit_marks(of_unit, best.is_none());
        }
        if let Some((at, _, tallies)) = best {
            if let Some(role) = self.of.get_mut(at) {
                *role = match role {
                    Role::Sign => Role::SignStatus,
                    _ => Role::Status,
                };
            }
            // A check follows from the value, so none of its texts comes at two values.
            let doubted = tallies.len() > MOST_WORDS;
            self.status_table(&tallies, (loaded.is_some(), doubted));
        } else if self.unit_marks.is_empty() {
            self.tell_no_status(family, &open, unit);
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

    /// No part of the line was seen to tell rest from motion: says what panbell goes by.
    fn tell_no_status(&mut self, family: &Family, open: &[usize], unit: Option<usize>) {
        let left_out = unit
            .and_then(|at| family.columns.get(at))
            .is_some_and(|column| column.texts.values().sum::<usize>() < family.rows.len());
        let says = if self.take_dashes(family, open) {
            "Dashes stand in some lines, and what they mean could not be told: they are taken for in motion, so that nothing is captured on them. If they mean rest, say so in the file."
        } else if left_out {
            "The unit is left out in some lines, probably while the pan moves: such a line is shown and never captured."
        } else {
            "Nothing in the lines was seen to tell rest from motion: panbell goes by the values alone."
        };
        self.unsettled.push(says.to_owned());
    }

    /// What stands in the place of the unit while the pan moves, and not at rest, is no unit. Of a
    /// word that is known as none not one line may have come at rest: it could be a unit all the
    /// same.
    fn take_unit_marks(&mut self, texts: Tallies, are_status: bool) {
        let marks = texts.into_iter().filter(|(text, tally)| {
            let is_word = text.iter().any(u8::is_ascii_alphanumeric) || !text.is_ascii();
            let is_mark = !is_word || tally.rested == 0;
            !text.is_empty() && !like_unit(text) && tally.moves() && is_mark
        });
        self.unit_marks = marks.map(|(text, _)| text).collect();
        if are_status {
            let moving = |text: &Vec<u8>| (symbol_of(text), Status::InMotion);
            self.statuses.extend(self.unit_marks.iter().map(moving));
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

    fn status_table(&mut self, tallies: &[(Vec<u8>, Tally)], (weighed, doubted): (bool, bool)) {
        let rests_away = tallies.iter().any(|(_, tally)| tally.rests() && tally.away);
        let lines: usize = tallies.iter().map(|(_, tally)| tally.lines()).sum();
        for (text, tally) in tallies {
            let seldom =
                tally.lines() < (lines / SELDOM).max(FEWEST) && lines > FEWEST * SELDOM / 2;
            let status = if doubted && tally.rests() && !(tally.away && tally.home) {
                self.unsettled.push(format!(
                    "{} came at rest at one value only, as a check of the line would: it is taken for in motion, so that nothing is captured on it. If it means rest, say so in the file.",
                    shown(text)
                ));
                Status::InMotion
            } else if seldom && tally.rests() && !text.is_empty() {
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
}
