//! A report descriptor: where in which report status, unit, scaling and weight stand.
//!
//! Promises: report numbers, order, sizes, ranges and the lists behind the arrays are taken from
//! the descriptor, never supposed; what is double, cut off or beyond bounds is refused. Source of
//! the rules: USB-IF, "Device Class Definition for HID" 1.11, section 6.2.2. Leaves to others:
//! reading a report (`report`).

use std::fmt;

use super::LONGEST_DESCRIPTOR;
use super::fault::DescriptorFault;
use super::field::{Choice, LARGEST, Number, Usages, count, place_of};
use super::items::{Item, Items, Kind};
use super::page::{self, NO_WEIGHING, Named, PAGE};

/// Collections, and kept states, one inside the other.
const DEEPEST: usize = 16;
/// Usages listed before one field.
const MOST_USAGES: usize = 256;
/// The longest report, in bits, its number not counted. A weighing takes some five bytes.
const LONGEST_REPORT: u32 = 4095 * 8;

/// How the reports of a scale are read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScaleLayout {
    /// Whether each report begins with its number.
    numbered: bool,
    /// The longest input report in bytes, its number included.
    longest: usize,
    weighings: Vec<Parts>,
}

/// The parts of a weighing in one report. Places count from behind the report's number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Parts {
    id: u8,
    bits: u32,
    pub(super) status: Choice,
    pub(super) unit: Choice,
    pub(super) scaling: Number,
    pub(super) weight: Number,
}

impl Parts {
    /// The bytes of the report behind its number.
    pub(super) fn length(&self) -> usize {
        bytes(self.bits)
    }
}

impl ScaleLayout {
    /// Reads a report descriptor.
    ///
    /// # Errors
    /// When it is broken, none of a scale, or does not describe a whole weighing.
    pub fn of(descriptor: &[u8]) -> Result<Self, DescriptorFault> {
        if descriptor.is_empty() {
            return Err(DescriptorFault::Missing);
        }
        if descriptor.len() > LONGEST_DESCRIPTOR {
            return Err(DescriptorFault::TooLong);
        }
        let mut parser = Parser::default();
        for item in Items(descriptor) {
            let item = item.map_err(|_| broken("it is cut off in the middle"))?;
            match item.kind {
                Kind::Main => parser.main(item)?,
                Kind::Global => parser.global(item)?,
                Kind::Local => parser.local(item)?,
            }
        }
        parser.end()
    }

    /// The bytes of the longest report that the device sends, its number included.
    pub fn longest_report(&self) -> usize {
        self.longest
    }

    pub(super) fn is_numbered(&self) -> bool {
        self.numbered
    }

    /// The parts of the report of this number, 0 where reports have none.
    pub(super) fn parts(&self, id: u8) -> Option<&Parts> {
        self.weighings.iter().find(|parts| parts.id == id)
    }
}

impl fmt::Display for ScaleLayout {
    /// What is described, in words: `reports of 6 bytes, number 3, in mg, g, tael`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, parts) in self.weighings.iter().enumerate() {
            if at > 0 {
                f.write_str("; ")?;
            }
            let length = parts.length() + usize::from(self.numbered);
            write!(f, "reports of {length} bytes")?;
            if self.numbered {
                write!(f, ", number {}", parts.id)?;
            }
            let units: Vec<&str> = (page::UNITS.0..=page::UNITS.1)
                .filter(|usage| place_of(&parts.unit.list, *usage).is_some())
                .filter_map(|usage| match page::unit(usage)? {
                    Named::Unit(unit) => Some(unit.symbol()),
                    Named::Tael => Some("tael"),
                    Named::Ton => None,
                })
                .collect();
            write!(f, ", in {}", units.join(", "))?;
        }
        Ok(())
    }
}

fn broken(how: &'static str) -> DescriptorFault {
    DescriptorFault::Broken(how)
}

fn bytes(bits: u32) -> usize {
    usize::try_from(bits.div_ceil(8)).unwrap_or(usize::MAX)
}

/// What holds from an item on: the global items that matter here.
#[derive(Debug, Clone, Copy, Default)]
struct Global {
    page: u16,
    /// As written, since the sign of the upper bound hangs on that of the lower one.
    lowest: Option<Item>,
    highest: Option<Item>,
    size: u32,
    count: u32,
    id: u8,
}

/// An input report while it is being described.
#[derive(Debug, Default)]
struct Draft {
    id: u8,
    bits: u32,
    status: Option<Choice>,
    unit: Option<Choice>,
    scaling: Option<Number>,
    weight: Option<Number>,
}

/// The usages before the next main item; a page that is not written with one is that of the main
/// item.
#[derive(Debug, Default)]
struct Local {
    usages: Vec<(Option<u16>, u16, u16)>,
    first: Option<u32>,
}

#[derive(Debug, Default)]
struct Parser {
    now: Global,
    kept: Vec<Global>,
    local: Local,
    /// The collections that are open; true for one whose fields are no weighing.
    open: Vec<bool>,
    drafts: Vec<Draft>,
    numbered: bool,
    of_the_page: bool,
}

impl Parser {
    fn global(&mut self, item: Item) -> Result<(), DescriptorFault> {
        match item.tag {
            0x0 => self.now.page = u16::try_from(item.data).unwrap_or(u16::MAX),
            0x1 => self.now.lowest = Some(item),
            0x2 => self.now.highest = Some(item),
            0x7 => self.now.size = item.data,
            0x8 => {
                if !self.numbered && !self.drafts.is_empty() {
                    return Err(broken("only some of its reports have a number"));
                }
                self.numbered = true;
                self.now.id = u8::try_from(item.data)
                    .ok()
                    .filter(|id| *id != 0)
                    .ok_or_else(|| broken("a report has a number that none may have"))?;
            }
            0x9 => self.now.count = item.data,
            0xA => {
                if self.kept.len() >= DEEPEST {
                    return Err(broken("it is nested too deep"));
                }
                self.kept.push(self.now);
            }
            0xB => {
                let kept = self.kept.pop();
                self.now = kept.ok_or_else(|| broken("it takes back what it never kept"))?;
            }
            // Physical range and unit: of no meaning on this page.
            _ => {}
        }
        Ok(())
    }

    fn local(&mut self, item: Item) -> Result<(), DescriptorFault> {
        match item.tag {
            0x0 => self.list(item.data, item.data, item.size == 4)?,
            0x1 => self.local.first = Some(item.data),
            0x2 => {
                let first = self.local.first.take();
                let first = first.ok_or_else(|| broken("a range of usages has no beginning"))?;
                self.list(first, item.data, item.size == 4)?;
            }
            0xA => return Err(broken("it leaves open which of several usages a field has")),
            // Designators and strings name parts for people.
            _ => {}
        }
        Ok(())
    }

    fn list(&mut self, first: u32, last: u32, with_page: bool) -> Result<(), DescriptorFault> {
        let page = |usage: u32| u16::try_from(usage >> 16).unwrap_or_default();
        let bare = |usage: u32| u16::try_from(usage & 0xFFFF).unwrap_or_default();
        if first > last || page(first) != page(last) {
            return Err(broken("a range of usages ends before it begins"));
        }
        if self.local.usages.len() >= MOST_USAGES {
            return Err(broken("it lists too many usages for one field"));
        }
        let page = with_page.then(|| page(first));
        self.local.usages.push((page, bare(first), bare(last)));
        Ok(())
    }

    fn main(&mut self, item: Item) -> Result<(), DescriptorFault> {
        let page = self.now.page;
        let written = std::mem::take(&mut self.local).usages.into_iter();
        let usages: Vec<Usages> = written
            .map(|(own, first, last)| Usages {
                page: own.unwrap_or(page),
                first,
                last,
            })
            .collect();
        self.of_the_page |= usages.iter().any(|usage| usage.page == PAGE);
        match item.tag {
            0x8 => self.input(item, usages),
            0xA if self.open.len() >= DEEPEST => Err(broken("it is nested too deep")),
            0xA => {
                let none = NO_WEIGHING.iter().any(|usage| {
                    let mut usages = usages.iter();
                    usages.any(|listed| listed.meets(*usage, *usage))
                });
                self.open
                    .push(none || self.open.last().copied().unwrap_or(false));
                Ok(())
            }
            0xC => match self.open.pop() {
                Some(_) => Ok(()),
                None => Err(broken("it closes what was never opened")),
            },
            // Output and feature reports: not what the scale sends by itself.
            _ => Ok(()),
        }
    }

    fn input(&mut self, item: Item, usages: Vec<Usages>) -> Result<(), DescriptorFault> {
        const CONSTANT: u32 = 1 << 0;
        const VARIABLE: u32 = 1 << 1;
        const RELATIVE: u32 = 1 << 2;
        let Global {
            size, count, id, ..
        } = self.now;
        let known = self.drafts.iter().position(|draft| draft.id == id);
        let place = known.unwrap_or_else(|| {
            self.drafts.push(Draft {
                id,
                ..Draft::default()
            });
            self.drafts.len() - 1
        });
        let no_weighing = self.open.last().copied().unwrap_or(false);
        let range = self.now.range();
        let Some(draft) = self.drafts.get_mut(place) else {
            return Ok(());
        };
        let at = draft.bits;
        draft.bits = size
            .checked_mul(count)
            .and_then(|bits| bits.checked_add(at))
            .filter(|bits| *bits <= LONGEST_REPORT)
            .ok_or_else(|| broken("a report is longer than any may be"))?;
        if item.data & (CONSTANT | RELATIVE) != 0 || no_weighing || count == 0 {
            return Ok(());
        }
        let field = |at: u32| {
            let (lowest, highest) = range.ok_or_else(|| broken("a field has no range"))?;
            if size == 0 || size > LARGEST {
                return Err(broken("a field is larger than any may be"));
            }
            Ok(Number {
                at,
                size,
                lowest,
                highest,
            })
        };
        if item.data & VARIABLE == 0 {
            draft.array(usages, count, || field(at))
        } else {
            draft.numbers(&usages, count, |place| {
                let at = place
                    .checked_mul(size)
                    .and_then(|bits| bits.checked_add(at));
                field(at.ok_or_else(|| broken("a report is longer than any may be"))?)
            })
        }
    }

    fn end(self) -> Result<ScaleLayout, DescriptorFault> {
        if !self.of_the_page {
            return Err(DescriptorFault::NotAScale);
        }
        if !self.open.is_empty() {
            return Err(broken("it is cut off in the middle"));
        }
        let longest = self.drafts.iter().map(|draft| bytes(draft.bits)).max();
        let longest = longest.unwrap_or(0) + usize::from(self.numbered);
        // What is lacking is told of the report that comes nearest.
        let nearest = self.drafts.iter().map(Draft::lacks).min_by_key(Vec::len);
        let nearest = nearest.unwrap_or_else(|| Draft::default().lacks());
        let weighings: Vec<Parts> = self.drafts.into_iter().filter_map(Draft::parts).collect();
        if weighings.is_empty() {
            return Err(DescriptorFault::Lacks(nearest));
        }
        Ok(ScaleLayout {
            numbered: self.numbered,
            longest,
            weighings,
        })
    }
}

impl Global {
    /// The range of a field. An upper bound of which the lower one is no less than zero has no
    /// sign, whatever its highest bit: devices write 255 in one byte, and systems take it so.
    fn range(&self) -> Option<(i64, i64)> {
        let lowest = self.lowest?.signed();
        let highest = self.highest?;
        let highest = if lowest < 0 {
            highest.signed()
        } else {
            highest.unsigned()
        };
        (lowest < highest).then_some((lowest, highest))
    }
}

impl Draft {
    /// A field that holds selectors.
    fn array(
        &mut self,
        usages: Vec<Usages>,
        count: u32,
        number: impl Fn() -> Result<Number, DescriptorFault>,
    ) -> Result<(), DescriptorFault> {
        let meets = |(first, last)| usages.iter().any(|part| part.meets(first, last));
        let (is_status, is_unit) = (meets(page::STATUSES), meets(page::UNITS));
        let slot = match (is_status, is_unit) {
            (false, false) => return Ok(()),
            (true, true) => return Err(broken("a field is a status and a unit at once")),
            (true, false) => &mut self.status,
            (false, true) => &mut self.unit,
        };
        if count > 1 || slot.is_some() {
            return Err(broken("a report has two statuses or two units"));
        }
        *slot = Some(Choice {
            number: number()?,
            list: usages,
        });
        Ok(())
    }

    /// Fields that hold numbers, one after another.
    fn numbers(
        &mut self,
        usages: &[Usages],
        fields: u32,
        number: impl Fn(u32) -> Result<Number, DescriptorFault>,
    ) -> Result<(), DescriptorFault> {
        for (usage, slot) in [
            (page::WEIGHT, &mut self.weight),
            (page::SCALING, &mut self.scaling),
        ] {
            let Some(place) = place_of(usages, usage).filter(|place| *place < fields) else {
                continue;
            };
            // The last usage of a list holds for every field that is left.
            let repeats = place + 1 == count(usages) && place + 1 < fields;
            if repeats || slot.is_some() {
                return Err(broken("a report has two weights or two scalings"));
            }
            *slot = Some(number(place)?);
        }
        Ok(())
    }

    fn lacks(&self) -> Vec<&'static str> {
        let there = [
            ("status", self.status.is_some()),
            ("unit", self.unit.is_some()),
            ("scaling", self.scaling.is_some()),
            ("weight", self.weight.is_some()),
        ];
        let lacking = there.into_iter().filter(|(_, there)| !there);
        lacking.map(|(name, _)| name).collect()
    }

    fn parts(self) -> Option<Parts> {
        let mut scaling = self.scaling?;
        // An exponent of 253 makes no mass: a byte that is declared without a sign has one.
        if scaling.size >= 8 && scaling.lowest == 0 {
            let half = 1_i64 << (scaling.size - 1);
            (scaling.lowest, scaling.highest) = (-half, half - 1);
        }
        Some(Parts {
            id: self.id,
            bits: self.bits,
            status: self.status?,
            unit: self.unit?,
            scaling,
            weight: self.weight?,
        })
    }
}
