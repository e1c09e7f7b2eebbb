//! What a metal is made of, in exact parts by mass.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use super::{Element, Fineness};
use crate::mass::{Mass, fixed, typed_list, typed_number_to};
use crate::trouble::Trouble;

/// Exact parts by mass of each element, and of what is not known; together the whole.
///
/// Held in three-thousandths like [`Fineness`], so that a karat and a per mille are both exact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Composition {
    parts: [Decimal; Element::COUNT],
    unknown: Decimal,
}

/// How far a stated composition may be from the whole, in three-thousandths: handbook rows round
/// to a tenth of a per mille each, and a row of them adds up within one per mille.
const SLACK: Decimal = Decimal::from_parts(3, 0, 0, false, 0);

impl Composition {
    /// Gold of this fineness, and nothing known of the rest.
    pub fn of_gold(gold: Fineness) -> Self {
        let mut parts = [Decimal::ZERO; Element::COUNT];
        if let Some(part) = parts.get_mut(Element::Au.place()) {
            *part = gold.three_thousandths();
        }
        Self {
            parts,
            unknown: Fineness::pure().three_thousandths() - gold.three_thousandths(),
        }
    }

    /// A composition of stated parts in per mille; each element at most once.
    ///
    /// What is missing to 1000 is unknown. A sum up to one per mille above 1000 is taken as
    /// rounding and scaled back, all but the gold, which is never changed; more is refused.
    pub fn stated(parts: &[(Element, Decimal)]) -> Result<Self, Trouble> {
        let mut all = [Decimal::ZERO; Element::COUNT];
        for (element, ppt) in parts {
            let part = Fineness::per_mille(*ppt).ok_or_else(|| {
                trouble(&format!(
                    "{ppt} per mille of {} is no part of a whole",
                    element.name()
                ))
            })?;
            match all.get_mut(element.place()) {
                Some(place) if place.is_zero() => *place = part.three_thousandths(),
                _ => return Err(trouble(&format!("{} stands in it twice", element.name()))),
            }
        }
        let whole = Fineness::pure().three_thousandths();
        let sum: Decimal = all.iter().sum();
        if sum > whole + SLACK {
            let ppt = fixed(sum / Decimal::from(3), 1);
            return Err(trouble(&format!("its parts add up to {ppt} per mille")));
        }
        if sum > whole {
            let gold = all.first().copied().unwrap_or_default();
            let scale = (whole - gold)
                .checked_div(sum - gold)
                .unwrap_or(Decimal::ONE);
            for part in all.iter_mut().skip(1) {
                *part *= scale;
            }
        }
        Ok(Self {
            parts: all,
            // Nothing is missing from parts that were scaled back.
            unknown: (whole - sum).max(Decimal::ZERO),
        })
    }

    /// The gold in it.
    pub fn gold(&self) -> Fineness {
        Fineness::of_sums(self.three_thousandths(Element::Au), Decimal::ONE)
            .unwrap_or(Fineness::NONE)
    }

    /// Parts of an element in three thousand.
    pub fn three_thousandths(&self, element: Element) -> Decimal {
        self.parts.get(element.place()).copied().unwrap_or_default()
    }

    /// Parts of an element in per mille, rounded to `decimals`.
    pub fn per_mille(&self, element: Element, decimals: u32) -> Decimal {
        fixed(self.three_thousandths(element) / Decimal::from(3), decimals)
    }

    /// The part of which nothing is known, in three thousand.
    pub fn unknown(&self) -> Decimal {
        self.unknown
    }

    /// The part of which nothing is known, in per mille, rounded to `decimals`.
    pub fn unknown_per_mille(&self, decimals: u32) -> Decimal {
        fixed(self.unknown / Decimal::from(3), decimals)
    }

    /// Whether every part of it is known, but for rounding.
    pub fn is_known(&self) -> bool {
        self.unknown <= SLACK
    }

    /// The composition of so much of each melted together; `None` when there is no mass.
    pub fn mixed<'a>(metals: impl IntoIterator<Item = (Mass, &'a Self)>) -> Option<Self> {
        let mut sums = Self {
            parts: [Decimal::ZERO; Element::COUNT],
            unknown: Decimal::ZERO,
        };
        let mut whole = Decimal::ZERO;
        for (mass, metal) in metals {
            let grams = mass.grams();
            whole += grams;
            for (sum, part) in sums.parts.iter_mut().zip(&metal.parts) {
                *sum += grams * part;
            }
            sums.unknown += grams * metal.unknown;
        }
        if whole <= Decimal::ZERO {
            return None;
        }
        for sum in &mut sums.parts {
            *sum /= whole;
        }
        sums.unknown /= whole;
        Some(sums)
    }
}

impl fmt::Display for Composition {
    /// `Au 750 Ag 125 Cu 125`, per mille, with what is unknown last.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut gap = "";
        for element in Element::all() {
            let part = self.per_mille(element, 1).normalize();
            if !part.is_zero() {
                write!(f, "{gap}{element} {part}")?;
                gap = " ";
            }
        }
        let unknown = self.unknown_per_mille(1).normalize();
        if !unknown.is_zero() {
            write!(f, "{gap}unknown {unknown}")?;
        }
        Ok(())
    }
}

impl FromStr for Composition {
    type Err = Trouble;

    /// Reads `Au 750 Ag 125 Cu 125` or `Au 750 unknown 250`: symbols and parts per mille.
    fn from_str(text: &str) -> Result<Self, Trouble> {
        let words: Vec<&str> = text
            .split([' ', ';'])
            .flat_map(typed_list)
            .filter(|word| !word.is_empty())
            .collect();
        let mut parts = Vec::new();
        for pair in words.chunks(2) {
            let [symbol, number] = pair else {
                return Err(trouble(&format!(
                    "\"{text}\" ends with a symbol without its part"
                )));
            };
            let ppt = typed_number_to(number, Decimal::ONE_THOUSAND)
                .map_err(|no| trouble(&format!("\"{number}\" is not a part per mille: {no}")))?;
            // What is unknown is what is missing; it may be said, and says nothing more.
            if !symbol.eq_ignore_ascii_case("unknown") {
                parts.push((symbol.parse()?, ppt));
            }
        }
        Self::stated(&parts)
    }
}

fn trouble(why: &str) -> Trouble {
    Trouble::new(
        "composition-unreadable",
        format!("A composition cannot be used: {why}."),
        "Nothing is reckoned with it.",
        "Write symbols with parts per mille, as in Au 750 Ag 125 Cu 125; what is missing to 1000 is unknown.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    fn c(text: &str) -> Composition {
        text.parse().unwrap()
    }

    #[test]
    fn parts_are_exact_and_what_is_missing_is_unknown() {
        assert_eq!(
            c("Au 750 Ag 125 Cu 125").to_string(),
            "Au 750 Ag 125 Cu 125"
        );
        for text in ["Au 750,5, Ag 125,Cu 124,5", "Au,750,5 Ag;125 Cu 124.5"] {
            assert_eq!(c(text).to_string(), "Au 750.5 Ag 125 Cu 124.5");
        }
        assert!(c("Au 750 Ag 125 Cu 125").is_known());
        assert_eq!(c("Au 750 Ag 125").to_string(), "Au 750 Ag 125 unknown 125");
        assert_eq!(
            Composition::of_gold("14k".parse().unwrap())
                .unknown_per_mille(2)
                .to_string(),
            "416.67"
        );
        assert_eq!(
            Composition::of_gold("14k".parse().unwrap()).gold(),
            "14k".parse().unwrap()
        );
    }

    #[test]
    fn rounding_is_forgiven_and_a_wrong_sum_is_not() {
        let rounded = c("Au 583.3 Ag 325 Cu 89.7 Zn 2.5");
        assert_eq!(rounded.gold(), "583.3".parse().unwrap());
        assert!(rounded.unknown().is_zero());
        // A trade page's recipe of 75 Au, 25 Cu and 5 Ag per cent adds up to 105.
        assert!("Au 750 Cu 250 Ag 50".parse::<Composition>().is_err());
        assert!("Au 750 Au 250".parse::<Composition>().is_err());
        assert!("Au 750 Ag".parse::<Composition>().is_err());
        assert!("Xx 750".parse::<Composition>().is_err());
    }

    #[test]
    fn mixing_is_by_mass() {
        let mass = |text: &str| text.parse::<Indication>().unwrap().mass();
        let (red, green) = (c("Au 750 Cu 250"), c("Au 750 Ag 250"));
        let mixed = Composition::mixed([(mass("1 g"), &red), (mass("3 g"), &green)]).unwrap();
        assert_eq!(mixed.to_string(), "Au 750 Ag 187.5 Cu 62.5");
        assert_eq!(Composition::mixed([]), None);
    }
}
