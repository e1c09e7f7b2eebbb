//! The file of the shop's metals.
//!
//! Promises: a shelf that is read has metals with keys of their own, each of a fineness that can
//! be reckoned with; a file that is not there is an empty shelf, one that cannot be read never is.
//! Leaves to others: planning with the metals.

use std::path::Path;

use super::name::{self, Name};
use super::section::{Known, Reading, Section};
use super::source::Source;
use super::trouble::SettingsTrouble;
use crate::metal::{Fineness, Metal, Shelf};

const TOP: Known = Known {
    table: "the shelf",
    keys: &[("metal", "[{ key = \"fine-gold\", gold = \"999.9 ppt\" }]")],
};
/// Composition, stock and price are not known yet, so they are not taken silently either.
const METAL: Known = Known {
    table: "[[metal]]",
    keys: &[
        ("key", "\"fine-gold\""),
        ("name", "\"fine gold\""),
        ("gold", "\"999.9 ppt\""),
    ],
};
/// Every table of a shelf file.
#[cfg(test)]
pub(super) const TABLES: [&Known; 2] = [&TOP, &METAL];

/// The most characters of a metal's name for people.
const LONGEST_NAME: usize = 60;

/// Reads the shelf.
pub(super) fn read(path: &Path) -> Result<Shelf, SettingsTrouble> {
    Source::read(path)?.map_or_else(|| Ok(Shelf::default()), |source| of_source(&source))
}

fn of_source(source: &Source) -> Result<Shelf, SettingsTrouble> {
    let reading = Reading::new(source);
    let parsed = reading.parse();
    let mut metals: Vec<Metal> = Vec::new();
    if let Some(parsed) = &parsed {
        let top = Section::top(&reading, &TOP, parsed);
        for section in top.tables("metal", &METAL) {
            metals.extend(metal(&section, &metals));
        }
    }
    drop(parsed);
    match SettingsTrouble::of(reading.faults()) {
        Some(wrong) => Err(wrong),
        None => Ok(Shelf::new(metals)?),
    }
}

fn metal(section: &Section<'_>, earlier: &[Metal]) -> Option<Metal> {
    let key = section.parsed::<Name>("key");
    let gold = section.parsed::<Fineness>("gold");
    let called = section.text("name");
    let key = key?.value.to_string();
    if key.starts_with(|c: char| c.is_ascii_digit()) {
        section.refuse(
            "key",
            "An order that begins with a digit names a fineness.",
            "Begin the key with a letter.",
        );
    } else if name::is_taken(&key, earlier.iter().map(|metal| metal.key.as_str())) {
        section.refuse(
            "key",
            "A metal further up has that key already, so an order could mean either.",
            "Give each metal a key of its own.",
        );
    }
    let name = called.map_or_else(|| key.clone(), |name| name.value.trim().to_owned());
    let fits = (1..=LONGEST_NAME).contains(&name.chars().count());
    if !fits || name.chars().any(char::is_control) {
        section.refuse(
            "name",
            "That cannot be a name for people.",
            &format!("Write 1 to {LONGEST_NAME} characters on one line."),
        );
    }
    Some(Metal {
        key,
        name,
        gold: gold?.value,
    })
}
