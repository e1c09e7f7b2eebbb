//! Density as an exact decimal, and what ideal mixing of volumes makes of a composition.
//!
//! Leaves to others: the densities of the elements (`metal`), and how far the model may be
//! believed (`proof`).

use std::fmt;

use rust_decimal::Decimal;

use crate::mass::{Mass, fixed};
use crate::metal::{Composition, Element};

/// A density.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Density(Decimal);

/// A decimal of these digits, for constants.
pub(super) const fn decimal(digits: u32, decimals: u32) -> Decimal {
    Decimal::from_parts(digits, 0, 0, false, decimals)
}

/// Kilograms per cubic metre in one gram per cubic centimetre.
const KILO: Decimal = Decimal::ONE_THOUSAND;

impl Density {
    /// An ordinary injection or carving wax, 0.95 g/cm3 (common practice: waxes run from 0.92 to
    /// 1.0, and a lower figure asks for more metal).
    pub const WAX: Self = Self(decimal(95, 2));

    /// A density in g/cm3; `None` unless it is above zero and below 100, which holds for all matter
    /// that comes to a bench.
    pub fn g_per_cm3(number: Decimal) -> Option<Self> {
        (number > Decimal::ZERO && number < Decimal::ONE_HUNDRED).then_some(Self(number))
    }

    /// A density in kg/m3; `None` unless it is above zero and below 100 000.
    pub fn kg_per_m3(number: Decimal) -> Option<Self> {
        Self::g_per_cm3(number / KILO)
    }

    /// In grams per cubic centimetre.
    pub fn in_g_per_cm3(self) -> Decimal {
        self.0
    }

    /// In kilograms per cubic metre.
    pub fn in_kg_per_m3(self) -> Decimal {
        self.0 * KILO
    }

    /// The density of parts by mass, each with its own density, when every part keeps its volume:
    /// the whole mass over the sum of mass/density (ideal mixing). `None` without any mass.
    ///
    /// Averaging densities by mass instead is wrong: it makes 22 karat of copper 18.4 g/cm3, when
    /// it is 17.6.
    pub fn of_parts(parts: impl IntoIterator<Item = (Decimal, Self)>) -> Option<Self> {
        let (mut mass, mut volume) = (Decimal::ZERO, Decimal::ZERO);
        for (part, density) in parts {
            mass += part;
            volume += part / density.0;
        }
        Self::g_per_cm3(mass.checked_div(volume)?)
    }

    /// The density of a composition by ideal mixing; `None` when part of it is unknown.
    ///
    /// Real alloys differ from it by up to about one per cent: copper-rich gold that has ordered
    /// lies below, gold with silver on both sides (Rose, "The Metallurgy of Gold", table XIV;
    /// Kraut and Stern, Gold Bulletin 33, 2000).
    pub fn of(metal: &Composition) -> Option<Self> {
        if !metal.is_known() {
            return None;
        }
        Self::of_parts(Element::all().filter_map(|element| {
            Some((
                metal.three_thousandths(element),
                Self::g_per_cm3(element.density())?,
            ))
        }))
    }

    /// The mass of so many cubic millimetres.
    pub(super) fn mass_of(self, cubic_millimetres: Decimal) -> Option<Mass> {
        Mass::from_grams(self.0.checked_mul(cubic_millimetres)? / KILO)
    }
}

impl fmt::Display for Density {
    /// `15.58 g/cm3`, to two decimals, for people.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} g/cm3", fixed(self.0, 2))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn volumes_add_up_and_what_is_unknown_has_no_density() {
        let of = |text: &str| Density::of(&text.parse().unwrap());
        assert_eq!(of("Au 1000").unwrap().to_string(), "19.30 g/cm3");
        assert_eq!(of("Au 750 Ag 250").unwrap().to_string(), "15.96 g/cm3");
        assert_eq!(of("Au 750 Ag 125"), None);
        assert_eq!(Density::of_parts([]), None);
    }
}
