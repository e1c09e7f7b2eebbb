//! The shelf: the shop's metals that can be added to a melt.

use super::Fineness;
use crate::trouble::Trouble;

/// A metal of the shelf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Metal {
    /// The short name that orders use.
    pub key: String,
    /// The name for people.
    pub name: String,
    /// Its gold.
    pub gold: Fineness,
}

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

    /// The metal that an order names: by its short name, or by a fineness for metal that is not
    /// on the shelf (`999.9`).
    pub fn find(&self, text: &str) -> Result<Metal, Trouble> {
        let wanted = text.trim();
        if let Some(metal) = self.0.iter().find(|metal| metal.key == wanted) {
            return Ok(metal.clone());
        }
        if wanted.starts_with(|c: char| c.is_ascii_digit()) {
            let gold: Fineness = wanted.parse()?;
            return Ok(Metal {
                key: wanted.to_owned(),
                name: format!("gold of {gold}"),
                gold,
            });
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
