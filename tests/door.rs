//! The page's door: the real program, real TCP, and bytes written by hand, so that what a browser
//! would never send is sent too. Every wait has a limit.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "support/python.rs"]
mod python;
#[path = "support/mod.rs"]
mod support;

#[path = "door/crowd.rs"]
mod crowd;
#[path = "door/described.rs"]
mod described;
#[path = "door/files.rs"]
mod files;
#[path = "door/page.rs"]
mod page;
#[path = "door/refused.rs"]
mod refused;
#[path = "door/streams.rs"]
mod streams;
