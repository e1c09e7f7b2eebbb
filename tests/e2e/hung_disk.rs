//! A disk that does not answer for a while, and answers again: what is said of it, what still goes on,
//! and that an order happens once, or is told not to have.
//!
//! The disk is held by strace, which keeps the real program in its real fdatasync and fsync until it is
//! told to let go.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;

use crate::support::desk::{BENCH, Desk, g};
use crate::support::follower::Follower;
use crate::support::http::{self, Reply};

/// The calls of a service that wait for the disk, held.
struct Held(Child);

impl Held {
    /// Holds them from now on.
    fn of(desk: &Desk) -> Self {
        let held = "fdatasync,fsync";
        let mut strace = Command::new("strace")
            .args(["-f", "-o", "/dev/null", "-e", &format!("trace={held}")])
            .args(["-e", &format!("inject={held}:delay_enter=600000000")])
            .args(["-p", &desk.service.pid().to_string()])
            .stderr(Stdio::piped())
            .spawn()
            .expect("strace, which tests/run installs");
        let mut said = BufReader::new(strace.stderr.take().unwrap()).lines();
        let attached = said.any(|line| line.unwrap().contains("attached"));
        assert!(attached, "strace may trace a process of the same user");
        Self(strace)
    }

    /// Lets the disk answer again.
    fn let_go(mut self) {
        self.end();
    }

    fn end(&mut self) {
        let pid = Pid::from_raw(i32::try_from(self.0.id()).unwrap()).unwrap();
        kill_process(pid, Signal::TERM).ok();
        self.0.wait().ok();
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        self.end();
    }
}

/// An order as JSON, with an id of its own.
fn order(socket: &Path, order: &str, id: &str) -> Reply {
    let body = format!(r#"{{{order},"on":{{"id":"{id}"}}}}"#);
    http::order(socket, BENCH, &body).unwrap()
}

fn withdraw(socket: &Path, id: &str) -> Reply {
    order(socket, r#""order":"withdraw""#, id)
}

fn standing(desk: &Desk) -> usize {
    let job = desk.home.job("T-1");
    job.weighed.iter().filter(|it| !it.withdrawn).count()
}

fn until_bench_goes_on(desk: &Desk, mark: usize) -> Value {
    desk.follower.bell(mark, "resumed");
    desk.until("the bench goes on", |view| view["hold"].is_null())
}

#[test]
fn a_disk_that_does_not_answer_is_told_and_nobody_who_looks_waits_for_it() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.ok(&["lot", "916", "fire-assay"]);
    desk.ready();
    let held = Held::of(&desk);
    let mark = desk.follower.mark();
    desk.place(g("5.00"));
    let began = Instant::now();
    let bell = desk.follower.bell(mark, "hold");
    let told = began.elapsed();
    assert!(
        bell["text"].as_str().unwrap().contains("does not answer"),
        "{bell}"
    );
    println!("told {told:?} after the load was put on");
    // Who looks is answered at once, and who comes anew too.
    let mut slowest = Duration::ZERO;
    for path in ["/v1/benches", "/v1/bench/-", "/v1/bench/left"] {
        let began = Instant::now();
        let reply = http::get(&desk.home.socket(), path).unwrap();
        slowest = slowest.max(began.elapsed());
        assert_eq!(reply.status, 200, "{reply:?}");
        assert!(reply.body.contains(r#""cause":"disk""#), "{reply:?}");
    }
    let began = Instant::now();
    let follower = Follower::start(&desk.home.socket(), BENCH);
    slowest = slowest.max(began.elapsed());
    println!("the slowest look took {slowest:?}");
    assert!(slowest < Duration::from_secs(1), "{slowest:?}");
    // It goes on being told what the pan does.
    follower.readings(0, 20);
    // Nothing is ordered meanwhile, and that is said at once.
    let began = Instant::now();
    desk.say(&["withdraw"]).is_refused("does not answer");
    assert!(began.elapsed() < Duration::from_secs(3));
    assert!(
        !desk
            .follower
            .bells_since(mark)
            .contains(&"recorded".to_owned())
    );
    held.let_go();
    desk.follower.bell(mark, "recorded");
    until_bench_goes_on(&desk, mark);
    assert_eq!(desk.home.masses("T-1"), ["5.00 g"]);
    desk.verify();
}

#[test]
fn an_order_that_was_told_to_have_failed_is_never_carried_out_and_one_that_may_have_been_is_told_so()
 {
    let desk = Desk::new();
    let socket = desk.home.socket();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "5.00");
    desk.lot("750", "stamp", "3.00");
    let mark = desk.follower.mark();
    let held = Held::of(&desk);
    std::thread::scope(|scope| {
        // One is begun, sent again with its id, and never answered in time.
        let ids = ["the-first-order", "the-first-order"];
        let first = ids.map(|id| scope.spawn(|| withdraw(&socket, id)));
        desk.follower.bell(mark, "hold");
        // Another one meanwhile is refused, and that is the last of it.
        withdraw(&socket, "the-second-order").is_refused(409, "disk-hold");
        for first in first {
            first.join().unwrap().is_refused(504, "order-unknown");
        }
    });
    held.let_go();
    until_bench_goes_on(&desk, mark);
    // It was carried out after all, once; sent again it says so, and the other never was.
    assert_eq!(withdraw(&socket, "the-first-order").status, 200);
    assert_eq!(standing(&desk), 1);
    assert_eq!(desk.view()["job"]["weighed"][1]["withdrawn"], true);
    desk.verify();
}

#[test]
fn one_who_hangs_up_before_the_order_was_begun_takes_it_along() {
    use std::io::Write as _;
    let desk = Desk::new();
    let socket = desk.home.socket();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "5.00");
    desk.lot("750", "stamp", "3.00");
    desk.ok(&["lot", "750", "stamp"]);
    desk.ready();
    let held = Held::of(&desk);
    let mark = desk.follower.mark();
    std::thread::scope(|scope| {
        // The record of this one is being written, so the next one waits.
        let leaving = scope.spawn(|| order(&socket, r#""order":"leave""#, "leave-the-weighing"));
        desk.until("the record is being written", |view| {
            view["actions"].as_array().is_some_and(Vec::is_empty)
        });
        let body = r#"{"order":"withdraw"}"#;
        let mut gone = std::os::unix::net::UnixStream::connect(desk.home.socket()).unwrap();
        write!(
            gone,
            "POST /v1/bench/left/order HTTP/1.1\r\nhost: panbell\r\ncontent-type: application/json\r\ncontent-length: {}\r\n\r\n{body}",
            body.len()
        )
        .unwrap();
        drop(gone);
        desk.follower.bell(mark, "hold");
        held.let_go();
        assert_eq!(leaving.join().unwrap().status, 200);
    });
    until_bench_goes_on(&desk, mark);
    assert_eq!(standing(&desk), 2);
    desk.verify();
}

#[test]
fn an_order_with_an_id_happens_once_also_when_it_comes_twice_at_once_or_after_a_kill() {
    let mut desk = Desk::new();
    let socket = desk.home.socket();
    desk.open("T-1", &["fine-copper"]);
    for mass in ["5.00", "3.00", "2.00", "4.00"] {
        desk.lot("916", "fire-assay", mass);
    }
    std::thread::scope(|scope| {
        let both = [0, 1].map(|_| scope.spawn(|| withdraw(&socket, "twice-at-once")));
        for reply in both {
            assert_eq!(reply.join().unwrap().status, 200);
        }
    });
    assert_eq!(standing(&desk), 3);
    // Killed while the record of it is being written, and sent again: whether the first one came to
    // the disk or not, it happens once.
    let held = Held::of(&desk);
    std::thread::scope(|scope| {
        let cut_off = scope.spawn(|| {
            let body = r#"{"order":"withdraw","on":{"id":"cut-off-by-a-kill"}}"#;
            http::order(&socket, BENCH, body).map(|reply| reply.status)
        });
        desk.until("the record is being written", |view| {
            view["actions"].as_array().is_some_and(Vec::is_empty)
        });
        desk.service.signal(Signal::KILL);
        held.let_go();
        assert!(cut_off.join().unwrap().is_err(), "nobody answered");
    });
    desk.kill();
    desk.start_again();
    assert_eq!(withdraw(&socket, "twice-at-once").status, 200);
    assert_eq!(withdraw(&socket, "cut-off-by-a-kill").status, 200);
    assert_eq!(standing(&desk), 2);
    // The same id is good for no other order.
    order(&socket, r#""order":"take""#, "another-order");
    assert_eq!(withdraw(&socket, "the-last-one").status, 200);
    order(&socket, r#""order":"close""#, "the-last-one").is_refused(409, "order-id-used");
    assert_eq!(standing(&desk), 1);
    // One that leaves no record is remembered too: the weight is asked for once, and left once.
    let weight = r#""order":"check-weight","weight":"20 g F2""#;
    assert_eq!(order(&socket, weight, "show-the-weight").status, 200);
    assert_eq!(
        order(&socket, r#""order":"leave""#, "leave-the-weight").status,
        200
    );
    assert_eq!(order(&socket, weight, "show-the-weight").status, 200);
    assert_eq!(
        order(&socket, r#""order":"leave""#, "leave-the-weight").status,
        200
    );
    order(&socket, r#""order":"leave""#, "leave-what-is-not").is_refused(409, "nothing-expected");
    desk.verify();
}

#[test]
fn an_order_on_another_state_is_refused_with_the_present_one() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    let seen = desk.view()["mark"].as_str().unwrap().to_owned();
    desk.lot("916", "fire-assay", "5.00");
    let body = format!(r#"{{"order":"withdraw","on":{{"seen":"{seen}"}}}}"#);
    let reply = http::order(&desk.home.socket(), BENCH, &body).unwrap();
    reply.is_refused(409, "state-changed");
    let bench = &reply.json()["bench"];
    assert_eq!(bench["job"]["weighed"][0]["mass"], "5.00 g", "{bench}");
    assert_ne!(bench["mark"], seen);
    // With the mark of what is sent along it is taken, and followers hear that it was set aside.
    let seen = bench["mark"].as_str().unwrap();
    let mark = desk.follower.mark();
    let body = format!(r#"{{"order":"withdraw","on":{{"seen":"{seen}"}}}}"#);
    let reply = http::order(&desk.home.socket(), BENCH, &body).unwrap();
    assert_eq!(reply.status, 200, "{reply:?}");
    desk.follower.wait(mark, "the withdrawal", |event, data| {
        event == "state" && data["job"]["weighed"][0]["withdrawn"] == true
    });
}
