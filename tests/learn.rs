//! Learning how a balance speaks: a corpus of line shapes of our own invention, learned from
//! captures that are whole, cut, noisy or entered in the middle of a line, and read back; and the
//! real program, from a log and from a pretend balance on a real pseudo-terminal.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "support/mod.rs"]
mod support;

#[path = "learn/corpus.rs"]
mod corpus;
#[path = "learn/damage.rs"]
mod damage;
#[path = "learn/dashes.rs"]
mod dashes;
#[path = "learn/foreign.rs"]
mod foreign;
#[path = "learn/grammar.rs"]
mod grammar;
#[path = "learn/invented.rs"]
mod invented;
#[path = "learn/logs.rs"]
mod logs;
#[path = "learn/port.rs"]
mod port;
#[path = "learn/sessions.rs"]
mod sessions;
#[path = "learn/shapes.rs"]
mod shapes;
#[path = "learn/signed.rs"]
mod signed;
#[path = "learn/stamps.rs"]
mod stamps;
