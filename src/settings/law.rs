//! The laws of marks: the shipped ones, and the person's own.
//!
//! Promises: a law that is read has its source beside every figure; a law of the person's own goes
//! before a shipped one of the same name, and is never passed over because it cannot be read.
//! Leaves to others: what a fineness may carry by it (`metal::law`).

use super::Folders;
use super::name::{self, Name};
use super::section::{Known, Reading, Section};
use super::source::Source;
use super::trouble::SettingsTrouble;
use crate::metal::law::{self, Minus};
use crate::metal::{Fineness, Mark, MarkLaw};

const TOP: Known = Known {
    table: "the laws",
    keys: &[("law", "[{ key = \"own\", name = \"my country\" }]")],
};
const LAW: Known = Known {
    table: "[[law]]",
    keys: &[
        ("key", "\"own\""),
        ("name", "\"my country, law of 1999\""),
        ("minus_without_solder", "\"0 ppt\""),
        ("minus_with_solder", "\"0 ppt\""),
        ("minus_watchcase_or_flatware", "\"0 ppt\""),
        ("least", "\"375 ppt\""),
        ("karat_before_gold", "false"),
        ("notes", "\"What else to know.\""),
        ("source", "\"the law, its section\""),
        ("date", "\"1999\""),
        ("known", "\"read\""),
        (
            "marks",
            "[{ source = \"the law, its section\", date = \"1999\", known = \"read\", struck = { \"585\" = \"585 ppt\" } }]",
        ),
    ],
};
const MARKS: Known = Known {
    table: "[[law.marks]]",
    keys: &[
        ("source", "\"the law, its section\""),
        ("date", "\"1999\""),
        ("known", "\"read\""),
        ("struck", "{ \"585\" = \"585 ppt\", \"14K\" = \"14 k\" }"),
    ],
};
/// Every table of a file of laws.
#[cfg(test)]
pub(super) const TABLES: [&Known; 3] = [&TOP, &LAW, &MARKS];

/// The shipped laws.
const SHIPPED: &str = include_str!("../../config/law.toml");
/// The name of the law that allows nothing.
pub(super) const USUAL: &str = "none";
/// The largest tolerance that a law may give, in per mille: a karat and a little. More is a slip.
const LARGEST_MINUS: &str = "50 ppt";
/// The most characters of a mark.
const LONGEST_MARK: usize = 12;

/// Every law that can be named: the person's own from `law.toml` beside the settings, then the
/// shipped ones that are not replaced by them.
///
/// # Errors
/// Everything that is wrong in the person's own file.
pub fn read_laws(folders: &Folders) -> Result<Vec<MarkLaw>, SettingsTrouble> {
    let mut laws = match Source::read(&folders.settings.with_file_name("law.toml"))? {
        Some(source) => of_source(&source)?,
        None => Vec::new(),
    };
    for law in of_source(&Source::shipped("law", SHIPPED))? {
        if !name::is_taken(&law.key, laws.iter().map(|own| own.key.as_str())) {
            laws.push(law);
        }
    }
    Ok(laws)
}

fn of_source(source: &Source) -> Result<Vec<MarkLaw>, SettingsTrouble> {
    let reading = Reading::new(source);
    let parsed = reading.parse();
    let mut laws: Vec<MarkLaw> = Vec::new();
    if let Some(parsed) = &parsed {
        let top = Section::top(&reading, &TOP, parsed);
        for section in top.tables("law", &LAW) {
            laws.extend(law(&section, &laws));
        }
    }
    drop(parsed);
    match SettingsTrouble::of(reading.faults()) {
        Some(wrong) => Err(wrong),
        None => Ok(laws),
    }
}

fn law(section: &Section<'_>, earlier: &[MarkLaw]) -> Option<MarkLaw> {
    let key = section
        .parsed::<Name>("key")
        .map(|key| key.value.to_string());
    if let Some(key) = &key
        && name::is_taken(key, earlier.iter().map(|law| law.key.as_str()))
    {
        section.refuse(
            "key",
            "A law further up has that key already.",
            "Give each law a key of its own.",
        );
    }
    let name = section.needed_text("name");
    let minus = (
        minus(section, "minus_without_solder"),
        minus(section, "minus_with_solder"),
        minus(section, "minus_watchcase_or_flatware"),
    );
    let least = section
        .has("least")
        .then(|| section.parsed::<Fineness>("least"))
        .flatten();
    let karat_before_gold = section.truth("karat_before_gold");
    let notes = section.text("notes");
    let source = source(section);
    let mut marks: Vec<Mark> = Vec::new();
    section.need("marks");
    for group in section.tables("marks", &MARKS) {
        struck(&group, &mut marks);
    }
    Some(MarkLaw {
        key: key?,
        name: name?.value.to_owned(),
        marks,
        minus: Minus {
            without_solder: minus.0?,
            with_solder: minus.1?,
            watchcase_or_flatware: minus.2?,
        },
        least: least.map(|least| least.value),
        karat_before_gold: karat_before_gold.unwrap_or_default(),
        notes: notes.map_or_else(String::new, |notes| notes.value.trim().to_owned()),
        source: source?,
    })
}

/// A tolerance; none when it is not said, since none is the rule.
fn minus(section: &Section<'_>, key: &str) -> Option<Fineness> {
    if !section.has(key) {
        return Some(Fineness::NONE);
    }
    let span = section.parsed::<Fineness>(key)?.value;
    let largest = LARGEST_MINUS.parse().unwrap_or(Fineness::NONE);
    if span > largest {
        section.refuse(
            key,
            &format!("No law allows more than {LARGEST_MINUS} below a mark."),
            "Write how far below the mark, not how low: as in 3 ppt.",
        );
    }
    Some(span)
}

fn source(section: &Section<'_>) -> Option<law::Source> {
    let text = section.needed_text("source");
    let date = section.needed_text("date");
    section.need("known");
    let known = section.word("known", &law::Known::WORDS);
    Some(law::Source {
        text: text?.value.to_owned(),
        date: date?.value.to_owned(),
        known: known?,
    })
}

fn struck(group: &Section<'_>, marks: &mut Vec<Mark>) {
    let source = source(group);
    group.need("struck");
    for (text, fineness) in group.entries("struck", "the mark").unwrap_or_default() {
        let length = text.value.chars().count();
        let plain = text
            .value
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || c == '.');
        let inner = match fineness.parse::<Fineness>() {
            _ if !plain || !(1..=LONGEST_MARK).contains(&length) => wrong(
                "That is no mark.",
                "Write letters and digits as they are struck.",
            ),
            _ if marks
                .iter()
                .any(|mark| mark.text.eq_ignore_ascii_case(text.value)) =>
            {
                wrong("That mark stands here twice.", "Keep one of the two.")
            }
            Err(inner) => inner,
            Ok(fineness) => {
                marks.extend(source.clone().map(|source| Mark {
                    text: text.value.to_owned(),
                    fineness,
                    source,
                }));
                continue;
            }
        };
        group.refuse_in("struck", text, &inner);
    }
}

fn wrong(happened: &str, mend: &str) -> crate::trouble::Trouble {
    crate::trouble::Trouble::new("settings-value", happened, super::trouble::MEANS, mend)
}

/// The law that the settings name.
pub(super) fn named(mark: &Section<'_>, laws: &[MarkLaw]) -> Option<MarkLaw> {
    let name = if mark.has("law") {
        mark.text("law")?.value
    } else {
        USUAL
    };
    let found = laws.iter().find(|law| law.key == name);
    if found.is_none() {
        let keys = || laws.iter().map(|law| law.key.as_str());
        let nearest = super::nearest(name, keys()).map_or_else(String::new, |nearest| {
            format!("The nearest known one is \"{nearest}\". ")
        });
        let all: Vec<&str> = keys().collect();
        mark.refuse(
            "law",
            "There is no law of marks of that name.",
            &format!(
                "{nearest}Known are {}; your own can stand in law.toml beside the settings.",
                all.join(", ")
            ),
        );
    }
    found.cloned()
}
