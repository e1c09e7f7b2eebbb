//! The shelf: the shop's metals that can be added to a melt.
//!
//! Promises: a metal's gold is the gold of its composition; what is not known of it stays unknown.
//! Leaves to others: reading the file, and planning with the metals.

use rust_decimal::Decimal;

use super::{Composition, Fineness, Purpose};
use crate::mass::{Indication, Mass};
use crate::trouble::Trouble;

/// What a gram costs, in a currency of the shop's choice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Price {
    /// Money for one gram.
    pub per_gram: Decimal,
    /// The currency, as the shop writes it.
    pub currency: String,
}

/// A metal of the shelf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Metal {
    /// The short name that orders use.
    pub key: String,
    /// The name for people.
    pub name: String,
    /// Its gold: that of its composition.
    pub gold: Fineness,
    /// What it is made of.
    pub composition: Composition,
    /// The finenesses that it is made for; none when it is for any, or nothing is said.
    pub karats: Vec<Fineness>,
    /// The uses that it is made for; none when it is for any, or nothing is said.
    pub uses: Vec<Purpose>,
    /// How much of it there is, when the shop keeps count.
    pub stock: Option<Indication>,
    /// What it costs, when the shop says.
    pub price: Option<Price>,
}

impl Metal {
    /// A metal of this composition, for any karat and use, of no known stock or price.
    pub fn new(key: impl Into<String>, name: impl Into<String>, composition: Composition) -> Self {
        Self {
            key: key.into(),
            name: name.into(),
            gold: composition.gold(),
            composition,
            karats: Vec::new(),
            uses: Vec::new(),
            stock: None,
            price: None,
        }
    }

    /// Whether it is made for this fineness: one of those its maker names lies as near as 14 karat
    /// does to 585.
    pub fn is_for_karat(&self, fineness: Fineness) -> bool {
        let near = Decimal::from(NEAR);
        self.karats.is_empty()
            || self.karats.iter().any(|made_for| {
                (made_for.three_thousandths() - fineness.three_thousandths()).abs() <= near
            })
    }

    /// Whether it is made for this use.
    pub fn is_for_use(&self, purpose: Purpose) -> bool {
        self.uses.is_empty()
            || purpose == Purpose::Any
            || self.uses.contains(&purpose)
            || self.uses.contains(&Purpose::Any)
    }
}

/// How far apart two finenesses of one karat may be, in three-thousandths: 14 karat and 585 are 5
/// apart, 10 karat and 417 one, 24 karat and 995 fifteen.
const NEAR: i64 = 15;

/// Gold of so many per mille is called fine (the finest refined bars hold 995 and more; common
/// practice, no source).
const FINE_FROM: i64 = 990;

/// The shop's metals, in the order of the file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Shelf(Vec<Metal>);

impl Shelf {
    /// A shelf of these metals; refused when two share a short name.
    pub fn new(metals: Vec<Metal>) -> Result<Self, Trouble> {
        for (at, metal) in metals.iter().enumerate() {
            if metals
                .iter()
                .take(at)
                .any(|earlier| earlier.key == metal.key)
            {
                return Err(Trouble::new(
                    "shelf-double",
                    format!("Two metals of the shelf are called \"{}\".", metal.key),
                    "An order could mean either, so none is taken.",
                    "Give each metal of the shelf a key of its own.",
                ));
            }
        }
        Ok(Self(metals))
    }

    /// The metals.
    pub fn metals(&self) -> &[Metal] {
        &self.0
    }

    /// How much fine gold this money buys, by the cheapest fine gold of the shelf that is priced in
    /// the same currency; `None` without one.
    pub fn gold_for(&self, money: Decimal, currency: &str) -> Option<Mass> {
        let fine = |metal: &&Metal| metal.gold.to_per_mille(0) >= Decimal::from(FINE_FROM);
        let per_gram = self
            .0
            .iter()
            .filter(fine)
            .filter_map(|metal| {
                let price = metal.price.as_ref()?;
                let whole = Fineness::pure().three_thousandths();
                let of_gold = (price.per_gram * whole).checked_div(metal.gold.three_thousandths());
                of_gold.filter(|_| price.currency == currency)
            })
            .filter(|price| *price > Decimal::ZERO)
            .min()?;
        Mass::from_grams(money.checked_div(per_gram)?)
    }

    /// The metal that an order names: by its short name, or by a fineness for metal that is not
    /// on the shelf (`999.9`).
    pub fn find(&self, text: &str) -> Result<Metal, Trouble> {
        let wanted = text.trim();
        if let Some(metal) = self.0.iter().find(|metal| metal.key == wanted) {
            return Ok(metal.clone());
        }
        if wanted.starts_with(|c: char| c.is_ascii_digit()) {
            let gold: Fineness = wanted.parse()?;
            let name = match gold {
                gold if gold == Fineness::NONE => "metal without gold".to_owned(),
                gold if gold.to_per_mille(0) >= Decimal::from(FINE_FROM) => {
                    format!("fine gold of {gold}")
                }
                gold => format!("gold of {gold}"),
            };
            return Ok(Metal::new(wanted, name, Composition::of_gold(gold)));
        }
        let keys: Vec<&str> = self.0.iter().map(|metal| metal.key.as_str()).collect();
        let known = if keys.is_empty() {
            "none yet".to_owned()
        } else {
            keys.join(", ")
        };
        Err(Trouble::new(
            "metal-unknown",
            format!("\"{wanted}\" is not a metal of the shelf."),
            "Nothing can be reckoned with it.",
            format!("On the shelf: {known}. A fineness such as 999.9 will do as well."),
        ))
    }
}
