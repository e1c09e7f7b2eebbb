//! Sixty-four balances on one service, twenty lines a second each: what it costs, and how late the
//! latest line is.
//!
//! Each balance has a bench, a wire and a follower of its own; they send at moments spread over the
//! beat, as balances do that know nothing of each other.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::cost::{Used, number_at};
use crate::hear::{Heard, PATIENCE};
use crate::service::{Home, number_of_event};
use crate::table::{self, Sample};
use crate::wire::{Wire, numbered};

const BALANCES: usize = 64;
const EVERY: Duration = Duration::from_millis(50);
const ROUNDS: usize = 200;

pub(crate) fn measure() {
    let wires: Vec<Wire> = std::iter::repeat_with(Wire::new)
        .take(BALANCES + 1)
        .collect();
    let home = Home::of_many(&wires);
    let (flood, wires) = wires.split_last().unwrap();
    let service = home.start();
    let alone = run(&service, wires, &[]);
    let heard: Vec<Heard> = (0..BALANCES)
        .map(|bench| Heard::from(service.follow_bench(&format!("b{bench}")), number_of_event))
        .collect();
    let followed = run(&service, wires, &heard);
    let flooded = flooded(flood, || run(&service, wires, &heard));
    table::print(
        &format!(
            "{BALANCES} balances, {} lines a second each, for {} s (wanted: under 5 % of a core, under 24 MiB, no line later than 5 ms at p99)",
            1000 / EVERY.as_millis(),
            ROUNDS as f64 * EVERY.as_secs_f64(),
        ),
        &[
            "",
            "core",
            "us a line",
            "resident MiB",
            "median us",
            "p99 us",
            "latest us",
            "lost",
        ],
        &[
            alone.row("nobody follows"),
            followed.row("each is followed"),
            flooded.row("and one more floods"),
        ],
    );
}

/// Does something while this wire gives as much as is taken of what is no line: two thousand
/// bytes a millisecond, more than any serial port carries.
fn flooded<T>(wire: &Wire, work: impl FnOnce() -> T) -> T {
    let garbage = [b'\xfe', b'U', 0, b'\n', b'x', b'\r', 0x80, b'7'].repeat(250);
    let ending = AtomicBool::new(false);
    wire.lose_what_does_not_fit();
    std::thread::scope(|scope| {
        scope.spawn(|| {
            while !ending.load(Ordering::Relaxed) {
                wire.send_if_room(&garbage);
                std::thread::sleep(Duration::from_millis(1));
            }
        });
        let worked = work();
        ending.store(true, Ordering::Relaxed);
        worked
    })
}

/// What one stretch came to.
struct Measured {
    core: f64,
    line: f64,
    memory: f64,
    late: Option<(Sample, usize)>,
}

impl Measured {
    fn row(&self, name: &str) -> Vec<String> {
        let mut row = vec![
            name.to_owned(),
            format!("{:.2} %", self.core),
            format!("{:.0}", self.line),
            format!("{:.1}", self.memory),
        ];
        row.extend(match &self.late {
            Some((late, lost)) => vec![
                format!("{:.0}", late.median()),
                format!("{:.0}", late.p99()),
                format!("{:.0}", late.highest()),
                lost.to_string(),
            ],
            None => vec!["-".to_owned(); 4],
        });
        row
    }
}

fn run(service: &crate::service::Service<'_>, wires: &[Wire], heard: &[Heard]) -> Measured {
    let pid = service.pid();
    let apart = EVERY / u32::try_from(BALANCES).unwrap();
    let mut sent = vec![Vec::new(); BALANCES];
    for round in 0..10 {
        for wire in wires {
            wire.send(&numbered(round + 5000));
        }
        std::thread::sleep(EVERY);
    }
    for one in heard {
        one.forget();
    }
    let before = Used::by(pid);
    let mut next = Instant::now();
    for round in 0..ROUNDS {
        for (wire, sent) in wires.iter().zip(&mut sent) {
            next += apart;
            std::thread::sleep(next.saturating_duration_since(Instant::now()));
            sent.push(wire.send(&numbered(round)));
        }
    }
    std::thread::sleep(Duration::from_millis(100).min(PATIENCE));
    let after = Used::by(pid);
    let used = after.since(before);
    let status = std::path::PathBuf::from(format!("/proc/{pid}/status"));
    let time = (after.at - before.at).as_secs_f64();
    let mut times = Vec::new();
    for (heard, sent) in heard.iter().zip(&sent) {
        let arrived = heard.until(ROUNDS - 1);
        times.extend(
            arrived
                .iter()
                .filter_map(|(number, at)| Some(at.saturating_duration_since(*sent.get(*number)?))),
        );
    }
    let lost = heard.len() * ROUNDS - times.len();
    Measured {
        core: used.nanoseconds as f64 / time / 1e7,
        line: used.nanoseconds as f64 / (BALANCES * ROUNDS) as f64 / 1e3,
        memory: number_at(&status, "VmRSS:") as f64 / 1024.0,
        late: (!heard.is_empty()).then(|| (Sample::micros(&times), lost)),
    }
}
