//! The clock that moments are told by: one for a run of the service, in what the benches record of
//! time and in what clients are told.
//!
//! Promises: it goes on while the machine sleeps, and nobody sets it.

use std::time::Duration;

use rustix::time::{ClockId, clock_gettime};

use crate::mass::Moment;

/// A clock that began when the service did.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    origin: Duration,
}

impl Clock {
    /// Begins now.
    pub fn start() -> Self {
        Self {
            origin: since_boot(),
        }
    }

    /// Now.
    pub fn now(self) -> Moment {
        Moment::after_origin(since_boot().saturating_sub(self.origin))
    }

    /// One that began so much sooner.
    #[cfg(test)]
    pub(crate) fn sooner(self, by: Duration) -> Self {
        Self {
            origin: self.origin.saturating_sub(by),
        }
    }
}

/// Time since the machine was switched on, with that in which it slept.
fn since_boot() -> Duration {
    let time = clock_gettime(ClockId::Boottime);
    let seconds = u64::try_from(time.tv_sec).unwrap_or_default();
    let nanos = u32::try_from(time.tv_nsec).unwrap_or_default();
    Duration::new(seconds, nanos)
}
