//! The short names of benches and metals.
//!
//! Promises: a name can be typed in any shell, said aloud and put into a path. Leaves to others:
//! what it names.

use std::fmt;
use std::str::FromStr;

use super::trouble::MEANS;
use crate::trouble::Trouble;

/// The longest name.
const LONGEST: usize = 32;

/// ASCII letters, digits and `-`, beginning with a letter or digit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Name(String);

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for Name {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        let fits = text.len() <= LONGEST
            && text.starts_with(|c: char| c.is_ascii_alphanumeric())
            && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
        fits.then(|| Self(text.to_owned())).ok_or_else(|| {
            Trouble::new(
                "settings-value",
                "That is no short name.",
                MEANS,
                format!(
                    "Use letters from A to Z, digits and -, at most {LONGEST} of them, and begin with a letter or digit."
                ),
            )
        })
    }
}

/// Whether a name is taken, whatever the case of its letters: two that differ only so are one when
/// they are said aloud.
pub(super) fn is_taken<'a>(name: &str, mut earlier: impl Iterator<Item = &'a str>) -> bool {
    earlier.any(|taken| taken.eq_ignore_ascii_case(name))
}
