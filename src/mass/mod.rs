//! Mass: units, exact masses, what a balance indicates, its division, and a reading.
//!
//! Promises: every value is an exact decimal from the wire to the file; a mass is never a naked
//! number; an indication keeps its digits as shown, trailing zeros included. Leaves to others:
//! where a reading comes from, and whether it may be believed.

mod class;
mod division;
mod indication;
mod quantity;
mod reading;
mod typed;
mod unit;
mod weights;

pub use class::{Class, least_net};
pub use division::Division;
pub use indication::Indication;
pub use quantity::Mass;
pub use reading::{Moment, Reading, Shown, Status};
pub use typed::{NoNumber, typed_list, typed_number, typed_number_to};
pub use unit::Unit;
pub use weights::{CheckWeight, WeightClass};

use rust_decimal::{Decimal, RoundingStrategy};

/// A number with exactly so many decimals, for people: halves are rounded away from zero. Never
/// for a mass that decides anything; those go through [`Division`].
pub fn fixed(number: Decimal, decimals: u32) -> Decimal {
    let how = RoundingStrategy::MidpointAwayFromZero;
    let mut rounded = number.round_dp_with_strategy(decimals, how);
    rounded.rescale(decimals);
    rounded
}
