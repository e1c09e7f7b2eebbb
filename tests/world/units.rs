//! Units of mass against the laws that define them.

use super::*;
use panbell::balance::{UnitGuard, Verdict};
use panbell::mass::{Reading, Shown, Status};

#[test]
fn each_unit_has_its_lawful_or_conventional_size() {
    for (unit, grams) in [
        // 4th CGPM, Paris, October 1907; France, law of 22 June 1909; both as restated by G. F. Kunz, 1913.
        (Unit::Carat, "0.2"),
        // 1/7000 pound: Hong Kong Weights and Measures Ordinance, Cap. 68, Schedule 1.
        (Unit::Grain, "0.06479891"),
        // 24 grains, and 20 to the troy ounce: a course text for dental technicians.
        (Unit::Pennyweight, "1.55517384"),
        // UK Weights and Measures Act 1985, Schedule 1; S.I. 1994/2867.
        (Unit::TroyOunce, "31.1034768"),
        // 1/16 pound, by definition.
        (Unit::Ounce, "28.349523125"),
        // UK Weights and Measures Act 1985, Schedule 1; Cap. 68, Schedule 1.
        (Unit::Pound, "453.59237"),
        // 180 grains: British India, 1833, by convention.
        (Unit::Tola, "11.6638038"),
        // Japan, 1891.
        (Unit::Momme, "3.75"),
        // 1/16 of a catty of 0.60478982 kg: Cap. 68, Schedule 1.
        (Unit::TaelHongKong, "37.79936375"),
        // Bullion trade value: common practice, no source.
        (Unit::TaelHongKongGold, "37.429"),
        // Conventional in Taiwan: an article of the weighing trade, name withheld.
        (Unit::TaelTaiwan, "37.5"),
        // Conventional in Singapore, rounded: the same article.
        (Unit::TaelSingapore, "37.799364"),
        // Definitions of the metric system.
        (Unit::Milligram, "0.001"),
        (Unit::Gram, "1"),
        (Unit::Kilogram, "1000"),
    ] {
        assert_eq!(unit.grams(), d(grams), "{unit}");
    }
    assert_eq!(Unit::all().count(), 15, "every unit is in the list above");
}

#[test]
fn the_definitions_hang_together() {
    // Grain: 1/7000 pound (Cap. 68, Schedule 1).
    assert_eq!(m("7000 grain"), m("1 lb"));
    // 480 grains to the troy ounce (UK Weights and Measures Act 1878, as a cyclopaedia of receipts
    // reprints it); 20 pennyweights (a course text for dental technicians).
    assert_eq!(m("1 ozt"), m("20 dwt"));
    assert_eq!(m("1 ozt"), m("480 grain"));
    // Avoirdupois pound of 16 ounces, by definition.
    assert_eq!(m("16 oz"), m("1 lb"));
    // Troy ounce: 12/175 pound (UK Weights and Measures Act 1985, Schedule 1, as at 1991). One scan
    // of Cap. 68 lost the 12 and prints 1/175 pound.
    assert_eq!(m("175 ozt"), m("12 lb"));
    assert_ne!(m("175 ozt"), m("1 lb"), "the slip of the scan");
    // Troy pound of 12 ounces, 5760 grains: follows from the grain.
    assert_eq!(m("5760 grain"), m("373.2417216 g"));
    assert_eq!(m("12 ozt"), m("373.2417216 g"));
    // Tael of 1/16 catty of 0.60478982 kg (Cap. 68, Schedule 1).
    assert_eq!(m("16 tael-hk"), m("0.6047898 kg") + m("0.02 mg"));
    // Tola of 180 grains, 3/8 troy ounce (British India, 1833, by convention).
    assert_eq!(m("1 tola"), m("180 grain"));
}

/// Worked out from the definitions above.
#[test]
fn conversions_come_out_as_published() {
    assert_eq!(m("12.5 ct"), m("2.5 g"));
    assert_eq!(m("2.5 ozt"), m("77.758692 g"));
    assert_eq!(m("100 grain"), m("6.479891 g"));
    assert_eq!(m("3 tael-hk").grams(), d("113.39809125"));
    // A bar of 10 tola is 3.75 troy ounces: common practice, no source.
    assert_eq!(m("10 tola"), m("3.75 ozt"));
    assert_eq!(m("10 tola"), m("116.638038 g"));
    assert_eq!(m("8 momme"), m("30 g"));
    let tolerance = "0.000000001";
    near(
        of_unit(m("1 g"), Unit::Pennyweight),
        "0.643014931",
        tolerance,
    );
    near(
        of_unit(m("1 lb"), Unit::TroyOunce),
        "14.583333333",
        tolerance,
    );
    // 192/175: from 12/175 pound and 1/16 pound.
    assert_eq!(
        m("1 ozt").grams() * d("175"),
        m("1 oz").grams() * d("192"),
        "a troy ounce is heavier than an avoirdupois one"
    );
    assert_eq!(
        (m("1 tael-hk") - m("1 tael-tw")).grams(),
        d("0.29936375"),
        "taels are not alike"
    );
}

/// Names for a part of a unit come out as that part of it.
#[test]
fn parts_of_units_that_have_names() {
    for (part, grams) in [
        // Point: 1/100 of a carat, by usage of the trade (second hand).
        ("0.01 ct", "0.002"),
        // Pearl grain, a quarter of a metric carat: G. F. Kunz, 1913.
        ("0.25 ct", "0.05"),
        // Mace and candareen, 1/10 and 1/100 of the tael: Cap. 68, Schedule 1.
        ("0.1 tael-hk", "3.779936375"),
        ("0.01 tael-hk", "0.3779936375"),
        // Ten candareen are a mace and ten mace a tael: the same.
        ("10 tael-hk", "377.9936375"),
    ] {
        assert_eq!(m(part).grams(), d(grams), "{part}");
    }
}

#[test]
fn units_of_other_times_and_of_no_one_size_are_not_guessed() {
    // Old French carat 0.2055 g (G. F. Kunz, 1913), international carat of 1877 0.205 g (an article of
    // the weighing trade, name withheld): neither is the ct of a display.
    for old in ["0.2055 g", "0.205 g"] {
        assert!(m(old) > m("1 ct"), "{old}");
    }
    // Baht of gold: 15.244 g in bullion and 15.16 g in jewellery; liang: 50 g in China since 1959 and
    // other sizes elsewhere (the same article; 15.16 from memory).
    for symbol in [
        "baht",
        "liang",
        "catty",
        "mace",
        "candareen",
        "point",
        "pt",
        "ton",
    ] {
        assert!(symbol.parse::<Unit>().is_err(), "{symbol}");
        assert!(format!("1.00 {symbol}").parse::<Indication>().is_err());
    }
}

#[test]
fn carats_shown_and_grams_supposed_would_be_five_times_too_much_and_are_held() {
    // Carat 0.2 g: 4th CGPM, 1907.
    let shown: Indication = "10.00 ct".parse().unwrap();
    assert_eq!(m("10.00 g").grams(), shown.mass().grams() * d("5"));
    let mut guard = UnitGuard::new("0.01 g".parse().unwrap());
    let reading = Reading {
        shown: Shown::Weighed(shown),
        status: Status::Stable,
    };
    assert_eq!(
        guard.judge(&reading, panbell::mass::Moment::default()),
        Verdict::Conflict(Some(Unit::Carat))
    );
}

#[test]
fn a_troy_ounce_is_not_an_avoirdupois_ounce() {
    // 1 oz of fine gold to 18 k. A goldsmiths' forum thread, name withheld, worked both: right is
    // 10.37 g of alloy and 41.47 g in all; taken for an avoirdupois ounce, 9.45 g and 37.8 g.
    let alloy = needed(&melt(&[("1 ozt", "24k")]), "0 ppt", "18k");
    near(alloy.grams(), "10.37", "0.005");
    near((m("1 ozt") + alloy).grams(), "41.47", "0.005");
    let slip = needed(&melt(&[("1 oz", "24k")]), "0 ppt", "18k");
    near(slip.grams(), "9.45", "0.005");
    near((m("1 oz") + slip).grams(), "37.8", "0.005");
}

#[test]
fn symbols_that_displays_use_for_two_things_are_refused() {
    // "gr" is grain or gram, "t" tael or ton, "kt" and "K" are karat, "tael" has four sizes: common
    // practice, no source.
    for symbol in [
        "gr", "gn", "t", "tl", "tael", "kt", "K", "k", "G", "CT", "carat",
    ] {
        let trouble = symbol.parse::<Unit>().unwrap_err();
        assert!(trouble.mend.len() > 20, "{symbol}: {trouble}");
        assert!(format!("1.00 {symbol}").parse::<Indication>().is_err());
    }
}
