//! From the last byte of a line on the wire to whoever follows it.
//!
//! The same lines, one clock, four ways in turn: a bare blocking read of the port (the least there
//! can be); the service and a follower on its socket, without a job and with an addition under
//! way; a logger in Python.

use std::time::{Duration, Instant};

use crate::hear::{Beat, Heard};
use crate::logger::{Logger, Logging};
use crate::service::{Home, Service, number_of_event};
use crate::table::{self, Sample};
use crate::wire::{Wire, number_in, numbered};

const ROUNDS: usize = 4;

/// One way from a wire to a reader.
struct Way {
    name: &'static str,
    wire: Wire,
    heard: Heard,
    times: Vec<Duration>,
    lost: usize,
}

impl Way {
    fn new(name: &'static str, wire: Wire, heard: Heard) -> Self {
        Self {
            name,
            wire,
            heard,
            times: Vec::new(),
            lost: 0,
        }
    }

    /// Sends so many lines at a steady rate and takes the time of each.
    fn run(&mut self, lines: usize, every: Duration) {
        self.heard.forget();
        let mut beat = Beat::new(every);
        let mut sent: Vec<Instant> = Vec::with_capacity(lines);
        for number in 0..lines {
            beat.wait();
            sent.push(self.wire.send(&numbered(number)));
        }
        let arrived = self.heard.until(lines - 1);
        self.lost += lines - arrived.len();
        let times = arrived.iter().map(|(number, at)| *at - sent[*number]);
        self.times.extend(times);
    }
}

pub(crate) fn measure(logger: Option<&Logger>) {
    let wires = [Wire::new(), Wire::new()];
    let (plain, busy) = (Home::new(&wires[0]), Home::new(&wires[1]));
    busy.put_job("figures", &crate::job::open("figures"));
    let services = [plain.start(), busy.start()];
    let python_wire = Wire::new();
    let mut logging = logger.map(|logger| logger.start(&python_wire));
    let mut ways = ways(wires, &services, logging.as_mut(), python_wire);

    for way in &mut ways {
        // Caches, branch predictors and lazily made things, once.
        way.run(50, Duration::from_millis(2));
    }
    report(&mut ways, 500, Duration::from_millis(5));
    report(&mut ways, 20, Duration::from_millis(100));
}

fn ways(
    wires: [Wire; 2],
    services: &[Service<'_>; 2],
    logging: Option<&mut Logging>,
    python_wire: Wire,
) -> Vec<Way> {
    let bare = Wire::new();
    let heard = Heard::from(bare.open_other(), number_in);
    let mut ways = vec![Way::new("bare read loop", bare, heard)];
    let names = ["panbell, no job", "panbell, adding"];
    for ((name, wire), service) in names.into_iter().zip(wires).zip(services) {
        let heard = Heard::from(service.follow(), number_of_event);
        ways.push(Way::new(name, wire, heard));
    }
    if let Some(logging) = logging {
        let heard = Heard::from(logging.printed(), number_in);
        ways.push(Way::new("pyserial logger", python_wire, heard));
    }
    ways
}

/// Measures every way in turn, round by round, and prints them.
fn report(ways: &mut [Way], lines: usize, every: Duration) {
    for way in &mut *ways {
        way.times.clear();
        way.lost = 0;
    }
    for _ in 0..ROUNDS {
        for way in &mut *ways {
            way.run(lines, every);
        }
    }
    let bare = Sample::micros(&ways[0].times).median();
    let rows: Vec<Vec<String>> = ways
        .iter()
        .map(|way| {
            let sample = Sample::micros(&way.times);
            let median = sample.median();
            vec![
                way.name.to_owned(),
                format!("{median:.0}"),
                format!("{:.0}", sample.p99()),
                format!("{:+.0}", median - bare),
                format!("{:.1} x", median / bare),
                way.lost.to_string(),
            ]
        })
        .collect();
    table::print(
        &format!(
            "latency, line sent to line seen (us, {} lines, one each {} ms, {ROUNDS} rounds in turn; wanted: at most 150 beyond the bare loop)",
            ROUNDS * lines,
            every.as_millis()
        ),
        &["", "median", "p99", "beyond bare", "ratio", "lost"],
        &rows,
    );
}
