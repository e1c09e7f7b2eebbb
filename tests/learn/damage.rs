//! A character lost, doubled or changed on the wire: what was learned with counted places does not
//! read it as another mass.

use panbell::balance::learn::{Capture, Learnt, Told, learn};
use panbell::balance::{FrameSpec, Layout, Piece, Splitter};
use panbell::mass::{Indication, Reading, Shown, Status};
use rust_decimal::Decimal;

use super::grammar::{Random, Shape};
use super::sessions::Kind;
use super::{corpus, invented, shapes};

/// Damaged lines that were read as another mass at rest, of how many: lost, doubled, one bit of a
/// character, and a digit made another by one bit.
#[derive(Debug, Default, Clone, Copy)]
struct Tally {
    forms: usize,
    /// Of the lost, the minus itself.
    minus: (usize, usize),
    lost: (usize, usize),
    doubled: (usize, usize),
    changed: (usize, usize),
    digits: (usize, usize),
}

fn read(layout: &mut Layout, frame: FrameSpec, bytes: &[u8]) -> Vec<Reading> {
    let mut out = Vec::new();
    let mut splitter = Splitter::at_line_start().framed(frame);
    splitter.push(bytes, |piece| {
        if let Piece::Line(line) = piece {
            out.extend(layout.read(line).ok());
        }
    });
    out
}

/// The other mass that a damaged line is taken for: in the same unit, and not in motion.
fn other(good: &Reading, read: &[Reading]) -> Option<(Decimal, Decimal)> {
    read.iter().find_map(|reading| {
        let weighs = matches!(
            reading.status,
            Status::Unsaid | Status::Stable | Status::StableAtZero
        );
        let pair = match (good.shown, reading.shown) {
            (Shown::Weighed(one), Shown::Weighed(other)) if one.unit() == other.unit() => {
                (one.digits(), other.digits())
            }
            (Shown::UnitUnstated(one), Shown::UnitUnstated(other)) => (one, other),
            _ => return None,
        };
        (weighs && pair.0 != pair.1).then_some(pair)
    })
}

/// Damages every captured line that is read at rest, at every byte; gives an example of each sort.
fn damage(learnt: &Learnt, tally: &mut Tally, examples: &mut Vec<String>) {
    let mut layout = Layout::compile(&learnt.layout).unwrap();
    tally.forms += 1;
    let mut lines: Vec<&Vec<u8>> = learnt.lines.iter().map(|line| &line.bytes).collect();
    lines.sort();
    lines.dedup();
    for line in lines {
        let Ok(good) = layout.read(line) else {
            continue;
        };
        if good.status == Status::InMotion {
            continue;
        }
        let mut try_one = |damaged: Vec<u8>, what: &str| {
            let found = read(&mut layout, learnt.frame, &learnt.frame.wrap(&damaged));
            let other = other(&good, &found).filter(|_| learnt.frame.check.is_none());
            // A minus that is a character more than a plus has no place to be missed at.
            let minus = what == "lost" && other.is_some_and(|(was, is)| was == -is);
            let count = match what {
                "lost" if minus => &mut tally.minus,
                "lost" => &mut tally.lost,
                "doubled" => &mut tally.doubled,
                "changed" => &mut tally.changed,
                _ => &mut tally.digits,
            };
            count.1 += 1;
            count.0 += usize::from(other.is_some());
            if other.is_some() && !minus && what != "a digit" && examples.len() < 12 {
                examples.push(format!(
                    "{what} {} as {found:?} by {}",
                    damaged.escape_ascii(),
                    learnt.layout.line
                ));
            }
        };
        for at in 0..line.len() {
            let mut lost = line.clone();
            lost.remove(at);
            try_one(lost, "lost");
            let mut doubled = line.clone();
            doubled.insert(at, line[at]);
            try_one(doubled, "doubled");
            for bit in 0..8 {
                let mut changed = line.clone();
                changed[at] ^= 1 << bit;
                // A digit that became another one is told by nothing but a check.
                let digits = [line[at], changed[at]].iter().all(u8::is_ascii_hexdigit);
                if digits {
                    try_one(changed, "a digit");
                } else {
                    try_one(changed, "changed");
                }
            }
        }
    }
}

fn learned(bytes: Vec<u8>) -> Option<Learnt> {
    let capture = Capture {
        bytes,
        ..Capture::default()
    };
    let told = Told {
        weight: Some("20 g".parse::<Indication>().unwrap().mass()),
        unit: None,
    };
    learn(&capture, &told).ok().filter(Learnt::is_settled)
}

#[test]
fn a_character_lost_or_doubled_is_noticed_wherever_places_are_counted() {
    let (mut counted, mut free) = (Tally::default(), Tally::default());
    let mut examples = Vec::new();
    let mut of_free = Vec::new();
    let mut take = |learnt: &Learnt| {
        if learnt.counted {
            damage(learnt, &mut counted, &mut examples);
        } else {
            damage(learnt, &mut free, &mut of_free);
        }
    };
    for shape in shapes::all() {
        if let Some(learnt) = learned(corpus::bytes(&shape)) {
            take(&learnt);
        }
    }
    let shapes: u64 = std::env::var("SHAPES").map_or(60, |text| text.parse().unwrap());
    for seed in 1..=shapes {
        let shape = Shape::random(seed);
        let capture = invented::capture(&shape, Kind::Tared, &mut Random(seed));
        if let Some(learnt) = learned(capture.bytes) {
            take(&learnt);
        }
    }
    println!("counted {counted:?}\nfree {free:?}\n{of_free:#?}");
    assert!(counted.forms > 20, "{counted:?}");
    assert_eq!((counted.lost.0, counted.doubled.0), (0, 0), "{examples:#?}");
}
