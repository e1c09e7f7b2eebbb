//! Units of mass, each with its exact size in grams.
//!
//! Sources: pound 453.592 37 g and grain 1/7000 pound (Hong Kong Weights and Measures Ordinance,
//! Cap. 68, Schedule 1; UK Weights and Measures Act 1985, Schedule 1); troy ounce
//! 31.103 476 8 g (UK S.I. 1994/2867); metric carat 0.2 g (4th CGPM, 1907); tola 180 grains;
//! momme 3.75 g (Japan, 1891); Hong Kong tael 1/16 catty of 0.604 789 82 kg (Cap. 68). The
//! gold-trade, Taiwan and Singapore taels are trade values, common practice.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use crate::trouble::Trouble;

/// A unit of mass. Carat here is always the mass of 0.2 g, never a fineness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Unit {
    /// 0.001 g.
    Milligram,
    /// The gram.
    Gram,
    /// 1000 g.
    Kilogram,
    /// Metric carat, 0.2 g.
    Carat,
    /// 0.064 798 91 g.
    Grain,
    /// 24 grains, 1.555 173 84 g.
    Pennyweight,
    /// 480 grains, 31.103 476 8 g.
    TroyOunce,
    /// Avoirdupois ounce, 28.349 523 125 g.
    Ounce,
    /// Avoirdupois pound, 453.592 37 g.
    Pound,
    /// 3.75 g.
    Momme,
    /// 180 grains, 11.663 803 8 g.
    Tola,
    /// Statutory tael of Hong Kong, 37.799 363 75 g.
    TaelHongKong,
    /// Tael of the Hong Kong gold trade, 37.429 g (trade value).
    TaelHongKongGold,
    /// Tael of Taiwan, 37.5 g (conventional).
    TaelTaiwan,
    /// Tael of Singapore, 37.799 364 g (conventional, rounded).
    TaelSingapore,
}

/// Unit, symbol, spelled-out plural, grams as (mantissa, decimals).
const TABLE: [(Unit, &str, &str, i64, u32); 15] = [
    (Unit::Milligram, "mg", "milligrams", 1, 3),
    (Unit::Gram, "g", "grams", 1, 0),
    (Unit::Kilogram, "kg", "kilograms", 1_000, 0),
    (Unit::Carat, "ct", "carats", 2, 1),
    (Unit::Grain, "grain", "grains", 6_479_891, 8),
    (Unit::Pennyweight, "dwt", "pennyweights", 155_517_384, 8),
    (Unit::TroyOunce, "ozt", "troy ounces", 311_034_768, 7),
    (Unit::Ounce, "oz", "avoirdupois ounces", 28_349_523_125, 9),
    (Unit::Pound, "lb", "avoirdupois pounds", 45_359_237, 5),
    (Unit::Momme, "momme", "momme", 375, 2),
    (Unit::Tola, "tola", "tolas", 116_638_038, 7),
    (
        Unit::TaelHongKong,
        "tael-hk",
        "Hong Kong taels",
        3_779_936_375,
        8,
    ),
    (
        Unit::TaelHongKongGold,
        "tael-hk-gold",
        "Hong Kong gold-trade taels",
        37_429,
        3,
    ),
    (Unit::TaelTaiwan, "tael-tw", "Taiwan taels", 375, 1),
    (
        Unit::TaelSingapore,
        "tael-sg",
        "Singapore taels",
        37_799_364,
        6,
    ),
];

impl Unit {
    /// Every unit, smallest talk first.
    pub fn all() -> impl Iterator<Item = Self> {
        TABLE.iter().map(|row| row.0)
    }

    fn row(self) -> &'static (Self, &'static str, &'static str, i64, u32) {
        // The table holds every variant (tested), so the first row is never used in its place.
        TABLE.iter().find(|row| row.0 == self).unwrap_or(&TABLE[1])
    }

    /// The unambiguous symbol, as written in files and orders.
    pub fn symbol(self) -> &'static str {
        self.row().1
    }

    /// The name spelled out, in the plural, for people.
    pub fn name(self) -> &'static str {
        self.row().2
    }

    /// Grams in one of this unit, exactly.
    pub fn grams(self) -> Decimal {
        let row = self.row();
        Decimal::new(row.3, row.4)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

impl FromStr for Unit {
    type Err = Trouble;

    /// Reads an unambiguous symbol. `gr`, `t`, `tael` and `k` are refused with what they could
    /// mean.
    fn from_str(text: &str) -> Result<Self, Trouble> {
        if let Some(row) = TABLE.iter().find(|row| row.1 == text) {
            return Ok(row.0);
        }
        let could = match text.to_ascii_lowercase().as_str() {
            "gr" | "gn" => "\"gr\" could be grams or grains; write g or grain",
            "t" | "tl" | "tael" => {
                "a tael could be tael-hk, tael-hk-gold, tael-tw or tael-sg, and t could be a ton; write which"
            }
            "k" | "kt" | "karat" => {
                "karat is a fineness, not a mass; the carat of 0.2 g is written ct"
            }
            "carat" | "carats" => "write ct for the carat of 0.2 g",
            "gram" | "grams" => "write g",
            _ => {
                "known are mg, g, kg, ct, grain, dwt, ozt, oz, lb, momme, tola, tael-hk, tael-hk-gold, tael-tw, tael-sg"
            }
        };
        Err(Trouble::new(
            "unit-unknown",
            format!("\"{text}\" is not a unit that can be taken without doubt."),
            "No mass is taken from it.",
            format!("Use another symbol: {could}."),
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_holds_every_unit_once() {
        for unit in Unit::all() {
            assert_eq!(unit.row().0, unit);
            assert_eq!(unit.symbol().parse::<Unit>().unwrap(), unit);
        }
        assert_eq!(Unit::TaelSingapore as usize + 1, TABLE.len());
    }

    #[test]
    fn ambiguous_symbols_are_refused_with_their_meanings() {
        for (symbol, word) in [
            ("gr", "grain"),
            ("t", "ton"),
            ("kt", "fineness"),
            ("tael", "which"),
        ] {
            let trouble = symbol.parse::<Unit>().unwrap_err();
            assert!(trouble.mend.contains(word), "{symbol}: {trouble}");
        }
    }
}
