//! The metals of a job: what is in the melt, what is still to come, and what could put it right.
//!
//! A button that is melted again counts as what it is known to be: by its assay, else by what went
//! in and what was lost. Leaves to others: how captures came to be (`fold`).

use rust_decimal::Decimal;

use super::fold::{Job, Weighed};
use super::record::{AddedMetal, What};
use crate::mass::{Indication, Mass};
use crate::melt::{
    Added, Demand, FinenessDoubt, Known, MassDoubt, Mix, Planned, Risk, Source, finished_mass,
};
use crate::metal::{Basis, Composition, Fineness, Metal};

/// One metal of the present melt.
enum Part<'a> {
    /// A lot, by its place among the lots that count.
    Lot(usize),
    /// A metal added.
    Added(&'a AddedMetal),
    /// The button of the melt before.
    Button(Mix),
}

impl Job {
    /// The captures that make up the present melt, the button of an earlier one among them.
    fn parts(&self) -> Vec<(Part<'_>, &Weighed)> {
        self.parts_and_button().0
    }

    /// The same, and the button that came out of it, if it did.
    fn parts_and_button(&self) -> (Vec<(Part<'_>, &Weighed)>, Option<&Weighed>) {
        self.walk(|_, _| {})
    }

    /// Every melt that a button came out of, in order: what was in it, and the button.
    pub(super) fn melts(&self) -> Vec<(Mix, &Weighed)> {
        let mut melts = Vec::new();
        let (parts, button) = self.walk(|melt, button| melts.push((melt, button)));
        melts.extend(button.map(|button| (self.mix_of(&parts), button)));
        melts
    }

    /// Goes through the melts; the last is given back, those before it are told.
    fn walk<'a>(
        &'a self,
        mut before: impl FnMut(Mix, &'a Weighed),
    ) -> (Vec<(Part<'a>, &'a Weighed)>, Option<&'a Weighed>) {
        let (mut parts, mut lots, mut button) = (Vec::new(), 0, None);
        for weighed in self.standing() {
            let part = match &weighed.captured.what {
                What::Lot { .. } => {
                    lots += 1;
                    Part::Lot(lots)
                }
                What::Addition { addition } => match self.metal(*addition) {
                    Some(metal) => Part::Added(metal),
                    None => continue,
                },
                What::Button => {
                    // It is the melt from here on, but only if something is melted with it.
                    button = Some(weighed);
                    continue;
                }
                What::InWater(_) => continue,
            };
            if let Some(again) = button.take() {
                let melt = self.mix_of(&parts);
                before(melt, again);
                parts = vec![(Part::Button(self.known_button(melt, again)), again)];
            }
            parts.push((part, weighed));
        }
        (parts, button)
    }

    /// What a further addition would be melted with: the button, once there is one.
    fn parts_ahead(&self) -> Vec<(Part<'_>, &Weighed)> {
        match self.parts_and_button() {
            (parts, None) => parts,
            (parts, Some(button)) => {
                let known = self.known_button(self.mix_of(&parts), button);
                vec![(Part::Button(known), button)]
            }
        }
    }

    fn mix_of(&self, parts: &[(Part<'_>, &Weighed)]) -> Mix {
        parts
            .iter()
            .fold(Mix::NOTHING, |mix, (part, weighed)| match part {
                Part::Lot(_) => self.with_lot(mix, weighed),
                Part::Added(metal) => self.with_weighed(mix, weighed, metal.gold, metal.u_ppt),
                Part::Button(known) => *known,
            })
    }

    /// A button as metal, by its assay or else by the melt that it came from.
    fn known_button(&self, melt: Mix, button: &Weighed) -> Mix {
        let mass = button.captured.mass.mass();
        match &button.assay {
            Some(assay) => self.with_weighed(Mix::NOTHING, button, assay.taken, assay.u_ppt),
            // One that gained counts as it stands; an order to melt it again was refused.
            None => melt
                .button(mass, self.u_mass())
                .or_else(|| Some(Mix::NOTHING.with(mass, melt.fineness()?)))
                .unwrap_or(Mix::NOTHING),
        }
    }

    /// The button as metal to go on with; `None` without one, or with one that is heavier than what
    /// went in and was not assayed.
    pub fn button_metal(&self) -> Option<Mix> {
        let (parts, button) = self.parts_and_button();
        let (melt, button) = (self.mix_of(&parts), button?);
        if button.assay.is_none() {
            melt.button(button.captured.mass.mass(), self.u_mass())?;
        }
        Some(self.known_button(melt, button))
    }

    /// What a button of the present melt is by mass balance and its loss alone; `None` where it
    /// gained.
    pub(super) fn by_mass_balance(&self, button: Indication) -> Option<Mix> {
        self.melt().button(button.mass(), self.u_mass())
    }

    /// What everything that was put in is made of; `None` before anything was.
    pub fn made_of(&self) -> Option<Composition> {
        Composition::mixed(self.put_in_of().iter().map(|(mass, of)| (*mass, of)))
    }

    /// What the melt will be made of when everything planned was added; `None` where no plan
    /// brings it to its target.
    pub fn to_be_made_of(&self) -> Option<Composition> {
        let mut parts = self.put_in_of();
        for (addition, mass) in self.plan()? {
            parts.push((mass, self.metal(addition)?.made_of.clone()));
        }
        Composition::mixed(parts.iter().map(|(mass, of)| (*mass, of)))
    }

    /// The mass of everything that was put in, and what each is made of.
    fn put_in_of(&self) -> Vec<(Mass, Composition)> {
        self.standing()
            .filter_map(|weighed| {
                let made_of = match &weighed.captured.what {
                    What::Lot { taken, .. } => Composition::of_gold(*taken),
                    What::Addition { addition } => self.metal(*addition)?.made_of.clone(),
                    What::Button | What::InWater(_) => return None,
                };
                Some((weighed.captured.mass.mass(), made_of))
            })
            .collect()
    }

    /// Everything that is in the present melt: what was really weighed.
    pub fn melt(&self) -> Mix {
        self.mix_of(&self.parts())
    }

    /// Whether a button of this job was melted again.
    pub(super) fn is_melted_again(&self) -> bool {
        matches!(self.parts().first(), Some((Part::Button(_), _)))
    }

    /// What further metal would be melted with: the melt so far, or the button that came of it.
    pub fn so_far(&self) -> Mix {
        self.mix_of(&self.parts_ahead())
    }

    /// Every lot and addition that was put in since the job began, by what it was taken for.
    pub fn put_in(&self) -> Mix {
        self.standing()
            .fold(Mix::NOTHING, |mix, weighed| match &weighed.captured.what {
                What::Lot { .. } => self.with_lot(mix, weighed),
                What::Addition { addition } => match self.metal(*addition) {
                    Some(metal) => self.with_weighed(mix, weighed, metal.gold, metal.u_ppt),
                    None => mix,
                },
                What::Button | What::InWater(_) => mix,
            })
    }

    fn with_lot(&self, mix: Mix, weighed: &Weighed) -> Mix {
        match &weighed.captured.what {
            What::Lot { taken, u_ppt, .. } => self.with_weighed(mix, weighed, *taken, *u_ppt),
            _ => mix,
        }
    }

    fn with_weighed(&self, mix: Mix, weighed: &Weighed, gold: Fineness, u_ppt: Decimal) -> Mix {
        let mass = weighed.captured.mass.mass();
        mix.with_known(mass, self.u_mass(), gold, FinenessDoubt::per_mille(u_ppt))
    }

    pub(super) fn u_mass(&self) -> MassDoubt {
        MassDoubt::of_decimal(self.opened.u_mass_g).with_common(self.opened.u_balance_g)
    }

    /// Everything that further metal would be melted with, by name, with how well it is known.
    pub fn known(&self) -> Vec<Known> {
        let known = |(part, weighed): (Part<'_>, &Weighed)| {
            let (name, gold, u_ppt, even) = match (part, &weighed.captured.what) {
                (
                    Part::Lot(place),
                    What::Lot {
                        taken,
                        u_ppt,
                        basis,
                        ..
                    },
                ) => (
                    format!("lot {place}"),
                    *taken,
                    *u_ppt,
                    *basis == Basis::Stamp,
                ),
                (Part::Added(metal), _) => (metal.name.clone(), metal.gold, metal.u_ppt, false),
                (Part::Button(button), _) => (
                    "the button".to_owned(),
                    button.fineness()?,
                    button.known_to_ppt(),
                    false,
                ),
                _ => return None,
            };
            Some(Known {
                name,
                mass: weighed.captured.mass.mass(),
                u_mass: self.u_mass(),
                gold,
                u_gold: FinenessDoubt::per_mille(u_ppt),
                even,
            })
        };
        self.parts_ahead().into_iter().filter_map(known).collect()
    }

    /// A metal of this job as an addition: how well it is known, and how well it is weighed here.
    pub fn added_as(&self, metal: &AddedMetal) -> Added {
        Added {
            gold: metal.gold,
            u_gold: FinenessDoubt::per_mille(metal.u_ppt),
            u_mass: self.u_mass(),
        }
    }

    /// The client's metal alone.
    pub fn client_metal(&self) -> Mix {
        self.standing()
            .fold(Mix::NOTHING, |mix, weighed| self.with_lot(mix, weighed))
    }

    /// The metal of an addition, counted from 1.
    pub fn metal(&self, addition: usize) -> Option<&AddedMetal> {
        self.opened.add.get(addition.checked_sub(1)?)
    }

    /// The additions that are not recorded yet, counted from 1, in order. What was planned for a
    /// melt that is over does not come any more.
    pub fn to_come(&self) -> Vec<usize> {
        let over = self
            .standing()
            .rfind(|weighed| weighed.captured.what == What::Button)
            .map_or(0, |button| button.planned)
            .max(self.dropped);
        (over + 1..=self.opened.add.len())
            .filter(|addition| self.is_awaited(*addition))
            .collect()
    }

    /// Whether an addition is not recorded yet and ought to be: one that was in no plan only while it
    /// is weighed.
    fn is_awaited(&self, addition: usize) -> bool {
        let is_weighed = || {
            let expected = self.expected.as_ref().map(|expected| &expected.what);
            expected == Some(&What::Addition { addition })
        };
        self.added(addition).is_none() && (!self.unplanned.contains(&addition) || is_weighed())
    }

    /// Every addition that was planned and is not recorded, counted from 1, in order.
    pub fn left_out(&self) -> Vec<usize> {
        (self.dropped + 1..=self.opened.add.len())
            .filter(|addition| self.is_awaited(*addition))
            .collect()
    }

    /// What the finished melt must be.
    pub fn demand(&self) -> Demand {
        let demand = Demand {
            target: self.opened.target,
            lowest: self.opened.lowest,
            highest: self.opened.highest,
            risk: Risk::new(self.opened.risk).unwrap_or_default(),
        };
        let limit = self.opened.give_away_g.and_then(Mass::from_grams);
        limit.map_or(demand, |gold| {
            demand.giving_no_more_than(gold, self.finished_mass())
        })
    }

    /// The mass of the finished melt, by what is planned to come.
    fn finished_mass(&self) -> Mass {
        finished_mass(
            &self.so_far(),
            &self.planned(&self.to_come()),
            self.opened.target,
        )
    }

    fn planned(&self, additions: &[usize]) -> Vec<Planned> {
        additions
            .iter()
            .filter_map(|addition| self.metal(*addition))
            .map(|metal| Planned {
                gold: metal.gold,
                share: metal.share,
            })
            .collect()
    }

    /// The masses still to come, by exact mass balance from what was really weighed: `None` where
    /// the metals left cannot bring it to the aim.
    pub fn plan(&self) -> Option<Vec<(usize, Mass)>> {
        self.plan_from(&self.so_far(), &self.to_come())
    }

    fn plan_from(&self, done: &Mix, to_come: &[usize]) -> Option<Vec<(usize, Mass)>> {
        let planned = self.planned(to_come);
        let masses = crate::melt::plan(done, &planned, &self.demand())?;
        Some(to_come.iter().copied().zip(masses).collect())
    }

    /// Everything that the finished melt holds beside this addition: what was weighed, and the
    /// others still to come as planned. Others that no plan can hold count as left out.
    pub fn rest_of_melt(&self, addition: usize) -> Mix {
        let done = self.so_far();
        let others = |plan: &[(usize, Mass)]| {
            plan.iter()
                .filter(|(at, _)| *at != addition)
                .fold(done, |mix, (at, mass)| match self.metal(*at) {
                    Some(metal) => self.added_as(metal).to(&mix, *mass),
                    None => mix,
                })
        };
        self.plan().map_or(done, |plan| others(&plan))
    }

    /// What becomes of the additions after this one if so much of it is weighed; `None` where no
    /// mass of them brings the melt to the aim any more.
    pub fn plan_after(&self, addition: usize, mass: Mass) -> Option<Vec<(usize, Mass)>> {
        let metal = self.metal(addition)?;
        let later: Vec<usize> = self
            .to_come()
            .into_iter()
            .filter(|at| *at != addition)
            .collect();
        if later.is_empty() {
            return None;
        }
        self.plan_from(&self.added_as(metal).to(&self.so_far(), mass), &later)
    }

    /// The metals of this job that could bring a melt down: what is planned decides the colour.
    pub(super) fn lowering(&self) -> Vec<Source> {
        let mut sources: Vec<Source> = Vec::new();
        for metal in self.opened.add.iter().skip(self.dropped) {
            if metal.gold < self.opened.lowest && sources.iter().all(|it| it.name != metal.name) {
                sources.push(Source {
                    name: metal.name.clone(),
                    metal: self.added_as(metal),
                    stock: None,
                    price: None,
                });
            }
        }
        sources
    }

    /// The metals that could put a melt right: fine gold and richer metals of this job and of the
    /// shelf, and further lots like those weighed.
    pub fn sources(&self, metals: &[Metal]) -> Vec<Source> {
        let richer = |gold: Fineness| gold > self.opened.highest;
        let like = |gold: Fineness| Added {
            u_mass: self.u_mass(),
            ..gold.into()
        };
        let mut sources: Vec<Source> = metals
            .iter()
            .filter(|metal| richer(metal.gold))
            .map(|metal| Source {
                name: metal.name.clone(),
                metal: like(metal.gold),
                stock: metal.stock.map(Indication::mass),
                price: metal.price.as_ref().map(|price| price.per_gram),
            })
            .collect();
        if sources.is_empty() {
            let metal = like(Fineness::pure());
            sources.push(Source {
                name: "fine gold".to_owned(),
                metal,
                stock: None,
                price: None,
            });
        }
        for (at, (weighed, taken)) in self.lots().enumerate() {
            if let What::Lot { u_ppt, .. } = &weighed.captured.what
                && richer(taken)
            {
                let metal = Added {
                    u_gold: FinenessDoubt::per_mille(*u_ppt),
                    ..like(taken)
                };
                let name = format!("a further lot like lot {}", at + 1);
                sources.push(Source {
                    name,
                    metal,
                    stock: None,
                    price: None,
                });
            }
        }
        sources
    }
}
