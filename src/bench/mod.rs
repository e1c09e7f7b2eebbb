//! The service: one loop a bench, effects carried out in order.
//!
//! Promises: one slow or dead balance, disk, desktop or client never delays another bench; what
//! the core asks for is done in the order it asks; a stop loses nothing that was recorded. Leaves
//! to others: every rule of the trade.

mod checks;
mod given;
mod journal;
mod lane;
mod line;
mod pan;
mod plug;
mod presses;
mod reader;
mod service;
mod watchful;

pub use service::run;
