//! The tables of a settings file, and what is found wrong in them.
//!
//! Promises: every key that is not known is told with its line and the nearest known one; reading
//! goes on after a fault, so that all of them are told at once. Leaves to others: values (`value`),
//! and what they mean.

use std::cell::RefCell;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::source::Source;
use super::trouble::MEANS;
use crate::trouble::Trouble;

/// A table that is known, with its keys and how each is written.
#[derive(Debug)]
pub(super) struct Known {
    /// As people write it: `[bench.pan]`.
    pub(super) table: &'static str,
    /// Key and an example of its value.
    pub(super) keys: &'static [(&'static str, &'static str)],
}

impl Known {
    fn example(&self, key: &str) -> &'static str {
        self.keys
            .iter()
            .find(|(known, _)| *known == key)
            .map_or("...", |(_, example)| example)
    }

    fn nearest(&self, typed: &str) -> Option<&'static str> {
        super::nearest(typed, self.keys.iter().map(|(key, _)| *key))
    }
}

/// One file being read, and what was found wrong so far.
pub(super) struct Reading<'a> {
    pub(super) source: &'a Source,
    faults: RefCell<Vec<(usize, Trouble)>>,
}

/// A value, and where it stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct At<T> {
    pub(super) value: T,
    pub(super) at: usize,
}

/// A table of the file; one that is not written has no entries.
pub(super) struct Section<'a> {
    pub(super) reading: &'a Reading<'a>,
    known: &'static Known,
    entries: Option<&'a DeTable<'a>>,
    at: usize,
}

impl<'a> Reading<'a> {
    pub(super) fn new(source: &'a Source) -> Self {
        Self {
            source,
            faults: RefCell::default(),
        }
    }

    /// The file as tables; none, and a fault, when it is no TOML.
    pub(super) fn parse(&self) -> Option<Spanned<DeTable<'a>>> {
        DeTable::parse(&self.source.text)
            .map_err(|error| {
                let at = error.span().map_or(0, |span| span.start);
                let (line, column) = self.source.place(at);
                self.fault(
                    at,
                    "settings-syntax",
                    format!(
                        "Line {line} of {} cannot be read at column {column}, in {}: {}.",
                        self.source.name,
                        self.source.whole_line(at),
                        error.message()
                    ),
                    "Look there for a quote, bracket or equals sign that is missing or too much; text, masses and finenesses stand in quotes, as in division = \"0.01 g\".",
                );
            })
            .ok()
    }

    /// Notes what is wrong at a place.
    pub(super) fn fault(
        &self,
        at: usize,
        code: &'static str,
        happened: String,
        mend: impl Into<String>,
    ) {
        let trouble = Trouble::new(code, happened, MEANS, mend);
        self.faults.borrow_mut().push((at, trouble));
    }

    /// Everything that was wrong, in the order of the file.
    pub(super) fn faults(self) -> Vec<Trouble> {
        let mut faults = self.faults.into_inner();
        faults.sort_by_key(|(at, _)| *at);
        faults.into_iter().map(|(_, trouble)| trouble).collect()
    }
}

impl<'a> Section<'a> {
    /// The top of a file.
    pub(super) fn top(
        reading: &'a Reading<'a>,
        known: &'static Known,
        file: &'a Spanned<DeTable<'a>>,
    ) -> Self {
        Self::open(reading, known, file.get_ref(), 0)
    }

    fn open(
        reading: &'a Reading<'a>,
        known: &'static Known,
        entries: &'a DeTable<'a>,
        at: usize,
    ) -> Self {
        for key in entries.keys() {
            let typed = key.get_ref().as_ref();
            if !known.keys.iter().any(|(known, _)| *known == typed) {
                let nearest = known.nearest(typed).map_or_else(String::new, |nearest| {
                    format!("The nearest known one is \"{nearest}\". ")
                });
                let all: Vec<&str> = known.keys.iter().map(|(key, _)| *key).collect();
                reading.fault(
                    key.span().start,
                    "settings-unknown-key",
                    format!(
                        "{} has \"{typed}\", which is not known in {}.",
                        reading.source.line_of(key.span().start),
                        known.table
                    ),
                    format!(
                        "{nearest}Known in {} {} {}.",
                        known.table,
                        if all.len() == 1 { "is" } else { "are" },
                        all.join(", ")
                    ),
                );
            }
        }
        Self {
            reading,
            known,
            entries: Some(entries),
            at,
        }
    }

    /// The keys that the table may have.
    pub(super) fn known_keys(&self) -> impl Iterator<Item = &'static str> {
        self.known.keys.iter().map(|(key, _)| *key)
    }

    /// A table inside this one.
    pub(super) fn table(&self, key: &str, known: &'static Known) -> Section<'a> {
        let none = Section {
            reading: self.reading,
            known,
            entries: None,
            at: self.at,
        };
        let Some(found) = self.get(key) else {
            return none;
        };
        let at = found.span().start;
        if let Some(entries) = found.get_ref().as_table() {
            Section::open(self.reading, known, entries, at)
        } else {
            self.wrong_kind(key, found, "a table belongs there");
            none
        }
    }

    /// A table inside this one that must be there.
    pub(super) fn needed_table(&self, key: &str, known: &'static Known) -> Section<'a> {
        self.need(key);
        self.table(key, known)
    }

    /// Whether a key is written.
    pub(super) fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// Every table of a list of tables.
    pub(super) fn tables(&self, key: &str, known: &'static Known) -> Vec<Section<'a>> {
        let Some(found) = self.get(key) else {
            return Vec::new();
        };
        let Some(list) = found.get_ref().as_array() else {
            self.wrong_kind(key, found, "a list of tables belongs there");
            return Vec::new();
        };
        let mut sections = Vec::new();
        for each in list {
            if let Some(entries) = each.get_ref().as_table() {
                let at = each.span().start;
                sections.push(Section::open(self.reading, known, entries, at));
            } else {
                self.wrong_kind(key, each, "a table belongs there");
            }
        }
        sections
    }

    /// Notes that a value cannot be used, in a sentence about it.
    pub(super) fn refuse(&self, key: &str, why: &str, mend: &str) {
        let Some(found) = self.get(key) else { return };
        let mend = if mend.is_empty() {
            self.as_in(key)
        } else {
            mend.to_owned()
        };
        self.reading.fault(
            found.span().start,
            "settings-value",
            format!("{} {why}", self.as_read(key, found)),
            mend,
        );
    }

    /// Notes that a key must be there, if it is not. Of a table that is not there itself, its own
    /// absence is told and not that of each key.
    pub(super) fn need(&self, key: &str) {
        if self.entries.is_some() && !self.has(key) && !self.is_misspelt(key) {
            let source = self.reading.source;
            let head = if self.known.table.starts_with('[') {
                let (line, _) = source.place(self.at);
                format!("{} at line {line} of {}", self.known.table, source.name)
            } else {
                source.name.clone()
            };
            self.reading.fault(
                self.at,
                "settings-key-missing",
                format!("{head} has no {key}."),
                format!("Add it, as in {key} = {}.", self.known.example(key)),
            );
        }
    }

    /// Whether a key that is not known is most likely this one, and told as such already.
    fn is_misspelt(&self, key: &str) -> bool {
        let keys = self.entries.into_iter().flat_map(DeTable::keys);
        keys.map(|typed| typed.get_ref().as_ref())
            .filter(|typed| !self.known.keys.iter().any(|(known, _)| known == typed))
            .any(|typed| self.known.nearest(typed) == Some(key))
    }

    /// What stands behind a key.
    pub(super) fn get(&self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        let entries = self.entries?;
        entries
            .iter()
            .find(|(known, _)| known.get_ref() == key)
            .map(|(_, value)| value)
    }

    /// Notes that a value is of another kind than it must be.
    pub(super) fn wrong_kind(&self, key: &str, found: &Spanned<DeValue<'a>>, wanted: &str) {
        let kind = match found.get_ref() {
            DeValue::String(_) => "a text in quotes",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        self.reading.fault(
            found.span().start,
            "settings-wrong-kind",
            format!("{} That is {kind}; {wanted}.", self.as_read(key, found)),
            self.as_in(key),
        );
    }

    /// `Line 7 of FILE reads division = 0.01.`
    pub(super) fn as_read(&self, key: &str, found: &Spanned<DeValue<'a>>) -> String {
        let source = self.reading.source;
        let value = match found.get_ref() {
            // A table stands under its head; only the key tells which.
            DeValue::Table(_) => "{ ... }".to_owned(),
            DeValue::Array(_) => "[ ... ]".to_owned(),
            _ => source.quoted(found.span()),
        };
        format!(
            "{} reads {key} = {value}.",
            source.line_of(found.span().start)
        )
    }

    fn as_in(&self, key: &str) -> String {
        format!("Write it as in {key} = {}.", self.known.example(key))
    }
}
