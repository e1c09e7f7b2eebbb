//! The bells: they tell the person at the bench, and can never stop a bench.
//!
//! Ringing is a matter of leaving a note in a box: it takes no time, cannot fail, and nothing
//! waits for it. A task of its own takes the notes out and shows them on the desktop; sound and
//! speech have a thread each. What goes wrong there is said once in the log, is kept for whoever
//! asks ([`BellSender::trouble`]), and goes no further.
//!
//! What is promised of the box, for every bench on its own:
//!
//! - The newest ring is shown last, whatever came before it and however slow the desktop is.
//! - An `over` or a `hold` is never dropped for another kind of ring. It is shown, or a newer
//!   ring of its own kind takes its place. So it cannot happen that an `over` goes unshown while
//!   an older `near` stands on the screen.
//! - Of the other kinds only the newest is kept: nobody wants to read that the pan came near
//!   the window after it is within.
//! - It never holds more than three rings for a bench.
//! - What could not be shown is tried again, less and less often, until it is shown or no longer
//!   the news.
//!
//! One file a way of telling. Which ring is due, and how it is worded, is settled in
//! [`crate::job`]; what is pressed on a notice is handed out as a [`Press`], to be carried out where
//! orders are.

mod asked;
mod desk;
mod desktop;
mod failure;
mod limits;
mod notice;
mod press;
mod sender;
mod server;
pub mod sound;
mod speech;
mod waiting;

pub use press::{Act, Press, Told};
pub use sender::{BellSender, BellTask, Bells};
pub use sound::Tune;

use crate::job::Ring;

/// A ring and the bench that rings it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Peal {
    /// The name of the bench, as the person knows it.
    pub bench: String,
    /// What to tell.
    pub ring: Ring,
}

/// Where the pan stands, for what follows it between two rings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PanNow {
    /// How far an addition is towards its aim, in hundredths.
    pub progress: Option<u8>,
    /// What is to be heard.
    pub tune: Tune,
}
