//! `panbell reckon` as it is typed: the real program, its JSON and its exit codes, held against worked
//! examples as published, decision rules, and other programs (`tests/python`, the crate uom).

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

#[path = "reckon/asked.rs"]
mod asked;
#[path = "reckon/chances.rs"]
mod chances;
#[path = "reckon/examples.rs"]
mod examples;
#[path = "reckon/made.rs"]
mod made;
#[path = "support/python.rs"]
mod other;
#[path = "reckon/python.rs"]
mod python;
#[path = "reckon/run.rs"]
mod run;
#[path = "reckon/units.rs"]
mod units;
#[path = "reckon/weighing.rs"]
mod weighing;
