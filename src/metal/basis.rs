//! What a lot's fineness rests on.

use std::fmt;
use std::str::FromStr;

use crate::trouble::Trouble;

/// What a stated fineness rests on, from a mark to a fire assay. How far each may be believed
/// belongs to the melt's uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Basis {
    /// A mark struck on the goods.
    Stamp,
    /// A streak on the touchstone against needles and acid.
    Touchstone,
    /// X-ray fluorescence.
    Xrf,
    /// Cupellation and parting.
    FireAssay,
    /// Stated by somebody, on their own word or paper.
    Declared,
}

impl Basis {
    /// Every basis with the word that files and orders use.
    pub const WORDS: [(&'static str, Self); 5] = [
        ("stamp", Self::Stamp),
        ("touchstone", Self::Touchstone),
        ("xrf", Self::Xrf),
        ("fire-assay", Self::FireAssay),
        ("declared", Self::Declared),
    ];
}

impl fmt::Display for Basis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = Self::WORDS
            .iter()
            .find(|(_, basis)| basis == self)
            .map_or("", |(word, _)| word);
        f.write_str(word)
    }
}

impl FromStr for Basis {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        one_of(&Self::WORDS, text, "basis-unknown", "basis of a fineness")
    }
}

/// The value that a word stands for, or a trouble that lists the words.
pub(super) fn one_of<T: Copy>(
    words: &[(&'static str, T)],
    text: &str,
    code: &'static str,
    what: &str,
) -> Result<T, Trouble> {
    let wanted = text.trim().to_ascii_lowercase();
    words
        .iter()
        .find(|(word, _)| *word == wanted)
        .map(|(_, value)| *value)
        .ok_or_else(|| {
            let known: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
            Trouble::new(
                code,
                format!("\"{text}\" is not a known {what}."),
                "Nothing is taken from it.",
                format!("Use one of: {}.", known.join(", ")),
            )
        })
}
