//! A job as the fold of its records.

use super::check::{CheckVerdict, UnitBy};
use super::record::{AddedMetal, Captured, Closed, Opened, PanAnswer, Record, What};
use crate::balance::Base;
use crate::mass::{Indication, Mass};
use rust_decimal::Decimal;

use crate::melt::{
    Added, Demand, FinenessDoubt, Known, MassDoubt, Mix, Planned, Risk, Source, Window,
};
use crate::metal::{Basis, Fineness, Metal};
use crate::trouble::Trouble;

/// The largest loss of a melt, as a share of it, that is not taken for a slip of the unit where
/// only a check weight stands for that (common practice: clean metal loses under two in a hundred).
const LARGEST_LOSS: Decimal = Decimal::from_parts(3, 0, 0, false, 2);
/// The same for a gain: flux that sticks to the button.
const LARGEST_GAIN: Decimal = Decimal::from_parts(1, 0, 0, false, 2);

/// A job, as its file says it. Changed by [`Job::apply`] and by nothing else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// How it was opened, with the metals to add as they stand now.
    pub opened: Opened,
    /// Every capture in order, withdrawn ones included.
    pub weighed: Vec<Weighed>,
    /// What said something of the unit since, each by the `n` of its record.
    pub proofs: Vec<(u64, UnitProof)>,
    /// The weighing that is under way.
    pub expected: Option<Expected>,
    /// Its sums, once it is closed.
    pub closed: Option<Closed>,
    /// The `n` of the last record.
    pub last: u64,
}

/// What said something of the unit of a balance that sends none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitProof {
    /// A check weight agreed.
    Agreed,
    /// A check weight did not, or the balance was seen to come back from another unit.
    Failed,
}

/// A capture in a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Weighed {
    /// Its record.
    pub n: u64,
    /// What it says.
    pub captured: Captured,
    /// Whether it was set aside.
    pub withdrawn: bool,
}

/// A weighing under way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Expected {
    /// What it is of.
    pub what: What,
    /// What it counts from, once that is known.
    pub base: Option<Indication>,
    /// The net at rest that was last recorded.
    pub rest: Mass,
}

impl Job {
    /// A job from its first record; `None` for any other record.
    pub fn begin(record: &Record, n: u64) -> Option<Self> {
        let Record::Open(opened) = record else {
            return None;
        };
        Some(Self {
            opened: opened.clone(),
            weighed: Vec::new(),
            proofs: Vec::new(),
            expected: None,
            closed: None,
            last: n,
        })
    }

    /// The job that these records tell; refused when they cannot be one.
    pub fn replay(records: impl IntoIterator<Item = (u64, Record)>) -> Result<Self, Trouble> {
        let mut records = records.into_iter();
        let begun = records
            .next()
            .and_then(|(n, record)| Self::begin(&record, n));
        let mut job = begun.ok_or_else(|| {
            Trouble::new(
                "job-without-opening",
                "The job file does not begin with the opening of a job.",
                "It cannot be gone on with; the file is left as it is.",
                "Move it out of the book and open the job again.",
            )
        })?;
        for (n, record) in records {
            job.apply(&record, n);
        }
        Ok(job)
    }

    /// The job that the whole lines of its file tell, their chain having been checked.
    pub fn read<'a>(lines: impl IntoIterator<Item = &'a [u8]>) -> Result<Self, Trouble> {
        let records: Result<Vec<(u64, Record)>, Trouble> = (1..)
            .zip(lines)
            .map(|(n, line)| Ok((n, Record::from_line(line)?)))
            .collect();
        Self::replay(records?)
    }

    /// Takes one more record. Records that make no sense here change nothing: the file is
    /// evidence, not a program.
    pub fn apply(&mut self, record: &Record, n: u64) {
        self.last = n;
        match record {
            Record::Open(_) | Record::Hold { .. } | Record::Resume { .. } => {}
            Record::CheckWeight { checked, .. } => {
                let proof = match checked.verdict {
                    CheckVerdict::Agreed => UnitProof::Agreed,
                    CheckVerdict::Off | CheckVerdict::OtherUnit => UnitProof::Failed,
                };
                self.proofs.push((n, proof));
            }
            Record::Doubt {} => self.proofs.push((n, UnitProof::Failed)),
            Record::Expect { what, metal } => {
                self.opened.add.extend(metal.clone());
                self.expected = Some(Expected {
                    what: what.clone(),
                    base: None,
                    rest: Mass::ZERO,
                });
            }
            Record::Base { base } => {
                if let Some(expected) = &mut self.expected {
                    expected.base = Some(*base);
                    expected.rest = Mass::ZERO;
                }
            }
            Record::Reading { net, .. } => {
                if let Some(expected) = &mut self.expected {
                    expected.rest = net.mass();
                }
            }
            Record::Answer { said, base } => {
                if let Some(expected) = &mut self.expected {
                    match said {
                        PanAnswer::Tared => expected.base = *base,
                        PanAnswer::Back => {}
                        PanAnswer::Anew => (expected.base, expected.rest) = (None, Mass::ZERO),
                    }
                }
            }
            Record::Capture(captured) => {
                self.weighed.push(Weighed {
                    n,
                    captured: captured.clone(),
                    withdrawn: false,
                });
                self.expected = None;
            }
            Record::Withdraw { capture } => {
                for weighed in self
                    .weighed
                    .iter_mut()
                    .filter(|weighed| weighed.n == *capture)
                {
                    weighed.withdrawn = true;
                }
            }
            Record::Close(closed) => {
                self.closed = Some(closed.clone());
                self.expected = None;
            }
        }
    }

    /// The captures that count.
    pub fn standing(&self) -> impl DoubleEndedIterator<Item = &Weighed> {
        self.weighed.iter().filter(|weighed| !weighed.withdrawn)
    }

    /// The captures that count of which the unit rests on a check weight that did not agree again
    /// after them: what became of the unit next, if anything is known.
    pub fn unproven(&self) -> impl Iterator<Item = (&Weighed, Option<UnitProof>)> {
        let is_odd_button = self.is_odd_button();
        let by_weight =
            |weighed: &&Weighed| matches!(weighed.captured.unit_by, UnitBy::CheckWeight(_));
        self.standing()
            .filter(by_weight)
            .filter_map(move |weighed| {
                let next = self.proofs.iter().find(|(n, _)| *n > weighed.n);
                let next = match next.map(|(_, proof)| *proof) {
                    _ if is_odd_button => Some(UnitProof::Failed),
                    next => next,
                };
                (next != Some(UnitProof::Agreed)).then_some((weighed, next))
            })
    }

    /// Whether the button weighs so unlike what went in that one of the masses may have been
    /// weighed in another unit: no melt of clean metal loses so much, or gains.
    fn is_odd_button(&self) -> bool {
        let Some(button) = self.button().map(Indication::mass) else {
            return false;
        };
        let melt = self.melt().mass().grams();
        let least = melt * (Decimal::ONE - LARGEST_LOSS);
        let most = melt * (Decimal::ONE + LARGEST_GAIN);
        !(least..=most).contains(&button.grams())
    }

    /// Whether a check weight is still to agree after the last capture that rests on one.
    pub fn wants_check_weight(&self) -> bool {
        self.unproven().any(|(_, next)| next.is_none())
    }

    /// The lots that count, with the fineness that they are taken for.
    pub fn lots(&self) -> impl Iterator<Item = (&Weighed, Fineness)> {
        self.standing()
            .filter_map(|weighed| match &weighed.captured.what {
                What::Lot { taken, .. } => Some((weighed, *taken)),
                _ => None,
            })
    }

    /// The mass of an addition, counted from 1, if it is recorded.
    pub fn added(&self, addition: usize) -> Option<Indication> {
        self.standing()
            .find(|weighed| weighed.captured.what == What::Addition { addition })
            .map(|weighed| weighed.captured.mass)
    }

    /// The button, if it is recorded.
    pub fn button(&self) -> Option<Indication> {
        self.standing()
            .rfind(|weighed| weighed.captured.what == What::Button)
            .map(|weighed| weighed.captured.mass)
    }

    /// Everything that is in the melt so far: what was really weighed.
    pub fn melt(&self) -> Mix {
        self.standing()
            .fold(Mix::NOTHING, |mix, weighed| match &weighed.captured.what {
                What::Lot { taken, u_ppt, .. } => self.with_weighed(mix, weighed, *taken, *u_ppt),
                What::Addition { addition } => match self.metal(*addition) {
                    Some(metal) => self.with_weighed(mix, weighed, metal.gold, metal.u_ppt),
                    None => mix,
                },
                What::Button => mix,
            })
    }

    fn with_weighed(&self, mix: Mix, weighed: &Weighed, gold: Fineness, u_ppt: Decimal) -> Mix {
        let mass = weighed.captured.mass.mass();
        mix.with_known(mass, self.u_mass(), gold, FinenessDoubt::per_mille(u_ppt))
    }

    fn u_mass(&self) -> MassDoubt {
        MassDoubt::of_decimal(self.opened.u_mass_g)
    }

    /// Everything in the melt so far, by name, with how well it is known.
    pub fn known(&self) -> Vec<Known> {
        let mut lots = 0;
        let mut known = Vec::new();
        for weighed in self.standing() {
            let (name, gold, u_ppt, even) = match &weighed.captured.what {
                What::Lot {
                    taken,
                    u_ppt,
                    basis,
                    ..
                } => {
                    lots += 1;
                    (
                        format!("lot {lots}"),
                        *taken,
                        *u_ppt,
                        *basis == Basis::Stamp,
                    )
                }
                What::Addition { addition } => match self.metal(*addition) {
                    Some(metal) => (metal.name.clone(), metal.gold, metal.u_ppt, false),
                    None => continue,
                },
                What::Button => continue,
            };
            let mass = weighed.captured.mass.mass();
            let u_gold = FinenessDoubt::per_mille(u_ppt);
            known.push(Known {
                name,
                mass,
                u_mass: self.u_mass(),
                gold,
                u_gold,
                even,
            });
        }
        known
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
            .fold(Mix::NOTHING, |mix, weighed| match &weighed.captured.what {
                What::Lot { taken, u_ppt, .. } => self.with_weighed(mix, weighed, *taken, *u_ppt),
                _ => mix,
            })
    }

    /// The metal of an addition, counted from 1.
    pub fn metal(&self, addition: usize) -> Option<&AddedMetal> {
        self.opened.add.get(addition.checked_sub(1)?)
    }

    /// The additions that are not recorded yet, counted from 1, in order.
    pub fn to_come(&self) -> Vec<usize> {
        (1..=self.opened.add.len())
            .filter(|addition| self.added(*addition).is_none())
            .collect()
    }

    /// What the finished melt must be.
    pub fn demand(&self) -> Demand {
        Demand {
            target: self.opened.target,
            lowest: self.opened.lowest,
            highest: self.opened.highest,
            risk: Risk::new(self.opened.risk).unwrap_or_default(),
        }
    }

    /// The masses still to come, by exact mass balance from what was really weighed: `None` where
    /// the metals left cannot bring it to the aim.
    pub fn plan(&self) -> Option<Vec<(usize, Mass)>> {
        self.plan_from(&self.melt(), &self.to_come())
    }

    fn plan_from(&self, done: &Mix, to_come: &[usize]) -> Option<Vec<(usize, Mass)>> {
        let planned: Vec<Planned> = to_come
            .iter()
            .filter_map(|addition| self.metal(*addition))
            .map(|metal| Planned {
                gold: metal.gold,
                share: metal.share,
            })
            .collect();
        let masses = crate::melt::plan(done, &planned, &self.demand())?;
        Some(to_come.iter().copied().zip(masses).collect())
    }

    /// Everything that the finished melt holds beside this addition: what was weighed, and the
    /// others still to come as planned. Others that no plan can hold count as left out.
    pub fn rest_of_melt(&self, addition: usize) -> Mix {
        let done = self.melt();
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
        self.plan_from(&self.added_as(metal).to(&self.melt(), mass), &later)
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

    /// The base that a new weighing starts from: a load that was captured must leave the pan
    /// first, an addition goes on from what is there.
    pub fn base_for(&self, what: &What, standing_load: Option<Indication>) -> Base {
        match (what, standing_load) {
            (What::Lot { .. } | What::Button, Some(base)) => Base::AfterEmptying(base),
            _ => Base::NextRest,
        }
    }

    /// What the last load was counted from, if the last capture was of a load.
    pub fn last_load(&self) -> Option<Indication> {
        let last = self.weighed.last()?;
        (!matches!(last.captured.what, What::Addition { .. })).then_some(last.captured.base)
    }
}

/// An addition under way with its window and the melt around it, worked out once when it is armed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adding {
    /// Its place, from 1.
    pub addition: usize,
    /// The metal.
    pub metal: Added,
    /// Everything else in the finished melt.
    pub rest: Mix,
    /// Its window.
    pub window: Window,
}

impl Adding {
    /// The finished melt if so much were added.
    pub fn melt_with(&self, mass: Mass) -> Mix {
        self.metal.to(&self.rest, mass)
    }
}
