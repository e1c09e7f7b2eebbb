//! The question of a blend: what was typed, and what it means with the shop's shelf and law.

use super::typed::{Lot, currency, goal, limits, lot, made, metals, silver_share};
use super::{Blend, Found};
use crate::command::Common;
use crate::mass::{Division, Indication, Mass};
use crate::melt::{
    BlendAsk, BlendLot, BlendMetal, ColourWay, Demand, FinenessDoubt, Goal, Known, Limit,
    MassDoubt, NoBlend, SureBlend, UnknownPart, WHITENS, colour_ways, sure_blend,
};
use crate::metal::{Colour, Element, Fineness, MarkLaw, Metal, Purpose};
use crate::settings::{read_basis, read_shelf};
use crate::trouble::Trouble;

/// The question with everything that it needs.
pub(super) struct Question {
    pub(super) lots: Vec<Lot>,
    /// The metals of the shelf that may be added.
    metals: Vec<Metal>,
    /// The currency of every price; none where there is no price.
    pub(super) currency: Option<String>,
    pub(super) demand: Demand,
    limits: Vec<Limit>,
    pub(super) colour: Option<Colour>,
    /// The ways to the colour.
    pub(super) ways: Vec<ColourWay>,
    pub(super) purpose: Purpose,
    make: Option<Mass>,
    pub(super) goal: Goal,
    unknown: UnknownPart,
    pub(super) division: Division,
    pub(super) law: MarkLaw,
    /// What is supposed for want of a word.
    pub(super) supposed: Vec<String>,
    u_mass: MassDoubt,
}

impl Question {
    pub(super) fn of(typed: &Blend, common: &Common) -> Result<Self, Trouble> {
        let folders = common.reading_folders()?;
        let basis = read_basis(&folders)?;
        let target: Fineness = typed.target.parse()?;
        let terms = typed.terms.read(&folders, target)?;
        if terms.give_away.is_some() {
            return Err(Trouble::new(
                "give-away-cost-of-blend",
                "What a blend gives away in money is known only once it is found.",
                "Nothing is planned.",
                "Use --give-away with parts per thousand here, and look at what the answer says is given away.",
            ));
        }
        let purpose: Purpose = typed.purpose.parse()?;
        let mut supposed = Vec::new();
        let metals = metals(
            typed,
            &read_shelf(&folders)?,
            target,
            purpose,
            &mut supposed,
        )?;
        let colour: Option<Colour> = typed.colour.as_deref().map(str::parse).transpose()?;
        let share = typed
            .silver_share
            .as_deref()
            .map(silver_share)
            .transpose()?;
        let mut lots = Vec::new();
        for text in &typed.lots {
            lots.push(lot(text, lots.len() + 1, &basis, &mut supposed)?);
        }
        let currency = currency(&metals)?;
        if currency.is_none() && !metals.is_empty() {
            supposed.push(
                "No metal that may be added has a price, so as little as can be is added."
                    .to_owned(),
            );
        }
        Ok(Self {
            lots,
            metals,
            currency,
            demand: terms.demand,
            limits: limits(typed)?,
            colour,
            ways: match colour {
                Some(colour) => colour_ways(colour, target)?,
                None => vec![ColourWay {
                    silver_share: share,
                    ..ColourWay::default()
                }],
            },
            purpose,
            make: typed.make.as_deref().map(made).transpose()?,
            goal: goal(&typed.goal)?,
            unknown: if typed.strict {
                UnknownPart::Counted
            } else {
                UnknownPart::Reported
            },
            division: terms.division,
            law: terms.law,
            supposed,
            u_mass: terms.u_mass,
        })
    }

    /// What is asked by this way, and of which metals.
    pub(super) fn ask(&self, way: &ColourWay) -> (Vec<Metal>, BlendAsk) {
        let may = |metal: &&Metal| way.may(metal);
        let metals: Vec<Metal> = self.metals.iter().filter(may).cloned().collect();
        let ask = BlendAsk {
            lots: self
                .lots
                .iter()
                .map(|lot| BlendLot {
                    mass: lot.mass,
                    metal: lot.made_of.clone(),
                })
                .collect(),
            shelf: metals
                .iter()
                .map(|metal| BlendMetal {
                    name: metal.name.clone(),
                    metal: metal.composition.clone(),
                    stock: metal.stock.map(Indication::mass),
                    price: metal.price.as_ref().map(|price| price.per_gram),
                })
                .collect(),
            lowest: self.demand.lowest,
            aim: self.demand.aim(),
            highest: self.demand.highest,
            limits: self.limits.iter().copied().chain(way.limit).collect(),
            silver_share: way.silver_share,
            mass: self.make,
            unknown: self.unknown,
            division: self.division,
            goal: self.goal,
        };
        (metals, ask)
    }

    /// The best blend that is as surely lawful as the shop asks, where there is one.
    pub(super) fn sure_blend(&self, ask: &BlendAsk) -> Result<SureBlend, NoBlend> {
        let doubts: Vec<FinenessDoubt> = self.lots.iter().map(|lot| lot.u).collect();
        sure_blend(ask, &doubts, self.u_mass, self.demand.risk)
    }

    /// A blend with all that is known of what goes into it, by name. A shelf metal is taken as it is
    /// said to be.
    pub(super) fn known(&self, ask: BlendAsk, metals: Vec<Metal>, found: SureBlend) -> Found {
        let blend = found.blend;
        let lots = self.lots.iter().zip(&blend.lots).map(|(lot, mass)| Known {
            name: lot.name.clone(),
            mass: *mass,
            u_mass: self.u_mass,
            gold: lot.made_of.gold(),
            u_gold: lot.u,
            even: lot.even,
        });
        let added = metals.iter().zip(&blend.shelf).map(|(metal, mass)| Known {
            name: metal.name.clone(),
            mass: *mass,
            u_mass: self.u_mass,
            gold: metal.gold,
            u_gold: FinenessDoubt::NONE,
            even: false,
        });
        // What is not weighed brings no doubt.
        let known: Vec<Known> = lots.chain(added).filter(|k| k.mass.is_positive()).collect();
        Found {
            ask,
            metals,
            blend,
            known,
            melt: found.melt,
            is_sure: found.is_sure,
        }
    }

    /// A trouble with a word on the colour, where that asks for what nobody typed.
    pub(super) fn with_colour(&self, trouble: Trouble) -> Trouble {
        if self.colour != Some(Colour::White) {
            return trouble;
        }
        Trouble {
            happened: format!(
                "White was asked for, and takes {WHITENS} ‰ of palladium or of nickel. {}",
                trouble.happened
            ),
            ..trouble
        }
    }

    /// Whether a limit on this element was given.
    pub(super) fn limits_most_of(&self, wanted: Element) -> bool {
        let is = |limit: &Limit| matches!(limit, Limit::AtMost(element, _) if *element == wanted);
        self.limits.iter().any(is)
    }
}
