//! `panbell shelf`: the shop's metals, what is in them and what they are for.

use clap::Args;
use serde::Serialize;

use super::output::Output;
use super::{Common, Ended};
use crate::metal::{Designation, Element, Family, Fineness, Metal};
use crate::settings::read_shelf;
use crate::trouble::Trouble;

/// Show the shop's metals.
#[derive(Debug, Args)]
pub(super) struct Shelf {}

#[derive(Serialize)]
struct ShelfBody {
    metals: Vec<MetalBody>,
}

/// A metal as JSON; finenesses and numbers are texts.
#[derive(Serialize)]
struct MetalBody {
    key: String,
    name: String,
    gold: String,
    made_of: String,
    /// The colour of a gold by itself; none for other metals and where it cannot be told.
    colour: Option<&'static str>,
    designation: Option<String>,
    karats: Vec<String>,
    uses: Vec<String>,
    stock: Option<String>,
    price_per_gram: Option<String>,
    /// What in it calls for care: `nickel`, `cadmium`, `lead`.
    care: Vec<&'static str>,
}

impl Shelf {
    #[allow(clippy::unused_self)] // every command is run alike
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let folders = common.reading_folders()?;
        let known = read_shelf(&folders)?;
        let body = ShelfBody {
            metals: known.metals().iter().map(MetalBody::of).collect(),
        };
        let text = if body.metals.is_empty() {
            format!(
                "The shelf is empty. Write the shop's metals into {}.",
                folders.shelf.display()
            )
        } else {
            table(&body.metals)
        };
        output.say(&text, &body);
        Ok(Ended::Done)
    }
}

impl MetalBody {
    fn of(metal: &Metal) -> Self {
        let care = [Element::Ni, Element::Cd, Element::Pb];
        Self {
            key: metal.key.clone(),
            name: metal.name.clone(),
            gold: metal.gold.stated_text(),
            made_of: metal.composition.to_string(),
            colour: Family::of(&metal.composition).ok().map(Family::word),
            designation: Designation::of(&metal.composition)
                .map(|designation| designation.to_string()),
            karats: metal
                .karats
                .iter()
                .map(|karat| karat_text(*karat))
                .collect(),
            uses: metal.uses.iter().map(ToString::to_string).collect(),
            stock: metal.stock.map(|stock| stock.to_string()),
            price_per_gram: metal
                .price
                .as_ref()
                .map(|price| format!("{} {}", price.per_gram, price.currency)),
            care: care
                .into_iter()
                .filter(|element| !metal.composition.three_thousandths(*element).is_zero())
                .map(Element::name)
                .collect(),
        }
    }

    fn cells(&self) -> [String; 7] {
        let or_any = |words: &[String]| {
            if words.is_empty() {
                "any".to_owned()
            } else {
                words.join(", ")
            }
        };
        let mut made_of = self.made_of.clone();
        if !self.care.is_empty() {
            made_of = format!("{made_of} (! {})", self.care.join(", "));
        }
        [
            self.key.clone(),
            self.name.clone(),
            made_of,
            or_any(&self.karats),
            or_any(&self.uses),
            self.stock.clone().unwrap_or_default(),
            self.price_per_gram.clone().unwrap_or_default(),
        ]
    }
}

/// As an alloy is spoken of: by the karat where it is a whole one.
fn karat_text(fineness: Fineness) -> String {
    let karat = fineness.to_karat(4).normalize();
    if karat.scale() == 0 {
        format!("{karat} k")
    } else {
        fineness.stated_text()
    }
}

const HEADS: [&str; 7] = [
    "key",
    "name",
    "made of, per mille",
    "for karats",
    "for uses",
    "stock",
    "price of a gram",
];

/// Columns as wide as their widest cell; a column that is empty throughout is left out.
fn table(metals: &[MetalBody]) -> String {
    let mut rows: Vec<[String; 7]> = vec![HEADS.map(str::to_owned)];
    rows.extend(metals.iter().map(MetalBody::cells));
    let mut lines = vec![String::new(); rows.len()];
    for column in 0..HEADS.len() {
        let cell = |row: &[String; 7]| row.get(column).cloned().unwrap_or_default();
        let wide = |row: &[String; 7]| cell(row).chars().count();
        if rows.iter().skip(1).all(|row| cell(row).is_empty()) {
            continue;
        }
        let width = rows.iter().map(wide).max().unwrap_or_default();
        for (line, row) in lines.iter_mut().zip(&rows) {
            let cell = cell(row);
            let blanks = (width + 2).saturating_sub(cell.chars().count());
            line.push_str(&cell);
            line.extend(std::iter::repeat_n(' ', blanks));
        }
    }
    let lines: Vec<&str> = lines.iter().map(|line| line.trim_end()).collect();
    lines.join("\n")
}
