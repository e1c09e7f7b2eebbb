//! The lines that carry the mass, laid over each other: which of all lines they are, and which
//! part of each stands where.
//!
//! Promises: lines of different builds (a unit that is missing, another status) come together only
//! where one is the other with words left out or put in, and never lines that only take turns, as
//! those of one weighing do. Leaves to others: what the parts mean (`roles`).

use std::collections::BTreeMap;

use super::Phase;
use super::series::{self, Levels, Point};
use super::symbols::{self, Of, like_unit};
use super::token::{Kind, Number, Token};
use crate::mass::{Mass, Unit};

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

/// Lines of the same build and the same label.
#[derive(Debug, Clone)]
pub(super) struct Group {
    key: Vec<u8>,
    /// Positions among the tokens whose words take turns, and the word that these lines have there.
    labels: Vec<(usize, Vec<u8>)>,
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

fn sign(kind: Kind) -> u8 {
    match kind {
        Kind::Number => b'0',
        Kind::Word => b'a',
        Kind::Mark(b'+' | b'-') => b'+',
        Kind::Mark(mark) => mark,
    }
}

/// The kind of a column of such tokens; `+` is either sign.
fn kind_of(sign: u8) -> Kind {
    match sign {
        b'0' => Kind::Number,
        b'a' => Kind::Word,
        mark => Kind::Mark(mark),
    }
}

/// How often something must be seen not to be noise, among so many lines.
fn enough(lines: usize) -> usize {
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
        .flat_map(|(key, members)| by_label(lines, key, &members, enough))
        .collect();
    out.sort_by_key(|group| std::cmp::Reverse(group.lines.len()));
    out.truncate(MOST_GROUPS);
    out
}

fn by_label(lines: &[Line<'_>], key: Vec<u8>, members: &[usize], enough: usize) -> Vec<Group> {
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
        let texts: Vec<&[u8]> = all.into_iter().filter(|text| counts.contains_key(text)).collect();
        let different: Vec<&[u8]> = counts.into_keys().collect();
        let all_named = different.iter().all(|text| symbols::of(text).is_some());
        let turns = take_turns(&texts) || all_named && texts.len() < FEW;
        if (2..=6).contains(&different.len()) && turns && !different.iter().all(|text| symbols::plain_unit(text).is_some()) {
            places.push(place);
        }
    }
    let mut parts: BTreeMap<Vec<Vec<u8>>, Vec<usize>> = BTreeMap::new();
    for at in members {
        let labels = places.iter().filter_map(|place| word(*at, *place)).map(<[u8]>::to_vec);
        parts.entry(labels.collect()).or_default().push(*at);
    }
    parts
        .into_iter()
        .filter(|(_, lines)| lines.len() >= enough)
        .map(|(labels, lines)| Group {
            key: key.clone(),
            labels: places.iter().copied().zip(labels).collect(),
            lines,
        })
        .collect()
}

/// Whether what stands in a place changes from line to line, as the lines of one weighing do; a
/// status changes only now and then.
fn take_turns<T: PartialEq>(texts: &[T]) -> bool {
    let changes = texts.windows(2).filter(|pair| pair.first() != pair.last()).count();
    texts.len() >= 4 && changes * 100 >= (texts.len() - 1) * 45
}

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
        for (place, _) in group.key.iter().enumerate().filter(|(_, sign)| **sign == b'0') {
            let points = points(lines, &group.lines, place);
            if points.len() * 2 < group.lines.len() || points.is_empty() {
                continue;
            }
            let levels = series::levels(&points, told.0);
            let unit = nearest_unit(lines, group, place);
            let rank = rank(&points, &levels, unit, told.1, group);
            if best.is_none_or(|(_, _, known)| rank > known) {
                best = Some((at, place, rank));
            }
        }
    }
    best
}

fn points(lines: &[Line<'_>], members: &[usize], place: usize) -> Vec<Point> {
    let point = |at: &usize| {
        let line = lines.get(*at)?;
        let number = line.tokens.get(place)?.number.filter(|number| number.plain)?;
        Some(Point {
            line: *at,
            value: number.value,
            decimals: number.decimals,
            phase: line.phase,
        })
    };
    members.iter().filter_map(point).collect()
}

/// The unit that is plainly written next to a number, if there is one.
fn nearest_unit(lines: &[Line<'_>], group: &Group, place: usize) -> Option<Unit> {
    let line = lines.get(*group.lines.first()?)?;
    let word = |at: Option<usize>| {
        let token = line.tokens.get(at?)?;
        symbols::plain_unit(line.text(token))
    };
    word(place.checked_add(1)).or_else(|| word(place.checked_sub(1)))
}

fn rank(points: &[Point], levels: &Levels, unit: Option<Unit>, told: Option<Unit>, group: &Group) -> Rank {
    let proven = match unit.or(told) {
        Some(unit) if levels.units.contains(&unit) => 4,
        _ if levels.units.is_empty() => 0,
        _ => 2,
    } + u8::from(!levels.units.is_empty() && levels.empty.is_some());
    let of = group.labels.iter().find_map(|(_, label)| symbols::of(label));
    let of = match of {
        Some(Of::Tare) => 0,
        Some(Of::Gross) => 1,
        None => 2,
        Some(Of::Net) => 3,
    };
    let mut values: Vec<_> = points.iter().map(|point| point.value).collect();
    values.sort();
    values.dedup();
    (proven, of, series::decimals(points) > 0, values.len(), points.len())
}

/// The family of an anchor, and the groups that are not of it.
pub(super) fn grow<'g>(
    lines: &[Line<'_>],
    groups: &'g [Group],
    anchor: usize,
    place: usize,
) -> Option<(Family, Vec<&'g Group>)> {
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
        if turns_with(&family, group) || !join(&mut family, lines, group) {
            others.push(group);
        }
    }
    family.rows.sort_by_key(|row| row.line);
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

/// Takes a group into the family if it fits; whether it does.
fn join(family: &mut Family, lines: &[Line<'_>], group: &Group) -> bool {
    let Some(sample) = group.lines.first().and_then(|at| lines.get(*at)) else {
        return false;
    };
    let places = group.key.iter().enumerate().filter(|(_, sign)| **sign == b'0');
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
        let (Some(column), Some(token)) = (column.and_then(|at| family.columns.get(at)), token) else {
            return false;
        };
        let text = sample.tokens.get(*token).map(|token| sample.text(token));
        column.label && text.is_some_and(|text| !column.texts.contains_key(text))
    });
    if other_label {
        return false;
    }
    let map = insert_new(family, sample, &pairs);
    for at in &group.lines {
        add(family, lines, *at, place, Some(&map));
    }
    true
}

/// Which column goes with which token.
type Pairs = Vec<(Option<usize>, Option<usize>)>;

/// Lays a line over the columns with the value over the value.
fn laid_over(family: &Family, line: &Line<'_>, place: usize) -> Option<(i32, Pairs)> {
    let (before, rest) = family.columns.split_at_checked(family.slot)?;
    let after = rest.get(1..)?;
    let (ahead, rest) = line.tokens.split_at_checked(place)?;
    let behind = rest.get(1..)?;
    let (one, mut pairs) = aligned(before, ahead, line, false)?;
    let (other, suffix) = aligned(after, behind, line, true)?;
    pairs.push((Some(family.slot), Some(place)));
    let moved = |at: Option<usize>, by: usize| at.map(|at| at + by + 1);
    pairs.extend(suffix.into_iter().map(|(column, token)| (moved(column, family.slot), moved(token, place))));
    Some((one + other, pairs))
}

/// The best way to lay tokens over columns; only words and single flags may be missing on a side.
fn aligned(columns: &[Column], tokens: &[Token], line: &Line<'_>, behind: bool) -> Option<(i32, Pairs)> {
    const NONE: i32 = -10_000;
    let (wide, high) = (tokens.len() + 1, columns.len() + 1);
    let mut table = vec![(NONE, 0_u8); wide * high];
    let get = |table: &[(i32, u8)], c: usize, t: usize| table.get(c * wide + t).map_or(NONE, |cell| cell.0);
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
        Kind::Mark(mark) => mark.is_ascii_graphic() && !b",;:=/|[]()<>\"'._".contains(&mark),
    }
}

fn likeness(column: &Column, token: &Token, text: &[u8], behind: bool) -> Option<i32> {
    if sign(column.kind) != sign(token.kind) {
        // One flag in the place of another.
        let flag = |kind: Kind| matches!(kind, Kind::Mark(mark) if !b"+-".contains(&mark)) && may_miss(kind);
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
fn insert_new(family: &mut Family, line: &Line<'_>, pairs: &Pairs) -> Vec<usize> {
    let mut map = Vec::new();
    let mut at = 0;
    for (column, token) in pairs {
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
        at += 1;
    }
    map
}

fn add(family: &mut Family, lines: &[Line<'_>], at: usize, place: usize, map: Option<&Vec<usize>>) {
    let Some(line) = lines.get(at) else { return };
    let number = line.tokens.get(place).and_then(|token| token.number);
    let Some(number) = number.filter(|number| number.plain).or((place == usize::MAX).then(Number::none)) else {
        return;
    };
    let mut cells = vec![None; family.columns.len()];
    for (token_at, token) in line.tokens.iter().enumerate() {
        let column = map.map_or(Some(token_at), |map| map.get(token_at).copied());
        let Some(column) = column else { return };
        if let (Some(cell), Some(column)) = (cells.get_mut(column), family.columns.get_mut(column)) {
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
pub(super) fn take_kinds<'g>(family: &mut Family, lines: &[Line<'_>], others: Vec<&'g Group>) -> Vec<&'g Group> {
    let family_key: Vec<u8> = family.columns.iter().map(|column| sign(column.kind)).collect();
    let slot = family.slot;
    let mut left = Vec::new();
    for group in others {
        let labelled = group.labels.iter().all(|(place, label)| {
            symbols::of(label).is_some() && family.columns.get(*place).is_some_and(|column| column.label)
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
            left.push(group);
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
        columns.iter().zip(&row.cells).enumerate().any(|(at, (column, cell))| {
            let (Some((from, to)), Some(line)) = (cell, lines.get(row.line)) else {
                return false;
            };
            let text = line.bytes.get(*from..*to).unwrap_or_default();
            at != slot && !matches!(column.kind, Kind::Number | Kind::Mark(b'+')) && column.texts.get(text).is_some_and(|count| *count < enough)
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
    let keep: Vec<bool> = family.columns.iter().map(|column| !column.texts.is_empty()).collect();
    let gone_before = keep.iter().take(family.slot).filter(|keep| !**keep).count();
    family.slot -= gone_before;
    let mut kept = keep.iter();
    family.columns.retain(|_| kept.next().copied().unwrap_or(true));
    for row in &mut family.rows {
        let mut kept = keep.iter();
        row.cells.retain(|_| kept.next().copied().unwrap_or(true));
    }
}
