//! Blends, checked by sums made anew.

use rust_decimal::Decimal;
use serde_json::Value;

use super::{SHELF, answer, d, near, no_naked_number, reckon, reckon_with, refused_as};

/// Grams of each part of a blend, by exact sums made here anew: gold first, then those asked for.
fn parts_of(found: &Value, lots: &[&[(&str, &str)]], wanted: &[&str]) -> (Decimal, Vec<Decimal>) {
    let shelf: toml::Table = SHELF.parse().unwrap();
    let mut whole = Decimal::ZERO;
    let mut sums = vec![Decimal::ZERO; wanted.len()];
    let mut take = |grams: Decimal, part: &dyn Fn(&str) -> Decimal| {
        whole += grams;
        for (sum, element) in sums.iter_mut().zip(wanted) {
            *sum += grams * part(element) / Decimal::ONE_THOUSAND;
        }
    };
    for (used, lot) in found["used"].as_array().unwrap().iter().zip(lots) {
        take(d(&used["mass_g"]), &|element| {
            let part = lot.iter().find(|(symbol, _)| *symbol == element);
            part.map_or(Decimal::ZERO, |(_, ppt)| ppt.parse().unwrap())
        });
    }
    for add in found["add"].as_array().unwrap() {
        let metals = shelf["metal"].as_array().unwrap();
        let metal = metals
            .iter()
            .find(|metal| metal["key"].as_str() == add["key"].as_str());
        let made_of = metal.unwrap()["made_of"].as_str().unwrap().to_owned();
        take(d(&add["mass_g"]), &|element| {
            let mut words = made_of.split(' ');
            let found = words
                .find(|word| *word == element)
                .and_then(|_| words.next());
            found.map_or(Decimal::ZERO, |ppt| ppt.parse().unwrap())
        });
    }
    (whole, sums)
}

/// Per mille of a part of the whole.
fn ppt(part: Decimal, whole: Decimal) -> Decimal {
    part / whole * Decimal::ONE_THOUSAND
}

const LOT: [&str; 3] = ["blend", "--lot", "20 g@Au 916 Ag 42 Cu 42:fire-assay"];
const LOT_PARTS: &[(&str, &str)] = &[("Au", "916"), ("Ag", "42"), ("Cu", "42")];

#[test]
fn a_yellow_18_karat_comes_out_as_cheap_as_its_limits_let_it() {
    let asked = [
        &LOT[..],
        &[
            "--to",
            "18k",
            "--colour",
            "yellow",
            "--no",
            "nickel",
            "--at-most",
            "zinc=4",
        ],
    ]
    .concat();
    let found = answer(0, &asked);
    no_naked_number(&found);
    let (whole, sums) = parts_of(&found, &[LOT_PARTS], &["Au", "Ag", "Cu", "Zn", "Ni"]);
    let [gold, silver, copper, zinc, nickel] = sums[..] else {
        panic!("{sums:?}");
    };
    assert_eq!(whole, d(&found["total_g"]));
    let gold = ppt(gold, whole);
    assert!(
        gold >= Decimal::from(750) && gold <= Decimal::from(755),
        "{gold}"
    );
    assert!(ppt(zinc, whole) <= Decimal::from(4));
    assert!(zinc > Decimal::ZERO); // the cheapest metal that may be in it
    assert!(nickel.is_zero());
    let share = silver / (silver + copper);
    assert!(
        share >= Decimal::new(43, 2) && share <= Decimal::new(57, 2),
        "{share}"
    );
    assert_eq!(found["colour"]["family"], "yellow");
    assert!(d(&found["p_conform"]) >= Decimal::new(975, 3));
    // Nothing of the metal that is made for another karat, and the note says so.
    let said = found.to_string();
    assert!(
        said.contains("made for another fineness or use: moss-green"),
        "{said}"
    );
    // The cost is that of the masses.
    let price = |key: &str| match key {
        "fine-silver" => Decimal::new(110, 2),
        "copper" => Decimal::new(5, 2),
        "zinc" => Decimal::new(1, 2),
        other => panic!("{other} is dearer or not wanted"),
    };
    let adds = found["add"].as_array().unwrap();
    let cost: Decimal = adds
        .iter()
        .map(|add| price(add["key"].as_str().unwrap()) * d(&add["mass_g"]))
        .sum();
    near(&found["cost"]["amount"], &cost.to_string(), "0.005");
    assert_eq!(found["cost"]["currency"], "EUR");
    reckon(&asked)
        .ended(0)
        .has("To 750 ‰ (18 k), all of the client's metal used, at the least cost:")
        .has("lot 1         20.00 g   taken for 916 ‰ (u 0.50 ‰)")
        .has("The added metal costs ")
        .has("Colour: yellow")
        .has("Lawful as 750 ‰ with a chance of");
}

#[test]
fn with_the_clients_goal_as_much_of_the_lots_is_used_as_nickel_lets_in() {
    let nickel: &[(&str, &str)] = &[("Au", "585"), ("Ag", "142"), ("Cu", "142"), ("Ni", "131")];
    let asked = [
        "blend",
        "--lot",
        "20 g@Au 585 Ag 142 Cu 142 Ni 131:declared:0.5",
        "--to",
        "750",
        "--make",
        "12 g",
        "--at-most",
        "nickel=20",
        "--goal",
        "client",
        "--with",
        "fine",
        "--with",
        "fine-silver",
        "--with",
        "copper",
    ];
    let found = answer(3, &asked); // nickel is warned of
    let (whole, sums) = parts_of(&found, &[nickel], &["Ni", "Au"]);
    let part = ppt(sums[0], whole);
    // As much as may be, but for the rounding of the lot to the division.
    assert!(
        part <= Decimal::from(20) && part > Decimal::new(198, 1),
        "{part}"
    );
    assert!(ppt(sums[1], whole) >= Decimal::from(750));
    assert!(
        whole >= Decimal::from(12) && whole <= Decimal::new(1208, 2),
        "{whole}"
    );
    let (used, left) = (
        d(&found["used"][0]["mass_g"]),
        d(&found["used"][0]["left_over_g"]),
    );
    assert_eq!(used + left, Decimal::from(20));
    assert_eq!(found["goal"], "client");
    // `fine` is the shop's own, with its price.
    assert!(
        found["add"]
            .as_array()
            .unwrap()
            .iter()
            .any(|add| add["key"] == "fine-gold")
    );
    reckon(&asked)
        .ended(3)
        .has("is left over")
        .has("with the most of the client's metal")
        .has("Nickel sensitises skin");
}

#[test]
fn what_is_unknown_leaves_limits_unproven_or_counts_against_them() {
    let asked = |more: &[&'static str]| {
        [
            &["blend", "--lot", "10 g@916:fire-assay", "--to", "750"][..],
            &["--no", "nickel", "--silver-share", "0.3..0.7"],
            &["--with", "copper", "--with", "fine-silver"],
            more,
        ]
        .concat()
    };
    let found = answer(3, &asked(&[]));
    let unproven = found["unproven"].as_array().unwrap();
    assert_eq!(unproven[0], "there is no nickel in it");
    reckon(&asked(&[]))
        .ended(3)
        .has("Not proven: that there is no nickel in it. It holds for what is known");
    // 84 of 1000 unknown could all be nickel.
    refused_as(
        "blend-hindered",
        "there is no nickel",
        &asked(&["--strict"]),
    );
}

#[test]
fn what_is_not_sure_enough_is_told_and_what_can_be_made_sure_is() {
    let lot = |text: &'static str| ["blend", "--lot", text, "--to", "750", "--with", "copper"];
    let found = answer(3, &lot("20 g@22k:xrf"));
    assert!(d(&found["p_conform"]) < Decimal::new(975, 3));
    // It is then the surest that wastes no more: just below 755.
    near(&found["fineness_ppt"], "755", "0.5");
    let warned = found["warnings"].to_string();
    assert!(
        warned.contains("Most of the doubt is the fineness of lot 1"),
        "{warned}"
    );
    // With u of 2 per mille, 752.5 is not sure enough; 753.2 and more is.
    let found = answer(0, &lot("20 g@22k:declared:2"));
    assert!(d(&found["p_conform"]) >= Decimal::new(975, 3), "{found}");
    assert!(d(&found["fineness_ppt"]) > Decimal::from(753), "{found}");
    let wide = [&lot("20 g@22k:xrf")[..], &["--give-away", "20"]].concat();
    assert!(d(&answer(0, &wide)["p_conform"]) >= Decimal::new(975, 3));
}

#[test]
fn white_is_made_with_palladium_and_with_nickel_only_where_it_must() {
    let white =
        |more: &[&'static str]| [&LOT[..], &["--to", "750", "--colour", "white"], more].concat();
    let found = answer(0, &white(&["--no", "zinc", "--no", "nickel"]));
    assert_eq!(found["colour"]["family"], "white by palladium");
    let (whole, sums) = parts_of(&found, &[LOT_PARTS], &["Pd", "Ni", "Zn"]);
    assert!(ppt(sums[0], whole) >= Decimal::ONE_HUNDRED);
    assert!(sums[1].is_zero() && sums[2].is_zero());
    let found = answer(3, &white(&["--no", "palladium"]));
    assert_eq!(found["colour"]["family"], "white by nickel");
    refused_as(
        "blend-hindered",
        "White was asked for, and takes 100 ‰ of palladium or of nickel.",
        &white(&["--no", "palladium,nickel"]),
    );
}

#[test]
fn without_lots_a_mass_is_made_of_the_shelf_inside_its_stock() {
    let make = |mass: &'static str| {
        [
            "blend",
            "--make",
            mass,
            "--to",
            "750",
            "--silver-share",
            "0.5",
            "--with",
            "fine",
            "--with",
            "fine-silver",
            "--with",
            "copper",
        ]
    };
    let found = answer(0, &make("12 g"));
    assert!(d(&found["total_g"]) >= Decimal::from(12));
    assert!(found["used"].as_array().unwrap().is_empty());
    // 20 g of 750 take 15 g of gold, and the stock is 10 g.
    refused_as("blend-hindered", "only 10.00 g of fine gold", &make("20 g"));
}

#[test]
fn prices_are_not_made_up() {
    let asked = [
        "blend",
        "--lot",
        "10 g@999.9:fire-assay",
        "--to",
        "750",
        "--json",
    ];
    let shelf = "[[metal]]\nkey = \"copper\"\nmade_of = \"Cu 1000\"\n";
    let found = reckon_with(Some(shelf), &asked);
    let found = found.ended(0).json();
    assert_eq!(found["cost"], Value::Null);
    assert!(
        found["warnings"]
            .to_string()
            .contains("as little as can be is added")
    );
    let mixed = format!(
        "{shelf}price_per_gram = \"0.05 EUR\"\n[[metal]]\nkey = \"silver\"\nmade_of = \"Ag 1000\"\nprice_per_gram = \"1 USD\"\n"
    );
    let told = reckon_with(Some(&mixed), &asked);
    assert_eq!(told.ended(1).json()["code"], "currencies-differ");
    let empty = reckon_with(None, &asked);
    assert_eq!(empty.ended(1).json()["code"], "shelf-empty");
    let broken = reckon_with(Some("[[metal]]\nkey = \"copper\"\n"), &asked);
    broken.ended(1);
}

#[test]
fn blends_that_cannot_be_are_told_with_what_is_in_the_way() {
    let to = |more: &[&'static str]| [&LOT[..], more].concat();
    for (code, said, arguments) in [
        (
            "blend-hindered",
            "the fineness is at least 990",
            to(&["--to", "990", "--with", "copper"]),
        ),
        (
            "blend-hindered",
            "no more than 916.0 ‰ of gold can be had",
            to(&["--to", "990", "--with", "copper"]),
        ),
        (
            "blend-hindered",
            "copper is at most 5 ‰",
            to(&["--to", "750", "--with", "copper", "--at-most", "copper=5"]),
        ),
        (
            "make-nothing",
            "nothing to make",
            to(&["--to", "750", "--at-most", "zinc=20", "--make", "0 g"]),
        ),
    ] {
        refused_as(code, said, &arguments);
    }
}

#[test]
fn what_is_typed_wrong_in_a_blend_is_told_with_what_is_right() {
    let to = |more: &[&'static str]| [&LOT[..], more].concat();
    for (code, said, arguments) in [
        (
            "risk-unclear",
            "above 0 and up to 500",
            to(&["--to", "750", "--risk", "0"]),
        ),
        (
            "limit-unknown",
            "gold, silver, copper, zinc, nickel",
            to(&["--to", "750", "--no", "nikkel"]),
        ),
        (
            "limit-unreadable",
            "zinc=50",
            to(&["--to", "750", "--at-most", "zinc"]),
        ),
        (
            "number-unreadable",
            "from 0 to 1000",
            to(&["--to", "750", "--at-least", "Pd=1001"]),
        ),
        (
            "colour-unknown",
            "yellow, pale-yellow, pink, red, green, white",
            to(&["--to", "750", "--colour", "mauve"]),
        ),
        (
            "colour-not-had",
            "ask for one of: yellow, white",
            to(&["--to", "916", "--colour", "red"]),
        ),
        (
            "share-unreadable",
            "0.4..0.6",
            to(&["--to", "750", "--silver-share", "0.6..0.4"]),
        ),
        (
            "goal-unknown",
            "cheapest, client",
            to(&["--to", "750", "--goal", "dearest"]),
        ),
        (
            "metal-unknown",
            "fine-silver",
            to(&["--to", "750", "--with", "mithril"]),
        ),
        (
            "use-unknown",
            "casting, sheet",
            to(&["--to", "750", "--use", "teeth"]),
        ),
        (
            "lot-unreadable",
            "needs its mass",
            to(&["--to", "750", "--lot", "@18k"]),
        ),
        (
            "lot-unreadable",
            "it has no @",
            to(&["--to", "750", "--lot", "5g"]),
        ),
        (
            "lot-unreadable",
            "a stamp promises gold only",
            to(&["--to", "750", "--lot", "5g@Au 750 Ag 250:stamp"]),
        ),
        (
            "basis-unknown",
            "touchstone",
            to(&["--to", "750", "--lot", "5g@750:hearsay"]),
        ),
        ("fineness-unreadable", "585", to(&["--to", "18ct"])),
    ] {
        refused_as(code, said, &arguments);
    }
    // Wrong usage: nothing to blend, no target, the colour asked for in two ways.
    reckon(&["blend", "--to", "750"]).ended(2);
    reckon(&LOT).ended(2);
    reckon(&to(&[
        "--to",
        "750",
        "--colour",
        "pink",
        "--silver-share",
        "0.4",
    ]))
    .ended(2);
}

#[test]
fn a_lot_from_a_finer_balance_or_in_another_unit_is_not_rounded() {
    let found = answer(
        0,
        &[
            "blend",
            "--lot",
            "240grain@22k:fire-assay",
            "--to",
            "18k",
            "--with",
            "copper",
        ],
    );
    assert_eq!(found["used"][0]["mass_g"], "15.5517384");
    assert_eq!(found["used"][0]["left_over_g"], "0.00");
    let copper = d(&found["add"][0]["mass_g"]);
    assert_eq!(copper.scale(), 2); // what is weighed is weighed here
    let wanted = Decimal::new(155_517_384, 7) + copper;
    near(&found["total_g"], &wanted.to_string(), "0.005");
}

#[test]
fn what_must_be_sure_does_not_add_more_metal_than_it_needs() {
    // 8.20 g of 750 by XRF and 5.00 g of 585: 3.63 g of fine gold bring them to 754.9, sure enough.
    // A guard that leaves no room for rounding must not be met with three times the metal.
    let asked = [
        "blend",
        "--lot",
        "8.20 g@750:xrf",
        "--lot",
        "5.00 g@Au 585 Ag 300 Cu 115",
        "--to",
        "18k",
        "--no",
        "nickel",
    ];
    let found = answer(3, &asked); // part of it is unknown
    let added: Decimal = found["add"]
        .as_array()
        .unwrap()
        .iter()
        .map(|add| d(&add["mass_g"]))
        .sum();
    assert!(added < Decimal::from(5), "{found:#}");
}
