//! Density, by worked weighings.

use rust_decimal::Decimal;
use serde_json::Value;

use super::{answer, d, near, no_naked_number, reckon, refused_as};

const AIR: [&str; 3] = ["density", "--air", "12.3450 g"];
pub(super) const PLANNED: [&str; 2] = ["--planned", "Au 750 Ag 125 Cu 125"];

fn density<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&AIR, more].concat()
}

#[test]
fn a_worked_hydrostatic_weighing_comes_out_hung_and_displaced() {
    let hung = density(&["--water", "11.5440 g", PLANNED[0], PLANNED[1]]);
    let found = answer(0, &hung);
    no_naked_number(&found);
    // (12.345 x 998.2068 - 11.544 x 1.1993) / 0.801 kg/m3.
    near(&found["density_kg_per_m3"], "15367.06", "0.05");
    // 1000 / (750/19.3 + 125/10.5 + 125/8.96).
    near(&found["expected_kg_per_m3"], "15452.0", "1");
    assert_eq!(found["displaced_g"], "0.8010");
    assert_eq!(found["division"], "0.0001 g");
    assert_eq!(found["verdict"], "agrees");
    assert_eq!(found["if_copper_or_silver_kg_per_m3"], Value::Null);
    let aside = answer(
        0,
        &density(&["--displaced", "0.8010 g", PLANNED[0], PLANNED[1]]),
    );
    assert_eq!(aside["density_kg_per_m3"], found["density_kg_per_m3"]);
    // The terms make the uncertainty, the greatest first.
    let terms = found["terms"].as_array().unwrap();
    assert_eq!(terms.len(), 7);
    let terms: Vec<Decimal> = terms.iter().map(|term| d(&term["u_kg_per_m3"])).collect();
    assert!(terms.is_sorted_by(|one, next| one >= next), "{terms:?}");
    let squares: Decimal = terms.iter().map(|u| u * u).sum();
    let u = d(&found["u_kg_per_m3"]);
    assert!(
        (squares - u * u).abs() < Decimal::new(1, 1),
        "{squares} {u}"
    );
    reckon(&hung)
        .ended(0)
        .has("they agree")
        .has("found     15.367 g/cm3")
        .has("0.8010 g of water pushed aside")
        .has("bubbles 0.0")
        .has("holds 750 ‰ or more with a chance of")
        .has("A core of tungsten would pass this proof")
        .has("cannot show that the mark is met")
        .has("by the last digit typed");
}

#[test]
fn a_piece_of_less_gold_is_low_and_one_of_more_is_high_with_a_warning() {
    let planned = [PLANNED[0], PLANNED[1], "--division", "0.001 g"];
    let low = density(&[&["--displaced", "0.940 g"], &planned[..]].concat());
    let found = answer(3, &low);
    assert_eq!(found["verdict"], "low");
    assert!(d(&found["p_conform"]) < Decimal::new(1, 2));
    assert!(found["warnings"].as_array().unwrap().is_empty()); // the division was given
    reckon(&low)
        .ended(3)
        .has("with a chance of under 0.1 %")
        .has("brush it under water and weigh again");
    let high = density(&[&["--displaced", "0.690 g"], &planned[..]].concat());
    assert_eq!(answer(3, &high)["verdict"], "high");
    reckon(&high).ended(3).has("this density or a higher one");
}

#[test]
fn a_weighing_too_rough_to_tell_says_so() {
    let rough = [
        "density",
        "--air",
        "0.50 g",
        "--displaced",
        "0.03 g",
        "--planned",
        "Au 750 Cu 250",
    ];
    assert_eq!(answer(3, &rough)["verdict"], "tells-nothing");
    reckon(&rough)
        .ended(3)
        .has("This proof tells nothing")
        .has("would agree as a piece of the next mark down too")
        .has("a heavier piece or a finer balance");
}

#[test]
fn with_only_the_fineness_known_both_red_and_green_gold_agree() {
    let found = answer(
        0,
        &density(&["--displaced", "0.8010 g", "--planned-fineness", "18k"]),
    );
    // 1000 / (750/19.3 + 250/8.96), and with 10.5.
    near(&found["if_copper_or_silver_kg_per_m3"][0], "14976", "3");
    near(&found["if_copper_or_silver_kg_per_m3"][1], "15959", "3");
    for displaced in ["0.8221 g", "0.7714 g"] {
        let either = density(&["--displaced", displaced, "--planned-fineness", "750"]);
        reckon(&either)
            .ended(0)
            .has("if all that is unknown were copper");
    }
    // What is known tells them apart better.
    let known = answer(
        0,
        &density(&["--displaced", "0.8010 g", PLANNED[0], PLANNED[1]]),
    );
    assert!(d(&found["gold_u_ppt"]) > d(&known["gold_u_ppt"]) * Decimal::TWO);
}

#[test]
fn the_mark_its_law_the_water_and_the_air_are_heard() {
    let base = density(&["--displaced", "0.8010 g", PLANNED[0], PLANNED[1]]);
    let with = |more: &[&str]| answer(0, &[&base, more].concat());
    let plain = with(&[]);
    let law = with(&["--mark", "18k", "--mark-law", "us-15-usc-295"]);
    assert_eq!(law["lowest_ppt"], "747.0000");
    assert!(d(&law["p_conform"]) > d(&plain["p_conform"]));
    let mark = with(&["--mark", "585"]);
    assert!(d(&mark["p_conform"]) > Decimal::new(99, 2));
    // Water of 30 C is lighter by 2.56 in 1000, and so is what is found.
    let warm = with(&["--water-temperature", "30 C"]);
    near(&warm["density_kg_per_m3"], "15327.7", "1");
    let pascal = with(&[
        "--pressure",
        "95000",
        "--air-temperature",
        "25",
        "--humidity",
        "60",
    ]);
    let hecto = with(&[
        "--pressure",
        "950 hPa",
        "--air-temperature",
        "25",
        "--humidity",
        "60 %",
    ]);
    assert_eq!(pascal, hecto);
    assert_ne!(pascal["density_kg_per_m3"], plain["density_kg_per_m3"]);
}

#[test]
fn weighings_that_cannot_be_are_told() {
    let with = |more: &[&'static str]| density(&[more, &PLANNED].concat());
    for (code, said, arguments) in [
        (
            "proof-unreckoned",
            "do not fit together",
            with(&["--water", "12.3450 g"]),
        ),
        (
            "proof-unreckoned",
            "do not fit together",
            with(&["--displaced", "0.0000 g"]),
        ),
        (
            "units-differ",
            "12.3450 g and as 4.0 ct",
            with(&["--displaced", "4.0 ct"]),
        ),
        ("mass-unreadable", "no unit", with(&["--water", "11.5440"])),
        (
            "number-unreadable",
            "from 0 to 40",
            with(&["--water", "11.5440 g", "--water-temperature", "68"]),
        ),
        (
            "proof-unreckoned",
            "pascal",
            with(&["--water", "11.5440 g", "--pressure", "1013"]),
        ),
        (
            "law-unknown",
            "Known are: none",
            with(&["--water", "11.5440 g", "--mark-law", "atlantis"]),
        ),
        (
            "composition-unreadable",
            "per mille",
            density(&["--water", "11.5440 g", "--planned", "Au 750 Ag"]),
        ),
        (
            "proof-unreckoned",
            "Prove fine gold by assay",
            density(&["--water", "11.7060 g", "--planned", "Au 1000"]),
        ),
    ] {
        refused_as(code, said, &arguments);
    }
    // Wrong usage: no second weighing, both, or no plan.
    for wrong in [
        with(&[]),
        with(&["--water", "11.5440 g", "--displaced", "0.8010 g"]),
        density(&["--water", "11.5440 g"]),
    ] {
        reckon(&wrong).ended(2);
    }
}
