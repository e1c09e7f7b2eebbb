//! A bench with everything on it: home, pretend balance, running service, a follower, and the
//! person's hands. Every wait has a limit.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing, missing_docs)]

use std::cell::Cell;
use std::path::Path;
use std::time::{Duration, Instant};

use panbell::mass::{Division, Indication, Mass};
use panbell::port::{Nature, Pace, Pretend, PretendSettings, shape};
use serde_json::Value;

use super::follower::{Follower, LIMIT};
use super::home::{self, Home};
use super::http;
use super::service::{self, Said, Service};

/// The bench of a desk.
pub const BENCH: &str = "left";

/// A mass in grams.
pub fn g(text: &str) -> Mass {
    format!("{text} g").parse::<Indication>().unwrap().mass()
}

/// A mass with its unit, as it stands in a view or a file.
pub fn mass(text: &str) -> Mass {
    text.parse::<Indication>().unwrap().mass()
}

/// A mass as the balances here show it.
pub fn shown(mass: Mass) -> String {
    let division: Division = "0.01 g".parse().unwrap();
    division.show(mass).to_string()
}

/// A pretend balance that settles in a tenth of a second.
pub fn pretend(link: &Path, rate: u32) -> Pretend {
    Pretend::start(PretendSettings {
        link: link.to_owned(),
        nature: Nature {
            division: "0.01 g".parse().unwrap(),
            settling: Duration::from_millis(100),
            noise: Mass::ZERO,
            seed: 7,
        },
        shape: shape("status-first").unwrap(),
        pace: Pace::LinesPerSecond(rate),
        speed: 57_600,
    })
    .unwrap()
}

/// Everything of one bench.
pub struct Desk {
    pub follower: Follower,
    pub service: Service,
    pub balance: Pretend,
    pub home: Home,
    on_pan: Cell<Mass>,
}

impl Desk {
    /// A desk whose balance talks.
    pub fn new() -> Self {
        Self::with("")
    }

    /// The same with further settings, and nothing on the desktop.
    pub fn with(further: &str) -> Self {
        Self::set(|home| {
            let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
            home.settings(&format!("{}{further}{bench}", home::NO_DESKTOP));
            service::command(home.path())
        })
    }

    /// The same; `prepare` writes the settings and gives the command that starts the service.
    pub fn set(prepare: impl FnOnce(&Home) -> std::process::Command) -> Self {
        let home = Home::new();
        let balance = pretend(&home.port(BENCH), 50);
        let command = prepare(&home);
        let mut service = Service::spawn(&home, command);
        service.until_ready();
        let follower = Follower::start(&home.socket(), BENCH);
        let desk = Self {
            follower,
            service,
            balance,
            home,
            on_pan: Cell::new(Mass::ZERO),
        };
        desk.until("the balance talks", |view| view["link"] == "talking");
        desk
    }

    /// Starts the service again after it ended, and follows it.
    pub fn start_again(&mut self) {
        self.service = Service::start(&self.home);
        self.follower = Follower::start(&self.home.socket(), BENCH);
    }

    /// Ends the service without any warning.
    pub fn kill(&mut self) {
        self.service.kill();
        // A pseudo-terminal keeps the exclusive mark of a holder that was killed, and an ordinary
        // user cannot open it any more; a real port forgets it. So the plug is pulled and put back.
        if !rustix::process::geteuid().is_root() {
            self.balance.unplug().unwrap();
            self.balance.plug().unwrap();
        }
    }

    /// Gives a command.
    pub fn say(&self, words: &[&str]) -> Said {
        service::run(service::plain(self.home.path()).args(words))
    }

    /// Gives an order that asks something first, and says yes to it.
    pub fn yes(&self, words: &[&str]) -> Said {
        let word = service::word_to_confirm(&self.say(words));
        self.say(&[words, &["--confirm", &word]].concat())
    }

    /// Gives a command that must end well; gives what it said.
    pub fn ok(&self, words: &[&str]) -> String {
        self.say(words).ends(0)
    }

    /// The bench as it stands now.
    pub fn view(&self) -> Value {
        let reply = http::get(&self.home.socket(), &format!("/v1/bench/{BENCH}")).unwrap();
        assert_eq!(reply.status, 200, "{reply:?}");
        reply.json()
    }

    /// Waits until the bench is as wanted; gives it.
    pub fn until(&self, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let until = Instant::now() + LIMIT;
        loop {
            let view = self.view();
            if wanted(&view) {
                return view;
            }
            assert!(
                Instant::now() < until,
                "waited in vain until {what}: {view:#}"
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// What lies on the pan.
    pub fn on_pan(&self) -> Mass {
        self.on_pan.get()
    }

    /// Puts this on the pan in place of all.
    pub fn place(&self, load: Mass) {
        self.on_pan.set(load);
        self.balance.place(load).unwrap();
    }

    /// Puts this to what lies there.
    pub fn put(&self, more: Mass) {
        self.place(self.on_pan.get() + more);
    }

    /// Pours this to what lies there.
    pub fn pour(&self, more: Mass, over: Duration) {
        self.on_pan.set(self.on_pan.get() + more);
        self.balance.trickle(self.on_pan.get(), over).unwrap();
    }

    /// Waits until the balance is at rest showing this.
    pub fn at_rest(&self, shows: &str) -> Value {
        self.until(&format!("{shows} at rest"), |view| {
            view["pan"]["shown"] == shows && view["pan"]["steady"] == true
        })
    }

    /// Empties the pan and waits until the bench has seen it.
    pub fn empty(&self) {
        self.place(Mass::ZERO);
        self.at_rest("0.00 g");
    }

    /// Opens a job for 18 karat with these metals planned.
    pub fn open(&self, ticket: &str, add: &[&str]) -> String {
        let mut words = vec!["open", ticket, "--target", "18k", "--colour", "yellow"];
        for metal in add {
            words.extend(["--add", metal]);
        }
        self.ok(&words)
    }

    /// Waits until the weighing counts from something.
    pub fn ready(&self) -> Value {
        self.until("the weighing may begin", |view| {
            view["pan"]["net"].is_string() && view["weighing"].is_object()
        })
    }

    /// Weighs a lot as a person would, and empties the pan.
    pub fn lot(&self, fineness: &str, basis: &str, mass: &str) {
        self.ok(&["lot", fineness, basis]);
        self.ready();
        let mark = self.follower.mark();
        self.put(g(mass));
        self.follower.bell(mark, "recorded");
        self.empty();
    }

    /// Weighs a lot of 750 and takes its time, from the load on the pan to the bell.
    pub fn time_of_lot(&self, mass: &str) -> Duration {
        self.ok(&["lot", "750", "stamp"]);
        self.ready();
        let (mark, began) = (self.follower.mark(), Instant::now());
        self.put(g(mass));
        self.follower.bell(mark, "recorded");
        let took = began.elapsed();
        self.empty();
        took
    }

    /// Weighs a button; gives the bell.
    pub fn button(&self, mass: Mass) -> Value {
        self.ok(&["button"]);
        self.ready();
        let mark = self.follower.mark();
        self.put(mass);
        self.follower.bell(mark, "recorded")
    }

    /// Begins the next planned addition; gives its window.
    pub fn add(&self, words: &[&str]) -> Window {
        self.ok(&[&["add"], words].concat());
        Window::of(&self.ready())
    }

    /// Weighs out an addition at its aim.
    pub fn add_at_aim(&self, words: &[&str]) -> Mass {
        let window = self.add(words);
        let mark = self.follower.mark();
        self.put(window.aim);
        self.follower.bell(mark, "recorded");
        window.aim
    }

    /// Waits until the record of a reading of this mass on the pan is in the job file.
    pub fn until_noted(&self, gross: &str) {
        let until = Instant::now() + LIMIT;
        let noted = format!("\"event\":\"reading\",\"gross\":\"{gross}\"");
        let book = self.home.path().join("book");
        loop {
            let files = std::fs::read_dir(&book).unwrap();
            let mut texts = files.map(|file| std::fs::read(file.unwrap().path()).unwrap());
            if texts.any(|text| String::from_utf8_lossy(&text).contains(&noted)) {
                return;
            }
            assert!(Instant::now() < until, "{gross} was never noted");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// Closes a job that is not finished: it is closed after a yes only.
    pub fn close_as_it_is(&self) -> String {
        self.say(&["close"])
            .is_refused_with("A closed job cannot be gone on with");
        self.yes(&["close"]).ends(3)
    }

    /// Checks the book with the program's own command.
    pub fn verify(&self) -> String {
        self.ok(&["verify"])
    }
}

/// The window on view.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    pub lower: Mass,
    pub aim: Mass,
    pub upper: Mass,
}

impl Window {
    pub fn of(view: &Value) -> Self {
        let edge = |name: &str| {
            let text = view["weighing"][name].as_str();
            mass(text.unwrap_or_else(|| panic!("no {name}: {view:#}")))
        };
        Self {
            lower: edge("lower"),
            aim: edge("aim"),
            upper: edge("upper"),
        }
    }
}
