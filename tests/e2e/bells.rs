//! Bells on a session bus: every kind, in its urgency, one notice a bench; and no bus at all.

use std::time::Duration;

use panbell::mass::Mass;

use crate::support::desk::{BENCH, Desk, g, pretend};
use crate::support::follower::Follower;
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::notices::{Notice, NoticeServer, PrivateBus};
use crate::support::service::{self, Service};

const LIMIT: Duration = Duration::from_secs(20);

/// The sound that each kind is known by on the bus.
const SOUNDS: [(&str, &str, u8); 8] = [
    ("near", "message-new-instant", 1),
    ("within", "bell", 1),
    ("over", "dialog-error", 2),
    ("under-again", "dialog-information", 1),
    ("recorded", "camera-shutter", 1),
    ("hold", "dialog-warning", 2),
    ("resumed", "device-added", 1),
    ("done", "complete", 1),
];

fn heard(notices: &NoticeServer, bell: &str, bench: &str, after: usize) -> Notice {
    let (_, sound, urgency) = SOUNDS.iter().find(|(kind, ..)| *kind == bell).unwrap();
    let find = || {
        let mut all = notices.all().into_iter().skip(after);
        all.find(|it| {
            it.sound_name.as_deref() == Some(sound)
                && it.body.ends_with(&format!("Bench: <b>{bench}</b>"))
        })
    };
    // Asking again after each further notice; the service keeps them all.
    let until = std::time::Instant::now() + LIMIT;
    loop {
        if let Some(notice) = find() {
            assert_eq!(notice.urgency, Some(*urgency), "{notice:?}");
            return notice;
        }
        assert!(
            std::time::Instant::now() < until,
            "no notice of {bell}: {:#?}",
            notices.all()
        );
        notices.wait_asked(notices.asked() + 1, Duration::from_millis(50));
    }
}

#[test]
fn every_bell_reaches_the_desktop_as_one_notice_that_is_replaced() {
    let bus = PrivateBus::start();
    let notices = NoticeServer::start(&bus);
    let desk = Desk::set(|home| {
        home.settings(&home::bench(BENCH, &home.port(BENCH), "status-first"));
        let mut command = service::command(home.path());
        command.env("DBUS_SESSION_BUS_ADDRESS", bus.address());
        command
    });
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "20.00");
    heard(&notices, "recorded", BENCH, 0);
    let window = desk.add(&[]);
    let mut after = notices.all().len();
    let mut next = |bell: &str| {
        heard(&notices, bell, BENCH, after);
        after = notices.all().len();
    };
    let near = window.lower - g("0.10");
    desk.place(near);
    next("near");
    desk.place(window.upper + g("0.10"));
    next("over");
    desk.place(near);
    next("under-again");
    desk.balance.unplug().unwrap();
    next("hold");
    desk.balance.plug().unwrap();
    next("resumed");
    desk.place(window.aim);
    next("within");
    next("recorded");
    desk.close_as_it_is();
    next("done");
    let all = notices.all();
    for notice in &all[1..] {
        assert_eq!(
            (notice.id, notice.replaces_id),
            (all[0].id, all[0].id),
            "{all:#?}"
        );
    }
    assert_eq!(all[0].replaces_id, 0);
    desk.verify();
}

#[test]
fn two_benches_have_two_notices() {
    let bus = PrivateBus::start();
    let notices = NoticeServer::start(&bus);
    let home = Home::new();
    let settings: String = ["one", "two"]
        .map(|name| home::bench(name, &home.port(name), "status-first"))
        .concat();
    home.settings(&settings);
    let balances = ["one", "two"].map(|name| pretend(&home.port(name), 50));
    let mut command = service::command(home.path());
    command.env("DBUS_SESSION_BUS_ADDRESS", bus.address());
    let mut service = Service::spawn(&home, command);
    service.until_ready();
    let mut ids = Vec::new();
    for (name, balance) in ["one", "two"].into_iter().zip(&balances) {
        let follower = Follower::start(&home.socket(), name);
        let open = format!(r#"{{"order":"open","ticket":"{name}","target":"750","colour":"red"}}"#);
        assert_eq!(
            http::order(&home.socket(), name, &open).unwrap().status,
            200
        );
        let lot = r#"{"order":"lot","fineness":"916","basis":"fire-assay"}"#;
        assert_eq!(http::order(&home.socket(), name, lot).unwrap().status, 200);
        follower.wait(0, "the base", |event, data| {
            event == "reading" && data["net"].is_string()
        });
        balance.place(g("5.00")).unwrap();
        follower.bell(0, "recorded");
        let first = heard(&notices, "recorded", name, 0);
        balance.place(Mass::ZERO).unwrap();
        balance.unplug().unwrap();
        assert_eq!(heard(&notices, "hold", name, 0).replaces_id, first.id);
        ids.push(first.id);
    }
    assert_ne!(ids[0], ids[1]);
    assert_eq!(home.masses("one"), ["5.00 g"]);
    assert_eq!(home.masses("two"), ["5.00 g"]);
}

#[test]
fn without_a_bus_the_job_goes_on_and_that_is_said_once() {
    let desk = Desk::set(|home| {
        home.settings(&home::bench(BENCH, &home.port(BENCH), "status-first"));
        service::command(home.path())
    });
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "20.00");
    desk.lot("916", "fire-assay", "2.00");
    desk.add_at_aim(&[]);
    desk.close_as_it_is();
    assert_eq!(desk.home.masses("T-1").len(), 3);
    desk.service.until_logged("bell-no-bus");
    assert_eq!(desk.service.log().matches("bell-no-bus").count(), 1);
}
