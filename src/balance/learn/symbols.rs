//! Words that stand in lines in the trade: units, what a mass is of, signs.
//!
//! Promises: plain words and standard abbreviations only; a word that can mean two units is only a
//! hint that a unit stands there, never which. Leaves to others: the proof by a check weight.

use crate::mass::Unit;

/// What the mass of a line is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Of {
    Tare,
    Gross,
    Net,
}

/// Abbreviations of units beside the symbols that are taken without doubt.
const LIKE_UNITS: [&str; 38] = [
    "gr", "grs", "gm", "gms", "grm", "gram", "grams", "gn", "grn", "gran", "kgs", "c", "k", "kt",
    "car", "carat", "cts", "cm", "pwt", "dw", "oz", "ozs", "t.oz", "toz", "ozt", "oz.t", "ozav",
    "lbs", "t", "tl", "tael", "tola", "tol", "to", "mom", "m", "mo", "tlh",
];

/// Symbols that mean one unit only, as written into a learned file: what a unit key may show.
pub(super) const PLAIN: [(&str, Unit); 6] = [
    ("g", Unit::Gram),
    ("mg", Unit::Milligram),
    ("kg", Unit::Kilogram),
    ("ct", Unit::Carat),
    ("dwt", Unit::Pennyweight),
    ("ozt", Unit::TroyOunce),
];

fn text(word: &[u8]) -> String {
    String::from_utf8_lossy(word).to_ascii_lowercase()
}

/// Whether a word looks like the symbol of a unit.
pub(super) fn like_unit(word: &[u8]) -> bool {
    let word = text(word);
    word.parse::<Unit>().is_ok() || LIKE_UNITS.contains(&word.as_str())
}

/// The unit of a symbol that means one thing only, whatever its case.
pub(super) fn plain_unit(word: &[u8]) -> Option<Unit> {
    let word = text(word);
    // An ounce is not said to be which.
    word.parse().ok().filter(|unit| *unit != Unit::Ounce)
}

/// What a word says the mass is of.
pub(super) fn of(word: &[u8]) -> Option<Of> {
    match text(word).as_str() {
        "n" | "nt" | "net" | "nett" | "netto" => Some(Of::Net),
        "g" | "gs" | "gr" | "gross" | "b" | "bt" | "brutto" => Some(Of::Gross),
        "t" | "tr" | "pt" | "tare" | "tara" => Some(Of::Tare),
        _ => None,
    }
}
