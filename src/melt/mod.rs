//! The melt: exact mass balance, the window of an addition, the way back, and the loss.
//!
//! Promises: gold in equals gold out to the last digit; edges are rounded to the division so that
//! the window only shrinks, and are checked again exactly. Leaves to others: what the pan shows,
//! and when to capture it.

mod air;
mod blend;
mod budget;
mod button;
mod density;
mod doubt;
mod fit;
mod history;
mod loss;
mod make;
mod mix;
mod open;
mod piece;
mod plan;
mod proof;
mod reckon;
mod rescue;
mod trials;
mod water;
mod window;

pub use air::{Air, true_mass};
pub use blend::{
    Blend, BlendAsk, BlendLot, BlendMetal, ColourWay, Goal, Hinder, Limit, MOST_LIMITS,
    MOST_METALS, NoBlend, SureBlend, UnknownPart, WHITENS, blend, colour_ways, sure_blend,
};
pub use budget::{Known, Share, budget};
pub use density::Density;
pub use doubt::{FinenessDoubt, MassDoubt, Risk, chance_at_least, uncertain_digits};
pub use fit::{Unfit, unfit};
pub use history::{FEWEST_MELTS, Judged, LossVerdict, PastMelt, UsualLoss};
pub use loss::Loss;
pub use make::{reckon_for, two_of};
pub use mix::{Gold, Mix};
pub use open::{Opening, opening};
pub use piece::{Allowance, Hollow, Length, Need, Piece, RingSize};
pub use plan::{Planned, finished_mass, plan};
pub use proof::{Doubts, InWater, Proof, Term, Verdict, Weighings, prove};
pub use reckon::{Addition, Lot, NoAnswer, Reckoning, ToAdd, reckon, shares};
pub use rescue::{Source, Way, marks_told, next_mark, ways};
pub use trials::{Trials, trials};
pub use water::water_density;
pub use window::{Added, Demand, Edges, MOST_GIVE_AWAY, NoWindow, Side, Window, edges, window};
