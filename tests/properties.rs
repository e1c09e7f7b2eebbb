//! Properties that hold whatever comes: exact sums and windows, how sure they are, several additions, the job as a
//! state machine under any events, and job files read back. What a case must reach is counted, so
//! that none of them can hold by never happening.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

#[path = "properties/bench.rs"]
mod bench;
#[path = "properties/exact.rs"]
mod exact;
#[path = "properties/hand.rs"]
mod hand;
#[path = "properties/machine.rs"]
mod machine;
#[path = "properties/made.rs"]
mod made;
#[path = "properties/replay.rs"]
mod replay;
#[path = "properties/several.rs"]
mod several;
#[path = "properties/sums.rs"]
mod sums;
#[path = "properties/sure.rs"]
mod sure;
#[path = "properties/ways.rs"]
mod ways;

use std::cell::Cell;

use proptest::test_runner::{Config, TestRunner};

/// A runner of so many cases. Failures are shown shrunk; nothing is kept beside the sources.
fn runner(cases: u32) -> TestRunner {
    TestRunner::new(Config {
        cases,
        failure_persistence: None,
        max_shrink_iters: 4000,
        ..Config::default()
    })
}

/// How often something happened over all cases.
#[derive(Default)]
struct Count(Cell<u32>);

impl Count {
    fn add(&self, more: u32) {
        self.0.set(self.0.get() + more);
    }

    fn get(&self) -> u32 {
        self.0.get()
    }
}
