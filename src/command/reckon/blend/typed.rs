//! The parts of the question of a blend, each as it is typed.
//!
//! Promises: what cannot be read is told with what can; what is left out is supposed aloud. Leaves
//! to others: what is done with them.

use rust_decimal::Decimal;

use super::super::number;
use super::Blend;
use crate::mass::{Indication, Mass, typed_list, typed_number_to};
use crate::melt::{FinenessDoubt, Goal, Limit};
use crate::metal::{
    Basis, BasisRules, Composition, Element, Fineness, Metal, Purpose, Shelf, Stated,
};
use crate::trouble::Trouble;

/// A lot of the client's metal.
pub(super) struct Lot {
    pub(super) name: String,
    pub(super) mass: Mass,
    pub(super) u: FinenessDoubt,
    pub(super) even: bool,
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

/// A finished mass, above zero.
pub(super) fn made(text: &str) -> Result<Mass, Trouble> {
    let mass = text.parse::<Indication>()?.mass();
    if mass.is_positive() {
        return Ok(mass);
    }
    Err(Trouble::new(
        "make-nothing",
        format!("A finished mass of {text} is nothing to make."),
        MEANS,
        "Give the finished mass wanted, as in --make \"12.00 g\", or leave it out.",
    ))
}

/// The metals that may be added: those named, or all of the shelf that are made for this.
pub(super) fn metals(
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
pub(super) fn currency(metals: &[Metal]) -> Result<Option<String>, Trouble> {
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

pub(super) fn lot(
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

pub(super) fn limits(typed: &Blend) -> Result<Vec<Limit>, Trouble> {
    let mut limits = Vec::new();
    for name in typed.no.iter().flat_map(|names| names.split(',')) {
        limits.push(Limit::AtMost(element(name)?, Decimal::ZERO));
    }
    let both = [(&typed.at_most, true), (&typed.at_least, false)];
    for (texts, is_most) in both {
        for text in texts.iter().flat_map(|texts| typed_list(texts)) {
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

pub(super) fn goal(text: &str) -> Result<Goal, Trouble> {
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
pub(super) fn silver_share(text: &str) -> Result<(Decimal, Decimal), Trouble> {
    let (low, high) = text.split_once("..").unwrap_or((text, text));
    let share = |text: &str| {
        typed_number_to(text.trim(), Decimal::ONE)
            .ok()
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
