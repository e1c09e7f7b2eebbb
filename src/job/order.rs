//! What goes into a step and what comes out of it: two closed lists.

use std::sync::Arc;

use rust_decimal::Decimal;

use super::Ring;
use super::check::{Checked, LastCheck};
use super::record::{AddedMetal, Opened, PanAnswer, Record, Water};
use super::terms::{OrderId, Terms};
use crate::mass::{CheckWeight, Reading};
use crate::metal::{Basis, Fineness};
use crate::trouble::Trouble;

/// What the person orders.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Order {
    /// Begin a job.
    Open(Box<Opened>),
    /// The next load is a lot.
    Lot {
        /// Its fineness.
        fineness: Fineness,
        /// What that rests on.
        basis: Basis,
        /// The fineness that it is taken for.
        taken: Fineness,
        /// Standard uncertainty of that, per mille.
        u_ppt: Decimal,
        /// A few words on it.
        note: String,
    },
    /// Plan these metals to add in place of those that are not weighed yet.
    Plan {
        /// The metals, in order.
        add: Vec<AddedMetal>,
    },
    /// Weigh out the next planned addition, or this metal that was not planned.
    Add {
        /// The metal, if it was not planned.
        metal: Option<Box<AddedMetal>>,
    },
    /// Capture now.
    Take,
    /// Set the last capture aside.
    Withdraw {
        /// The `n` of that capture, as its giver knows it; refused if another is the last by now.
        capture: Option<u64>,
    },
    /// Record the load that was recorded last, and still lies on the pan, as it lies there now.
    Reweigh,
    /// Leave the weighing under way; nothing of it is recorded.
    Leave,
    /// The next load is the button.
    Button,
    /// The next weighing is of the button in water.
    Proof(Water),
    /// An assay of the button was made.
    Assay {
        /// The fineness found.
        fineness: Fineness,
        /// By what.
        basis: Basis,
        /// The fineness that it is taken for.
        taken: Fineness,
        /// Standard uncertainty of that, per mille.
        u_ppt: Decimal,
    },
    /// Say what happened to the pan.
    Answer(PanAnswer),
    /// The next load at rest is this check weight, or the one of the settings.
    CheckWeight {
        /// The weight.
        weight: Option<CheckWeight>,
    },
    /// End the job.
    Close,
}

/// Everything that can happen to a bench.
#[derive(Debug, Clone)]
pub enum Event<'a> {
    /// The port was opened.
    PortOpened,
    /// The port is not to be had, or went away: why.
    PortLost(Arc<Trouble>),
    /// A line was understood.
    Line {
        /// What it says.
        reading: Reading,
        /// The line as it came.
        raw: &'a [u8],
    },
    /// A line was understood behind which another had come already when it was read, or of which
    /// nobody knows how long it lay there: it says what was, not what is.
    OldLine {
        /// What it says.
        reading: Reading,
        /// The line as it came.
        raw: &'a [u8],
    },
    /// The service did not run for a while, so nothing that was heard before says anything of now.
    Stalled,
    /// Bytes came that are no line of this balance.
    OddLine,
    /// A frame came that failed its check; nothing is taken from it.
    DamagedLine,
    /// The person ordered something; the answer will carry this number.
    Order {
        /// The number of the order.
        id: u64,
        /// What.
        order: Order,
        /// What it was given on.
        terms: Terms,
    },
    /// The record that was to be on disk before anything went on is there.
    Written {
        /// Its `n`.
        n: u64,
    },
    /// A record could not be written.
    NotWritten {
        /// Why.
        trouble: Trouble,
        /// Whether it was the one that was waited for, rather than one that could follow.
        waited: bool,
        /// Whether nothing can be written any more until panbell is started again.
        for_good: bool,
    },
    /// The weighing of a check weight is in the book of check weights under this number, or could
    /// not be put there.
    Checked(Result<(u64, Box<Checked>), Trouble>),
    /// What the book of check weights last says of this bench.
    LastCheck(Box<LastCheck>),
    /// Time passed.
    Tick,
}

/// Everything that a step can ask the shell to do, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Effect {
    /// Append a record. `wait`: it must be on disk, and [`Event::Written`] must come back, before
    /// it counts; else it is synced within a second.
    Append {
        /// The record.
        record: Box<Record>,
        /// Whether it is waited for.
        wait: bool,
        /// The id of the order that it carries out, if that has one: it is kept in the same line.
        id: Option<OrderId>,
    },
    /// Answer an order.
    Answer {
        /// The number of the order.
        id: u64,
        /// What to say.
        answer: Result<Done, Trouble>,
    },
    /// Put the weighing of a check weight into the book of check weights and sync it;
    /// [`Event::Checked`] must come back.
    Check(Box<Checked>),
    /// Ring.
    Ring(Ring),
}

/// An order was carried out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Done {
    /// What was done and what comes next, for people.
    pub text: String,
    /// Whether a warning stands against it.
    pub warning: bool,
}
