//! What an order was given on: the job that it is for, the state that its giver had seen, the
//! question that it answers, and an id of its own.
//!
//! Promises: a mark is the same for the same state, before and after a restart, and another as soon
//! as what a decision rests on has changed. Leaves to others: what a decision rests on, and
//! remembering the ids.

use std::fmt;
use std::str::FromStr;

use sha2::{Digest as _, Sha256};

use crate::trouble::Trouble;

/// A short mark of a state or of a question: the first eight hexadecimal digits of a SHA-256.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mark(u32);

impl Mark {
    /// The mark of these parts, in this order.
    pub fn of<T: AsRef<[u8]>>(parts: impl IntoIterator<Item = T>) -> Self {
        let mut hash = Sha256::new();
        for part in parts {
            let part = part.as_ref();
            // The length in front keeps two parts from being taken for one.
            hash.update((part.len() as u64).to_be_bytes());
            hash.update(part);
        }
        let [first, second, third, fourth, ..]: [u8; 32] = hash.finalize().into();
        Self(u32::from_be_bytes([first, second, third, fourth]))
    }
}

impl fmt::Display for Mark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:08x}", self.0)
    }
}

impl FromStr for Mark {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        let is_hex = text.len() == 8 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
        is_hex
            .then(|| u32::from_str_radix(text, 16).ok().map(Self))
            .flatten()
            .ok_or_else(|| {
                Trouble::new(
                    "mark-unreadable",
                    "The word that confirms an order, or says what was seen, is eight hexadecimal digits.",
                    "Nothing was changed.",
                    "Give it as the bench said it.",
                )
            })
    }
}

/// The id that its giver gave an order, so that the same order sent twice happens once.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct OrderId(String);

impl OrderId {
    /// The least and the most characters of one.
    pub const LENGTHS: std::ops::RangeInclusive<usize> = 8..=64;

    /// As text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for OrderId {
    type Err = Trouble;

    fn from_str(text: &str) -> Result<Self, Trouble> {
        let is_plain = text
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_'));
        if is_plain && Self::LENGTHS.contains(&text.len()) {
            return Ok(Self(text.to_owned()));
        }
        Err(Trouble::new(
            "order-id-odd",
            "An order's id has 8 to 64 letters, digits, dashes or underscores.",
            "Nothing was changed.",
            "Give each order an id of its own, as a random UUID.",
        ))
    }
}

impl fmt::Display for OrderId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What an order was given on. All of it may be left out, as by a person who types.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Terms {
    /// The ticket of the job that it is for.
    pub ticket: Option<String>,
    /// The mark of the state that its giver had seen.
    pub seen: Option<Mark>,
    /// The mark of the question that it says yes to.
    pub confirm: Option<Mark>,
    /// Its own id.
    pub id: Option<OrderId>,
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_is_of_its_parts_and_is_read_back() {
        let mark = Mark::of(["a", "bc"]);
        assert_eq!(mark, Mark::of(["a", "bc"]));
        assert_ne!(mark, Mark::of(["ab", "c"]));
        assert_eq!(mark.to_string().parse::<Mark>().unwrap(), mark);
        for odd in ["", "1234567", "123456789", "+1234567", "wxyzwxyz"] {
            assert!(odd.parse::<Mark>().is_err(), "{odd}");
        }
    }

    #[test]
    fn an_id_is_plain_and_long_enough() {
        assert!("0f3b-99_Zz".parse::<OrderId>().is_ok());
        for odd in [
            "",
            "short",
            "with space in it",
            "\u{1b}[2J-long",
            &"x".repeat(65),
        ] {
            assert!(odd.parse::<OrderId>().is_err(), "{odd}");
        }
    }
}
