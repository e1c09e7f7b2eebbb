//! What the shapes of the grammar show in a session: an empty pan, a weight of 20 g, and what follows.
#![allow(unreachable_pub)]

use panbell::mass::Unit;
use rust_decimal::Decimal;

use super::grammar::{Random, Shape, Show};

/// What is shown in a session of one kind: with an empty pan, a weight of 20 g, and what follows.
pub fn session(shape: &Shape, kind: Kind, r: &mut Random) -> Vec<(Show, Phase)> {
    let full = panbell::mass::fixed(Decimal::from(20) / shape.unit.grams(), shape.decimals);
    let part =
        |hundredths: i64| panbell::mass::fixed(full * Decimal::new(hundredths, 2), shape.decimals);
    let zero = Decimal::new(0, shape.decimals);
    let trembles = r.one_in(2);
    let mut out: Vec<(Show, Phase)> = Vec::new();
    let show = |value, moving| Show {
        value,
        tare: zero,
        unit: shape.unit,
        moving,
    };
    let rest = |out: &mut Vec<(Show, Phase)>, at: Decimal, count: usize, phase| {
        for n in 0..count {
            let tremble = match n % 7 {
                5 if trembles => -shape.step(),
                3 if trembles => shape.step(),
                _ => zero,
            };
            out.push((show(at + tremble, false), phase));
        }
    };
    let go = |out: &mut Vec<(Show, Phase)>, from: Decimal, steps: &[i64]| {
        for step in steps {
            out.push((show(from + part(*step), true), Phase::Between));
        }
    };
    let few = kind == Kind::Print;
    let long = if few { 1 } else { 12 + r.below(8) };
    let up: &[i64] = if few {
        &[]
    } else {
        &[3, 17, 31, 48, 66, 81, 93, 99]
    };
    let down: &[i64] = if few { &[] } else { &[88, 64, 35, 11, 2] };
    rest(&mut out, zero, long, Phase::Empty);
    go(&mut out, zero, up);
    rest(&mut out, full, long + 3, Phase::Loaded);
    if kind == Kind::Plain || few && r.one_in(2) {
        go(&mut out, zero, down);
        rest(&mut out, zero, long, Phase::Lifted);
        return out;
    }
    if kind == Kind::UnitKey {
        let other = if shape.unit == Unit::Gram {
            Unit::Carat
        } else {
            Unit::Gram
        };
        let shown = panbell::mass::fixed(Decimal::from(20) / other.grams(), shape.decimals);
        for _ in 0..9 {
            out.push((
                Show {
                    value: shown,
                    tare: zero,
                    unit: other,
                    moving: false,
                },
                Phase::Between,
            ));
        }
        rest(&mut out, full, 5, Phase::Loaded);
    }
    if kind == Kind::Port {
        go(&mut out, zero, down);
        rest(&mut out, zero, long, Phase::Lifted);
        go(&mut out, zero, up);
        rest(&mut out, full, long, Phase::Between);
    }
    // The tare key: zero at once; then the weight is lifted.
    let tared = out.len();
    rest(&mut out, zero, long, Phase::Between);
    go(&mut out, -full, down);
    rest(&mut out, -full, long, Phase::Below);
    let back = r.one_in(2);
    let zeroed = if back { usize::MAX } else { out.len() };
    if back {
        go(&mut out, -full, up);
        rest(&mut out, zero, long, Phase::Between);
    } else if !few {
        // Zeroed with nothing on it, and the weight once more.
        rest(&mut out, zero, long, Phase::Between);
        go(&mut out, zero, up);
        rest(&mut out, full, 6, Phase::Between);
    }
    for (at, (show, _)) in out.iter_mut().enumerate() {
        if at >= tared && at < zeroed {
            show.tare = full;
        }
    }
    out
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    Empty,
    Loaded,
    Lifted,
    Below,
    Between,
}

/// The kinds of session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Empty, weight, empty; a log.
    Plain,
    /// With the tare key and what shows then.
    Tared,
    /// With a unit key pressed for a while.
    UnitKey,
    /// With bytes lost or changed.
    Noisy,
    /// A print key: a line for each rest.
    Print,
    /// At the port, with what was asked of the person.
    Port,
}

pub const KINDS: [Kind; 6] = [
    Kind::Plain,
    Kind::Tared,
    Kind::UnitKey,
    Kind::Noisy,
    Kind::Print,
    Kind::Port,
];

/// What a fresh session shows: other masses, both signs, in motion and at rest.
pub fn fresh(shape: &Shape, r: &mut Random) -> Vec<Show> {
    let mut out = Vec::new();
    let most = panbell::mass::fixed(Decimal::from(60) / shape.unit.grams(), shape.decimals);
    let part = |steps: usize| most * Decimal::from(steps as u64) / Decimal::from(10);
    let part = |steps| panbell::mass::fixed(part(steps), shape.decimals);
    for at in 0..60 {
        let share = Decimal::new(i64::try_from(r.below(100_000)).unwrap(), 5);
        let share = if at % 3 == 0 {
            share / Decimal::from(500)
        } else {
            share
        };
        let mut value = panbell::mass::fixed(most * share, shape.decimals);
        if at % 4 == 1 {
            value = -value;
        }
        if value.is_zero() {
            value = value.abs();
        }
        out.push(Show {
            value,
            tare: part(r.below(3)),
            unit: shape.unit,
            moving: at % 2 == 1 && at % 3 != 0,
        });
    }
    out
}
