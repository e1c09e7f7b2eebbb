//! Random blends to ask for: a shop's lots and shelf, with limits that are met, just met or missed.

use panbell::mass::Mass;
use panbell::melt::{BlendAsk, BlendLot, BlendMetal, Goal, Limit, UnknownPart};
use panbell::metal::{Composition, Element, Fineness};
use proptest::prelude::*;
use rust_decimal::Decimal;

/// A mass of so many hundredths of a gram.
pub(crate) fn hundredths(number: i64) -> Mass {
    Mass::from_grams(Decimal::new(number, 2)).unwrap()
}

/// Gold in tenths of a per mille, and the rest dealt out to others by weights; the last weight is
/// for what is unknown.
fn metal(gold: i64, others: [u32; 6]) -> Composition {
    let rest = 10_000 - gold;
    let all: i64 = others.iter().map(|w| i64::from(*w)).sum();
    let mut parts = vec![(Element::Au, Decimal::new(gold, 1))];
    let mut left = rest;
    let elements = [
        Element::Ag,
        Element::Cu,
        Element::Zn,
        Element::Ni,
        Element::Pd,
    ];
    for (element, weight) in elements.into_iter().zip(others) {
        let part = if all == 0 {
            0
        } else {
            (rest * i64::from(weight) / all).min(left)
        };
        left -= part;
        parts.push((element, Decimal::new(part, 1)));
    }
    Composition::stated(&parts).unwrap()
}

fn a_lot() -> impl Strategy<Value = BlendLot> {
    let others = prop_oneof![
        3 => [0..60_u32, 1..60_u32, 0..10_u32, 0..1_u32, 0..1_u32, 0..1_u32],
        1 => [0..60_u32, 1..60_u32, 0..10_u32, 0..1_u32, 0..1_u32, 0..30_u32],
        1 => [0..20_u32, 1..60_u32, 0..10_u32, 0..30_u32, 0..30_u32, 0..1_u32],
        1 => Just([0, 0, 0, 0, 0, 1]),
    ];
    (50_i64..6000, 3000_i64..9500, others).prop_map(|(mass, gold, others)| BlendLot {
        mass: hundredths(mass),
        metal: metal(gold, others),
    })
}

fn a_shelf(prices: bool) -> impl Strategy<Value = Vec<BlendMetal>> {
    let metals = [
        ("fine gold", metal(9999, [1, 0, 0, 0, 0, 0])),
        ("silver", metal(0, [1, 0, 0, 0, 0, 0])),
        ("copper", metal(0, [0, 1, 0, 0, 0, 0])),
        ("yellow alloy", metal(0, [40, 50, 10, 0, 0, 0])),
        ("red alloy", metal(0, [10, 88, 2, 0, 0, 0])),
        ("white alloy", metal(0, [0, 50, 20, 30, 0, 0])),
        ("palladium alloy", metal(0, [60, 10, 0, 0, 30, 0])),
        ("18 k casting grain", metal(7500, [50, 50, 0, 0, 0, 0])),
        ("zinc", metal(0, [0, 0, 1, 0, 0, 0])),
    ];
    let price = if prices {
        (1_i64..9000).prop_map(Some).boxed()
    } else {
        proptest::option::weighted(0.7, 0_i64..9000).boxed()
    };
    let each = (
        proptest::bool::weighted(0.7),
        proptest::option::weighted(0.3, 0_i64..3000),
        price,
    );
    proptest::collection::vec(each, metals.len()).prop_map(move |chosen| {
        metals
            .iter()
            .zip(chosen)
            .filter(|(_, (taken, _, _))| *taken)
            .map(|((name, metal), (_, stock, price))| BlendMetal {
                name: (*name).to_owned(),
                metal: metal.clone(),
                stock: stock.map(hundredths),
                price: price.map(|price| Decimal::new(price, 2)),
            })
            .collect()
    })
}

fn a_limit() -> impl Strategy<Value = Limit> {
    let ppt = |low: i64, high: i64| (low..high).prop_map(|ppt| Decimal::new(ppt, 1));
    prop_oneof![
        Just(Limit::AtMost(Element::Ni, Decimal::ZERO)),
        Just(Limit::AtMost(Element::Cd, Decimal::ZERO)),
        ppt(50, 1000).prop_map(|most| Limit::AtMost(Element::Zn, most)),
        ppt(500, 4000).prop_map(|most| Limit::AtMost(Element::Cu, most)),
        ppt(100, 1500).prop_map(|least| Limit::AtLeast(Element::Ag, least)),
        ppt(10, 800).prop_map(|least| Limit::AtLeast(Element::Pd, least)),
    ]
}

/// Anything a shop could ask; every metal has a price if `prices`.
pub(crate) fn an_ask(division: &'static str, prices: bool) -> impl Strategy<Value = BlendAsk> {
    let window = (
        prop_oneof![
            Just("9k"),
            Just("417"),
            Just("14k"),
            Just("585"),
            Just("18k"),
            Just("916")
        ],
        0_i64..12,
        0_i64..12,
    );
    let share = (0_i64..90, 5_i64..60)
        .prop_map(|(low, wide)| (Decimal::new(low, 2), Decimal::new((low + wide).min(100), 2)));
    let goal = prop_oneof![2 => Just(Goal::Cheapest), 1 => Just(Goal::MostOfTheLots)];
    let unknown = prop_oneof![
        3 => Just(UnknownPart::Reported),
        1 => Just(UnknownPart::Counted)
    ];
    (
        proptest::collection::vec(a_lot(), 1..4),
        a_shelf(prices),
        window,
        proptest::collection::vec(a_limit(), 0..3),
        proptest::option::weighted(0.4, share),
        proptest::option::weighted(0.3, 300_i64..20_000),
        unknown,
        goal,
    )
        .prop_map(
            move |(lots, shelf, (target, below, above), limits, share, mass, unknown, goal)| {
                let lowest: Fineness = target.parse().unwrap();
                let aim = lowest.plus(Decimal::from(below));
                BlendAsk {
                    lots,
                    shelf,
                    lowest,
                    aim,
                    highest: aim.plus(Decimal::from(above)),
                    limits,
                    silver_share: share,
                    mass: mass.map(hundredths),
                    unknown,
                    division: division.parse().unwrap(),
                    goal,
                }
            },
        )
}
