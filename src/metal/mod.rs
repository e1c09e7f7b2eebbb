//! Metal: fineness and how well it is known, composition, colour, marking law, and the shelf.
//!
//! Promises: a fineness is exact in karat and in per mille alike, and never a naked number; what
//! is not known of a metal is never taken for nothing. Leaves to others: what happens when metals
//! are melted together, and reading files.

mod basis;
pub mod colour;
mod composition;
mod element;
mod estimate;
mod fineness;
pub mod law;
mod shares;
mod shelf;
mod told;
mod warnings;
mod wish;

pub use basis::Basis;
pub use colour::{Designation, Family};
pub use composition::Composition;
pub use element::Element;
pub use estimate::{BasisRules, Estimate, Goods, Rule, Stated};
pub use fineness::Fineness;
pub use law::{DEFERS, Judged, Mark, MarkLaw};
pub use shares::{Split, Ternary, silver_share, ternary};
pub use shelf::{Metal, Price, Shelf};
pub use warnings::{Asked, Draw, Warning, warnings};
pub use wish::{Colour, Purpose};
