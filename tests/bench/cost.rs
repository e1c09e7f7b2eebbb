//! What the program costs while it works, and while nothing happens: processor, memory, wake-ups.
//!
//! Each is fed by a balance of its own at the same moments, so all see the same machine.

use std::fs;
use std::time::{Duration, Instant};

use crate::hear::{Beat, Heard};
use crate::logger::{Logger, Logging};
use crate::service::{Home, number_of_event};
use crate::table;
use crate::wire::{Wire, number_in, numbered};

const EVERY: Duration = Duration::from_millis(100);
const LINES: usize = 200;
/// Longer than the silence after which a bench stops waiting for the next line.
const UNTIL_SILENT: Duration = Duration::from_secs(4);
const IDLE: Duration = Duration::from_secs(10);

/// What the kernel says that a process has used.
#[derive(Clone, Copy)]
pub(crate) struct Used {
    pub(crate) at: Instant,
    pub(crate) nanoseconds: u64,
    /// How often a thread of it went to sleep of its own accord: once a wake-up.
    sleeps: u64,
    threads: usize,
}

impl Used {
    pub(crate) fn by(pid: u32) -> Self {
        let (mut nanoseconds, mut sleeps, mut threads) = (0, 0, 0);
        for task in fs::read_dir(format!("/proc/{pid}/task")).unwrap() {
            let task = task.unwrap().path();
            let time = fs::read_to_string(task.join("schedstat")).unwrap();
            nanoseconds += time.split(' ').next().unwrap().parse::<u64>().unwrap();
            sleeps += number_at(&task.join("status"), "voluntary_ctxt_switches:");
            threads += 1;
        }
        Self {
            at: Instant::now(),
            nanoseconds,
            sleeps,
            threads,
        }
    }

    pub(crate) fn since(self, before: Self) -> Self {
        Self {
            nanoseconds: self.nanoseconds - before.nanoseconds,
            sleeps: self.sleeps - before.sleeps,
            ..self
        }
    }
}

pub(crate) fn number_at(file: &std::path::Path, key: &str) -> u64 {
    let text = fs::read_to_string(file).unwrap();
    let line = text.lines().find_map(|line| line.strip_prefix(key));
    let number = line.and_then(|line| line.split_whitespace().next());
    number
        .and_then(|number| number.parse().ok())
        .unwrap_or_else(|| panic!("{key} is not in {}", file.display()))
}

/// One process that is watched.
struct Watched {
    name: &'static str,
    pid: u32,
    before: Used,
    worked: Option<Used>,
    memory: [u64; 2],
}

impl Watched {
    fn new(name: &'static str, pid: u32) -> Self {
        Self {
            name,
            pid,
            before: Used::by(pid),
            worked: None,
            memory: [0; 2],
        }
    }

    fn begin(&mut self) {
        self.before = Used::by(self.pid);
    }

    fn worked(&mut self) {
        self.worked = Some(Used::by(self.pid));
        let status = std::path::PathBuf::from(format!("/proc/{}/status", self.pid));
        self.memory = ["VmRSS:", "RssAnon:"].map(|key| number_at(&status, key));
    }

    fn row(&self) -> Vec<String> {
        let worked = self.worked.unwrap();
        let time = (worked.at - self.before.at).as_secs_f64();
        let used = worked.since(self.before);
        vec![
            self.name.to_owned(),
            format!("{:.3} %", used.nanoseconds as f64 / time / 1e7),
            format!("{:.0}", used.nanoseconds as f64 / LINES as f64 / 1e3),
            format!("{:.1}", used.sleeps as f64 / LINES as f64),
            format!("{:.1}", self.memory[0] as f64 / 1024.0),
            format!("{:.1}", self.memory[1] as f64 / 1024.0),
            used.threads.to_string(),
        ]
    }
}

pub(crate) fn measure(logger: Option<&Logger>) {
    let wires = [Wire::new(), Wire::new(), Wire::new(), Wire::new()];
    let homes = [Home::new(&wires[0]), Home::new(&wires[1])];
    let alone = homes[0].start();
    let followed = homes[1].start();
    let reader = Heard::from(followed.follow(), number_of_event);
    let (cat, copied) = Logging::cat(&wires[2]);
    let copied = Heard::from(copied, number_in);
    let mut logging = logger.map(|logger| logger.start(&wires[3]));
    let printed = logging
        .as_mut()
        .map(|logging| Heard::from(logging.printed(), number_in));

    let mut all = vec![
        Watched::new("panbell, nobody follows", alone.pid()),
        Watched::new("panbell, one follower", followed.pid()),
        Watched::new("cat, which only copies", cat.pid()),
    ];
    if let Some(logging) = &logging {
        all.push(Watched::new("pyserial logger", logging.pid()));
    }
    let wires = &wires[..all.len()];
    let send = |number: usize| {
        for wire in wires {
            wire.send(&numbered(number));
        }
    };
    let mut beat = Beat::new(EVERY);
    for number in 0..10 {
        send(number);
        beat.wait();
    }
    all.iter_mut().for_each(Watched::begin);
    for number in 10..10 + LINES {
        send(number);
        beat.wait();
    }
    all.iter_mut().for_each(Watched::worked);
    let last = 9 + LINES;
    assert!(reader.until(last).contains_key(&last), "lines were lost");
    assert!(copied.until(last).contains_key(&last), "lines were lost");
    if let Some(printed) = &printed {
        assert!(printed.until(last).contains_key(&last), "lines were lost");
    }
    let mut rows: Vec<Vec<String>> = all.iter().map(Watched::row).collect();

    std::thread::sleep(UNTIL_SILENT);
    all.iter_mut().for_each(Watched::begin);
    std::thread::sleep(IDLE);
    for (watched, row) in all.iter().zip(&mut rows) {
        let idle = Used::by(watched.pid).since(watched.before);
        row.push(idle.sleeps.to_string());
        row.push(format!("{:.0}", idle.nanoseconds as f64 / 1e3));
    }
    table::print(
        &format!(
            "cost at 10 lines a second for {} s, then {} s of silence (wanted: under 0.1 % of a core, under 10 MiB, no wake-up when idle)",
            LINES as f64 * EVERY.as_secs_f64(),
            IDLE.as_secs()
        ),
        &[
            "",
            "core",
            "us a line",
            "wake-ups a line",
            "resident MiB",
            "anonymous MiB",
            "threads",
            "idle wake-ups",
            "idle us",
        ],
        &rows,
    );
}
