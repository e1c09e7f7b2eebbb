//! The file of the shop's metals.
//!
//! Promises: a shelf that is read has metals with keys of their own, each of a fineness that can
//! be reckoned with; a file that is not there is an empty shelf, one that cannot be read never is.
//! Leaves to others: planning with the metals.

use rust_decimal::Decimal;

use super::Folders;
use super::name::{self, Name};
use super::section::{At, Known, Reading, Section};
use super::source::Source;
use super::trouble::{MEANS, SettingsTrouble};
use crate::mass::{Indication, typed_number_to};
use crate::metal::{Composition, Fineness, Metal, Price, Purpose, Shelf};
use crate::trouble::{Trouble, is_harmful};

const TOP: Known = Known {
    table: "the shelf",
    keys: &[("metal", "[{ key = \"fine-gold\", gold = \"999.9 ppt\" }]")],
};
const METAL: Known = Known {
    table: "[[metal]]",
    keys: &[
        ("key", "\"fine-gold\""),
        ("name", "\"fine gold\""),
        ("gold", "\"999.9 ppt\""),
        ("made_of", "\"Ag 600 Cu 350 Zn 50\""),
        ("karats", "[\"14 k\", \"750 ppt\"]"),
        ("uses", "[\"casting\", \"sheet\"]"),
        ("stock", "\"124.50 g\""),
        ("price_per_gram", "\"1.10 EUR\""),
    ],
};
/// Every table of a shelf file.
#[cfg(test)]
pub(super) const TABLES: [&Known; 2] = [&TOP, &METAL];

/// The most characters of a metal's name for people.
const LONGEST_NAME: usize = 60;
/// The most characters of a currency, and the highest price of a gram. Ours: enough for any money,
/// and no room for a slip of many digits.
const LONGEST_CURRENCY: usize = 8;
const HIGHEST_PRICE: i64 = 1_000_000_000;

/// The shop's shelf: empty when there is no file.
///
/// # Errors
/// Everything that is wrong in the file.
pub fn read_shelf(folders: &Folders) -> Result<Shelf, SettingsTrouble> {
    Source::read(&folders.shelf)?.map_or_else(|| Ok(Shelf::default()), |source| of_source(&source))
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
    let composition = composition(section);
    let karats = section.list::<Fineness>("karats");
    let uses = section.list::<Purpose>("uses");
    let stock = stock(section);
    let price = section
        .has("price_per_gram")
        .then(|| section.parsed::<Price>("price_per_gram"))
        .flatten();
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
    if !fits || name.chars().any(is_harmful) {
        section.refuse(
            "name",
            "That cannot be a name for people.",
            &format!("Write 1 to {LONGEST_NAME} characters on one line."),
        );
    }
    Some(Metal {
        karats,
        uses,
        stock,
        price: price.map(|price| price.value),
        ..Metal::new(key, name, composition?)
    })
}

/// What the metal is made of: its parts, or its gold alone.
fn composition(section: &Section<'_>) -> Option<Composition> {
    if !section.has("made_of") {
        let gold = section.parsed::<Fineness>("gold")?;
        return Some(Composition::of_gold(gold.value));
    }
    let made_of = section.parsed::<Composition>("made_of");
    if section.has("gold") {
        // Read all the same, so that what is wrong in it is told too.
        let gold = section.parsed::<Fineness>("gold");
        if gold.is_some() {
            section.refuse(
                "gold",
                "made_of says already how much gold is in it.",
                "Keep one of the two; write the gold in made_of as Au with its parts per thousand.",
            );
        }
    }
    made_of.map(|made_of| made_of.value)
}

fn stock(section: &Section<'_>) -> Option<Indication> {
    if !section.has("stock") {
        return None;
    }
    let stock = section.parsed::<Indication>("stock")?.value;
    if stock.mass().is_negative() {
        section.refuse(
            "stock",
            "There cannot be less than none of it.",
            "Write what is there, or take the line out.",
        );
    }
    Some(stock)
}

impl std::str::FromStr for Price {
    type Err = Trouble;

    /// Reads `61.20 EUR`.
    fn from_str(text: &str) -> Result<Self, Trouble> {
        let wrong = |why: &str| {
            Trouble::new(
                "settings-value",
                format!("\"{text}\" is not a price: {why}."),
                MEANS,
                "Write the money for one gram and the currency, as in 61.20 EUR.",
            )
        };
        let (digits, currency) = text
            .trim()
            .split_once(' ')
            .ok_or_else(|| wrong("it is not a number, a blank and a currency"))?;
        let currency = currency.trim();
        let fits = (1..=LONGEST_CURRENCY).contains(&currency.chars().count());
        let odd = |c: char| c.is_control() || c.is_whitespace() || c.is_numeric();
        if !fits || currency.chars().any(odd) {
            return Err(wrong("its currency is no short word or sign"));
        }
        let most = Decimal::from(HIGHEST_PRICE);
        let per_gram = typed_number_to(digits, most).map_err(|no| wrong(&no.to_string()))?;
        if per_gram.is_sign_negative() || per_gram > most {
            return Err(wrong(&format!("it is not from 0 to {HIGHEST_PRICE}")));
        }
        Ok(Self {
            per_gram,
            currency: currency.to_owned(),
        })
    }
}

impl<'a> Section<'a> {
    /// Every text of a list, each read; none written is an empty list.
    pub(super) fn list<T: std::str::FromStr<Err = Trouble>>(&self, key: &str) -> Vec<T> {
        let Some(found) = self.get(key) else {
            return Vec::new();
        };
        let Some(list) = found.get_ref().as_array() else {
            self.wrong_kind(key, found, "a list of texts in quotes belongs there");
            return Vec::new();
        };
        let mut out = Vec::new();
        for each in list {
            let at = each.span().start;
            let Some(text) = each.get_ref().as_str() else {
                self.wrong_kind(key, each, "text in quotes belongs in the list");
                continue;
            };
            match text.parse() {
                Ok(value) => out.push(value),
                Err(inner) => self.refuse_in(key, At { value: text, at }, &inner),
            }
        }
        out
    }

    /// Notes that one text among several behind a key cannot be used.
    pub(super) fn refuse_in(&self, key: &str, text: At<&'a str>, inner: &Trouble) {
        let line = self.reading.source.line_of(text.at);
        self.reading.fault(
            text.at,
            "settings-value",
            format!("{line} has \"{}\" in {key}. {}", text.value, inner.happened),
            inner.mend.clone(),
        );
    }
}
