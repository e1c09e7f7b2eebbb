//! Stopping and being looked after: signals, the service manager, followers that hang on.

use std::os::unix::net::{UnixDatagram, UnixStream};
use std::time::{Duration, Instant};

use rustix::process::Signal;

use crate::support::desk::{BENCH, Desk, g};
use crate::support::follower::{self, Follower};
use crate::support::home;
use crate::support::http;
use crate::support::service;

#[test]
fn a_signal_stops_it_within_three_seconds_and_the_next_start_goes_on() {
    let mut desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "20.00");
    for (round, signal) in [Signal::TERM, Signal::INT].into_iter().enumerate() {
        desk.ok(&["lot", "750", "stamp"]);
        desk.ready();
        let others: Vec<Follower> = (0..3)
            .map(|_| Follower::start(&desk.home.socket(), BENCH))
            .collect();
        // One that never reads, and one that never asks.
        let _deaf = follower::ask(&desk.home.socket(), BENCH);
        let _mute = UnixStream::connect(desk.home.socket()).unwrap();
        desk.service.signal(signal);
        let (status, took) = desk.service.wait(Duration::from_secs(20));
        assert_eq!(status.code(), Some(0), "{}", desk.service.log());
        assert!(took < Duration::from_secs(3), "{took:?}");
        for other in &others {
            assert!(
                other.wait_end(Duration::from_secs(5)),
                "a stream was left open"
            );
        }
        assert!(!desk.home.socket().exists(), "the socket was left behind");
        desk.start_again();
        let view = desk.ready();
        assert_eq!(view["weighing"]["what"], "lot");
        let mark = desk.follower.mark();
        desk.put(g("3.00"));
        desk.follower.bell(mark, "recorded");
        desk.empty();
        assert_eq!(desk.home.masses("T-1").len(), 2 + round);
    }
    desk.verify();
}

#[test]
fn the_service_manager_hears_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notify");
    let manager = UnixDatagram::bind(&path).unwrap();
    manager
        .set_read_timeout(Some(Duration::from_secs(20)))
        .unwrap();
    let mut desk = Desk::set(|home| {
        let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
        home.settings(&format!("{}{bench}", home::NO_DESKTOP));
        let mut command = service::command(home.path());
        command
            .env("NOTIFY_SOCKET", &path)
            .env("WATCHDOG_USEC", "1000000");
        command
    });
    let next = || {
        let mut text = [0; 256];
        let count = manager.recv(&mut text).expect("a word in time");
        (
            String::from_utf8_lossy(&text[..count]).trim().to_owned(),
            Instant::now(),
        )
    };
    assert_eq!(next().0, "READY=1");
    let first = next();
    assert_eq!(first.0, "WATCHDOG=1");
    let beats = 6;
    for _ in 0..beats {
        assert_eq!(next().0, "WATCHDOG=1");
    }
    let each = first.1.elapsed() / beats;
    assert!(
        each > Duration::from_millis(350) && each < Duration::from_millis(900),
        "{each:?}"
    );
    desk.service.stop();
    let last = std::iter::from_fn(|| Some(next().0)).find(|word| word != "WATCHDOG=1");
    assert_eq!(last.as_deref(), Some("STOPPING=1"));
}

#[test]
fn followers_that_never_read_cost_neither_time_nor_memory() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "20.00");
    let alone = desk.time_of_lot("3.00");
    let before = desk.service.memory();
    let deaf: Vec<UnixStream> = (0..20)
        .map(|_| follower::ask(&desk.home.socket(), BENCH))
        .collect();
    // Far more than their queues and sockets hold.
    desk.follower.readings(desk.follower.mark(), 500);
    let with = desk.time_of_lot("4.00");
    let grown = desk.service.memory().saturating_sub(before);
    assert!(grown < 5 * 1024, "memory grew by {grown} KiB");
    assert!(
        with < alone * 3 + Duration::from_secs(2),
        "{with:?}, alone {alone:?}"
    );
    drop(deaf);
    let began = Instant::now();
    assert_eq!(
        http::get(&desk.home.socket(), "/v1/benches")
            .unwrap()
            .status,
        200
    );
    assert!(began.elapsed() < Duration::from_secs(5));
}

#[test]
fn a_rehearsal_plays_to_its_end() {
    let folder = tempfile::tempdir().unwrap();
    let kept = folder.path().join("rehearsal");
    let mut command = std::process::Command::new(service::PANBELL);
    service::cut_off(&mut command, folder.path());
    command
        .args(["rehearse", "--pace", "10", "--keep"])
        .arg(&kept);
    let said = service::run(&mut command);
    // Everything is put right in the play, so no warning stands.
    let out = said.ends(0);
    assert!(
        out.contains("Fineness by mass balance") && !out.contains("Note:"),
        "{out}"
    );
    assert!(out.contains("every one in its place"), "{out}");
    let verify = service::run(service::plain(&kept).arg("verify"));
    assert!(verify.ends(0).contains("R-0417"));
}
