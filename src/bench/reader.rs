//! What makes a reading of what came: a layout for lines, or the scale's own description for
//! reports. Leaves to others: cutting lines, and what a reading means.

use std::sync::Arc;

use crate::balance::hid::{OddReport, ScaleLayout};
use crate::balance::{Layout, NoReading};
use crate::mass::{Reading, Unit};
use crate::settings::Form;
use crate::trouble::Trouble;

/// Reads one balance.
#[allow(clippy::large_enum_variant)] // one a bench
pub(super) enum Reader {
    /// By lines.
    Lines(Layout),
    /// By reports.
    Reports {
        /// Whose tael the scale's tael is.
        tael: Option<Unit>,
        /// Of the scale that is open.
        scale: Option<Arc<ScaleLayout>>,
    },
}

/// Why there is no reading.
#[derive(Debug)]
pub(super) enum Odd {
    /// A line was not understood.
    Line(#[allow(dead_code)] NoReading), // shown in the log
    /// A report was not.
    Report(#[allow(dead_code)] OddReport), // shown in the log
}

impl Reader {
    pub(super) fn of(form: &Form) -> Result<Self, Trouble> {
        Ok(match form {
            Form::Lines { layout, .. } => Self::Lines(Layout::compile(layout)?),
            Form::Reports { tael } => Self::Reports {
                tael: *tael,
                scale: None,
            },
        })
    }

    /// Whether the balance sets its last digit apart, as one that is not meant for payment.
    pub(super) fn has_fine_digit(&self) -> bool {
        matches!(self, Self::Lines(layout) if layout.has_fine_digits())
    }

    /// The port was opened; a scale said what its reports look like.
    pub(super) fn opened(&mut self, described: Option<Arc<ScaleLayout>>) {
        if let Self::Reports { scale, .. } = self {
            *scale = described;
        }
    }

    /// Reads a line or a report; none for one that is no weighing.
    pub(super) fn read(&mut self, raw: &[u8]) -> Result<Option<Reading>, Odd> {
        match self {
            Self::Lines(layout) => match layout.read(raw) {
                Ok(reading) => Ok(Some(reading)),
                // A date or the tare of a weighing: its mass is yet to come.
                Err(why) if !why.is_odd() => Ok(None),
                Err(why) => Err(Odd::Line(why)),
            },
            Self::Reports {
                tael,
                scale: Some(scale),
            } => scale.read(raw, *tael).map_err(Odd::Report),
            Self::Reports { scale: None, .. } => Ok(None),
        }
    }
}
