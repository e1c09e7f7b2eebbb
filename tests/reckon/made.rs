//! What comes of it: a finished mass, what the melt is made of, its colour, and what to hear before it
//! is melted.

use rust_decimal::Decimal;

use super::run::{Answer, ask, ask_at, ask_with_shelf, near};

fn total(answer: &Answer) -> Decimal {
    let used = answer.json["used"].as_array().unwrap().len();
    let used = (0..used).map(|at| answer.number(&format!("used/{at}/mass_g")));
    let added = (0..answer.additions()).map(|at| answer.number(&format!("add/{at}/aim_g")));
    used.chain(added).sum()
}

#[test]
fn a_smaller_mass_leaves_some_of_each_lot_over() {
    let answer = ask("--lot 20g@22k --lot 10g@18k --make 12g --to 14k").fine();
    near(answer.number("total_g"), "12.01", "0.01"); // no less
    assert_eq!(answer.number("total_g"), total(&answer));
    let [one, other] = [0, 1].map(|at| answer.number(&format!("used/{at}/mass_g")));
    assert!(one < Decimal::from(20) && other < Decimal::TEN);
    // In the lots' own proportion, as near as the balance weighs.
    near(one - other * Decimal::TWO, "0", "0.03");
    assert!(answer.number("fineness_ppt") >= Decimal::new(58_333, 2));
}

#[test]
fn a_larger_mass_is_filled_up_with_fine_gold_and_the_metal_asked_for() {
    let answer = ask("--lot 20g@22k --make 40g --to 18k --with '0 ppt'").fine();
    near(answer.number("total_g"), "40.01", "0.01"); // no less
    assert_eq!(answer.number("total_g"), total(&answer));
    assert_eq!(
        answer.number("used/0/mass_g"),
        Decimal::from(20),
        "all of it"
    );
    let metals = [answer.text("add/0/metal"), answer.text("add/1/metal")];
    assert_eq!(metals, ["fine gold of 999.90 ‰", "metal without gold"]);
    // A lot that stands right, filled up to twice itself, takes three parts of gold to one of alloy.
    let doubled = ask("--lot 20g@752.5 --make 40g --to 18k --with '0 ppt'").fine();
    let [gold, alloy] = [0, 1].map(|at| doubled.number(&format!("add/{at}/aim_g")));
    near(gold, "15.05", "0.02");
    near(alloy, "4.95", "0.02");
}

#[test]
fn more_than_the_lots_give_is_refused_with_the_most() {
    let answer = ask("--lot 20g@10k --make 100g --to 14k --with fine");
    let (code, said) = answer.refused();
    assert_eq!(code, "no-answer");
    assert!(said.contains("makes only 28.1"), "{said}");
    let answer = ask("--lot @18k --lot 5g@12k --make 100g --to 14k");
    assert!(answer.refused().1.contains("A lot without a mass"));
}

/// The compositions are sums of what the shelf file says: fine silver and copper of 999 each, half and half
/// in 18 k. That is T. K. Rose's 750, 125, 125 (The Metallurgy of Gold, p. 49, table XIII).
#[test]
fn what_it_is_made_of_and_its_colour() {
    let typed =
        "--lot 30g@999.9:fire-assay --to 18k --with fine-silver --with copper --division '0.001 g'";
    let answer = ask_with_shelf(typed).fine();
    assert_eq!(answer.additions(), 2);
    let [silver, copper] = [0, 1].map(|at| answer.number(&format!("add/{at}/aim_g")));
    assert_eq!(silver, copper, "equal parts");
    let per_mille = |mass: Decimal, of: &str| {
        let ppt = mass * of.parse::<Decimal>().unwrap() / total(&answer);
        ppt.round_dp(2).to_string()
    };
    near(
        answer.number("composition_ppt/Ag"),
        &per_mille(silver, "999"),
        "0.005",
    );
    near(
        answer.number("composition_ppt/Au"),
        &per_mille(Decimal::from(30), "999.9"),
        "0.005",
    );
    near(answer.number("composition_ppt/Ag"), "125", "2");
    let all = answer.json["composition_ppt"].as_object().unwrap();
    let sum: Decimal = all
        .values()
        .map(|part| part.as_str().unwrap().parse::<Decimal>().unwrap())
        .sum();
    near(sum, "1000", "0.03");
    // ISO 8654's 3N by the range of a collectors' forum: 750, 120 to 130 silver.
    assert_eq!(answer.text("colour/designation"), "3N");
    assert_eq!(answer.text("colour/family"), "yellow");
    // By parts, two of silver to one of copper.
    let green = ask_with_shelf(&typed.replace("fine-silver", "fine-silver=2"));
    let [silver, copper] = [0, 1].map(|at| green.number(&format!("add/{at}/aim_g")));
    near(silver - copper * Decimal::TWO, "0", "0.002");
}

#[test]
fn what_is_known_of_the_shelf_is_heard_before_the_melt() {
    let heard = |with: &str, more: &str| {
        let answer = ask_with_shelf(&format!("--lot 30g@999.9 --to 18k --with {with} {more}"));
        assert_eq!(answer.code, 3, "a warning stands: {}", answer.json);
        answer.warnings()
    };
    // REACH Annex XVII, entry 27.
    let nickel = heard("hail-white", "--colour white");
    assert!(nickel.contains("per mille of nickel"), "{nickel}");
    assert!(nickel.contains("entry 27"), "{nickel}");
    assert!(nickel.contains("per mille of zinc"), "{nickel}");
    let red = heard("brick-red", "--colour yellow");
    assert!(
        red.contains("yellow was asked for, and this melt will be red"),
        "{red}"
    );
    let other = heard("moss-green", "--colour green --use sheet");
    assert!(
        other.contains("moss green is made for 583.33 ‰, 585 ‰"),
        "{other}"
    );
    let cast = heard("tallow-yellow", "--use casting");
    assert!(cast.contains("made for sheet, wire, ring"), "{cast}");
    let fit = ask_with_shelf("--lot 30g@999.9 --to 18k --with tallow-yellow --use sheet");
    assert_eq!(fit.code, 0, "{}", fit.json);
}

/// Henley's green with cadmium: 750 gold, 166 silver, 84 cadmium. REACH Annex XVII, entry 23: under 0.1 per
/// mille in jewellery.
#[test]
fn cadmium_is_warned_of_by_its_limit() {
    let home = tempfile::tempdir().unwrap();
    let shelf = "[[metal]]\nkey = \"old-solder\"\nmade_of = \"Ag 664 Cd 336\"\n\
                 [[metal]]\nkey = \"trace\"\nmade_of = \"Ag 999.9 Cd 0.1\"\n";
    std::fs::write(home.path().join("shelf.toml"), shelf).unwrap();
    let much = ask_at(
        home.path(),
        "--lot 30g@1000 --to 750 --with old-solder --colour green",
    );
    assert_eq!(much.code, 3);
    near(much.number("composition_ppt/Cd"), "84", "2");
    let told = much.warnings();
    assert!(
        told.contains("per mille of cadmium") && told.contains("entry 23"),
        "{told}"
    );
    assert!(told.contains("must hold less than 0.1 per mille"), "{told}");
    let little = ask_at(
        home.path(),
        "--lot 30g@1000 --to 750 --with trace --colour green",
    );
    assert_eq!(little.code, 3, "its fume kills all the same");
    assert!(
        little.warnings().contains("below the EU's limit"),
        "{}",
        little.warnings()
    );
}

#[test]
fn what_is_supposed_is_said() {
    let bare = ask("--lot 20g@22k --to 14k").fine();
    let told = bare.warnings();
    assert!(told.contains("lot 1: no basis was given"), "{told}");
    assert!(told.contains("nothing is known"), "{told}");
    let small = ask("--lot 2g@22k:fire-assay --to 14k").fine();
    assert!(
        small
            .warnings()
            .contains("one division of the balance wide"),
        "{}",
        small.warnings()
    );
}

/// A million trials on request, against the first-order figure that stands beside them.
#[test]
fn trials_on_request() {
    let typed = "--lot 14.86g@875:stamp --lot 4.12g@752:declared:1.0 --to 750";
    assert!(ask(typed).json["monte_carlo"].is_null());
    let answer = ask(&format!("{typed} --monte-carlo")).fine();
    let tried = &answer.json["monte_carlo"];
    assert_eq!(
        (&tried["trials"], &tried["agrees"]),
        (&1_000_000.into(), &true.into())
    );
    let u: Decimal = answer.number("monte_carlo/u_ppt");
    // Six standard deviations of what a million can tell: 0.4 per cent.
    near(u / answer.number("u_ppt"), "1", "0.006");
    near(
        answer.number("monte_carlo/fineness_ppt"),
        answer.text("fineness_ppt"),
        "0.01",
    );
    // One stamp alone, cut near its own lower end: even, not normal, and it is said.
    let stamped = ask("--lot 20g@752.4:stamp --to 750 --risk 300 --monte-carlo");
    assert_eq!(stamped.additions(), 0, "{}", stamped.json);
    assert_eq!(stamped.json["monte_carlo"]["agrees"], false);
    assert!(stamped.warnings().contains("First order fails here"));
}

#[test]
fn what_is_given_away_can_be_limited_in_money() {
    // 10.00 a gram of metal of 1000 buys 0.1 g for 1.00: 2.5 per mille of 40 g.
    let shelf = "[[metal]]\nkey = \"grain\"\ngold = \"1000 ppt\"\nprice_per_gram = \"10.00 EUR\"\n";
    let asked = "--lot 30g@1000 --to 750 --with '0 ppt' --give-away-cost '1.00 EUR'";
    let home = tempfile::tempdir().unwrap();
    std::fs::write(home.path().join("shelf.toml"), shelf).unwrap();
    let answer = ask_at(home.path(), asked).fine();
    assert_eq!(answer.text("add/0/window_g/0"), "9.87");
    let plain = ask("--lot 30g@1000 --to 750 --with '0 ppt'").fine();
    assert_eq!(plain.text("add/0/window_g/0"), "9.74");
    let unpriced = ask(asked);
    let (code, said) = unpriced.refused();
    assert_eq!(code, "gold-without-price");
    assert!(said.contains("EUR"), "{said}");
}
