//! The elements that jewellery alloys are made of here.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use super::basis::one_of;
use crate::trouble::Trouble;

/// An element of an alloy.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Element {
    /// Gold.
    Au,
    /// Silver.
    Ag,
    /// Copper.
    Cu,
    /// Zinc.
    Zn,
    /// Nickel.
    Ni,
    /// Palladium.
    Pd,
    /// Platinum.
    Pt,
    /// Indium.
    In,
    /// Tin.
    Sn,
    /// Iron.
    Fe,
    /// Cadmium.
    Cd,
    /// Lead.
    Pb,
}

/// Element, symbol, name, density in mg/cm3.
///
/// Densities near 20 C: CRC Handbook of Chemistry and Physics, 80th ed. (1999); gold is called
/// approximate there (19.3).
const TABLE: [(Element, &str, &str, i64); 12] = [
    (Element::Au, "Au", "gold", 19_300),
    (Element::Ag, "Ag", "silver", 10_500),
    (Element::Cu, "Cu", "copper", 8_960),
    (Element::Zn, "Zn", "zinc", 7_133),
    (Element::Ni, "Ni", "nickel", 8_902),
    (Element::Pd, "Pd", "palladium", 12_020),
    (Element::Pt, "Pt", "platinum", 21_450),
    (Element::In, "In", "indium", 7_310),
    (Element::Sn, "Sn", "tin", 7_310),
    (Element::Fe, "Fe", "iron", 7_874),
    (Element::Cd, "Cd", "cadmium", 8_650),
    (Element::Pb, "Pb", "lead", 11_350),
];

impl Element {
    /// How many there are.
    pub const COUNT: usize = TABLE.len();

    /// Every element, gold first.
    pub fn all() -> impl Iterator<Item = Self> {
        TABLE.iter().map(|row| row.0)
    }

    /// Its place in [`Element::all`].
    pub(super) fn place(self) -> usize {
        self as usize
    }

    fn row(self) -> &'static (Self, &'static str, &'static str, i64) {
        // The table holds every variant in order (tested).
        TABLE.get(self.place()).unwrap_or(&TABLE[0])
    }

    /// The chemical symbol.
    pub fn symbol(self) -> &'static str {
        self.row().1
    }

    /// The name.
    pub fn name(self) -> &'static str {
        self.row().2
    }

    /// Density near 20 C, in grams per cubic centimetre.
    pub fn density(self) -> Decimal {
        Decimal::new(self.row().3, 3)
    }
}

impl fmt::Display for Element {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

impl FromStr for Element {
    type Err = Trouble;

    /// Reads a chemical symbol, in any letter case.
    fn from_str(text: &str) -> Result<Self, Trouble> {
        let words: Vec<(&'static str, Self)> = TABLE.iter().map(|row| (row.1, row.0)).collect();
        match TABLE
            .iter()
            .find(|row| row.1.eq_ignore_ascii_case(text.trim()))
        {
            Some(row) => Ok(row.0),
            None => one_of(&words, text, "element-unknown", "element of an alloy"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_the_variants() {
        for (place, element) in Element::all().enumerate() {
            assert_eq!(element.place(), place);
            assert_eq!(
                element.symbol().to_lowercase().parse::<Element>().unwrap(),
                element
            );
        }
        assert_eq!(Element::Pb.place() + 1, Element::COUNT);
    }
}
