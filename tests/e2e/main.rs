//! From end to end: the real program as a process, with its service, its commands, its socket and
//! its job files, and a balance on a real pseudo-terminal. Each file is one part of the story;
//! each test has a home of its own. Every wait has a limit, and nothing is skipped in silence.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "../support/mod.rs"]
mod support;

mod bad_input;
mod bells;
mod benches;
mod check_weight;
mod disk;
mod hotplug;
mod hung_disk;
mod kills;
mod link;
mod loose;
mod orders;
mod outside;
mod pan;
mod proof;
mod stalls;
mod stop;
mod units;
mod whole_job;
