//! Thousands of invented shapes: what is learned is right in every line, or said not to be settled.

use std::collections::BTreeMap;

use panbell::balance::learn::{self as teach, Capture, Learnt, Told};
use panbell::balance::{FrameSpec, Layout, LayoutSpec, Piece, Splitter};
use panbell::mass::{Indication, Shown, Status, Unit};
use panbell::settings::BalanceFile;
use rust_decimal::Decimal;

use super::grammar::{Random, Sent, Shape, Show};
use super::sessions::{self, Kind, Phase};
use super::support::home::Home;
use super::support::service::{plain, run};

/// What came of one session.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Came {
    /// Saved with exit 0, and every line of a fresh session is read right.
    Learned,
    /// Saved with exit 0, and some lines of a fresh session are not read.
    Gaps(String),
    /// It was said what is not settled, or nothing was saved.
    Declined(String),
    /// Saved with exit 0, and a line means something else.
    Wrong(String),
}

fn is_settled(learnt: &Learnt) -> bool {
    learnt.is_settled()
}

/// Every line of a session as sent.
pub(crate) fn sent(shape: &Shape, shows: &[Show]) -> Vec<Sent> {
    let lines = shows.iter().enumerate();
    lines.flat_map(|(n, show)| shape.sent(show, n)).collect()
}

/// A capture of a session.
pub(crate) fn capture(shape: &Shape, kind: Kind, r: &mut Random) -> Capture {
    let shows = sessions::session(shape, kind, r);
    let mut out = Capture::default();
    let mut before = None;
    for (n, (show, phase)) in shows.iter().enumerate() {
        if kind == Kind::Port && before != Some(*phase) {
            before = Some(*phase);
            let phase = match phase {
                Phase::Empty => teach::Phase::Empty,
                Phase::Loaded => teach::Phase::Loaded,
                Phase::Lifted => teach::Phase::Lifted,
                Phase::Below => teach::Phase::Below,
                Phase::Between => teach::Phase::Between,
            };
            out.phases.push((out.bytes.len(), phase));
        }
        for line in shape.sent(show, n) {
            out.bytes.extend(line.bytes);
        }
    }
    if kind == Kind::Noisy {
        let bytes = std::mem::take(&mut out.bytes);
        for byte in bytes {
            match r.below(500) {
                0 => out.bytes.push(u8::try_from(r.below(256)).unwrap()),
                1 => {}
                _ => out.bytes.push(byte),
            }
        }
    }
    out
}

fn told() -> Told {
    Told {
        weight: Some("20 g".parse::<Indication>().unwrap().mass()),
        unit: None,
    }
}

/// Learns one session of a shape and judges it.
pub(crate) fn judge(shape: &Shape, kind: Kind, r: &mut Random) -> Came {
    let capture = capture(shape, kind, r);
    let learnt = match teach::learn(&capture, &told()) {
        Ok(learnt) => learnt,
        Err(trouble) => return Came::Declined(trouble.code.to_owned()),
    };
    if !is_settled(&learnt) {
        return Came::Declined(why(&learnt));
    }
    let unit = learnt.unit.unit();
    judge_layout(shape, kind, (&learnt.layout, learnt.frame, unit), r)
}

/// Reads a session of the same kind and a fresh one with what was learned.
fn judge_layout(
    shape: &Shape,
    kind: Kind,
    (spec, frame, unit): (&LayoutSpec, FrameSpec, Option<Unit>),
    r: &mut Random,
) -> Came {
    let mut layout = Layout::compile(spec).unwrap();
    let mut gaps = Vec::new();
    let mut shows: Vec<Show> = sessions::session(shape, kind, r)
        .into_iter()
        .map(|one| one.0)
        .collect();
    shows.extend(sessions::fresh(shape, r));
    for line in sent(shape, &shows) {
        let mut reading = None;
        let mut splitter = Splitter::at_line_start().framed(frame);
        splitter.push(&line.bytes, |piece| {
            if let Piece::Line(line) = piece {
                reading = layout.read(line).ok();
            }
        });
        let text = format!(
            "{} is {reading:?}, means {:?}; by {:?}",
            line.bytes.escape_ascii(),
            line.means,
            spec
        );
        let Some(reading) = reading else {
            if line.means.is_some() {
                gaps.push(text);
            }
            continue;
        };
        let digits = match reading.shown {
            Shown::Nothing => {
                if line.means.is_some() {
                    gaps.push(text);
                }
                continue;
            }
            Shown::Weighed(mass) => {
                if let Some(means) = line.means
                    && means.unit != mass.unit()
                {
                    return Came::Wrong(format!("unit: {text}"));
                }
                mass.digits()
            }
            Shown::UnitUnstated(digits) | Shown::UnitUnknown(digits) => digits,
            Shown::SignUnproven(_) => {
                gaps.push(text);
                continue;
            }
        };
        let Some(means) = line.means else {
            return Came::Wrong(format!("no mass: {text}"));
        };
        // A count has no unit of its own: that it is the same mass is enough.
        let same_mass = spec.factor.is_some()
            && unit.is_some_and(|unit| digits * unit.grams() == means.value * means.unit.grams());
        if same_mass {
            continue;
        }
        if digits != means.value {
            let what = if digits == -means.value {
                "sign"
            } else {
                "value"
            };
            return Came::Wrong(format!("{what}: {text}"));
        }
        if digits.scale() != shape.decimals && digits != Decimal::ZERO {
            gaps.push(text);
        } else if means.moving && matches!(reading.status, Status::Stable | Status::StableAtZero) {
            return Came::Wrong(format!("motion: {text}"));
        }
    }
    match gaps.first() {
        Some(gap) => Came::Gaps(format!("{} of: {gap}", gaps.len())),
        None => Came::Learned,
    }
}

fn why(learnt: &Learnt) -> String {
    format!(
        "unit {:?} {:?}, missed {} {:?} by {:?}; {:?}",
        learnt.unit,
        learnt.levels,
        learnt.missed().count(),
        learnt.open,
        learnt.layout,
        learnt
            .missed()
            .next()
            .map(|line| (line.bytes.escape_ascii().to_string(), line.read))
    )
}

/// Figures over a range of seeds: how many came to what.
fn figures(seeds: std::ops::Range<u64>) -> (BTreeMap<(Kind, &'static str), usize>, Vec<String>) {
    let mut counts = BTreeMap::new();
    let mut told = Vec::new();
    for seed in seeds {
        let shape = Shape::random(seed);
        for kind in sessions::KINDS {
            let mut r = Random(seed.wrapping_mul(31).wrapping_add(kind as u64));
            let came = judge(&shape, kind, &mut r);
            let (word, text) = match &came {
                Came::Learned => ("learned", None),
                Came::Gaps(text) => ("gaps", Some(text)),
                Came::Declined(text) => ("declined", Some(text)),
                Came::Wrong(text) => ("wrong", Some(text)),
            };
            *counts.entry((kind, word)).or_default() += 1;
            if let Some(text) = text {
                told.push(format!("{word} {seed} {kind:?} {:?} {text}", shape.sign));
            }
        }
    }
    (counts, told)
}

#[test]
fn what_is_learned_of_an_invented_shape_is_right_or_said_not_to_be_settled() {
    let count: u64 = std::env::var("SHAPES").map_or(70, |text| text.parse().unwrap());
    let from: u64 = std::env::var("FROM").map_or(1, |text| text.parse().unwrap());
    let (counts, told) = figures(from..from + count);
    if let Ok(path) = std::env::var("TOLD") {
        std::fs::write(path, told.join("\n")).unwrap();
    }
    println!("{counts:#?}");
    let wrong: Vec<&String> = told
        .iter()
        .filter(|text| text.starts_with("wrong"))
        .collect();
    assert!(
        wrong.is_empty(),
        "{} wrong: {:#?}",
        wrong.len(),
        &wrong[..wrong.len().min(5)]
    );
}

#[test]
fn the_program_saves_with_exit_0_only_what_is_right() {
    let (mut saved, mut held) = (0, 0);
    for seed in 1..=14 {
        let shape = Shape::random(seed);
        for kind in [Kind::Plain, Kind::Tared, Kind::UnitKey, Kind::Noisy] {
            let home = Home::new();
            let mut r = Random(seed.wrapping_mul(77).wrapping_add(kind as u64));
            let log = home.path().join("captured.log");
            std::fs::write(&log, capture(&shape, kind, &mut r).bytes).unwrap();
            let log = log.to_str().unwrap();
            let words = ["learn", "--from", log, "--weight", "20 g", "--save", "own"];
            let said = run(plain(home.path()).args(words));
            let what = format!("{seed} {kind:?} {shape:?}\n{}{}", said.out, said.err);
            if said.code != 0 {
                // What is missing is said, and what to do.
                assert!(said.code == 3 || !said.err.is_empty(), "{what}");
                held += 1;
                continue;
            }
            saved += 1;
            let text = std::fs::read_to_string(home.path().join("balances/own.toml")).unwrap();
            let file = BalanceFile::parse("own", &text).unwrap();
            let unit = file.layout.factor.map(|_| Unit::Gram);
            let came = judge_layout(&shape, kind, (&file.layout, file.frame, unit), &mut r);
            assert!(!matches!(came, Came::Wrong(_)), "{came:?}\n{what}");
        }
    }
    println!("{saved} saved with exit 0, {held} not");
    assert!(saved >= 14, "{saved}");
}

/// For looking at one shape: `SEED=12 KIND=5 cargo test --test learn one_shape -- --nocapture`.
#[test]
fn one_shape() {
    let Ok(seed) = std::env::var("SEED") else {
        return;
    };
    let seed: u64 = seed.parse().unwrap();
    let kind = std::env::var("KIND").map_or(1, |text| text.parse::<usize>().unwrap());
    let shape = Shape::random(seed);
    let mut r = Random(seed.wrapping_mul(31).wrapping_add(kind as u64));
    let capture = capture(&shape, sessions::KINDS[kind], &mut r);
    println!(
        "{shape:?}\n{}",
        String::from_utf8_lossy(&capture.bytes).replace('\r', "\n")
    );
    let mut r = Random(seed.wrapping_mul(31).wrapping_add(kind as u64));
    println!("{:#?}", judge(&shape, sessions::KINDS[kind], &mut r));
}
