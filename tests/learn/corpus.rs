//! Every shape of the corpus learned and read back.

use std::time::Duration;

use panbell::balance::learn::{Capture, Learnt, Phase, Told, UnitKnown, learn};
use panbell::balance::{FrameSpec, Layout, Piece, Splitter};
use panbell::mass::{Indication, Mass, Reading, Shown, Status, Unit};
use panbell::port::{Flow, Framing};
use panbell::settings::BalanceFile;
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::shapes::{Says, Shape, Show, all};

pub fn weight() -> Mass {
    "20 g".parse::<Indication>().unwrap().mass()
}

fn told() -> Told {
    Told {
        weight: Some(weight()),
        unit: None,
    }
}

/// What the display shows while a weight of 20 g is put on an empty pan and lifted again.
pub fn session(unit: Unit, decimals: u32) -> Vec<Show> {
    let full = panbell::mass::fixed(weight().grams() / unit.grams(), decimals);
    let step = Decimal::new(1, decimals);
    let part = |hundredths: i64| panbell::mass::fixed(full * Decimal::new(hundredths, 2), decimals);
    let mut out: Vec<(Decimal, bool)> = Vec::new();
    let zero = Decimal::new(0, decimals);
    let rest = |out: &mut Vec<(Decimal, bool)>, at: Decimal, count: usize| {
        for n in 0..count {
            let tremble = if n % 7 == 5 { -step } else { zero };
            out.push((at + tremble, false));
        }
    };
    rest(&mut out, zero, 14);
    for hundredths in [3, 17, 31, 48, 66, 81, 93, 99] {
        out.push((part(hundredths), true));
    }
    out.extend([(full, true); 3]);
    rest(&mut out, full, 20);
    for hundredths in [88, 64, 35, 11, 2] {
        out.push((part(hundredths), true));
    }
    out.extend([(zero, true); 2]);
    rest(&mut out, zero, 12);
    let show = |(n, (digits, moving))| Show { digits, moving, n };
    out.into_iter().enumerate().map(show).collect()
}

pub fn bytes(shape: &Shape) -> Vec<u8> {
    let shows = session(shape.unit, shape.decimals);
    shows.iter().flat_map(|show| (shape.write)(show)).collect()
}

fn learned(shape: &Shape, bytes: Vec<u8>) -> Learnt {
    let capture = Capture {
        bytes,
        ..Capture::default()
    };
    learn(&capture, &told()).unwrap_or_else(|trouble| panic!("{}: {trouble}", shape.name))
}

/// Reads bytes as the service does.
fn readings(layout: &mut Layout, frame: FrameSpec, bytes: &[u8]) -> Vec<Reading> {
    let mut out = Vec::new();
    let mut splitter = Splitter::at_line_start().framed(frame);
    splitter.push(bytes, |piece| {
        if let Piece::Line(line) = piece
            && let Ok(reading) = layout.read(line)
        {
            out.push(reading);
        }
    });
    out
}

/// Every display of a session comes out as it was shown.
fn reads_back(shape: &Shape, learnt: &Learnt, says: Says) {
    let mut layout = Layout::compile(&learnt.layout).unwrap();
    for show in session(shape.unit, shape.decimals) {
        let bytes = (shape.write)(&show);
        let found = readings(&mut layout, shape.frame, &bytes);
        let what = format!("{}: {} as {found:?} by {:?}", shape.name, bytes.escape_ascii(), learnt.layout);
        assert!(!found.is_empty(), "{what}");
        for reading in found {
            let digits = match reading.shown {
                Shown::Weighed(mass) => {
                    assert_eq!(mass.unit(), shape.unit, "{what}");
                    mass.digits()
                }
                Shown::UnitUnstated(digits) => {
                    assert!(!shape.unit_at_all || show.moving && !shape.unit_in_motion, "{what}");
                    digits
                }
                _ => panic!("{what}"),
            };
            assert_eq!((digits, digits.scale()), (show.digits, shape.decimals), "{what}");
            let want = match (says, show.moving) {
                (Says::Both | Says::Motion, true) => &[Status::InMotion][..],
                (Says::Both | Says::Rest, false) => &[Status::Stable, Status::StableAtZero],
                _ => &[Status::Unsaid],
            };
            assert!(want.contains(&reading.status), "{what}");
        }
    }
}

fn file(learnt: &Learnt) -> BalanceFile {
    BalanceFile {
        says: learnt.says.clone(),
        speed: 9600,
        framing: Framing::EIGHT_NONE_ONE,
        flow: Flow::None,
        dtr: None,
        frame: learnt.frame,
        layout: learnt.layout.clone(),
        ask: None,
    }
}

#[test]
fn every_shape_is_learned_and_read_back_without_a_miss() {
    let shapes = all();
    assert!(shapes.len() >= 30);
    each(&shapes, |shape| {
        let learnt = learned(shape, bytes(shape));
        assert_eq!(learnt.frame, shape.frame, "{}", shape.name);
        let what = format!("{}: {:#?} {:?}", shape.name, learnt.layout, learnt.unsettled);
        assert_eq!(learnt.unit, UnitKnown::Proven(shape.unit), "{what}");
        assert_eq!(learnt.missed().count(), 0, "{what} {:?}", learnt.missed().next());
        assert_eq!(learnt.odd().count(), 0, "{what} {:?}", learnt.odd().next());
        reads_back(shape, &learnt, shape.says);
        let text = file(&learnt).to_toml();
        assert_eq!(BalanceFile::parse("learned", &text).unwrap(), file(&learnt), "{text}");
    });
}

/// Checks every shape, so that a failure of one does not hide the others.
fn each(shapes: &[Shape], check: impl Fn(&Shape)) {
    let failed: Vec<&str> = shapes
        .iter()
        .filter(|shape| std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| check(shape))).is_err())
        .map(|shape| shape.name)
        .collect();
    assert!(failed.is_empty(), "{} of {}: {failed:#?}", failed.len(), shapes.len());
}
