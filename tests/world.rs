//! Checks against the world: units, finenesses, marks, worked alloying examples, densities, balances,
//! decision rules and losses as published, each with its source beside it. What is printed in an old
//! book or said in a workshop must come out of this program, and a slip that was printed must not.
//! What `panbell reckon` answers to the same figures is held in `tests/reckon.rs`.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

#[path = "world/alloying.rs"]
mod alloying;
#[path = "world/densities.rs"]
mod densities;
#[path = "world/finenesses.rs"]
mod finenesses;
#[path = "world/losses.rs"]
mod losses;
#[path = "world/marks.rs"]
mod marks;
#[path = "world/risks.rs"]
mod risks;
#[path = "world/units.rs"]
mod units;
#[path = "world/weighing.rs"]
mod weighing;

use panbell::mass::{Division, Indication, Mass, Unit};
use panbell::melt::{Demand, Mix, NoWindow, Planned, Window, plan, window};
use panbell::metal::Fineness;
use rust_decimal::Decimal;

/// A mass, as in `12.5 ct`.
fn m(text: &str) -> Mass {
    text.parse::<Indication>().unwrap().mass()
}

/// A fineness, as in `14k` or `416.67`.
fn f(text: &str) -> Fineness {
    text.parse().unwrap()
}

/// A number as printed.
fn d(text: &str) -> Decimal {
    text.parse().unwrap()
}

/// How many of a unit a mass is.
fn of_unit(mass: Mass, unit: Unit) -> Decimal {
    mass.grams() / unit.grams()
}

/// Fails unless two numbers lie within the rounding of the one that was printed.
fn near(found: Decimal, printed: &str, tolerance: &str) {
    assert!(
        (found - d(printed)).abs() <= d(tolerance),
        "{found} found, {printed} printed, {tolerance} allowed"
    );
}

/// The metal of these lots, mass and fineness each.
fn melt(lots: &[(&str, &str)]) -> Mix {
    lots.iter()
        .fold(Mix::NOTHING, |mix, (mass, gold)| mix.with(m(mass), f(gold)))
}

/// This fineness and no other.
fn exactly(fineness: &str) -> Demand {
    let target = f(fineness);
    Demand {
        target,
        lowest: target,
        highest: target,
        risk: panbell::melt::Risk::default(),
    }
}

/// How much metal of a fineness brings a melt to another, by plan: exact to the 28th digit.
fn needed(done: &Mix, metal: &str, wanted: &str) -> Mass {
    let one = Planned {
        gold: f(metal),
        share: Decimal::ONE,
    };
    let masses = plan(done, &[one], &exactly(wanted)).expect("a plan");
    assert_eq!(masses.len(), 1);
    masses[0]
}

/// The same by window, where the answer is a multiple of the division: then the window is one mass.
fn needed_exactly(done: &Mix, metal: &str, wanted: &str, division: &str) -> Mass {
    let division: Division = division.parse().unwrap();
    let Window {
        lower, aim, upper, ..
    } = window(done, f(metal), &exactly(wanted), division).expect("a window");
    assert_eq!((lower, upper), (aim, aim));
    assert_eq!(aim, needed(done, metal, wanted), "window and plan agree");
    aim
}

/// Why there is no window.
fn refused(done: &Mix, metal: &str, wanted: &str) -> NoWindow {
    let division: Division = "0.0000001 g".parse().unwrap();
    window(done, f(metal), &exactly(wanted), division).unwrap_err()
}
