//! The figures of reports that were published, and those that follow from the standard (USB-IF,
//! "HID Point of Sale Usage Tables" 1.02), with a report number and without.

use panbell::balance::hid::{OddReport, ScaleLayout};
use panbell::mass::{Reading, Shown, Status, Unit};

use crate::maker::{USUAL, scale};

/// Reads a report by a scale without report numbers, and must read the same by one with.
fn read(report: [u8; 5], tael: Option<Unit>) -> Result<Reading, OddReport> {
    let bare = ScaleLayout::of(&scale(None, &USUAL)).unwrap();
    let numbered = ScaleLayout::of(&scale(Some(3), &USUAL)).unwrap();
    assert_eq!((bare.longest_report(), numbered.longest_report()), (5, 6));
    let one = bare.read(&report, tael).map(Option::unwrap);
    let with = |id: u8| [&[id][..], &report].concat();
    let other = numbered.read(&with(3), tael).map(Option::unwrap);
    assert_eq!(one, other);
    assert_eq!(numbered.read(&with(4), tael), Ok(None), "another report");
    one
}

fn told(report: [u8; 5]) -> String {
    let reading = read(report, None).unwrap();
    let mass = reading.indication().unwrap();
    format!("{}: {mass}", reading.status.word())
}

#[test]
fn reports_give_their_digits_exactly() {
    assert_eq!(told([4, 0x02, 0x00, 0x14, 0x00]), "stable: 20 g");
    assert_eq!(told([4, 0x0B, 0xFF, 0x34, 0x19]), "stable: 645.2 oz");
    assert_eq!(told([2, 2, 0xFD, 0, 0]), "stable at zero: 0.000 g");
    assert_eq!(told([3, 2, 0xFD, 0x39, 0x30]), "in motion: 12.345 g");
    assert_eq!(told([4, 0x0A, 0xFC, 0x10, 0x27]), "stable: 1.0000 ozt");
    assert_eq!(told([4, 1, 1, 0x0A, 0]), "stable: 100 mg");
    assert_eq!(told([4, 2, 0xFD, 0xFF, 0xFF]), "stable: 65.535 g");
    let ounce = read([4, 0x0A, 0xFC, 0x10, 0x27], None).unwrap();
    let grams = |reading: Reading| reading.indication().unwrap().mass();
    let same = |text: &str| text.parse::<panbell::mass::Indication>().unwrap().mass();
    // The troy ounce has seven decimals in grams (UK S.I. 1994/2867).
    assert_eq!(grams(ounce), same("31.1034768 g"));
    assert_eq!(
        grams(read([4, 1, 1, 0x0A, 0], None).unwrap()),
        same("0.100 g")
    );
}

#[test]
fn every_unit_of_the_standard_is_itself() {
    let units = [
        "mg", "g", "kg", "ct", "", "grain", "dwt", "", "", "ozt", "oz", "lb",
    ];
    for (index, symbol) in (1..).zip(units) {
        let shown = read([4, index, 0, 7, 0], None).unwrap().shown;
        match shown {
            Shown::Weighed(mass) => assert_eq!(mass.unit().symbol(), symbol, "{index}"),
            Shown::UnitUnknown(_) => assert_eq!(symbol, "", "{index}"),
            other => panic!("{index}: {other:?}"),
        }
    }
}

#[test]
fn every_status_of_the_standard_is_itself() {
    let statuses = [
        Status::Fault,
        Status::StableAtZero,
        Status::InMotion,
        Status::Stable,
        Status::UnderZero,
        Status::OverLimit,
        Status::RequiresCalibration,
        Status::RequiresReZeroing,
    ];
    for (index, status) in (1..).zip(statuses) {
        let reading = read([index, 2, 0xFE, 0x7B, 0], None).unwrap();
        assert_eq!(reading.status, status);
        let mass = reading.indication().map(|mass| mass.to_string());
        let wanted = match status {
            Status::OverLimit | Status::Fault => None,
            Status::UnderZero => Some("-1.23 g"),
            _ => Some("1.23 g"),
        };
        assert_eq!(mass.as_deref(), wanted, "{status:?}");
    }
    assert_eq!(
        read([6, 2, 0xFD, 0xFF, 0xFF], None).unwrap().shown,
        Shown::Nothing,
        "over its limit: no usable weight"
    );
}

#[test]
fn what_is_reserved_gives_no_mass() {
    for unit in [13, 14, 255] {
        let shown = read([4, unit, 0, 1, 0], None).unwrap().shown;
        assert!(
            matches!(shown, Shown::UnitUnstated(_) | Shown::UnitUnknown(_)),
            "{unit}: {shown:?}"
        );
    }
    assert!(matches!(
        read([4, 0, 0, 1, 0], None).unwrap().shown,
        Shown::UnitUnstated(_)
    ));
    for status in [0, 9, 0x10, 0x11, 255] {
        assert_eq!(read([status, 2, 0, 1, 0], None), Err(OddReport::OddStatus));
    }
    for scaling in [8_i8, 13, 127, -8, -127] {
        let report = [4, 2, scaling.to_le_bytes()[0], 0x10, 0x27];
        assert_eq!(read(report, None), Err(OddReport::OddNumber), "{scaling}");
    }
    let reading = read([4, 2, 0x80, 1, 0], None).unwrap();
    assert_eq!(
        reading.shown,
        Shown::Nothing,
        "-128 is outside of its range"
    );
}

#[test]
fn a_tael_is_no_mass_until_it_is_said_whose() {
    let report = [4, 5, 0xFD, 0x10, 0x27];
    assert!(matches!(
        read(report, None).unwrap().shown,
        Shown::UnitUnknown(_)
    ));
    for unit in [Unit::TaelHongKong, Unit::TaelTaiwan] {
        let mass = read(report, Some(unit)).unwrap().indication().unwrap();
        assert_eq!(mass.to_string(), format!("10.000 {unit}"));
    }
}

#[test]
fn a_report_that_is_cut_short_is_none() {
    let numbered = ScaleLayout::of(&scale(Some(3), &USUAL)).unwrap();
    let whole = [3, 4, 2, 0xFD, 1, 0];
    for length in 0..whole.len() {
        assert_eq!(
            numbered.read(&whole[..length], None),
            Err(OddReport::Short),
            "{length}"
        );
    }
    assert!(numbered.read(&whole, None).unwrap().is_some());
    let longer = [3, 4, 2, 0xFD, 1, 0, 9, 9];
    assert_eq!(numbered.read(&longer, None), numbered.read(&whole, None));
}
