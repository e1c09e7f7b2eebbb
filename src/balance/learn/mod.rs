//! Learning how a balance speaks, from what it sent while a known weight was put on and taken off.
//!
//! Promises: everything is inferred from the lines themselves, there is no table of balances; a
//! layout is given only together with every captured line as the real layout reads it; what could
//! not be told is said; total and bounded on any bytes. Leaves to others: the port, the person's
//! hands, and saving.

mod align;
mod audit;
mod codes;
mod counted;
mod counts;
mod course;
mod cut;
mod family;
mod filled;
mod form;
mod groups;
mod hear;
mod log;
mod roles;
mod series;
mod signs;
mod stamps;
mod status;
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
use family::{Family, Line, Other};
use form::Form;
use groups::Group;
use roles::{Role, Roles};
use signs::Signs;
use token::Marks;

pub use audit::Open;
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
    /// It was to be tared away and lifted, so that what shows is below zero by as much.
    Below,
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
    /// The value has counted places, so that a lost or doubled character is noticed.
    pub counted: bool,
    /// Frames that failed their check.
    pub damaged: usize,
    /// What the shape of a line is, one sentence.
    pub says: String,
    /// What stands against weighing with it.
    pub open: Vec<Open>,
    /// What could not be settled, one sentence each.
    pub unsettled: Vec<String>,
}

impl Learnt {
    /// Whether it may be weighed with as it is: the unit and the sign are known, and every line that
    /// can be a weighing is read.
    pub fn is_settled(&self) -> bool {
        self.open.is_empty()
            && self.missed().next().is_none()
            && !matches!(self.unit, UnitKnown::Conflict { .. } | UnitKnown::No)
    }

    /// Whether it is proven how a value below zero looks.
    pub fn knows_sign(&self) -> bool {
        !self.layout.minus_unproven
    }

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
    others: Vec<(usize, bool)>,
    stated: Option<Unit>,
    rank: (groups::Rank, usize, bool, usize),
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
    let first = learn_with(capture, &cut, top_bit, told, false);
    if first.as_ref().is_ok_and(Learnt::is_settled) {
        return first;
    }
    // A plus or minus may belong to the field before a number, not to its digits.
    match learn_with(capture, &cut, top_bit, told, true) {
        Ok(other) if other.is_settled() => Ok(other),
        _ => first.map_err(|_| words::no_mass(cut.frames.len(), &bare)),
    }
}

/// Learns under the best way of writing numbers; `apart`: with signs that are no part of them.
fn learn_with(
    capture: &Capture,
    cut: &Cut,
    top_bit: TopBit,
    told: &Told,
    apart: bool,
) -> Result<Learnt, Trouble> {
    let mut best: Option<Found<'_>> = None;
    let fits = |best: &Option<Found<'_>>| {
        best.as_ref()
            .is_some_and(|best| best.rank.0.0 >= groups::FITS)
    };
    for marks in Marks::ALL {
        // Digits from behind are never supposed: nothing else fits the weight, and they do.
        if marks.digits != Digits::Plain && fits(&best) {
            break;
        }
        if let Some(found) = under((marks, apart), cut, capture, told)
            && (marks.digits == Digits::Plain || found.rank.0.0 >= groups::FITS)
            && best.as_ref().is_none_or(|best| found.rank > best.rank)
        {
            best = Some(found);
        }
    }
    if !fits(&best)
        && let Some(found) = counts::counted(cut, capture, told)
    {
        best = Some(found);
    }
    let found = best.ok_or_else(|| words::no_mass(cut.frames.len(), b""))?;
    conclude(found, cut, top_bit, told)
}

/// Reads the capture under one way of writing numbers.
fn under<'a>(
    (marks, apart): (Marks, bool),
    cut: &'a Cut,
    capture: &Capture,
    told: &Told,
) -> Option<Found<'a>> {
    let phase_at = |at: usize| {
        let before = capture.phases.iter().take_while(|(from, _)| *from <= at);
        before.last().map(|(_, phase)| *phase)
    };
    let whole = || cut.frames.iter().filter(|frame| frame.whole);
    let bytes: Vec<&[u8]> = whole().map(|frame| frame.line.as_slice()).collect();
    let codes = codes::codes(&bytes, marks.digits.are_counts());
    let has_glyph = |line: &&&[u8]| (0..line.len()).any(|at| symbols::glyph_at(line, at).is_some());
    let apart = apart || bytes.iter().filter(has_glyph).count() >= groups::enough(bytes.len());
    let lines: Vec<Line<'a>> = whole()
        .zip(&codes)
        .map(|(frame, codes)| Line {
            bytes: &frame.line,
            tokens: token::tokens_with(&frame.line, marks, (codes, apart)),
            phase: phase_at(frame.at),
        })
        .collect();
    let groups = groups::groups(&lines);
    let (anchor, place, rank) = groups::anchor(&lines, &groups, (told.weight, told.unit))?;
    let (family, others) = family::grow(&lines, &groups, anchor, place)?;
    let stated = groups
        .get(anchor)
        .and_then(|group| groups::nearest_unit(&lines, group, place));
    let index = |other: &Other<'_>| {
        let at = groups
            .iter()
            .position(|group| std::ptr::eq(group, other.group));
        at.map(|at| (at, other.turns))
    };
    let others = others.iter().filter_map(index).collect();
    let grouped = family.rows.iter().any(|row| row.number.grouped);
    if marks.thousands.is_some() && !grouped {
        return None; // Nothing speaks for a mark that was never seen.
    }
    let digits = family
        .rows
        .iter()
        .filter_map(|row| row.cells.get(family.slot).copied().flatten());
    let digits: usize = digits.map(|(from, to)| to - from).sum();
    let rank = (rank, family.rows.len(), marks.thousands.is_none(), digits);
    Some(Found {
        marks,
        lines,
        family,
        groups,
        others,
        stated,
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
        stated,
        ..
    } = found;
    let signs = if marks.digits == Digits::HexadecimalSigned {
        // Half of all counts are below zero: nothing else tells the sign.
        Signs {
            is_proven: true,
            ..Signs::default()
        }
    } else {
        signs::signs(&family, &lines)
    };
    sign_rows(&mut family, &lines, &signs);
    let points = roles::of_one_unit(&family, &lines, &signs);
    let mut levels = series::levels(&points, told.weight, stated);
    let is_stated = stated.is_some_and(|unit| levels.units.contains(&unit));
    if !is_stated && series::is_two_units(&points, &levels, told.weight) {
        levels.units.clear();
    }
    let decimals = series::decimals(&points);
    let weighed = (told.weight.is_some(), told.unit);
    let mut roles = roles::roles(&family, &lines, &levels, &signs, weighed);
    let others = others.iter().filter_map(|(at, turns)| {
        let group = groups.get(*at)?;
        Some(Other {
            group,
            turns: *turns,
        })
    });
    let others: Vec<Other<'_>> = others.collect();
    let others = family::take_kinds(&mut family, &lines, others);
    roles.take_kinds(&family);
    let worded = !signs.table.is_empty();
    let form = form::form(
        &family,
        &roles.of,
        &lines,
        (marks, worded),
        &roles.unit_marks,
    );
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
        digits: marks.digits,
        factor: marks.factor,
        signs: roles.signs.clone(),
        minus_unproven: !signs.is_proven,
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
        counted: form.counted,
        damaged: cut.failed,
        open: Vec::new(),
        unsettled: roles.unsettled.clone(),
    };
    learnt.open = audit::open(&learnt, &signs, &lines, &others);
    let several = audit::several(&family, &lines, (told.weight, stated), &levels);
    learnt.open.extend(several);
    words::unsettled(&mut learnt, told, &levels, (&form, cut.supposed));
    Ok(learnt)
}

/// Gives every value its sign.
fn sign_rows(family: &mut Family, lines: &[Line<'_>], signs: &Signs) {
    for row in &mut family.rows {
        if signs.is_below(row, lines) && !row.number.value.is_zero() {
            row.number.value = -row.number.value.abs();
        }
    }
}

/// The forms of the lines that carry no mass; one that would swallow a line with a mass is left
/// out.
fn skipped(
    layout: &LayoutSpec,
    family: &Family,
    lines: &[Line<'_>],
    others: &[Other<'_>],
) -> Result<Vec<String>, Trouble> {
    let mut out: Vec<String> = Vec::new();
    let [point, ..] = Marks::ALL;
    for group in others
        .iter()
        .filter(|other| audit::turns(other) || !audit::may_weigh(lines, other.group))
    {
        let group = group.group;
        let laid = family::laid_out(lines, group);
        let roles = roles::plain(&laid, &Signs::default());
        let Form { text, .. } = form::form(&laid, &roles, lines, (point, false), &[]);
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
                (
                    words::parts(row, roles, line.map_or(&b""[..], |line| line.bytes)),
                    right,
                )
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
    let value = row.number.value;
    let same = |digits: Decimal| {
        digits == value && digits.scale() == row.number.decimals.max(layout.decimals.unwrap_or(0))
    };
    let unit = text(Role::Unit).filter(|symbol| roles.is_unit(symbol));
    let meant = unit.map(|symbol| {
        let known = layout
            .units
            .iter()
            .find(|(known, _)| symbol_bytes(known) == symbol);
        known.map(|(_, unit)| *unit)
    });
    let shown = match (reading.shown, meant) {
        (Shown::Weighed(mass), Some(Some(unit))) => same(mass.digits()) && mass.unit() == unit,
        (Shown::UnitUnknown(digits), Some(None))
        | (Shown::UnitUnstated(digits), None)
        | (Shown::SignUnproven(digits), _) => same(digits),
        _ => false,
    };
    let in_unit = || text(Role::Unit).filter(|symbol| !roles.is_unit(symbol));
    let word = text(Role::Status)
        .or_else(|| text(Role::SignStatus))
        .or_else(in_unit);
    let status = word.and_then(|symbol| {
        let known = layout
            .statuses
            .iter()
            .find(|(known, _)| symbol_bytes(known) == symbol);
        known.map(|(_, status)| *status)
    });
    shown && reading.status == status.unwrap_or(crate::mass::Status::Unsaid)
}
