//! Finenesses, marks and the rule of no minus tolerance.

use super::*;

/// Karat k is k/24 by definition; the marks are the usual ones, as encyclopaedic lists give
/// them. What a mark says above or below its karat is in the last column.
#[test]
fn the_table_of_karats() {
    for (karat, ppt, mark, difference) in [
        ("8k", "333.33", "333", "-0.33"),
        ("9k", "375.00", "375", "0.00"),
        ("10k", "416.67", "417", "0.33"),
        ("10k", "416.67", "416", "-0.67"), // as some strike it
        ("12k", "500.00", "500", "0.00"),
        ("14k", "583.33", "585", "1.67"),
        ("14k", "583.33", "583", "-0.33"), // of old
        ("15k", "625.00", "625", "0.00"),
        ("18k", "750.00", "750", "0.00"),
        ("20k", "833.33", "833", "-0.33"),
        ("21k", "875.00", "875", "0.00"),
        ("22k", "916.67", "916", "-0.67"),
        ("23k", "958.33", "958", "-0.33"),
        ("24k", "1000.00", "1000", "0.00"),
    ] {
        assert_eq!(f(karat).to_per_mille(2).to_string(), ppt, "{karat}");
        let apart = f(mark).three_thousandths() - f(karat).three_thousandths();
        near(apart / d("3"), difference, "0.005");
    }
}

#[test]
fn karat_and_mark_are_exact_and_not_taken_for_each_other() {
    // 585 per mille is 14.04 karat: usual in German lists, from the definition k/24.
    assert_eq!(f("585").to_karat(2).to_string(), "14.04");
    assert_eq!(f("585"), f("14.04k"));
    // Three parts of 14 k metal hold 7/4 parts of gold, with nothing left over.
    let three = melt(&[("3 g", "14k")]);
    assert_eq!(three.gold().three_thousandths(), d("1.75") * d("3000"));
    assert_eq!(three.gold().mass(), m("1.75 g"));
    // UK Hallmarking Act 1973, Schedule 2, as enacted: 916.6, not 22/24.
    assert!(f("916.6") < f("22k"));
    assert!(f("916") < f("916.6"));
}

/// ISO 9202: fineness is a minimum and no minus tolerance is allowed (public abstract of the final
/// draft of the 2025/2026 edition).
#[test]
fn exact_karat_fails_a_mark_above_it() {
    for (karat, mark, short) in [("14k", "585", "1.67"), ("10k", "417", "0.33")] {
        let melt = melt(&[("10 g", karat)]);
        assert!(!melt.is_at_least(f(mark)), "{karat} is not {mark}");
        let short_by = -melt.surplus(f(mark)) / (d("10") * d("3"));
        near(short_by, short, "0.005");
        assert!(melt.is_at_least(f(karat)), "to the last digit, not below");
    }
    // The smallest step that a fineness can be stated in is enough to fail or pass.
    assert!(!melt(&[("1 g", "584.9999")]).is_at_least(f("585")));
    assert!(melt(&[("1 g", "585.0001")]).is_at_least(f("585")));
}

#[test]
fn a_mark_may_understate_and_not_overstate() {
    // UK Hallmarking Act 1973, section 1(4): false if wrong to any extent, unless it understates.
    assert!(!melt(&[("1 g", "749.9")]).is_at_least(f("750")));
    assert!(melt(&[("1 g", "612")]).is_at_least(f("585")));
    // Finnish safety authority, guidance on precious metal articles: the mark must not exceed the
    // real fineness. Of 375, 585 and 750, gold of 588 may carry 585 at most.
    let marks = ["375", "585", "750"];
    let may: Vec<&str> = marks
        .into_iter()
        .filter(|mark| melt(&[("1 g", "588")]).is_at_least(f(mark)))
        .collect();
    assert_eq!(may, ["375", "585"]);
}

#[test]
fn the_allowances_of_united_states_law_are_taken_off_the_mark() {
    // 15 U.S.C. 295 as amended by Pub. L. 94-450 (1976): 3 thousandths for a part without solder and
    // for watchcases and flatware, 7 for another whole article with its solder.
    let three = Decimal::from(3);
    assert_eq!(f("14k").less(three).to_per_mille(2).to_string(), "580.33");
    assert_eq!(f("18k").less(three), f("747"));
    assert_eq!(f("18k").less(Decimal::from(7)), f("743"));
    assert!(!melt(&[("1 g", "580.33")]).is_at_least(f("14k").less(three)));
    assert!(melt(&[("1 g", "580.34")]).is_at_least(f("14k").less(three)));
}
