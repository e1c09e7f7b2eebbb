//! What a button that is lighter than the melt may mean.

use rust_decimal::Decimal;

use super::Mix;
use crate::mass::{Mass, fixed};
use crate::metal::Fineness;

/// The loss in the melt, and the fineness of the button under three readings of it. The truth
/// lies between the first and the last; base metal burns first, so it is commonly near the first
/// (common practice, no source).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Loss {
    /// Metal in less button; below zero when the button is heavier.
    pub mass: Mass,
    /// The loss in per mille of what went in.
    pub ppt: Decimal,
    /// Fineness if all that was lost was base metal.
    pub all_base: Fineness,
    /// Fineness if the alloy was lost as it stands (spilled, or left in the crucible).
    pub as_it_stands: Fineness,
    /// Fineness if all that was lost was gold.
    pub all_gold: Fineness,
}

impl Loss {
    /// The loss between what went in and the button; `None` when either is nothing.
    pub fn of(melt: &Mix, button: Mass) -> Option<Self> {
        let as_it_stands = melt.fineness()?;
        let gold = melt.gold().three_thousandths();
        let mass = melt.mass() - button;
        let lost_gold = mass.or_zero().grams() * Fineness::pure().three_thousandths();
        let ppt = fixed(mass.grams() * Decimal::from(1000) / melt.mass().grams(), 2);
        Some(Self {
            mass,
            ppt,
            all_base: Fineness::of_sums(gold, button.grams())?,
            as_it_stands,
            all_gold: Fineness::of_sums(gold - lost_gold, button.grams())?,
        })
    }

    /// Whether the button weighs more than went in, which no melt does by itself.
    pub fn is_gain(&self) -> bool {
        self.mass.is_negative()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    #[test]
    fn half_a_gram_of_a_hundred_read_three_ways() {
        // 100 g of 14 k: zinc only gives 586.265 (gold over what is left).
        let mass = |text: &str| text.parse::<Indication>().unwrap().mass();
        let melt = Mix::NOTHING.with(mass("100 g"), "14k".parse().unwrap());
        let loss = Loss::of(&melt, mass("99.5 g")).unwrap();
        assert_eq!(loss.ppt.to_string(), "5.00");
        assert_eq!(loss.all_base.to_per_mille(3).to_string(), "586.265");
        assert_eq!(loss.as_it_stands, "14k".parse().unwrap());
        assert_eq!(loss.all_gold.to_per_mille(3).to_string(), "581.240");
        assert!(Loss::of(&melt, mass("100.1 g")).unwrap().is_gain());
    }
}
