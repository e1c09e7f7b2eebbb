//! Captured lines by build and label, and which of them hold the mass.
//!
//! Promises: what came too seldom is noise, and is in no group; lines that take turns, as those of
//! one weighing do, are in groups of their own. Leaves to others: which groups belong together
//! (`family`).

use std::collections::BTreeMap;

use super::family::Line;
use super::series::{self, Levels, Point};
use super::symbols::{self, Of};
use super::token::{Kind, Token};
use crate::mass::{Mass, Unit};

/// Lines of the same build and the same label.
#[derive(Debug, Clone)]
pub(super) struct Group {
    pub(super) key: Vec<u8>,
    /// Positions among the tokens whose words take turns, and the word that these lines have there.
    pub(super) labels: Vec<(usize, Vec<u8>)>,
    pub(super) lines: Vec<usize>,
}

/// The most tokens of a line; a longer one is noise.
const MOST_TOKENS: usize = 48;
/// Lines up to which every build counts, however rare.
const FEW: usize = 12;
/// The most groups that are looked at, the largest first.
const MOST_GROUPS: usize = 48;

/// What a line is built of.
fn key(tokens: &[Token]) -> Vec<u8> {
    tokens.iter().map(|token| sign(token.kind)).collect()
}

pub(super) fn sign(kind: Kind) -> u8 {
    match kind {
        Kind::Number => b'0',
        Kind::Word => b'a',
        Kind::Mark(b'+' | b'-') => b'+',
        Kind::Mark(mark) => mark,
    }
}

/// The kind of a column of such tokens; `+` is either sign.
pub(super) fn kind_of(sign: u8) -> Kind {
    match sign {
        b'0' => Kind::Number,
        b'a' => Kind::Word,
        mark => Kind::Mark(mark),
    }
}

/// How often something must be seen not to be noise, among so many lines.
pub(super) fn enough(lines: usize) -> usize {
    if lines < FEW { 1 } else { (lines / 100).max(2) }
}

/// The lines by build and label, without what is too rare.
pub(super) fn groups(lines: &[Line<'_>]) -> Vec<Group> {
    let mut builds: BTreeMap<Vec<u8>, Vec<usize>> = BTreeMap::new();
    for (at, line) in lines.iter().enumerate() {
        if !line.tokens.is_empty() && line.tokens.len() <= MOST_TOKENS {
            builds.entry(key(&line.tokens)).or_default().push(at);
        }
    }
    let enough = enough(lines.len());
    let mut out: Vec<Group> = builds
        .into_iter()
        .filter(|(_, members)| members.len() >= enough)
        .flat_map(|(key, members)| by_label(lines, &key, &members, enough))
        .collect();
    out.sort_by_key(|group| std::cmp::Reverse(group.lines.len()));
    out.truncate(MOST_GROUPS);
    out
}

fn by_label(lines: &[Line<'_>], key: &[u8], members: &[usize], enough: usize) -> Vec<Group> {
    let word = |at: usize, place: usize| {
        let line = lines.get(at)?;
        Some(line.text(line.tokens.get(place)?))
    };
    let mut places = Vec::new();
    for (place, _) in key.iter().enumerate().filter(|(_, sign)| **sign == b'a') {
        let all: Vec<&[u8]> = members.iter().filter_map(|at| word(*at, place)).collect();
        let mut counts: BTreeMap<&[u8], usize> = BTreeMap::new();
        for text in &all {
            *counts.entry(text).or_default() += 1;
        }
        counts.retain(|_, count| *count >= enough);
        // Noise makes words that came once.
        let texts: Vec<&[u8]> = all
            .into_iter()
            .filter(|text| counts.contains_key(text))
            .collect();
        let different: Vec<&[u8]> = counts.into_keys().collect();
        let all_named = different.iter().all(|text| symbols::of(text).is_some());
        let turns = take_turns(&texts) || all_named && texts.len() < FEW;
        if (2..=6).contains(&different.len())
            && turns
            && !different
                .iter()
                .all(|text| symbols::plain_unit(text).is_some())
        {
            places.push(place);
        }
    }
    let mut parts: BTreeMap<Vec<Vec<u8>>, Vec<usize>> = BTreeMap::new();
    for at in members {
        let labels = places
            .iter()
            .filter_map(|place| word(*at, *place))
            .map(<[u8]>::to_vec);
        parts.entry(labels.collect()).or_default().push(*at);
    }
    parts
        .into_iter()
        .filter(|(_, lines)| lines.len() >= enough)
        .map(|(labels, lines)| Group {
            key: key.to_vec(),
            labels: places.iter().copied().zip(labels).collect(),
            lines,
        })
        .collect()
}

/// Whether what stands in a place changes from line to line, as the lines of one weighing do; a
/// status changes only now and then.
pub(super) fn take_turns<T: PartialEq>(texts: &[T]) -> bool {
    let changes = texts
        .windows(2)
        .filter(|pair| pair.first() != pair.last())
        .count();
    texts.len() >= 4 && changes * 100 >= (texts.len() - 1) * 45
}

/// From this on the first figure of a rank says that the weight is among the values.
pub(super) const FITS: u8 = 2;

/// How good a place is for the mass, larger is better.
pub(super) type Rank = (u8, u8, bool, usize, usize);

/// The group and the place among its tokens that hold the mass, with what speaks for it.
pub(super) fn anchor(
    lines: &[Line<'_>],
    groups: &[Group],
    told: (Option<Mass>, Option<Unit>),
) -> Option<(usize, usize, Rank)> {
    let mut best: Option<(usize, usize, Rank)> = None;
    for (at, group) in groups.iter().enumerate() {
        for (place, _) in group
            .key
            .iter()
            .enumerate()
            .filter(|(_, sign)| **sign == b'0')
        {
            let points = points(lines, &group.lines, place);
            if points.len() * 2 < group.lines.len() || points.is_empty() {
                continue;
            }
            let unit = nearest_unit(lines, group, place);
            let levels = series::levels(&points, told.0, unit);
            let first = group.lines.first().and_then(|at| lines.get(*at));
            let rank = rank((&points, &levels), (unit, told.1), group, (first, place));
            if best.is_none_or(|(_, _, known)| rank > known) {
                best = Some((at, place, rank));
            }
        }
    }
    best
}

fn points(lines: &[Line<'_>], members: &[usize], place: usize) -> Vec<Point> {
    // Of lines in several units only those in the commonest are of one series.
    let beside = |at: &usize| -> Option<Unit> {
        let line = lines.get(*at)?;
        let unit = |at: Option<usize>| symbols::plain_unit(line.text(line.tokens.get(at?)?));
        let before = || unit(place.checked_sub(1)).filter(|_| masses(line) < 2);
        unit(place.checked_add(1)).or_else(before)
    };
    let mut units: Vec<Option<Unit>> = members.iter().map(beside).collect();
    units.sort();
    let most = units
        .chunk_by(|one, other| one == other)
        .max_by_key(|run| run.len())
        .and_then(|run| run.first().copied())
        .flatten();
    let point = |at: &usize| {
        if most.is_some() && beside(at).is_some_and(|unit| Some(unit) != most) {
            return None;
        }
        let line = lines.get(*at)?;
        let token = line.tokens.get(place)?;
        if follows_a_point(line.bytes, token.from) {
            return None;
        }
        let number = token.number.filter(|number| number.plain)?;
        Some(Point {
            line: *at,
            value: number.value,
            decimals: number.decimals,
            phase: line.phase,
        })
    };
    members.iter().filter_map(point).collect()
}

/// Whether what begins here are the digits behind a point or comma: the end of a mass, and none.
fn follows_a_point(bytes: &[u8], from: usize) -> bool {
    let before = |back: usize| from.checked_sub(back).and_then(|at| bytes.get(at));
    matches!(before(1), Some(b'.' | b',')) && before(2).is_some_and(u8::is_ascii_digit)
}

/// The unit that is plainly written next to a number, if there is one.
pub(super) fn nearest_unit(lines: &[Line<'_>], group: &Group, place: usize) -> Option<Unit> {
    let line = lines.get(*group.lines.first()?)?;
    let word = |at: Option<usize>| {
        let token = line.tokens.get(at?)?;
        symbols::plain_unit(line.text(token))
    };
    // Of several masses in one line the word before each names it.
    let before = || word(place.checked_sub(1)).filter(|_| masses(line) < 2);
    word(place.checked_add(1)).or_else(before)
}

/// Numbers of a line that can be a mass.
fn masses(line: &Line<'_>) -> usize {
    let numbers = line.tokens.iter().filter_map(|token| token.number);
    numbers
        .filter(|number| number.plain && number.decimals > 0)
        .count()
}

fn rank(
    (points, levels): (&[Point], &Levels),
    (unit, told): (Option<Unit>, Option<Unit>),
    group: &Group,
    (line, place): (Option<&Line<'_>>, usize),
) -> Rank {
    let proven = match unit.or(told) {
        Some(unit) if levels.units.contains(&unit) => 4,
        _ if levels.units.is_empty() => 0,
        _ => 2,
    } + u8::from(!levels.units.is_empty() && levels.empty.is_some());
    // Of several masses in one line the word before each says what it is of.
    let own = || {
        let line = line.filter(|line| masses(line) > 1)?;
        let before = line.tokens.get(..place)?.iter().rev();
        let word = before.take(2).find(|token| token.kind == Kind::Word)?;
        symbols::of(line.text(word))
    };
    let label = group
        .labels
        .iter()
        .find_map(|(_, label)| symbols::of(label));
    let of = label.or_else(own);
    let of = match of {
        Some(Of::Tare) => 0,
        Some(Of::Gross) => 1,
        None => 2,
        Some(Of::Net) => 3,
    };
    let mut values: Vec<_> = points.iter().map(|point| point.value).collect();
    values.sort();
    values.dedup();
    (
        proven,
        of,
        series::decimals(points) > 0,
        values.len(),
        points.len(),
    )
}
