//! The unit guard: another unit, an unknown one, none at all.

use std::time::Duration;

use panbell::mass::Unit;
use serde_json::Value;

use crate::support::desk::{BENCH, Desk, Window, g, shown};
use crate::support::follower::Follower;
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::notices::{NoticeServer, PrivateBus};
use crate::support::service::{self, Said, Service};
use crate::support::wire::RawWire;

/// The test's own wire in place of a pretend balance, with a running service.
struct Bare {
    follower: Follower,
    service: Service,
    wire: RawWire,
    home: Home,
}

impl Bare {
    /// With the settings of a bench that is not silent for a minute.
    fn new(balance: &str, file: Option<&str>) -> Self {
        let home = Home::new();
        let wire = RawWire::new(&home.port(BENCH));
        if let Some(file) = file {
            home.balance_file(balance, file);
        }
        let bench = home::bench(BENCH, &home.port(BENCH), balance);
        let link = "[bench.link]\nsilence_seconds = 60\n";
        home.settings(&format!("{}{bench}{link}", home::NO_DESKTOP));
        let service = Service::start(&home);
        service.until_logged("port opened");
        let follower = Follower::start(&home.socket(), BENCH);
        // What comes before the first line end is dropped: its beginning was not heard.
        wire.send(b"\r\n");
        Self {
            follower,
            service,
            wire,
            home,
        }
    }

    fn say(&self, words: &[&str]) -> Said {
        service::run(service::plain(self.home.path()).args(words))
    }

    /// Sends a line and waits until followers were told of it; gives the reading.
    fn line(&self, line: &str) -> Value {
        let mark = self.follower.mark();
        self.wire.send(format!("{line}\r\n").as_bytes());
        self.follower
            .wait(mark, line, |event, _| event == "reading")
    }

    /// Sends a line again and again until this many were heard, a fiftieth of a second apart.
    fn lines(&self, line: &str, number: usize) -> Value {
        for _ in 1..number {
            self.line(line);
            std::thread::sleep(Duration::from_millis(20));
        }
        self.line(line)
    }

    fn open_with_lot(&self) {
        let open = [
            "open",
            "T-1",
            "--target",
            "18k",
            "--colour",
            "red",
            "--add",
            "fine-copper",
        ];
        self.lines("stable    0.00 g", 3);
        self.say(&open).ends(0);
        self.say(&["lot", "916", "fire-assay"]).ends(0);
        let mark = self.follower.mark();
        self.lines("stable    0.00 g", 30);
        self.lines("stable   20.00 g", 40);
        self.follower.bell(mark, "recorded");
        self.lines("stable    0.00 g", 30);
        self.say(&["add"]).ends(0);
        self.lines("stable    0.00 g", 30);
    }
}

#[test]
fn carats_in_the_middle_hold_at_once_and_are_never_captured() {
    let bus = PrivateBus::start();
    let notices = NoticeServer::start(&bus);
    let desk = Desk::set(|home| {
        home.settings(&home::bench(BENCH, &home.port(BENCH), "status-first"));
        let mut command = service::command(home.path());
        command.env("DBUS_SESSION_BUS_ADDRESS", bus.address());
        command
    });
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "14.86");
    desk.lot("14k", "stamp", "6.20");
    let window = desk.add(&[]);
    // A mass of which the number of carats lies inside the window of grams.
    let few = g("0.36");
    assert!(
        window.lower <= g("1.80") && g("1.80") <= window.upper,
        "{window:?}"
    );
    desk.put(few);
    desk.at_rest("0.36 g");
    let mark = desk.follower.mark();
    desk.balance.press_unit(Unit::Carat).unwrap();
    let bell = desk.follower.bell(mark, "hold");
    assert!(bell["text"].as_str().unwrap().contains("carat"), "{bell}");
    let notice = notices.wait_for(
        |it| it.summary.starts_with("Hold") && it.body.contains("carat"),
        Duration::from_secs(20),
    );
    assert_eq!(notice.expect("a notice of the hold").urgency, Some(2));
    // Far longer than it takes to be at rest and to dwell.
    desk.follower.readings(desk.follower.mark(), 75);
    let view = desk.view();
    assert_eq!(view["pan"]["shown"], "1.80 ct");
    assert_eq!(view["pan"]["unit"], "conflict");
    assert_eq!(view["hold"]["cause"], "unit");
    desk.say(&["take"]).is_refused("carat");
    assert_eq!(desk.home.masses("T-1").len(), 2);

    let mark = desk.follower.mark();
    desk.balance.press_unit(Unit::Gram).unwrap();
    desk.follower.bell(mark, "resumed");
    assert_eq!(Window::of(&desk.view()), window);
    desk.put(window.aim - few);
    desk.follower.bell(mark, "recorded");
    assert_eq!(desk.home.masses("T-1")[2], shown(window.aim));
    desk.verify();
}

#[test]
fn one_line_in_grams_is_not_enough_and_two_are() {
    let bare = Bare::new("status-first", None);
    bare.open_with_lot();
    assert_eq!(bare.line("stable    1.00 g")["unit"], "agreed");
    assert_eq!(bare.line("stable    5.00 ct")["unit"], "conflict");
    assert_eq!(bare.line("stable    1.00 g")["unit"], "conflict");
    assert_eq!(bare.line("stable    1.00 g")["unit"], "agreed");
    // A symbol without a meaning in the balance file is a conflict as well.
    let odd = bare.lines("stable    4.55 gr", 60);
    assert_eq!(odd["unit"], "conflict");
    assert_eq!(odd["shown"], "4.55 (unknown unit)");
    assert_eq!(bare.home.masses("T-1"), ["20.00 g"]);
    bare.say(&["take"])
        .is_refused("a unit that nothing says the size of");
}

#[test]
fn a_layout_without_a_unit_is_shown_and_never_captured() {
    let file = "says = \"A bare number.\"\n[port]\nspeed = 9600\nframing = \"8N1\"\n\
                [line]\nform = '''(?<value>[+-]?[0-9.]+)'''\ndecimal = \".\"\n";
    let mut bare = Bare::new("bare-number", Some(file));
    bare.lines("0.00", 3);
    bare.say(&["open", "T-1", "--target", "18k", "--colour", "red"])
        .ends(0);
    bare.say(&["lot", "916", "fire-assay"]).ends(0);
    bare.lines("0.00", 30);
    let mark = bare.follower.mark();
    let reading = bare.lines("14.86", 130);
    assert_eq!(reading["shown"], "14.86 (no unit)");
    assert_eq!(reading["unit"], "unproven");
    bare.follower.bell(mark, "hold");
    bare.say(&["take"]).is_refused("does not say its unit");
    assert!(bare.home.masses("T-1").is_empty());
    assert!(bare.service.is_running());
}

/// A lot of 916 is ordered with the pan empty, and what is then shown is heard for long.
fn with_a_lot(file: &str, empty: &str, load: &str) -> (Bare, Value) {
    let bare = Bare::new("signed", Some(file));
    bare.lines(empty, 3);
    bare.say(&["open", "T-1", "--target", "18k", "--colour", "red"])
        .ends(0);
    bare.say(&["lot", "916", "fire-assay"]).ends(0);
    bare.lines(empty, 30);
    let reading = bare.lines(load, 130);
    (bare, reading)
}

const IN_LETTERS: &str = "says = \"A sign in a letter.\"\n[port]\nspeed = 9600\nframing = \"8N1\"\n\
    [line]\nform = '(?<sign>[A-Z]) *(?<value>[0-9.]+) (?<unit>[a-z]+)'\ndecimal = \".\"\n";

#[test]
fn a_sign_that_is_not_proven_is_shown_and_never_captured() {
    let units = "[units]\n\"g\" = \"g\"\n[sign]\n\"P\" = \"plus\"\n\"N\" = \"minus\"\n";
    for (file, load, shown) in [
        // A minus was never heard: nothing at all is a load.
        (
            format!("{IN_LETTERS}minus = \"not proven\"\n{units}"),
            "P   12.34 g",
            "12.34 (sign not proven)",
        ),
        // A letter that the file gives no sign for.
        (
            format!("{IN_LETTERS}{units}"),
            "Q   12.34 g",
            "12.34 (sign not proven)",
        ),
    ] {
        let (mut bare, reading) = with_a_lot(&file, "P    0.00 g", load);
        assert_eq!(reading["shown"], shown);
        let view = http::get(&bare.home.socket(), &format!("/v1/bench/{BENCH}"));
        let view = view.unwrap().json();
        assert_eq!(view["hold"]["cause"], "balance", "{view:#}");
        let why = view["hold"].to_string();
        assert!(why.contains("above or below zero"), "{why}");
        // The way on is said with it.
        assert!(why.contains("learning asks for it"), "{why}");
        let refused = bare.say(&["take"]);
        assert_ne!(refused.code, 0, "{}", refused.out);
        assert!(bare.home.masses("T-1").is_empty());
        bare.service.stop();
    }
}

#[test]
fn a_minus_in_a_letter_is_no_lot() {
    let units = "[units]\n\"g\" = \"g\"\n[sign]\n\"P\" = \"plus\"\n\"N\" = \"minus\"\n";
    let (bare, reading) = with_a_lot(
        &format!("{IN_LETTERS}{units}"),
        "P    0.00 g",
        "N   12.34 g",
    );
    assert_eq!(reading["shown"], "-12.34 g");
    assert!(bare.home.masses("T-1").is_empty());
    // The same file takes what is above zero.
    bare.lines("P    0.00 g", 30);
    let mark = bare.follower.mark();
    bare.lines("P   12.34 g", 60);
    bare.follower.bell(mark, "recorded");
    assert_eq!(bare.home.masses("T-1"), ["12.34 g"]);
}
