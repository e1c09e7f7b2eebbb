//! What a goldsmith should hear about an alloy before it is melted.
//!
//! Promises: a closed list of warnings, each a plain sentence of what was found, what it means and
//! what to do; limits of law carry their source. Leaves to others: the sums, and the decision.

use rust_decimal::Decimal;

use super::{Colour, Composition, Element, Family, Fineness, Metal, Purpose, colour};
use crate::mass::{Mass, fixed};
use crate::trouble::Trouble;

/// What the alloy is to become.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    /// The fineness.
    pub target: Fineness,
    /// The colour.
    pub colour: Colour,
    /// The use.
    pub purpose: Purpose,
}

/// Where the melt's colour is drawn by what the added metals did not bring.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Draw {
    /// More silver against copper than the added metals have.
    Silver,
    /// More copper against silver.
    Copper,
    /// Nickel, palladium or platinum that the added metals do not have.
    Whitening,
}

/// One thing to hear before melting. Parts are in per mille of the finished melt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Warning {
    /// It holds nickel.
    Nickel {
        /// How much.
        part: Decimal,
    },
    /// It holds cadmium.
    Cadmium {
        /// How much.
        part: Decimal,
        /// Whether that is as much as the law's limit or more.
        at_limit: bool,
    },
    /// It holds lead.
    Lead {
        /// How much.
        part: Decimal,
        /// Whether that is as much as the law's limit or more.
        at_limit: bool,
    },
    /// It holds zinc, some of which leaves the melt.
    Zinc {
        /// How much.
        part: Decimal,
    },
    /// A metal is added for a fineness that it is not made for.
    OtherKarat {
        /// The metal's name.
        metal: String,
        /// What it is made for.
        made_for: Vec<Fineness>,
        /// What is to be made.
        target: Fineness,
        /// Whether it is rich in silver, and so pales another karat more than its own.
        silver_rich: bool,
    },
    /// A metal is added for a use that it is not made for.
    OtherUse {
        /// The metal's name.
        metal: String,
        /// What it is made for.
        made_for: Vec<Purpose>,
        /// What is to be made.
        purpose: Purpose,
    },
    /// The colour will be another than the one asked for.
    ColourDrifts {
        /// What was asked for.
        asked: Colour,
        /// What it will be.
        family: Family,
        /// What the other metal of the melt brings that the additions do not.
        draw: Option<Draw>,
    },
    /// Part of the melt is unknown.
    Unknown {
        /// How much.
        part: Decimal,
    },
}

/// Under 0.01 % of cadmium by weight: REACH Annex XVII entry 23, paragraph 10. In per mille.
fn cadmium_limit() -> Decimal {
    Decimal::new(1, 1)
}

/// 0.05 % of lead by weight: REACH Annex XVII entry 63 (read at second hand). In per mille.
fn lead_limit() -> Decimal {
    Decimal::new(5, 1)
}

/// From so much zinc, in per mille, the loss can be seen on the balance. Ours.
const ZINC_FROM: i64 = 5;
/// From such a share of silver in silver and copper an alloy pales. Ours.
fn silver_rich_from() -> Decimal {
    Decimal::new(6, 1)
}

/// What there is to hear about a melt of this composition, which holds so much of these metals of
/// the shelf besides the client's lots. The heaviest first.
pub fn warnings(composition: &Composition, parts: &[(&Metal, Mass)], asked: Asked) -> Vec<Warning> {
    let part = |element| composition.three_thousandths(element) / Decimal::from(3);
    let mut out = Vec::new();
    let (cadmium, lead) = (part(Element::Cd), part(Element::Pb));
    if cadmium > Decimal::ZERO {
        out.push(Warning::Cadmium {
            part: cadmium,
            at_limit: cadmium >= cadmium_limit(),
        });
    }
    if lead > Decimal::ZERO {
        out.push(Warning::Lead {
            part: lead,
            at_limit: lead >= lead_limit(),
        });
    }
    let nickel = part(Element::Ni);
    if nickel > Decimal::ZERO {
        out.push(Warning::Nickel { part: nickel });
    }
    let unknown = composition.unknown() / Decimal::from(3);
    if !composition.is_known() {
        out.push(Warning::Unknown { part: unknown });
    }
    let mut heard: Vec<&str> = Vec::new();
    for (metal, mass) in parts {
        if !mass.is_positive() || heard.contains(&metal.key.as_str()) {
            continue;
        }
        heard.push(&metal.key);
        if !metal.is_for_karat(asked.target) {
            out.push(Warning::OtherKarat {
                metal: metal.name.clone(),
                made_for: metal.karats.clone(),
                target: asked.target,
                silver_rich: colour::silver_share(&metal.composition)
                    .is_some_and(|share| share >= silver_rich_from()),
            });
        }
        if !metal.is_for_use(asked.purpose) {
            out.push(Warning::OtherUse {
                metal: metal.name.clone(),
                made_for: metal.uses.clone(),
                purpose: asked.purpose,
            });
        }
    }
    if let (Ok(family), Some(false)) = (
        Family::of(composition),
        colour::answers(composition, asked.colour),
    ) {
        out.push(Warning::ColourDrifts {
            asked: asked.colour,
            family,
            draw: draw(composition, parts),
        });
    }
    let zinc = part(Element::Zn);
    if zinc >= Decimal::from(ZINC_FROM) {
        out.push(Warning::Zinc { part: zinc });
    }
    out
}

/// What the whole melt has against the added metals alone.
fn draw(composition: &Composition, parts: &[(&Metal, Mass)]) -> Option<Draw> {
    let added = Composition::mixed(
        parts
            .iter()
            .map(|(metal, mass)| (*mass, &metal.composition)),
    )?;
    let whitening = [Element::Ni, Element::Pd, Element::Pt];
    let any = |of: &Composition| {
        whitening
            .iter()
            .any(|element| of.three_thousandths(*element) > Decimal::ZERO)
    };
    if any(composition) && !any(&added) {
        return Some(Draw::Whitening);
    }
    let (melt, added) = (
        colour::silver_share(composition)?,
        colour::silver_share(&added)?,
    );
    match melt.cmp(&added) {
        std::cmp::Ordering::Greater => Some(Draw::Silver),
        std::cmp::Ordering::Less => Some(Draw::Copper),
        std::cmp::Ordering::Equal => None,
    }
}

impl Warning {
    /// A short stable word for programs, in kebab case.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Nickel { .. } => "nickel",
            Self::Cadmium { .. } => "cadmium",
            Self::Lead { .. } => "lead",
            Self::Zinc { .. } => "zinc",
            Self::OtherKarat { .. } => "other-karat",
            Self::OtherUse { .. } => "other-use",
            Self::ColourDrifts { .. } => "colour-drifts",
            Self::Unknown { .. } => "unknown-part",
        }
    }

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
                match draw {
                    Some(Draw::Silver) => "The rest of the melt brings more silver against copper than the added metals have.",
                    Some(Draw::Copper) => "The rest of the melt brings more copper against silver than the added metals have.",
                    Some(Draw::Whitening) => "The rest of the melt brings metals that whiten it.",
                    None => "The metals that are added give that colour.",
                }
                .to_owned(),
                match draw {
                    Some(Draw::Silver) => "Add more copper in place of silver, or use the paler lots elsewhere.",
                    Some(Draw::Copper) => "Add more silver in place of copper, or use the redder lots elsewhere.",
                    Some(Draw::Whitening) => "Sort out the white lots, or agree on the colour with the client.",
                    None => "Choose other metals of the shelf, or agree on the colour with the client.",
                }
                .to_owned(),
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
