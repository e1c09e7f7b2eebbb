//! The bells against a real bus and a real notification service, whole and broken. Every case
//! runs the bells in a process of its own.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)] // of JSON values, which answer null

#[path = "bell/orders.rs"]
mod orders;
#[path = "bell/presses.rs"]
mod presses;
#[path = "bell/ringer.rs"]
mod ringer;
mod support;

use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt;
use std::process::Stdio;
use std::time::{Duration, Instant};

use panbell::job::BellKind;
use serde_json::json;

use ringer::Ringer;
use support::notices::{Notice, NoticeServer, PrivateBus};

/// For everything that should take no time; long, because the machine may be busy.
const LIMIT: Duration = Duration::from_secs(30);

fn shown(server: &NoticeServer, title: &str) -> Notice {
    let notice = server.wait_for(|it| it.summary == title, LIMIT);
    notice.unwrap_or_else(|| panic!("{title:?} was not shown: {:?}", titles(server)))
}

fn titles(server: &NoticeServer) -> Vec<String> {
    server.all().into_iter().map(|it| it.summary).collect()
}

/// Waits, within the limit, for something that can only be asked again and again.
fn eventually(what: &str, mut is_so: impl FnMut() -> bool) {
    let until = Instant::now() + LIMIT;
    while !is_so() {
        assert!(Instant::now() < until, "never: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

// ---- what is shown ----

#[test]
fn every_kind_is_shown_as_urgent_and_as_loud_as_it_should_be() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    let expected = [
        (BellKind::Near, 1, "message-new-instant", "device"),
        (BellKind::Within, 1, "bell", "device"),
        (BellKind::Over, 2, "dialog-error", "device"),
        (BellKind::UnderAgain, 1, "dialog-information", "device"),
        (BellKind::Recorded, 1, "camera-shutter", "device"),
        (BellKind::Hold, 2, "dialog-warning", "device.error"),
        (BellKind::Resumed, 1, "device-added", "device"),
        (BellKind::Done, 1, "complete", "device"),
    ];
    assert_eq!(expected.map(|row| row.0), BellKind::ALL);
    for (kind, urgency, sound, category) in expected {
        ringer.ring("left", kind, kind.word());
        let notice = shown(&server, kind.word());
        assert_eq!(notice.urgency, Some(urgency), "{kind:?}");
        assert_eq!(notice.sound_name.as_deref(), Some(sound), "{kind:?}");
        assert_eq!(notice.category.as_deref(), Some(category), "{kind:?}");
        assert_eq!(notice.desktop_entry.as_deref(), Some("panbell"));
        assert_eq!(notice.app_name, "panbell");
        assert!(!notice.icon.is_empty());
        assert_eq!(notice.body, "Some text.\nBench: <b>left</b>");
        assert!(notice.actions.is_empty());
        if kind.is_critical() {
            assert_eq!(notice.expire_timeout, 0, "{kind:?} must not expire");
        } else {
            assert!((1_000..=30_000).contains(&notice.expire_timeout));
        }
    }
    assert_eq!(server.asked(), 8);
    assert_eq!(ringer.warnings(), Vec::<String>::new());
}

#[test]
fn text_from_people_is_never_markup() {
    let bodies = [
        (
            &["body", "body-markup"][..],
            "&lt;img src=\"x\"&gt; &amp;   2 &lt; 3\nsecond line\nBench: <b>Tom &amp; &lt;Jo&gt;</b>",
        ),
        (
            &["body"],
            "<img src=\"x\"> &   2 < 3\nsecond line\nBench: Tom & <Jo>",
        ),
    ];
    for (can, body) in bodies {
        let bus = PrivateBus::start();
        let server = NoticeServer::start_with(&bus, can);
        let mut ringer = Ringer::start(&bus.address());
        ringer.ask(&json!({
            "do": "ring", "bench": "Tom & <Jo>", "kind": "near", "title": "<i>Near</i>\nat last",
            "text": "<img src=\"x\"> & \u{0} 2 < 3\nsecond line",
        }));
        let notice = server.wait_for(|_| true, LIMIT).unwrap();
        // Some read markup in a title too, whatever they say they can.
        assert_eq!(notice.summary, "‹i›Near‹/i› at last");
        assert_eq!(notice.body, body, "{can:?}");
    }
}

#[test]
fn each_bench_has_one_notice_that_is_replaced() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Near, "left 1");
    let left = shown(&server, "left 1");
    ringer.ring("right", BellKind::Near, "right 1");
    let right = shown(&server, "right 1");
    assert_eq!((left.replaces_id, right.replaces_id), (0, 0));
    assert_ne!(left.id, right.id);
    let mut replacing = Vec::new();
    for number in 2..6 {
        for (bench, first) in [("left", &left), ("right", &right)] {
            let title = format!("{bench} {number}");
            ringer.ring(bench, BellKind::Within, &title);
            let next = shown(&server, &title);
            assert_eq!((next.replaces_id, next.id), (first.id, first.id));
            replacing.push(next.sender);
        }
    }
    // A desktop may bind all our notices to the connection that made the first one.
    eventually("connections that only replaced are closed", || {
        replacing[..6].iter().all(|it| !server.is_connected(it))
    });
    assert!(server.is_connected(&left.sender) && server.is_connected(&right.sender));
    assert!(replacing[6..].iter().all(|it| server.is_connected(it)));

    // Put away, and made anew: the number that comes back is the one to replace next.
    server.put_away(left.id);
    ringer.ring("left", BellKind::Over, "left anew");
    let anew = shown(&server, "left anew");
    assert_ne!(anew.id, left.id);
    ringer.ring("left", BellKind::UnderAgain, "left last");
    assert_eq!(shown(&server, "left last").replaces_id, anew.id);
    assert!(server.is_connected(&left.sender));
}

#[test]
fn connections_do_not_add_up() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    let before = ringer.number("sockets");
    for number in 0..60 {
        let title = number.to_string();
        ringer.ring("left", BellKind::Within, &title);
        server.put_away(shown(&server, &title).id);
    }
    // Sixteen are kept on purpose, one is the newest, one may be closing.
    eventually("the sockets are few", || {
        ringer.number("sockets") <= before + 18
    });
}

#[test]
fn a_burst_ends_with_the_newest_and_costs_few_calls() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    ringer.burst("left", 1000, "at once ", false);
    shown(&server, "at once 1000");
    // No more than the box holds: the last over, the last hold and the newest.
    assert!(server.asked() <= 3, "{:?}", titles(&server));
    ringer.burst("left", 1000, "one by one ", true);
    shown(&server, "one by one 1000");
    assert_eq!(titles(&server).last().unwrap(), "one by one 1000");
    let ids: std::collections::BTreeSet<_> = server.all().iter().map(|it| it.id).collect();
    assert_eq!(ids.len(), 1, "stacked");
}

// ---- what can be missing or broken ----

#[test]
fn without_a_bus_it_says_so_once_and_rings_on_when_there_is_one() {
    let mut bus = PrivateBus::start();
    bus.stop();
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Near, "near");
    ringer.wait_trouble(Some("bell-no-bus"));
    for number in 0..20 {
        ringer.ring("left", BellKind::Hold, &format!("hold {number}"));
    }
    ringer.ring("left", BellKind::Resumed, "resumed");
    let warnings = ringer.warnings();
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    assert!(warnings[0].contains("code=\"bell-no-bus\""), "{warnings:?}");
    assert!(warnings[0].contains("means=") && warnings[0].contains("mend="));

    bus.start_again();
    let server = NoticeServer::start(&bus);
    shown(&server, "resumed");
    assert_eq!(titles(&server), ["hold 19", "resumed"]);
    ringer.wait_trouble(None);

    // Gone again: that is news. Back again: the old number is not used, it may be another's.
    drop(server);
    bus.stop();
    ringer.ring("left", BellKind::Over, "over");
    ringer.wait_trouble(Some("bell-no-bus"));
    assert_eq!(ringer.warnings().len(), 2);
    bus.start_again();
    let server = NoticeServer::start(&bus);
    assert_eq!(shown(&server, "over").replaces_id, 0);
}

#[test]
fn without_a_service_it_says_so_once_and_rings_on_when_there_is_one() {
    let bus = PrivateBus::start();
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Near, "near");
    ringer.wait_trouble(Some("bell-no-server"));
    ringer.ring("left", BellKind::Over, "over");
    let warnings = ringer.warnings();
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    assert!(warnings[0].contains("code=\"bell-no-server\""));
    let server = NoticeServer::start(&bus);
    shown(&server, "over");
    assert_eq!(titles(&server), ["over"], "near was no longer the news");
    ringer.wait_trouble(None);
}

#[test]
fn numbers_of_a_service_that_ended_are_not_used_on_the_next() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    for bench in ["one", "two", "three"] {
        ringer.ring(bench, BellKind::Near, bench);
        shown(&server, bench);
    }
    assert_eq!(shown(&server, "three").id, 3);
    server.stop();
    let server = NoticeServer::start(&bus);
    ringer.ring("three", BellKind::Over, "over");
    let over = shown(&server, "over");
    assert_eq!((over.replaces_id, over.id), (0, 1));
    ringer.ring("three", BellKind::UnderAgain, "under again");
    let under = shown(&server, "under again");
    assert_eq!((under.replaces_id, under.id), (1, 1));
    assert_eq!(ringer.warnings(), Vec::<String>::new());
}

#[test]
fn a_service_that_hangs_stops_nothing_and_shows_all_that_matters_when_it_wakes() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    server.hang();
    ringer.ring("left", BellKind::Near, "near");
    assert!(server.wait_asked(1, LIMIT));
    ringer.number("gap");
    for number in 0..50 {
        ringer.ring("left", BellKind::Within, &format!("within {number}"));
        ringer.ring("left", BellKind::Over, &format!("over {number}"));
    }
    ringer.ring("left", BellKind::UnderAgain, "under again");
    ringer.wait_trouble(Some("bell-silent"));
    let gap = ringer.number("gap");
    assert!(gap < 1_500, "the other tasks stood still for {gap} ms");
    assert_eq!(server.asked(), 1, "one call at a time");
    server.recover();
    shown(&server, "under again");
    assert_eq!(titles(&server), ["near", "over 49", "under again"]);
    assert!(
        server.all().iter().all(|it| it.id == 1),
        "the late answer was heard, so nothing is stacked"
    );
    ringer.wait_trouble(None);
    assert_eq!(ringer.warnings().len(), 1);
}

#[test]
fn an_over_that_was_never_answered_is_told_again() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    server.hang();
    ringer.ring("left", BellKind::Over, "over");
    ringer.wait_trouble(Some("bell-silent"));
    server.recover_and_forget();
    shown(&server, "over");
    ringer.wait_trouble(None);
    assert_eq!(titles(&server), ["over"]);
    assert_eq!(server.asked(), 2);
}

#[test]
fn a_service_that_dies_over_a_notice_is_not_waited_for() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    server.hang();
    ringer.ring("left", BellKind::Over, "over");
    assert!(server.wait_asked(1, LIMIT));
    server.stop();
    ringer.wait_trouble(Some("bell-no-server"));
    let server = NoticeServer::start(&bus);
    shown(&server, "over");
}

#[test]
fn a_notice_that_is_refused_is_tried_again() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    server.refuse();
    ringer.ring("left", BellKind::Hold, "hold");
    ringer.wait_trouble(Some("bell-refused"));
    server.recover();
    shown(&server, "hold");
    ringer.wait_trouble(None);
}

#[test]
fn a_fault_in_the_making_of_a_notice_ends_neither_the_bells_nor_the_service() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    // The notification library panics if the program's own name is not UTF-8.
    let here = std::env::current_exe().unwrap();
    let folder = tempfile::tempdir_in(here.parent().unwrap()).unwrap();
    let program = folder.path().join(OsStr::from_bytes(b"bell-\xff"));
    std::fs::hard_link(&here, &program).unwrap();
    let mut ringer = Ringer::start_as(&program, &bus.address(), Stdio::null());
    ringer.ring("left", BellKind::Over, "over");
    ringer.wait_trouble(Some("bell-broke"));
    ringer.ring("left", BellKind::Hold, "hold");
    let warnings = ringer.warnings();
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    assert_eq!(server.asked(), 0);
    ringer.number("finish");
    assert!(ringer.child.wait().unwrap().success());
}

// ---- the end ----

#[test]
fn the_last_ring_is_shown_before_the_end() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Over, "over");
    ringer.ring("left", BellKind::Done, "done");
    ringer.number("finish");
    assert_eq!(titles(&server).last().map(String::as_str), Some("done"));
}

#[test]
fn a_service_that_hangs_does_not_hold_up_the_end() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    server.hang();
    ringer.ring("left", BellKind::Done, "done");
    assert!(server.wait_asked(1, LIMIT));
    let took = ringer.number("finish");
    assert!(took < 8_000, "ending took {took} ms");
    let until = Instant::now() + Duration::from_secs(8);
    eventually("the process ends", || {
        ringer.child.try_wait().unwrap().is_some()
    });
    assert!(Instant::now() < until, "the process ended late");
}

#[test]
fn without_a_service_there_is_nothing_to_wait_for_at_the_end() {
    let bus = PrivateBus::start();
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Hold, "hold");
    ringer.wait_trouble(Some("bell-no-server"));
    let took = ringer.number("finish");
    assert!(took < 1_500, "ending took {took} ms");
}
