//! A USB HID scale: what its descriptor says of its reports, and what a report says of the pan.
//!
//! Promises: nothing is known of a report but what the device's own descriptor describes, in the
//! terms of the open Weighing Devices page (USB-IF, "HID Point of Sale Usage Tables" 1.02, usage
//! page 8D); digits are exact, trailing zeros kept; bounded, and no bytes make it panic. Leaves to
//! others: fetching descriptor and reports (`port`), and whether the unit is the bench's (`guard`).

mod descriptor;
mod fault;
mod field;
mod items;
mod page;
mod report;

pub use descriptor::ScaleLayout;
pub use fault::DescriptorFault;
pub use page::is_tael;
pub use report::OddReport;

/// The longest descriptor that is read, in bytes; the Linux kernel takes no longer one.
pub const LONGEST_DESCRIPTOR: usize = 4096;
