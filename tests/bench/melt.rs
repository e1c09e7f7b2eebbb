//! What reckoning costs: a window made anew, a blend searched, a million trials.
//!
//! Baselines: the same edges in plain binary sums, without doubt, exactness or rounding; scipy's linear
//! program for the same limits; numpy's draws of the same melt. Those two need the Python that
//! `cargo test --test reckon` makes under target/; without it they are not measured, and it is said.

use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use panbell::mass::{Division, Mass};
use panbell::melt::{
    Added, BlendAsk, BlendLot, BlendMetal, Demand, FinenessDoubt, Goal, Known, Limit, MassDoubt,
    Mix, Risk, UnknownPart, blend, trials, window,
};
use panbell::metal::{Composition, Element, Fineness};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;
use serde_json::{Value, json};

use crate::table::{self, Sample};

/// Windows in a batch, and batches; the ways take turns.
const WINDOWS: usize = 200;
const BATCHES: usize = 300;
const BLENDS: usize = 40;
/// Trials on each of two threads.
const TRIALS: u32 = 500_000;

pub(crate) fn measure() {
    let numpy = baselines();
    windows();
    blends(numpy.as_ref());
    a_million_trials(numpy.as_ref());
}

fn hundredths(number: i64) -> Mass {
    Mass::from_grams(Decimal::new(number, 2)).unwrap()
}

fn demand() -> Demand {
    let target: Fineness = "750".parse().unwrap();
    Demand {
        target,
        lowest: target,
        highest: target.plus(Decimal::from(5)),
        risk: Risk::default(),
    }
}

/// Ten lots and four additions weighed out, each with its doubt or without.
fn melt(doubtful: bool) -> Vec<Known> {
    let u_mass = MassDoubt::grams(0.01 / 6.0_f64.sqrt());
    (0..14_i64)
        .map(|at| {
            let is_lot = at < 10;
            let gold = if is_lot { 8000 + at * 137 } else { 0 };
            let u = if is_lot { 500 + at * 40 } else { 0 };
            Known {
                name: format!("metal {at}"),
                mass: hundredths(if is_lot { 950 + at * 211 } else { 40 + at }),
                u_mass: if doubtful { u_mass } else { MassDoubt::NONE },
                gold: Fineness::per_mille(Decimal::new(gold, 1)).unwrap(),
                u_gold: if doubtful {
                    FinenessDoubt::per_mille(Decimal::new(u, 3))
                } else {
                    FinenessDoubt::NONE
                },
                even: false,
            }
        })
        .collect()
}

fn melted(metals: &[Known]) -> Mix {
    metals.iter().fold(Mix::NOTHING, |mix, m| {
        mix.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
    })
}

fn windows() {
    let division: Division = "0.01 g".parse().unwrap();
    let demand = demand();
    let mut rows = Vec::new();
    for (name, doubtful) in [("as well as known", true), ("taken as exact", false)] {
        let known = melt(doubtful);
        let added = Added {
            gold: Fineness::NONE,
            u_gold: FinenessDoubt::NONE,
            u_mass: known[0].u_mass,
        };
        let plain: Vec<(f64, f64)> = known
            .iter()
            .map(|m| {
                let gold = m.gold.three_thousandths().to_f64().unwrap() / 3000.0;
                (m.mass.grams().to_f64().unwrap(), gold)
            })
            .collect();
        let (mut whole, mut rest, mut loops) = (Vec::new(), Vec::new(), Vec::new());
        let made = melted(&known);
        for _ in 0..BATCHES {
            whole.push(each(WINDOWS, || {
                let rest = melted(black_box(&known));
                black_box(window(&rest, added, &demand, division).unwrap());
            }));
            rest.push(each(WINDOWS, || {
                black_box(window(black_box(&made), added, &demand, division).unwrap());
            }));
            loops.push(each(WINDOWS, || {
                black_box(by_floats(black_box(&plain), 0.0, 0.750, 0.755));
            }));
        }
        let (whole, rest, loops) = (Sample::of(whole), Sample::of(rest), Sample::of(loops));
        rows.push(vec![
            name.to_owned(),
            format!("{:.2}", whole.median()),
            format!("{:.2}", whole.p99()),
            format!("{:.2}", rest.median()),
            format!("{:.4}", loops.median()),
            format!("{:.0} x", whole.median() / loops.median()),
        ]);
    }
    table::print(
        &format!(
            "a window: 10 lots, 5 additions (us each, {BATCHES} batches of {WINDOWS}; wanted under 5)"
        ),
        &[
            "the metals",
            "summed anew",
            "p99",
            "of it the window",
            "f64 loop",
            "ratio",
        ],
        &rows,
    );
}

/// Microseconds each.
fn each(times: usize, mut work: impl FnMut()) -> f64 {
    let began = Instant::now();
    for _ in 0..times {
        work();
    }
    began.elapsed().as_secs_f64() * 1e6 / times as f64
}

/// The edges as a person would work them out in a loop.
fn by_floats(metals: &[(f64, f64)], added: f64, lowest: f64, highest: f64) -> (f64, f64) {
    let (mut mass, mut gold) = (0.0, 0.0);
    for (m, f) in metals {
        mass += m;
        gold += m * f;
    }
    let edge = |wanted: f64| (gold - wanted * mass) / (wanted - added);
    (edge(highest), edge(lowest))
}

/// Twelve lots and forty metals of a shelf: fine ones, master alloys and pre-alloyed gold.
fn large_ask() -> BlendAsk {
    let of = |parts: [(Element, i64); 5]| {
        let parts = parts.map(|(element, ppt)| (element, Decimal::from(ppt)));
        Composition::stated(&parts).unwrap()
    };
    let metal = |gold: i64, at: i64| {
        let rest = 1000 - gold;
        let silver = rest * (20 + at * 7 % 60) / 100;
        let zinc = rest * (at % 8) / 100;
        let nickel = if at % 9 == 8 { rest * 15 / 100 } else { 0 };
        let copper = rest - silver - zinc - nickel;
        of([
            (Element::Au, gold),
            (Element::Ag, silver),
            (Element::Cu, copper),
            (Element::Zn, zinc),
            (Element::Ni, nickel),
        ])
    };
    BlendAsk {
        lots: (0..12_i64)
            .map(|at| BlendLot {
                mass: hundredths(410 + at * 173),
                metal: metal(375 + at * 45, at),
            })
            .collect(),
        shelf: (0..40_i64)
            .map(|at| BlendMetal {
                name: format!("metal {at}"),
                metal: metal(
                    if at % 5 == 4 {
                        600 + at * 10 - at % 2
                    } else {
                        0
                    },
                    at + 3,
                ),
                stock: (at % 3 == 0).then(|| hundredths(900 + at * 31)),
                price: Some(Decimal::new(
                    if at % 5 == 4 {
                        7000 + at
                    } else {
                        80 + at * 13 % 50
                    },
                    2,
                )),
            })
            .collect(),
        lowest: "585".parse().unwrap(),
        aim: "587.5".parse().unwrap(),
        highest: "590".parse().unwrap(),
        limits: vec![
            Limit::AtMost(Element::Ni, Decimal::TWO),
            Limit::AtMost(Element::Zn, Decimal::from(30)),
        ],
        silver_share: Some((Decimal::new(35, 2), Decimal::new(55, 2))),
        mass: None,
        unknown: UnknownPart::Reported,
        division: "0.01 g".parse().unwrap(),
        goal: Goal::Cheapest,
    }
}

fn blends(baseline: Option<&Value>) {
    let ask = large_ask();
    let found = blend(&ask).expect("a blend of what the shelf holds");
    let used = found.shelf.iter().filter(|mass| mass.is_positive()).count();
    let times: Vec<Duration> = (0..BLENDS)
        .map(|_| {
            let began = Instant::now();
            black_box(blend(black_box(&ask)).unwrap());
            began.elapsed()
        })
        .collect();
    let times = Sample::micros(&times);
    table::print(
        &format!(
            "a blend: 12 lots, 40 metals, {used} of them used (ms, {BLENDS} times; wanted under 5)"
        ),
        &["", "panbell", "p99", "scipy linprog", "p99"],
        &[vec![
            "exact and rounded / in binary, unrounded".to_owned(),
            format!("{:.2}", times.median() / 1e3),
            format!("{:.2}", times.p99() / 1e3),
            told(baseline, "linprog_ms"),
            told(baseline, "linprog_p99_ms"),
        ]],
    );
}

fn a_million_trials(baseline: Option<&Value>) {
    let (metals, limit) = (melt(true), "750".parse::<Fineness>().unwrap());
    let metals = &metals[..5];
    let mut times = Vec::new();
    for seed in 0..7 {
        let began = Instant::now();
        let both = std::thread::scope(|scope| {
            let other = scope.spawn(|| trials(metals, limit, TRIALS, seed * 2 + 1));
            trials(metals, limit, TRIALS, seed * 2).with(other.join().unwrap())
        });
        times.push(began.elapsed());
        assert!(both.u_ppt() > 0.0);
    }
    let times = Sample::micros(&times);
    table::print(
        "a million trials of five metals, two threads (s, 7 times; wanted under 0.2)",
        &["", "panbell", "highest", "numpy, one thread"],
        &[vec![
            "normal draws of masses and finenesses".to_owned(),
            format!("{:.3}", times.median() / 1e6),
            format!("{:.3}", times.highest() / 1e6),
            told(baseline, "draws_s"),
        ]],
    );
}

fn told(baseline: Option<&Value>, key: &str) -> String {
    let number = baseline.and_then(|all| all[key].as_f64());
    number.map_or_else(|| "not measured".to_owned(), |n| format!("{n:.3}"))
}

/// The same program and the same melt, timed in Python; none where there is none.
fn baselines() -> Option<Value> {
    let tmp = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let python = tmp.join("python-checks/bin/python");
    if !python.exists() {
        println!(
            "LOUD: no Python with scipy: run `cargo test --test reckon` once; no baseline of it"
        );
        return None;
    }
    let file = tmp.join("baselines.json");
    std::fs::write(&file, given().to_string()).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/python/baselines.py");
    let output = Command::new(python).arg(script).arg(file).output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    Some(serde_json::from_str(&said).unwrap())
}

/// What the blend and the trials are of, in plain numbers.
fn given() -> Value {
    let ask = large_ask();
    let part = |metal: &Composition| {
        [
            Element::Au,
            Element::Ag,
            Element::Cu,
            Element::Zn,
            Element::Ni,
        ]
        .map(|element| metal.three_thousandths(element).to_f64().unwrap() / 3000.0)
    };
    let lots = ask.lots.iter();
    let shelf = ask.shelf.iter();
    let metals = melt(true);
    let drawn = metals[..5].iter().map(|m| {
        [
            m.mass.grams().to_f64().unwrap(),
            m.u_mass.to_grams(),
            m.gold.three_thousandths().to_f64().unwrap() / 3.0,
            m.u_gold.to_per_mille().to_f64().unwrap(),
        ]
    });
    json!({
        "lots": lots.map(|lot| json!([lot.mass.grams().to_f64(), part(&lot.metal)])).collect::<Vec<_>>(),
        "shelf": shelf
            .map(|on| json!([
                part(&on.metal),
                on.stock.and_then(|stock| stock.grams().to_f64()),
                on.price.and_then(|price| price.to_f64()),
            ]))
            .collect::<Vec<_>>(),
        "aim": 0.5875,
        "most": {"Ni": 0.002, "Zn": 0.03},
        "silver": [0.35, 0.55],
        "metals": drawn.collect::<Vec<_>>(),
        "trials": TRIALS * 2,
    })
}
