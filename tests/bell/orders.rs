//! What is pressed on a notice, through the real program: a real bus, a real notification service, a
//! real pseudo-terminal and the job file.

use std::time::Duration;

use crate::support::desk::{BENCH, Desk};
use crate::support::home;
use crate::support::notices::{Notice, NoticeServer, PrivateBus};
use crate::support::service;
use crate::{LIMIT, eventually};

fn desk(bus: &PrivateBus) -> Desk {
    Desk::set(|home| {
        let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
        // No capture by itself while the test looks for its button.
        home.settings(&bench.replace("dwell_seconds = 0.5", "dwell_seconds = 60"));
        let mut command = service::command(home.path());
        command.env("DBUS_SESSION_BUS_ADDRESS", bus.address());
        command
    })
}

/// The newest notice that offers this.
fn offering(server: &NoticeServer, label: &str) -> Notice {
    let mut found = None;
    eventually(label, || {
        let all = server.all();
        found = all
            .into_iter()
            .next_back()
            .filter(|it| it.actions.get(1).is_some_and(|is| is == label));
        found.is_some()
    });
    found.unwrap()
}

/// Presses it until what was wanted has come.
fn press(server: &NoticeServer, label: &str, what: &str, mut has_come: impl FnMut() -> bool) {
    let notice = offering(server, label);
    eventually(what, || {
        server.press(notice.id, &notice.actions[0]);
        std::thread::sleep(Duration::from_millis(30));
        has_come()
    });
}

#[test]
fn take_withdraw_and_why_are_pressed_on_real_notices() {
    let bus = PrivateBus::start();
    let server = NoticeServer::start_with(&bus, &["actions", "body", "value"]);
    let desk = desk(&bus);
    let job = desk.open("K-1", &["fine-silver"]);
    desk.lot("22k", "fire-assay", "20.00");
    let weighed = |desk: &Desk, at: usize| desk.view()["job"]["weighed"][at].clone();

    press(&server, "Withdraw", "the lot is set aside", || {
        weighed(&desk, 0)["withdrawn"] == true
    });
    let told = server.wait_for(|it| it.summary == "Withdrawn", LIMIT);
    assert!(told.unwrap().actions.is_empty(), "{job}");

    desk.lot("22k", "fire-assay", "21.00");
    let window = desk.add(&[]);
    desk.put(window.aim);
    press(&server, "Take", "the addition is taken", || {
        weighed(&desk, 2)["what"] == "addition"
    });
    let masses = desk.home.masses("K-1");
    assert_eq!(masses[..2], ["20.00 g", "21.00 g"], "each once");
    assert_eq!(masses.len(), 3);

    let mark = desk.follower.mark();
    desk.balance.unplug().unwrap();
    desk.follower.bell(mark, "hold");
    let why = |it: &Notice| it.summary == "Why the bench holds" && it.body.contains("What to do: ");
    press(&server, "Why", "the whole reason", || {
        server.wait_for(why, Duration::from_millis(10)).is_some()
    });
    assert_eq!(desk.home.masses("K-1").len(), 3);
    assert!(desk.verify().contains("K-1"));
}
