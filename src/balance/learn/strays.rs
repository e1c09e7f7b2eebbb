//! Stray lines: noise and halves of lines that look nearly like a weighing.
//!
//! Promises: what is left out here is in no form, so it is no weighing by the learned file, and is
//! told with its number and an example; what came often is never left out. Leaves to others: words
//! of their own in a line, and text too rare to be one (`family`).

use super::align::Pairs;
use super::family::{FEWEST, Family, Line, Row, SELDOM};
use super::groups::Group;
use super::roles::shown;
use super::token::Kind;
use super::{Learnt, LearntLine};
use crate::balance::layout::NoReading;

/// Fewer lines than that are taken one by one, as a print key gives them.
const FEW: usize = 12;
/// Examples that are told, and how much of each.
const EXAMPLES: usize = 3;
const LONGEST: usize = 40;

/// Whether so many lines are too few among so many to be a build of their own.
pub(super) fn is_seldom(count: usize, rows: usize) -> bool {
    rows >= FEW && count < (rows / SELDOM).max(FEWEST)
}

/// Whether a group is a stray beside the family that it would join: it lacks a word that the
/// others have, a unit most of all, and came seldom or with fewer decimals than any of them.
pub(super) fn is_stray(
    family: &Family,
    lines: &[Line<'_>],
    group: &Group,
    (place, pairs): (usize, &Pairs),
) -> bool {
    let rows = family.rows.len();
    let lacks = pairs.iter().any(|pair| {
        let (Some(at), None) = *pair else {
            return false;
        };
        family.columns.get(at).is_some_and(|column| {
            let present: usize = column.texts.values().sum();
            column.kind == Kind::Word && present * 10 >= rows * 9
        })
    });
    let decimals = |at: &usize| {
        let token = lines.get(*at)?.tokens.get(place)?;
        token.number.map(|number| number.decimals)
    };
    let most = group.lines.iter().filter_map(decimals).max();
    let least = family.rows.iter().map(|row| row.number.decimals).min();
    lacks && (is_seldom(group.lines.len(), rows) || most < least)
}

/// Takes out the few lines whose value has no decimals where all others have some, or no digit
/// before its point: something was lost, or the number is no mass. A balance that leaves zeros out
/// does it at every rest.
pub(super) fn drop_broken(family: &mut Family, lines: &[Line<'_>]) {
    let whole = |row: &Row| row.number.decimals == 0;
    let headless = |row: &Row| {
        let line = lines.get(row.line);
        let first = line.and_then(|line| line.bytes.get(row.number.digits));
        first.is_some_and(|byte| !byte.is_ascii_digit())
    };
    drop_few(family, whole);
    drop_few(family, headless);
}

/// Takes out what is broken, if that is seldom.
fn drop_few(family: &mut Family, broken: impl Fn(&Row) -> bool) {
    let count = family.rows.iter().filter(|row| broken(row)).count();
    if family.rows.len() >= FEW * 2 && is_seldom(count, family.rows.len()) {
        family.rows.retain(|row| !broken(row));
    }
}

/// Takes out the few lines that are shorter than a line with counted places can be.
pub(super) fn drop_short(family: &mut Family, lines: &[Line<'_>]) {
    let length = |row: &Row| lines.get(row.line).map_or(0, |line| line.bytes.len());
    let mut lengths: Vec<usize> = family.rows.iter().map(length).collect();
    lengths.sort_unstable();
    let usual = lengths
        .chunk_by(|one, other| one == other)
        .max_by_key(|run| run.len())
        .and_then(|run| run.first().copied())
        .unwrap_or(0);
    let short = lengths.iter().filter(|length| **length < usual).count();
    if is_seldom(short, family.rows.len()) {
        family.rows.retain(|row| length(row) >= usual);
    }
}

/// What is to be told of lines that are never read: how many, and which.
pub(super) fn told(learnt: &Learnt) -> Vec<String> {
    let mut out = Vec::new();
    let odd: Vec<&LearntLine> = learnt.odd().collect();
    if !odd.is_empty() {
        out.push(format!(
            "{} and {} never read: {}. That is noise, or halves of lines. If one is the balance's own, capture it more often, or write its form into the file.",
            counted(odd.len(), "fits", "fit", "nothing that was learned"),
            if odd.len() == 1 { "is" } else { "are" },
            examples(&odd)
        ));
    }
    let passed = |line: &&LearntLine| line.read == Err(NoReading::NoMass);
    let passed: Vec<&LearntLine> = learnt.lines.iter().filter(passed).collect();
    if !passed.is_empty() && is_seldom(passed.len(), learnt.lines.len()) {
        out.push(format!(
            "{} and {} passed over: {}.",
            counted(passed.len(), "carries", "carry", "no mass"),
            if passed.len() == 1 { "is" } else { "are" },
            examples(&passed)
        ));
    }
    out
}

fn counted(count: usize, one: &str, several: &str, what: &str) -> String {
    if count == 1 {
        format!("1 line {one} {what}")
    } else {
        format!("{count} lines {several} {what}")
    }
}

/// The commonest of these lines.
fn examples(lines: &[&LearntLine]) -> String {
    let mut texts: Vec<&[u8]> = lines.iter().map(|line| line.bytes.as_slice()).collect();
    texts.sort_unstable();
    let mut kinds: Vec<&[&[u8]]> = texts.chunk_by(|one, other| one == other).collect();
    kinds.sort_by_key(|kind| std::cmp::Reverse(kind.len()));
    let mut out: Vec<String> = kinds
        .iter()
        .take(EXAMPLES)
        .filter_map(|kind| {
            let text = shown(kind.first()?.get(..LONGEST).or(kind.first().copied())?);
            Some(if kind.len() > 1 {
                format!("{text} {} times", kind.len())
            } else {
                text
            })
        })
        .collect();
    if kinds.len() > EXAMPLES {
        out.push("others".to_owned());
    }
    out.join(", ")
}
