//! The values of a settings file, key by key.
//!
//! Promises: every value of a wrong kind or out of bounds is told with its line, what was written
//! and how it is written right; a number is read from its digits, never through binary floating
//! point. Leaves to others: what the values mean.

use rust_decimal::Decimal;
use toml::Spanned;
use toml::de::DeValue;

use super::number::{Number, PerMille};
use super::section::{At, Section};
use crate::trouble::Trouble;

impl<'a> Section<'a> {
    /// A text.
    pub(super) fn text(&self, key: &str) -> Option<At<&'a str>> {
        let found = self.get(key)?;
        let text = found.get_ref().as_str();
        if text.is_none() {
            self.wrong_kind(key, found, "text in quotes belongs there");
        }
        Some(At {
            value: text?,
            at: found.span().start,
        })
    }

    /// A text that must be there.
    pub(super) fn needed_text(&self, key: &str) -> Option<At<&'a str>> {
        self.need(key);
        self.text(key)
    }

    /// A list of texts; empty when it is not written.
    pub(super) fn texts(&self, key: &str) -> Vec<String> {
        let Some(found) = self.get(key) else {
            return Vec::new();
        };
        let Some(list) = found.get_ref().as_array() else {
            self.wrong_kind(key, found, "a list of texts belongs there");
            return Vec::new();
        };
        let mut texts = Vec::new();
        for each in list {
            match each.get_ref().as_str() {
                Some(text) => texts.push(text.to_owned()),
                None => self.wrong_kind(key, each, "text in quotes belongs there"),
            }
        }
        texts
    }

    /// True or false.
    pub(super) fn truth(&self, key: &str) -> Option<bool> {
        let found = self.get(key)?;
        let truth = found.get_ref().as_bool();
        if truth.is_none() {
            self.wrong_kind(key, found, "true or false belongs there, without quotes");
        }
        truth
    }

    /// A number, inside its bounds; its default when it is not written, and none when it is wrong.
    pub(super) fn number(&self, number: &Number) -> Option<Decimal> {
        let Some(found) = self.get(number.key) else {
            return Some(number.usual());
        };
        let Some(written) = plain_number(found.get_ref()) else {
            self.wrong_kind(
                number.key,
                found,
                "a number in plain digits belongs there, without quotes",
            );
            return None;
        };
        self.inside(number, written, found)
    }

    /// A whole number that is not in the table of numbers.
    pub(super) fn whole(&self, key: &str) -> Option<i64> {
        let found = self.get(key)?;
        let whole = match found.get_ref() {
            DeValue::Integer(number) if number.radix() == 10 => number.as_str().parse().ok(),
            _ => None,
        };
        if whole.is_none() {
            self.wrong_kind(key, found, "a whole number belongs there, without quotes");
        }
        whole
    }

    /// A number of parts per thousand, written as text.
    pub(super) fn per_mille(&self, number: &Number) -> Option<PerMille> {
        let Some(found) = self.get(number.key) else {
            return Some(PerMille::of(number.usual()));
        };
        let text = self.text(number.key)?;
        match PerMille::parse(text.value) {
            Ok(share) => self.inside(number, share.amount(), found).map(PerMille::of),
            Err(why) => {
                self.refuse(
                    number.key,
                    &format!("That is not a share of gold: {why}."),
                    "",
                );
                None
            }
        }
    }

    /// What a text stands for; none, and the trouble with its place, when it cannot be read.
    pub(super) fn parsed<T: std::str::FromStr<Err = Trouble>>(&self, key: &str) -> Option<At<T>> {
        let text = self.needed_text(key)?;
        match text.value.parse() {
            Ok(value) => Some(At { value, at: text.at }),
            Err(inner) => {
                self.refuse(key, &inner.happened, &inner.mend);
                None
            }
        }
    }

    /// One of a few words.
    pub(super) fn word<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Option<T> {
        let text = self.text(key)?;
        let found = words.iter().find(|(word, _)| *word == text.value);
        if found.is_none() {
            let all: Vec<String> = words
                .iter()
                .map(|(word, _)| format!("\"{word}\""))
                .collect();
            self.refuse(
                key,
                "That is not known here.",
                &format!("Known are {}.", all.join(", ")),
            );
        }
        found.map(|(_, value)| *value)
    }

    /// Every entry of a table whose keys are the person's own: key and value, both texts.
    pub(super) fn entries(&self, key: &str, what: &str) -> Option<Vec<(At<&'a str>, &'a str)>> {
        let found = self.get(key)?;
        let Some(table) = found.get_ref().as_table() else {
            self.wrong_kind(key, found, "a table belongs there");
            return None;
        };
        let mut entries = Vec::new();
        for (symbol, value) in table {
            let at = symbol.span().start;
            match value.get_ref().as_str() {
                Some(text) => entries.push((
                    At {
                        value: symbol.get_ref().as_ref(),
                        at,
                    },
                    text,
                )),
                None => self.reading.fault(
                    at,
                    "settings-wrong-kind",
                    format!(
                        "{} gives {what} {:?} no text.",
                        self.reading.source.line_of(at),
                        symbol.get_ref()
                    ),
                    "Write both sides in quotes.",
                ),
            }
        }
        entries.sort_by_key(|(symbol, _)| symbol.at);
        Some(entries)
    }

    fn inside(
        &self,
        number: &Number,
        written: Decimal,
        found: &Spanned<DeValue<'a>>,
    ) -> Option<Decimal> {
        if number.holds(written) {
            return Some(written);
        }
        self.reading.fault(
            found.span().start,
            "settings-out-of-bounds",
            format!(
                "{} It must be {}.",
                self.as_read(number.key, found),
                number.bounds()
            ),
            format!(
                "Write a number inside these bounds, or take the line out; the default is {}.",
                number.usual()
            ),
        );
        None
    }
}

/// A number as plain decimal digits: no exponent, no other base, no infinity.
fn plain_number(value: &DeValue<'_>) -> Option<Decimal> {
    match value {
        DeValue::Integer(number) if number.radix() == 10 => {
            Decimal::from_str_exact(number.as_str()).ok()
        }
        DeValue::Float(number) => Decimal::from_str_exact(number.as_str()).ok(),
        _ => None,
    }
}
