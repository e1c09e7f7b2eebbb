//! What one weighing is in doubt by, read off the answer: the terms of a published kind of budget.

use rust_decimal::Decimal;

use super::run::{ask, near};

/// The standard uncertainty of a weighing in grams, by a melt in doubt of nothing else: 0.1 g of fine gold
/// with 0.1 g of metal without. Each mass m moves the fineness by 500/0.2 of its own error, in per mille, so
/// that u(F) = sqrt(2) 2500 u(m).
fn of_weighing(balance: &str) -> Decimal {
    let typed =
        format!("--lot 0.1g@1000 --lot '0.1g@0 ppt' --to 500 --give-away 20 --risk 500 {balance}");
    let answer = ask(&typed);
    assert_eq!(answer.additions(), 0, "{}", answer.json);
    let sensitivity: Decimal = "3535.533905932738".parse().unwrap();
    answer.number("u_ppt") / sensitivity
}

/// Rounding to a division d is d/sqrt(12) at zero and at the load (EURAMET cg-18, from memory; rectangular
/// by JCGM 100:2008, 4.3.7): 0.000288675 g each for 0.001 g.
#[test]
fn a_reading_is_rounded_at_zero_and_at_the_load() {
    let once: Decimal = "0.000288675".parse().unwrap();
    let twice = of_weighing("--division '0.001 g'");
    near(
        twice * twice,
        &(once * once * Decimal::TWO).to_string(),
        "0.0000000001",
    );
}

/// A budget at 40 g by the terms of EURAMET cg-18 (from memory), worked out: d 0.001 g at zero and at the
/// load, s 0.0008 g, eccentricity 0.003 g seen at 100 g, nonlinearity of 0.002 g to both sides rectangular,
/// calibration U 0.0012 g (k 2): u 0.00161864 g. The balance's own division and repeatability are ours; the
/// other three are added here.
#[test]
fn a_whole_budget_closes_with_our_part_in_it() {
    let ours = of_weighing("--division '0.001 g' --repeatability '0.0008 g'");
    let square = |text: &str| {
        let u: Decimal = text.parse().unwrap();
        u * u
    };
    let third = Decimal::ONE / Decimal::from(3);
    // 0.003 x 40 / (2 x 100 x sqrt(3)); 0.002 / sqrt(3); 0.0012 / 2.
    let others = square("0.0006") * third + square("0.002") * third + square("0.0006");
    let all = ours * ours + others;
    near(all, &square("0.00161864").to_string(), "0.0000000004");
}
