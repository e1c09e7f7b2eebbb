//! The link in every state of a job: broken and back under another name, taken by another program,
//! at a wrong speed, coming and going.

use std::fs;
use std::os::fd::OwnedFd;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use panbell::mass::Unit;
use panbell::port::Pace;
use rustix::pty::OpenptFlags;
use serde_json::Value;

use crate::support::desk::{BENCH, Desk, Window, g, shown};
use crate::support::follower::{Follower, LIMIT};
use crate::support::home::{self, Home};
use crate::support::service::{KilledOnDrop, Service};
use crate::support::wire::RawWire;

/// A pseudo-terminal whose other end is not open here.
fn bare() -> (OwnedFd, PathBuf) {
    let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
    let end = rustix::pty::openpt(flags).unwrap();
    rustix::pty::grantpt(&end).unwrap();
    rustix::pty::unlockpt(&end).unwrap();
    let name = rustix::pty::ptsname(&end, Vec::new()).unwrap();
    (end, PathBuf::from(name.into_string().unwrap()))
}

/// Pseudo-terminals until one has this name, once the service has let go of it. Another test may
/// have been quicker; then it has the name, which is as good.
fn takes(port: &Path) -> Vec<(OwnedFd, PathBuf)> {
    let mut all: Vec<(OwnedFd, PathBuf)> = Vec::new();
    let until = Instant::now() + Duration::from_secs(1);
    while all.last().is_none_or(|(_, name)| name != port) && Instant::now() < until {
        if all.len() == 40 {
            all.clear();
            std::thread::sleep(Duration::from_millis(5));
        }
        all.push(bare());
    }
    all
}

/// The parts of a weighing that a broken link leaves as they are.
fn lasting(view: &Value) -> Vec<Value> {
    let of = |keys: &[&str], from: &Value| keys.iter().map(|key| from[key].clone()).collect();
    let mut all: Vec<Value> = of(
        &["what", "name", "lower", "aim", "upper"],
        &view["weighing"],
    );
    all.extend::<Vec<Value>>(of(&["ticket", "melt", "lots"], &view["job"]));
    all
}

/// Pulls the plug, sees the bench hold, and puts it back as another port behind the same name.
fn break_and_mend(desk: &Desk, state: &str) -> Value {
    let before = desk.view();
    let was = desk.balance.port().unwrap().unwrap();
    let mark = desk.follower.mark();
    desk.balance.unplug().unwrap();
    let away = desk.until(&format!("it is missed: {state}"), |view| {
        view["link"] == "absent" && view["hold"].is_object()
    });
    assert_eq!(
        away["pan"]["shown"],
        Value::Null,
        "{state}: nothing old is shown"
    );
    assert_eq!(lasting(&away), lasting(&before), "{state}");
    // Somebody takes the old number, so the balance comes back under another.
    let between = takes(&was);
    desk.balance.plug().unwrap();
    let now = desk.balance.port().unwrap().unwrap();
    drop(between);
    assert_ne!(now, was, "{state}");
    let back = desk.until(&format!("it is back: {state}"), |view| {
        view["link"] == "talking" && view["hold"]["cause"] != "link"
    });
    let bells = desk.follower.bells_since(mark);
    let holds = bells.iter().filter(|bell| *bell == "hold").count();
    assert!(holds <= 1, "{state}: {bells:?}");
    back
}

#[test]
fn a_broken_link_changes_nothing_in_any_state_of_a_job() {
    let desk = Desk::new();
    break_and_mend(&desk, "no job");
    desk.open("T-1", &["fine-silver", "fine-copper"]);
    break_and_mend(&desk, "a job without a lot");
    desk.ok(&["lot", "916", "fire-assay"]);
    desk.ready();
    break_and_mend(&desk, "a lot is expected");
    desk.ready();

    // The load comes down and the plug goes before it is at rest.
    let mark = desk.follower.mark();
    desk.put(g("20.00"));
    break_and_mend(&desk, "a lot is settling");
    desk.follower.bell(mark, "recorded");
    assert_eq!(desk.home.masses("T-1"), ["20.00 g"]);
    break_and_mend(&desk, "a lot is recorded and on the pan");
    desk.empty();

    let window = desk.add(&[]);
    break_and_mend(&desk, "an addition is expected");
    assert_eq!(Window::of(&desk.ready()), window);
    desk.put(window.lower - g("0.50"));
    desk.at_rest(&shown(window.lower - g("0.50")));
    break_and_mend(&desk, "an addition is under");
    // Within, and gone before it has dwelt there; the time that it is away does not count.
    desk.place(window.aim);
    desk.follower
        .wait(desk.follower.mark(), "the aim", |event, data| {
            event == "reading" && data["shown"] == shown(window.aim).as_str()
        });
    let mark = desk.follower.mark();
    let recorded = desk.home.masses("T-1").len();
    if recorded == 1 {
        break_and_mend(&desk, "an addition is within");
        if desk.home.masses("T-1").len() == 1 {
            desk.follower.bell(mark, "recorded");
        }
    }
    assert_eq!(desk.home.masses("T-1")[1..], [shown(window.aim)]);
    desk.empty();

    let window = desk.add(&[]);
    let mark = desk.follower.mark();
    desk.put(window.upper + g("0.20"));
    desk.follower.bell(mark, "over");
    break_and_mend(&desk, "an addition is over");
    assert_eq!(
        desk.home.masses("T-1").len(),
        2,
        "nothing is recorded over the window"
    );
    let mark = desk.follower.mark();
    desk.place(window.aim);
    desk.follower.bell(mark, "recorded");
    desk.empty();

    // Another unit stays another unit, however often the plug is pulled.
    desk.ok(&["button"]);
    desk.ready();
    desk.balance.press_unit(Unit::Carat).unwrap();
    desk.until("the unit holds", |view| view["hold"]["cause"] == "unit");
    desk.balance.unplug().unwrap();
    desk.until("it is missed", |view| view["link"] == "absent");
    desk.balance.plug().unwrap();
    desk.until("the unit holds again", |view| {
        view["link"] == "talking" && view["hold"]["cause"] == "unit"
    });
    desk.balance.press_unit(Unit::Gram).unwrap();
    desk.until("the hold is over", |view| view["hold"].is_null());
    let mark = desk.follower.mark();
    desk.put(g("25.00"));
    break_and_mend(&desk, "a button is settling");
    desk.follower.bell(mark, "recorded");
    desk.say(&["close"]);
    break_and_mend(&desk, "the job is closed");
    assert_eq!(desk.home.masses("T-1").len(), 4);
    desk.verify();
}

/// A bench at this port, which may not be there yet.
fn bench(home: &Home, port: &Path) -> (Service, Follower) {
    let settings = home::bench(BENCH, port, "status-first");
    let link = "[bench.link]\nsilence_seconds = 1\n";
    home.settings(&format!("{}{settings}{link}", home::NO_DESKTOP));
    let service = Service::start(home);
    let follower = Follower::start(&home.socket(), BENCH);
    (service, follower)
}

fn hold(follower: &Follower, mark: usize, words: &str) -> Value {
    let state = follower.wait(mark, words, |event, data| {
        let why = data["hold"]["why"].as_str().unwrap_or_default();
        event == "state" && why.contains(words)
    });
    state["hold"].clone()
}

#[test]
fn a_port_that_another_program_took_is_named_until_it_lets_go() {
    let home = Home::new();
    let port = home.port(BENCH);
    let (mut service, follower) = bench(&home, &port);
    let told = hold(&follower, 0, "is not there");
    assert!(told["mend"].as_str().unwrap().contains("cable"), "{told}");
    let (_end, pty) = bare();
    // The other program: it locks the port, as terminal programs do, and keeps it.
    let mut taker = Command::new("flock");
    taker.arg(&pty).args(["sleep", "60"]).stdin(Stdio::null());
    let mut taker = KilledOnDrop(taker.spawn().unwrap());
    let pid = taker.0.id();
    let until = Instant::now() + LIMIT;
    while !locked(&pty) {
        assert!(Instant::now() < until, "it was never locked");
        std::thread::sleep(Duration::from_millis(5));
    }
    symlink(&pty, &port).unwrap();
    let told = hold(&follower, 0, &format!("flock (process {pid})"));
    assert!(
        told["mend"].as_str().unwrap().starts_with("Close flock"),
        "{told}"
    );
    let mark = follower.mark();
    // Its child holds a copy of the lock, and goes with the group.
    let children = format!("/proc/{pid}/task/{pid}/children");
    let children = fs::read_to_string(children).unwrap();
    taker.0.kill().unwrap();
    for child in children.split_whitespace() {
        let pid = rustix::process::Pid::from_raw(child.parse().unwrap()).unwrap();
        rustix::process::kill_process(pid, rustix::process::Signal::KILL).unwrap();
    }
    let told = hold(&follower, mark, "says nothing");
    assert!(
        told["mend"].as_str().unwrap().contains("switched on"),
        "{told}"
    );
    service.stop();
}

fn locked(port: &Path) -> bool {
    let flags = rustix::fs::OFlags::RDWR | rustix::fs::OFlags::NOCTTY | rustix::fs::OFlags::CLOEXEC;
    let ours = rustix::fs::open(port, flags, rustix::fs::Mode::empty()).unwrap();
    let operation = rustix::fs::FlockOperation::NonBlockingLockExclusive;
    rustix::fs::flock(&ours, operation).is_err()
}

#[test]
fn a_wrong_speed_is_garbled_with_and_without_line_ends() {
    let home = Home::new();
    let port = home.port(BENCH);
    let wire = RawWire::new(&port);
    let (mut service, follower) = bench(&home, &port);
    let line = b"stable   12.34 g\r\n";
    for noise in [&b"\xf3\x00\xfc\x0c\xc3\xf0\x3f\xcf"[..], b"\xf3\x80\xfc\n"] {
        let mark = follower.mark();
        let until = Instant::now() + LIMIT;
        while !follower
            .since(mark)
            .iter()
            .any(|(event, data)| event == "state" && data["link"] == "talking")
        {
            assert!(Instant::now() < until, "it never talked");
            wire.send(line);
            std::thread::sleep(Duration::from_millis(20));
        }
        let mark = follower.mark();
        for _ in 0..20 {
            wire.send(noise);
            std::thread::sleep(Duration::from_millis(10));
        }
        follower.wait(mark, "garbled", |event, data| {
            event == "state" && data["link"] == "garbled"
        });
        let told = hold(&follower, mark, "cannot be read");
        let mend = told["mend"].as_str().unwrap();
        assert!(!mend.contains("USB"), "a wire is no USB scale: {mend}");
        assert!(
            told["mend"].as_str().unwrap().contains("learned anew"),
            "{told}"
        );
        // Half a line that the noise broke into is none.
        wire.send(b"\r\n");
    }
    service.stop();
}

#[test]
fn a_port_that_comes_and_goes_is_told_once_and_tried_ever_more_rarely() {
    let desk = Desk::new();
    desk.open("T-1", &[]);
    desk.balance.set_pace(Pace::Silent).unwrap();
    let mark = desk.follower.mark();
    desk.balance.unplug().unwrap();
    desk.follower.bell(mark, "hold");
    let opened = |desk: &Desk| desk.service.log().matches("port opened").count();
    let began = Instant::now();
    let before = opened(&desk);
    // Whenever it is opened it goes again before it has said a word.
    while began.elapsed() < Duration::from_secs(4) {
        desk.balance.plug().unwrap();
        let (count, until) = (opened(&desk), Instant::now() + Duration::from_millis(2500));
        while opened(&desk) == count && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(2));
        }
        desk.balance.unplug().unwrap();
        desk.until("it is missed", |view| view["link"] == "absent");
    }
    let times = opened(&desk) - before;
    assert!((2..=12).contains(&times), "opened {times} times");
    let bells = desk.follower.bells_since(mark);
    assert_eq!(bells, ["hold"], "one word for all of it");
    desk.balance.set_pace(Pace::LinesPerSecond(50)).unwrap();
    desk.balance.plug().unwrap();
    desk.follower.bell(mark, "resumed");
}
