//! Learning how a balance speaks, from what it sent while a known weight was put on and taken off.
//!
//! Promises: everything is inferred from the lines themselves, there is no table of balances; a
//! layout is given only together with every captured line as the real layout reads it; what could
//! not be told is said; total and bounded on any bytes. Leaves to others: the port, the person's
//! hands, and saving.

mod align;
mod counted;
mod cut;
mod family;
mod form;
mod groups;
mod hear;
mod log;
mod roles;
mod series;
mod stamps;
mod strays;
mod symbols;
mod token;
mod words;

use std::time::Duration;

use rust_decimal::Decimal;

use super::frame::FrameSpec;
use super::layout::{Digits, Layout, LayoutSpec, NoReading, symbol_bytes};
use crate::mass::{Mass, Reading, Shown, Unit};
use crate::trouble::Trouble;
use cut::Cut;
use family::{Family, Line};
use form::Form;
use groups::Group;
use roles::{Role, Roles};
use token::Marks;

pub use hear::{Sound, TopBit, listen, top_bit, without_top_bit};
pub use log::bytes_of_log;
pub use roles::UnitKnown;
pub use stamps::{Stamps, Whose, without_stamps};
pub use words::marked;

/// What was asked of the person while bytes came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Phase {
    /// The pan was to be empty.
    Empty,
    /// The check weight was to lie on it.
    Loaded,
    /// The weight was to be lifted again.
    Lifted,
    /// Hands were at the pan.
    Between,
}

/// What was captured of a balance.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Capture {
    /// Every byte as it came.
    pub bytes: Vec<u8>,
    /// Offsets before which nothing came for so long; empty for a log.
    pub pauses: Vec<(usize, Duration)>,
    /// Offsets from which a phase holds; empty for a log, where the values tell the phases.
    pub phases: Vec<(usize, Phase)>,
}

/// What the person tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Told {
    /// The mass of the check weight.
    pub weight: Option<Mass>,
    /// What the person says the unit is; it never goes against the check weight.
    pub unit: Option<Unit>,
}

/// What a part of a line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum What {
    /// Digits of the mass.
    Value,
    /// Its sign.
    Sign,
    /// Its unit.
    Unit,
    /// Whether the pan rests.
    Status,
    /// Net, gross or tare.
    Kind,
    /// The last digit in its bracket.
    Fine,
    /// Text that carries nothing.
    Text,
}

/// A part of a captured line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// What it is.
    pub what: What,
    /// Its first byte.
    pub from: usize,
    /// The byte after its last.
    pub to: usize,
}

/// A captured line, as it was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LearntLine {
    /// The line without its frame.
    pub bytes: Vec<u8>,
    /// Its parts; none for a line that carries no mass.
    pub parts: Vec<Part>,
    /// What the learned layout makes of it.
    pub read: Result<Reading, NoReading>,
    /// Whether the layout makes of it what was concluded; noise counts as true when it is refused.
    pub as_concluded: bool,
}

/// What was learned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Learnt {
    /// How lines are framed.
    pub frame: FrameSpec,
    /// How a line is read.
    pub layout: LayoutSpec,
    /// What the top bit of the bytes says of the framing of characters.
    pub top_bit: TopBit,
    /// Every captured line.
    pub lines: Vec<LearntLine>,
    /// How the unit is known.
    pub unit: UnitKnown,
    /// What the values showed with an empty pan and with the weight on it.
    pub levels: (Option<Decimal>, Option<Decimal>),
    /// The decimals shown.
    pub decimals: u32,
    /// Frames that failed their check.
    pub damaged: usize,
    /// What the shape of a line is, one sentence.
    pub says: String,
    /// What could not be settled, one sentence each.
    pub unsettled: Vec<String>,
}

impl Learnt {
    /// Lines that carry a mass.
    pub fn readings(&self) -> usize {
        self.lines.iter().filter(|line| line.read.is_ok()).count()
    }

    /// Lines of the balance that the layout does not read as was concluded.
    pub fn missed(&self) -> impl Iterator<Item = &LearntLine> {
        self.lines.iter().filter(|line| !line.as_concluded)
    }

    /// Lines that are none of this balance: noise, or the halves of a line.
    pub fn odd(&self) -> impl Iterator<Item = &LearntLine> {
        let odd = |line: &&LearntLine| line.as_concluded && line.read.is_err_and(NoReading::is_odd);
        self.lines.iter().filter(odd)
    }
}

/// The most bytes of a capture that are looked at.
const MOST_BYTES: usize = 1 << 20;
/// The most lines of a capture that are looked at.
const MOST_LINES: usize = 4000;

/// One way of reading the capture, and what speaks for it.
struct Found<'a> {
    marks: Marks,
    lines: Vec<Line<'a>>,
    family: Family,
    groups: Vec<Group>,
    others: Vec<usize>,
    rank: (u8, usize, bool, usize),
}

/// Learns how a balance speaks.
///
/// # Errors
/// When nothing was heard, or nothing in it can be a mass.
pub fn learn(capture: &Capture, told: &Told) -> Result<Learnt, Trouble> {
    let bytes = capture.bytes.get(..MOST_BYTES).unwrap_or(&capture.bytes);
    if bytes.is_empty() {
        return Err(words::nothing_heard());
    }
    let top_bit = top_bit(bytes);
    let bare = without_top_bit(bytes, top_bit);
    let mut cut = cut::cut(&bare, &capture.pauses);
    cut.frames.truncate(MOST_LINES);
    let mut best: Option<Found<'_>> = None;
    for marks in Marks::ALL {
        if let Some(found) = under(marks, &cut, capture, told)
            && best.as_ref().is_none_or(|best| found.rank > best.rank)
        {
            best = Some(found);
        }
    }
    let found = best.ok_or_else(|| words::no_mass(cut.frames.len()))?;
    conclude(found, &cut, top_bit, told)
}

/// Reads the capture under one way of writing numbers.
fn under<'a>(marks: Marks, cut: &'a Cut, capture: &Capture, told: &Told) -> Option<Found<'a>> {
    let phase_at = |at: usize| {
        let before = capture.phases.iter().take_while(|(from, _)| *from <= at);
        before.last().map(|(_, phase)| *phase)
    };
    let lines: Vec<Line<'a>> = cut
        .frames
        .iter()
        .filter(|frame| frame.whole)
        .map(|frame| Line {
            bytes: &frame.line,
            tokens: token::tokens(&frame.line, marks),
            phase: phase_at(frame.at),
        })
        .collect();
    let groups = groups::groups(&lines);
    let (anchor, place, rank) = groups::anchor(&lines, &groups, (told.weight, told.unit))?;
    let (family, others) = family::grow(&lines, &groups, anchor, place)?;
    let others: Vec<usize> = others
        .iter()
        .filter_map(|other| groups.iter().position(|group| std::ptr::eq(group, *other)))
        .collect();
    let grouped = family.rows.iter().any(|row| row.number.grouped);
    if marks.thousands.is_some() && !grouped {
        return None; // Nothing speaks for a mark that was never seen.
    }
    let digits = family
        .rows
        .iter()
        .filter_map(|row| row.cells.get(family.slot).copied().flatten());
    let digits: usize = digits.map(|(from, to)| to - from).sum();
    let rank = (rank.0, family.rows.len(), marks.thousands.is_none(), digits);
    Some(Found {
        marks,
        lines,
        family,
        groups,
        others,
        rank,
    })
}

fn conclude(found: Found<'_>, cut: &Cut, top_bit: TopBit, told: &Told) -> Result<Learnt, Trouble> {
    let Found {
        marks,
        lines,
        mut family,
        groups,
        others,
        ..
    } = found;
    let points = family.points(&lines);
    let levels = series::levels(&points, told.weight);
    let decimals = series::decimals(&points);
    let mut roles = roles::roles(&family, &lines, &levels, (told.weight.is_some(), told.unit));
    let others: Vec<&Group> = others.iter().filter_map(|at| groups.get(*at)).collect();
    let others = family::take_kinds(&mut family, &lines, others);
    roles.take_kinds(&family);
    let form = form::form(&family, &roles.of, &lines, marks);
    if form.counted {
        strays::drop_short(&mut family, &lines);
    }
    // Zeros at the end are lost where a value at rest has fewer decimals than the others.
    let lost = points.iter().any(|point| point.decimals < decimals);
    let mut layout = LayoutSpec {
        line: form.text.clone(),
        decimal: marks.decimal,
        thousands: marks.thousands,
        decimals: lost.then_some(decimals),
        digits: Digits::Plain,
        factor: None,
        signs: Vec::new(),
        minus_unproven: false,
        skip: Vec::new(),
        units: roles.units.clone(),
        statuses: roles.statuses.clone(),
        kinds: roles.kinds.clone(),
        takes: roles.takes,
    };
    layout.skip = skipped(&layout, &family, &lines, &others)?;
    fit_tables(&mut layout);
    let read = read_back(&layout, cut, &family, &roles, &lines)?;
    let mut learnt = Learnt {
        frame: cut.spec,
        says: words::says(&family, &roles, &form, cut),
        layout,
        top_bit,
        lines: read,
        unit: roles.unit,
        levels: (levels.empty, levels.loaded),
        decimals,
        damaged: cut.failed,
        unsettled: roles.unsettled.clone(),
    };
    words::unsettled(&mut learnt, told, &family, &levels, (&form, cut.supposed));
    Ok(learnt)
}

/// The forms of the lines that carry no mass; one that would swallow a line with a mass is left
/// out.
fn skipped(
    layout: &LayoutSpec,
    family: &Family,
    lines: &[Line<'_>],
    others: &[&Group],
) -> Result<Vec<String>, Trouble> {
    let mut out: Vec<String> = Vec::new();
    let [point, ..] = Marks::ALL;
    for group in others {
        let laid = family::laid_out(lines, group);
        let roles = roles::plain(&laid);
        let Form { text, .. } = form::form(&laid, &roles, lines, point);
        if out.contains(&text)
            || out.len() >= LayoutSpec::MOST_SKIPPED
            || !roles.contains(&Role::Text)
        {
            continue;
        }
        let trial = LayoutSpec {
            skip: vec![text.clone()],
            ..layout.clone()
        };
        let mut trial = Layout::compile(&trial)?;
        let swallows = family.rows.iter().any(|row| {
            let line = lines.get(row.line);
            line.is_some_and(|line| trial.read(line.bytes) == Err(NoReading::NoMass))
        });
        if !swallows {
            out.push(text);
        }
    }
    Ok(out)
}

/// A group without a table, or a table without a group, cannot be said in a balance file.
fn fit_tables(layout: &mut LayoutSpec) {
    if layout.statuses.is_empty() {
        layout.line = layout.line.replace("(?<status>", "(?:");
    }
    if layout.units.is_empty() {
        layout.line = layout.line.replace("(?<unit>", "(?:");
    }
}

/// Every captured line through the real layout, beside what was concluded of it.
fn read_back(
    layout: &LayoutSpec,
    cut: &Cut,
    family: &Family,
    roles: &Roles,
    lines: &[Line<'_>],
) -> Result<Vec<LearntLine>, Trouble> {
    let mut reader = Layout::compile(layout)?;
    let mut rows = family.rows.iter().peekable();
    let mut whole = 0;
    let mut out = Vec::new();
    for frame in &cut.frames {
        let row = if frame.whole {
            whole += 1;
            rows.next_if(|row| row.line + 1 == whole)
        } else {
            None
        };
        let read = reader.read(&frame.line);
        let (parts, as_concluded) = match row {
            None => (Vec::new(), true),
            Some(row) => {
                let line = lines.get(row.line);
                let right = line.is_some_and(|line| is_right(read, row, layout, roles, line));
                (words::parts(row, &roles.of), right)
            }
        };
        out.push(LearntLine {
            bytes: frame.line.clone(),
            parts,
            read,
            as_concluded,
        });
    }
    Ok(out)
}

/// Whether a reading is what the line was taken for: the same digits, the unit, the status.
fn is_right(
    read: Result<Reading, NoReading>,
    row: &family::Row,
    layout: &LayoutSpec,
    roles: &Roles,
    line: &Line<'_>,
) -> bool {
    if !row.load {
        return read == Err(NoReading::OtherKind);
    }
    let Ok(reading) = read else { return false };
    let text = |wanted: Role| {
        let at = roles.of.iter().position(|role| *role == wanted)?;
        let (from, to) = row.cells.get(at).copied().flatten()?;
        line.bytes.get(from..to).filter(|text| !text.is_empty())
    };
    let mut value = row.number.value;
    if text(Role::Sign) == Some(b"-") {
        value = -value;
    }
    let same = |digits: Decimal| {
        digits == value && digits.scale() == row.number.decimals.max(layout.decimals.unwrap_or(0))
    };
    let meant = text(Role::Unit)
        .filter(|_| !layout.units.is_empty())
        .map(|symbol| {
            let known = layout
                .units
                .iter()
                .find(|(known, _)| symbol_bytes(known) == symbol);
            known.map(|(_, unit)| *unit)
        });
    let shown = match (reading.shown, meant) {
        (Shown::Weighed(mass), Some(Some(unit))) => same(mass.digits()) && mass.unit() == unit,
        (Shown::UnitUnknown(digits), Some(None)) | (Shown::UnitUnstated(digits), None) => {
            same(digits)
        }
        _ => false,
    };
    let status = text(Role::Status).and_then(|symbol| {
        let known = layout
            .statuses
            .iter()
            .find(|(known, _)| symbol_bytes(known) == symbol);
        known.map(|(_, status)| *status)
    });
    shown && reading.status == status.unwrap_or(crate::mass::Status::Unsaid)
}
