//! Units, uncertainties and the normal distribution against other programs, run by Python.

use panbell::mass::{Mass, Unit};
use panbell::melt::{
    FinenessDoubt, Known, MassDoubt, Mix, Risk, Trials, budget, chance_at_least, trials,
};
use panbell::metal::Fineness;
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::TestRunner;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;
use serde_json::{Value, json};

use super::other::{check, count};

/// Trials of each melt that is drawn.
const TRIALS: u32 = 100_000;

#[test]
fn units_are_those_of_another_program_digit_for_digit() {
    let cases: Vec<Value> = Unit::all()
        .map(|unit| json!({"symbol": unit.symbol(), "grams": unit.grams().to_string()}))
        .collect();
    let said = check("units_check.py", &cases);
    assert_eq!(count(&said, "units alike:"), 15, "{said}");
}

/// A metal as a bench knows it: a lot, or one of the shelf taken as exact.
fn a_metal() -> impl Strategy<Value = Known> {
    let u = prop_oneof![
        1 => Just(0_i64),
        4 => 1_i64..3000,
        1 => 3000_i64..24_000,
    ];
    let u_mass = prop_oneof![1 => Just(0.0), 4 => 0.0001..0.02_f64];
    let common = prop_oneof![1 => Just(0_i64), 1 => 1_i64..200];
    let u_mass = (u_mass, common).prop_map(|(own, common)| {
        MassDoubt::grams(own).with_common(Decimal::new(common, 4)) // up to 20 mg
    });
    (10_i64..9000, u_mass, 0_i64..=10_000, u, any::<bool>()).prop_map(
        |(mass, u_mass, gold, u, even)| Known {
            name: gold.to_string(),
            mass: Mass::from_grams(Decimal::new(mass, 2)).unwrap(),
            u_mass,
            gold: Fineness::per_mille(Decimal::new(gold, 1)).unwrap(),
            u_gold: FinenessDoubt::per_mille(Decimal::new(u, 3)),
            even,
        },
    )
}

fn melted(metals: &[Known]) -> Mix {
    metals.iter().fold(Mix::NOTHING, |mix, m| {
        mix.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
    })
}

fn case(metals: &[Known], limit: Fineness, tried: Option<Trials>, fails: bool) -> Value {
    let melt = melted(metals);
    let shares: Vec<f64> = budget(metals).iter().map(|share| share.u_ppt).collect();
    let each = metals.iter().map(|m| {
        json!({
            "mass": m.mass.grams().to_string(),
            "u_mass": m.u_mass.to_grams(),
            "common": m.u_mass.common_to_grams(),
            "gold": m.gold.three_thousandths().to_string(),
            "u_gold": m.u_gold.to_per_mille().to_string(),
            "even": m.even,
        })
    });
    json!({
        "metals": each.collect::<Vec<_>>(),
        "limit": limit.three_thousandths().to_string(),
        "fineness": melt.fineness().unwrap().three_thousandths().to_string(),
        "u": melt.u_ppt(),
        "budget": shares,
        "fails": fails,
        "trials": tried.map(|t| json!({
            "count": TRIALS,
            "mean": t.mean_ppt(),
            "u": t.u_ppt(),
            "chance": t.chance(),
        })),
    })
}

#[test]
fn uncertainties_of_melts_are_those_of_two_other_programs() {
    let mut runner = TestRunner::deterministic();
    let source = prop::collection::vec(a_metal(), 1..12);
    let mut cases = Vec::new();
    while cases.len() < 300 {
        let metals = source.new_tree(&mut runner).unwrap().current();
        let melt = melted(&metals);
        if melt.u_ppt() < 1e-6 {
            continue; // exactly known: nothing to propagate
        }
        // Draws go with every tenth; near the middle, so that there is a chance to compare.
        let middle = melt.fineness().unwrap();
        let off = Decimal::try_from(melt.u_ppt() / 2.0).unwrap().round_dp(4);
        let limit = middle.less(off);
        let is_drawn = cases.len() % 30 == 0;
        let tried = is_drawn.then(|| trials(&metals, limit, TRIALS, 11));
        if let Some(tried) = tried {
            let said = tried.against(melt.u_ppt(), melt.chance_at_least(limit));
            // A single even lot may make the tail other than normal, never the spread.
            assert!(
                !said.is_some_and(|said| said.contains("spread")),
                "{metals:?}"
            );
        }
        cases.push(case(&metals, limit, tried, false));
    }
    // Where first order fails: half of each mass in doubt (see the lesson of JCGM 101:2008, 9.3).
    let wild = Known {
        name: "wild".to_owned(),
        mass: Mass::from_grams(Decimal::TEN).unwrap(),
        u_mass: MassDoubt::grams(3.0),
        gold: "752".parse().unwrap(),
        u_gold: FinenessDoubt::per_mille(Decimal::from(20)),
        even: false,
    };
    let (metals, limit) = ([wild.clone(), wild], "750".parse().unwrap());
    let tried = trials(&metals, limit, TRIALS, 11);
    cases.push(case(&metals, limit, Some(tried), true));
    let said = check("doubt_check.py", &cases);
    assert_eq!(count(&said, "propagated alike:"), 301, "{said}");
    assert_eq!(count(&said, "drawn alike:"), 11, "{said}");
    assert_eq!(count(&said, "first order fails:"), 1, "{said}");
}

#[test]
fn the_normal_distribution_is_that_of_another_program() {
    let mut runner = TestRunner::deterministic();
    let mut cases = Vec::new();
    let risks = (1_i64..=500_000).prop_map(|n| Decimal::new(n, 6));
    for _ in 0..300 {
        let chance = risks.new_tree(&mut runner).unwrap().current();
        let risk = Risk::new(chance).unwrap();
        cases.push(json!({"risk": chance.to_f64(), "factor": risk.factor()}));
    }
    let melts = (300.0..1000.0_f64, 0.001..50.0_f64, -8.0..8.0_f64);
    for _ in 0..300 {
        let (value, u, away) = melts.new_tree(&mut runner).unwrap().current();
        let limit = value + away * u;
        let chance = chance_at_least(value, u, limit);
        cases.push(json!({"value": value, "u": u, "limit": limit, "chance": chance}));
    }
    let said = check("normal_check.py", &cases);
    assert_eq!(count(&said, "quantiles alike:"), 300, "{said}");
    assert_eq!(count(&said, "chances alike:"), 300, "{said}");
}
