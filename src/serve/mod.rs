//! The HTTP interface: orders in, live state out, the same for commands and for `curl`.
//!
//! Promises: a client, however slow, rude or dead, never delays a bench: every queue is bounded,
//! and a client that falls behind is given the latest state; event streams end at shutdown. The
//! types here are the interface's own, version 1. Leaves to others: everything that a bench does.

mod door;
mod http;
mod orders;
mod recipes;
mod stream;
mod view;

pub use door::{Ask, Door, House, Message};
pub use http::{SOCKET, Served, listen};
pub use orders::{AddBody, OrderBody, RefusalBody, ReplyBody};
pub use recipes::{AddView, RecipeView, RecipesView};
pub use view::{
    BellView, BenchView, HoldView, JobView, PanView, PlannedView, WeighedView, WeighingView,
};
