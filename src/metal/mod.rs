//! Metal: fineness and what it rests on, the colour and use asked for, and the shop's shelf.
//!
//! Promises: a fineness is exact in karat and in per mille alike, and never a naked number.
//! Leaves to others: what happens when metals are melted together.

mod basis;
mod composition;
mod element;
mod fineness;
mod shelf;
mod wish;

pub use basis::Basis;
pub use composition::Composition;
pub use element::Element;
pub use fineness::Fineness;
pub use shelf::{Metal, Shelf};
pub use wish::{Colour, Purpose};
