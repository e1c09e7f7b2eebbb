//! USB HID scales: the published reports through descriptors of several orders, any bytes, what is
//! found without opening anything, and the real program reading a scale: a pipe with a descriptor
//! beside it, and a real hidraw device where the kernel lets one be made (`tests/vm-hid` makes a
//! machine where it does).

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "hid/any.rs"]
mod any;
#[path = "hid/bench.rs"]
mod bench;
#[path = "hid/described.rs"]
mod described;
#[path = "hid/find.rs"]
mod find;
#[path = "hid/maker.rs"]
mod maker;
#[path = "hid/named.rs"]
mod named;
#[path = "hid/plug.rs"]
mod plug;
#[path = "hid/published.rs"]
mod published;
#[path = "support/mod.rs"]
mod support;
