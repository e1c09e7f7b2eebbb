//! The page beyond this machine: the real program, and devices that speak real TLS with it.
//! Every wait has a limit.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "support/mod.rs"]
mod support;

#[path = "pair/certificate.rs"]
mod certificate;
#[path = "pair/crowd.rs"]
mod crowd;
#[path = "pair/device.rs"]
mod device;
#[path = "pair/paired.rs"]
mod paired;
#[path = "pair/refused.rs"]
mod refused;
