//! The job as a state machine.

mod bell;

pub use bell::{BellKind, Ring};
