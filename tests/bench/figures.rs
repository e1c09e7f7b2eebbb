//! The figures of panbell, each beside a baseline measured in the same run. Prints them; never
//! passes or fails by time. Leaves to others: whether what was measured is right.
//!
//! `cargo bench --bench figures` measures everything in about four minutes. Name parts to
//! measure only those: `cargo bench --bench figures -- latency cost many crowd core melt start page`.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]
// Counts and nanoseconds become figures with three digits; what a float loses of them is not seen.
#![allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss
)]

mod core;
mod cost;
mod crowd;
mod hear;
mod job;
mod latency;
mod logger;
mod many;
mod melt;
mod page;
mod service;
mod start;
mod table;
mod wire;

// What the page's tests have: a browser, and a bench with its page.
#[path = "../page/driver.rs"]
#[allow(dead_code)] // a measurement uses its own part
mod driver;
#[path = "../page/stage.rs"]
#[allow(dead_code)]
mod stage;
#[path = "../support/mod.rs"]
mod support;

use logger::Logger;

fn main() {
    let wanted: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| !argument.starts_with('-'))
        .collect();
    let is_wanted = |part: &str| wanted.is_empty() || wanted.iter().any(|wish| wish == part);
    let began = std::time::Instant::now();
    println!("{}", table::machine());
    let logger = Logger::prepare();
    if is_wanted("core") {
        core::measure();
    }
    if is_wanted("melt") {
        melt::measure();
    }
    if is_wanted("start") {
        start::measure(logger.as_ref());
    }
    if is_wanted("cost") {
        cost::measure(logger.as_ref());
    }
    if is_wanted("many") {
        many::measure();
    }
    if is_wanted("crowd") {
        crowd::measure();
    }
    if is_wanted("latency") {
        latency::measure(logger.as_ref());
    }
    if is_wanted("page") {
        page::measure();
    }
    println!("\nmeasured in {:.0} s", began.elapsed().as_secs_f64());
}
