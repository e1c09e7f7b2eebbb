//! Two hundred clients that follow one bench: how late a reading is at each of them.

use std::time::{Duration, Instant};

use crate::hear::{Beat, Heard};
use crate::service::{Home, number_of_event};
use crate::table::{self, Sample};
use crate::wire::{Wire, numbered};

const CLIENTS: usize = 200;
const LINES: usize = 200;
const EVERY: Duration = Duration::from_millis(50);

pub(crate) fn measure() {
    let wire = Wire::new();
    let home = Home::new(&wire);
    let service = home.start();
    let heard: Vec<Heard> = (0..CLIENTS)
        .map(|_| Heard::from(service.follow(), number_of_event))
        .collect();
    for number in 0..20 {
        wire.send(&numbered(number + 5000));
        std::thread::sleep(EVERY);
    }
    for one in &heard {
        one.forget();
    }
    let mut beat = Beat::new(EVERY);
    let sent: Vec<Instant> = (0..LINES)
        .map(|number| {
            beat.wait();
            wire.send(&numbered(number))
        })
        .collect();
    let mut times = Vec::new();
    for one in &heard {
        let arrived = one.until(LINES - 1);
        times.extend(arrived.iter().map(|(number, at)| *at - sent[*number]));
    }
    let lost = CLIENTS * LINES - times.len();
    let late = Sample::micros(&times);
    table::print(
        &format!(
            "{CLIENTS} clients of one bench, a reading every {} ms, each read by a thread of its own here (wanted: no later than 10 ms at p99)",
            EVERY.as_millis()
        ),
        &["", "median us", "p99 us", "latest us", "lost"],
        &[vec![
            "event streams".to_owned(),
            format!("{:.0}", late.median()),
            format!("{:.0}", late.p99()),
            format!("{:.0}", late.highest()),
            lost.to_string(),
        ]],
    );
}
