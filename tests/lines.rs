//! What balances send, read back: every shipped balance file through frame and layout, as written
//! by the pretend balance of its name, whole, cut, damaged and as rubbish; balance files written
//! and read; and every shape through the real program.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "support/mod.rs"]
mod support;

#[path = "lines/files.rs"]
mod files;
#[path = "lines/real.rs"]
mod real;

use std::time::Duration;

use panbell::balance::{FrameSpec, Layout, NoReading, Piece, Splitter};
use panbell::mass::{Indication, Reading, Shown, Status, Unit};
use panbell::port::{SHAPES, Shape, Showing};
use panbell::settings::{BalanceFile, Folders, SHIPPED_BALANCES};
use proptest::prelude::*;

const DIGITS: [&str; 9] = [
    "0.00", "0.01", "-0.05", "12.345", "-3.10", "99.999", "24", "-1234.5", "12345.67",
];
/// Shapes of fixed places, where a lost byte cannot pass for another number.
const FIXED: [&str; 9] = [
    "signed-fixed",
    "value-only",
    "unit-at-rest",
    "zero-filled",
    "stx-check",
    "last-in-brackets",
    "headed-block",
    "pause-ended",
    "asked",
];

fn shipped(name: &str) -> BalanceFile {
    BalanceFile::find(name, &Folders::under(std::path::Path::new("/nowhere"))).unwrap()
}

/// What comes of bytes on the wire, handed over in chunks, with a pause at their end.
fn read(file: &BalanceFile, wire: &[u8], size: usize) -> Vec<Result<Reading, Option<NoReading>>> {
    let mut layout = Layout::compile(&file.layout).unwrap();
    let mut splitter = Splitter::at_line_start().framed(file.frame);
    let mut out = Vec::new();
    let mut take = |piece: Piece<'_>| {
        out.push(match piece {
            Piece::Line(line) => layout.read(line).map_err(Some),
            Piece::TooLong | Piece::Damaged => Err(None),
        });
    };
    for chunk in wire.chunks(size) {
        splitter.push(chunk, &mut take);
    }
    splitter.paused(&mut take);
    out
}

/// Every unit with digits that a balance can show in it, at rest and in motion.
fn showings() -> impl Iterator<Item = Showing> {
    Unit::all().flat_map(|unit| {
        DIGITS.into_iter().flat_map(move |digits| {
            let digits = digits.parse().unwrap();
            let is_weighable = Indication::new(digits, unit).is_some();
            let both = is_weighable.then_some([false, true]);
            both.into_iter().flatten().map(move |moving| Showing {
                digits,
                unit,
                moving,
            })
        })
    })
}

/// What a line of this shape can say of a display.
fn expected(name: &str, showing: &Showing) -> (Option<Unit>, Status) {
    let unit = match name {
        "value-only" => None,
        "unit-at-rest" if showing.moving => None,
        _ => Some(showing.unit),
    };
    let status = match (name, showing.moving) {
        ("signed-fixed" | "value-only" | "net-gross-tare" | "headed-block" | "pause-ended", _)
        | ("unit-at-rest", false) => Status::Unsaid,
        (_, true) => Status::InMotion,
        (_, false) => Status::Stable,
    };
    (unit, status)
}

#[test]
fn every_shape_is_read_back_through_its_file_however_it_is_cut() {
    assert_eq!(
        SHAPES.map(|(name, _)| name),
        SHIPPED_BALANCES.map(|(name, _)| name)
    );
    let mut lines = 0;
    for (name, shape) in SHAPES {
        let file = shipped(name);
        for showing in showings() {
            let wire = shape(&showing);
            let text = format!("{name}: {}", wire.escape_ascii());
            for size in [1, 3, wire.len()] {
                let found = read(&file, &wire, size);
                let odd = |it: &&Result<_, Option<NoReading>>| matches!(it, Err(why) if why.is_none_or(NoReading::is_odd));
                assert_eq!(found.iter().find(odd), None, "{text}");
                let readings: Vec<Reading> = found.into_iter().flatten().collect();
                let [reading] = readings.as_slice() else {
                    panic!("{text}: {readings:?}");
                };
                let (unit, status) = expected(name, &showing);
                let (digits, found) = match reading.shown {
                    Shown::Weighed(mass) => (mass.digits(), Some(mass.unit())),
                    Shown::UnitUnstated(digits) => (digits, None),
                    other => panic!("{text}: {other:?}"),
                };
                assert_eq!(digits.to_string(), showing.digits.to_string(), "{text}");
                assert_eq!((found, reading.status), (unit, status), "{text}");
                lines += 1;
            }
        }
    }
    assert_eq!(lines, SHAPES.len() * showings().count() * 3);
    assert!(showings().count() > 200);
}

#[test]
fn a_line_of_fixed_places_that_lost_a_byte_is_no_other_number() {
    let mut refused = 0;
    for (name, shape) in SHAPES.into_iter().filter(|(name, _)| FIXED.contains(name)) {
        let file = shipped(name);
        for showing in showings().filter(|showing| showing.unit == Unit::Gram) {
            let wire = shape(&showing);
            for lost in 0..wire.len() {
                let mut cut = wire.clone();
                cut.remove(lost);
                let readings = read(&file, &cut, cut.len());
                refused += u32::from(readings.iter().all(Result::is_err));
                for reading in readings.into_iter().flatten() {
                    let digits = match reading.shown {
                        Shown::Weighed(mass) => mass.digits(),
                        Shown::UnitUnstated(digits) | Shown::UnitUnknown(digits) => digits,
                        Shown::SignUnproven(_) | Shown::Nothing => continue,
                    };
                    assert_eq!(digits, showing.digits, "{name}: {}", cut.escape_ascii());
                }
            }
        }
    }
    assert!(refused > 1000, "{refused}");
}

#[test]
fn a_flipped_bit_in_a_checked_frame_is_found() {
    let file = shipped("stx-check");
    let shape: Shape = panbell::port::shape("stx-check").unwrap();
    let mut found = 0;
    for showing in showings().filter(|showing| showing.unit == Unit::Carat) {
        let good = shape(&showing);
        let mass = read(&file, &good, 64)[0];
        for at in 0..good.len() {
            for bit in 0..8 {
                let mut bad = good.clone();
                bad[at] ^= 1 << bit;
                // A good one behind it is always read.
                bad.extend_from_slice(&good);
                let all = read(&file, &bad, 64);
                assert_eq!(all.last(), Some(&mass), "{}", bad.escape_ascii());
                let others = all.iter().filter(|it| it.is_ok() && **it != mass);
                assert_eq!(others.count(), 0, "{}", bad.escape_ascii());
                found += usize::from(all.contains(&Err(None)));
            }
        }
    }
    assert!(found > 1000, "{found}");
}

#[test]
fn kinds_and_lines_without_a_mass_are_neither_readings_nor_odd() {
    let line = |name: &str, text: &str| {
        let mut layout = Layout::compile(&shipped(name).layout).unwrap();
        layout.read(text.as_bytes())
    };
    let (kind, none) = (Err(NoReading::OtherKind), Err(NoReading::NoMass));
    assert_eq!(line("net-gross-tare", "G +    12.34 g"), kind);
    assert_eq!(line("net-gross-tare", "T +    12.34 g"), kind);
    assert!(line("net-gross-tare", "N +    12.34 g").is_ok());
    assert_eq!(line("headed-block", "Date 25.11.2026 12:00"), none);
    assert_eq!(line("headed-block", "No 000123"), none);
    assert!(line("headed-block", "Total 12").is_err_and(NoReading::is_odd));
    let mut file = shipped("net-gross-tare");
    file.layout.takes = panbell::balance::Kind::Gross;
    let mut layout = Layout::compile(&file.layout).unwrap();
    assert!(layout.read(b"G +    12.34 g").is_ok());
    assert_eq!(layout.read(b"N +    12.34 g"), kind);
    file.layout.kinds.clear();
    let mut layout = Layout::compile(&file.layout).unwrap();
    assert_eq!(layout.read(b"G +    12.34 g"), Err(NoReading::OtherForm));
}

#[test]
fn zeros_that_a_line_leaves_out_are_put_back() {
    let mut file = shipped("status-first");
    file.layout.decimals = Some(3);
    let mut layout = Layout::compile(&file.layout).unwrap();
    for (text, want) in [
        ("   12", "12.000"),
        ("12.3", "12.300"),
        ("12.3456", "12.3456"),
    ] {
        let reading = layout.read(format!("stable {text:>7} g").as_bytes());
        let mass = reading.unwrap().indication().unwrap();
        assert_eq!(mass.digits().to_string(), want);
    }
}

/// Bytes that are likely to mean something.
fn bytes() -> impl Strategy<Value = Vec<u8>> {
    let likely =
        proptest::sample::select(b" +-.,'0123456789gctGTN=~?*[]RM;\r\n\x02\x03\0".to_vec());
    proptest::collection::vec(prop_oneof![4 => likely, 1 => any::<u8>()], 0..600)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_bytes_make_any_shipped_file_panic(bytes in bytes(), size in 1usize..100) {
        for (name, _) in SHIPPED_BALANCES {
            let found = read(&shipped(name), &bytes, size);
            prop_assert!(found.len() <= bytes.len() + 1);
        }
    }

    #[test]
    fn rubbish_before_a_framed_line_costs_at_most_that_line(bytes in bytes(), name in proptest::sample::select(SHAPES.to_vec())) {
        let (name, shape) = name;
        prop_assume!(name != "pause-ended");
        let showing = Showing { digits: "12.34".parse().unwrap(), unit: Unit::Gram, moving: false };
        let (file, line) = (shipped(name), shape(&showing));
        let mut wire = bytes;
        wire.extend_from_slice(&line);
        wire.extend_from_slice(&line);
        let all = read(&file, &wire, 50);
        let last = all.into_iter().rev().flatten().next();
        prop_assert_eq!(last, read(&file, &line, 50).into_iter().flatten().next());
    }
}

#[test]
fn a_pause_that_is_no_pause_is_refused() {
    let gap = |ms| FrameSpec {
        ends: panbell::balance::End::Gap(Duration::from_millis(ms)),
        ..FrameSpec::default()
    };
    assert!(gap(19).contradiction().is_some() && gap(20).contradiction().is_none());
}
