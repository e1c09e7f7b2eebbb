//! What a goldsmith should hear about an alloy before it is melted.
//!
//! Promises: a closed list of warnings, each found from exact parts; limits of law carry their
//! source. Leaves to others: how each is said (`told`), and the decision.

use rust_decimal::Decimal;

use super::colour::{self, NotKnown};
use super::shares::silver_share;
use super::{Colour, Composition, Element, Family, Fineness, Metal, Purpose};
use crate::mass::Mass;

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
    /// The colour cannot be told: the melt lies between known alloys, as a half-white one does.
    ColourNotKnown {
        /// What was asked for.
        asked: Colour,
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
                silver_rich: silver_share(&metal.composition)
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
    let asked_for = asked.colour;
    match Family::of(composition) {
        Ok(family) if colour::answers(composition, asked_for) == Some(false) => {
            out.push(Warning::ColourDrifts {
                asked: asked_for,
                family,
                draw: draw(composition, parts),
            });
        }
        Err(NotKnown::NoRule) => out.push(Warning::ColourNotKnown {
            asked: asked_for,
            draw: draw(composition, parts),
        }),
        // What is unknown has a warning of its own; too little gold is no gold alloy to colour.
        Ok(_) | Err(NotKnown::TooMuchUnknown | NotKnown::LittleGold) => {}
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
    let (melt, added) = (silver_share(composition)?, silver_share(&added)?);
    match melt.cmp(&added) {
        std::cmp::Ordering::Greater => Some(Draw::Silver),
        std::cmp::Ordering::Less => Some(Draw::Copper),
        std::cmp::Ordering::Equal => None,
    }
}

impl Warning {
    /// Whether it says only that something cannot be told, and speaks against nothing.
    pub fn is_of_what_is_not_known(&self) -> bool {
        matches!(self, Self::ColourNotKnown { .. } | Self::Unknown { .. })
    }

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
            Self::ColourNotKnown { .. } => "colour-not-known",
            Self::Unknown { .. } => "unknown-part",
        }
    }
}
