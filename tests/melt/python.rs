//! Random blends and proofs held against other programs: a linear-programming solver and a
//! distribution of their own, run by Python.

use panbell::mass::Mass;
use panbell::melt::{
    Air, BlendAsk, Density, Doubts, Goal, Hinder, InWater, Limit, NoBlend, UnknownPart, Weighings,
    blend, prove,
};
use panbell::metal::{Composition, Element};
use proptest::strategy::{Strategy as _, ValueTree as _};
use proptest::test_runner::TestRunner;
use rust_decimal::Decimal;
use serde_json::{Value, json};

use super::asks::an_ask;
use super::other::{check, count};

/// Parts in three-thousandths, by symbol, with what is unknown under `?`.
fn parts(metal: &Composition) -> Value {
    let mut parts = serde_json::Map::new();
    for element in Element::all() {
        let part = metal.three_thousandths(element);
        if !part.is_zero() {
            parts.insert(element.symbol().to_owned(), json!(part.to_string()));
        }
    }
    parts.insert("?".to_owned(), json!(metal.unknown().to_string()));
    Value::Object(parts)
}

fn grams(mass: Mass) -> Value {
    json!(mass.grams().to_string())
}

fn asked(ask: &BlendAsk) -> Value {
    let lots = ask
        .lots
        .iter()
        .map(|lot| json!({"mass": grams(lot.mass), "parts": parts(&lot.metal)}));
    let shelf = ask.shelf.iter().map(|on| {
        json!({
            "parts": parts(&on.metal),
            "stock": on.stock.map(|stock| grams(ask.division.floor(stock))),
            "price": on.price.map(|price| price.to_string()),
        })
    });
    let limits = ask.limits.iter().map(|limit| match limit {
        Limit::AtMost(element, ppt) => json!([element.symbol(), "most", ppt.to_string()]),
        Limit::AtLeast(element, ppt) => json!([element.symbol(), "least", ppt.to_string()]),
    });
    json!({
        "lots": lots.collect::<Vec<_>>(),
        "shelf": shelf.collect::<Vec<_>>(),
        "lowest": ask.lowest.three_thousandths().to_string(),
        "aim": ask.aim.three_thousandths().to_string(),
        "highest": ask.highest.three_thousandths().to_string(),
        "limits": limits.collect::<Vec<_>>(),
        "silver": ask.silver_share.map(|(low, high)| [low.to_string(), high.to_string()]),
        "mass": ask.mass.map(grams),
        "counted": ask.unknown == UnknownPart::Counted,
        "most": ask.goal == Goal::MostOfTheLots,
        "division": grams(ask.division.mass()),
    })
}

fn named(hinder: Hinder) -> Value {
    match hinder {
        Hinder::LowestFineness => json!(["lowest"]),
        Hinder::HighestFineness => json!(["highest"]),
        Hinder::Limit(place) => json!(["limit", place]),
        Hinder::LeastSilver => json!(["least silver"]),
        Hinder::MostSilver => json!(["most silver"]),
        Hinder::Mass => json!(["mass"]),
        Hinder::Stock(place) => json!(["stock", place]),
        Hinder::WholeLots => json!(["whole lots"]),
    }
}

fn answered(ask: &BlendAsk) -> Value {
    let masses = |masses: &[Mass]| masses.iter().map(|mass| grams(*mass)).collect::<Vec<_>>();
    match blend(ask) {
        Ok(found) => json!({"lots": masses(&found.lots), "shelf": masses(&found.shelf)}),
        Err(NoBlend::Hindered { alone, together }) => json!({
            "alone": alone
                .iter()
                .map(|(hinder, nearest)| json!([named(*hinder), nearest.map(|n| n.to_string())]))
                .collect::<Vec<_>>(),
            "together": together.iter().map(|hinder| named(*hinder)).collect::<Vec<_>>(),
        }),
        Err(other) => json!({"other": format!("{other:?}")}),
    }
}

#[test]
fn blends_are_as_good_as_those_of_another_solver() {
    let mut runner = TestRunner::deterministic();
    // A division so fine that rounding does not show in what a blend costs.
    let sources = [an_ask("0.000001 g", true), an_ask("0.000001 g", false)];
    let cases: Vec<Value> = (0..400)
        .map(|n| {
            let ask = sources[n % 2].new_tree(&mut runner).unwrap().current();
            json!({"ask": asked(&ask), "answer": answered(&ask)})
        })
        .collect();
    let said = check("blend_check.py", &cases);
    assert!(count(&said, "answers alike:") > 100, "{said}");
    assert!(count(&said, "infeasible alike:") > 80, "{said}");
    assert!(count(&said, "nearest alike:") > 80, "{said}");
}

#[test]
fn proofs_are_those_of_an_independent_reckoning() {
    let mut runner = TestRunner::deterministic();
    let numbers = (
        50_i64..5000,        // hundredths of a gram in air
        -400_i64..400,       // density off ideal mixing, in hundredths of a per cent
        50_i64..350,         // tenths of a degree of the water
        150_i64..270,        // tenths of a degree of the air
        70_000_i64..105_000, // Pa
        0_i64..1000,         // tenths of a per cent of humidity
        300_i64..950,        // gold, per mille
        proptest::array::uniform3(1_i64..100),
        proptest::bool::ANY,           // hung or displaced
        proptest::bool::weighted(0.2), // part of it unknown
    );
    let cases: Vec<Value> = (0..200)
        .map(|_| {
            let (mass, off, water, air_c, pascal, humidity, gold, others, hung, unknown) =
                numbers.new_tree(&mut runner).unwrap().current();
            let rest = 1000 - gold;
            let [a, b, c] = others;
            let (silver, copper) = (rest * a / (a + b + c), rest * b / (a + b + c));
            let mut parts_of = vec![
                (Element::Au, Decimal::from(gold)),
                (Element::Ag, Decimal::from(silver)),
                (Element::Cu, Decimal::from(copper)),
            ];
            if !unknown {
                parts_of.push((Element::Zn, Decimal::from(rest - silver - copper)));
            }
            let planned = Composition::stated(&parts_of).unwrap();
            let ideal = Density::of(&planned).map_or(Decimal::from(14), Density::in_g_per_cm3);
            let density = ideal * (Decimal::ONE + Decimal::new(off, 4));
            let in_air = Mass::from_grams(Decimal::new(mass, 2)).unwrap();
            let aside = Mass::from_grams((in_air.grams() / density).round_dp(3)).unwrap();
            let in_water = if hung {
                InWater::Hung(in_air - aside)
            } else {
                InWater::Displaced(aside)
            };
            let weighings = Weighings {
                in_air,
                in_water,
                water_celsius: Decimal::new(water, 1),
                air: Air {
                    celsius: Decimal::new(air_c, 1),
                    pascal: Decimal::from(pascal),
                    humidity: Decimal::new(humidity, 1),
                },
                doubts: Doubts::usual("0.001 g".parse().unwrap()),
                planned,
                lowest: "585".parse().unwrap(),
            };
            let proof = prove(&weighings).unwrap();
            let doubts = weighings.doubts;
            json!({
                "in_air": grams(in_air),
                "aside": grams(aside),
                "hung": hung,
                "water_celsius": weighings.water_celsius.to_string(),
                "air": [
                    weighings.air.celsius.to_string(),
                    weighings.air.pascal.to_string(),
                    weighings.air.humidity.to_string(),
                ],
                "air_density": weighings.air.density().unwrap().in_kg_per_m3().to_string(),
                "doubts": {
                    "reading": grams(doubts.reading),
                    "celsius": doubts.celsius.to_string(),
                    "water": doubts.water.to_string(),
                    "air_ppt": doubts.air_ppt.to_string(),
                    "thread": grams(doubts.thread),
                    "bubbles": grams(doubts.bubbles),
                    "model_ppt": doubts.model_ppt.to_string(),
                },
                "parts": parts(&weighings.planned),
                "lowest": weighings.lowest.three_thousandths().to_string(),
                "density": proof.density.in_kg_per_m3().to_string(),
                "density_u": proof.density_u.to_string(),
                "expected": proof.expected.in_kg_per_m3().to_string(),
                "expected_u": proof.expected_u.to_string(),
                "gold": proof.gold_ppt.to_string(),
                "gold_u": proof.gold_u_ppt.to_string(),
                "chance_this_low": proof.chance_this_low.to_string(),
                "chance_lawful": proof.chance_lawful.to_string(),
                "verdict": format!("{:?}", proof.verdict),
            })
        })
        .collect();
    let said = check("proof_check.py", &cases);
    assert_eq!(count(&said, "proofs alike:"), 200, "{said}");
    assert!(count(&said, "spread by chance alike:") >= 5, "{said}");
}
