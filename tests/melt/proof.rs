//! Proof by density against published densities and worked weighings, the printed slips among them.

use panbell::mass::{Division, Mass};
use panbell::melt::{
    Air, Density, Doubts, InWater, Proof, Verdict, Weighings, prove, water_density,
};
use panbell::metal::Composition;
use rust_decimal::Decimal;

fn d(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn gram(text: &str) -> Mass {
    Mass::from_grams(d(text)).unwrap()
}

fn milligram() -> Division {
    "0.001 g".parse().unwrap()
}

fn weighings(in_air: &str, in_water: InWater, planned: &str, lowest: &str) -> Weighings {
    Weighings {
        in_air: gram(in_air),
        in_water,
        water_celsius: d("20"),
        air: Air::default(),
        doubts: Doubts::usual(milligram()),
        planned: planned.parse().unwrap(),
        lowest: lowest.parse().unwrap(),
    }
}

/// The proof of so much metal of this density.
fn of_density(in_air: &str, g_per_cm3: &str, planned: &str, lowest: &str) -> Proof {
    // D = W (water - air) / (density - air), weighed to a tenth of a milligram.
    let (water, air) = (d("0.99820675"), d("0.0011993"));
    let aside = d(in_air) * (water - air) / (d(g_per_cm3) - air);
    let displaced = InWater::Displaced(Mass::from_grams(aside.round_dp(5)).unwrap());
    prove(&weighings(in_air, displaced, planned, lowest)).unwrap()
}

#[test]
fn a_worked_hydrostatic_weighing_comes_out_and_needs_the_air() {
    let hung = weighings(
        "12.3450",
        InWater::Hung(gram("11.5440")),
        "Au 750 Ag 125 Cu 125",
        "750",
    );
    let proof = prove(&hung).unwrap();
    let density = proof.density.in_kg_per_m3();
    assert!((density - d("15367.06")).abs() < d("0.05"), "{density}");
    // Left out, the air makes it 15384.35.
    assert!((density - d("15384.35")).abs() > d("15"));
    let aside = InWater::Displaced(gram("0.8010"));
    let displaced = weighings("12.3450", aside, "Au 750 Ag 125 Cu 125", "750");
    assert_eq!(prove(&displaced).unwrap().density, proof.density);
}

#[test]
fn published_mixings_come_out_and_published_slips_do_not() {
    let mixed = |parts: &[(&str, &str)]| {
        let parts = parts
            .iter()
            .map(|(part, density)| (d(part), Density::g_per_cm3(d(density)).unwrap()));
        Density::of_parts(parts).unwrap().in_g_per_cm3()
    };
    let near = |found: Decimal, wanted: &str, within: &str| {
        assert!(
            (found - d(wanted)).abs() <= d(within),
            "{found} for {wanted}"
        );
    };
    let (au, ag, cu) = ("19.32", "10.49", "8.96");
    near(
        mixed(&[("583", au), ("104", ag), ("313", cu)]),
        "13.329",
        "0.005",
    );
    near(mixed(&[("916.7", au), ("83.3", cu)]), "17.62", "0.01");
    near(mixed(&[("900", au), ("100", cu)]), "17.32", "0.01");
    near(mixed(&[("583.3", au), ("416.7", cu)]), "13.04", "0.01");
    near(mixed(&[("500", "19.3"), ("500", "10.5")]), "13.6", "0.05");
    // An exercise prints 15.898, from rounded parts.
    let green = mixed(&[("750", "19.3"), ("250", "10.5")]);
    near(green, "15.96", "0.01");
    assert!((green - d("15.898")).abs() > d("0.05"));
    let nine = mixed(&[("375", "19.3"), ("100", "10.5"), ("525", "8.96")]);
    near(nine, "11.422", "0.001");
    // The average by mass, 18.44, is wrong; volumes add up.
    let coin = mixed(&[("916", au), ("84", cu)]);
    near(coin, "17.6", "0.05");
    let composition: Composition = "Au 375 Ag 100 Cu 525".parse().unwrap();
    near(
        Density::of(&composition).unwrap().in_g_per_cm3(),
        "11.422",
        "0.001",
    );
}

#[test]
fn measured_alloys_lie_within_the_model_and_a_misprint_does_not() {
    // Gold and silver, measured, with the book's own ends 19.26 and 10.45 (Rose, table XIV).
    for (gold, measured, ideal) in [
        ("917", "18.08", "18.00"),
        ("843", "16.96", "17.01"),
        ("667", "15.07", "15.04"),
        ("500", "13.60", "13.55"),
        ("250", "11.78", "11.80"),
        ("167", "11.28", "11.31"),
    ] {
        let ends = [
            (d(gold), Density::g_per_cm3(d("19.26")).unwrap()),
            (d("1000") - d(gold), Density::g_per_cm3(d("10.45")).unwrap()),
        ];
        let mixed = Density::of_parts(ends).unwrap().in_g_per_cm3();
        assert!((mixed - d(ideal)).abs() <= d("0.006"), "{gold}: {mixed}");
        let apart = (d(measured) / mixed - Decimal::ONE).abs();
        assert!(apart < d("0.005"), "{gold}: {apart}");
        let silver = (d("1000") - d(gold)).to_string();
        let planned = format!("Au {gold} Ag {silver}");
        assert_eq!(
            of_density("20", measured, &planned, gold).verdict,
            Verdict::Agrees
        );
    }
    // Gold and copper, below ideal mixing by 0.7 per cent.
    let coin = of_density("20", "17.48", "Au 916.7 Cu 83.3", "916");
    assert_eq!(coin.verdict, Verdict::Agrees);
    assert!(coin.gold_ppt < d("916.7"));
    // The same table prints 13.00 for 333 of gold, five per cent off.
    let misprint = of_density("20", "13.00", "Au 333 Ag 667", "333");
    assert_eq!(misprint.verdict, Verdict::High);
}

#[test]
fn a_piece_as_planned_agrees_and_says_what_it_cannot_say() {
    let planned = "Au 750 Ag 125 Cu 125";
    let ideal = Density::of(&planned.parse().unwrap()).unwrap();
    let proof = of_density("20", &ideal.in_g_per_cm3().to_string(), planned, "750");
    assert_eq!(proof.verdict, Verdict::Agrees);
    assert_eq!(proof.expected.to_string(), ideal.to_string());
    assert!((proof.chance_this_low - d("0.5")).abs() < d("0.01"));
    // Planned at the mark itself: even odds, whatever the balance.
    assert!((proof.chance_lawful - d("0.5")).abs() < d("0.01"));
    // One per cent of density is about 12.6 per mille of gold here: 15.4^2 (1/19.3 - 1/9.67).
    assert!(
        (proof.model_u_ppt - d("12.6")).abs() < d("0.2"),
        "{}",
        proof.model_u_ppt
    );
    let words = proof.words().join(" ");
    assert!(
        words.contains("cannot show that the mark is met"),
        "{words}"
    );
    assert!(words.contains("tungsten"), "{words}");
    let seen = (proof.gold_u_ppt * Decimal::TWO).round();
    assert!(words.contains(&format!("below about {seen} ‰")), "{words}");
}

#[test]
fn a_lower_alloy_is_found_and_its_gold_read_off() {
    // 14 karat of the same metals in place of 18.
    let low = Density::of(&"Au 585 Ag 207.5 Cu 207.5".parse().unwrap()).unwrap();
    let proof = of_density(
        "20",
        &low.in_g_per_cm3().to_string(),
        "Au 750 Ag 125 Cu 125",
        "750",
    );
    assert_eq!(proof.verdict, Verdict::Low);
    assert!(proof.chance_lawful < d("0.001"));
    assert!(proof.chance_this_low < d("0.001"));
    assert!(
        proof
            .words()
            .join(" ")
            .contains("less gold in it than planned")
    );
    // Near the plan the first-order reading of gold is good.
    let near = Density::of(&"Au 740 Ag 130 Cu 130".parse().unwrap()).unwrap();
    let proof = of_density(
        "20",
        &near.in_g_per_cm3().to_string(),
        "Au 750 Ag 125 Cu 125",
        "750",
    );
    assert!(
        (proof.gold_ppt - d("740")).abs() < d("0.5"),
        "{}",
        proof.gold_ppt
    );
}

#[test]
fn a_small_piece_says_little_and_a_heavy_one_is_limited_by_the_model() {
    let planned = "Au 750 Ag 125 Cu 125";
    let small = of_density("0.5", "15.4", planned, "750");
    assert!(small.density_u > small.expected_u);
    assert!(
        small
            .words()
            .join(" ")
            .contains("a heavier piece or a finer balance would say more")
    );
    let heavy = of_density("50", "15.4", planned, "750");
    assert!(heavy.density_u < heavy.expected_u);
    assert!(heavy.gold_u_ppt < small.gold_u_ppt);
    let terms: Decimal = heavy
        .terms
        .iter()
        .map(|term| term.kg_per_m3 * term.kg_per_m3)
        .sum();
    let u = heavy.density_u;
    assert!((terms - u * u).abs() < d("0.1"), "{terms} {u}");
    assert_eq!(heavy.terms.len(), 7);
}

#[test]
fn metal_of_which_nothing_is_known_widens_the_expectation() {
    let known = of_density("20", "15.4", "Au 750 Ag 125 Cu 125", "750");
    let unknown = of_density("20", "15.4", "Au 750", "750");
    assert!(unknown.expected_u > known.expected_u);
    // Red and green gold of 750 both agree with it.
    for other in ["Au 750 Cu 250", "Au 750 Ag 250"] {
        let density = Density::of(&other.parse().unwrap()).unwrap().in_g_per_cm3();
        let proof = of_density("20", &density.to_string(), "Au 750", "750");
        assert_eq!(proof.verdict, Verdict::Agrees, "{other}");
    }
}

#[test]
fn weighings_that_cannot_be_are_refused() {
    let planned = "Au 750 Ag 125 Cu 125";
    let hung = |in_water: &str| weighings("10", InWater::Hung(gram(in_water)), planned, "750");
    for odd in [hung("10"), hung("10.1"), hung("0"), hung("-1")] {
        let told = prove(&odd).unwrap_err();
        assert_eq!(told.code, "proof-unreckoned");
    }
    let warm = Weighings {
        water_celsius: d("68"), // Fahrenheit
        ..hung("9.35")
    };
    assert!(prove(&warm).unwrap_err().happened.contains("0 and 40"));
    assert!(water_density(d("68")).is_none());
    let thin = Weighings {
        air: Air {
            pascal: d("1013"),
            ..Air::default()
        },
        ..hung("9.35")
    };
    assert!(prove(&thin).unwrap_err().mend.contains("pascal"));
    let fine = Weighings {
        planned: "Au 1000".parse().unwrap(),
        ..hung("9.35")
    };
    assert!(prove(&fine).unwrap_err().mend.contains("assay"));
}
