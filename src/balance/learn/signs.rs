//! Where the sign of a value stands, and whether it was heard.
//!
//! A part of the line that changes only when the value crosses or leaves zero is a sign until shown
//! otherwise: one that changes while much lies on the pan is none; one that differs between two
//! loads at rest is. Promises: a sign is called proven only if a value below zero was heard, and
//! what stood there can mean nothing else; what might be one and is not proven is told. Leaves to
//! others: what else the parts of a line are (`roles`).

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::Phase;
use super::course::Course;
use super::family::{Family, Line, Row};
use super::groups::enough;
use super::symbols;
use super::token::Kind;
use crate::balance::layout::Sign;

/// What was found of the sign.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Signs {
    /// The column of the sign, where it stands apart from the digits.
    pub(super) column: Option<usize>,
    /// The column of its second half, as of a bracket.
    pub(super) close: Option<usize>,
    /// What its texts mean, where they are not just plus and minus; two halves in one.
    pub(super) table: Vec<(Vec<u8>, Sign)>,
    /// A value below zero was heard and told by it.
    pub(super) is_proven: bool,
    /// The texts of a part of the line that may be the sign and is not proven to be.
    pub(super) doubtful: Option<Vec<Vec<u8>>>,
}

/// Texts of a part that can still be a sign.
const MOST_TEXTS: usize = 6;

/// A part of the line as it may be a sign: its text in every row.
struct Track {
    column: Option<usize>,
    texts: Vec<Vec<u8>>,
    /// For each row the class of its text: texts of one class cannot differ in sign.
    classes: Vec<usize>,
}

/// Every class but the other.
const ANY: usize = usize::MAX;

/// What a track shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Shows {
    /// Two kinds of text at loads at rest: the class of plus and that of minus.
    Both(usize, usize),
    /// A minus that means nothing else, near zero only.
    NearZero(usize),
    /// It may be a sign, and there is no telling.
    Doubtful,
    /// No sign, or nothing of it.
    Nothing,
}

impl Signs {
    /// Whether a row of a family stands below zero; its digits' own sign aside.
    pub(super) fn is_below(&self, row: &Row, lines: &[Line<'_>]) -> bool {
        let text = |column: Option<usize>| -> &[u8] {
            let cell = column.and_then(|at| row.cells.get(at).copied().flatten());
            let line = lines.get(row.line);
            cell.and_then(|(from, to)| line?.bytes.get(from..to))
                .unwrap_or_default()
        };
        let symbol = [text(self.column), text(self.close)].concat();
        if self.table.is_empty() {
            return symbol == b"-";
        }
        let known = self.table.iter().find(|(known, _)| *known == symbol);
        known.is_some_and(|(_, sign)| *sign == Sign::Minus)
    }
}

/// Finds the sign of a family's values.
pub(super) fn signs(family: &Family, lines: &[Line<'_>]) -> Signs {
    let course = Course::of(family, lines);
    let own = Track::own(family, lines, &course);
    let tracks: Vec<Track> = (0..family.columns.len())
        .filter(|at| may_be_sign(family, *at))
        .map(|at| Track::of(family, lines, &course, at))
        .collect();
    let own_shows = own.shows(&course);
    let own_is = |class: usize| {
        own.texts
            .iter()
            .zip(&own.classes)
            .any(|(text, of)| text == b"-" && *of == class)
    };
    if let Shows::Both(_, minus) = own_shows
        && own_is(minus)
    {
        return Signs {
            is_proven: true,
            ..Signs::default()
        };
    }
    let own_minus = own.texts.iter().any(|text| text == b"-");
    if own_minus && own_shows == Shows::Nothing || own_shows == Shows::Doubtful {
        // A dash at the digits that came and went with much on the pan.
        return doubtful(&own);
    }
    let shows: Vec<(&Track, Shows)> = tracks
        .iter()
        .map(|track| (track, track.shows(&course)))
        .collect();
    let strong: Vec<(&Track, (usize, usize))> = shows
        .iter()
        .filter_map(|(track, shows)| match shows {
            Shows::Both(plus, minus) => Some((*track, (*plus, *minus))),
            _ => None,
        })
        .collect();
    let unclear = shows
        .iter()
        .find(|(_, shows)| *shows == Shows::Doubtful)
        .map(|(track, _)| *track);
    if let Some((first, (_, minus))) = strong.first() {
        let mut same = strong
            .iter()
            .all(|(track, (_, other))| first.splits_like(track, (*minus, *other), &course));
        if let Shows::Both(_, other) = own_shows {
            // A plus at the digits, and something else for a minus.
            same &= first.splits_like(&own, (*minus, other), &course);
        }
        if !same || own_minus {
            return doubtful(first);
        }
        return chosen(family, &strong, &course);
    }
    if let Some(unclear) = unclear {
        return doubtful(unclear);
    }
    if let Shows::Both(..) = own_shows {
        return doubtful(&own);
    }
    if let Shows::NearZero(_) = own_shows {
        return Signs {
            is_proven: true,
            ..Signs::default()
        };
    }
    let near: Vec<(&Track, (usize, usize))> = shows
        .iter()
        .filter_map(|(track, shows)| match shows {
            Shows::NearZero(minus) => Some((*track, (ANY, *minus))),
            _ => None,
        })
        .collect();
    match near.as_slice() {
        [_] => chosen(family, &near, &course),
        [(first, _), ..] => doubtful(first),
        [] => Signs::default(),
    }
}

fn doubtful(track: &Track) -> Signs {
    let texts: BTreeSet<Vec<u8>> = track.texts.iter().cloned().collect();
    Signs {
        doubtful: Some(texts.into_iter().collect()),
        ..Signs::default()
    }
}

/// The sign out of tracks that all tell the same: a bracket with its other half, a symbol that means
/// nothing else, or what stands nearest to the value.
fn chosen(family: &Family, tracks: &[(&Track, (usize, usize))], course: &Course) -> Signs {
    let is = |track: &Track, wanted: &[u8]| track.texts.iter().any(|text| text == wanted);
    let at = |track: &Track| track.column.unwrap_or(usize::MAX);
    let open = tracks
        .iter()
        .find(|(track, _)| is(track, b"(") && at(track) < family.slot);
    let close = tracks
        .iter()
        .find(|(track, _)| is(track, b")") && at(track) > family.slot);
    if let (Some((open, _)), Some((shut, _))) = (open, close) {
        // Half a bracket is neither: the other half was lost on the way.
        return Signs {
            column: open.column,
            close: shut.column,
            table: vec![(b"()".to_vec(), Sign::Minus), (Vec::new(), Sign::Plus)],
            is_proven: true,
            doubtful: None,
        };
    }
    let rank = |(track, _): &&(&Track, (usize, usize))| {
        let plain = track.texts.iter().any(|text| symbols::sign(text).is_some());
        (!plain, at(track).abs_diff(family.slot))
    };
    let Some((track, (plus, minus))) = tracks.iter().min_by_key(rank) else {
        return Signs::default();
    };
    let mut table: BTreeMap<&[u8], Sign> = BTreeMap::new();
    let mut open: BTreeMap<&[u8], usize> = BTreeMap::new();
    for (row, (text, class)) in track.texts.iter().zip(&track.classes).enumerate() {
        // What came at nothing but zero says nothing of other values, and zero has no sign.
        let at_zero = course.values.get(row).is_some_and(Decimal::is_zero);
        if class == minus {
            table.insert(text, Sign::Minus);
        } else if class == plus || *plus == ANY {
            table.insert(text, Sign::Plus);
        } else {
            *open.entry(text).or_default() += usize::from(!at_zero);
        }
    }
    let enough = enough(track.texts.len());
    if open.values().any(|count| *count >= enough) {
        // Something else stood there, and it is not known which of the two it is.
        return doubtful(track);
    }
    let at_zero = open.into_iter().filter(|(_, count)| *count == 0);
    table.extend(at_zero.map(|(text, _)| (text, Sign::Plus)));
    let ascii = table.keys().all(|text| matches!(*text, b"" | b"+" | b"-"));
    if ascii {
        table.clear();
    }
    Signs {
        column: track.column,
        close: None,
        table: (table.into_iter())
            .map(|(text, sign)| (text.to_vec(), sign))
            .collect(),
        is_proven: true,
        doubtful: None,
    }
}

/// Whether a column can be a sign by its look: few texts, and no unit.
fn may_be_sign(family: &Family, at: usize) -> bool {
    let Some(column) = family.columns.get(at) else {
        return false;
    };
    let short = |text: &Vec<u8>| text.len() == 1;
    let units = column
        .texts
        .keys()
        .any(|text| symbols::plain_unit(text).is_some() && symbols::hinted_sign(text).is_none());
    // Gross and net change with the tare key, too.
    let kinds =
        column.texts.len() > 1 && column.texts.keys().all(|text| symbols::of(text).is_some());
    let looks = match column.kind {
        Kind::Number => column.texts.keys().all(short),
        Kind::Word | Kind::Mark(_) => true,
    };
    // What touches the number that follows is that number's own.
    let touches = at > family.slot
        && family
            .columns
            .get(at + 1)
            .is_some_and(|next| next.kind == Kind::Number)
        && family.rows.iter().any(|row| {
            let cell = |at: usize| row.cells.get(at).copied().flatten();
            matches!((cell(at), cell(at + 1)), (Some((_, to)), Some((from, _))) if to == from)
        });
    at != family.slot
        && looks
        && !(touches && matches!(column.kind, Kind::Mark(_)))
        && !column.label
        && !kinds
        && column.texts.len() <= MOST_TEXTS
        && !(units && column.kind == Kind::Word)
}

impl Track {
    /// The sign at the digits.
    fn own(family: &Family, lines: &[Line<'_>], course: &Course) -> Self {
        let text = |row: &Row| {
            let line = lines.get(row.line);
            let byte = row.number.sign.and_then(|at| line?.bytes.get(at));
            byte.map(|byte| vec![*byte]).unwrap_or_default()
        };
        Self::with(None, family.rows.iter().map(text).collect(), course)
    }

    fn of(family: &Family, lines: &[Line<'_>], course: &Course, at: usize) -> Self {
        let text = |row: &Row| {
            let (from, to) = row.cells.get(at).copied().flatten()?;
            lines.get(row.line)?.bytes.get(from..to).map(<[u8]>::to_vec)
        };
        let texts = family.rows.iter().map(|row| text(row).unwrap_or_default());
        Self::with(Some(at), texts.collect(), course)
    }

    fn with(column: Option<usize>, mut texts: Vec<Vec<u8>>, course: &Course) -> Self {
        course.smooth(&mut texts);
        let different: BTreeSet<&Vec<u8>> = texts.iter().collect();
        let different: Vec<&Vec<u8>> = different.into_iter().collect();
        let index = |text: &Vec<u8>| different.iter().position(|known| *known == text);
        let ids: Vec<usize> = texts.iter().map(|text| index(text).unwrap_or(0)).collect();
        let mut class: Vec<usize> = (0..different.len()).collect();
        // A change from one line to the next with much on the pan in both, and nearly the same: had
        // the sign changed, the pan would have leapt by twice its load.
        for at in 1..ids.len() {
            let (one, other) = (at - 1, at);
            let pair = |all: &[usize]| Some((*all.get(one)?, *all.get(other)?));
            let (Some((was, is)), Some(value), Some(last)) =
                (pair(&ids), course.values.get(other), course.values.get(one))
            else {
                continue;
            };
            let both = course.far.get(one) == Some(&true) && course.far.get(other) == Some(&true);
            let slow = (*value - *last).abs() * Decimal::TWO <= (*value).min(*last);
            // A print key gives a line for each rest, and one may be as far below zero as the one
            // before was above.
            let alike = (*value - *last).abs() <= course.near;
            if was != is && both && slow && !(course.few && alike) {
                let (to, from) = (class.get(was).copied(), class.get(is).copied());
                for id in &mut class {
                    if Some(*id) == from {
                        *id = to.unwrap_or(*id);
                    }
                }
            }
        }
        let classes = ids.iter().map(|id| class.get(*id).copied().unwrap_or(0));
        Self {
            column,
            classes: classes.collect(),
            texts,
        }
    }

    /// The class that most lines of a rest have, and the text that most have.
    fn most(&self, rest: &std::ops::Range<usize>) -> Option<(usize, &[u8])> {
        let texts = self.texts.get(rest.clone())?;
        let classes = self.classes.get(rest.clone())?;
        let mut all: Vec<(&[u8], usize)> = texts
            .iter()
            .map(Vec::as_slice)
            .zip(classes.iter().copied())
            .collect();
        all.sort_unstable();
        let run = all
            .chunk_by(|one, other| one == other)
            .max_by_key(|run| run.len())?;
        run.first().map(|(text, class)| (*class, *text))
    }

    fn shows(&self, course: &Course) -> Shows {
        let at_rest: Vec<(usize, &[u8])> = course
            .rests
            .iter()
            .filter_map(|rest| self.most(rest))
            .collect();
        let texts: BTreeSet<&[u8]> = at_rest.iter().map(|(_, text)| *text).collect();
        let classes: BTreeSet<usize> = at_rest.iter().map(|(class, _)| *class).collect();
        match (texts.len(), classes.len()) {
            (0 | 1, _) => self.near_zero(course),
            (_, 2) => self.both(&classes, course),
            _ => Shows::Doubtful,
        }
    }

    /// Two classes at rest: which is which.
    fn both(&self, classes: &BTreeSet<usize>, course: &Course) -> Shows {
        let (Some(one), Some(other)) = (classes.first().copied(), classes.last().copied()) else {
            return Shows::Nothing;
        };
        let texts = |wanted: usize| -> BTreeSet<&[u8]> {
            let all = self.texts.iter().zip(&self.classes);
            all.filter(|(_, class)| **class == wanted)
                .map(|(text, _)| text.as_slice())
                .collect()
        };
        // Each ground says which of the two is below zero, or nothing.
        let by = |of: fn(&[u8]) -> Option<Sign>| -> BTreeSet<usize> {
            let mut out = BTreeSet::new();
            for (class, opposite) in [(one, other), (other, one)] {
                for text in texts(class) {
                    match of(text) {
                        Some(Sign::Minus) => out.insert(class),
                        Some(Sign::Plus) => out.insert(opposite),
                        None => false,
                    };
                }
            }
            out
        };
        let mut by_time: BTreeSet<usize> = BTreeSet::new();
        let not = |class: usize| if class == one { other } else { one };
        let loaded = |phase: Phase, row: &usize| course.phases.get(*row) == Some(&Some(phase));
        for rest in &course.rests {
            let Some((class, _)) = self.most(rest) else {
                continue;
            };
            let most = |phase: Phase| {
                rest.clone().filter(|row| loaded(phase, row)).count() * 2 > rest.len()
            };
            if most(Phase::Loaded) {
                by_time.insert(not(class));
            }
            let weight = course.rests.iter().any(|other| {
                let pair = (course.values.get(rest.start), course.values.get(other.start));
                course.phases.get(other.start) == Some(&Some(Phase::Loaded))
                    && matches!(pair, (Some(one), Some(other)) if (one - other).abs() <= course.near * Decimal::TWO)
            });
            if most(Phase::Below) && weight {
                by_time.insert(class);
            }
        }
        let asked = course.phases.iter().any(Option::is_some);
        if !asked
            && course.begins_empty
            && let Some((class, _)) = course.rests.first().and_then(|rest| self.most(rest))
        {
            by_time.insert(not(class));
        }
        // Only what is as heavy can be the same load above and below zero.
        let heaviest = |wanted: usize| {
            let rests = course.rests.iter();
            let of = rests.filter(|rest| self.most(rest).is_some_and(|(class, _)| class == wanted));
            of.filter_map(|rest| course.values.get(rest.clone()))
                .flatten()
                .copied()
                .collect::<Vec<Decimal>>()
        };
        let above = heaviest(other);
        let alike = heaviest(one).iter().any(|value| {
            above
                .iter()
                .any(|it| (value - it).abs() <= course.near * Decimal::TWO)
        });
        let (sure, hint) = (by(symbols::sign), by(symbols::hinted_sign));
        let all: BTreeSet<usize> = sure.iter().chain(&hint).chain(&by_time).copied().collect();
        let settled = !sure.is_empty() || !by_time.is_empty() && alike;
        match (settled, all.len(), all.first()) {
            (true, 1, Some(minus)) => Shows::Both(not(*minus), *minus),
            _ => Shows::Doubtful,
        }
    }

    /// A minus that means nothing else and came near zero only.
    fn near_zero(&self, course: &Course) -> Shows {
        let mut minus: BTreeSet<usize> = BTreeSet::new();
        let mut count = 0;
        for (row, (text, class)) in self.texts.iter().zip(&self.classes).enumerate() {
            let only = symbols::sign(text) == Some(Sign::Minus) && !text.is_ascii()
                || text.as_slice() == b"-";
            if only {
                minus.insert(*class);
                count += usize::from(course.values.get(row).is_some_and(|value| !value.is_zero()));
            }
        }
        let Some(class) = minus.first().copied() else {
            return Shows::Nothing;
        };
        for (text, other) in self.texts.iter().zip(&self.classes) {
            let plus = text.is_empty() || text.as_slice() == b"+";
            if *other == class && plus || *other != class && !plus {
                return Shows::Nothing;
            }
        }
        let enough = if course.few { 1 } else { 2 };
        if count >= enough {
            Shows::NearZero(class)
        } else {
            Shows::Nothing
        }
    }

    /// Whether two tracks tell plus from minus alike wherever much lies on the pan.
    fn splits_like(&self, other: &Self, (one, two): (usize, usize), course: &Course) -> bool {
        let rows = self.classes.iter().zip(&other.classes).zip(&course.far);
        let unlike = rows
            .filter(|((a, b), far)| **far && (**a == one) != (**b == two))
            .count();
        unlike * 50 <= course.far.len()
    }
}
