//! The ports, serial and those of USB scales: opening them, reading them, and saying why not; and the pretend balance.
//!
//! Promises: no port is touched that was not named; a port is ours alone while it is open, and
//! given back as it was found to be free; a hang-up is seen at once; every cause of failure is
//! told apart. Leaves to others: what the bytes mean (`balance`), and when to try again
//! (`bench`).

mod access;
mod cause;
mod company;
mod discover;
mod form;
mod framing;
mod hidraw;
mod instrument;
mod noise;
mod people;
mod physics;
mod pretend;
mod pty;
mod scales;
mod serial;
mod shapes;
mod sign;
mod uart;
mod writing;

pub use access::{Holder, check, holders};
pub use cause::PortTrouble;
pub use company::{ServiceKind, TakenAdapter, services, taken_adapters};
pub use discover::{FoundPort, FoundScale, Marks, PortKind, Roots, port_named, ports, scales};
pub use framing::{DataBits, Flow, Framing, Parity, PortSettings, StopBits};
pub use hidraw::{ScalePort, ScaleTrouble};
pub use physics::{Nature, Physics, Showing};
pub use pretend::{Pace, Pretend, PretendSettings, Writer};
pub use scales::{HidScale, hid_scales};
pub use serial::OpenPort;
pub use shapes::{SHAPES, Shape, shape, status_first};
pub use writing::LayoutWriter;
