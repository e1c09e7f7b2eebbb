//! One reading of a balance, and the moment it arrived.

use std::time::Duration;

use super::Indication;
use rust_decimal::Decimal;

/// A point on a steady clock that never goes back, counted from an origin of the caller's choice.
/// The core has no clock of its own; it is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Moment(Duration);

impl Moment {
    /// The moment so long after the origin.
    pub fn after_origin(time: Duration) -> Self {
        Self(time)
    }

    /// Time since the origin.
    pub fn since_origin(self) -> Duration {
        self.0
    }

    /// Time passed since an earlier moment; none if it is not earlier.
    pub fn since(self, earlier: Self) -> Duration {
        self.0.saturating_sub(earlier.0)
    }

    /// The moment so much later.
    #[must_use]
    pub fn plus(self, time: Duration) -> Self {
        Self(self.0.saturating_add(time))
    }
}

/// What a balance says of itself, in the words of the open USB HID Weighing Devices page
/// (usages 71 to 78), and `Unsaid` for a line that says nothing of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Status {
    /// The line says nothing of steadiness.
    Unsaid,
    /// In motion.
    InMotion,
    /// Weight stable.
    Stable,
    /// Stable at zero.
    StableAtZero,
    /// Under zero.
    UnderZero,
    /// Over weight limit.
    OverLimit,
    /// Requires calibration.
    RequiresCalibration,
    /// Requires re-zeroing.
    RequiresReZeroing,
    /// Fault.
    Fault,
}

impl Status {
    /// Every status that a symbol in a balance file can stand for, with the word for it there.
    pub const WORDS: [(&'static str, Self); 8] = [
        ("in motion", Self::InMotion),
        ("stable", Self::Stable),
        ("stable at zero", Self::StableAtZero),
        ("under zero", Self::UnderZero),
        ("over limit", Self::OverLimit),
        ("requires calibration", Self::RequiresCalibration),
        ("requires re-zeroing", Self::RequiresReZeroing),
        ("fault", Self::Fault),
    ];

    /// The word for it.
    pub fn word(self) -> &'static str {
        Self::WORDS
            .iter()
            .find(|(_, status)| *status == self)
            .map_or("unsaid", |(word, _)| word)
    }

    /// Whether a mass that comes with this status can be used at all.
    pub fn is_weighing(self) -> bool {
        matches!(
            self,
            Self::Unsaid | Self::InMotion | Self::Stable | Self::StableAtZero
        )
    }
}

/// What one line of a balance says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// What is shown and in which unit, or why that cannot be said.
    pub shown: Shown,
    /// What the balance says of itself.
    pub status: Status,
}

/// The value of a reading and what is known of its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// Digits with a unit stated in the line.
    Weighed(Indication),
    /// Digits in a line without a unit.
    UnitUnstated(Decimal),
    /// Digits with a symbol that the balance file gives no unit for.
    UnitUnknown(Decimal),
    /// Digits of which it is not proven whether they stand above or below zero: shown, never a load.
    SignUnproven(Decimal),
    /// No usable digits: the balance reports a state only.
    Nothing,
}

impl Reading {
    /// The indication, when its unit is stated.
    pub fn indication(&self) -> Option<Indication> {
        match self.shown {
            Shown::Weighed(indication) => Some(indication),
            _ => None,
        }
    }
}
