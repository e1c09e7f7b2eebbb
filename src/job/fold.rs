//! A job as the fold of its records.

use std::collections::VecDeque;

use rust_decimal::Decimal;

use super::check::{CheckVerdict, UnitBy};
use super::on_pan::{Loose, OnPan};
use super::record::{Assayed, Captured, Closed, Opened, PanAnswer, Record, What};
use super::terms::OrderId;
use crate::balance::Base;
use crate::mass::{Indication, Mass};
use crate::melt::{Added, Mix, Window};
use crate::metal::Fineness;
use crate::trouble::Trouble;

/// The largest loss of a melt, as a share of it, that is not taken for a slip of the unit where
/// only a check weight stands for that (common practice: clean metal loses under two in a hundred).
const LARGEST_LOSS: Decimal = Decimal::from_parts(2, 0, 0, false, 2);
/// The same for a gain: flux that sticks to the button (our own choice).
const LARGEST_GAIN: Decimal = Decimal::from_parts(5, 0, 0, false, 3);
/// So many divisions are nothing in every unit.
const NOTHING: u32 = 2;
/// How far a load is shown from what it was recorded as, a while later (our own choice).
const LARGEST_DRIFT: Decimal = Decimal::from_parts(2, 0, 0, false, 3);

/// So many orders of a job are known again by their id: whoever sends one twice does so within seconds.
const ORDERS_REMEMBERED: usize = 256;

/// What the file is judged by where the settings of the bench are not at hand.
const TOLERANCE_DIVISIONS: u32 = 3;

/// A job, as its file says it. Changed by [`Job::apply`] and by nothing else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// How it was opened, with the metals to add as they stand now.
    pub opened: Opened,
    /// So many of those metals are of a plan that another took the place of.
    pub(super) dropped: usize,
    /// Those of them, counted from 1, that were in no plan: named when they were ordered.
    pub(super) unplanned: Vec<usize>,
    /// Every capture in order, withdrawn ones included.
    pub weighed: Vec<Weighed>,
    /// What said something of the unit since, each by the `n` of its record.
    pub proofs: Vec<(u64, UnitProof)>,
    /// The weighing that is under way.
    pub expected: Option<Expected>,
    /// What of it lies on the pan.
    pub(super) on_pan: OnPan,
    /// The `n` of the last record that changed what can be decided, and not only what is known.
    pub(super) decided: u64,
    /// Its sums, once it is closed.
    pub closed: Option<Closed>,
    /// The ids of the orders that were carried out last, each with its record.
    pub(super) carried_out: VecDeque<(OrderId, u64)>,
    /// The `n` of the last record.
    pub last: u64,
}

/// What said something of the unit of a balance that sends none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitProof {
    /// A check weight agreed, put beside what the balance showed as this; of files from before that
    /// was kept, nothing.
    Agreed {
        /// What it showed before the weight was put on.
        beside: Option<Indication>,
    },
    /// A check weight did not, or the balance was seen to come back from another unit.
    Failed,
}

/// Why the unit of a capture that rests on a check weight is not proven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum UnitDoubt {
    /// After it the balance was seen in another unit, the check weight did not agree, or the button
    /// is too unlike what went in.
    Seen,
    /// No check weight was shown after it.
    NotShown,
    /// A check weight agreed after it, but nothing that was melted of it was weighed: a key that was
    /// pressed on an empty pan, and back on an empty pan, shows in nothing else.
    NoButton,
    /// A button was weighed, but no check weight was put beside it: the same key may have been
    /// pressed back between the two.
    NotBeside,
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
    /// The record of what it counts from.
    based: u64,
    /// A check weight agreed beside it.
    is_beside: bool,
    /// How many metals to add the job knew of then.
    pub(super) planned: usize,
    /// What an assay found in it, if it is a button: the best known one; of equals the last.
    pub assay: Option<Assayed>,
    /// Every assay of it, in order.
    pub assays: Vec<Assayed>,
}

/// A weighing under way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Expected {
    /// What it is of.
    pub what: What,
    /// What it counts from, once that is known.
    pub base: Option<Indication>,
    /// The record of that, or of the order.
    pub based: u64,
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
            dropped: 0,
            unplanned: Vec::new(),
            weighed: Vec::new(),
            proofs: Vec::new(),
            expected: None,
            on_pan: OnPan::default(),
            decided: n,
            carried_out: VecDeque::new(),
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
        let mut orders = Vec::new();
        let records: Result<Vec<(u64, Record)>, Trouble> = (1..)
            .zip(lines)
            .map(|(n, line)| {
                orders.extend(Record::order_in(line).map(|id| (id, n)));
                Ok((n, Record::from_line(line)?))
            })
            .collect();
        let mut job = Self::replay(records?)?;
        for (id, n) in orders {
            job.was_carried_out(id, n);
        }
        Ok(job)
    }

    /// Remembers that an order was carried out by a record.
    pub(super) fn was_carried_out(&mut self, id: OrderId, n: u64) {
        if self.carried_out.len() == ORDERS_REMEMBERED {
            self.carried_out.pop_front();
        }
        self.carried_out.push_back((id, n));
    }

    /// The record that carried out the order of this id, if one of the last did.
    pub(super) fn carried_out(&self, id: &OrderId) -> Option<u64> {
        let mut orders = self.carried_out.iter();
        orders.find(|(it, _)| it == id).map(|(_, n)| *n)
    }

    /// Takes one more record. Records that make no sense here change nothing: the file is
    /// evidence, not a program.
    pub fn apply(&mut self, record: &Record, n: u64) {
        self.last = n;
        if record.decides() {
            self.decided = n;
        }
        match record {
            Record::Open(_) | Record::Hold { .. } | Record::Resume { .. } => {}
            Record::CheckWeight { checked, .. } => {
                let proof = match checked.verdict {
                    CheckVerdict::Agreed => UnitProof::Agreed {
                        beside: checked.beside,
                    },
                    CheckVerdict::Off | CheckVerdict::OtherUnit => UnitProof::Failed,
                };
                self.take_proof(n, proof);
            }
            Record::Doubt {} => self.take_proof(n, UnitProof::Failed),
            Record::Expect { what, metal } => {
                self.opened.add.extend(metal.clone());
                if metal.is_some() {
                    self.unplanned.push(self.opened.add.len());
                }
                self.expected = Some(Expected {
                    what: what.clone(),
                    base: None,
                    based: n,
                    rest: Mass::ZERO,
                });
            }
            Record::Plan { add } => {
                self.dropped = self.opened.add.len();
                self.opened.add.extend(add.iter().cloned());
                self.expected = None;
            }
            Record::Base { base } => {
                self.on_pan.counted_from(*base, self.pan_tolerance());
                if let Some(expected) = &mut self.expected {
                    (expected.base, expected.based) = (Some(*base), n);
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
                        PanAnswer::Tared => (expected.base, expected.based) = (*base, n),
                        PanAnswer::Back => {}
                        PanAnswer::Anew => (expected.base, expected.rest) = (None, Mass::ZERO),
                    }
                }
            }
            Record::Leave {} => self.expected = None,
            Record::Emptied {} => self.on_pan.emptied(),
            Record::Loose { beside, mass } => self.on_pan.found_loose(Loose {
                beside: *beside,
                mass: *mass,
            }),
            Record::Settled { beside } => self.on_pan.settled(*beside),
            Record::Capture(captured) => self.take_capture(n, captured),
            Record::Withdraw { capture } => {
                let what = self.set_aside(*capture);
                if let Some(what) = what {
                    self.on_pan.withdrawn(*capture, &what);
                }
                // What was under way was counted with it.
                self.expected = None;
            }
            Record::Assay(assayed) => {
                let button = |weighed: &&mut Weighed| {
                    weighed.n == assayed.button && weighed.captured.what == What::Button
                };
                if let Some(button) = self.weighed.iter_mut().find(button) {
                    let best = button.assay.as_ref();
                    if best.is_none_or(|best| assayed.u_ppt <= best.u_ppt) {
                        button.assay = Some(assayed.clone());
                    }
                    button.assays.push(assayed.clone());
                }
            }
            Record::Close(closed) => {
                self.closed = Some(closed.clone());
                self.expected = None;
            }
        }
    }

    /// A mass is recorded.
    fn take_capture(&mut self, n: u64, captured: &Captured) {
        let expected = self.expected.as_ref();
        let based = expected.map_or(n, |expected| expected.based);
        let is_beside = self.was_shown_beside(captured);
        if let Some(replaced) = captured.instead_of {
            self.set_aside(replaced);
        }
        self.on_pan.captured(n, captured);
        self.weighed.push(Weighed {
            n,
            captured: captured.clone(),
            withdrawn: false,
            based,
            is_beside,
            planned: self.opened.add.len(),
            assay: None,
            assays: Vec::new(),
        });
        // A load that was weighed again ends no weighing: the next one still waits.
        if captured.instead_of.is_none() {
            self.expected = None;
        }
    }

    /// Marks a capture as set aside; gives what it was of.
    fn set_aside(&mut self, n: u64) -> Option<What> {
        let weighed = self.weighed.iter_mut().find(|weighed| weighed.n == n)?;
        weighed.withdrawn = true;
        Some(weighed.captured.what.clone())
    }

    /// Within so much of a mass the pan counts as back at it.
    fn pan_tolerance(&self) -> Mass {
        self.opened.division.mass().times(TOLERANCE_DIVISIONS)
    }

    /// Metal that lay with recorded loads and is in no record.
    pub fn loose(&self) -> &[Loose] {
        self.on_pan.loose()
    }

    /// The captures that count.
    pub fn standing(&self) -> impl DoubleEndedIterator<Item = &Weighed> {
        self.weighed.iter().filter(|weighed| !weighed.withdrawn)
    }

    /// The captures that count of which the unit rests on a check weight, and is not proven: why.
    ///
    /// A capture is proven by itself if the check weight agreed beside it, where the balance showed
    /// it as when it was recorded. What went into a melt is proven if the check weight agreed next
    /// after it, and its button is proven by itself and weighs like it.
    pub fn unproven(&self) -> impl Iterator<Item = (&Weighed, UnitDoubt)> {
        let by_weight =
            |weighed: &&Weighed| matches!(weighed.captured.unit_by, UnitBy::CheckWeight(_));
        let melts = match self.standing().find(by_weight) {
            Some(_) => self.melts(),
            None => Vec::new(),
        };
        let step = self.opened.division.mass();
        let melts: Vec<(u64, bool)> = melts
            .into_iter()
            .map(|(melt, button)| {
                let button_mass = button.captured.mass.mass();
                (button.n, is_odd(melt.mass(), button_mass, step))
            })
            .collect();
        self.standing()
            .filter(by_weight)
            .filter_map(move |weighed| Some((weighed, self.doubt_of(weighed, &melts)?)))
    }

    /// Why the unit of a capture is not proven, if it is not. `melts`: the buttons, each with whether
    /// it is unlike what it was melted of.
    fn doubt_of(&self, weighed: &Weighed, melts: &[(u64, bool)]) -> Option<UnitDoubt> {
        let is_button = weighed.captured.what == What::Button;
        let is_in_water = matches!(weighed.captured.what, What::InWater(_));
        // A button speaks for all before it; it is itself in doubt with them.
        let of = melts.iter().find(|(button, _)| *button >= weighed.n);
        let step = self.opened.division.mass();
        let counts_from = weighed.captured.base.mass().abs();
        let is_from_nothing = counts_from <= step.times(NOTHING);
        let is_doubted = |(n, proof): &(u64, UnitProof)| {
            *proof == UnitProof::Failed && (weighed.based..weighed.n).contains(n)
        };
        if !is_from_nothing && self.proofs.iter().any(is_doubted) {
            return Some(UnitDoubt::Seen);
        }
        // The weight beside it proves what is shown now, not what it was counted from.
        if weighed.is_beside && (is_from_nothing || !matches!(of, Some((_, true)))) {
            return None;
        }
        let next = self.proofs.iter().find(|(n, _)| *n > weighed.n);
        match (next.map(|(_, proof)| *proof), of) {
            (Some(UnitProof::Failed), _) | (_, Some((_, true))) => Some(UnitDoubt::Seen),
            (None, _) => Some(UnitDoubt::NotShown),
            (Some(UnitProof::Agreed { .. }), _) if is_button => Some(UnitDoubt::NotBeside),
            // Its density speaks for what was weighed in water.
            (Some(UnitProof::Agreed { .. }), _) if is_in_water => None,
            (Some(UnitProof::Agreed { .. }), None) => Some(UnitDoubt::NoButton),
            (Some(UnitProof::Agreed { .. }), Some((button, false))) => {
                let button = self.standing().find(|other| other.n == *button);
                let is_proven = button.is_none_or(|button| {
                    button.captured.unit_by == UnitBy::Line || button.is_beside
                });
                (!is_proven).then_some(UnitDoubt::NotBeside)
            }
        }
    }

    /// Takes what a check weight said: if it agreed beside a load that the balance shows as it was
    /// recorded, then that was recorded in the same unit. A button may have been taken off and put
    /// back; what else was taken off since is not there.
    fn take_proof(&mut self, n: u64, proof: UnitProof) {
        self.proofs.push((n, proof));
        let UnitProof::Agreed {
            beside: Some(beside),
        } = proof
        else {
            return;
        };
        let rebased = self
            .expected
            .as_ref()
            .is_some_and(|expected| expected.base.is_some());
        let step = self.opened.division.mass();
        let last = self
            .weighed
            .iter_mut()
            .rfind(|weighed| !matches!(weighed.captured.what, What::InWater(_)));
        if let Some(last) = last.filter(|last| !rebased || last.captured.what == What::Button) {
            last.is_beside |= stands_as(&last.captured, beside, step);
        }
    }

    /// Whether a check weight agreed beside a load before it was recorded, and since it was put on.
    fn was_shown_beside(&self, captured: &Captured) -> bool {
        let based = self
            .expected
            .as_ref()
            .map_or(u64::MAX, |expected| expected.based);
        match self.proofs.last() {
            Some((
                n,
                UnitProof::Agreed {
                    beside: Some(beside),
                },
            )) => *n > based && stands_as(captured, *beside, self.opened.division.mass()),
            _ => false,
        }
    }

    /// Whether what the weighing under way counts from was read before the unit was put in doubt
    /// last, so that it may be of another unit. Nothing is nothing in every unit.
    pub fn is_base_doubted(&self) -> bool {
        self.expected.as_ref().is_some_and(|expected| {
            let nothing = self.opened.division.mass().times(NOTHING);
            let counts = expected
                .base
                .is_some_and(|base| base.mass().abs() > nothing);
            counts && self.is_doubted_since(expected.based)
        })
    }

    fn is_doubted_since(&self, based: u64) -> bool {
        let doubts = |(n, proof): &(u64, UnitProof)| *proof == UnitProof::Failed && *n > based;
        self.proofs.iter().any(doubts)
    }

    /// Whether a balance shows a button as when it was recorded, so that a check weight may be put
    /// beside it.
    pub(super) fn is_button_on_pan(&self, shown: Indication) -> bool {
        self.last_button()
            .is_some_and(|button| stands_as(&button.captured, shown, self.opened.division.mass()))
    }

    /// Whether the unit of any capture that counts was put in doubt by what was seen of it.
    pub(super) fn is_unit_doubted(&self) -> bool {
        self.unproven().any(|(_, doubt)| doubt == UnitDoubt::Seen)
    }

    /// Whether a check weight is still to agree after the last capture that rests on one, beside the
    /// button if there is one.
    pub fn wants_check_weight(&self) -> bool {
        self.unproven()
            .any(|(_, doubt)| matches!(doubt, UnitDoubt::NotShown | UnitDoubt::NotBeside))
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

    /// The button, if it is recorded and is not melted again.
    pub fn button(&self) -> Option<Indication> {
        self.last_button().map(|weighed| weighed.captured.mass)
    }

    /// The capture of that button.
    pub fn last_button(&self) -> Option<&Weighed> {
        self.standing()
            .rfind(|weighed| !matches!(weighed.captured.what, What::InWater(_)))
            .filter(|weighed| weighed.captured.what == What::Button)
    }

    /// The last weighing of that button in water.
    pub fn in_water(&self) -> Option<&Weighed> {
        let last = self.standing().next_back()?;
        (self.button().is_some() && matches!(last.captured.what, What::InWater(_))).then_some(last)
    }

    /// The base that a new weighing starts from, with what the pan shows at rest now. Loads that are
    /// recorded must leave the pan before a further lot or the button; an addition, and a weighing in
    /// water, go on from what is there. What was set aside and still lies there is counted from where
    /// it was counted from, so that it is neither left out nor laid on twice.
    pub(super) fn base_for(&self, what: &What, shown: Option<Indication>, tolerance: Mass) -> Base {
        let lies_there = |gross: Indication| {
            shown.is_some_and(|shown| (shown.mass() - gross.mass()).abs() <= tolerance)
        };
        if let Some((load, was)) = self.on_pan.set_aside() {
            let is_alike = match (was, what) {
                (What::Addition { addition: was }, What::Addition { addition }) => {
                    self.metal(*was).map(|metal| &metal.metal)
                        == self.metal(*addition).map(|metal| &metal.metal)
                }
                (What::Lot { .. }, What::Lot { .. }) | (What::Button, What::Button) => true,
                _ => false,
            };
            return if is_alike && lies_there(load.gross) {
                Base::From(load.base)
            } else {
                Base::AfterEmptying(load.base)
            };
        }
        match (what, self.on_pan.ground()) {
            (What::Lot { .. } | What::Button, Some(ground)) => Base::AfterEmptying(ground),
            _ => Base::NextRest,
        }
    }
}

/// Whether the balance shows a capture's load as when it was recorded, but for drift: far nearer
/// than two units are to each other.
fn stands_as(captured: &Captured, shown: Indication, step: Mass) -> bool {
    let (gross, net) = (captured.gross.mass(), captured.mass.mass());
    let drift = Mass::computed((gross.grams() * LARGEST_DRIFT).abs());
    // Beside a heavy dish a light load may be gone.
    let most = Mass::computed((net.grams() / Decimal::TWO).abs());
    (shown.mass() - gross).abs() <= drift.max(step.times(10)).min(most)
}

/// Whether a button weighs so unlike what went in that one of the masses may have been weighed in
/// another unit: no melt of clean metal loses so much, or gains.
fn is_odd(melt: Mass, button: Mass, step: Mass) -> bool {
    let rounding = step.times(5).grams();
    let least = melt.grams() * (Decimal::ONE - LARGEST_LOSS) - rounding;
    let most = melt.grams() * (Decimal::ONE + LARGEST_GAIN) + rounding;
    !(least..=most).contains(&button.grams())
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
