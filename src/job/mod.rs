//! The job as a state machine.

mod bell;
mod chain;
mod scan;

pub use bell::{BellKind, Ring};
pub use chain::{ChainLink, seal, unseal};
pub use scan::{Damage, Scan, Verdict, check_line, last_line, scan};
