//! The colour of an alloy from its composition: its designation, and its handbook family.
//!
//! Promises: exact sums, no guess where too much is unknown or no rule reaches. Leaves to others:
//! measured colour. The standard (ISO 8654) defines colours by measurement, not recipes; a range of
//! compositions only says which of its colours an alloy of gold, silver and copper comes near.

use std::fmt;

use rust_decimal::Decimal;

use super::{Colour, Composition, Element};

/// A colour designation of ISO 8654 that a range of compositions belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Designation {
    /// Green-yellow, near 585 per mille.
    N0,
    /// Pale yellow, near 585 per mille.
    N1,
    /// Light yellow, near 750 per mille.
    N2,
    /// Yellow, near 750 per mille.
    N3,
    /// Pink, near 750 per mille.
    N4,
    /// Red, near 750 per mille.
    N5,
}

/// Designation, as written, colour in words, gold, least and most silver, in per mille; the rest
/// copper.
///
/// The colours in words were read at second hand; the ranges are from memory, and six recipes that
/// a collectors' forum gives beside the designations all fall inside them. 8N (nickel white) is
/// left out, since no composition was found for it.
const RANGES: [(Designation, &str, &str, i64, i64, i64); 6] = [
    (Designation::N0, "0N", "green-yellow", 585, 300, 340),
    (Designation::N1, "1N", "pale yellow", 585, 240, 265),
    (Designation::N2, "2N", "light yellow", 750, 150, 160),
    (Designation::N3, "3N", "yellow", 750, 120, 130),
    (Designation::N4, "4N", "pink", 750, 85, 95),
    (Designation::N5, "5N", "red", 750, 45, 55),
];
/// How far the gold may be from that of a designation, and how much may be other than gold, silver
/// and copper or unknown, in per mille. Our choice: about what 14 karat and a refiner's rounding
/// need.
const GOLD_NEAR: i64 = 5;
const ELSE_AT_MOST: i64 = 5;

impl Designation {
    /// The designation that a composition comes near; none outside the ranges, and none for an
    /// alloy that holds more than a trace of anything but gold, silver and copper.
    pub fn of(composition: &Composition) -> Option<Self> {
        let of = |element| composition.three_thousandths(element);
        let (gold, silver, copper) = (of(Element::Au), of(Element::Ag), of(Element::Cu));
        let other = ppt(1000) - gold - silver - copper;
        if other > ppt(ELSE_AT_MOST) {
            return None;
        }
        RANGES
            .iter()
            .find(|(_, _, _, au, least, most)| {
                (gold - ppt(*au)).abs() <= ppt(GOLD_NEAR)
                    && silver >= ppt(*least)
                    && silver <= ppt(*most)
            })
            .map(|row| row.0)
    }

    /// The colour in words.
    pub fn words(self) -> &'static str {
        self.row().map_or("", |row| row.2)
    }

    fn row(self) -> Option<&'static (Self, &'static str, &'static str, i64, i64, i64)> {
        RANGES.iter().find(|row| row.0 == self)
    }
}

impl fmt::Display for Designation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.row().map_or("", |row| row.1))
    }
}

/// What makes a white gold white.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Whitener {
    /// Nickel, more of it than of palladium and platinum.
    Nickel,
    /// Palladium or platinum.
    Palladium,
    /// Zinc, with too little of the others to do it alone.
    Zinc,
}

/// The family of a gold's colour, as handbooks and the trade name them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Family {
    /// Red.
    Red,
    /// Between red and pink at 18 karat: red by the standard's 5N, sold as rose and as pink.
    Rose,
    /// Pink.
    Pink,
    /// Yellow.
    Yellow,
    /// Pale yellow; old handbooks call some of it white.
    PaleYellow,
    /// Green-yellow and green.
    Green,
    /// White.
    White(Whitener),
    /// Grey.
    Grey,
    /// Blue.
    Blue,
}

/// Why no family can be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NotKnown {
    /// So much of it is unknown that the colour could be another.
    TooMuchUnknown,
    /// It holds less gold than any gold alloy that the rules were made from.
    LittleGold,
    /// It lies between the alloys that the rules were made from.
    NoRule,
}

impl fmt::Display for NotKnown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooMuchUnknown => "not known, since too much of what is in it is unknown",
            Self::LittleGold => "not known, since it holds too little gold for the rules",
            Self::NoRule => "not known, since no known alloy is near it",
        })
    }
}

impl Family {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Red => "red",
            Self::Rose => "rose",
            Self::Pink => "pink",
            Self::Yellow => "yellow",
            Self::PaleYellow => "pale yellow",
            Self::Green => "green",
            Self::White(Whitener::Nickel) => "white by nickel",
            Self::White(Whitener::Palladium) => "white by palladium",
            Self::White(Whitener::Zinc) => "white by zinc",
            Self::Grey => "grey",
            Self::Blue => "blue",
        }
    }

    /// The family of a composition.
    ///
    /// The rules were drawn so that the coloured golds of Henley's "Twentieth Century Formulas",
    /// the standard golds of T. K. Rose ("The Metallurgy of Gold", table XIII), public lists and
    /// trade pages fall where they are named; the limits between them are ours:
    ///
    /// - iron from 150 per mille, or indium from 400, blue (Henley: 250 iron; the compound `AuIn2`);
    ///   iron from 30, grey (Henley: 60);
    /// - nickel, palladium and platinum together from 100 per mille, white (trade pages and a forum:
    ///   110 to 177); zinc from 150 with no more copper than zinc, white (ours, no alloy to check it by);
    /// - gold from 900 per mille, yellow (public lists: 22 karat);
    /// - else by the share of silver against copper, zinc and cadmium counted as three times as
    ///   much silver, in steps that lie higher the more gold there is.
    pub fn of(composition: &Composition) -> Result<Self, NotKnown> {
        let of = |element| composition.three_thousandths(element);
        if composition.unknown() > ppt(UNKNOWN_AT_MOST) {
            return Err(NotKnown::TooMuchUnknown);
        }
        let gold = of(Element::Au);
        if gold < ppt(GOLD_AT_LEAST) {
            return Err(NotKnown::LittleGold);
        }
        if of(Element::Fe) >= ppt(150) || of(Element::In) >= ppt(400) {
            return Ok(Self::Blue);
        }
        if of(Element::Fe) >= ppt(30) {
            return Ok(Self::Grey);
        }
        let (nickel, noble) = (of(Element::Ni), of(Element::Pd) + of(Element::Pt));
        if nickel + noble >= ppt(100) {
            return Ok(Self::White(if nickel > noble {
                Whitener::Nickel
            } else {
                Whitener::Palladium
            }));
        }
        if of(Element::Zn) >= ppt(150) && of(Element::Cu) <= of(Element::Zn) {
            return Ok(Self::White(Whitener::Zinc));
        }
        let others = [
            Element::Ni,
            Element::Pd,
            Element::Pt,
            Element::In,
            Element::Sn,
            Element::Fe,
            Element::Pb,
        ];
        if others.into_iter().map(of).sum::<Decimal>() > ppt(OTHERS_AT_MOST) {
            return Err(NotKnown::NoRule);
        }
        if gold >= ppt(900) {
            return Ok(Self::Yellow);
        }
        let pale = of(Element::Ag) + Decimal::from(3) * (of(Element::Zn) + of(Element::Cd));
        let share = pale
            .checked_div(pale + of(Element::Cu))
            .ok_or(NotKnown::NoRule)?;
        Ok(Self::by_share(gold, share))
    }

    /// The family by the share of what pales in what pales and reddens.
    fn by_share(gold: Decimal, share: Decimal) -> Self {
        // From so much gold, the upper ends in per mille of the share for each family.
        let steps: &[(i64, Self)] = if gold >= ppt(650) {
            &[
                (50, Self::Red),
                (280, Self::Rose),
                (420, Self::Pink),
                (570, Self::Yellow),
                (780, Self::PaleYellow),
            ]
        } else if gold >= ppt(450) {
            &[
                (220, Self::Red),
                (360, Self::Pink),
                (570, Self::Yellow),
                (690, Self::PaleYellow),
            ]
        } else {
            &[
                (220, Self::Red),
                (360, Self::Pink),
                (780, Self::Yellow),
                (1000, Self::PaleYellow),
            ]
        };
        steps
            .iter()
            .find(|(end, _)| share <= Decimal::new(*end, 3))
            .map_or(Self::Green, |(_, family)| *family)
    }
}

impl fmt::Display for Family {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// How much may be unknown, how much gold there must be, and how much of what the rules by silver
/// and copper do not reckon with there may be, in per mille. Ours.
const UNKNOWN_AT_MOST: i64 = 20;
const GOLD_AT_LEAST: i64 = 330;
const OTHERS_AT_MOST: i64 = 20;

/// Whether a composition is of the colour asked for, as far as it can be told; none when it cannot.
/// Rose answers to red and to pink; the light yellow of 2N is sold as yellow too (trade page).
pub fn answers(composition: &Composition, asked: Colour) -> Option<bool> {
    let family = Family::of(composition).ok()?;
    Some(match asked {
        Colour::Yellow => {
            family == Family::Yellow || Designation::of(composition) == Some(Designation::N2)
        }
        Colour::PaleYellow => family == Family::PaleYellow,
        Colour::Pink => matches!(family, Family::Pink | Family::Rose),
        Colour::Red => matches!(family, Family::Red | Family::Rose),
        Colour::Green => family == Family::Green,
        Colour::White => matches!(family, Family::White(_)),
    })
}

/// So many per mille, in three-thousandths.
pub(super) fn ppt(per_mille: i64) -> Decimal {
    Decimal::from(per_mille * 3)
}
