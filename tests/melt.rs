//! Blending, proof by density and the rest of the melt that came with them, held against published
//! figures, exact sums of their own, and other programs (`tests/python`).

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

#[path = "melt/asks.rs"]
mod asks;
#[path = "melt/blend.rs"]
mod blend;
#[path = "support/python.rs"]
mod other;
#[path = "melt/proof.rs"]
mod proof;
#[path = "melt/python.rs"]
mod python;
