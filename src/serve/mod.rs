//! The HTTP interface: orders in, live state out, the same for commands and for `curl`.
//!
//! Promises: a client, however slow, rude or dead, never delays a bench: every queue is bounded,
//! and a client that falls behind is given the latest state; event streams end at shutdown. On
//! loopback nobody but the holder of the page's token is told or may order anything, and beyond it,
//! where the settings open a door at all, nobody but a paired device. The types here are the
//! interface's own, version 1. Leaves to others: everything that a bench does.

mod beyond;
mod certificate;
mod clock;
mod code;
mod devices;
mod door;
mod front;
mod gate;
mod http;
mod listen;
mod live;
mod openapi;
mod orders;
mod page;
mod pairing;
mod places;
mod recipes;
mod secret;
mod stream;
mod turn;
mod view;
mod wire;

pub use beyond::BeyondView;
pub use clock::Clock;
pub use devices::DeviceView;
pub use door::{Ask, Door, House, Inbox, LIMIT, Look, NotDone, Refusal, Rung, Wish};
pub use front::{Front, PageView};
pub use listen::{SOCKET, Served, listen};
pub use live::{Kind, Live};
pub use orders::{AddBody, OnBody, OrderBody, OrderRequest, RefusalBody, ReplyBody};
pub use pairing::{CodeView, ForgetBody, ForgottenView};
pub use recipes::{AddView, RecipeView, RecipesView};
pub use secret::random_id;
pub use turn::Turn;
pub use view::{
    ActionView, BeatView, BellView, BenchView, HoldView, JobView, MetalView, PanView, PlannedView,
    ReadingView, WeighedView, WeighingView,
};
