//! The window as asked for: its edges, what they rest on, the law, and what is said when there is none.

use rust_decimal::Decimal;

use super::run::{Answer, ask, near, said, words};

/// An invented take-in: a stamped lot and a declared one, to 18 k with metal without gold. The stamp may
/// be 3 less (15 U.S.C. 295 as amended in 1976), so it is taken for 873.5, u 3/sqrt(12).
const LOTS: &str = "--lot '14.86 g@875:stamp' --lot '4.12 g@752:declared:1.0'";
const LIMITS: &str = "--to 750 --give-away 5 --risk 25 --division '0.01 g'";

#[test]
fn a_stamp_and_a_word_lowered_to_eighteen() {
    let answer = ask(&format!("{LOTS} --with '0 ppt' {LIMITS}")).fine();
    assert_eq!(answer.window(0), ["2.32", "2.42"]);
    let aim = answer.number("add/0/aim_g");
    assert!(Decimal::new(232, 2) <= aim && aim <= Decimal::new(242, 2));
    // (14.86 x 875 + 4.12 x 752) / 750 - 18.98, as stated.
    near(
        answer.number("add/0/exact_g"),
        "2.487653333333",
        "0.0000000000005",
    );
    assert_eq!(answer.number("used/0/taken_ppt"), "873.5".parse().unwrap());
    near(answer.number("used/0/u_ppt"), "0.866", "0.0005");
    let [first, ..] = answer.json["surer_by"].as_array().unwrap().as_slice() else {
        panic!("no budget: {}", answer.json)
    };
    assert_eq!(first["source"], "fineness of lot 1");
}

/// The melt itself, with so much added: at the upper edge it is still lawful by the risk, one division
/// further it is not; at the lower edge no more than the limit is given away, one division less and it is.
#[test]
fn the_edges_are_where_the_melt_says_they_are() {
    let melt = |grams: &str| {
        let answer = ask(&format!("{LOTS} --lot '{grams} g@0 ppt' {LIMITS}"));
        (answer.additions() == 0).then_some(answer)
    };
    let upper = melt("2.42").expect("lawful as it is").fine();
    near(upper.number("fineness_ppt"), "751.33", "0.005");
    near(upper.number("u_ppt"), "0.65", "0.005");
    assert!(upper.number("p_conform") >= "0.975".parse().unwrap());
    assert!(melt("2.43").is_none(), "2.43 g more is not sure enough");
    let lower = melt("2.32").expect("not wasteful as it is").fine();
    assert!(lower.number("fineness_ppt") <= Decimal::from(755));
    assert!(melt("2.31").is_none(), "2.31 g gives too much away");
}

#[test]
fn more_risk_and_more_give_away_open_it_and_doubt_closes_it() {
    let window = |more: &str, lots: &str| -> [Decimal; 2] {
        let answer = ask(&format!("{lots} --with '0 ppt' --to 750 {more}"));
        answer.window(0).map(|edge| edge.parse().unwrap())
    };
    let usual = window("", LOTS);
    let bold = window("--risk 400", LOTS);
    assert!(bold[0] == usual[0] && bold[1] > usual[1], "{bold:?}");
    let even = window("--risk 500", LOTS);
    assert!(even[1] >= bold[1]);
    let generous = window("--give-away 8", LOTS);
    assert!(generous[0] < usual[0] && generous[1] == usual[1]);
    let assayed = LOTS.replace("875:stamp", "873.5:fire-assay");
    let surer = window("", &assayed);
    assert!(surer[0] == usual[0] && surer[1] > usual[1], "{surer:?}");
    let coarse = window("--class II", LOTS);
    assert!(coarse[1] <= usual[1], "a balance that may be off says less");
}

#[test]
fn the_order_of_lots_does_not_matter() {
    let lots = [
        "--lot 14.86g@875:stamp",
        "--lot 4.12g@752:declared:1.0",
        "--lot 3.3g@14k:stamp:old",
        "--lot 0.95g@916:xrf",
    ];
    let asked = |order: [usize; 4]| {
        let lots = order.map(|at| lots[at]).join(" ");
        let answer = ask(&format!("{lots} --to 585 --give-away 9"));
        [
            "add",
            "total_g",
            "fineness_ppt",
            "u_ppt",
            "p_conform",
            "composition_ppt",
        ]
        .map(|key| answer.json[key].clone())
    };
    let straight = asked([0, 1, 2, 3]);
    for order in [[3, 2, 1, 0], [1, 3, 0, 2], [2, 0, 3, 1]] {
        assert_eq!(asked(order), straight, "{order:?}");
    }
}

/// 15 U.S.C. 295, as amended by Pub. L. 94-450 (1976): 3 parts per thousand below the mark without solder.
#[test]
fn a_law_with_a_tolerance_lowers_the_lawful_edge_by_it() {
    let typed = "--lot 100g@22k --to 14k --with '0 ppt' --division '0.0001 g' --risk 500";
    let strict = ask(typed).fine();
    let eased = ask(&format!("{typed} --mark-law us-15-usc-295")).fine();
    let [lower, upper] = strict.window(0);
    assert_eq!(eased.window(0)[0], lower, "give-away counts from the mark");
    // 100 g of 22 k hold 91 2/3 g: to 14/24, and to 14/24 - 3/1000, less one uncertainty at even odds.
    near(upper.parse().unwrap(), "57.1428", "0.0001");
    near(eased.window(0)[1].parse().unwrap(), "57.9550", "0.0001");
    assert_eq!(eased.text("mark_law"), "us-15-usc-295");
    let unknown = ask("--lot 10g@22k --to 14k --mark-law atlantis");
    let (code, said) = unknown.refused();
    assert_eq!(code, "law-unknown");
    assert!(said.contains("us-15-usc-295"), "{said}");
}

/// 14 k is 583.33 and may not be struck 585 (ISO 9202: no minus tolerance); both ways of asking give both
/// figures, and the marks that the melt may carry.
#[test]
fn karat_and_fineness_are_both_told_and_the_marks_with_them() {
    let karat = ask("--lot 20g@22k --to 14k --give-away 1 --division '0.001 g'").fine();
    assert!(karat.number("fineness_ppt") < Decimal::from(585));
    near(karat.number("karat"), "14.01", "0.01");
    assert!(karat.marks().contains(&"14K"));
    assert!(!karat.marks().contains(&"585"), "{:?}", karat.marks());
    let mark = ask("--lot 20g@22k --to 585 --give-away 1 --division '0.001 g'").fine();
    near(mark.number("karat"), "14.05", "0.02");
    assert_eq!(mark.marks()[..2], ["585", "14K"]);
    assert!(mark.number("add/0/exact_g") < karat.number("add/0/exact_g"));
    for (answer, k) in [(&karat, "fineness_ppt"), (&mark, "fineness_ppt")] {
        let by_karat = answer.number("karat") * Decimal::from(1000) / Decimal::from(24);
        near(by_karat, &answer.number(k).to_string(), "0.003");
    }
    // The highest mark that is met is struck first; with its law's tolerance 585 is one of them.
    let eased =
        ask("--lot 20g@22k --to 14k --give-away 1 --division '0.001 g' --mark-law us-15-usc-295");
    assert!(eased.marks().contains(&"585"), "{:?}", eased.marks());
}

#[test]
fn a_metal_on_the_wrong_side_says_why() {
    let refused = |typed: &str, words: &[&str]| {
        let answer = ask(typed);
        let (code, told) = answer.refused();
        assert_eq!(code, "no-window", "{typed}");
        for word in words {
            assert!(told.contains(word), "{typed}: {told}");
        }
    };
    refused(
        "--lot 20g@10k --to 14k --with 333",
        &[
            "416.67 ‰, below 583.33 ‰",
            "gold of 333 ‰ would only lower",
            "Add fine gold",
        ],
    );
    refused(
        "--lot 20g@22k --to 14k --with fine",
        &[
            "916.67 ‰, above 583.33 ‰",
            "only raise it further",
            "less gold",
        ],
    );
    refused(
        "--lot 20g@10k --to 14k --with 585",
        &["585 ‰ lies between the edges itself", "no mass of it"],
    );
    // Standing right and not sure: more of the same cannot help, whatever is given away.
    refused(
        "--lot 3g@752:declared:2 --to 750 --with '0 ppt'",
        &["no give-away", "fine gold"],
    );
    // Exit code 1 for people too, with the reason where errors go.
    let home = tempfile::tempdir().unwrap();
    let typed = "--lot 20g@10k --to 14k --with 333";
    let told = said(home.path(), &words(typed));
    assert_eq!((told.code, told.out.as_str()), (1, ""));
    assert!(told.err.contains("only lower it further"), "{}", told.err);
}

/// An empty window is answered all the same: how much by plain sums, that the window is empty, what
/// empties it and what would open it; exit code 3, since a warning stands.
#[test]
fn an_empty_window_is_explained_and_what_it_advises_opens_it() {
    let lots = "--lot 12g@750:declared --lot 8g@900:fire-assay";
    let answer = ask(&format!("{lots} --to 585"));
    assert_eq!(answer.code, 3, "{}", answer.json);
    assert!(
        answer.json["add"][0]["window_g"].is_null(),
        "{}",
        answer.json
    );
    near(
        answer.number("add/0/exact_g"),
        "7.692307692308",
        "0.0000000000005",
    );
    let told = answer.warnings();
    for word in [
        "The window is empty",
        "one standard uncertainty",
        "The fineness of lot 1 weighs most",
        "assayed",
    ] {
        assert!(told.contains(word), "{word}: {told}");
    }
    let advice = told.split("allow a give-away of ").nth(1).expect("advice");
    let ppt = advice.split(' ').next().unwrap();
    let opened = ask(&format!("{lots} --to 585 --give-away {ppt}"));
    opened.fine().window(0);
    // With nothing to give away, it is what is not known that empties it, not the balance.
    let strict = ask(&format!("{lots} --to 585 --give-away 0"));
    assert_eq!(strict.code, 3);
    assert!(
        strict.warnings().contains("no better than"),
        "{}",
        strict.warnings()
    );
    // What it says of each lot opens it too, and a little worse does not.
    let lots: Vec<_> = answer.json["opened_by"].as_array().unwrap().clone();
    assert_eq!(lots.len(), 1, "the assayed lot alone cannot: {lots:?}");
    assert_eq!(lots[0]["lot"], "lot 1");
    let u: Decimal = lots[0]["u_ppt"].as_str().unwrap().parse().unwrap();
    assert!(told.contains(&format!("750:declared:{u}")), "{told}");
    let known = |u: Decimal| {
        ask(&format!(
            "--lot 12g@750:declared:{u} --lot 8g@900:fire-assay --to 585"
        ))
    };
    known(u).fine().window(0);
    assert_eq!(known(u + Decimal::new(1, 1)).code, 3);
    let assayed = ask("--lot 12g@750:fire-assay --lot 8g@900:fire-assay --to 585");
    assayed.fine().window(0);
}

/// What is not sure is neither to be weighed out nor to be marked.
#[test]
fn an_empty_window_gives_no_mass_to_weigh_out_and_no_mark_that_is_not_sure() {
    let home = tempfile::tempdir().unwrap();
    let told = said(home.path(), &["--lot", "8.20g@750:xrf", "--to", "18k"]).out;
    for words in [
        "(0.16 g)   fine gold of 999.90 ‰, by plain mass balance; the window is empty",
        "It is not sure enough to be marked for 750 ‰; by custom, with no law named, it may carry the lower mark 625.",
    ] {
        assert!(told.contains(words), "no \"{words}\" in {told}");
    }
    assert!(!told.contains("may carry 750"), "{told}");
    let answer = ask("--lot 8.20g@750:xrf --to 18k");
    assert_eq!(answer.marks()[0], "625");
    // Two marks of one fineness are equals.
    let sure = said(home.path(), &["--lot", "20g@22k", "--to", "18k"]).out;
    assert!(
        sure.contains("may carry 750 or 18K, and lower ones"),
        "{sure}"
    );
}

/// The advice holds for the balance at hand, whose coarse steps may need more than the sums do.
#[test]
fn the_give_away_that_is_advised_opens_the_window_on_a_coarse_balance_too() {
    for lots in ["1.1g@750:declared:2", "2.3g@700:declared:3", "0.9g@916:xrf"] {
        for division in ["0.01g", "0.05g", "0.1g"] {
            let asked = format!("--lot {lots} --to 585 --division {division}");
            let told = ask(&asked).warnings();
            let Some(advice) = told.split("allow a give-away of ").nth(1) else {
                continue;
            };
            let ppt = advice.split(' ').next().unwrap();
            let opened = ask(&format!("{asked} --give-away {ppt}"));
            assert!(
                opened.json["add"][0]["window_g"].is_array(),
                "{asked}: {ppt}"
            );
        }
    }
}

#[test]
fn a_lot_of_no_mass_and_a_balance_in_doubt_beyond_belief_are_refused() {
    for (typed, code) in [
        ("--lot=-10g@585 --to 750", "lot-without-mass"),
        ("--lot 0g@585 --to 750", "lot-without-mass"),
        (
            "--lot 10g@585 --to 750 --calibration-u 50g",
            "spread-implausible",
        ),
        (
            "--lot 10g@585 --to 750 --repeatability 0g",
            "spread-implausible",
        ),
        ("--lot 10g@58.5 --to 750", "fineness-unreadable"),
    ] {
        let answer = ask(typed);
        assert_eq!(answer.refused().0, code, "{typed}");
    }
}

/// A melt between the edges already is not done while it is not surely lawful.
#[test]
fn a_melt_that_stands_right_and_is_not_sure_gets_fine_gold() {
    let sure = ask("--lot 20g@752:declared:0.5 --to 750").fine();
    assert_eq!(sure.additions(), 0);
    let unsure = ask("--lot 20g@752:declared:1.2 --to 750").fine();
    assert!(unsure.text("add/0/metal").contains("fine gold"));
    assert!(unsure.number("p_conform") >= "0.975".parse().unwrap());
    assert!(unsure.warnings().contains("not surely lawful"));
    let hopeless = ask("--lot 20g@752:xrf --to 750");
    assert_eq!(hopeless.code, 3);
}

#[test]
fn what_cannot_be_read_is_refused_by_its_name() {
    for (typed, code) in [
        ("--lot 20g --to 14k", "lot-unreadable"),
        ("--lot 20g@14 --to 14k", "fineness-unreadable"),
        ("--lot 20g@22k --to 14kt", "fineness-unreadable"),
        ("--lot 1e3g@22k --to 14k", "unit-unknown"),
        ("--lot 20g@22k:guess --to 14k", "basis-unknown"),
        ("--lot 20g@22k:declared:0 --to 14k", "estimate-unreadable"),
        ("--lot 20g@22k --to 14k --with mithril", "metal-unknown"),
        (
            "--lot 20g@22k --to 14k --with '0 ppt=0'",
            "number-unreadable",
        ),
        (
            "--lot 20g@22k --to 14k --with '0 ppt=x'",
            "number-unreadable",
        ),
        ("--lot 20g@22k --to 14k --risk 501", "number-unreadable"),
        ("--lot 20g@22k --to 14k --give-away -1", ""),
        (
            "--lot 20g@22k --to 14k --division 0g",
            "division-unreadable",
        ),
        ("--lot 20g@22k --to 14k --class V", "class-unknown"),
        ("--lot 20g@22k --to 14k --colour blue", "colour-unknown"),
        ("--lot @22k --to 14k", "no-answer"),
        ("--lot 0g@22k --to 14k", "lot-without-mass"),
    ] {
        if code.is_empty() {
            let home = tempfile::tempdir().unwrap();
            let told = said(home.path(), &words(typed));
            assert_eq!(told.code, 2, "wrong usage: {}", told.err);
            continue;
        }
        let answer: Answer = ask(typed);
        assert_eq!(answer.refused().0, code, "{typed}");
    }
}
