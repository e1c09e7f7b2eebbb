//! The ports: opening them, reading them, and saying why not; and the pretend balance.
//!
//! Promises: no port is touched that was not named; a port is ours alone while it is open, and
//! given back as it was found to be free; a hang-up is seen at once; every cause of failure is
//! told apart. Leaves to others: what the bytes mean (`balance`), and when to try again
//! (`bench`).

mod access;
mod cause;
mod framing;
mod instrument;
mod noise;
mod people;
mod physics;
mod pretend;
mod pty;
mod serial;
mod shapes;

pub use access::{Holder, check, holders};
pub use cause::PortTrouble;
pub use framing::{DataBits, Flow, Framing, Parity, PortSettings, StopBits};
pub use physics::{Nature, Physics, Showing};
pub use pretend::{Pace, Pretend, PretendSettings};
pub use serial::OpenPort;
pub use shapes::{SHAPES, Shape, shape, status_first};
