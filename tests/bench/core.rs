//! What one line costs inside: cut, read by its layout, judged while metal is added.
//!
//! Baseline: the loop that a person would write, words of the line to the first that is a number.

use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

use panbell::balance::{Layout, Piece, Splitter};
use panbell::job::{BenchRules, Event, State, step};
use panbell::mass::{Moment, Unit};
use panbell::port::{SHAPES, Shape, Showing};
use panbell::settings::{BalanceFile, Folders, Settings};
use rust_decimal::Decimal;

use crate::table::{self, Sample};

/// Lines in a batch, and batches of each; the two ways take turns.
const LINES: usize = 500;
const BATCHES: usize = 300;
/// What a balance sends ten of in a second.
const EVERY: Duration = Duration::from_millis(100);

pub(crate) fn measure() {
    let home = tempfile::tempdir().unwrap();
    let folders = Folders::under(home.path());
    std::fs::write(&folders.settings, crate::service::settings("/dev/null")).unwrap();
    let rules = Arc::clone(&Settings::read(&folders).unwrap().benches[0].rules);

    let mut rows = Vec::new();
    for (name, shape) in SHAPES {
        let file = BalanceFile::find(name, &folders).unwrap();
        for (hand, lines) in [
            ("pouring", pouring(shape)),
            ("at rest", vec![line(shape, 160, false)]),
        ] {
            let lines: Vec<Vec<u8>> = lines.into_iter().cycle().take(LINES).collect();
            rows.push(row(name, hand, &file, &rules, &lines));
        }
    }
    table::print(
        &format!(
            "one line: cut, read and judged with an addition under way (ns a line, {BATCHES} batches of {LINES}; wanted under 2000)"
        ),
        &[
            "layout",
            "panbell",
            "p99",
            "of it read",
            "words and f64",
            "p99",
            "ratio",
        ],
        &rows,
    );
}

/// Metal going up in small steps, so that the pan is never at rest.
fn pouring(shape: Shape) -> Vec<Vec<u8>> {
    (0..50)
        .map(|at| line(shape, 200 + at * 7, at % 2 == 0))
        .collect()
}

fn line(shape: Shape, hundredths: i64, moving: bool) -> Vec<u8> {
    shape(&Showing {
        digits: Decimal::new(hundredths, 2),
        unit: Unit::Gram,
        moving,
    })
}

fn row(
    name: &str,
    hand: &str,
    file: &BalanceFile,
    rules: &Arc<BenchRules>,
    lines: &[Vec<u8>],
) -> Vec<String> {
    let mut layout = Layout::compile(&file.layout).unwrap();
    let mut state = Some(State::new(Arc::clone(rules), Some(crate::job::replayed())));
    let mut splitter = Splitter::at_line_start().framed(file.frame);
    let (mut now, mut heard) = (Duration::ZERO, 0);
    let (mut whole, mut reading, mut plain) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..BATCHES {
        let began = Instant::now();
        for line in lines {
            now += EVERY;
            let mut judge = |piece: Piece<'_>| {
                let Piece::Line(raw) = piece else {
                    panic!("no line")
                };
                // Of several lines of a weighing, one carries the mass.
                let Ok(reading) = layout.read(raw) else {
                    return;
                };
                let event = Event::Line { reading, raw };
                let (after, effects) =
                    step(state.take().unwrap(), event, Moment::after_origin(now));
                black_box(&effects);
                state = Some(after);
                heard += 1;
            };
            splitter.push(line, &mut judge);
            splitter.paused(&mut judge);
        }
        whole.push(per_line(began));
        let began = Instant::now();
        for line in lines {
            let mut read = |piece: Piece<'_>| {
                if let Piece::Line(raw) = piece {
                    let _either = black_box(layout.read(raw));
                }
            };
            splitter.push(line, &mut read);
            splitter.paused(&mut read);
        }
        reading.push(per_line(began));
        let began = Instant::now();
        for line in lines {
            black_box(by_words(black_box(line)).expect("a number"));
        }
        plain.push(per_line(began));
    }
    let state = state.unwrap();
    assert_eq!(heard, BATCHES * LINES, "a weighing was not read");
    // A mass without its unit is shown and not judged.
    let is_proven = !matches!(name, "value-only" | "unit-at-rest");
    assert!(
        state.tracked().is_some() == is_proven && state.adding().is_some() && !state.is_writing(),
        "the addition is not judged any more"
    );
    let (whole, reading, plain) = (Sample::of(whole), Sample::of(reading), Sample::of(plain));
    vec![
        format!("{name}, {hand}"),
        format!("{:.0}", whole.median()),
        format!("{:.0}", whole.p99()),
        format!("{:.0}", reading.median()),
        format!("{:.0}", plain.median()),
        format!("{:.0}", plain.p99()),
        format!("{:.1} x", whole.median() / plain.median()),
    ]
}

fn per_line(began: Instant) -> f64 {
    began.elapsed().as_secs_f64() * 1e9 / LINES as f64
}

/// The first word of a line that is a number.
fn by_words(line: &[u8]) -> Option<f64> {
    let text = std::str::from_utf8(line).ok()?;
    if text.contains(';') {
        let mut fields = text.split(';');
        return fields.find_map(|field| field.replace(',', ".").parse().ok());
    }
    let mut words = text.split_whitespace();
    let plain = words.find_map(|word| word.parse().ok());
    plain.or_else(|| {
        let bare = text.replace(['[', ']', '\''], "").replace(',', ".");
        bare.split_whitespace().find_map(|word| word.parse().ok())
    })
}
