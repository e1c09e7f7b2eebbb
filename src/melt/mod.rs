//! The melt: exact mass balance, the window of an addition, the way back, and the loss.
//!
//! Promises: gold in equals gold out to the last digit; edges are rounded to the division so that
//! the window only shrinks, and are checked again exactly. Leaves to others: what the pan shows,
//! and when to capture it.

mod doubt;
mod fit;
mod loss;
mod mix;
mod plan;
mod reckon;
mod rescue;
mod trials;
mod window;

pub use doubt::{FinenessDoubt, Known, MassDoubt, Risk, Share, budget, chance_at_least};
pub use fit::{Unfit, unfit};
pub use loss::Loss;
pub use mix::{Gold, Mix};
pub use plan::{Planned, plan};
pub use reckon::{Addition, Lot, NoAnswer, Reckoning, ToAdd, reckon, reckon_for, two_of};
pub use rescue::{Source, Way, ways};
pub use trials::{Trials, trials};
pub use window::{Added, Demand, Edges, NoWindow, Side, Window, edges, window};
