//! Worked alloying examples as printed, typed in as a goldsmith would. Where a book says alloy it means
//! metal without gold. The plain mass balance is `exact_g`, nine digits and more.

use rust_decimal::Decimal;

use super::run::{Answer, ask, near};

/// How far the last digit of an answer may be from the sum.
const WRITTEN: &str = "0.0000000000005";

fn of_unit(grams: Decimal, unit: &str) -> Decimal {
    let unit: Decimal = match unit {
        "g" => Decimal::ONE,
        "dwt" => "1.55517384".parse().unwrap(),
        "ozt" => "31.1034768".parse().unwrap(),
        "lb" => "453.59237".parse().unwrap(),
        _ => panic!("{unit}"),
    };
    grams / unit
}

/// What the only addition is by plain mass balance.
fn exact(answer: &Answer) -> Decimal {
    assert_eq!(answer.additions(), 1, "{}", answer.json);
    let text = answer.text("add/0/exact_g");
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    assert!(digits >= 10, "{text} has too few digits");
    answer.number("add/0/exact_g")
}

#[test]
fn raising_with_fine_gold() {
    for (lot, target, metal, printed, unit, within) in [
        // Warren, A Manual of Mechanical Dentistry and Metallurgy, pp. 204-207 (quoting G. Watt): 1 dwt
        // of 16 k to 18 k takes 1/3 dwt.
        (
            "1dwt@16k",
            "18k",
            "1000",
            "0.333333333333",
            "dwt",
            "0.000000000001",
        ),
        // Goldsmiths' forum thread, name withheld: 20 g of 10 k to 14 k takes 8 g.
        ("20g@10k", "14k", "1000", "8", "g", WRITTEN),
        // Trade pages, names withheld: 7 g takes 2.8 g; 25 dwt takes 10 dwt.
        ("7g@10k", "14k", "1000", "2.8", "g", WRITTEN),
        ("25dwt@10k", "14k", "1000", "10", "dwt", "0.000000000001"),
        // Mass balance, worked out here: with gold of 999.9, and with what a display shows of karats.
        ("20g@10k", "14k", "fine", "8.001920460911", "g", WRITTEN),
        ("20g@416.67", "583.33", "999.9", "8.0019", "g", "0.0005"),
    ] {
        let answer = ask(&format!(
            "--lot {lot} --to {target} --with {metal} --division 0.001g"
        ));
        near(of_unit(exact(&answer.fine()), unit), printed, within);
    }
}

/// 20 g of 10 k to 14 k with gold of 999.9: 20 (1750 - 1250) / (2999.7 - 1750) in three-thousandths,
/// which is 10000/1249.7.
#[test]
fn the_answer_has_nine_digits_and_more() {
    let answer = ask("--lot 20g@10k --to 14k --with fine").fine();
    let (over, under): (Decimal, Decimal) = (10_000.into(), "1249.7".parse().unwrap());
    near(exact(&answer), &(over / under).to_string(), WRITTEN);
    assert!(answer.text("add/0/exact_g").starts_with("8.0019204"));
}

#[test]
fn lowering_fine_gold() {
    for (lot, target, printed, unit, within) in [
        // Warren, pp. 204-207: 6 oz to 16 k takes 3 oz.
        ("6ozt@1000", "16k", "3", "ozt", "0.000000000001"),
        // Goldsmiths' forum threads, names withheld: 20 dwt to 18 k takes 6.66 dwt; 31.1 g takes 10.36 to
        // 10.37 g.
        ("20dwt@1000", "18k", "6.66", "dwt", "0.01"),
        ("31.1g@1000", "18k", "10.365", "g", "0.005"),
    ] {
        let answer = ask(&format!("--lot {lot} --to {target} --with '0 ppt'")).fine();
        near(of_unit(exact(&answer), unit), printed, within);
        // Without a word the same metal is supposed, and it is said.
        let unsaid = ask(&format!("--lot {lot} --to {target}")).fine();
        assert_eq!(exact(&unsaid), exact(&answer));
        assert!(unsaid.warnings().contains("No metal was named"));
    }
}

#[test]
fn a_recipe_has_the_karat_that_is_printed() {
    for (lots, karat) in [
        // Warren, pp. 204-207: 6 parts gold, 2 silver, 1 copper; clasp gold of 20 dwt gold, 2 copper, 1
        // silver, 1 platinum.
        ("--lot 6g@1000 --lot '2g@0 ppt' --lot '1g@0 ppt'", "16"),
        (
            "--lot 20dwt@1000 --lot '2dwt@0 ppt' --lot '1dwt@0 ppt' --lot '1dwt@0 ppt'",
            "20",
        ),
        // Webber, Mathematics compiled from the best authors, vol. 1, pp. 127-129: 3, 1, 3 and 4 parts of
        // 17, 18, 22 and 24 k.
        ("--lot 3g@17k --lot 1g@18k --lot 3g@22k --lot 4g@1000", "21"),
        // T. K. Rose, The Metallurgy of Gold, p. 49, table XIII: 375 gold, 100 silver, 525 copper.
        (
            "--lot 37.5g@1000 --lot '10g@0 ppt' --lot '52.5g@0 ppt'",
            "9",
        ),
        // Henley's Twentieth Century Formulas, Recipes and Processes: solders of 3, 2, 1 parts of gold to
        // 1 of silver and copper, which close only if the gold is of 18 k.
        ("--lot 3g@18k --lot '1g@0 ppt'", "13.5"),
        ("--lot 2g@18k --lot '1g@0 ppt'", "12"),
        ("--lot 1g@18k --lot '1g@0 ppt'", "9"),
    ] {
        // Aimed below, so that nothing need be added: the melt of the lots is what is asked for.
        let answer = ask(&format!("{lots} --to {karat}k --risk 500"));
        assert_eq!(answer.additions(), 0, "{}", answer.json);
        assert_eq!(answer.number("karat"), karat.parse().unwrap(), "{lots}");
    }
}

/// Pike, A New and Complete System of Arithmetic, on alligation: 5 lb of 20 with 8 lb of 18 lie 3 3/13 k
/// below 22; Webber, vol. 1, pp. 127-129: 10 lb and 16 lb, the same. No alloy helps; gold must be added.
#[test]
fn lots_that_no_alloy_can_raise() {
    for lots in [
        "--lot 5lb@20k --lot 8lb@18k",
        "--lot 10lb@20k --lot 16lb@18k",
    ] {
        let refused = ask(&format!("{lots} --to 22k --with '0 ppt'"));
        let (code, said) = refused.refused();
        assert_eq!(code, "no-window");
        assert!(said.contains("782.05 ‰"), "18 10/13 k: {said}");
        assert!(said.contains("only lower it further"), "{said}");
        assert!(said.contains("Add fine gold"), "{said}");
        // Asked without naming a metal, fine gold is what is supposed.
        let raised = ask(&format!("{lots} --to 22k"));
        assert!(raised.text("add/0/metal").contains("999.90 ‰"));
    }
    // 42/13 k short on 13 lb with 2 k of lever: 21 lb of fine gold.
    let gold = ask("--lot 5lb@20k --lot 8lb@18k --to 22k --with 1000").fine();
    near(of_unit(exact(&gold), "lb"), "21", "0.000000000001");
}

/// Sums on mixtures from school algebra texts, names withheld: two finenesses for a whole.
#[test]
fn two_finenesses_for_a_given_whole() {
    for (one, other, make, target, printed) in [
        ("18k", "12k", "120g", "16k", ["80", "40"]),
        // 20 % and 60 % gold to 80 g of 52 %; 70 % and 60 % to 100 oz of 66 %.
        ("200", "600", "80g", "520", ["16", "64"]),
        (
            "700",
            "600",
            "100oz",
            "660",
            ["1700.9713875", "1133.980925"],
        ),
    ] {
        let typed = format!("--lot @{one} --lot @{other} --make {make} --to {target}");
        let answer = ask(&typed).fine();
        let found = [0, 1].map(|at| answer.number(&format!("used/{at}/mass_g")));
        assert_eq!(found, printed.map(|n| n.parse().unwrap()), "{typed}");
        let total: Decimal = found.iter().sum();
        assert_eq!(answer.number("total_g"), total);
        // The other way round.
        let turned = ask(&format!(
            "--lot @{other} --lot @{one} --make {make} --to {target}"
        ));
        assert_eq!(turned.number("used/0/mass_g"), found[1]);
    }
    let out = ask("--lot @18k --lot @12k --make 120g --to 20k");
    assert!(out.refused().1.contains("does not lie between"));
}

/// Factors for the weight on hand: charts in a goldsmiths' forum (lowering) and on a trade page (raising),
/// names withheld.
#[test]
fn factors_for_the_weight_on_hand() {
    for (have, want, metal, printed) in [
        ("1000", "22k", "'0 ppt'", "9.1"),
        ("1000", "18k", "'0 ppt'", "33.3"),
        ("1000", "14k", "'0 ppt'", "71.4"),
        ("1000", "10k", "'0 ppt'", "140"),
        ("18k", "14k", "'0 ppt'", "28.6"),
        ("18k", "9k", "'0 ppt'", "100"),
        ("14k", "9k", "'0 ppt'", "55.6"),
        ("10k", "9k", "'0 ppt'", "11.1"),
        ("9k", "10k", "1000", "7.1"),
        ("9k", "14k", "1000", "50"),
        ("10k", "14k", "1000", "40"),
    ] {
        let answer = ask(&format!("--lot 100g@{have} --to {want} --with {metal}")).fine();
        near(exact(&answer), printed, "0.05");
    }
    // The chart prints 1.677 for 24 to 9 k; mass balance gives 15/9, and so does this.
    let right = ask("--lot 100g@1000 --to 9k").fine();
    near(exact(&right), "166.666666666667", "0.000000000001");
    let upper: Decimal = right.window(0)[1].parse().unwrap();
    assert!(upper < "167.7".parse().unwrap(), "the chart's slip is over");
}

/// A troy ounce of fine gold taken for an avoirdupois one, to 18 k: a goldsmiths' forum thread, name
/// withheld, worked both.
#[test]
fn the_wrong_ounce() {
    near(exact(&ask("--lot 1ozt@1000 --to 18k")), "10.37", "0.005");
    near(exact(&ask("--lot 1oz@1000 --to 18k")), "9.45", "0.005");
}
