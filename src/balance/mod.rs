//! The balance: what the instrument says, and whether it may be believed.
//!
//! Promises: bounded memory on any bytes; exact digits; a mass in an unproven unit is never
//! called usable; no clock, every moment is told. Leaves to others: where bytes come from, and
//! what a usable mass means for the job.

mod ask;
mod frame;
mod guard;
pub mod hid;
mod layout;
pub mod learn;
mod link;
mod pace;
mod pan;
mod rubble;
mod sound;
mod split;
mod steady;

pub use ask::{AskSpec, Asking, Key};
pub use frame::{Check, CheckAs, CheckAt, CheckSum, Covers, End, FrameSpec, Start};
pub use guard::{CHECK_LASTS, Ground, UnitGuard, Verdict};
pub use layout::{Digits, Kind, Layout, LayoutSpec, NoReading, Sign, symbol_bytes, symbol_of};
pub use link::{Link, LinkLimits, LinkState, Retry};
pub use pace::{Arrival, Pace};
pub use pan::{Base, Pan, PanRules, Tracked};
pub use rubble::Rubble;
pub use sound::{CheckBit, Sound, sound};
pub use split::{Piece, Splitter};
pub use steady::{Steadiness, SteadyRule, Stillness};
