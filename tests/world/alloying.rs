//! Worked alloying examples, as printed. Where a book says alloy it means metal without gold.

use std::cmp::Ordering;

use super::*;

/// A division that every answer below is a multiple of, if it is any.
const FINEST: &str = "0.0000001 g";

/// Warren, A Manual of Mechanical Dentistry and Metallurgy, pp. 204-207 (quoting G. Watt): 1 dwt of
/// 16 k is raised to 18 k by 1/3 dwt of fine gold.
#[test]
fn a_pennyweight_of_sixteen_raised_to_eighteen() {
    let gold = needed(&melt(&[("1 dwt", "16k")]), "24k", "18k");
    near(
        of_unit(gold, Unit::Pennyweight) * d("3"),
        "1",
        "0.00000000000000000001",
    );
    // No balance weighs a third; the answer says between what it lies instead of rounding.
    assert!(matches!(
        refused(&melt(&[("1 dwt", "16k")]), "24k", "18k"),
        NoWindow::TooCoarse { .. }
    ));
}

#[test]
fn ten_karat_raised_to_fourteen_with_fine_gold() {
    // 20 g: goldsmiths' forum thread, name withheld: 8 g, in all 28 g.
    let lot = melt(&[("20 g", "10k")]);
    assert_eq!(needed_exactly(&lot, "24k", "14k", FINEST), m("8 g"));
    assert_eq!(lot.with(m("8 g"), f("24k")).mass(), m("28 g"));
    assert_eq!(lot.with(m("8 g"), f("24k")).fineness(), Some(f("14k")));
    // 7 g, and 25 dwt: trade pages, names withheld: 2.8 g; 10 dwt, in all 35 dwt.
    assert_eq!(
        needed_exactly(&melt(&[("7 g", "10k")]), "24k", "14k", FINEST),
        m("2.8 g")
    );
    let lot = melt(&[("25 dwt", "10k")]);
    let gold = needed_exactly(&lot, "24k", "14k", "0.01 dwt");
    assert_eq!((gold, lot.mass() + gold), (m("10 dwt"), m("35 dwt")));
    // The same with the decimals that a display has: mass balance, no source needed.
    let gold = needed(&melt(&[("20 g", "416.67")]), "999.9", "583.33");
    near(gold.grams(), "8.0019", "0.0005");
}

#[test]
fn fine_gold_lowered() {
    // Warren, pp. 204-207: 6 oz to 16 k with 3 oz, in all 9 oz.
    let lot = melt(&[("6 ozt", "24k")]);
    let alloy = needed_exactly(&lot, "0 ppt", "16k", "0.001 ozt");
    assert_eq!((alloy, lot.mass() + alloy), (m("3 ozt"), m("9 ozt")));
    // Goldsmiths' forum threads, names withheld: 20 dwt to 18 k with 6.66 dwt, in all 26.66; 31.1 g
    // with 10.36 to 10.37 g, in all 41.46 to 41.47 g.
    let alloy = needed(&melt(&[("20 dwt", "24k")]), "0 ppt", "18k");
    near(of_unit(alloy, Unit::Pennyweight), "6.66", "0.01");
    let alloy = needed(&melt(&[("31.1 g", "24k")]), "0 ppt", "18k");
    assert!((m("10.36 g")..=m("10.37 g")).contains(&alloy));
    assert!((m("41.46 g")..=m("41.47 g")).contains(&(m("31.1 g") + alloy)));
}

/// Warren, pp. 204-207, general rules: lowering, the whole is 24 times the fine gold over the karat
/// wanted; raising, it is the mass times (24 - have) over (24 - want).
#[test]
fn the_old_rules_hold_for_every_pair_of_karats() {
    for have in 1..24_i64 {
        for want in 1..24_i64 {
            let (h, w) = (format!("{have}k"), format!("{want}k"));
            let lot = melt(&[("24 g", &h)]);
            let have = Decimal::from(have);
            let want = Decimal::from(want);
            let whole = |added: Mass| (lot.mass() + added).grams();
            match want.cmp(&have) {
                Ordering::Less => {
                    let fine = have; // of 24 g
                    let printed = Decimal::from(24) * fine / want;
                    near(
                        whole(needed(&lot, "0 ppt", &w)),
                        &printed.to_string(),
                        "0.000000000000000000001",
                    );
                    assert!(matches!(
                        refused(&lot, "24k", &w),
                        NoWindow::WrongWay { .. }
                    ));
                }
                Ordering::Greater => {
                    let printed = lot.mass().grams() * (Decimal::from(24) - have)
                        / (Decimal::from(24) - want);
                    near(
                        whole(needed(&lot, "24k", &w)),
                        &printed.to_string(),
                        "0.000000000000000000001",
                    );
                    assert!(matches!(
                        refused(&lot, "0 ppt", &w),
                        NoWindow::WrongWay { .. }
                    ));
                }
                Ordering::Equal => {
                    assert!(matches!(refused(&lot, "24k", &w), NoWindow::Enough { .. }));
                }
            }
        }
    }
}

/// Dental metallurgy texts of the 19th century: raised with gold that is not fine, 24 gives way to the
/// karat of that gold, so that the whole is the mass times (finer - have) over (finer - want).
#[test]
fn the_old_rule_for_raising_holds_with_gold_of_any_karat() {
    let mut tried = 0;
    for finer in 3..=24_i64 {
        for want in 2..finer {
            for have in 1..want {
                let [f, w, h] = [finer, want, have].map(|karat| format!("{karat}k"));
                let lot = melt(&[("24 g", &h)]);
                let whole = lot.mass() + needed(&lot, &f, &w);
                let printed = d("24") * Decimal::from(finer - have) / Decimal::from(finer - want);
                near(
                    whole.grams(),
                    &printed.to_string(),
                    "0.000000000000000000001",
                );
                tried += 1;
            }
        }
    }
    assert_eq!(tried, 2024, "every three of 24 karats");
}

#[test]
fn the_karat_of_a_recipe() {
    // Warren, pp. 204-207: 6 parts gold, 2 silver, 1 copper is 16 k.
    let recipe = melt(&[("6 g", "24k"), ("2 g", "0 ppt"), ("1 g", "0 ppt")]);
    assert_eq!(recipe.fineness(), Some(f("16k")));
    // Warren: clasp gold of 20 dwt gold, 2 copper, 1 silver, 1 platinum is 20 k.
    let clasp = melt(&[
        ("20 dwt", "24k"),
        ("2 dwt", "0 ppt"),
        ("1 dwt", "0 ppt"),
        ("1 dwt", "0 ppt"),
    ]);
    assert_eq!(clasp.fineness(), Some(f("20k")));
    // Webber, Mathematics compiled from the best authors, vol. 1, pp. 127-129: 17, 18, 22 and 24 k
    // make 21 k as 3, 1, 3 and 4 parts.
    let four = melt(&[
        ("3 g", "17k"),
        ("1 g", "18k"),
        ("3 g", "22k"),
        ("4 g", "24k"),
    ]);
    assert_eq!((four.mass(), four.fineness()), (m("11 g"), Some(f("21k"))));
    // T. K. Rose, The Metallurgy of Gold, p. 49, table XIII: 9 ct is 375 gold, 100 silver, 525 copper;
    // so 22, 18, 15 and 12 in the same table.
    for (gold, silver, copper, karat) in [
        ("916.7", "20", "63.3", "22.0"),
        ("750", "125", "125", "18.0"),
        ("625", "100", "275", "15.0"),
        ("500", "100", "400", "12.0"),
        ("375", "100", "525", "9.0"),
    ] {
        let [gold, silver, copper] = [gold, silver, copper].map(|mass| format!("{mass} g"));
        let alloy = melt(&[(&gold, "24k"), (&silver, "0 ppt"), (&copper, "0 ppt")]);
        assert_eq!(alloy.mass(), m("1000 g"), "the row sums to a thousand");
        let found = alloy.fineness().unwrap();
        assert_eq!(found.to_karat(1).to_string(), karat);
    }
}

/// Henley's Twentieth Century Formulas, Recipes and Processes: French solders of 3, 2 or 1 parts of
/// gold to 1 of silver and copper, called 13.5, 12 and 9. That closes only if the gold is of 18 k,
/// which the book leaves out.
#[test]
fn french_solders_close_only_with_gold_of_eighteen() {
    for (parts, karat) in [("3 g", "13.5k"), ("2 g", "12k"), ("1 g", "9k")] {
        let of = |gold: &str| melt(&[(parts, gold), ("1 g", "0 ppt")]).fineness();
        assert_eq!(of("18k"), Some(f(karat)));
        assert_ne!(of("24k"), Some(f(karat)), "not with fine gold, as it reads");
    }
}

#[test]
fn lots_that_no_alloy_can_raise() {
    // Pike, A New and Complete System of Arithmetic, on alligation: 5 lb of 20 with 8 lb of 18 lie
    // 3 3/13 k below 22, so gold must be added and no alloy helps.
    let lots = melt(&[("5 lb", "20k"), ("8 lb", "18k")]);
    assert_eq!(
        lots.fineness().unwrap().to_karat(6).to_string(),
        "18.769231"
    );
    assert!(matches!(
        refused(&lots, "0 ppt", "22k"),
        NoWindow::WrongWay { .. }
    ));
    let gold = needed(&lots, "24k", "22k");
    // 42/13 k short on 13 lb, 2 k of lever: 21 lb of fine gold.
    near(of_unit(gold, Unit::Pound), "21", "0.00000000000000000001");
    // Webber, vol. 1, pp. 127-129: 10 lb of 20 with 16 lb of 18 are 18 10/13, the same.
    let lots = melt(&[("10 lb", "20k"), ("16 lb", "18k")]);
    assert_eq!(
        lots.fineness().unwrap().to_karat(6).to_string(),
        "18.769231"
    );
    assert!(matches!(
        refused(&lots, "0 ppt", "22k"),
        NoWindow::WrongWay { .. }
    ));
}

/// So much of two finenesses for a whole: one part of the first asks for `x` of the second, and the
/// whole is parted as 1 to x.
fn parted(first: &str, second: &str, wanted: &str, whole: &str) -> [Decimal; 2] {
    let x = needed(&melt(&[("1 g", first)]), second, wanted).grams();
    let one = d(whole) / (Decimal::ONE + x);
    [one, one * x]
}

/// Sums on mixtures from school algebra texts, names withheld.
#[test]
fn two_finenesses_for_a_given_whole() {
    for (first, second, wanted, whole, printed) in [
        // 18 k and 12 k to 120 g of 16 k: 80 and 40.
        ("18k", "12k", "16k", "120", ["80", "40"]),
        // 20 % and 60 % gold to 80 g of 52 %: 16 and 64.
        ("200", "600", "520", "80", ["16", "64"]),
        // 70 % and 60 % gold to 100 oz of 66 %: 60 and 40.
        ("700", "600", "660", "100", ["60", "40"]),
    ] {
        let found = parted(first, second, wanted, whole);
        for (found, printed) in found.iter().zip(printed) {
            near(*found, printed, "0.00000000000000000001");
        }
    }
    let sixteen = melt(&[("80 g", "18k"), ("40 g", "12k")]);
    assert_eq!(sixteen.fineness(), Some(f("16k")));
}

#[test]
fn factors_for_the_weight_on_hand() {
    let factor =
        |have: &str, metal: &str, want: &str| needed(&melt(&[("1 g", have)]), metal, want).grams();
    // Lowering: a chart in a goldsmiths' forum, name withheld.
    for (have, want, printed) in [
        ("24k", "22k", "0.091"),
        ("24k", "18k", "0.333"),
        ("24k", "14k", "0.714"),
        ("24k", "10k", "1.40"),
        ("18k", "14k", "0.286"),
        ("18k", "10k", "0.800"),
        ("18k", "9k", "1.00"),
        ("14k", "10k", "0.400"),
        ("14k", "9k", "0.556"),
        ("10k", "9k", "0.111"),
    ] {
        near(factor(have, "0 ppt", want), printed, "0.0005");
    }
    // The same chart prints 1.677 for 24 to 9; mass balance gives 15/9.
    let right = factor("24k", "0 ppt", "9k");
    near(right, "1.667", "0.0005");
    assert!((right - d("1.677")).abs() > d("0.009"), "the chart's slip");
    // Followed, the slip gives away nothing but the mark: the melt falls below 9 k.
    let slipped = melt(&[("1 g", "24k"), ("1.677 g", "0 ppt")]);
    assert!(!slipped.is_at_least(f("9k")));
    // Raising with fine gold: a trade page, name withheld.
    for (have, want, printed) in [
        ("9k", "10k", "0.071"),
        ("9k", "14k", "0.500"),
        ("10k", "14k", "0.400"),
    ] {
        near(factor(have, "24k", want), printed, "0.0005");
    }
}
