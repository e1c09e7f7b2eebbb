//! The lines that carry the mass, laid over each other: which of all lines they are, and which
//! part of each stands where.
//!
//! Promises: lines of different builds (a unit that is missing, another status) come together only
//! where one is the other with words left out or put in, and never lines that only take turns, as
//! those of one weighing do. Leaves to others: what the parts mean (`roles`).

use std::collections::BTreeMap;

use super::Phase;
use super::align::{Pairs, insert_new, laid_over};
use super::groups::{Group, enough, kind_of, sign, take_turns};
use super::series::Point;
use super::strays;
use super::symbols;
use super::token::{Kind, Number, Token};

/// A captured line and its tokens.
#[derive(Debug)]
pub(super) struct Line<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) tokens: Vec<Token>,
    pub(super) phase: Option<Phase>,
}

impl Line<'_> {
    pub(super) fn text(&self, token: &Token) -> &[u8] {
        self.bytes.get(token.from..token.to).unwrap_or_default()
    }
}

/// One place in the lines of a family.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub(super) kind: Kind,
    /// Every text seen there, and how often.
    pub(super) texts: BTreeMap<Vec<u8>, usize>,
    /// The texts take turns from line to line.
    pub(super) label: bool,
}

/// One line of a family.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub(super) line: usize,
    /// Where each column stands in it, if it does.
    pub(super) cells: Vec<Option<(usize, usize)>>,
    pub(super) number: Number,
    /// Whether its mass is the pan's load; else it is that of another kind.
    pub(super) load: bool,
}

/// Lines of one build, or of builds that belong together.
#[derive(Debug, Clone)]
pub(super) struct Family {
    pub(super) columns: Vec<Column>,
    /// In the order of the capture.
    pub(super) rows: Vec<Row>,
    /// The column of the value.
    pub(super) slot: usize,
}

impl Family {
    pub(super) fn points(&self, lines: &[Line<'_>]) -> Vec<Point> {
        let point = |row: &Row| Point {
            line: row.line,
            value: row.number.value,
            decimals: row.number.decimals,
            phase: lines.get(row.line).and_then(|line| line.phase),
        };
        self.rows.iter().map(point).collect()
    }
}

/// A group that is not of the family.
#[derive(Debug, Clone, Copy)]
pub(super) struct Other<'g> {
    pub(super) group: &'g Group,
    /// Its lines take turns with those of the family, as the lines of one weighing do.
    pub(super) turns: bool,
}

/// The family of an anchor, and the groups that are not of it.
pub(super) fn grow<'g>(
    lines: &[Line<'_>],
    groups: &'g [Group],
    anchor: usize,
    place: usize,
) -> Option<(Family, Vec<Other<'g>>)> {
    let first = groups.get(anchor)?;
    let mut family = Family {
        columns: columns_of(first),
        rows: Vec::new(),
        slot: place,
    };
    for at in &first.lines {
        add(&mut family, lines, *at, place, None);
    }
    let mut others = Vec::new();
    for (at, group) in groups.iter().enumerate() {
        if at == anchor {
            continue;
        }
        let turns = turns_with(&family, group);
        if turns || !join(&mut family, lines, group) {
            others.push(Other { group, turns });
        }
    }
    family.rows.sort_by_key(|row| row.line);
    strays::drop_broken(&mut family, lines);
    drop_rare(&mut family, lines);
    (!family.rows.is_empty()).then_some((family, others))
}

/// A group that holds no mass, as a family without a value.
pub(super) fn laid_out(lines: &[Line<'_>], group: &Group) -> Family {
    let mut family = Family {
        columns: columns_of(group),
        rows: Vec::new(),
        slot: usize::MAX,
    };
    for at in &group.lines {
        add(&mut family, lines, *at, usize::MAX, None);
    }
    family
}

fn columns_of(group: &Group) -> Vec<Column> {
    let column = |(place, sign): (usize, &u8)| Column {
        kind: kind_of(*sign),
        texts: BTreeMap::new(),
        label: group.labels.iter().any(|(label, _)| *label == place),
    };
    group.key.iter().enumerate().map(column).collect()
}

/// Whether the lines of a group and those of the family take turns.
fn turns_with(family: &Family, group: &Group) -> bool {
    let ours = family.rows.iter().map(|row| (row.line, true));
    let theirs = group.lines.iter().map(|line| (*line, false));
    let mut all: Vec<(usize, bool)> = ours.chain(theirs).collect();
    all.sort_unstable();
    let from = group.lines.first().copied().unwrap_or(0);
    // Only where both come: one long rest beside the turns does not hide them.
    let to = group.lines.last().copied().unwrap_or(0);
    let near = all.iter().filter(|(line, _)| (from..=to).contains(line));
    let whose: Vec<bool> = near.map(|(_, ours)| *ours).collect();
    group.lines.len() >= 2 && take_turns(&whose)
}

/// A build with a word of its own belongs to a weighing if it has one in so many lines of the others,
/// and no fewer than so many lines.
pub(super) const SELDOM: usize = 12;
pub(super) const FEWEST: usize = 4;
/// Fewer lines than that are taken one by one, as a print key gives them.
const FEW: usize = 12;

/// Takes a group into the family if it fits; whether it does.
fn join(family: &mut Family, lines: &[Line<'_>], group: &Group) -> bool {
    let Some(sample) = group.lines.first().and_then(|at| lines.get(*at)) else {
        return false;
    };
    let places = group
        .key
        .iter()
        .enumerate()
        .filter(|(_, sign)| **sign == b'0');
    let mut best: Option<(i32, usize, Pairs)> = None;
    for (place, _) in places {
        let Some((score, pairs)) = laid_over(family, sample, place) else {
            continue;
        };
        if best.as_ref().is_none_or(|(most, ..)| score > *most) {
            best = Some((score, place, pairs));
        }
    }
    let Some((_, place, pairs)) = best else {
        return false;
    };
    // A line with another label is another line.
    let other_label = pairs.iter().any(|(column, token)| {
        let (Some(column), Some(token)) = (column.and_then(|at| family.columns.get(at)), token)
        else {
            return false;
        };
        let text = sample.tokens.get(*token).map(|token| sample.text(token));
        column.label && text.is_some_and(|text| !column.texts.contains_key(text))
    });
    // A word that stands in a few lines only, where the others have none, is an error, a total or an
    // identity with a number behind it: not a weighing.
    let new_word = pairs.iter().any(|(column, token)| {
        let kind = token.and_then(|token| sample.tokens.get(token));
        column.is_none() && kind.is_some_and(|token| token.kind == Kind::Word)
    });
    // Brackets come and go in pairs, and not by a loss on the way.
    let mut brackets = [0_i32; 2];
    for (column, token) in &pairs {
        let kind = match (column, token) {
            (Some(at), None) => family.columns.get(*at).map(|column| column.kind),
            (None, Some(at)) => sample.tokens.get(*at).map(|token| token.kind),
            _ => None,
        };
        match kind {
            Some(Kind::Mark(b'(' | b'[')) => brackets[0] += 1,
            Some(Kind::Mark(b')' | b']')) => brackets[1] += 1,
            _ => {}
        }
    }
    let seldom = group.lines.len() < (family.rows.len() / SELDOM).max(FEWEST);
    if brackets[0] != brackets[1] || brackets[0] > 0 && seldom && family.rows.len() >= FEW {
        return false;
    }
    let stray = strays::is_stray(family, lines, group, (place, &pairs));
    if other_label || new_word && seldom || stray {
        return false;
    }
    let map = insert_new(family, sample, &pairs);
    for at in &group.lines {
        add(family, lines, *at, place, Some(&map));
    }
    true
}

fn add(family: &mut Family, lines: &[Line<'_>], at: usize, place: usize, map: Option<&Vec<usize>>) {
    let Some(line) = lines.get(at) else { return };
    let number = line.tokens.get(place).and_then(|token| token.number);
    let Some(number) = number
        .filter(|number| number.plain)
        .or((place == usize::MAX).then(Number::none))
    else {
        return;
    };
    let mut cells = vec![None; family.columns.len()];
    for (token_at, token) in line.tokens.iter().enumerate() {
        let column = map.map_or(Some(token_at), |map| map.get(token_at).copied());
        let Some(column) = column else { return };
        if let (Some(cell), Some(column)) = (cells.get_mut(column), family.columns.get_mut(column))
        {
            *cell = Some((token.from, token.to));
            *column.texts.entry(line.text(token).to_vec()).or_default() += 1;
        }
    }
    family.rows.push(Row {
        line: at,
        cells,
        number,
        load: true,
    });
}

/// Takes in the lines of other kinds of mass that differ from the family's by their label only,
/// so that the form covers them; gives the groups that are none of those.
pub(super) fn take_kinds<'g>(
    family: &mut Family,
    lines: &[Line<'_>],
    others: Vec<Other<'g>>,
) -> Vec<Other<'g>> {
    let family_key: Vec<u8> = family
        .columns
        .iter()
        .map(|column| sign(column.kind))
        .collect();
    let slot = family.slot;
    let mut left = Vec::new();
    for other in others {
        let group = other.group;
        let labelled = group.labels.iter().all(|(place, label)| {
            symbols::of(label).is_some()
                && family
                    .columns
                    .get(*place)
                    .is_some_and(|column| column.label)
        });
        if group.key == family_key && !group.labels.is_empty() && labelled {
            let had = family.rows.len();
            for at in &group.lines {
                add(family, lines, *at, slot, None);
            }
            for row in family.rows.iter_mut().skip(had) {
                row.load = false;
            }
        } else {
            left.push(other);
        }
    }
    family.rows.sort_by_key(|row| row.line);
    left
}

/// Takes out lines with a word that is too rare to be one.
fn drop_rare(family: &mut Family, lines: &[Line<'_>]) {
    let enough = enough(family.rows.len());
    let columns = &family.columns;
    let slot = family.slot;
    let rare = |row: &Row| {
        columns
            .iter()
            .zip(&row.cells)
            .enumerate()
            .any(|(at, (column, cell))| {
                let (Some((from, to)), Some(line)) = (cell, lines.get(row.line)) else {
                    return false;
                };
                let text = line.bytes.get(*from..*to).unwrap_or_default();
                at != slot
                    && !matches!(column.kind, Kind::Number | Kind::Mark(b'+'))
                    && column.texts.get(text).is_some_and(|count| *count < enough)
            })
    };
    family.rows.retain(|row| !rare(row));
    for (at, column) in family.columns.iter_mut().enumerate() {
        column.texts.clear();
        for row in &family.rows {
            let cell = row.cells.get(at).copied().flatten();
            let text = cell.and_then(|(from, to)| lines.get(row.line)?.bytes.get(from..to));
            if let Some(text) = text {
                *column.texts.entry(text.to_vec()).or_default() += 1;
            }
        }
    }
    // A column that only noise had.
    let keep: Vec<bool> = family
        .columns
        .iter()
        .map(|column| !column.texts.is_empty())
        .collect();
    let gone_before = keep.iter().take(family.slot).filter(|keep| !**keep).count();
    family.slot -= gone_before;
    let mut kept = keep.iter();
    family
        .columns
        .retain(|_| kept.next().copied().unwrap_or(true));
    for row in &mut family.rows {
        let mut kept = keep.iter();
        row.cells.retain(|_| kept.next().copied().unwrap_or(true));
    }
}
