//! Several benches on one service: one that talks, one that is dead, one that floods.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use panbell::mass::Mass;

use crate::support::desk::{g, pretend};
use crate::support::follower::Follower;
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::service::{Said, Service, plain, run};
use crate::support::wire::RawWire;

fn say(home: &Home, words: &[&str]) -> Said {
    run(plain(home.path()).args(words))
}

/// Weighs a lot, from the hand to the bell.
fn weigh(home: &Home, balance: &panbell::port::Pretend, follower: &Follower, mass: &str) {
    let mark = follower.mark();
    say(home, &["lot", "916", "fire-assay", "--bench", "talks"]).ends(0);
    follower.wait(mark, "the base", |event, data| {
        event == "reading" && data["net"] == "0.00 g"
    });
    balance.place(g(mass)).unwrap();
    follower.bell(mark, "recorded");
    let mark = follower.mark();
    balance.place(Mass::ZERO).unwrap();
    follower.wait(mark, "an empty pan", |event, data| {
        event == "reading" && data["shown"] == "0.00 g" && data["steady"] == true
    });
}

#[test]
fn a_dead_and_a_flooding_balance_delay_nobody() {
    let home = Home::new();
    let balance = pretend(&home.port("talks"), 50);
    let _dead = RawWire::new(&home.port("dead"));
    let flood = RawWire::new(&home.port("floods"));
    let settings: String = ["talks", "dead", "floods"]
        .map(|name| home::bench(name, &home.port(name), "status-first"))
        .concat();
    home.settings(&format!("{}{settings}", home::NO_DESKTOP));
    let mut service = Service::start(&home);
    let follower = Follower::start(&home.socket(), "talks");
    let words = ["open", "T-1", "--target", "750", "--colour", "red"];
    say(&home, &words).is_refused("There are several benches");
    let on = [&words[..], &["--bench", "nowhere"]].concat();
    say(&home, &on).is_refused("no bench \"nowhere\"");
    follower.wait(0, "a reading", |event, data| {
        event == "reading" && data["steady"] == true
    });
    say(&home, &[&words[..], &["--bench", "talks"]].concat()).ends(0);
    weigh(&home, &balance, &follower, "5.00");

    let ending = Arc::new(AtomicBool::new(false));
    let end = Arc::clone(&ending);
    let flooding = std::thread::spawn(move || {
        let garbage = [b'\xfe', b'U', 0, b'\n', b'x', b'\r', 0x80, b'7'].repeat(500);
        let mut sent = 0;
        while !end.load(Ordering::Relaxed) {
            sent += flood.flood(&garbage);
            std::thread::sleep(Duration::from_millis(1));
        }
        sent
    });
    let floods = Follower::start(&home.socket(), "floods");
    floods.wait(0, "garbled", |event, data| {
        event == "state" && data["link"] == "garbled"
    });
    let dead = Follower::start(&home.socket(), "dead");
    dead.wait(0, "silent", |event, data| {
        event == "state" && data["link"] == "silent"
    });
    // How late it is told is a figure of the benchmark; here the flood must not keep it away.
    weigh(&home, &balance, &follower, "6.00");
    ending.store(true, Ordering::Relaxed);
    let sent = flooding.join().unwrap();
    assert!(sent > 50_000, "only {sent} bytes of flood");
    assert_eq!(home.masses("T-1"), ["5.00 g", "6.00 g"]);
    let benches = http::get(&home.socket(), "/v1/benches").unwrap().json();
    assert_eq!(benches.as_array().unwrap().len(), 3);
    // Given to a bench that cannot weigh, an order is kept and holds nothing up; once the silence
    // has lasted, the answer warns of it.
    dead.wait(0, "the hold", |event, data| {
        event == "state" && data["hold"]["cause"] == "link"
    });
    let words = [
        "open", "T-2", "--target", "750", "--colour", "red", "--bench", "dead",
    ];
    say(&home, &words).ends(3);
    assert!(service.is_running());
    service.stop();
    say(&home, &["verify"]).ends(0);
}

#[test]
fn a_flood_of_digits_without_a_line_end_is_garbled_and_stays_it() {
    let home = Home::new();
    let wire = RawWire::new(&home.port("floods"));
    let bench = home::bench("floods", &home.port("floods"), "status-first");
    home.settings(&format!("{}{bench}", home::NO_DESKTOP));
    let mut service = Service::start(&home);
    let ending = Arc::new(AtomicBool::new(false));
    let end = Arc::clone(&ending);
    let flooding = std::thread::spawn(move || {
        let digits = b"0123456789".repeat(400);
        while !end.load(Ordering::Relaxed) {
            wire.flood(&digits);
            std::thread::sleep(Duration::from_millis(1));
        }
        wire
    });
    let follower = Follower::start(&home.socket(), "floods");
    let state = |from: usize, what: &'static str| {
        follower.wait(from, what, move |event, data| {
            event == "state" && data["link"] == what
        });
    };
    state(0, "garbled");
    let mark = follower.mark();
    // As long as it goes on: longer than the silence that would be told.
    std::thread::sleep(Duration::from_secs(4));
    let view = http::get(&home.socket(), "/v1/bench/floods").unwrap();
    assert_eq!(view.json()["link"], "garbled");
    // What is over is silence.
    ending.store(true, Ordering::Relaxed);
    let _wire = flooding.join().unwrap();
    state(mark, "silent");
    assert!(service.is_running());
    service.stop();
}
