//! What stands against weighing with what was learned, though every line of it is read.
//!
//! Promises: a sign that was never heard, a part of the line that may be one, and lines with a number
//! that can be a mass and is not read are each named. Leaves to others: what was learned, and what
//! is done about it.

use std::collections::BTreeMap;

use super::family::{Family, Line, Other, Row};
use super::groups::Group;
use super::roles::shown;
use super::series::{self, Levels, Point};
use super::signs::Signs;
use super::strays::is_seldom;
use super::symbols::{self, Of};
use super::token::{Kind, is_blank};
use super::{Learnt, LearntLine};
use crate::balance::layout::NoReading;
use crate::mass::{Mass, Unit};

/// Something that stands against weighing with what was learned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Open {
    /// No value below zero was heard.
    SignUnheard,
    /// These texts of one part of the line may be its sign.
    SignDoubtful(Vec<Vec<u8>>),
    /// So many lines like this one carry a number and are not read.
    Unread(usize, Vec<u8>),
    /// So many of all lines are not read.
    MostUnread(usize, usize),
    /// A line like this one holds another number that is the weight, too.
    Several(Vec<u8>),
}

/// Names what stands against it.
pub(super) fn open(
    learnt: &Learnt,
    signs: &Signs,
    lines: &[Line<'_>],
    others: &[Other<'_>],
) -> Vec<Open> {
    let mut out = Vec::new();
    if let Some(texts) = &signs.doubtful {
        out.push(Open::SignDoubtful(texts.clone()));
    } else if !signs.is_proven {
        out.push(Open::SignUnheard);
    }
    let read = learnt.readings();
    for other in others {
        let count = other.group.lines.len();
        let seldom = is_noise(count, read);
        if !turns(other) && !seldom && may_weigh(lines, other.group) {
            let first = other.group.lines.first().and_then(|at| lines.get(*at));
            let bytes = first.map(|line| line.bytes.to_vec()).unwrap_or_default();
            out.push(Open::Unread(count, bytes));
        }
    }
    let has_digit = |line: &&LearntLine| line.bytes.iter().any(u8::is_ascii_digit);
    let odd: Vec<&LearntLine> = learnt.odd().filter(has_digit).collect();
    let mut builds: BTreeMap<Vec<u8>, (usize, &LearntLine)> = BTreeMap::new();
    for line in &odd {
        builds.entry(build(&line.bytes)).or_insert((0, *line)).0 += 1;
    }
    for (count, line) in builds.into_values() {
        if !is_noise(count, read) && !out.iter().any(|open| matches!(open, Open::Unread(..))) {
            out.push(Open::Unread(count, line.bytes.clone()));
        }
    }
    // Lines that carry no mass, as a heading does, are understood; what fits nothing is not.
    let passed =
        |line: &&LearntLine| matches!(line.read, Err(NoReading::NoMass | NoReading::OtherKind));
    let heard = learnt.lines.len() - learnt.lines.iter().filter(passed).count();
    if odd.len() * 3 > heard {
        out.push(Open::MostUnread(odd.len(), heard));
    }
    out
}

/// Lines of one build that noise does not make so many of.
const OFTEN: usize = 8;

/// Whether so many lines of one build beside so many that are read are noise, or halves of them.
fn is_noise(count: usize, read: usize) -> bool {
    is_seldom(count, read) && count < OFTEN
}

/// Whether the lines of a group take turns with others, as those of one weighing do: hardly ever is
/// one next to another of its own.
pub(super) fn turns(other: &Other<'_>) -> bool {
    let lines = &other.group.lines;
    let pairs = lines.windows(2).filter(|pair| match pair {
        [one, next] => one + 1 == *next,
        _ => false,
    });
    other.turns || lines.len() >= 4 && pairs.count() * 10 <= lines.len()
}

/// A line of a family in which another number beside the value is the weight, too, though no word says
/// that the value is the net mass.
pub(super) fn several(
    family: &Family,
    lines: &[Line<'_>],
    (weight, stated): (Option<Mass>, Option<Unit>),
    levels: &Levels,
) -> Option<Open> {
    let sample = family.rows.first().and_then(|row| lines.get(row.line))?;
    let number = |row: &Row, at: usize| {
        let (from, _) = row.cells.get(at).copied().flatten()?;
        let line = lines.get(row.line)?;
        let token = line.tokens.iter().find(|token| token.from == from)?;
        token
            .number
            .filter(|number| number.plain && number.decimals > 0)
    };
    let mut before = family
        .columns
        .get(..family.slot)
        .unwrap_or_default()
        .iter()
        .rev();
    let word = before.find(|column| column.kind != Kind::Mark(b'+'));
    let is_net = word.is_some_and(|column| {
        let net = |text: &Vec<u8>| symbols::of(text) == Some(Of::Net);
        column.kind == Kind::Word && column.texts.keys().all(net)
    });
    let also = (0..family.columns.len())
        .filter(|at| *at != family.slot)
        .any(|at| {
            let point = |row: &Row| {
                let number = number(row, at)?;
                Some(Point {
                    line: row.line,
                    value: number.value,
                    decimals: number.decimals,
                    phase: lines.get(row.line)?.phase,
                })
            };
            let points: Vec<Point> = family.rows.iter().filter_map(point).collect();
            let other = series::levels(&points, weight, stated);
            points.len() * 2 > family.rows.len()
                && other.units.iter().any(|unit| levels.units.contains(unit))
        });
    (also && !is_net).then(|| Open::Several(sample.bytes.to_vec()))
}

/// Whether the lines of a group hold a number that can be a mass.
pub(super) fn may_weigh(lines: &[Line<'_>], group: &Group) -> bool {
    let line = |at: &usize| {
        lines.get(*at).is_some_and(|line| {
            let numbers = line.tokens.iter().filter_map(|token| token.number);
            numbers
                .into_iter()
                .any(|number| number.plain && number.decimals > 0)
        })
    };
    group.lines.iter().filter(|at| line(at)).count() * 2 > group.lines.len()
}

/// What a line is built of, without its digits and with one blank for several.
fn build(line: &[u8]) -> Vec<u8> {
    let mut out: Vec<u8> = Vec::new();
    for byte in line {
        let sign = match byte {
            byte if byte.is_ascii_digit() => b'0',
            byte if is_blank(*byte) => b' ',
            byte => *byte,
        };
        if !(matches!(sign, b'0' | b' ') && out.last() == Some(&sign)) {
            out.push(sign);
        }
    }
    out
}

/// What stands against it, in words.
pub(super) fn told(open: &Open) -> String {
    const HEAR: &str = "Put the weight on, press the balance's own tare key, lift the weight and let the pan rest: what shows then must be the weight, below zero. Learn from a capture with that in it.";
    match open {
        Open::SignUnheard => format!(
            "No value below zero was heard, so it is not proven how this balance writes a minus: what is read is shown, and nothing is captured. {HEAR}"
        ),
        Open::SignDoubtful(texts) => {
            let texts: Vec<String> = texts.iter().map(|text| shown(text)).collect();
            format!(
                "A part of the line ({}) may be the sign, and which of it is a minus is not proven: what is read is shown, and nothing is captured. {HEAR}",
                texts.join(", ")
            )
        }
        Open::Unread(count, line) => format!(
            "{count} lines like {} hold a number and are not read: they may be weighings of another state. Capture more of them, as with the weight put on and lifted several times, or write their form into the file.",
            shown(line)
        ),
        Open::Several(line) => format!(
            "Lines like {} hold more than one number that is the check weight, and which of them is the load above the tare is not said in them. Capture again with the tare key pressed while the weight lies on the pan, or write into the form of the file which it is.",
            shown(line)
        ),
        Open::MostUnread(odd, heard) => format!(
            "{odd} of {heard} lines fit nothing that was learned, so this is not how the balance speaks. Capture again, with the weight lying still and the cable firm; from a port, at another speed."
        ),
    }
}
