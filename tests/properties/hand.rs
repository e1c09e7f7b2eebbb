//! What can happen to a bench: a hand that pours, lifts and presses keys, a balance that says
//! anything, orders of every kind, a disk, a plug, and time.

use std::time::Duration;

use panbell::balance::{LinkState, Verdict};
use panbell::job::{Cause, Order, PanAnswer, Water, WaterWay, What};
use panbell::mass::{CheckWeight, Division, Indication, Reading, Shown, Status, Unit};
use panbell::metal::{Basis, Fineness};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::bench::{Bench, Disk};
use super::exact::{demand, fineness, metal};
use super::several::{added, opened};

/// One thing that happens.
#[derive(Debug, Clone)]
pub(crate) enum Act {
    /// Whatever a person would do next; the number chooses among the ways to do it.
    GoOn(u16),
    /// A line, of anything.
    Say(Shown, Status),
    /// So many lines of what is on the pan.
    Rest(u8),
    /// So many divisions more or less on the pan.
    Pour(i16),
    Empty,
    /// The dish is lifted, or put back.
    Dish,
    TareKey,
    Order(Order),
    OddLines(u8),
    Port(bool),
    Tick,
    Wait(u16, bool),
    /// Taken as it is, so long after the last line, woken or not.
    Take(u16, bool),
    /// What waits is written, or is not; and the disk is quick, or slow, from now on.
    Disk(Disk, bool),
    /// A person goes on, and what is to be written of it comes to this.
    GoOnInto(u16, Disk),
    /// The process is killed when so many of the records on their way were written.
    Kill(u8),
}

/// What stands on the balance, in divisions.
struct Scene {
    /// The balance sends its unit.
    says_units: bool,
    dish: i64,
    metal: i64,
    lifted: bool,
    zero: i64,
}

/// Carries out a script on a new bench.
pub(crate) fn play(division: Division, dish: u16, acts: &[Act]) -> Bench {
    play_and_look(division, dish, acts, |_| {})
}

/// The same, with a look at the bench after every act.
pub(crate) fn play_and_look(
    division: Division,
    dish: u16,
    acts: &[Act],
    mut look: impl FnMut(&Bench),
) -> Bench {
    let mut bench = Bench::new(division);
    let mut scene = Scene {
        says_units: dish % 4 != 3,
        dish: i64::from(dish),
        metal: 0,
        lifted: false,
        zero: 0,
    };
    let mut quick = true;
    for act in acts {
        carry_out(act, &mut bench, &mut scene, &mut quick);
        if quick {
            bench.disk(Disk::Writes);
        }
        look(&bench);
    }
    bench.finish();
    bench
}

fn carry_out(act: &Act, bench: &mut Bench, scene: &mut Scene, quick: &mut bool) {
    match act {
        Act::GoOn(how) => go_on(*how, bench, scene, *quick),
        Act::Say(shown, status) => {
            bench.wait(Duration::from_millis(100), true);
            bench.line(Reading {
                shown: *shown,
                status: *status,
            });
        }
        Act::Rest(lines) => rest(bench, scene, *lines, *quick),
        Act::Pour(divisions) => {
            scene.metal = (scene.metal + i64::from(*divisions)).max(0);
            rest(bench, scene, 2, *quick);
        }
        Act::Empty => scene.metal = 0,
        Act::Dish => scene.lifted = !scene.lifted,
        Act::TareKey => scene.zero += shown(scene),
        // What is not finished is asked for at the first close.
        Act::Order(Order::Close) => {
            bench.order_and_confirm(Order::Close);
        }
        Act::Order(order) => bench.order(order.clone()),
        Act::OddLines(lines) => {
            for _ in 0..*lines {
                bench.event(&panbell::job::Event::OddLine);
            }
        }
        Act::Port(opened) => bench.port(*opened),
        Act::Tick => bench.event(&panbell::job::Event::Tick),
        Act::Wait(ms, ticks) => bench.wait(Duration::from_millis(u64::from(*ms)), *ticks),
        Act::Take(ms, ticks) => {
            bench.wait(Duration::from_millis(u64::from(*ms)), *ticks);
            bench.order(Order::Take);
        }
        Act::Disk(how, now_quick) => {
            bench.disk(*how);
            *quick = *now_quick;
        }
        Act::GoOnInto(how, disk) => {
            go_on(*how, bench, scene, false);
            bench.disk(*disk);
        }
        Act::Kill(written) => bench.kill(usize::from(*written)),
    }
}

/// What the balance shows, in divisions.
fn shown(scene: &Scene) -> i64 {
    let load = if scene.lifted {
        0
    } else {
        scene.dish + scene.metal
    };
    (load - scene.zero).clamp(-20_000, 20_000) // what any unit can be shown in
}

fn indication(division: Division, n: i64) -> Indication {
    let step = division.mass().grams() / division.unit().grams();
    let mut digits = step * Decimal::from(n);
    digits.rescale(division.decimals());
    Indication::new(digits, division.unit()).unwrap()
}

fn rest(bench: &mut Bench, scene: &Scene, lines: u8, quick: bool) {
    let gross = indication(bench.rules.pan.division, shown(scene));
    for _ in 0..lines {
        bench.wait(Duration::from_millis(100), true);
        bench.line(Reading {
            shown: if scene.says_units {
                Shown::Weighed(gross)
            } else {
                Shown::UnitUnstated(gross.digits())
            },
            status: Status::Unsaid,
        });
        if quick {
            bench.disk(Disk::Writes);
        }
    }
}

/// The next thing that a person would do.
fn go_on(how: u16, bench: &mut Bench, scene: &mut Scene, quick: bool) {
    let choice = u32::from(how);
    if bench.state.link().state() != LinkState::Talking {
        bench.port(true);
        return rest(bench, scene, 6, quick);
    }
    if bench.state.is_writing() {
        return bench.disk(Disk::Writes);
    }
    if bench.state.holds().has(Cause::Disk) {
        return bench.wait(Duration::from_secs(2), true);
    }
    if bench.state.holds().has(Cause::Pan) {
        let said = [PanAnswer::Tared, PanAnswer::Back, PanAnswer::Anew];
        bench.order(Order::Answer(said[usize::from(how % 3)]));
        return rest(bench, scene, 5, quick);
    }
    if !scene.says_units && bench.state.guard().verdict() != Verdict::Agreed {
        return check(bench, scene, quick);
    }
    let Some(job) = bench.state.open_job() else {
        return bench.order(an_opening(how, bench.rules.pan.division));
    };
    let Some(expected) = bench.state.expected() else {
        let lots = job.lots().count();
        let order = if let Some(button) = job.last_button() {
            match (button.assay.is_some(), how % 6) {
                (false, 0 | 2 | 4 | 5) if job.in_water().is_none() => in_water(how),
                (false, 1 | 3) => an_assay(how, job.opened.target),
                (true, 0 | 1) => Order::Add {
                    metal: Some(Box::new(added("more", Fineness::pure(), 1))),
                },
                _ => Order::Close,
            }
        } else if lots == 0 || (lots < 3 && how.is_multiple_of(3)) {
            a_lot(how)
        } else if !job.to_come().is_empty() && !how.is_multiple_of(11) {
            Order::Add { metal: None }
        } else {
            Order::Button
        };
        // What is asked is mostly said yes to.
        return if how.is_multiple_of(5) {
            bench.order(order)
        } else {
            bench.order_and_confirm(order)
        };
    };
    let base_known = job.expected.as_ref().is_some_and(|e| e.base.is_some());
    if !base_known {
        if !matches!(expected, What::Addition { .. }) {
            scene.metal = 0;
        }
        scene.lifted = false;
        return rest(bench, scene, 5, quick);
    }
    let net = bench.state.tracked().and_then(|tracked| tracked.net);
    let step = bench.rules.pan.division.mass().grams();
    let of = |mass: panbell::mass::Mass| i64::try_from((mass.grams() / step).round()).unwrap();
    let net = net.map_or(0, |net| of(net.mass()));
    let wanted = match (expected, bench.state.adding()) {
        (What::Addition { .. }, Some(adding)) => {
            let (lower, upper) = (of(adding.window.lower), of(adding.window.upper));
            match how % 8 {
                0 => lower - 1 - i64::from(how % 40),
                1 => upper + 1 + i64::from(how % 20),
                2 => lower,
                3 => upper,
                _ => lower + (upper - lower) * i64::from(how % 101) / 100,
            }
        }
        (What::InWater(_), _) => of(job.melt().mass()) / 15 + i64::from(how % 3),
        (What::Button, _) => of(job.melt().mass()) - i64::from(how % 7),
        _ => 50 + i64::from(choice % 3000),
    };
    let from = scene.metal;
    let to = (from + wanted - net).max(0);
    for part in 1..=2 {
        scene.metal = from + (to - from) * part / 3;
        rest(bench, scene, 1, quick);
    }
    scene.metal = to;
    rest(bench, scene, 11, quick);
    let over = wanted > net && how % 8 == 1;
    if over && bench.state.expected().is_some() && how % 16 < 8 {
        bench.order(Order::Take);
    }
}

/// A check weight of a thousand divisions over the pan.
fn check(bench: &mut Bench, scene: &mut Scene, quick: bool) {
    let division = bench.rules.pan.division;
    bench.order(check_weight(division, 1000));
    rest(bench, scene, 5, quick);
    scene.metal += 1000;
    rest(bench, scene, 6, quick);
    scene.metal -= 1000;
    rest(bench, scene, 5, quick);
}

pub(crate) fn check_weight(division: Division, heavy: i64) -> Order {
    let (nominal, error) = (indication(division, heavy), indication(division, 1));
    let weight: CheckWeight = format!("{nominal} within {error}").parse().unwrap();
    Order::CheckWeight {
        weight: Some(weight),
    }
}

/// An opening that suits lots of about 700: metals without gold, or gold.
pub(crate) fn an_opening(how: u16, division: Division) -> Order {
    let (target, metals): (&str, &[(&str, i64)]) = match how % 5 {
        0 => ("585", &[("0 ppt", 1)]),
        1 => ("585", &[("0 ppt", 5), ("0 ppt", 3)]),
        2 => ("750", &[("999.9", 1)]),
        3 => ("14k", &[("0 ppt", 2), ("125", 1), ("0 ppt", 1)]),
        _ => ("18k", &[("24k", 3), ("900", 1)]),
    };
    let target: Fineness = target.parse().unwrap();
    let demand = panbell::melt::Demand {
        target,
        lowest: target,
        highest: target.plus(Decimal::from(1 + i64::from(how % 9))),
        risk: panbell::melt::Risk::default(),
    };
    let metals: Vec<(Fineness, i64)> = metals
        .iter()
        .map(|(gold, share)| (gold.parse().unwrap(), *share))
        .collect();
    Order::Open(Box::new(opened(demand, division, &metals)))
}

pub(crate) fn a_lot(how: u16) -> Order {
    let fineness = Fineness::per_mille(Decimal::from(600 + i64::from(how % 149))).unwrap();
    Order::Lot {
        fineness,
        basis: Basis::Stamp,
        // Some lots are known exactly, some are taken for a little less than they say.
        taken: fineness.less(Decimal::new(i64::from(how % 3), 1)),
        u_ppt: Decimal::new(i64::from(how % 4), 1),
        note: String::new(),
    }
}

pub(crate) fn in_water(how: u16) -> Order {
    let air = panbell::melt::Air::default();
    Order::Proof(Water {
        way: [WaterWay::Hung, WaterWay::Displaced][usize::from(how % 2)],
        water_celsius: Decimal::from(how % 45), // some of them none that a bench has
        air_celsius: air.celsius,
        pascal: air.pascal,
        humidity: air.humidity,
    })
}

/// An assay near the target, more often below it.
pub(crate) fn an_assay(how: u16, target: Fineness) -> Order {
    let fineness = target.less(Decimal::from(how % 8));
    Order::Assay {
        fineness,
        basis: Basis::FireAssay,
        taken: fineness,
        u_ppt: Decimal::new(i64::from(how % 5), 1),
    }
}

fn any_order(division: Division) -> impl Strategy<Value = Order> {
    let add = (metal(), 1_i64..9).prop_map(|(gold, share)| added("extra", gold, share));
    prop_oneof![
        (
            demand(),
            proptest::collection::vec((metal(), 1_i64..9), 0..3)
        )
            .prop_map(move |(demand, metals)| Order::Open(Box::new(opened(
                demand, division, &metals
            )))),
        (
            prop_oneof![4 => fineness(), 1 => Just(Fineness::NONE)],
            ".{0,8}"
        )
            .prop_map(|(fineness, note)| Order::Lot {
                fineness,
                basis: Basis::Xrf,
                taken: fineness,
                u_ppt: Decimal::ONE,
                note,
            }),
        Just(Order::Add { metal: None }),
        (metal(), 1_i64..9).prop_map(|(gold, share)| Order::Plan {
            add: vec![added("instead", gold, share)]
        }),
        add.prop_map(|metal| Order::Add {
            metal: Some(Box::new(metal))
        }),
        Just(Order::Take),
        Just(Order::Take),
        Just(Order::Withdraw { capture: None }),
        Just(Order::Reweigh),
        Just(Order::Leave),
        Just(Order::Button),
        any::<u16>().prop_map(in_water),
        fineness().prop_map(|target| an_assay(7, target)),
        prop_oneof![
            Just(PanAnswer::Tared),
            Just(PanAnswer::Back),
            Just(PanAnswer::Anew)
        ]
        .prop_map(Order::Answer),
        Just(Order::Close),
        Just(check_weight(division, 1000)),
    ]
}

fn any_status() -> impl Strategy<Value = Status> {
    prop_oneof![
        4 => Just(Status::Unsaid),
        2 => Just(Status::Stable),
        1 => Just(Status::InMotion),
        1 => Just(Status::StableAtZero),
        1 => prop_oneof![
            Just(Status::UnderZero),
            Just(Status::OverLimit),
            Just(Status::RequiresCalibration),
            Just(Status::RequiresReZeroing),
            Just(Status::Fault)
        ],
    ]
}

fn any_shown(division: Division) -> impl Strategy<Value = Shown> {
    let near = (-50_i64..6000).prop_map(move |n| Shown::Weighed(indication(division, n)));
    let jump = (any::<i32>(), 0_u32..8).prop_map(|(digits, places)| {
        let digits = Decimal::new(i64::from(digits), places);
        Indication::new(digits, Unit::Gram).map_or(Shown::Nothing, Shown::Weighed)
    });
    let other = (0_i64..6000, 0_usize..15).prop_map(|(n, unit)| {
        let unit = Unit::all().nth(unit).unwrap();
        Shown::Weighed(Indication::new(Decimal::new(n, 2), unit).unwrap())
    });
    let digits = (0_i64..6000).prop_map(|n| Decimal::new(n, 2));
    prop_oneof![
        4 => near,
        1 => jump,
        2 => other,
        1 => digits.clone().prop_map(Shown::UnitUnstated),
        1 => digits.prop_map(Shown::UnitUnknown),
        1 => Just(Shown::Nothing),
    ]
}

fn any_act(division: Division) -> impl Strategy<Value = Act> {
    let disk = prop_oneof![
        6 => Just(Disk::Writes),
        3 => Just(Disk::Fails),
        1 => Just(Disk::FailsForGood)
    ];
    prop_oneof![
        60 => any::<u16>().prop_map(Act::GoOn),
        4 => (any_shown(division), any_status()).prop_map(|(s, t)| Act::Say(s, t)),
        5 => (1_u8..14).prop_map(Act::Rest),
        3 => (-400_i16..400).prop_map(Act::Pour),
        1 => Just(Act::Empty),
        2 => Just(Act::Dish),
        1 => Just(Act::TareKey),
        8 => any_order(division).prop_map(Act::Order),
        1 => (1_u8..8).prop_map(Act::OddLines),
        2 => any::<bool>().prop_map(Act::Port),
        1 => Just(Act::Tick),
        3 => (0_u16..6000, any::<bool>()).prop_map(|(ms, ticks)| Act::Wait(ms, ticks)),
        3 => (prop_oneof![0_u16..200, 0_u16..6000], any::<bool>())
            .prop_map(|(ms, ticks)| Act::Take(ms, ticks)),
        3 => (any::<u16>(), disk.clone()).prop_map(|(how, disk)| Act::GoOnInto(how, disk)),
        5 => (disk, prop::bool::weighted(0.6)).prop_map(|(how, quick)| Act::Disk(how, quick)),
        1 => (0_u8..4).prop_map(Act::Kill),
    ]
}

/// A script: a division, a dish, and what happens.
pub(crate) fn script(
    division: impl Strategy<Value = Division>,
    length: usize,
) -> impl Strategy<Value = (Division, u16, Vec<Act>)> {
    let dish = prop_oneof![Just(0_u16), 1..4000_u16];
    (division, dish).prop_flat_map(move |(division, dish)| {
        let acts = proptest::collection::vec(any_act(division), 1..length);
        (Just(division), Just(dish), acts)
    })
}
