//! A balance that sends no unit: a check weight proves it, a unit key takes that away.

use std::time::Duration;

use panbell::job::{Record, UnitBy};
use panbell::mass::{Mass, Unit};
use panbell::port::{Nature, Pace, Pretend, PretendSettings, Showing};
use serde_json::Value;

use crate::support::desk::{BENCH, g};
use crate::support::follower::Follower;
use crate::support::home::{self, Home};
use crate::support::service::{self, Said, Service};

/// A balance that writes bare numbers, with a running service.
struct Silent {
    follower: Follower,
    balance: Pretend,
    service: Service,
    home: Home,
}

fn bare(showing: &Showing) -> Vec<u8> {
    format!("{}\r\n", showing.digits).into_bytes()
}

const FILE: &str = "says = \"A bare number.\"\n[port]\nspeed = 57600\nframing = \"8N1\"\n\
                    [line]\nform = '''(?<value>[+-]?[0-9.]+)'''\ndecimal = \".\"\n";

impl Silent {
    fn start(check_weight: &str) -> Self {
        let home = Home::new();
        home.balance_file("bare-number", FILE);
        let balance = Pretend::start(PretendSettings {
            link: home.port(BENCH),
            nature: Nature {
                division: "0.01 g".parse().unwrap(),
                settling: Duration::from_millis(300),
                noise: Mass::ZERO,
                seed: 7,
            },
            shape: bare,
            pace: Pace::LinesPerSecond(25),
            speed: 57_600,
        })
        .unwrap();
        let bench = home::bench(BENCH, &home.port(BENCH), "bare-number");
        let bench = bench.replacen("division", &format!("{check_weight}division"), 1);
        home.settings(&format!("{}{bench}", home::NO_DESKTOP));
        let service = Service::start(&home);
        service.until_logged("port opened");
        let follower = Follower::start(&home.socket(), BENCH);
        Self {
            follower,
            balance,
            service,
            home,
        }
    }

    fn say(&self, words: &[&str]) -> Said {
        service::run(service::plain(self.home.path()).args(words))
    }

    /// Puts this on the pan and waits until it is shown so.
    fn put(&self, mass: &str) {
        self.balance.place(g(mass)).unwrap();
        self.until_shown(&format!("{mass} (no unit)"));
    }

    fn until_shown(&self, shown: &str) {
        let mark = self.follower.mark();
        self.follower.wait(mark, shown, |event, data| {
            event == "reading" && data["shown"] == shown
        });
    }

    fn until_sentence(&self, mark: usize, words: &str) -> Value {
        self.follower.wait(mark, words, |event, data| {
            let sentence = data["sentence"].as_str().unwrap_or_default();
            matches!(event, "reading" | "state") && sentence.contains(words)
        })
    }

    fn check(&self, words: &[&str]) {
        self.check_beside("0.00", "20.00", words);
    }

    /// Shows the check weight beside what lies there, so that both are shown as that.
    fn check_beside(&self, lies: &str, both: &str, words: &[&str]) {
        self.put(lies);
        let mark = self.follower.mark();
        let told = self.say(&[&["check-weight"], words].concat()).ends(0);
        assert!(told.contains("the check weight 20 g F2"), "{told}");
        // The pan must have been seen at rest before it counts.
        self.follower.readings(self.follower.mark(), 12);
        self.balance.place(g(both)).unwrap();
        let bell = self.follower.bell(mark, "recorded");
        assert_eq!(bell["title"], "Check weight: agreed", "{bell}");
        self.until_sentence(mark, "Take it off the pan.");
        assert_eq!(self.say(&["take"]).code, 1, "not while it lies there");
        self.balance.place(g(lies)).unwrap();
        let mark = self.follower.mark();
        self.follower.wait(mark, "it is off", |event, data| {
            let sentence = data["sentence"].as_str().unwrap_or_default();
            event == "reading" && data["unit"] == "agreed" && !sentence.contains("agrees")
        });
    }

    fn lot(&self, mass: &str) {
        self.say(&["lot", "916", "fire-assay"]).ends(0);
        self.put("0.00");
        self.until_sentence(0, "on the pan");
        self.follower.readings(self.follower.mark(), 12);
        let mark = self.follower.mark();
        self.balance.place(g(mass)).unwrap();
        self.follower.bell(mark, "recorded");
    }

    fn open(&self, code: i32) -> String {
        let open = ["open", "T-1", "--target", "18k", "--colour", "red"];
        self.say(&open).ends(code)
    }
}

#[test]
fn a_check_weight_lets_a_balance_without_units_be_captured_until_its_unit_key_is_pressed() {
    let silent = Silent::start("check_weight = \"20 g F2\"\n");
    silent.put("0.00");
    let told = silent.open(3);
    assert!(
        told.contains("was not weighed in the last 12 hours"),
        "{told}"
    );
    silent.say(&["lot", "916", "fire-assay"]).ends(0);
    let mark = silent.follower.mark();
    silent.put("14.86");
    silent.follower.bell(mark, "hold");
    silent.say(&["take"]).is_refused("does not say its unit");

    silent.check(&[]);
    silent.lot("14.86");
    silent
        .say(&["check-weight", "--mass", "30 g", "--class", "F2"])
        .is_refused_with("class F2 has no weight of that mass");

    // A sleeve on the unit key while the lot still lies there.
    silent.follower.readings(silent.follower.mark(), 30);
    let mark = silent.follower.mark();
    silent.balance.press_unit(Unit::Carat).unwrap();
    let bell = silent.follower.bell(mark, "hold");
    assert!(bell["text"].as_str().unwrap().contains("carats"), "{bell}");
    silent.balance.press_unit(Unit::Gram).unwrap();
    silent.until_shown("14.86 (no unit)");
    let mark = silent.follower.mark();
    assert_eq!(
        silent
            .follower
            .wait(mark, "a reading", |event, _| event == "reading")["unit"],
        "conflict"
    );
    silent.check(&["--mass", "20 g", "--class", "F2"]);

    // The weight beside the button, before that is taken off, proves the whole job.
    let told = silent.say(&["button"]).ends(0);
    assert!(told.contains("the button"), "{told}");
    silent.follower.readings(silent.follower.mark(), 12);
    let mark = silent.follower.mark();
    silent.balance.place(g("14.80")).unwrap();
    let bell = silent.follower.bell(mark, "recorded");
    let told = bell["text"].as_str().unwrap();
    assert!(told.contains("put the check weight beside it"), "{told}");
    silent
        .say(&["close"])
        .is_refused("rest on a check weight, and are not proven");
    silent.check_beside("14.80", "34.80", &[]);
    silent.say(&["close"]).ends(3);

    let captures = silent.home.captures("T-1");
    let by: Vec<UnitBy> = captures.iter().map(|captured| captured.unit_by).collect();
    assert_eq!(by, [UnitBy::CheckWeight(1), UnitBy::CheckWeight(2)]);
    let records = silent.home.records("T-1");
    let checks: Vec<u64> = records
        .iter()
        .filter_map(|(_, record)| match record {
            Record::CheckWeight { check, .. } => Some(*check),
            _ => None,
        })
        .collect();
    assert_eq!(checks, [1, 2, 3]);
    let warnings = silent.home.job("T-1").closed.unwrap().warnings;
    assert!(
        !warnings
            .iter()
            .any(|warning| warning.contains("unit") || warning.contains("check weight")),
        "{warnings:?}"
    );
    silent.say(&["verify"]).ends(0);
    let table = silent.say(&["check-weight", "--table", "--json"]).ends(0);
    let table: Value = serde_json::from_str(&table).unwrap();
    assert_eq!(table[0]["count"], 3);
    assert_eq!(table[0]["mean_deviation"], "+0.0000 g");
    silent
        .say(&[
            "open",
            "check-weights",
            "--target",
            "18k",
            "--colour",
            "red",
        ])
        .is_refused_with("check-weights");
}

#[test]
fn a_check_weight_that_lay_there_too_soon_is_taken_off_and_put_on_again() {
    let silent = Silent::start("check_weight = \"20 g F2\"\n");
    silent.put("20.00");
    silent.say(&["check-weight"]).ends(0);
    silent.until_sentence(0, "take it off and put it on again");
    let mark = silent.follower.mark();
    silent.balance.place(g("0.00")).unwrap();
    silent
        .follower
        .wait(mark, "it counts from nothing", |event, data| {
            let sentence = data["sentence"].as_str().unwrap_or_default();
            event == "reading" && sentence == "Put the check weight 20 g F2 on the pan."
        });
    let mark = silent.follower.mark();
    silent.balance.place(g("20.00")).unwrap();
    let bell = silent.follower.bell(mark, "recorded");
    assert_eq!(bell["title"], "Check weight: agreed", "{bell}");
}

#[test]
fn masses_that_no_check_weight_follows_are_closed_as_unproven_and_another_unit_is_told() {
    let mut silent = Silent::start("");
    silent.put("0.00");
    silent
        .say(&["check-weight"])
        .is_refused("name no check weight");
    silent
        .say(&["check-weight", "--mass", "0.1 g", "--class", "F2"])
        .is_refused("too light");
    silent.check(&["--mass", "20 g", "--class", "F2"]);
    silent.open(0);
    silent.lot("14.86");
    silent
        .say(&["close"])
        .is_refused("rest on a check weight, and are not proven");
    let told = silent.say(&["close"]).ends(3);
    assert!(told.contains("The unit of 14.86 g is not proven"), "{told}");

    // A second service remembers nothing of the unit.
    silent.service.stop();
    silent.service = Service::start(&silent.home);
    silent.service.until_logged("port opened");
    silent.follower = Follower::start(&silent.home.socket(), BENCH);
    silent.balance.press_unit(Unit::Carat).unwrap();
    silent.put("0.00");
    let mark = silent.follower.mark();
    silent
        .say(&["check-weight", "--mass", "20 g", "--class", "F2"])
        .ends(0);
    silent.follower.readings(silent.follower.mark(), 12);
    silent.balance.place(g("20.00")).unwrap();
    let bell = silent.follower.bell(mark, "recorded");
    assert_eq!(bell["title"], "Check weight: another unit");
    assert!(bell["text"].as_str().unwrap().contains("carats"), "{bell}");
}

#[test]
fn a_check_weight_that_failed_is_told_at_the_next_opening_and_in_its_statement_with_none_set_up() {
    let mut silent = Silent::start("");
    silent.put("0.00");
    silent
        .say(&["check-weight", "--mass", "20 g", "--class", "F2"])
        .ends(0);
    silent.follower.readings(silent.follower.mark(), 12);
    let mark = silent.follower.mark();
    silent.balance.place(g("20.20")).unwrap();
    let bell = silent.follower.bell(mark, "recorded");
    assert_eq!(bell["title"], "Check weight: outside its limits");
    let failed = "is shown as 20.20 g, outside its limits";
    let told = silent.open(3);
    assert!(told.contains(failed), "{told}");
    let told = silent.say(&["close"]).ends(3);
    assert!(told.contains(failed), "{told}");

    // The book of check weights remembers it for a service that is started anew.
    silent.service.stop();
    silent.service = Service::start(&silent.home);
    silent.service.until_logged("port opened");
    let open = ["open", "T-2", "--target", "18k", "--colour", "red"];
    let told = silent.say(&open).ends(3);
    assert!(told.contains(failed), "{told}");
}
