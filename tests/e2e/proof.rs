//! A button proved by its density, an assay that comes out low, and the same gold melted again.

use panbell::job::{Job, Record, What};
use rust_decimal::Decimal;

use crate::support::desk::{BENCH, Desk, g, mass, shown};
use crate::support::{home, http, service};

/// The fine gold of gold of 999.9, to a ten thousandth of a gram.
fn fine(gold: panbell::mass::Mass) -> String {
    let fine = gold.grams() * Decimal::new(9999, 4);
    format!("{:.4} g", fine.round_dp(4))
}

/// A lot of 18 grams that was sold as 22 karat, lowered to 18 karat and melted: gives the button.
fn melted(desk: &Desk) -> panbell::mass::Mass {
    desk.open("P-1", &["fine-silver", "fine-copper"]);
    desk.lot("916", "fire-assay", "18.00");
    let silver = desk.add_at_aim(&[]);
    let copper = desk.add_at_aim(&[]);
    desk.empty();
    let button = g("18.00") + silver + copper;
    desk.button(button);
    button
}

#[test]
fn a_button_is_proved_in_water_and_an_assay_that_is_low_is_mended() {
    let desk = Desk::new();
    let button = melted(&desk);

    desk.say(&["proof", "--displaced"])
        .is_refused("The button is still on the pan");
    desk.empty();
    desk.place(g("60.00")); // a vessel of water
    desk.at_rest("60.00 g");
    desk.say(&["proof", "--water-temperature", "95"])
        .is_refused("no temperature in degrees Celsius");
    desk.ok(&["proof", "--displaced", "--water-temperature", "21"]);
    let view = desk.ready();
    assert_eq!(
        view["sentence"],
        "Hang the button by a thread into the water on the pan, touching neither wall nor bottom; \
         it counts from the 60.00 g that stand there already."
    );
    let mark = desk.follower.mark();
    desk.put(g("1.44"));
    let bell = desk.follower.bell(mark, "recorded");
    let told = bell["text"].as_str().unwrap();
    assert!(
        told.starts_with("The button pushes 1.44 grams of water aside. "),
        "{bell}"
    );
    assert!(told.contains("g/cm3"), "{bell}");
    // Water at 21 C has 997.992 kg/m3 (Tanaka and others, Metrologia 38, 2001), air about 1.2.
    let view = desk.view();
    let density: Decimal = view["job"]["proof"]["density"]
        .as_str()
        .unwrap()
        .parse()
        .unwrap();
    let by_hand = button.grams() / Decimal::new(144, 2)
        * (Decimal::new(997_992, 3) - Decimal::new(12, 1))
        + Decimal::new(12, 1);
    assert!(
        (density - by_hand).abs() < Decimal::ONE,
        "{density} {by_hand}"
    );
    assert_eq!(view["job"]["proof"]["verdict"], "agrees", "{view:#}");

    // The lot was not what it was sold as.
    desk.say(&["assay", "741.5", "stamp"])
        .is_refused("A stamp proves no button.");
    desk.say(&["assay", "0", "fire-assay"])
        .is_refused("finds no gold at all");
    let said = desk.say(&["assay", "741.5", "fire-assay"]).ends(3);
    for words in [
        "It is below 750",
        "By mass balance it ought to be",
        "of fine gold",
    ] {
        assert!(said.contains(words), "no \"{words}\" in {said}");
    }
    assert_eq!(desk.view()["job"]["assay"]["fineness_ppt"], "741.50");

    desk.empty();
    desk.say(&["add"]).is_refused("No planned addition is left");
    let gold = desk.add_at_aim(&["--with", "fine-gold"]);
    desk.empty();
    desk.button(button + gold);
    let statement = desk.say(&["close"]).ends(0);
    for (label, value) in [
        ("Water pushed aside by the button", "1.44 g".to_owned()),
        ("Put in over all melts", shown(button + gold)),
        ("Lost over all melts", "0.00 g".to_owned()),
        ("In the last melt", shown(button + gold)),
        ("Melt 1:", "lost 0.00 g (0.0 ‰)".to_owned()),
        ("Fine gold that the shop added", fine(gold)),
    ] {
        let line = statement.lines().find(|line| line.starts_with(label));
        let line = line.unwrap_or_else(|| panic!("no \"{label}\" in\n{statement}"));
        assert!(line.ends_with(&value), "{line}");
    }

    // By the assay and what was added, the second melt is lawful.
    let job: Job = desk.home.job("P-1");
    let fineness = job.melt().fineness().unwrap();
    let by_hand = (button.grams() * Decimal::new(7415, 1) + gold.grams() * Decimal::new(9999, 1))
        / (button + gold).grams();
    assert!((fineness.to_per_mille(3) - by_hand).abs() < Decimal::new(2, 3));
    assert!(by_hand >= Decimal::from(750), "{by_hand}");
    let records = desk.home.records("P-1");
    assert!(
        records
            .iter()
            .any(|(_, record)| matches!(record, Record::Assay(_)))
    );
    assert!(
        job.standing()
            .any(|it| matches!(it.captured.what, What::InWater(_)))
    );
    desk.verify();
}

#[test]
fn gold_from_nowhere_is_noted_for_the_melt_that_it_came_in_with() {
    let desk = Desk::new();
    desk.open("P-4", &["fine-silver"]);
    desk.lot("916", "fire-assay", "18.00");
    let silver = desk.add_at_aim(&[]);
    desk.empty();
    let first = g("18.40") + silver;
    let bell = desk.button(first);
    desk.empty();
    assert!(bell["text"].as_str().unwrap().contains("0.40 g more than"));
    desk.say(&["assay", "741.5", "fire-assay"]).ends(3);
    let gold = desk.add_at_aim(&["--with", "fine-gold"]);
    desk.empty();
    desk.button(first + gold);
    let statement = desk.close_as_it_is();
    assert!(
        statement.contains("The button of melt 1 weighed more than what went in"),
        "{statement}"
    );
    desk.verify();
}

#[test]
fn a_button_that_is_known_too_roughly_is_sent_to_be_assayed_by_fire() {
    let desk = Desk::new();
    melted(&desk);
    let said = desk.say(&["assay", "748", "xrf"]).ends(3);
    for words in [
        "have it assayed by fire.",
        "As it is it may carry the lower mark",
    ] {
        assert!(said.contains(words), "no \"{words}\" in {said}");
    }
    assert!(!said.contains("--with"), "{said}");
    desk.say(&["close"])
        .is_refused("By its assay the button is below 750");
}

#[test]
fn a_button_that_hangs_from_the_balance_is_told_otherwise_than_one_in_a_vessel_on_the_pan() {
    let desk = Desk::new();
    let button = melted(&desk);
    desk.empty();
    desk.place(g("3.00")); // the empty hanger
    desk.at_rest("3.00 g");
    desk.ok(&["proof", "--water-temperature", "21"]);
    let view = desk.ready();
    assert_eq!(
        view["sentence"],
        "Hang the button from the balance into the water, touching neither wall nor bottom; \
         it counts from the 3.00 g that stand there already."
    );
    let mark = desk.follower.mark();
    let shows = button - g("1.44");
    desk.put(shows);
    let bell = desk.follower.bell(mark, "recorded");
    let told = format!(
        "Hung in water, the button shows {} grams. ",
        shown(shows).trim_end_matches(" g")
    );
    assert!(bell["text"].as_str().unwrap().starts_with(&told), "{bell}");
    let view = desk.view();
    assert_eq!(view["job"]["proof"]["verdict"], "agrees", "{view:#}");
    let weighed = view["job"]["weighed"].as_array().unwrap();
    assert_eq!(weighed.last().unwrap()["name"], "button hung in water");
}

#[test]
fn what_speaks_against_a_button_is_asked_for_before_it_is_closed_and_stands_in_its_statement() {
    let desk = Desk::new();
    let button = melted(&desk);
    // A fire assay that leaves it open, by its own doubt.
    let said = desk.say(&["assay", "750.2", "fire-assay"]).ends(3);
    assert!(said.contains("only"), "{said}");
    let standing = desk.view()["sentence"].to_string();
    assert!(standing.contains("not sure to be lawful"), "{standing}");
    desk.say(&["close"]).is_refused("it is not proven");
    // A better one that is low, then a rough one that is high: the better one stands.
    desk.say(&["assay", "748.5", "declared:0.2"]).ends(3);
    let said = desk.say(&["assay", "760", "xrf"]).ends(3);
    for words in ["is better known and stands", "It is below 750"] {
        assert!(said.contains(words), "no \"{words}\" in {said}");
    }
    desk.say(&["close"])
        .is_refused("By its assay the button is below 750");
    let statement = desk.yes(&["close"]).ends(3);
    for words in [
        "by fire-assay: 750.20",
        "by declared: 748.50",
        "by xrf: 760",
        "contradict each other",
        "or more, by assay",
    ] {
        assert!(statement.contains(words), "no \"{words}\" in {statement}");
    }
    assert!(!statement.contains("over 99.9 %"), "{statement}");
    assert!(button.is_positive());

    // One that lost half of itself is not closed without a word either.
    desk.empty();
    desk.open("P-6", &["fine-silver"]);
    desk.lot("916", "fire-assay", "18.00");
    let _silver = desk.add_at_aim(&[]);
    desk.empty();
    desk.button(g("9.00"));
    desk.say(&["close"])
        .is_refused("After its loss the button is below 750");
    // A vessel that was tared, and taken off again.
    desk.empty();
    desk.place(g("60.00"));
    desk.at_rest("60.00 g");
    desk.balance.press_tare().unwrap();
    desk.at_rest("0.00 g");
    desk.place(panbell::mass::Mass::ZERO);
    desk.at_rest("-60.00 g");
    desk.say(&["proof", "--displaced"])
        .is_refused("no vessel stands on the pan");
}

#[test]
fn the_water_pushed_aside_is_weighed_in_a_vessel_that_was_tared() {
    let desk = Desk::new();
    let button = melted(&desk);
    desk.empty();
    desk.place(g("60.00"));
    desk.at_rest("60.00 g");
    desk.balance.press_tare().unwrap();
    desk.at_rest("0.00 g");
    desk.ok(&["proof", "--displaced", "--water-temperature", "21,0"]);
    let view = desk.ready();
    assert!(
        view["sentence"]
            .as_str()
            .unwrap()
            .starts_with("Hang the button by a thread into the water on the pan"),
        "{view:#}"
    );
    let mark = desk.follower.mark();
    desk.put(g("1.44"));
    let bell = desk.follower.bell(mark, "recorded");
    assert!(
        bell["text"]
            .as_str()
            .unwrap()
            .starts_with("The button pushes 1.44 grams of water aside. "),
        "{bell}"
    );
    let view = desk.view();
    assert_eq!(view["job"]["proof"]["verdict"], "agrees", "{view:#}");
    assert!(button.is_positive());
    let how = |words: &[&str]| service::run(service::plain(desk.home.path()).args(words)).ends(0);
    assert!(how(&["reckon", "density", "--help"]).contains("pan at zero"));
    assert!(how(&["proof", "--help"]).contains("tared or not"));
}

#[test]
fn a_withdrawal_ends_what_was_counted_with_it_and_an_addition_out_of_plan_does_not_come_back() {
    let desk = Desk::new();
    desk.open("P-7", &["fine-silver"]);
    desk.lot("916", "fire-assay", "18.00");
    desk.say(&["button"]).ends(3);
    desk.ok(&["withdraw"]);
    assert!(desk.view()["weighing"].is_null());
    desk.say(&["button"]).is_refused("Nothing has been weighed");
    desk.lot("916", "fire-assay", "18.00");
    desk.add_at_aim(&[]);
    // Too rich now: it is brought down with what was planned.
    desk.empty();
    desk.ok(&["withdraw"]);
    desk.lot("916", "fire-assay", "1.00");
    let gold = desk.add(&["--with", "585"]);
    assert!(gold.aim.is_positive());
    desk.put(gold.aim);
    desk.until("it is recorded", |view| view["weighing"].is_null());
    desk.empty();
    desk.ok(&["withdraw"]);
    let view = desk.view();
    let names: Vec<&str> = view["job"]["to_come"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|it| it["name"].as_str())
        .collect();
    assert_eq!(names, ["fine silver"], "{view:#}");
}

#[test]
fn a_melt_above_its_window_is_brought_down_with_what_was_planned() {
    let desk = Desk::new();
    desk.open("P-8", &["fine-silver"]);
    desk.lot("916", "fire-assay", "18.00");
    desk.add_at_aim(&[]);
    desk.empty();
    desk.lot("916", "fire-assay", "5.00");
    let standing = desk.view()["sentence"].to_string();
    assert!(
        standing.contains("outside its window. Put it right with")
            && standing.contains("of fine silver"),
        "{standing}"
    );
}

#[test]
fn a_button_that_lost_too_much_is_not_passed_over() {
    let desk = Desk::new();
    desk.open("P-2", &["fine-silver"]);
    desk.lot("916", "fire-assay", "18.00");
    let silver = desk.add_at_aim(&[]);
    desk.empty();
    // If the half gram that is missing was gold, the button lies far below its mark.
    let bell = desk.button(g("17.50") + silver);
    let told = bell["text"].as_str().unwrap();
    assert!(
        told.contains("prove it before it is marked") || told.contains("It is below"),
        "{bell}"
    );
    let view = desk.view();
    let sentence = view["sentence"].as_str().unwrap();
    assert!(
        sentence.contains("prove it by its density or an assay"),
        "{sentence}"
    );
    desk.empty();
    desk.say(&["lot", "916", "fire-assay"])
        .is_refused("comes too late");
    // As likely as not it holds too much: more gold is not advised by that.
    desk.say(&["add", "--with", "fine-gold"])
        .is_refused("would only raise it further");
}

#[test]
fn a_plan_takes_the_place_of_what_was_not_weighed() {
    let desk = Desk::new();
    desk.open("P-3", &["fine-silver", "fine-copper"]);
    desk.lot("916", "fire-assay", "18.00");
    desk.say(&["plan", "--add", "750"])
        .is_refused("has the target's own fineness");
    // Fine gold only raises what lies above the target already.
    let said = desk.say(&["plan", "--add", "fine-gold"]).ends(3);
    assert!(said.contains("No mass of the metals planned"), "{said}");
    desk.ok(&["plan", "--add", "fine-copper"]);
    let view = desk.view();
    let to_come = view["job"]["to_come"].as_array().unwrap();
    assert_eq!(to_come.len(), 1, "{view:#}");
    assert_eq!(to_come[0]["name"], "fine copper");
    let copper = desk.add_at_aim(&[]);
    // 18 g of 916 hold 16.488 g of gold: 750 to 755 of 21.838 to 21.984 g.
    assert!(copper > g("3.83") && copper < g("3.99"), "{copper:?}");
    desk.empty();
    desk.button(g("18.00") + copper);
    let statement = desk.ok(&["close"]);
    assert!(!statement.contains("silver"), "{statement}");
    desk.verify();
}

#[test]
fn a_recipe_that_is_planned_lands_in_its_windows() {
    let desk = Desk::set(|home| {
        // Metals of known composition: a colour can be told of them.
        let shelf = concat!(env!("CARGO_MANIFEST_DIR"), "/config/shelf.toml");
        std::fs::copy(shelf, home.path().join("shelf.toml")).unwrap();
        let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
        home.settings(&format!("{}{bench}", home::NO_DESKTOP));
        service::command(home.path())
    });
    let path = format!("/v1/bench/{BENCH}/recipes");
    let recipes = || http::get(&desk.home.socket(), &path).unwrap();
    assert_eq!(recipes().status, 409);
    desk.open("R-1", &[]);
    assert_eq!(recipes().json()["recipes"].as_array().unwrap().len(), 0);
    desk.lot("916", "fire-assay", "18.00");
    let found = recipes().json();
    let found = found["recipes"].as_array().unwrap();
    assert!(found.len() > 1, "{found:#?}");
    assert!(
        found.iter().all(|recipe| recipe["is_sure"] == true),
        "{found:#?}"
    );
    let mixed = found
        .iter()
        .find(|recipe| recipe["add"].as_array().unwrap().len() == 2);
    let mixed = mixed.unwrap_or_else(|| panic!("{found:#?}"));
    let mut words = vec!["plan".to_owned()];
    for add in mixed["add"].as_array().unwrap() {
        let part = |key: &str| add[key].as_str().unwrap();
        words.extend([
            "--add".to_owned(),
            format!("{}={}", part("metal"), part("share")),
        ]);
    }
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    desk.ok(&words);
    for add in mixed["add"].as_array().unwrap() {
        let window = desk.add(&[]);
        let mass = mass(add["mass"].as_str().unwrap());
        assert!(
            window.lower <= mass && mass <= window.upper,
            "{add} {window:?}"
        );
        let mark = desk.follower.mark();
        desk.put(mass);
        desk.follower.bell(mark, "recorded");
    }
    let melt = desk.home.job("R-1").melt();
    let said: Decimal = mixed["fineness_ppt"].as_str().unwrap().parse().unwrap();
    assert!((melt.fineness().unwrap().to_per_mille(2) - said).abs() <= Decimal::new(1, 2));
}

#[test]
fn before_a_lot_is_weighed_the_warning_is_of_the_alloy_and_not_of_the_melt() {
    let desk = Desk::set(|home| {
        let shelf = concat!(env!("CARGO_MANIFEST_DIR"), "/config/shelf.toml");
        std::fs::copy(shelf, home.path().join("shelf.toml")).unwrap();
        let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
        home.settings(&format!("{}{bench}", home::NO_DESKTOP));
        service::command(home.path())
    });
    let open = [
        "open",
        "Z-1",
        "--target",
        "14k",
        "--colour",
        "yellow",
        "--add",
        "lamp-yellow",
    ];
    let said = desk.say(&open).ends(3);
    assert!(said.contains("What is to be added holds"), "{said}");
    assert!(!said.contains("The melt holds"), "{said}");
}

#[test]
fn a_planned_addition_that_is_forgotten_is_told_when_the_button_is_ordered() {
    let desk = Desk::new();
    desk.open("F-1", &["fine-silver"]);
    desk.lot("916", "fire-assay", "18.00");
    let said = desk.say(&["button"]).ends(3);
    assert!(
        said.contains("To come:") && said.contains("fine silver"),
        "{said}"
    );
}
