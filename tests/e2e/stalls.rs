//! Silence is not rest: gaps on the wire, lines that an adapter holds back, a service that is
//! stopped, a balance that is slow or falls silent. What was not heard is recorded by nobody, and
//! what is old is not shown.

use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use panbell::mass::{Indication, Mass};
use panbell::port::{Showing, shape};
use rustix::process::Signal;

use crate::support::desk::{BENCH, Window, g, shown};
use crate::support::follower::{Follower, LIMIT};
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::service::{self, Service};
use crate::support::wire::RawWire;

/// A balance on a wire of the test's own that sends evenly, whatever the service does.
struct Feed {
    shared: Arc<Mutex<Sending>>,
    thread: Option<JoinHandle<()>>,
}

struct Sending {
    wire: RawWire,
    shows: Indication,
    /// What an adapter holds back; none when it lets all pass.
    held: Option<Vec<u8>>,
    is_silent: bool,
    sent: usize,
    has_ended: bool,
}

impl Feed {
    fn start(wire: RawWire, every: Duration) -> Self {
        let shared = Arc::new(Mutex::new(Sending {
            wire,
            shows: "0.00 g".parse().unwrap(),
            held: None,
            is_silent: false,
            sent: 0,
            has_ended: false,
        }));
        let ours = Arc::clone(&shared);
        let thread = std::thread::spawn(move || {
            let (began, mut lines) = (Instant::now(), 0);
            loop {
                let mut sending = ours.lock().unwrap();
                if sending.has_ended {
                    return;
                }
                if !sending.is_silent {
                    let line = line(sending.shows);
                    sending.sent += 1;
                    match &mut sending.held {
                        Some(held) => held.extend(line),
                        None => sending.wire.send(&line),
                    }
                }
                drop(sending);
                lines += 1;
                let due = began + every * lines;
                std::thread::sleep(due.saturating_duration_since(Instant::now()));
            }
        });
        Self {
            shared,
            thread: Some(thread),
        }
    }

    fn with(&self, change: impl FnOnce(&mut Sending)) {
        change(&mut self.shared.lock().unwrap());
    }

    fn show(&self, mass: Mass) {
        self.with(|sending| sending.shows = shown(mass).parse().unwrap());
    }

    /// The adapter keeps what comes from now on.
    fn hold_back(&self) {
        self.with(|sending| sending.held = Some(Vec::new()));
    }

    /// It lets go of all of it at once.
    fn let_go(&self) {
        self.with(|sending| {
            if let Some(held) = sending.held.take() {
                sending.wire.send(&held);
            }
        });
    }

    fn fall_silent(&self, is_silent: bool) {
        self.with(|sending| sending.is_silent = is_silent);
    }

    /// Waits until so many more lines were sent or held back.
    fn lines(&self, count: usize) {
        let from = self.shared.lock().unwrap().sent;
        let until = Instant::now() + LIMIT;
        while self.shared.lock().unwrap().sent < from + count {
            assert!(Instant::now() < until, "nothing is sent");
            std::thread::sleep(Duration::from_millis(1));
        }
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        self.with(|sending| sending.has_ended = true);
        self.thread.take().map(JoinHandle::join);
    }
}

/// A line that says that the pan is at rest.
fn line(shows: Indication) -> Vec<u8> {
    shape("status-first").unwrap()(&Showing {
        digits: shows.digits(),
        unit: shows.unit(),
        moving: false,
    })
}

struct Scene {
    follower: Follower,
    feed: Feed,
    service: Service,
    home: Home,
}

impl Scene {
    /// A bench with the default times, but for these; its pan is empty.
    fn new(every: Duration, further: &str) -> Self {
        let home = Home::new();
        let port = home.port(BENCH);
        let feed = Feed::start(RawWire::new(&port), every);
        let settings = format!(
            "{}[[bench]]\nname = \"{BENCH}\"\nport = \"{}\"\nbalance = \"status-first\"\ndivision = \"0.01 g\"\n{further}",
            home::NO_DESKTOP,
            port.display()
        );
        home.settings(&settings);
        let service = Service::start(&home);
        let follower = Follower::start(&home.socket(), BENCH);
        let scene = Self {
            follower,
            feed,
            service,
            home,
        };
        scene.until("the empty pan is at rest", |view| {
            view["pan"]["shown"] == "0.00 g" && view["pan"]["steady"] == true
        });
        scene
    }

    fn ok(&self, words: &[&str]) -> String {
        service::run(service::plain(self.home.path()).args(words)).ends(0)
    }

    fn view(&self) -> serde_json::Value {
        let reply = http::get(&self.home.socket(), &format!("/v1/bench/{BENCH}"));
        reply.unwrap().json()
    }

    fn until(&self, what: &str, wanted: impl Fn(&serde_json::Value) -> bool) -> serde_json::Value {
        let until = Instant::now() + LIMIT;
        loop {
            let view = self.view();
            if wanted(&view) {
                return view;
            }
            assert!(Instant::now() < until, "in vain until {what}: {view:#}");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Orders a lot, and waits until it may be put on.
    fn lot(&self) {
        self.ok(&["lot", "916", "fire-assay"]);
        self.until("the lot may come", |view| view["pan"]["net"] == "0.00 g");
    }

    /// Shows these one after another, a line each.
    fn pour(&self, masses: &[&str]) {
        for mass in masses {
            self.feed.show(g(mass));
            self.feed.lines(1);
        }
    }

    fn masses(&self) -> Vec<String> {
        self.home.masses("T-1")
    }

    fn empty(&self) {
        self.feed.show(Mass::ZERO);
        self.until("the pan is empty", |view| {
            view["pan"]["shown"] == "0.00 g" && view["pan"]["steady"] == true
        });
    }
}

const TEN_A_SECOND: Duration = Duration::from_millis(100);

fn open(scene: &Scene, add: &[&str]) {
    let mut words = vec!["open", "T-1", "--target", "18k", "--colour", "yellow"];
    for metal in add {
        words.extend(["--add", metal]);
    }
    scene.ok(&words);
}

/// A lot goes by 5.55 on its way to 6.30, and nothing is heard for so long.
fn passes_by(stop: impl Fn(&Scene, Duration), times: &[u64]) {
    let scene = Scene::new(TEN_A_SECOND, "");
    open(&scene, &["fine-copper"]);
    for ms in times {
        scene.lot();
        let mark = scene.follower.mark();
        scene.pour(&["1.20", "3.40", "4.90", "5.40", "5.55"]);
        stop(&scene, Duration::from_millis(*ms));
        scene.pour(&["5.55", "5.90", "6.20"]);
        scene.feed.show(g("6.30"));
        scene.follower.bell(mark, "recorded");
        scene.empty();
    }
    assert_eq!(scene.masses(), vec!["6.30 g"; times.len()]);
}

#[test]
fn a_lot_that_goes_on_in_a_silence_is_not_recorded_as_it_was_before() {
    passes_by(
        |scene, time| {
            scene.feed.fall_silent(true);
            std::thread::sleep(time);
            scene.feed.fall_silent(false);
        },
        &[1050, 1700, 2900],
    );
}

#[test]
fn a_lot_that_goes_on_while_the_service_is_stopped_is_not_recorded_as_it_was_before() {
    passes_by(
        |scene, time| {
            scene.service.signal(Signal::STOP);
            std::thread::sleep(time);
            scene.service.signal(Signal::CONT);
        },
        &[1200, 2500],
    );
}

#[test]
fn a_lot_that_goes_on_while_lines_are_held_back_is_not_recorded_as_it_was_before() {
    passes_by(
        |scene, time| {
            scene.feed.hold_back();
            std::thread::sleep(time);
            scene.feed.let_go();
        },
        &[300, 1100, 2000],
    );
}

/// A bench with a lot, and copper ordered on an empty pan; with the window of it.
fn about_to_pour() -> (Scene, Window) {
    let scene = Scene::new(TEN_A_SECOND, "");
    open(&scene, &["fine-copper"]);
    scene.lot();
    let mark = scene.follower.mark();
    scene.feed.show(g("20.00"));
    scene.follower.bell(mark, "recorded");
    scene.empty();
    scene.ok(&["add"]);
    let view = scene.until("it may be poured", |view| view["pan"]["net"] == "0.00 g");
    let window = Window::of(&view);
    (scene, window)
}

/// An addition lies within for 1.2 s, and goes over in the 2.3 s in which nothing is heard.
fn goes_over(stop: impl Fn(&Scene, &dyn Fn())) {
    let (scene, window) = about_to_pour();
    scene.feed.show(window.lower - g("0.30"));
    scene.feed.lines(3);
    let mark = scene.follower.mark();
    scene.feed.show(window.aim);
    scene.follower.bell(mark, "within");
    // At rest for a second, and within for most of the two that count.
    let aim = shown(window.aim);
    scene.until("it lies within", |view| {
        view["pan"]["shown"] == aim.as_str() && view["pan"]["steady"] == true
    });
    scene.feed.lines(2);
    let mark = scene.follower.mark();
    stop(&scene, &|| {
        scene.feed.lines(6);
        scene.feed.show(window.aim + g("0.50"));
        scene.feed.lines(15);
    });
    scene.follower.bell(mark, "over");
    let over = shown(window.aim + g("0.50"));
    scene.until("it rests over", |view| {
        view["pan"]["shown"] == over.as_str() && view["pan"]["steady"] == true
    });
    // Longer than the dwell.
    scene.feed.lines(25);
    assert_eq!(scene.masses(), ["20.00 g"], "nothing is recorded over");
    assert_eq!(scene.follower.bells_since(mark), ["over"]);
}

#[test]
fn an_addition_that_goes_over_while_lines_are_held_back_is_not_recorded_and_rings() {
    goes_over(|scene, meanwhile| {
        scene.feed.hold_back();
        meanwhile();
        scene.feed.let_go();
    });
}

#[test]
fn an_addition_that_goes_over_while_the_service_is_stopped_is_not_recorded_and_rings() {
    goes_over(|scene, meanwhile| {
        scene.service.signal(Signal::STOP);
        meanwhile();
        scene.service.signal(Signal::CONT);
    });
}

#[test]
fn a_slow_balance_in_the_midst_of_pouring_is_not_at_rest() {
    let scene = Scene::new(Duration::from_millis(1400), "");
    open(&scene, &["fine-copper"]);
    scene.lot();
    let mark = scene.follower.mark();
    scene.pour(&["3.10", "3.11", "5.00", "7.00", "9.00"]);
    scene.follower.bell(mark, "recorded");
    assert_eq!(scene.masses(), ["9.00 g"]);
}

#[test]
fn what_lay_at_the_port_through_a_stop_is_not_shown_as_current() {
    let scene = Scene::new(TEN_A_SECOND, "");
    let mark = scene.follower.mark();
    scene.service.signal(Signal::STOP);
    // It says this and no more; nobody reads it for longer than a reading may be shown.
    scene.feed.show(g("7.77"));
    scene.feed.lines(2);
    scene.feed.fall_silent(true);
    std::thread::sleep(Duration::from_millis(3500));
    scene.service.signal(Signal::CONT);
    let view = scene.view();
    assert_eq!(view["pan"]["shown"], serde_json::Value::Null, "{view:#}");
    scene
        .follower
        .wait(mark, "the silence is told", |event, data| {
            event == "state" && data["link"] == "silent" && data["pan"]["shown"].is_null()
        });
    let heard = scene.follower.since(mark);
    let old = heard.iter().find(|(event, data)| {
        event == "reading" && data["shown"] == "7.77 g"
            || event == "state" && data["pan"]["shown"] == "7.77 g"
    });
    assert!(old.is_none(), "{old:?}");
    // The first that comes now is current.
    scene.feed.show(g("7.78"));
    scene.feed.fall_silent(false);
    scene.until("it is heard again", |view| view["pan"]["shown"] == "7.78 g");
}

#[test]
fn an_over_that_is_heard_last_is_rung_although_nothing_follows() {
    let (scene, window) = about_to_pour();
    let mark = scene.follower.mark();
    scene.pour(&[&shown(window.upper + g("0.40")).replace(" g", "")]);
    scene.feed.fall_silent(true);
    scene.follower.bell(mark, "over");
    let told = scene.follower.bell(mark, "hold");
    let text = told["text"].as_str().unwrap();
    assert!(text.contains("Silence is not rest"), "{text}");
}

#[test]
fn metal_put_on_before_an_emptied_pan_was_at_rest_is_not_taken_for_what_stands_there() {
    // Long enough for a slow machine to give the order before the empty pan is at rest.
    let scene = Scene::new(TEN_A_SECOND, "[bench.steady]\nseconds = 3.0\n");
    open(&scene, &["fine-copper"]);
    scene.lot();
    let mark = scene.follower.mark();
    scene.feed.show(g("20.00"));
    scene.follower.bell(mark, "recorded");
    // Emptied, and the copper is on it before the empty pan was at rest.
    scene.pour(&["12.00", "0.00", "0.00"]);
    scene.ok(&["add"]);
    let mark = scene.follower.mark();
    scene.pour(&["0.80", "1.50"]);
    let told = scene.follower.bell(mark, "hold");
    let text = told["text"].as_str().unwrap();
    assert!(text.contains("1.50 grams came to rest"), "{text}");
    let view = scene.view();
    assert_eq!(view["hold"]["cause"], "pan", "{view:#}");
    assert_eq!(
        view["pan"]["net"],
        serde_json::Value::Null,
        "none of it is counted"
    );
    // Taken off, the weighing begins by itself.
    scene.empty();
    let view = scene.until("it begins", |view| view["pan"]["net"] == "0.00 g");
    assert!(view["hold"].is_null(), "{view:#}");
    // Or it is a vessel, and the person says so.
    scene.ok(&["withdraw"]);
    scene.pour(&["4.00"]);
    scene.ok(&["lot", "750", "fire-assay"]);
    let mark = scene.follower.mark();
    scene.pour(&["7.00"]);
    scene.follower.bell(mark, "hold");
    scene.ok(&["answer", "anew"]);
    scene.until("it counts from the vessel", |view| {
        view["pan"]["net"] == "0.00 g" && view["pan"]["shown"] == "7.00 g"
    });
}
