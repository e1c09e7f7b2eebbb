//! Metal: fineness and what it rests on, and the shop's shelf.

mod fineness;

pub use fineness::Fineness;
