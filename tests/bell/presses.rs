//! What notices offer, what is pressed on them, progress, and a notification service that is
//! started anew: against a real bus and a real service.

use std::time::Duration;

use panbell::job::BellKind;
use serde_json::{Value, json};

use crate::ringer::Ringer;
use crate::support::notices::{Notice, NoticeServer, PrivateBus};
use crate::{LIMIT, eventually, shown};

const ABLE: [&str; 4] = ["actions", "body", "body-markup", "value"];

/// Presses until it is heard, since a service may be quicker than who listens to it; gives what was
/// pressed.
fn press(server: &NoticeServer, ringer: &mut Ringer, notice: &Notice, answer: &Value) -> Value {
    let mut pressed = Value::Null;
    eventually("the press is heard", || {
        server.press(notice.id, &notice.actions[0]);
        pressed = ringer.ask(answer);
        !pressed.is_null()
    });
    pressed
}

fn last(server: &NoticeServer, is_it: impl Fn(&Notice) -> bool) -> Notice {
    let found = server.wait_for(is_it, LIMIT);
    found.unwrap_or_else(|| panic!("not shown: {:#?}", server.all()))
}

const REFUSED: &str = "press";

#[test]
fn each_kind_offers_what_makes_sense() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start_with(&bus, &ABLE);
    let mut ringer = Ringer::start(&bus.address());
    for kind in BellKind::ALL {
        ringer.ring("left", kind, kind.word());
        let notice = shown(&server, kind.word());
        let labels: Vec<&str> = notice.actions.iter().skip(1).map(String::as_str).collect();
        let expected = match kind {
            BellKind::Within | BellKind::Over => vec!["Take"],
            BellKind::Recorded => vec!["Withdraw"],
            BellKind::Hold => vec!["Why"],
            _ => vec![],
        };
        assert_eq!(labels, expected, "{kind:?}");
    }
}

#[test]
fn what_is_pressed_is_ordered_and_a_refusal_is_told_in_the_notice() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start_with(&bus, &ABLE);
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Over, "over");
    let over = shown(&server, "over");
    let pressed = press(&server, &mut ringer, &over, &json!({"do": REFUSED}));
    assert_eq!(pressed, json!(["left", "Take", false]));
    let told = last(&server, |it| it.body.contains("Not taken"));
    let body = "<b>Not taken: It happened. It means. Mend it.</b>\nSome text.\nBench: <b>left</b>";
    assert_eq!((&*told.summary, &*told.body), ("over", body));
    assert_eq!(told.id, over.id);
    assert_eq!(told.urgency, Some(2), "it is over still");
    assert!(told.is_quiet && told.sound_name.is_none());

    // The same button again, and this time it is done.
    let done = json!({"do": "press", "title": "Taken", "told": "2.31 g."});
    let pressed = press(&server, &mut ringer, &told, &done);
    assert_eq!(pressed[1], "Take");
    ringer.ring("left", BellKind::Recorded, "recorded");
    let recorded = shown(&server, "recorded");
    let done = json!({"do": "press", "title": "Withdrawn", "told": "2.31 g set aside."});
    assert_eq!(press(&server, &mut ringer, &recorded, &done)[1], "Withdraw");
    let told = last(&server, |it| it.summary == "Withdrawn");
    assert_eq!(told.body, "2.31 g set aside.\nBench: <b>left</b>");
    assert!(told.actions.is_empty(), "not a second one");
    assert_eq!(ringer.warnings(), Vec::<String>::new());
}

#[test]
fn one_press_is_one_order_however_often_it_is_told() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start_with(&bus, &ABLE);
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Within, "within");
    let within = shown(&server, "within");
    let done = json!({"do": "press", "title": "Taken", "told": "x"});
    press(&server, &mut ringer, &within, &done);
    for _ in 0..5 {
        server.press(within.id, &within.actions[0]);
    }
    // Whatever was heard of those is behind this by now.
    ringer.ring("right", BellKind::Near, "near");
    shown(&server, "near");
    assert_eq!(ringer.ask(&done), Value::Null);
}

#[test]
fn what_was_meant_for_one_weighing_never_falls_on_another() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start_with(&bus, &ABLE);
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Recorded, "recorded");
    let recorded = shown(&server, "recorded");
    ringer.ask(&json!({"do": "ordered", "bench": "left"}));
    let mut told = None;
    eventually("it is told that it came too late", || {
        server.press(recorded.id, &recorded.actions[0]);
        let late = |it: &Notice| it.body.contains("The bench has gone on");
        told = server.wait_for(late, Duration::from_millis(50));
        told.is_some()
    });
    assert!(told.unwrap().body.contains("Not withdrawn"));
    assert_eq!(ringer.ask(&json!({"do": "press"})), Value::Null);
}

#[test]
fn why_is_told_whole_in_a_further_notice_and_the_hold_stays() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start_with(&bus, &ABLE);
    let mut ringer = Ringer::start(&bus.address());
    ringer.ring("left", BellKind::Hold, "hold");
    let hold = shown(&server, "hold");
    let whole = format!("{}END", "A long reason. ".repeat(80));
    let answer = json!({"do": "press", "title": "Why the bench holds", "told": whole});
    assert_eq!(press(&server, &mut ringer, &hold, &answer)[1], "Why");
    let why = last(&server, |it| it.summary == "Why the bench holds");
    assert!(why.body.contains("END"), "not cut");
    assert_ne!(why.id, hold.id);
    assert_eq!(why.urgency, Some(1));
    // Some put a notice away that was pressed, so it is shown again, without a sound.
    let again = last(&server, |it| it.summary == "hold" && it.is_quiet);
    assert_eq!((again.id, again.urgency), (hold.id, Some(2)));
    // And once more, over the first further one.
    press(&server, &mut ringer, &again, &answer);
    let further = last(&server, |it| {
        it.summary == why.summary && it.replaces_id != 0
    });
    assert_eq!(further.id, why.id);
}

#[test]
fn progress_is_shown_at_most_twice_a_second_while_a_notice_stands() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start_with(&bus, &ABLE);
    let mut ringer = Ringer::start(&bus.address());
    let pan = |ringer: &mut Ringer, progress: u64| {
        ringer.ask(&json!({"do": "pan", "bench": "left", "progress": progress}));
    };
    pan(&mut ringer, 10);
    ringer.ring("left", BellKind::Near, "near");
    assert_eq!(shown(&server, "near").value, Some(10));
    for progress in 11..=99 {
        pan(&mut ringer, progress);
        std::thread::sleep(Duration::from_millis(20));
    }
    let end = last(&server, |it| it.value == Some(99));
    let all = server.all();
    for pair in all.windows(2) {
        assert!(pair[1].at - pair[0].at > Duration::from_millis(400));
        assert!(pair[1].is_quiet && pair[1].id == pair[0].id, "{pair:?}");
    }
    assert!(all.len() >= 3, "it moved: {}", all.len());
    // Put away: nothing is brought up to date any more, and no notice comes back by itself.
    let mut away = end;
    server.put_away(away.id);
    eventually("the closing is heard, and all is still", || {
        let count = server.all().len();
        for progress in [50, 51] {
            pan(&mut ringer, progress);
            std::thread::sleep(Duration::from_millis(700));
        }
        let newest = server.all().pop().unwrap();
        if newest.id != away.id {
            // It was put away before anybody listened.
            away = newest;
            server.put_away(away.id);
        }
        server.all().len() == count
    });
}

#[test]
fn without_bars_progress_never_flashes_a_notice() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start(&bus);
    let mut ringer = Ringer::start(&bus.address());
    ringer.ask(&json!({"do": "pan", "bench": "left", "progress": 10}));
    ringer.ring("left", BellKind::Near, "near");
    assert_eq!(shown(&server, "near").value, Some(10), "harmless");
    ringer.ask(&json!({"do": "pan", "bench": "left", "progress": 60}));
    std::thread::sleep(Duration::from_millis(800));
    ringer.ring("left", BellKind::Within, "within");
    assert_eq!(shown(&server, "within").value, Some(60));
    assert_eq!(server.asked(), 2);
}

#[test]
fn what_must_not_be_missed_is_shown_again_by_a_service_started_anew() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start_with(&bus, &ABLE);
    let mut ringer = Ringer::start(&bus.address());
    for (bench, kind) in [
        ("one", BellKind::Near),
        ("two", BellKind::Hold),
        ("three", BellKind::Over),
    ] {
        ringer.ring(bench, kind, bench);
        shown(&server, bench);
    }
    server.stop();
    // Another one, which can do less.
    let server = NoticeServer::start(&bus);
    for bench in ["two", "three"] {
        let again = shown(&server, bench);
        assert_eq!((again.replaces_id, again.urgency), (0, Some(2)));
        assert!(again.actions.is_empty(), "asked anew what it can");
    }
    ringer.ring("one", BellKind::Within, "within");
    assert_eq!(shown(&server, "within").replaces_id, 0);
    assert_eq!(server.asked(), 3, "near is no news any more");

    // What was resolved is not shown again.
    ringer.ring("two", BellKind::Resumed, "resumed");
    shown(&server, "resumed");
    server.stop();
    let server = NoticeServer::start(&bus);
    shown(&server, "three");
    ringer.ring("one", BellKind::Done, "done");
    shown(&server, "done");
    assert_eq!(server.asked(), 2, "{:?}", server.all());
}
