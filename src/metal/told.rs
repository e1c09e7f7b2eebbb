//! What each warning about an alloy says: what was found, what it means and what to do.
//!
//! Promises: whole sentences that name the law behind a limit. Leaves to others: when a warning is
//! due (`warnings`).

use rust_decimal::Decimal;

use super::warnings::{Draw, Warning};
use crate::mass::fixed;
use crate::trouble::Trouble;

impl Warning {
    /// What was found, what it means, and what to do.
    pub fn told(&self) -> Trouble {
        let (happened, means, mend) = match self {
            Self::Nickel { part } => (
                format!("The melt holds {} per mille of nickel.", shown(*part)),
                "Nickel sensitises skin; in the EU what is worn on it may not release more than 0.5 microgram per square centimetre and week, and posts in piercings stay below 0.2 (REACH Annex XVII, entry 27).".to_owned(),
                "Whether it holds that limit only a release test tells; take a palladium white for what is worn on the skin, or tell the client.".to_owned(),
            ),
            Self::Cadmium { part, at_limit } => (
                format!("The melt holds {} per mille of cadmium.", shown(*part)),
                if *at_limit {
                    "Jewellery in the EU must hold less than 0.1 per mille of it (REACH Annex XVII, entry 23), and its fume, which kills, leaves the melt from 767 C."
                } else {
                    "That is below the EU's limit of 0.1 per mille for jewellery (REACH Annex XVII, entry 23), but its fume kills and leaves the melt from 767 C."
                }
                .to_owned(),
                "Do not melt it; give what holds cadmium to a refiner.".to_owned(),
            ),
            Self::Lead { part, at_limit } => (
                format!("The melt holds {} per mille of lead.", shown(*part)),
                if *at_limit {
                    "Jewellery in the EU must hold less than 0.5 per mille of it (REACH Annex XVII, entry 63), lead makes gold brittle, and its fume is poison."
                } else {
                    "That is below the EU's limit of 0.5 per mille for jewellery (REACH Annex XVII, entry 63), but lead makes gold brittle and its fume is poison."
                }
                .to_owned(),
                "Find the lot that brings it, and have that lot refined.".to_owned(),
            ),
            Self::Zinc { part } => (
                format!("The melt holds {} per mille of zinc.", shown(*part)),
                "Zinc boils at 907 C, below the melting point of gold: some of it leaves as fume that causes metal fume fever, the button is lighter, and its fineness a little higher than the sum.".to_owned(),
                "Ventilate at the source, add what holds zinc last and do not overheat; weigh the button.".to_owned(),
            ),
            Self::OtherKarat {
                metal,
                made_for,
                target,
                silver_rich,
            } => (
                format!(
                    "{metal} is made for {}, and this melt is to be {target}.",
                    list(made_for)
                ),
                if *silver_rich {
                    "It is rich in silver, meant for the colour of its own karat: here the alloy will be paler or greener, and may cast and work otherwise than its maker says."
                } else {
                    "Colour, hardness and casting are its maker's word for its own karats only."
                }
                .to_owned(),
                "Take an alloy made for this one, or melt a small trial first.".to_owned(),
            ),
            Self::OtherUse {
                metal,
                made_for,
                purpose,
            } => (
                format!("{metal} is made for {}, and this is for {purpose}.", list(made_for)),
                "What makes it good for its own use (deoxidisers, grain refiners, zinc) can spoil it for another.".to_owned(),
                "Take an alloy made for this use, or melt a small trial first.".to_owned(),
            ),
            Self::ColourDrifts {
                asked,
                family,
                draw,
            } => (
                format!("{asked} was asked for, and this melt will be {family}."),
                drawn(*draw).0.to_owned(),
                drawn(*draw).1.to_owned(),
            ),
            Self::ColourNotKnown { asked, draw } => (
                format!(
                    "{asked} was asked for, and this melt lies between known alloys, so its colour cannot be told."
                ),
                drawn(*draw).0.to_owned(),
                drawn(*draw).1.to_owned(),
            ),
            Self::Unknown { part } => (
                format!("Of {} per mille of the melt nothing is known.", shown(*part)),
                "Its colour and how it works are uncertain, and it may hold nickel, cadmium or lead; the gold is reckoned all the same.".to_owned(),
                "Have the lots analysed for more than gold if that matters.".to_owned(),
            ),
        };
        Trouble::new(self.code(), happened, means, mend)
    }
}

/// What draws the colour away, and what to do.
fn drawn(draw: Option<Draw>) -> (&'static str, &'static str) {
    match draw {
        Some(Draw::Silver) => (
            "The rest of the melt brings more silver against copper than the added metals have.",
            "Add more copper in place of silver, or use the paler lots elsewhere.",
        ),
        Some(Draw::Copper) => (
            "The rest of the melt brings more copper against silver than the added metals have.",
            "Add more silver in place of copper, or use the redder lots elsewhere.",
        ),
        Some(Draw::Whitening) => (
            "The rest of the melt brings metals that whiten it.",
            "Sort out the white lots, or agree on the colour with the client.",
        ),
        None => (
            "The metals of the melt give it that colour as they stand.",
            "Choose other metals of the shelf, or agree on the colour with the client.",
        ),
    }
}

/// A part as far as it can matter: two decimals below ten, one above; a trace never as nothing.
fn shown(part: Decimal) -> String {
    let least = Decimal::new(1, 2);
    if part < least {
        return format!("less than {least}");
    }
    let decimals = if part < Decimal::TEN { 2 } else { 1 };
    fixed(part, decimals).normalize().to_string()
}

fn list<T: ToString>(words: &[T]) -> String {
    let words: Vec<String> = words.iter().map(ToString::to_string).collect();
    words.join(", ")
}
