//! Words that stand in lines in the trade: units, what a mass is of, signs.
//!
//! Promises: plain words and standard abbreviations only; a word that can mean two units is only a
//! hint that a unit stands there, never which. Leaves to others: the proof by a check weight.

use crate::balance::layout::Sign;
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

/// Bytes that are a minus beside that of ASCII: the minus sign, the dashes that stand for it, as
/// Unicode numbers them (U+2212, U+2010 to U+2013, U+FE63, U+FF0D), and the dash of old code pages.
const GLYPHS: [&[u8]; 8] = [
    b"\xE2\x88\x92",
    b"\xE2\x80\x90",
    b"\xE2\x80\x91",
    b"\xE2\x80\x92",
    b"\xE2\x80\x93",
    b"\xEF\xB9\xA3",
    b"\xEF\xBC\x8D",
    b"\x96",
];

/// The width of a minus that stands here and is no byte of ASCII.
pub(super) fn glyph_at(line: &[u8], at: usize) -> Option<usize> {
    let rest = line.get(at..)?;
    let glyph = GLYPHS.iter().find(|glyph| rest.starts_with(glyph))?;
    // A single byte among others of its kind is a letter, or part of one.
    let high = |at: Option<usize>| {
        at.and_then(|at| line.get(at))
            .is_some_and(|byte| *byte >= 0x80)
    };
    let alone = !high(at.checked_sub(1)) && !high(at.checked_add(1));
    (glyph.len() > 1 || alone).then_some(glyph.len())
}

/// The sign that a symbol can only mean.
pub(super) fn sign(word: &[u8]) -> Option<Sign> {
    if GLYPHS.contains(&word) {
        return Some(Sign::Minus);
    }
    match text(word).as_str() {
        "-" | "minus" | "neg" | "negative" => Some(Sign::Minus),
        "+" | "plus" | "pos" | "positive" => Some(Sign::Plus),
        _ => None,
    }
}

/// The sign that a symbol would mean if it meant one.
pub(super) fn hinted_sign(word: &[u8]) -> Option<Sign> {
    match text(word).as_str() {
        "n" | "m" | "()" | "(" | ")" => Some(Sign::Minus),
        "p" => Some(Sign::Plus),
        _ => sign(word),
    }
}

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
