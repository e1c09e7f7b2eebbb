//! The service behind a goldsmith's balance.
//!
//! The rooms, in order; each imports only from rooms above it (held by `tests/tidy.rs`). The core
//! is pure: no clock, no file, no task, no log. The shell is everything that can fail because the
//! world changed. `DEVELOPERS.md` has the house in one picture.

pub mod trouble;

// The core.
pub mod balance;
pub mod job;
pub mod mass;
pub mod melt;
pub mod metal;

// The shell.
pub mod bell;
pub mod bench;
pub mod book;
pub mod command;
pub mod port;
pub mod serve;
pub mod settings;
