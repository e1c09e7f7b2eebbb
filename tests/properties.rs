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
#[path = "properties/disk.rs"]
mod disk;
#[path = "properties/exact.rs"]
mod exact;
#[path = "properties/hand.rs"]
mod hand;
#[path = "properties/heard.rs"]
#[allow(clippy::cast_precision_loss)] // divisions, far below 2^53
mod heard;
#[path = "properties/machine.rs"]
mod machine;
#[path = "properties/made.rs"]
mod made;
#[path = "properties/pours.rs"]
mod pours;
#[path = "properties/replay.rs"]
mod replay;
#[path = "properties/several.rs"]
mod several;
#[path = "properties/sums.rs"]
mod sums;
#[path = "properties/sure.rs"]
mod sure;
#[path = "properties/truth.rs"]
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // divisions, far below 2^53
mod truth;
#[path = "properties/ways.rs"]
mod ways;

use std::cell::Cell;

use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// A runner of so many cases. Failures are shown shrunk; nothing is kept beside the sources.
fn runner(cases: u32) -> TestRunner {
    TestRunner::new(Config {
        cases,
        failure_persistence: None,
        max_shrink_iters: 4000,
        ..Config::default()
    })
}

/// The same with a seed that is printed, and as many cases as `PANBELL_CASES` says, or as are usual;
/// `PANBELL_SEED` gives the seed.
fn seeded(cases: u32) -> (TestRunner, u32) {
    let number = |name: &str| std::env::var(name).ok()?.parse::<u64>().ok();
    let cases = number("PANBELL_CASES").map_or(cases, |cases| u32::try_from(cases).unwrap());
    let now = std::time::UNIX_EPOCH.elapsed().unwrap().subsec_nanos();
    let seed = number("PANBELL_SEED").unwrap_or(now.into());
    println!("PANBELL_SEED={seed} PANBELL_CASES={cases}");
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
    let config = runner(cases).config().clone();
    (TestRunner::new_with_rng(config, rng), cases)
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
