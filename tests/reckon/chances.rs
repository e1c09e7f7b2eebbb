//! Decision rules and propagation of uncertainty as published, each with its source beside it.

use panbell::mass::{Indication, Mass};
use panbell::melt::{FinenessDoubt, Known, MassDoubt, Mix, Risk, chance_at_least, trials};
use panbell::metal::Fineness;
use rust_decimal::Decimal;

use super::run::{ask, near};

fn close(found: f64, printed: f64, within: f64) {
    assert!(
        (found - printed).abs() <= within,
        "{found}, printed {printed}"
    );
}

#[test]
fn chances_are_those_that_are_published() {
    // JCGM 106:2012, 7.4, with the numbers of a tutorial: y 13.6, u 1.8 between 12.5 and 16.3; the guide
    // prints 0.66.
    let between = |y, u, low, high| chance_at_least(y, u, low) - chance_at_least(y, u, high);
    close(between(13.6, 1.8, 12.5, 16.3), 0.6626, 0.0005);
    // JCGM 106:2012, 7.3.3, example 1 (its numbers from memory): -5.47 V, u 0.05 V, at most -5.40 V.
    close(1.0 - chance_at_least(-5.47, 0.05, -5.40), 0.92, 0.001);
    // Public test data checked against a risk spreadsheet: mean 10, u 0.4, limits 9 and 11; then mean 12.
    let outside = |mean| 1.0 - between(mean, 0.4, 9.0, 11.0);
    close(outside(10.0), 0.01242, 1e-5);
    close(1.0 - chance_at_least(10.0, 0.4, 9.0), 0.00621, 1e-5);
    close(chance_at_least(10.0, 0.4, 11.0), 0.00621, 1e-5);
    close(outside(12.0), 0.99379, 1e-5);
    // Our own: 586.0, u 0.8, against 585.
    close(chance_at_least(586.0, 0.8, 585.0), 0.8944, 1e-4);
    // What is exactly known is certain, at the limit too.
    close(chance_at_least(585.0, 0.0, 585.0), 1.0, 0.0);
    close(chance_at_least(584.9999, 0.0, 585.0), 0.0, 0.0);
}

/// Guard bands w = r U, U at k = 2, and the risk at the acceptance limit: ILAC-G8:09/2019, 4.1 and its
/// table; the exact normal values worked out.
#[test]
fn guard_bands_leave_the_risk_that_is_stated() {
    for (r, stated, exact) in [
        (0.0, 0.5, 0.5),
        (0.83, 0.05, 0.0485), // ISO 14253-1:2017
        (1.5, 0.0016, 0.00135),
        (3.0, 1e-6, 9.87e-10),
    ] {
        let (limit, u) = (585.0, 0.8);
        let risk = 1.0 - chance_at_least(limit + r * 2.0 * u, u, limit);
        close(risk, exact, 0.01 * exact);
        assert!(risk <= stated, "{r}: {risk}");
    }
}

/// One-sided quantiles of the standard normal distribution, to 1e-6.
#[test]
fn the_factor_of_a_risk() {
    for (risk, factor) in [
        ("0.1", 1.281_552),
        ("0.05", 1.644_854),
        ("0.025", 1.959_964),
        ("0.01", 2.326_348),
        ("0.001", 3.090_232),
    ] {
        let risk = Risk::new(risk.parse().unwrap()).unwrap();
        close(risk.factor(), factor, 1e-6);
        close(
            chance_at_least(risk.factor(), 1.0, 0.0),
            1.0 - risk.chance(),
            1e-9,
        );
    }
    let usual = Risk::new("0.025".parse().unwrap()).unwrap();
    close(Risk::default().factor(), usual.factor(), 1e-14);
    close(Risk::default().chance(), usual.chance(), 0.0);
}

/// 585 with u 0.8: 586.0 holds with 0.8944, and the lowest to accept at 97.5 per cent is 586.568.
#[test]
fn the_lowest_fineness_to_accept() {
    let asked = |ppt: &str| ask(&format!("--lot 20g@{ppt}:declared:0.8 --to 585 --risk 25"));
    let chance = |ppt: &str| {
        // At even odds nothing is added to make it surer.
        let typed = format!("--lot 20g@{ppt}:declared:0.8 --to 585 --risk 500");
        ask(&typed).fine().number("p_conform")
    };
    near(chance("586.0"), "0.8944", "0.0001");
    near(chance("586.568"), "0.975", "0.0001");
    let (least, below) = (asked("586.569"), asked("586.567"));
    assert_eq!(least.additions(), 0, "accepted as it is: {}", least.json);
    assert_eq!(below.additions(), 1, "not accepted: {}", below.json);
}

/// 20.000 g of 10 k (u 2.0) with 8.000 g at 999.9 (u 0.05), each mass u 0.001 g: 583.305, u 1.4287, by
/// JCGM 100:2008, 5.1.2. A division d makes u = d/sqrt(6).
#[test]
fn a_mix_propagates_to_the_figure_worked_out() {
    let answer = ask(
        "--lot 20g@10k:declared:2.0 --lot 8g@999.9:declared:0.05 --to 580 --risk 500 --division '0.0024495 g'",
    )
    .fine();
    assert_eq!(answer.additions(), 0);
    near(answer.number("fineness_ppt"), "583.305", "0.001");
    near(answer.number("u_ppt"), "1.4287", "0.0005");
}

/// What a balance is off by is in every weighing with the same sign, so its terms are added before they
/// are squared (JCGM 100:2008, 5.2.2 and F.1.2.3). Worked out by hand: 20 g of 10 k and 8 g of 999.9 make
/// 583.305; with each weighing off by 0.1 g, ((416.667 - F) + (999.9 - F)) 0.1 g / 28 g = 0.8927. The 10 k
/// weighed in two halves, 2 (416.667 - F) + (999.9 - F) makes 0.2976: the error is there three times, and
/// most of it falls out.
#[test]
fn what_all_weighings_have_in_common_is_added_before_it_is_squared() {
    let asked = |lots: &str, balance: &str| {
        ask(&format!(
            "{lots} --lot 8g@999.9 --to 580 --risk 500 {balance}"
        ))
        .fine()
    };
    let (whole, halves) = ("--lot 20g@10k", "--lot 10g@10k --lot 10g@10k");
    let off = "--division '0.0001 g' --calibration-u '0.1 g'";
    near(asked(whole, off).number("u_ppt"), "0.8927", "0.0005");
    near(asked(halves, off).number("u_ppt"), "0.2976", "0.0005");
    let first = &asked(whole, off).json["surer_by"][0];
    assert_eq!(first["source"], "accuracy of the balance");
    // Class II, e 0.05 g: 0.05 g in service for the first step, evenly, so 0.05/sqrt(3) in common;
    // and 0.05/sqrt(6) by rounding, for each weighing by itself.
    let of_class = asked(whole, "--division '0.05 g' --class II");
    let (common, own) = (0.05 / 3_f64.sqrt(), 0.05 / 6_f64.sqrt());
    let (poor, rich) = (416.667 - 583.305, 999.9 - 583.305);
    let u = ((poor + rich) * common).hypot(f64::hypot(poor, rich) * own) / 28.0;
    near(of_class.number("u_ppt"), &format!("{u:.4}"), "0.0005");
}

fn known(mass: &str, u_mass: f64, gold: &str, u: &str) -> Known {
    Known {
        name: gold.to_owned(),
        mass: mass.parse::<Indication>().unwrap().mass(),
        u_mass: MassDoubt::grams(u_mass),
        gold: gold.parse().unwrap(),
        u_gold: FinenessDoubt::per_mille(u.parse().unwrap()),
        even: false,
    }
}

/// The lesson of JCGM 101:2008, 9.3 (weights, with a buoyancy term whose sensitivity is none at the values
/// themselves, so that first order misses it and comes out clearly too small). Here a mass has none where
/// its fineness is that of the melt: harmless at a bench's uncertainties, and found out beyond them.
#[test]
fn a_sensitivity_of_none_hides_a_term_from_first_order() {
    let limit: Fineness = "750".parse().unwrap();
    let both = |u_mass: f64| {
        let metals = [
            known("10 g", u_mass, "752", "20"),
            known("10 g", u_mass, "752", "20"),
        ];
        let melt = metals.iter().fold(Mix::NOTHING, |melt, m| {
            melt.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
        });
        // u(F) = 20/sqrt(2) whatever the masses are: their sensitivity is none.
        close(melt.u_ppt(), 20.0 / 2.0_f64.sqrt(), 1e-9);
        let tried = trials(&metals, limit, 100_000, 7);
        tried.against(melt.u_ppt(), melt.chance_at_least(limit))
    };
    assert_eq!(both(0.004), None, "a bench balance");
    // Half of each mass in doubt: the share of either lot is known to 0.177, which adds
    // 0.177^2 x 2 x 20^2 = 25 to a variance of 200, and more in the tails.
    let said = both(5.0).expect("first order must be seen to fail");
    assert!(said.contains("spread"), "{said}");
}

#[test]
fn what_is_exact_is_certain_and_what_is_not_is_never_called_so() {
    let exact = Mix::NOTHING.with(
        Mass::from_grams(Decimal::TEN).unwrap(),
        "750".parse().unwrap(),
    );
    assert_eq!(exact.chance_text("750".parse().unwrap()), "100.0 %");
    let m = known("10 g", 0.0, "780", "0.1");
    let sure = Mix::NOTHING.with_known(m.mass, m.u_mass, m.gold, m.u_gold);
    assert_eq!(sure.chance_text("750".parse().unwrap()), "over 99.9 %");
    assert_eq!(sure.chance_text("790".parse().unwrap()), "under 0.1 %");
    // As digits: 300 standard uncertainties away are no certainty either.
    let digits = |melt: &Mix, limit: &str| melt.chance_digits(limit.parse().unwrap());
    assert_eq!(digits(&exact, "750"), "1.000000");
    assert_eq!(digits(&exact, "750.0001"), "0.000000");
    assert_eq!(digits(&sure, "750"), "0.999999");
    assert_eq!(digits(&sure, "779.55"), "0.999997");
    assert_eq!(digits(&sure, "790"), "0.000001");
    let asked = ask("--lot 20g@800:declared:0.5 --to 750 --give-away 100").fine();
    assert_eq!(asked.text("p_conform"), "0.999999");
}
