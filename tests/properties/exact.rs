//! Sums in whole numbers, worked out apart from the program's own decimals, and what cases are made
//! of: divisions, masses on them, finenesses.

use panbell::mass::{Division, Indication, Mass, Unit};
use panbell::melt::{Demand, Mix};
use panbell::metal::Fineness;
use proptest::prelude::*;
use rust_decimal::Decimal;

/// Decimals that the whole numbers keep: enough for 0.0001 of any unit.
const PLACES: u32 = 15;

/// A decimal in whole units of its last kept place.
fn whole(number: Decimal, places: u32) -> i128 {
    let number = number.normalize();
    assert!(number.scale() <= places, "{number} has more than {places}");
    number.mantissa() * 10_i128.pow(places - number.scale())
}

/// A mass in femtograms.
pub(crate) fn femtograms(mass: Mass) -> i128 {
    whole(mass.grams(), PLACES)
}

/// A fineness in ten-thousandths of three-thousandths.
pub(crate) fn parts(fineness: Fineness) -> i128 {
    whole(fineness.three_thousandths(), 4)
}

/// Metal, as sums of whole numbers.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Heap {
    pub(crate) mass: i128,
    pub(crate) gold: i128,
}

impl Heap {
    pub(crate) fn of(lots: &[(Mass, Fineness)]) -> Self {
        lots.iter().fold(Self::default(), |heap, (mass, gold)| {
            heap.with(*mass, *gold)
        })
    }

    pub(crate) fn with(self, mass: Mass, gold: Fineness) -> Self {
        let mass = femtograms(mass);
        Self {
            mass: self.mass + mass,
            gold: self.gold + mass * parts(gold),
        }
    }

    pub(crate) fn is_at_least(self, fineness: Fineness) -> bool {
        self.gold >= self.mass * parts(fineness)
    }

    pub(crate) fn is_at_most(self, fineness: Fineness) -> bool {
        self.gold <= self.mass * parts(fineness)
    }

    pub(crate) fn meets(self, demand: &Demand) -> bool {
        self.is_at_least(demand.lowest) && self.is_at_most(demand.highest)
    }
}

/// The same lots as the program sums them.
pub(crate) fn mix(lots: &[(Mass, Fineness)]) -> Mix {
    lots.iter()
        .fold(Mix::NOTHING, |mix, (mass, gold)| mix.with(*mass, *gold))
}

/// So many divisions.
pub(crate) fn times(division: Division, n: u32) -> Indication {
    let step = division.mass().grams() / division.unit().grams();
    let mut digits = step * Decimal::from(n);
    digits.rescale(division.decimals());
    Indication::new(digits, division.unit()).unwrap()
}

/// Whether a mass is a whole number of divisions.
pub(crate) fn on_division(mass: Mass, division: Division) -> bool {
    femtograms(mass) % femtograms(division.mass()) == 0
}

/// The divisions of bench balances, in units that goldsmiths weigh in.
pub(crate) fn division() -> impl Strategy<Value = Division> {
    let unit = prop_oneof![
        4 => Just(Unit::Gram),
        1 => Just(Unit::Carat),
        1 => Just(Unit::Pennyweight),
        1 => Just(Unit::TroyOunce),
        1 => Just(Unit::Grain),
        1 => Just(Unit::TaelHongKong),
    ];
    let step = prop_oneof![
        Just((1_i64, 2_u32)),
        Just((1, 3)),
        Just((2, 2)),
        Just((5, 3)),
        Just((1, 1))
    ];
    (unit, step).prop_map(|(unit, (step, places))| {
        let step = Indication::new(Decimal::new(step, places), unit).unwrap();
        Division::new(step).unwrap()
    })
}

/// A fineness as it is stated: whole and part per mille, whole and part karat.
pub(crate) fn fineness() -> impl Strategy<Value = Fineness> {
    prop_oneof![
        3 => (1_i64..=1000).prop_map(|n| Fineness::per_mille(Decimal::from(n)).unwrap()),
        2 => (1_i64..=9999).prop_map(|n| Fineness::per_mille(Decimal::new(n, 1)).unwrap()),
        1 => (1_i64..=9_999_999).prop_map(|n| Fineness::per_mille(Decimal::new(n, 4)).unwrap()),
        3 => (1_i64..=24).prop_map(|n| Fineness::karat(Decimal::from(n)).unwrap()),
        1 => (1_i64..=239_999).prop_map(|n| Fineness::karat(Decimal::new(n, 4)).unwrap()),
    ]
}

/// Metal to add: without gold, with some, or fine.
pub(crate) fn metal() -> impl Strategy<Value = Fineness> {
    prop_oneof![
        3 => Just(Fineness::NONE),
        2 => fineness(),
        2 => Just(Fineness::pure()),
        1 => Just(Fineness::per_mille(Decimal::new(9999, 1)).unwrap()),
    ]
}

/// A target as people ask for it, and how much above it may be given away.
pub(crate) fn demand() -> impl Strategy<Value = Demand> {
    let target = prop_oneof![
        Just("375"),
        Just("417"),
        Just("585"),
        Just("750"),
        Just("916.6"),
        Just("14k"),
        Just("10k"),
        Just("18k"),
        Just("22k"),
        Just("333")
    ];
    // Hundredths of a per mille; a shop that gives away nothing, one that does not care much.
    let give = prop_oneof![1 => Just(0_i64), 6 => 1_i64..=1000, 1 => 1000_i64..=4000];
    // Some laws allow a little below the mark.
    let below = prop_oneof![4 => Just(0_i64), 1 => 1_i64..=70];
    (target, give, below).prop_map(|(target, give, below)| {
        let target: Fineness = target.parse().unwrap();
        Demand {
            target,
            lowest: target.less(Decimal::new(below, 1)),
            highest: target.plus(Decimal::new(give, 2)),
        }
    })
}

/// Lots: so many divisions of a fineness each.
pub(crate) fn lots() -> impl Strategy<Value = Vec<(u32, Fineness)>> {
    let mass = prop_oneof![1 => 1_u32..50, 6 => 50_u32..20_000];
    proptest::collection::vec((mass, fineness()), 1..6)
}

/// Lots on a division.
pub(crate) fn weighed(lots: &[(u32, Fineness)], division: Division) -> Vec<(Mass, Fineness)> {
    lots.iter()
        .map(|(n, gold)| (times(division, *n).mass(), *gold))
        .collect()
}
