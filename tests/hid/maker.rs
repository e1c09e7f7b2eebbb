//! Descriptors made piece by piece, by the rules of HID 1.11, section 6.2.2.

/// A part of the data report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    Status,
    Unit,
    Scaling,
    Weight,
    /// So many constant bits.
    Padding(u8),
}
use Part::{Padding, Scaling, Status, Unit, Weight};

/// The order of the descriptor that was published.
pub(crate) const USUAL: [Part; 4] = [Status, Unit, Scaling, Weight];

/// The items of one part: its array or its number.
pub(crate) fn part(part: Part) -> Vec<u8> {
    match part {
        // A named array in a collection of its own: usage 70, selectors 71 to 78 for 1 to 8.
        Status => vec![
            0x09, 0x70, 0xA1, 0x02, 0x19, 0x71, 0x29, 0x78, 0x15, 1, 0x25, 8, 0x75, 8, 0x95, 1,
            0x81, 0x00, 0xC0,
        ],
        // Usage 50, selectors 51 to 5C for 1 to 12.
        Unit => vec![
            0x09, 0x50, 0xA1, 0x02, 0x19, 0x51, 0x29, 0x5C, 0x15, 1, 0x25, 12, 0x75, 8, 0x95, 1,
            0x81, 0x00, 0xC0,
        ],
        Scaling => vec![
            0x09, 0x41, 0x15, 0x81, 0x25, 0x7F, 0x75, 8, 0x95, 1, 0x81, 0x02,
        ],
        Weight => vec![
            0x09, 0x40, 0x15, 0, 0x27, 0xFF, 0xFF, 0, 0, 0x75, 16, 0x95, 1, 0x81, 0x02,
        ],
        Padding(bits) => vec![0x75, bits, 0x95, 1, 0x81, 0x03],
    }
}

/// A scale whose data report holds these items, with this number or none.
pub(crate) fn around(id: Option<u8>, inside: &[u8]) -> Vec<u8> {
    // Weighing page; application collection "scales", data report.
    let mut all = vec![0x05, 0x8D, 0x09, 0x01, 0xA1, 0x01, 0x09, 0x32, 0xA1, 0x02];
    if let Some(id) = id {
        all.extend([0x85, id]);
    }
    all.extend_from_slice(inside);
    all.extend([0xC0, 0xC0]);
    all
}

/// A scale whose data report holds these parts in this order.
pub(crate) fn scale(id: Option<u8>, parts: &[Part]) -> Vec<u8> {
    let inside: Vec<u8> = parts.iter().flat_map(|it| part(*it)).collect();
    around(id, &inside)
}
