//! How old what the service told is, by its own `t` and the moments at which it was asked and heard.

use std::time::Duration;

use serde::Deserialize;

use crate::mass::Moment;
use crate::serve::Clock;

/// Older than this nothing is shown as current: three seconds, less what looking takes.
const OLD: Duration = Duration::from_millis(2_700);

/// The age of the newest event of a stream. An event was told no sooner than the stream was asked for,
/// and one told later than another by the service's clock is younger by as much: the oldest that this
/// allows counts.
pub(super) struct Age {
    clock: Clock,
    /// The first event's `t`, and the newest's, in milliseconds.
    told: Option<(u64, u64)>,
}

/// What every event says of its time.
#[derive(Deserialize)]
struct Told {
    t: u64,
}

impl Age {
    /// A stream is asked for now.
    pub(super) fn asked() -> Self {
        Self {
            clock: Clock::start(),
            told: None,
        }
    }

    /// Takes an event.
    pub(super) fn told(&mut self, data: &str) {
        if let Ok(Told { t }) = serde_json::from_str(data) {
            let (first, newest) = self.told.unwrap_or((t, t));
            self.told = Some((first, newest.max(t)));
        }
    }

    /// Whether what was told last may be too old to be shown.
    pub(super) fn is_old(&self) -> bool {
        let (first, newest) = self.told.unwrap_or_default();
        let told = Moment::after_origin(Duration::from_millis(newest.saturating_sub(first)));
        self.clock.now().since(told) > OLD
    }
}
