//! When a balance that must be asked is asked.
//!
//! Promises: asked again only after an answer, and then no sooner than the file says, or after a
//! time-out that doubles while no answer comes, so that a slow balance is never flooded; no clock,
//! every moment is told. Leaves to others: writing the request, and what the answer says.

use std::time::Duration;

use crate::mass::Moment;

/// How a balance is asked, as its file states it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskSpec {
    /// What to send.
    pub send: Vec<u8>,
    /// The least time between two requests.
    pub every: Duration,
    /// How long an answer may take.
    pub timeout: Duration,
    /// What presses its tare key; sent only when a person orders it.
    pub tare: Option<Vec<u8>>,
    /// What presses its zero key; sent only when a person orders it.
    pub zero: Option<Vec<u8>>,
}

impl AskSpec {
    /// The longest request, in bytes.
    pub const LONGEST: usize = 64;
    /// The least time between two requests that can be set.
    pub const SHORTEST_EVERY: Duration = Duration::from_millis(20);
    /// The least time that an answer can be given.
    pub const SHORTEST_TIMEOUT: Duration = Duration::from_millis(100);
    /// The most that either can be.
    pub const LONGEST_TIME: Duration = Duration::from_secs(10);
}
