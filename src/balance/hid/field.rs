//! A field of a report: where its bits are, and the number or the choice that they make.
//!
//! Promises: reads only inside the report; a number outside the range that the descriptor gives is
//! none. Leaves to others: which fields there are.

use super::items::signed;
use super::page::PAGE;

/// The largest field that is read, in bits.
pub(super) const LARGEST: u32 = 32;

/// Usages that follow each other: page, first, last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Usages {
    pub(super) page: u16,
    pub(super) first: u16,
    pub(super) last: u16,
}

impl Usages {
    fn count(self) -> u32 {
        u32::from(self.last.saturating_sub(self.first)) + 1
    }

    /// Whether any of them is a usage of the weighing page in this range.
    pub(super) fn meets(self, first: u16, last: u16) -> bool {
        self.page == PAGE && self.first <= last && first <= self.last
    }
}

/// The place of a usage of the weighing page in a list, from 0.
pub(super) fn place_of(list: &[Usages], usage: u16) -> Option<u32> {
    let mut before: u32 = 0;
    for part in list {
        if part.meets(usage, usage) {
            return Some(before.saturating_add(u32::from(usage - part.first)));
        }
        before = before.saturating_add(part.count());
    }
    None
}

/// How many usages a list holds.
pub(super) fn count(list: &[Usages]) -> u32 {
    list.iter()
        .fold(0, |sum, part| sum.saturating_add(part.count()))
}

/// A field that holds a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Number {
    /// Its first bit, counted from the beginning of the report.
    pub(super) at: u32,
    /// Its bits, 1 to 32.
    pub(super) size: u32,
    /// The range of its values.
    pub(super) lowest: i64,
    pub(super) highest: i64,
}

impl Number {
    /// The number in a report; the outer `None` when the report is too short for it, the inner
    /// one when it is outside its range, which is the standard's way to send none.
    #[allow(clippy::option_option)] // too short, and out of range, are two things
    pub(super) fn read(self, report: &[u8]) -> Option<Option<i64>> {
        let bits = bits(report, self.at, self.size)?;
        let value = if self.lowest < 0 {
            signed(bits, self.size)
        } else {
            bits.cast_signed()
        };
        Some(
            (self.lowest..=self.highest)
                .contains(&value)
                .then_some(value),
        )
    }
}

/// A field that holds a selector of a list: its value is the place in the list, counted from the
/// lowest value that the descriptor gives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Choice {
    pub(super) number: Number,
    pub(super) list: Vec<Usages>,
}

/// What a field with a selector holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Chosen {
    /// This usage of the weighing page.
    Usage(u16),
    /// A value with no usage of the page behind it.
    Reserved,
    /// A value outside of the range: nothing is selected.
    Nothing,
}

impl Choice {
    /// What is selected in a report; `None` when the report is too short for it.
    pub(super) fn read(&self, report: &[u8]) -> Option<Chosen> {
        let Some(value) = self.number.read(report)? else {
            return Some(Chosen::Nothing);
        };
        let mut place = u32::try_from(value - self.number.lowest).unwrap_or(u32::MAX);
        for part in &self.list {
            if place < part.count() {
                let usage = u32::from(part.first) + place;
                return Some(match u16::try_from(usage) {
                    Ok(usage) if part.page == PAGE => Chosen::Usage(usage),
                    _ => Chosen::Reserved,
                });
            }
            place -= part.count();
        }
        Some(Chosen::Reserved)
    }
}

/// So many bits of a report from a place on, lowest first; `None` when it is too short.
fn bits(report: &[u8], at: u32, size: u32) -> Option<u64> {
    let first = usize::try_from(at / 8).ok()?;
    let last = usize::try_from(at.checked_add(size)?.checked_sub(1)? / 8).ok()?;
    // At most 32 bits that begin inside a byte: five bytes.
    let bytes = report.get(first..=last).filter(|bytes| bytes.len() <= 5)?;
    let whole = bytes
        .iter()
        .rev()
        .fold(0_u64, |whole, byte| (whole << 8) | u64::from(*byte));
    Some((whole >> (at % 8)) & ((1 << size.min(LARGEST)) - 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_are_taken_from_anywhere_and_never_from_outside() {
        let report = [0b1010_0101, 0xFF, 0x00, 0x80, 0x01];
        assert_eq!(bits(&report, 0, 4), Some(0b0101));
        assert_eq!(bits(&report, 4, 8), Some(0b1111_1010));
        assert_eq!(bits(&report, 31, 2), Some(0b11));
        assert_eq!(bits(&report, 3, 32), Some(0x3000_1FF4));
        assert_eq!(bits(&report, 33, 8), None);
        assert_eq!(bits(&report, u32::MAX, 8), None);
    }

    #[test]
    fn a_number_outside_its_range_is_none() {
        let number = Number {
            at: 0,
            size: 8,
            lowest: -127,
            highest: 127,
        };
        assert_eq!(number.read(&[0xFD]), Some(Some(-3)));
        assert_eq!(number.read(&[0x80]), Some(None), "-128");
        assert_eq!(number.read(&[]), None);
    }
}
