//! How a composition splits: silver against copper, and its place among gold, silver and copper.
//!
//! Promises: shares that are worked out from exact parts, with what is outside them told beside.
//! Leaves to others: what colour that makes (`colour`).

use rust_decimal::Decimal;

use super::colour::ppt;
use super::{Composition, Element};

/// How what is not gold splits, in shares of it from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Split {
    /// Silver.
    pub silver: Decimal,
    /// Copper.
    pub copper: Decimal,
    /// Everything else that is known.
    pub other: Decimal,
    /// Unknown.
    pub unknown: Decimal,
}

impl Split {
    /// The split of a composition; none for pure gold.
    pub fn of(composition: &Composition) -> Option<Self> {
        let of = |element| composition.three_thousandths(element);
        let rest = ppt(1000) - of(Element::Au);
        let share = |part: Decimal| part.checked_div(rest);
        let known = rest - composition.unknown();
        Some(Self {
            silver: share(of(Element::Ag))?,
            copper: share(of(Element::Cu))?,
            other: share((known - of(Element::Ag) - of(Element::Cu)).max(Decimal::ZERO))?,
            unknown: share(composition.unknown())?,
        })
    }
}

/// The share of silver in the silver and copper together, from 0 to 1; none when there is neither.
pub fn silver_share(composition: &Composition) -> Option<Decimal> {
    let silver = composition.three_thousandths(Element::Ag);
    silver.checked_div(silver + composition.three_thousandths(Element::Cu))
}

/// A point of the triangle of gold, silver and copper with sides of one: silver at (0, 0), copper
/// at (1, 0), gold at the top.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ternary {
    /// From the left.
    pub x: Decimal,
    /// From the bottom.
    pub y: Decimal,
    /// What lies outside the three, unknown included, in per mille of the whole: the point does
    /// not show it.
    pub outside: Decimal,
}

/// Where a composition lies among gold, silver and copper, taken to be the whole; none when it
/// holds none of them.
pub fn ternary(composition: &Composition) -> Option<Ternary> {
    let of = |element| composition.three_thousandths(element);
    let (gold, copper) = (of(Element::Au), of(Element::Cu));
    let whole = gold + copper + of(Element::Ag);
    let gold = gold.checked_div(whole)?;
    let copper = copper.checked_div(whole)?;
    // sqrt(3)/2 = 0.866 025 403 784 438 646 763 723 170 8
    let height = Decimal::from_i128_with_scale(8_660_254_037_844_386_467_637_231_708, 28);
    Some(Ternary {
        x: copper + gold / Decimal::TWO,
        y: gold * height,
        outside: (ppt(1000) - whole).max(Decimal::ZERO) / Decimal::from(3),
    })
}
