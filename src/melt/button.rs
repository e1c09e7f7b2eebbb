//! What is known of a button that was weighed and not assayed.
//!
//! Leaves to others: what an assay found, and what is done about it.

use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive as _;

use super::doubt::per_mille;
use super::{FinenessDoubt, Loss, MassDoubt, Mix};
use crate::mass::Mass;

impl Mix {
    /// The button of this melt, of this mass, as metal to go on with.
    ///
    /// Its fineness lies anywhere between that of a loss of gold alone and that of a loss of base
    /// metal alone, each as likely (a rectangular distribution, JCGM 100:2008, 4.3.7), beside what
    /// was not known of the melt. `None` where it is clearly heavier than what went in (by three
    /// standard uncertainties of a weighing): then it is not what the book says.
    pub fn button(&self, mass: Mass, u_mass: MassDoubt) -> Option<Self> {
        let loss = Loss::of(self, mass)?;
        let slack = Decimal::from_f64(3.0 * u_mass.to_grams())?;
        if loss.mass.grams() < -slack {
            return None;
        }
        let (taken, half) = if loss.is_gain() {
            (loss.as_it_stands, 0.0)
        } else {
            let width = per_mille(loss.all_base) - per_mille(loss.all_gold);
            (loss.all_gold.middle(loss.all_base), width / 2.0)
        };
        let u = self.u_ppt().hypot(half / 3.0_f64.sqrt());
        let u = FinenessDoubt::per_mille(decimal(u));
        Some(Self::NOTHING.with_known(mass, u_mass, taken, u))
    }

    /// The standard uncertainty of its fineness, per mille to four decimals.
    pub fn known_to_ppt(&self) -> Decimal {
        decimal(self.u_ppt())
    }
}

fn decimal(number: f64) -> Decimal {
    Decimal::from_f64(number).unwrap_or_default().round_dp(4)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    #[test]
    fn a_loss_leaves_the_fineness_between_its_readings() {
        // 100 g of 14 k that lost 0.5 g: 581.240 if gold, 586.265 if base metal (see `loss`).
        let melt = Mix::NOTHING.with(mass("100 g"), "14k".parse().unwrap());
        let button = melt.button(mass("99.5 g"), MassDoubt::NONE).unwrap();
        let fineness = button.fineness().unwrap();
        assert_eq!(fineness.to_per_mille(2).to_string(), "583.75");
        let u = (586.265 - 581.240) / 12.0_f64.sqrt();
        assert!((button.u_ppt() - u).abs() < 1e-3, "{}", button.u_ppt());
    }

    #[test]
    fn a_button_that_gained_is_another_one() {
        let melt = Mix::NOTHING.with(mass("10 g"), "750".parse().unwrap());
        let u = MassDoubt::grams(0.004);
        assert!(melt.button(mass("10.02 g"), u).is_none());
        let same = melt.button(mass("10.01 g"), u).unwrap();
        assert_eq!(same.fineness().unwrap(), "750".parse().unwrap());
        assert!(Mix::NOTHING.button(mass("1 g"), u).is_none());
    }
}
