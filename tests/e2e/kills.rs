//! A service that is killed again and again at any moment: what was announced is in the file.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use panbell::job::{Job, Verdict, scan};
use panbell::mass::Mass;
use serde_json::Value;

use crate::support::desk::{BENCH, g, mass, pretend, shown};
use crate::support::follower::Follower;
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::service::{self, Service};

/// A small generator, so that a failure can be played again from its seed.
struct Chance(u64);

impl Chance {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % limit
    }
}

const KILLS: usize = 200;
/// The longest that a service is left alone, in milliseconds.
const LONGEST: u64 = 330;

#[test]
fn what_was_announced_survives_two_hundred_kills() {
    let seed = std::env::var("SEED").ok().and_then(|it| it.parse().ok());
    let seed: u64 = seed.unwrap_or_else(|| u64::from(std::process::id()) * 0x9e37_79b9 + 1);
    println!("SEED={seed}");
    let mut chance = Chance(seed);
    let home = Home::new();
    let bench = format!(
        "[[bench]]\nname = \"{BENCH}\"\nport = {:?}\nbalance = \"status-first\"\ndivision = \"0.01 g\"\n\
         [bench.steady]\nseconds = 0.1\n[bench.pan]\ndwell_seconds = 0.5\n",
        home.port(BENCH)
    );
    home.settings(&format!("{}{bench}", home::NO_DESKTOP));
    let balance = pretend(&home.port(BENCH), 100);
    let mut told = Told::default();
    let mut hand = Hand::default();
    let began = Instant::now();
    for kill in 0..KILLS {
        let mut service = Service::spawn(&home, service::command(home.path()));
        service.until_ready();
        let follower = Follower::at_once(&home.socket(), BENCH);
        if kill > 0 {
            check_gone_on(&home, &view(&home));
        }
        let until = Instant::now() + Duration::from_millis(chance.below(LONGEST));
        while Instant::now() < until {
            told.events(&follower.since(0));
            hand.act(&home, &balance, &mut told, &mut chance, until);
        }
        service.kill();
        // A stream that was cut ends; then all that was ever announced has been heard.
        assert!(follower.wait_end(Duration::from_secs(20)));
        told.events(&follower.since(0));
        told.check(&home, seed);
        // An ordinary user could not open a port that its killed holder had marked as its own.
        if !rustix::process::geteuid().is_root() {
            balance.unplug().unwrap();
            balance.plug().unwrap();
        }
    }
    let job = home.job("T-1");
    let count = job.weighed.len();
    println!(
        "{count} captures, {} announced, {:?}",
        told.captures.len(),
        began.elapsed()
    );
    assert!(count >= 10, "too little happened: {count} captures");
    assert!(told.captures.len() >= 5, "too little was announced");
}

fn view(home: &Home) -> Value {
    http::get(&home.socket(), &format!("/v1/bench/{BENCH}"))
        .unwrap()
        .json()
}

/// The service that has just started stands where the file stands.
fn check_gone_on(home: &Home, view: &Value) {
    let (bytes, scan) = home.scan("T-1");
    let job = Job::replay(home::records(&bytes, &scan)).unwrap();
    let seen = &view["job"];
    let weighed: Vec<(u64, String, bool)> = seen["weighed"]
        .as_array()
        .unwrap_or_else(|| panic!("{view:#}"))
        .iter()
        .map(|it| {
            let n = it["n"].as_u64().unwrap();
            let mass = it["mass"].as_str().unwrap().to_owned();
            (n, mass, it["withdrawn"] == true)
        })
        .collect();
    // More than at the start may have been captured by now; nothing may be missing.
    let file: Vec<(u64, String, bool)> = job
        .weighed
        .iter()
        .map(|it| (it.n, it.captured.mass.to_string(), it.withdrawn))
        .collect();
    assert!(
        file.starts_with(&weighed) || weighed.starts_with(&file),
        "{file:?} {weighed:?}"
    );
    assert!(
        seen["to_come"]
            .as_array()
            .unwrap()
            .len()
            .abs_diff(job.to_come().len())
            <= 1
    );
    if let (Some(net), Some(shown), Some(expected)) = (
        view["pan"]["net"].as_str(),
        view["pan"]["shown"].as_str(),
        job.expected.as_ref(),
    ) && let Some(base) = expected.base
    {
        assert_eq!(
            mass(shown) - mass(net),
            base.mass(),
            "another base: {view:#}"
        );
    }
}

/// Everything that was ever announced.
#[derive(Default)]
struct Told {
    opened: bool,
    /// Captures by their number in the file, from whole states.
    captures: BTreeMap<u64, String>,
    withdrawn: Vec<u64>,
    /// Masses in grams spelled out, from bells and answers.
    masses: Vec<String>,
}

impl Told {
    fn events(&mut self, events: &[(String, Value)]) {
        for (event, data) in events {
            match event.as_str() {
                "state" => self.state(data),
                "bell" if data["bell"] == "recorded" => self.recorded(&data["text"]),
                _ => {}
            }
        }
    }

    fn state(&mut self, state: &Value) {
        for it in state["job"]["weighed"].as_array().into_iter().flatten() {
            let n = it["n"].as_u64().unwrap();
            self.captures
                .insert(n, it["mass"].as_str().unwrap().to_owned());
            if it["withdrawn"] == true && !self.withdrawn.contains(&n) {
                self.withdrawn.push(n);
            }
        }
    }

    /// `Lot 3: 4.56 grams. ...` or `fine silver: 0.91 grams. ...`.
    fn recorded(&mut self, text: &Value) {
        let text = text.as_str().unwrap();
        let mass = text
            .split_once(": ")
            .and_then(|(_, rest)| rest.split_once(" grams"));
        let mass = mass.unwrap_or_else(|| panic!("no mass in {text}")).0;
        if !self.masses.iter().any(|it| it == mass) {
            self.masses.push(mass.to_owned());
        }
    }

    fn check(&self, home: &Home, seed: u64) {
        let Ok(bytes) = std::fs::read(home.job_path("T-1")) else {
            assert!(
                !self.opened,
                "the job was announced and is gone, SEED={seed}"
            );
            return;
        };
        let scan = scan(&bytes);
        assert!(
            matches!(scan.verdict, Verdict::Clean | Verdict::TornTail { .. }),
            "{:?}, SEED={seed}",
            scan.verdict
        );
        if scan.n() == 0 {
            assert!(
                !self.opened,
                "the job was announced and is gone, SEED={seed}"
            );
            return;
        }
        let job = Job::replay(home::records(&bytes, &scan)).unwrap();
        let find = |n: u64| job.weighed.iter().find(|it| it.n == n);
        for (n, mass) in &self.captures {
            let found = find(*n).map(|it| it.captured.mass.to_string());
            assert_eq!(found.as_ref(), Some(mass), "capture {n}, SEED={seed}");
        }
        for n in &self.withdrawn {
            assert!(
                find(*n).is_some_and(|it| it.withdrawn),
                "withdrawal of {n}, SEED={seed}"
            );
        }
        for mass in &self.masses {
            let found = job
                .weighed
                .iter()
                .any(|it| it.captured.mass.digits().to_string() == *mass);
            assert!(found, "{mass} g was announced and is gone, SEED={seed}");
        }
        // Each lot has a mass of its own, so one that stands twice was recorded twice.
        let mut lots: Vec<String> = job
            .lots()
            .map(|(it, _)| it.captured.mass.to_string())
            .collect();
        let all = lots.len();
        lots.sort();
        lots.dedup();
        assert_eq!(lots.len(), all, "a lot was recorded twice, SEED={seed}");
    }
}

/// The person, who knows nothing but what is on view.
#[derive(Default)]
struct Hand {
    on_pan: Mass,
    lots: u32,
    /// The mass of the lot to be put down.
    lot: Mass,
    turns: u32,
}

impl Hand {
    fn act(
        &mut self,
        home: &Home,
        balance: &panbell::port::Pretend,
        told: &mut Told,
        chance: &mut Chance,
        until: Instant,
    ) {
        let view = view(home);
        told.state(&view);
        let order = |body: &str| http::order(&home.socket(), BENCH, body).unwrap();
        let place = |hand: &mut Self, load: Mass| {
            if hand.on_pan != load {
                hand.on_pan = load;
                balance.place(load).unwrap();
            }
        };
        let weighing = &view["weighing"];
        if !view["job"].is_object() {
            let open = r#"{"order":"open","ticket":"T-1","target":"750","colour":"red"}"#;
            told.opened |= order(open).status == 200;
        } else if view["hold"]["cause"] == "pan" {
            let load = self.on_pan;
            place(self, load);
            order(r#"{"order":"answer","said":"anew"}"#);
        } else if weighing["what"] == "lot" {
            if view["pan"]["net"].is_null() {
                place(self, Mass::ZERO);
            } else if view["pan"]["net"]
                .as_str()
                .is_some_and(|net| net.starts_with('-'))
            {
                // A load that was put down while the service was away counts as what was there.
                place(self, Mass::ZERO);
                order(r#"{"order":"answer","said":"anew"}"#);
            } else if self.on_pan == Mass::ZERO {
                self.lots += 1;
                self.lot = g("4.00") + g("0.01").times(self.lots);
                let load = self.lot;
                place(self, load);
            } else if chance.below(4) == 0 {
                let reply = order(r#"{"order":"take"}"#);
                if reply.status == 200 {
                    told.recorded(&reply.json()["text"]);
                }
            }
        } else if weighing["what"] == "addition" {
            if let (Some(net), Some(aim)) = (view["pan"]["net"].as_str(), weighing["aim"].as_str())
            {
                let more = mass(aim) - mass(net);
                if view["pan"]["steady"] == true && shown(more) != "0.00 g" {
                    let load = self.on_pan + more;
                    place(self, load);
                }
                if chance.below(3) == 0 && view["pan"]["steady"] == true {
                    let reply = order(r#"{"order":"take"}"#);
                    if reply.status == 200 {
                        told.recorded(&reply.json()["text"]);
                    }
                }
            }
        } else {
            self.turns += 1;
            let body = match self.turns % 6 {
                2 | 4 => r#"{"order":"add","metal":"fine-silver"}"#,
                5 => r#"{"order":"withdraw"}"#,
                _ => r#"{"order":"lot","fineness":"916","basis":"fire-assay"}"#,
            };
            order(body);
        }
        let pause = Duration::from_millis(8);
        std::thread::sleep(pause.min(until.saturating_duration_since(Instant::now())));
    }
}
