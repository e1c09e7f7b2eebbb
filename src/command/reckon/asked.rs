//! The question: what was typed, and what it means with the shop's shelf, law and bases.

use rust_decimal::Decimal;

use super::{Ask, number};
use crate::command::Common;
use crate::mass::{Class, Division, Indication, Mass, Unit};
use crate::melt::{
    Added, Addition, Demand, FinenessDoubt, Lot, MassDoubt, Mix, NoAnswer, Opening, Reckoning,
    finished_mass, opening, reckon, reckon_for, shares,
};
use crate::metal::{
    Asked, Basis, BasisRules, Composition, Fineness, MarkLaw, Metal, Shelf, Stated,
};
use crate::settings::{read_basis, read_shelf};
use crate::trouble::Trouble;

/// The question with everything that it needs.
pub(super) struct Question {
    pub(super) lots: Vec<Lot>,
    pub(super) add: Vec<Addition>,
    /// The metals of the additions, for what they are made for.
    pub(super) metals: Vec<Metal>,
    pub(super) make: Option<Mass>,
    pub(super) demand: Demand,
    pub(super) division: Division,
    pub(super) repeatability: Option<Mass>,
    pub(super) class: Option<Class>,
    pub(super) law: MarkLaw,
    pub(super) asked: Asked,
    pub(super) shelf: Shelf,
    /// What is supposed for want of a word.
    pub(super) supposed: Vec<String>,
    u_mass: MassDoubt,
}

/// The fine gold that `fine` means.
const FINE: &str = "999.9";

impl Question {
    pub(super) fn of(ask: &Ask, common: &Common) -> Result<Self, Trouble> {
        let folders = common.reading_folders()?;
        let shelf = read_shelf(&folders)?;
        let basis = read_basis(&folders)?;
        let target: Fineness = ask.target.as_deref().unwrap_or_default().parse()?;
        let terms = ask.terms.read(&folders, target)?;
        let mass = |text: &String| text.parse::<Indication>().map(Indication::mass);
        let mut question = Self {
            lots: Vec::new(),
            add: Vec::new(),
            metals: Vec::new(),
            make: ask.make.as_ref().map(mass).transpose()?,
            demand: terms.demand,
            division: terms.division,
            repeatability: terms.repeatability,
            class: terms.class,
            law: terms.law,
            asked: Asked {
                target,
                colour: ask.colour.parse()?,
                purpose: ask.purpose.parse()?,
            },
            shelf,
            supposed: Vec::new(),
            u_mass: terms.u_mass,
        };
        for text in &ask.lots {
            let lot = question.lot(text, &basis)?;
            question.lots.push(lot);
        }
        if ask.with.is_empty()
            && let Some(metal) = question.unsaid()
        {
            question.plan(metal, Decimal::ONE);
        }
        for text in &ask.with {
            let (name, share) = match text.rsplit_once('=') {
                Some((name, share)) => (name, number(share, 1000, "share")?),
                None => (text.as_str(), Decimal::ONE),
            };
            if share.is_zero() {
                return Err(Trouble::new(
                    "number-unreadable",
                    format!("\"{text}\" has no share."),
                    "Nothing is reckoned.",
                    "Write its parts by mass against the others, above 0; or leave it out.",
                ));
            }
            let metal = question.metal(name)?;
            question.plan(metal, share);
        }
        if let Some(gold) = terms.give_away {
            let finished = question.finished_mass();
            question.demand = question.demand.giving_no_more_than(gold, finished);
        }
        Ok(question)
    }

    /// The mass of the finished melt, as far as it is known before it is reckoned.
    fn finished_mass(&self) -> Mass {
        if let Some(make) = self.make {
            return make;
        }
        let lots = self.lots.iter().fold(Mix::NOTHING, |mix, lot| {
            mix.with(lot.mass.unwrap_or_default(), lot.stated)
        });
        finished_mass(&lots, &shares(&self.add), self.demand.target)
    }

    fn lot(&mut self, text: &str, basis: &BasisRules) -> Result<Lot, Trouble> {
        let name = format!("lot {}", self.lots.len() + 1);
        let (mass, fineness) = text.split_once('@').ok_or_else(|| {
            Trouble::new(
                "lot-unreadable",
                format!("\"{text}\" is not a lot."),
                "Nothing is reckoned.",
                "Write its mass, @ and its fineness, as in \"8.20 g@750:xrf\" or 24grain@22k.",
            )
        })?;
        let mass = match mass.trim() {
            "" => None,
            typed => {
                let mass: Indication = typed.parse()?;
                if !mass.mass().is_positive() {
                    return Err(Trouble::new(
                        "lot-without-mass",
                        format!("{name} of {mass} weighs nothing."),
                        "Nothing is reckoned.",
                        "Write what the lot weighs, as in 8.20g@750:xrf.",
                    ));
                }
                if mass.unit() == Unit::Ounce {
                    self.supposed.push(format!(
                        "{name}: oz is the avoirdupois ounce of 28.35 g; the troy ounce of 31.10 g is ozt."
                    ));
                }
                Some(mass.mass())
            }
        };
        if !fineness.contains(':') {
            self.supposed.push(format!(
                "{name}: no basis was given, so its fineness is taken as exact."
            ));
            let stated: Fineness = fineness.parse()?;
            let u = FinenessDoubt::NONE;
            let made_of = Composition::of_gold(stated);
            return Ok(Lot {
                name,
                mass,
                stated,
                taken: stated,
                u,
                even: false,
                made_of,
            });
        }
        let stated: Stated = fineness.parse()?;
        let estimate = stated.estimate(basis);
        Ok(Lot {
            name,
            mass,
            stated: stated.fineness,
            taken: estimate.fineness,
            u: FinenessDoubt::per_mille(estimate.u),
            even: stated.basis == Basis::Stamp && stated.u.is_none(),
            made_of: Composition::of_gold(estimate.fineness),
        })
    }

    fn metal(&self, name: &str) -> Result<Metal, Trouble> {
        if name == "fine" {
            return self.shelf.find(FINE);
        }
        self.shelf.find(name)
    }

    fn plan(&mut self, metal: Metal, share: Decimal) {
        self.add.push(self.addition(&metal, share));
        self.metals.push(metal);
    }

    /// A metal as an addition on this balance. A shelf metal is taken as it is said to be.
    pub(super) fn addition(&self, metal: &Metal, share: Decimal) -> Addition {
        Addition {
            name: metal.name.clone(),
            metal: Added {
                gold: metal.gold,
                u_gold: FinenessDoubt::NONE,
                u_mass: self.u_mass,
            },
            share,
            made_of: metal.composition.clone(),
        }
    }

    /// The metal that is supposed when none is named: fine gold to raise, metal without gold to
    /// lower, none where the lots alone make it.
    fn unsaid(&mut self) -> Option<Metal> {
        let mix = self.lots.iter().fold(Mix::NOTHING, |mix, lot| {
            mix.with_known(lot.mass.unwrap_or_default(), self.u_mass, lot.taken, lot.u)
        });
        let risk = self.demand.risk.chance();
        let (name, says) = if !mix.is_at_most(self.demand.highest) {
            (
                "0 ppt",
                "No metal was named, so metal without gold is added; its make decides the colour.",
            )
        } else if !mix.is_at_least(self.demand.lowest) {
            (
                FINE,
                "No metal was named, so fine gold of 999.9 per mille is added.",
            )
        } else if mix.chance_at_least(self.demand.lowest) < 1.0 - risk {
            (
                FINE,
                "The metal is between the edges, but not surely lawful, and no metal was named: fine gold of 999.9 per mille is added to make it surer.",
            )
        } else {
            return None;
        };
        self.supposed.push(says.to_owned());
        let mut metal = self.shelf.find(name).ok()?;
        if name != FINE {
            "metal without gold".clone_into(&mut metal.name);
        }
        Some(metal)
    }

    /// Two lots without masses and a mass to make.
    pub(super) fn two_of(&self) -> Option<(Mass, &Lot, &Lot)> {
        match (self.make, self.lots.as_slice()) {
            (Some(make), [one, other]) if one.mass.is_none() && other.mass.is_none() => {
                Some((make, one, other))
            }
            _ => None,
        }
    }

    pub(super) fn reckon(&self) -> Result<Reckoning, NoAnswer> {
        self.reckon_with(&self.lots)
    }

    /// What would open an empty window: how well each lot would have to be known.
    pub(super) fn opening(&self) -> Opening {
        opening(&self.lots, |lots| self.reckon_with(lots))
    }

    /// The answer for these lots in place of those typed.
    fn reckon_with(&self, lots: &[Lot]) -> Result<Reckoning, NoAnswer> {
        let Some(make) = self.make else {
            return reckon(lots, &self.add, &self.demand, self.division, self.u_mass);
        };
        let lowers = self
            .add
            .first()
            .is_none_or(|add| add.metal.gold < self.demand.target);
        let filler = lowers.then(|| self.metal("fine").ok()).flatten();
        let filler = filler.map(|metal| self.addition(&metal, Decimal::ONE));
        reckon_for(
            make,
            lots,
            &self.add,
            filler.as_ref(),
            &self.demand,
            self.division,
            self.u_mass,
        )
    }
}
