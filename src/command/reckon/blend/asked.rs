//! The question of a blend: what was typed, and what it means with the shop's shelf and law.

use rust_decimal::Decimal;

use super::super::asked::law;
use super::super::number;
use super::colours::{WHITENS, Way, is_plain, ways};
use super::{Blend, Found};
use crate::command::Common;
use crate::mass::{Division, Indication, Mass};
use crate::melt::{
    self, BlendAsk, BlendLot, BlendMetal, Demand, FinenessDoubt, Goal, Known, Limit, MassDoubt,
    Mix, Risk, UnknownPart,
};
use crate::metal::{
    Basis, BasisRules, Colour, Composition, Element, Fineness, Judged, MarkLaw, Metal, Purpose,
    Shelf, Stated,
};
use crate::settings::{read_basis, read_laws, read_shelf};
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
    pub(super) ways: Vec<Way>,
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

/// A lot of the client's metal.
pub(super) struct Lot {
    pub(super) name: String,
    pub(super) mass: Mass,
    pub(super) u: FinenessDoubt,
    even: bool,
    pub(super) made_of: Composition,
}

/// The words for the goals.
const GOALS: [(&str, Goal); 2] = [
    ("cheapest", Goal::Cheapest),
    ("client", Goal::MostOfTheLots),
];
/// The fine gold that `fine` means: of the shelf from the first on, else the second.
const FINE_FROM: &str = "999";
const FINE: &str = "999.9";
const MEANS: &str = "Nothing is planned.";

impl Question {
    pub(super) fn of(typed: &Blend, common: &Common) -> Result<Self, Trouble> {
        let folders = common.reading_folders()?;
        let basis = read_basis(&folders)?;
        let law = law(read_laws(&folders)?, &typed.mark_law)?;
        let target: Fineness = typed.target.parse()?;
        let purpose: Purpose = typed.purpose.parse()?;
        let mut supposed = Vec::new();
        let metals = metals(
            typed,
            &read_shelf(&folders)?,
            target,
            purpose,
            &mut supposed,
        )?;
        let division: Division = typed.division.parse()?;
        let mass = |text: &String| text.parse::<Indication>().map(Indication::mass);
        let repeatability = typed.repeatability.as_ref().map(mass).transpose()?;
        let class = typed
            .class
            .as_ref()
            .map(|class| class.parse())
            .transpose()?;
        let risk = number(&typed.risk, 500, "chance")? / Decimal::ONE_THOUSAND;
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
            demand: Demand {
                target,
                lowest: law.lowest(target, Judged::WithoutSolder),
                highest: target.plus(number(&typed.give_away, 100, "give-away limit")?),
                risk: Risk::new(risk).unwrap_or_default(),
            },
            limits: limits(typed)?,
            colour,
            ways: match colour {
                Some(colour) => ways(colour, target)?,
                None => vec![Way {
                    silver_share: share,
                    ..Way::default()
                }],
            },
            purpose,
            make: typed.make.as_ref().map(mass).transpose()?,
            goal: goal(&typed.goal)?,
            unknown: if typed.strict {
                UnknownPart::Counted
            } else {
                UnknownPart::Reported
            },
            division,
            law,
            supposed,
            u_mass: MassDoubt::of_weighing(division, repeatability, class),
        })
    }

    /// What is asked by this way, and of which metals.
    pub(super) fn ask(&self, way: &Way) -> (Vec<Metal>, BlendAsk) {
        let may = |metal: &&Metal| !way.only_plain || is_plain(metal);
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

    /// A blend with all that is known of what goes into it. A shelf metal is taken as it is said to
    /// be.
    pub(super) fn known(&self, ask: BlendAsk, metals: &[Metal], blend: melt::Blend) -> Found {
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
        let melt = known.iter().fold(Mix::NOTHING, |mix, k| {
            mix.with_known(k.mass, k.u_mass, k.gold, k.u_gold)
        });
        Found {
            ask,
            metals: metals.to_vec(),
            blend,
            known,
            melt,
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

    /// The chance that this melt is lawful.
    pub(super) fn chance(&self, melt: &Mix) -> f64 {
        melt.chance_at_least(self.demand.lowest)
    }

    /// Whether it is as surely lawful as the shop asks.
    pub(super) fn is_sure(&self, melt: &Mix) -> bool {
        self.chance(melt) >= 1.0 - self.demand.risk.chance()
    }
}

/// The metals that may be added: those named, or all of the shelf that are made for this.
fn metals(
    typed: &Blend,
    shelf: &Shelf,
    target: Fineness,
    purpose: Purpose,
    supposed: &mut Vec<String>,
) -> Result<Vec<Metal>, Trouble> {
    if !typed.with.is_empty() {
        let mut named: Vec<Metal> = Vec::new();
        for name in &typed.with {
            let metal = if name == "fine" {
                fine(shelf)?
            } else {
                shelf.find(name)?
            };
            if named.iter().all(|other| other.key != metal.key) {
                named.push(metal);
            }
        }
        return Ok(named);
    }
    if shelf.metals().is_empty() {
        return Err(Trouble::new(
            "shelf-empty",
            "The shelf is empty, and no metal was named.",
            MEANS,
            "Write the shop's metals into shelf.toml (panbell shelf says where), or name metals with --with.",
        ));
    }
    let (made_for, others): (Vec<&Metal>, Vec<&Metal>) = shelf
        .metals()
        .iter()
        .partition(|metal| metal.is_for_karat(target) && metal.is_for_use(purpose));
    if !others.is_empty() {
        let keys: Vec<&str> = others.iter().map(|metal| metal.key.as_str()).collect();
        supposed.push(format!(
            "Left on the shelf, since made for another fineness or use: {}. Name with --with all that may be added to have them too.",
            keys.join(", ")
        ));
    }
    Ok(made_for.into_iter().cloned().collect())
}

/// The finest gold of the shelf, which has a stock and a price; else as it is sold.
fn fine(shelf: &Shelf) -> Result<Metal, Trouble> {
    let least = FINE_FROM.parse()?;
    let fine = shelf.metals().iter().filter(|metal| metal.gold >= least);
    match fine.max_by_key(|metal| metal.gold) {
        Some(metal) => Ok(metal.clone()),
        None => shelf.find(FINE),
    }
}

/// The one currency of all prices.
fn currency(metals: &[Metal]) -> Result<Option<String>, Trouble> {
    let mut all: Vec<&str> = Vec::new();
    for price in metals.iter().filter_map(|metal| metal.price.as_ref()) {
        if !all.contains(&price.currency.as_str()) {
            all.push(&price.currency);
        }
    }
    match all.as_slice() {
        [] => Ok(None),
        [one] => Ok(Some((*one).to_owned())),
        _ => Err(Trouble::new(
            "currencies-differ",
            format!("The prices of the shelf are in {}.", all.join(" and ")),
            "They cannot be held against each other, so nothing is planned.",
            "Write all prices of shelf.toml in one currency, or name metals of one with --with.",
        )),
    }
}

fn lot(
    text: &str,
    number: usize,
    basis: &BasisRules,
    supposed: &mut Vec<String>,
) -> Result<Lot, Trouble> {
    let unreadable = |why: &str| {
        Trouble::new(
            "lot-unreadable",
            format!("\"{text}\" is not a lot: {why}."),
            MEANS,
            "Write its mass, @ and its fineness, as in \"8.20 g@750:xrf\" or 24grain@22k, or all that is in it, as in \"5 g@Au 585 Ag 300 Cu 115:xrf\".",
        )
    };
    let name = format!("lot {number}");
    let (mass, metal) = text
        .split_once('@')
        .ok_or_else(|| unreadable("it has no @"))?;
    if mass.trim().is_empty() {
        return Err(unreadable("a lot of a blend needs its mass"));
    }
    let mass = mass.parse::<Indication>()?.mass();
    let (metal, rests_on) = match metal.split_once(':') {
        Some((metal, rests_on)) => (metal.trim(), Some(rests_on)),
        None => (metal.trim(), None),
    };
    let stated: Composition = if metal.starts_with(|c: char| c.is_ascii_alphabetic()) {
        metal.parse()?
    } else {
        Composition::of_gold(metal.parse()?)
    };
    let Some(rests_on) = rests_on else {
        supposed.push(format!(
            "{name}: no basis was given, so its fineness is taken as exact."
        ));
        return Ok(Lot {
            name,
            mass,
            u: FinenessDoubt::NONE,
            even: false,
            made_of: stated,
        });
    };
    let gold: Stated = format!("{}:{rests_on}", stated.gold().stated_text()).parse()?;
    let estimate = gold.estimate(basis);
    let made_of = if estimate.fineness == stated.gold() {
        stated
    } else if metal.starts_with(|c: char| c.is_ascii_alphabetic()) {
        return Err(unreadable(
            "a stamp promises gold only, and says nothing of the other metals",
        ));
    } else {
        Composition::of_gold(estimate.fineness)
    };
    Ok(Lot {
        name,
        mass,
        u: FinenessDoubt::per_mille(estimate.u),
        even: gold.basis == Basis::Stamp && gold.u.is_none(),
        made_of,
    })
}

fn limits(typed: &Blend) -> Result<Vec<Limit>, Trouble> {
    let mut limits = Vec::new();
    for name in typed.no.iter().flat_map(|names| names.split(',')) {
        limits.push(Limit::AtMost(element(name)?, Decimal::ZERO));
    }
    let both = [(&typed.at_most, true), (&typed.at_least, false)];
    for (texts, is_most) in both {
        for text in texts.iter().flat_map(|texts| texts.split(',')) {
            let (name, ppt) = text.split_once('=').ok_or_else(|| {
                Trouble::new(
                    "limit-unreadable",
                    format!("\"{text}\" is no limit."),
                    MEANS,
                    "Write a metal, = and its parts per thousand, as in zinc=50.",
                )
            })?;
            let (element, ppt) = (element(name)?, number(ppt, 1000, "part per thousand")?);
            limits.push(if is_most {
                Limit::AtMost(element, ppt)
            } else {
                Limit::AtLeast(element, ppt)
            });
        }
    }
    Ok(limits)
}

/// An element by its name or its symbol.
fn element(text: &str) -> Result<Element, Trouble> {
    let wanted = text.trim();
    Element::all()
        .find(|element| {
            wanted.eq_ignore_ascii_case(element.name())
                || wanted.eq_ignore_ascii_case(element.symbol())
        })
        .ok_or_else(|| {
            let known: Vec<&str> = Element::all().map(Element::name).collect();
            Trouble::new(
                "limit-unknown",
                format!("\"{wanted}\" is no metal that can be limited."),
                MEANS,
                format!("Use one of: {}.", known.join(", ")),
            )
        })
}

fn goal(text: &str) -> Result<Goal, Trouble> {
    let known = GOALS.iter().find(|(word, _)| *word == text.trim());
    known.map(|(_, goal)| *goal).ok_or_else(|| {
        let words = GOALS.map(|(word, _)| word).join(", ");
        Trouble::new(
            "goal-unknown",
            format!("\"{text}\" is no goal of a blend."),
            MEANS,
            format!("Use one of: {words}."),
        )
    })
}

/// Reads `0.4..0.6`, or one share for both bounds.
fn silver_share(text: &str) -> Result<(Decimal, Decimal), Trouble> {
    let (low, high) = text.split_once("..").unwrap_or((text, text));
    let share = |text: &str| {
        Indication::parse_digits(text.trim())
            .filter(|share| (Decimal::ZERO..=Decimal::ONE).contains(share))
    };
    match (share(low), share(high)) {
        (Some(low), Some(high)) if low <= high => Ok((low, high)),
        _ => Err(Trouble::new(
            "share-unreadable",
            format!("\"{text}\" are no bounds on a share."),
            MEANS,
            "Write the least and the most silver in silver and copper together, as in 0.4..0.6: 0 is all copper, 1 all silver.",
        )),
    }
}
