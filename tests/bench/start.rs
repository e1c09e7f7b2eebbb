//! From starting the program to the first reading that a follower sees.
//!
//! The balance sends a line each millisecond here, so that its own slowness does not count: at ten
//! lines a second a bench that starts in the middle of a line waits up to two lines more.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::hear::{Beat, Heard};
use crate::logger::Logger;
use crate::service::{Home, number_of_event};
use crate::table::{self, Sample};
use crate::wire::{Wire, numbered};

const TIMES: usize = 20;
const CLOSED_JOBS: usize = 2000;

pub(crate) fn measure(logger: Option<&Logger>) {
    let wire = Arc::new(Wire::new());
    wire.lose_what_does_not_fit();
    let new = Home::new(&wire);
    let old = Home::new(&wire);
    for job in 0..CLOSED_JOBS {
        let name = format!("K-{job}");
        old.put_job(&name, &crate::job::closed(&name));
    }
    let ended = Arc::new(AtomicBool::new(false));
    let talking = std::thread::spawn({
        let (wire, ended) = (Arc::clone(&wire), Arc::clone(&ended));
        move || {
            let (line, mut beat) = (numbered(1), Beat::new(Duration::from_millis(1)));
            while !ended.load(Ordering::Relaxed) {
                wire.send_if_room(&line);
                beat.wait();
            }
        }
    });
    let (mut with_new, mut with_old, mut python) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..TIMES {
        with_new.push(first_reading(&new));
        with_old.push(first_reading(&old));
        if let Some(logger) = logger {
            let began = Instant::now();
            assert!(logger.import().status().unwrap().success());
            python.push(began.elapsed());
        }
    }
    ended.store(true, Ordering::Relaxed);
    talking.join().unwrap();

    let mut rows = vec![
        row("panbell, no job yet", &with_new),
        row(&format!("panbell, {CLOSED_JOBS} closed jobs"), &with_old),
    ];
    if !python.is_empty() {
        rows.push(row("python3 -c 'import serial', to its end", &python));
    }
    table::print(
        &format!("start to the first reading (ms, {TIMES} times each in turn; wanted under 50)"),
        &["", "median", "lowest", "highest"],
        &rows,
    );
}

fn first_reading(home: &Home) -> Duration {
    let began = Instant::now();
    let service = home.spawn();
    let heard = Heard::from(service.follow(), number_of_event);
    let first = heard.until(1).get(&1).copied();
    first.expect("no reading came") - began
}

fn row(name: &str, times: &[Duration]) -> Vec<String> {
    let sample = Sample::of(times.iter().map(|time| time.as_secs_f64() * 1e3).collect());
    vec![
        name.to_owned(),
        format!("{:.1}", sample.median()),
        format!("{:.1}", sample.lowest()),
        format!("{:.1}", sample.highest()),
    ]
}
