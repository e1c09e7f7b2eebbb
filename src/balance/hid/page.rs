//! The Weighing Devices usage page, 8D: what its usages are called here.
//!
//! Source: USB-IF, "HID Point of Sale Usage Tables" 1.02, weighing devices. A usage that is not
//! listed here is reserved there, or is nothing that a bench goes by.

use crate::mass::{Status, Unit};

/// The page.
pub(super) const PAGE: u16 = 0x8D;
/// Collections whose fields are no weighing: attributes, control, weight limit, statistics.
pub(super) const NO_WEIGHING: [u16; 4] = [0x30, 0x31, 0x34, 0x35];
/// The weight itself.
pub(super) const WEIGHT: u16 = 0x40;
/// The power of ten that it is multiplied by.
pub(super) const SCALING: u16 = 0x41;

/// The selectors of a unit, first and last.
pub(super) const UNITS: (u16, u16) = (0x51, 0x5C);
/// The selectors of a status, first and last.
pub(super) const STATUSES: (u16, u16) = (0x71, 0x78);

/// What a selector of a unit stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Named {
    /// A unit of one size.
    Unit(Unit),
    /// A tael; the page does not say whose.
    Tael,
    /// A ton, metric or avoirdupois: on no bench.
    Ton,
}

/// The unit that a usage of the page selects.
pub(super) fn unit(usage: u16) -> Option<Named> {
    Some(match usage {
        0x51 => Named::Unit(Unit::Milligram),
        0x52 => Named::Unit(Unit::Gram),
        0x53 => Named::Unit(Unit::Kilogram),
        0x54 => Named::Unit(Unit::Carat),
        0x55 => Named::Tael,
        0x56 => Named::Unit(Unit::Grain),
        0x57 => Named::Unit(Unit::Pennyweight),
        0x58 | 0x59 => Named::Ton,
        0x5A => Named::Unit(Unit::TroyOunce),
        0x5B => Named::Unit(Unit::Ounce),
        0x5C => Named::Unit(Unit::Pound),
        _ => return None,
    })
}

/// The status that a usage of the page selects.
pub(super) fn status(usage: u16) -> Option<Status> {
    Some(match usage {
        0x71 => Status::Fault,
        0x72 => Status::StableAtZero,
        0x73 => Status::InMotion,
        0x74 => Status::Stable,
        0x75 => Status::UnderZero,
        0x76 => Status::OverLimit,
        0x77 => Status::RequiresCalibration,
        0x78 => Status::RequiresReZeroing,
        _ => return None,
    })
}

/// Whether a unit is one of the taels, which the page does not tell apart.
pub fn is_tael(unit: Unit) -> bool {
    matches!(
        unit,
        Unit::TaelHongKong | Unit::TaelHongKongGold | Unit::TaelTaiwan | Unit::TaelSingapore
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_usage_of_the_page_is_named_and_no_reserved_one() {
        let units = (0..=u16::MAX).filter(|usage| unit(*usage).is_some());
        assert_eq!(
            units.collect::<Vec<_>>(),
            (UNITS.0..=UNITS.1).collect::<Vec<_>>()
        );
        let statuses = (0..=u16::MAX).filter(|usage| status(*usage).is_some());
        assert_eq!(
            statuses.collect::<Vec<_>>(),
            (STATUSES.0..=STATUSES.1).collect::<Vec<_>>()
        );
    }

    #[test]
    fn taels_are_the_units_called_so() {
        for unit in Unit::all() {
            assert_eq!(is_tael(unit), unit.symbol().starts_with("tael"), "{unit}");
        }
    }
}
