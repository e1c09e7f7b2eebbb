//! Units as they are typed, and their sizes against the crate uom.

use panbell::mass::Unit;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;
use uom::si::f64::Mass as OtherMass;
use uom::si::mass;

use super::run::{ask, ask_with_shelf, near, said};

/// The crate prints pound, ounces, grain and pennyweight to seven digits, as tables for conversion do.
const SEVEN_DIGITS: f64 = 5e-7;

#[test]
fn sizes_are_those_of_another_crate() {
    let mut compared = 0;
    for unit in Unit::all() {
        let other = match unit {
            Unit::Milligram => OtherMass::new::<mass::milligram>(1.0),
            Unit::Gram => OtherMass::new::<mass::gram>(1.0),
            Unit::Kilogram => OtherMass::new::<mass::kilogram>(1.0),
            Unit::Carat => OtherMass::new::<mass::carat>(1.0),
            Unit::Grain => OtherMass::new::<mass::grain>(1.0),
            Unit::Pennyweight => OtherMass::new::<mass::pennyweight>(1.0),
            Unit::TroyOunce => OtherMass::new::<mass::ounce_troy>(1.0),
            Unit::Ounce => OtherMass::new::<mass::ounce>(1.0),
            Unit::Pound => OtherMass::new::<mass::pound>(1.0),
            // It has none of these.
            Unit::Momme
            | Unit::Tola
            | Unit::TaelHongKong
            | Unit::TaelHongKongGold
            | Unit::TaelTaiwan
            | Unit::TaelSingapore => continue,
        };
        let (ours, other) = (unit.grams().to_f64().unwrap(), other.get::<mass::gram>());
        let apart = (ours / other - 1.0).abs();
        assert!(apart < SEVEN_DIGITS, "{unit}: {ours} g, there {other}");
        // Wherever a unit has no more than seven digits, the two are the same number.
        if unit.grams().normalize().mantissa() < 10_000_000 {
            assert!(apart < 1e-15, "{unit}: {ours} g, there {other}");
        }
        compared += 1;
    }
    assert_eq!(compared, 9);
}

/// A lot in any unit is the exact number of grams: sizes from UK Weights and Measures Act 1985 and Hong
/// Kong Cap. 68 (grain, troy ounce, pound), by convention of British India, 1833 (tola), Japan, 1891
/// (momme), 4th CGPM, 1907 (carat).
#[test]
fn every_unit_is_grams_exactly() {
    for (lot, grams) in [
        ("24grain", "1.55517384"),
        ("3.5dwt", "5.44310844"),
        ("0.5ozt", "15.5517384"),
        ("1oz", "28.349523125"),
        ("0.25lb", "113.3980925"),
        ("2tola", "23.3276076"),
        ("8momme", "30"),
        ("12.5ct", "2.5"),
        ("1250mg", "1.25"),
        ("0.05kg", "50"),
        ("3tael-hk", "113.39809125"),
        ("1tael-hk-gold", "37.429"),
        ("1tael-tw", "37.5"),
        ("1tael-sg", "37.799364"),
    ] {
        let answer = ask(&format!("--lot {lot}@22k --to 14k"));
        let found = answer.number("used/0/mass_g");
        assert_eq!(found, grams.parse().unwrap(), "{lot}");
        // 22 k to 14 k takes 4/7 of the lot: exact as far as the answer is written.
        let exact: Decimal = found * Decimal::from(4) / Decimal::from(7);
        near(
            answer.number("add/0/exact_g"),
            &exact.to_string(),
            "0.0000000000005",
        );
    }
}

/// The answer in the unit of the balance: exact grams in JSON, what the display shows for people.
#[test]
fn a_balance_in_pennyweight_is_answered_in_pennyweight() {
    let typed = "--lot 25dwt@10k --to 14k --with 1000 --division '0.01 dwt'";
    let answer = ask(typed).fine();
    let dwt: Decimal = "1.55517384".parse().unwrap();
    for edge in answer.window(0) {
        let steps = edge.parse::<Decimal>().unwrap() / dwt * Decimal::ONE_HUNDRED;
        assert_eq!(steps, steps.round(), "{edge} g is no whole hundredth");
    }
    // Trade page, name withheld: 25 dwt of 10 k takes 10 dwt of fine gold to 14 k.
    near(answer.number("add/0/exact_g") / dwt, "10", "0.00000000001");
    let home = tempfile::tempdir().unwrap();
    let text = super::run::said(home.path(), &super::run::words(typed)).out;
    assert!(text.contains("25.00 dwt"), "{text}");
    let aim = answer.number("add/0/aim_g") / dwt;
    let aim = format!("add {:>16} dwt   ", aim.round_dp(2));
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat(&text).contains(&flat(&aim)), "{aim}: {text}");
    assert!(!text.contains(" g "), "no grams for people: {text}");
}

/// What a display or a hand writes for two things is refused with what it could mean.
#[test]
fn doubtful_units_are_refused_with_what_they_could_mean() {
    for (unit, could_mean) in [
        ("gr", ["grams", "grains"]),
        ("gn", ["grams", "grains"]),
        ("t", ["tael", "ton"]),
        ("tael", ["tael-hk", "tael-tw"]),
        ("kt", ["karat is a fineness", "ct"]),
        ("carat", ["ct", "0.2 g"]),
    ] {
        let answer = ask(&format!("--lot '10 {unit}@18k' --to 14k"));
        let (code, said) = answer.refused();
        assert_eq!(code, "unit-unknown", "{unit}");
        for meaning in could_mean {
            assert!(said.contains(meaning), "{unit}: {said}");
        }
    }
    let answer = ask("--lot 10@18k --to 14k");
    assert!(answer.refused().1.contains("no unit"));
}

#[test]
fn a_decimal_comma_reckons_as_a_point_does() {
    let point = "--lot 14.86g@875.5:declared:1.5 --lot '4.12 g@752:xrf' --to 750.5 --with '999.9 ppt=1.5' --with '0 ppt=2.5' --division '0.01 g' --give-away 5.5 --risk 12.5";
    assert_eq!(ask(&point.replace('.', ",")).json, ask(point).json);
    let point = "blend --lot '14.86g@Au 750.5 Ag 125 Cu 124.5:xrf' --to 740.5 --make '20.5 g' --at-most zinc=50.5,copper=300.25 --silver-share '0.4..0.6'";
    let comma = point.replace('.', ",").replace(",,", "..");
    assert_eq!(ask_with_shelf(&comma).json, ask_with_shelf(point).json);
    let point = "density --air 12.345g --water 11.5g --planned 'Au 750.5 Ag 249.5' --water-temperature 20.5 --pressure '1013.25 hPa'";
    // The mark between thousands would make the mass twelve kilograms.
    let comma = point.replace('.', ",").replace("12,345g", "12.345g");
    assert_eq!(ask(&comma).json, ask(point).json);
    let point = "piece wire --length 300.5 --diameter 1.25 --density 15.4";
    assert_eq!(ask(&point.replace('.', ",")).json, ask(point).json);
}

#[test]
fn a_comma_that_can_mark_thousands_is_refused_with_both_readings() {
    for (words, readings) in [
        ("--lot 1,234g@750:xrf --to 585", ["(1.234)", "(1234)"]),
        (
            "density --air 12,345g --water 11,9g --planned-fineness 750",
            ["(12.345)", "(12345)"],
        ),
        (
            "density --air 12g --water 11g --planned-fineness 750 --pressure 101,325",
            ["(101.325)", "(101325)"],
        ),
        (
            "piece wire --length 1,500 --diameter 2 --density 15",
            ["(1.500)", "(1500)"],
        ),
    ] {
        let home = tempfile::tempdir().unwrap();
        let said = said(home.path(), &super::run::words(words));
        assert_eq!(said.code, 1, "{words}: {}{}", said.out, said.err);
        for reading in readings {
            assert!(said.err.contains(reading), "{words}: {}", said.err);
        }
    }
}
