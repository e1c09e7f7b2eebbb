//! Every shape of the corpus learned and read back.

use std::time::Duration;

use panbell::balance::learn::{Capture, Learnt, Phase, Told, TopBit, UnitKnown, learn, marked};
use panbell::balance::{End, FrameSpec, Layout, Piece, Splitter};
use panbell::mass::{Indication, Mass, Reading, Shown, Status, Unit};
use panbell::port::{Flow, Framing};
use panbell::settings::BalanceFile;
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::shapes::{Says, Shape, Show, all};

fn weight() -> Mass {
    "20 g".parse::<Indication>().unwrap().mass()
}

fn told() -> Told {
    Told {
        weight: Some(weight()),
        unit: None,
    }
}

/// What the display shows while a weight of 20 g is put on an empty pan and lifted again.
fn session(unit: Unit, decimals: u32) -> Vec<Show> {
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

pub(crate) fn bytes(shape: &Shape) -> Vec<u8> {
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
        let what = format!(
            "{}: {} as {found:?} by {:?} {:?}",
            shape.name,
            bytes.escape_ascii(),
            learnt.layout,
            learnt.open
        );
        assert!(!found.is_empty(), "{what}");
        for reading in found {
            let digits = match reading.shown {
                Shown::Weighed(mass) => {
                    assert_eq!(mass.unit(), shape.unit, "{what}");
                    mass.digits()
                }
                Shown::UnitUnstated(digits) => {
                    assert!(
                        !shape.unit_at_all || show.moving && !shape.unit_in_motion,
                        "{what}"
                    );
                    digits
                }
                _ => panic!("{what}"),
            };
            assert_eq!(
                (digits, digits.scale()),
                (show.digits, shape.decimals),
                "{what}"
            );
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
        let what = format!(
            "{}: {:#?} {:?}",
            shape.name, learnt.layout, learnt.unsettled
        );
        assert_eq!(learnt.unit, UnitKnown::Proven(shape.unit), "{what}");
        assert_eq!(
            learnt.missed().count(),
            0,
            "{what} {:?}",
            learnt.missed().next()
        );
        assert_eq!(learnt.odd().count(), 0, "{what} {:?}", learnt.odd().next());
        reads_back(shape, &learnt, shape.says);
        let text = file(&learnt).to_toml();
        assert_eq!(
            BalanceFile::parse("learned", &text).unwrap(),
            file(&learnt),
            "{text}"
        );
    });
}

/// Checks every shape, so that a failure of one does not hide the others.
fn each(shapes: &[Shape], check: impl Fn(&Shape)) {
    let failed: Vec<&str> = shapes
        .iter()
        .filter(|shape| {
            std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| check(shape))).is_err()
        })
        .map(|shape| shape.name)
        .collect();
    assert!(
        failed.is_empty(),
        "{} of {}: {failed:#?}",
        failed.len(),
        shapes.len()
    );
}

/// The same lines come out of a damaged capture as out of a whole one.
fn from_damaged(shape: &Shape, bytes: Vec<u8>, says: Says) {
    let learnt = learned(shape, bytes);
    assert_eq!(learnt.frame, shape.frame, "{}", shape.name);
    assert_eq!(
        learnt.unit,
        UnitKnown::Proven(shape.unit),
        "{}: {:?}",
        shape.name,
        learnt.unsettled
    );
    reads_back(shape, &learnt, says);
}

#[test]
fn a_capture_that_begins_or_ends_within_a_line_teaches_the_same() {
    each(&all(), |shape| {
        let whole = bytes(shape);
        for (head, tail) in [(1, 1), (3, 4), (7, 2), (10, 9)] {
            from_damaged(shape, whole[head..whole.len() - tail].to_vec(), shape.says);
        }
    });
}

#[test]
fn a_noisy_capture_teaches_the_same() {
    each(&all(), |shape| {
        for seed in 1..=3_u32 {
            let mut state = seed.wrapping_mul(2_654_435_761);
            let mut random = || {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                state >> 8
            };
            // Three sessions, in which one byte in three hundred is another or is lost.
            let whole = bytes(shape).repeat(3);
            let noisy = whole.into_iter().filter_map(|byte| match random() % 600 {
                0 => Some(u8::try_from(random() % 256).unwrap()),
                1 => None,
                _ => Some(byte),
            });
            from_damaged(shape, noisy.collect(), shape.says);
        }
    });
}

#[test]
fn seven_bits_heard_as_eight_teach_the_same_and_the_framing() {
    for shape in all().iter().filter(|shape| shape.frame.check.is_none()) {
        for (odd, want) in [(0, TopBit::Even), (1, TopBit::Odd)] {
            let with_check = bytes(shape).into_iter().map(|byte| {
                let check = byte.count_ones() % 2 != odd;
                byte | u8::from(check) << 7
            });
            let learnt = learned(shape, with_check.collect());
            assert_eq!(learnt.top_bit, want, "{}", shape.name);
            reads_back(shape, &learnt, shape.says);
        }
    }
}

#[test]
fn lines_without_an_end_are_told_by_their_pauses_or_their_length() {
    let shows = session(Unit::Gram, 2);
    let line = |show: &Show| {
        format!(
            "{} {:>9} g",
            if show.moving { 'M' } else { 'R' },
            show.digits
        )
    };
    let mut capture = Capture::default();
    for show in &shows {
        if !capture.bytes.is_empty() {
            capture
                .pauses
                .push((capture.bytes.len(), Duration::from_millis(120)));
        }
        capture.bytes.extend(line(show).bytes());
    }
    for measured in [true, false] {
        if !measured {
            capture.pauses.clear();
        }
        let learnt = learn(&capture, &told()).unwrap();
        let gap = Duration::from_millis(if measured { 60 } else { 40 });
        assert_eq!(learnt.frame.ends, End::Gap(gap));
        assert_eq!(learnt.unit, UnitKnown::Proven(Unit::Gram));
        let supposed = learnt
            .unsettled
            .iter()
            .any(|text| text.contains("supposed: a log"));
        assert_eq!(supposed, !measured, "{:?}", learnt.unsettled);
        let mut layout = Layout::compile(&learnt.layout).unwrap();
        for show in &shows {
            let line = line(show);
            let reading = layout.read(line.as_bytes());
            let reading =
                reading.unwrap_or_else(|why| panic!("{why:?}: {line} by {:?}", learnt.layout));
            assert_eq!(reading.indication().unwrap().digits(), show.digits);
        }
    }
}

#[test]
fn a_print_key_gives_a_few_lines_and_they_are_enough() {
    for text in [
        "      0.00 g\r\n     20.00 g\r\n      0.00 g\r\n",
        "N  20.00 GR\r\nN   0.00 GR\r\n",
        "20.00 g\r\n0.00 g\r\n",
        "ID 7\r\n+   0.00 g\r\nID 7\r\n+  20.00 g\r\nID 7\r\n+   0.00 g\r\n",
    ] {
        // The port was opened before the first line, so the capture begins with a line end at most.
        let capture = Capture {
            bytes: format!("\r\n{text}").into_bytes(),
            ..Capture::default()
        };
        let learnt = learn(&capture, &told()).unwrap();
        assert_eq!(
            learnt.unit,
            UnitKnown::Proven(Unit::Gram),
            "{text}: {:?}",
            learnt.unsettled
        );
        assert_eq!(
            learnt.missed().count() + learnt.odd().count(),
            0,
            "{text}: {:#?}",
            learnt.lines
        );
    }
}

#[test]
fn what_was_asked_of_the_person_goes_before_what_the_values_seem_to_say() {
    // A heavy dish lies on the pan all the time, and is lifted with the weight in the end.
    let mut capture = Capture::default();
    for (phase, value, count) in [
        (Phase::Empty, "150.00", 8),
        (Phase::Between, "161.20", 2),
        (Phase::Loaded, "170.00", 8),
        (Phase::Between, "40.10", 2),
        (Phase::Lifted, "0.00", 8),
    ] {
        capture.phases.push((capture.bytes.len(), phase));
        for _ in 0..count {
            capture.bytes.extend(format!("{value:>9} gr\r\n").bytes());
        }
    }
    let learnt = learn(&capture, &told()).unwrap();
    assert_eq!(
        learnt.unit,
        UnitKnown::Proven(Unit::Gram),
        "{:?}",
        learnt.unsettled
    );
    capture.phases.clear();
    let learnt = learn(&capture, &told()).unwrap();
    assert_eq!(learnt.unit, UnitKnown::No, "nothing rose by the weight");
}

#[test]
fn a_unit_is_never_taken_against_the_check_weight_or_without_need() {
    let of = |symbol: &str, unit: Unit, decimals: u32| {
        let shows = session(unit, decimals);
        let lines = shows
            .iter()
            .map(|show| format!("{:>10} {symbol}\r\n", show.digits));
        Capture {
            bytes: lines.collect::<String>().into_bytes(),
            ..Capture::default()
        }
    };
    // The line says grams and the weight says carats.
    let learnt = learn(&of("g", Unit::Carat, 2), &told()).unwrap();
    let conflict = UnitKnown::Conflict {
        stated: Unit::Gram,
        shown: Unit::Carat,
    };
    assert_eq!(learnt.unit, conflict);
    assert!(
        learnt
            .layout
            .units
            .iter()
            .all(|(_, unit)| *unit != Unit::Gram),
        "{:?}",
        learnt.layout.units
    );
    // A tael of two places cannot be told from its sister by 20 g; the person may say which.
    let tael = of("tl", Unit::TaelHongKong, 4);
    let learnt = learn(&tael, &told()).unwrap();
    assert_eq!(learnt.unit, UnitKnown::No);
    assert!(learnt.layout.units.iter().all(|(symbol, _)| symbol != "tl"));
    let said = Told {
        unit: Some(Unit::TaelSingapore),
        ..told()
    };
    assert_eq!(
        learn(&tael, &said).unwrap().unit,
        UnitKnown::Proven(Unit::TaelSingapore)
    );
    let wrong = Told {
        unit: Some(Unit::Gram),
        ..told()
    };
    assert_eq!(
        learn(&tael, &wrong).unwrap().unit,
        UnitKnown::No,
        "against the weight"
    );
    // Without a weight, "gr" stays open and "g" is what the line states.
    let none = Told::default();
    assert_eq!(
        learn(&of("gr", Unit::Gram, 2), &none).unwrap().unit,
        UnitKnown::No
    );
    assert_eq!(
        learn(&of("g", Unit::Gram, 2), &none).unwrap().unit,
        UnitKnown::Stated(Unit::Gram)
    );
}

#[test]
fn a_unit_key_is_seen_by_what_was_learned() {
    // Learned in grams, the line is still understood when another unit shows, and is that unit or
    // an unknown one; never grams.
    each(&all(), |shape| {
        if shape.unit != Unit::Gram || !shape.unit_at_all || shape.frame.check.is_some() {
            return;
        }
        let learnt = learned(shape, bytes(shape));
        let mut layout = Layout::compile(&learnt.layout).unwrap();
        for symbol in ["ct", "kg", "zz"] {
            for show in session(Unit::Gram, 2) {
                let text = String::from_utf8((shape.write)(&show)).unwrap();
                let letter = |at: Option<&u8>| at.is_some_and(u8::is_ascii_alphabetic);
                let bytes = text.as_bytes();
                let parts = text.char_indices().map(|(at, c)| {
                    let alone = !letter(bytes.get(at + 1))
                        && !letter(at.checked_sub(1).and_then(|at| bytes.get(at)));
                    if c == 'g' && alone {
                        symbol.to_owned()
                    } else {
                        c.to_string()
                    }
                });
                let other: String = parts.collect();
                if other == text {
                    continue; // its gram has another symbol, or is missing while it moves
                }
                for reading in readings(&mut layout, shape.frame, other.as_bytes()) {
                    let grams = reading
                        .indication()
                        .is_some_and(|mass| mass.unit() == Unit::Gram);
                    assert!(!grams, "{}: {other}", shape.name);
                }
            }
        }
    });
}

#[test]
fn nothing_that_is_no_balance_gives_one() {
    for bytes in [&b""[..], b"\r\n\r\n", b"no number here\r\nnor here\r\n"] {
        let capture = Capture {
            bytes: bytes.to_vec(),
            ..Capture::default()
        };
        let trouble = learn(&capture, &told()).unwrap_err();
        assert!(trouble.code.starts_with("learn-"), "{trouble}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn no_bytes_panic_and_what_is_learned_can_be_used(
        bytes in proptest::collection::vec(any::<u8>(), 0..600),
        pauses in proptest::collection::vec((0usize..700, 0u64..500), 0..6),
        weighed in any::<bool>(),
    ) {
        usable(bytes, pauses, weighed)?;
    }

    #[test]
    fn nor_do_bytes_that_nearly_are_lines(
        lines in proptest::collection::vec("[ -~]{0,6}[+ -]{0,3}[0-9]{1,4}[.,' ]{0,2}[0-9]{0,4}[\\[\\(]?[0-9]?[\\]\\)]? ?[a-z?*;,]{0,3}\r?\n?[\x02\x03]?", 0..40),
        weighed in any::<bool>(),
    ) {
        usable(lines.concat().into_bytes(), Vec::new(), weighed)?;
    }

    #[test]
    fn nor_do_shuffled_pieces_of_real_captures(
        pick in 0usize..1000,
        cuts in proptest::collection::vec((0usize..4000, 0usize..60), 1..30),
    ) {
        let shapes = all();
        let whole = bytes(&shapes[pick % shapes.len()]);
        let mut pieces = Vec::new();
        for (from, count) in cuts {
            let from = from % whole.len();
            pieces.extend_from_slice(&whole[from..(from + count).min(whole.len())]);
        }
        usable(pieces, Vec::new(), true)?;
    }
}

/// Whatever was learned compiles, is written and read back, and its readings are the layout's.
fn usable(bytes: Vec<u8>, pauses: Vec<(usize, u64)>, weighed: bool) -> Result<(), TestCaseError> {
    let pauses = pauses
        .into_iter()
        .map(|(at, ms)| (at, Duration::from_millis(ms)));
    let capture = Capture {
        bytes,
        pauses: pauses.collect(),
        phases: Vec::new(),
    };
    let told = if weighed { told() } else { Told::default() };
    if let Ok(learnt) = learn(&capture, &told) {
        let file = file(&learnt);
        let text = file.to_toml();
        match BalanceFile::parse("learned", &text) {
            Ok(read) => prop_assert_eq!(read, file),
            Err(wrong) => return Err(TestCaseError::fail(format!("{wrong}\n{text}"))),
        }
        prop_assert_eq!(learnt.frame.contradiction(), None);
        for line in &learnt.lines {
            let (above, below) = marked(line);
            prop_assert!(below.len() <= above.len());
        }
    }
    Ok(())
}

/// What the pretend balances speak is learned without looking at the balance files that belong to
/// them, and both read every line alike.
#[test]
fn the_shipped_shapes_are_learned_from_their_lines() {
    let folders = panbell::settings::Folders::under(std::path::Path::new("/nowhere"));
    let mut failed = Vec::new();
    for (name, write) in panbell::port::SHAPES {
        let lines: Vec<Vec<u8>> = session(Unit::Gram, 2)
            .into_iter()
            .map(|show| {
                write(&panbell::port::Showing {
                    digits: show.digits,
                    unit: Unit::Gram,
                    moving: show.moving,
                })
            })
            .collect();
        let shipped = BalanceFile::find(name, &folders).unwrap();
        if matches!(shipped.frame.ends, End::Gap(_)) {
            continue; // its pauses are not in a capture without moments
        }
        let capture = Capture {
            bytes: lines.concat(),
            ..Capture::default()
        };
        let learnt = learn(&capture, &told()).unwrap();
        let mut own = Layout::compile(&learnt.layout).unwrap();
        let mut known = Layout::compile(&shipped.layout).unwrap();
        for line in &lines {
            let digits = |layout: &mut Layout, frame| -> Vec<Shown> {
                let found = readings(layout, frame, line).into_iter();
                found.map(|reading| reading.shown).collect()
            };
            let (one, other) = (
                digits(&mut own, learnt.frame),
                digits(&mut known, shipped.frame),
            );
            if one != other {
                failed.push(format!(
                    "{name}: {} is {one:?}, not {other:?}, by {:?}",
                    line.escape_ascii(),
                    learnt.layout
                ));
                break;
            }
        }
    }
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}
