//! A line laid over the columns of others, with words left out or put in.
//!
//! Promises: the best of all ways, by a table of all of them, bounded by the most tokens of a line;
//! numbers and the marks between fields always stand over their like. Leaves to others: whether
//! the line belongs there at all (`family`).

use std::collections::BTreeMap;

use super::family::{Column, Family, Line};
use super::groups::{kind_of, sign};
use super::symbols::like_unit;
use super::token::{Kind, Token};

/// Which column goes with which token.
pub(super) type Pairs = Vec<(Option<usize>, Option<usize>)>;

/// Lays a line over the columns with the value over the value.
pub(super) fn laid_over(family: &Family, line: &Line<'_>, place: usize) -> Option<(i32, Pairs)> {
    let (before, rest) = family.columns.split_at_checked(family.slot)?;
    let after = rest.get(1..)?;
    let (ahead, rest) = line.tokens.split_at_checked(place)?;
    let behind = rest.get(1..)?;
    let (one, mut pairs) = aligned(before, ahead, line, false)?;
    let (other, suffix) = aligned(after, behind, line, true)?;
    pairs.push((Some(family.slot), Some(place)));
    let moved = |at: Option<usize>, by: usize| at.map(|at| at + by + 1);
    pairs.extend(
        suffix
            .into_iter()
            .map(|(column, token)| (moved(column, family.slot), moved(token, place))),
    );
    Some((one + other, pairs))
}

/// The best way to lay tokens over columns; only words and single flags may be missing on a side.
fn aligned(
    columns: &[Column],
    tokens: &[Token],
    line: &Line<'_>,
    behind: bool,
) -> Option<(i32, Pairs)> {
    const NONE: i32 = -10_000;
    let (wide, high) = (tokens.len() + 1, columns.len() + 1);
    let mut table = vec![(NONE, 0_u8); wide * high];
    let get = |table: &[(i32, u8)], c: usize, t: usize| {
        table.get(c * wide + t).map_or(NONE, |cell| cell.0)
    };
    for c in 0..high {
        for t in 0..wide {
            let mut best = if (c, t) == (0, 0) { (0, 0) } else { (NONE, 0) };
            let column = c.checked_sub(1).and_then(|at| columns.get(at));
            let token = t.checked_sub(1).and_then(|at| tokens.get(at));
            if let (Some(column), Some(token)) = (column, token)
                && let Some(score) = likeness(column, token, line.text(token), behind)
            {
                best = best.max((get(&table, c - 1, t - 1) + score, 3));
            }
            if column.is_some_and(|column| may_miss(column.kind)) {
                best = best.max((get(&table, c - 1, t) - 1, 1));
            }
            if token.is_some_and(|token| may_miss(token.kind)) {
                best = best.max((get(&table, c, t - 1) - 1, 2));
            }
            if let Some(cell) = table.get_mut(c * wide + t) {
                *cell = best;
            }
        }
    }
    let score = get(&table, high - 1, wide - 1);
    if score < NONE / 2 {
        return None;
    }
    let (mut c, mut t, mut pairs) = (high - 1, wide - 1, Pairs::new());
    while (c, t) != (0, 0) {
        match table.get(c * wide + t)?.1 {
            3 => {
                (c, t) = (c - 1, t - 1);
                pairs.push((Some(c), Some(t)));
            }
            1 => {
                c -= 1;
                pairs.push((Some(c), None));
            }
            _ => {
                t = t.checked_sub(1)?;
                pairs.push((None, Some(t)));
            }
        }
    }
    pairs.reverse();
    Some((score, pairs))
}

/// What may be missing in some lines: a word, a sign, a flag; never what keeps fields apart.
fn may_miss(kind: Kind) -> bool {
    match kind {
        Kind::Word => true,
        Kind::Number => false,
        // Brackets may be missing in pairs, which is for the whole line to tell.
        Kind::Mark(mark) => mark.is_ascii_graphic() && !b",;:=/|<>\"'.".contains(&mark),
    }
}

fn likeness(column: &Column, token: &Token, text: &[u8], behind: bool) -> Option<i32> {
    if sign(column.kind) != sign(token.kind) {
        // A word in the place of a mark: a status may be written as either.
        let (word, mark) = match (column.kind, token.kind) {
            (Kind::Word, Kind::Mark(mark)) => {
                (column.texts.keys().all(|text| !like_unit(text)), mark)
            }
            (Kind::Mark(mark), Kind::Word) => (!like_unit(text), mark),
            _ => (false, b','),
        };
        if word && may_miss(Kind::Mark(mark)) && !b"()[]+".contains(&mark) {
            return Some(1);
        }
        // One flag in the place of another; an equals sign can be one, too.
        let flag = |kind: Kind| match kind {
            Kind::Mark(b'+') => false,
            Kind::Mark(b'=' | b'.') => true,
            other => {
                may_miss(other)
                    && !matches!(
                        other,
                        Kind::Word | Kind::Mark(b'-' | b'(' | b')' | b'[' | b']')
                    )
            }
        };
        return (flag(column.kind) && flag(token.kind)).then_some(1);
    }
    Some(match column.kind {
        Kind::Word if column.texts.contains_key(text) => 5,
        // A status behind a value does not stand in for a unit that is missing.
        Kind::Word if behind => {
            let units = column.texts.keys().any(|known| like_unit(known));
            if units == like_unit(text) { 2 } else { -3 }
        }
        Kind::Word => 2,
        _ => 4,
    })
}

/// Makes room for tokens that no column goes with; gives the column of each token.
pub(super) fn insert_new(family: &mut Family, line: &Line<'_>, pairs: &Pairs) -> Vec<usize> {
    let mut map = Vec::new();
    for (at, (column, token)) in pairs.iter().enumerate() {
        let new = match (column, token) {
            (None, Some(token)) => line.tokens.get(*token),
            _ => None,
        };
        if let Some(token) = new {
            let column = Column {
                kind: kind_of(sign(token.kind)),
                texts: BTreeMap::new(),
                label: false,
            };
            family.columns.insert(at, column);
            for row in &mut family.rows {
                row.cells.insert(at, None);
            }
            if at <= family.slot {
                family.slot += 1;
            }
        }
        if token.is_some() {
            map.push(at);
        }
    }
    map
}
