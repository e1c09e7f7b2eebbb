//! Metal that lies on the pan and is in no record: seen, told, and asked about before a step that
//! would make it final.
//!
//! While no weighing counts, the pan shows what is recorded (`on_pan`), or nothing. Whatever else it
//! shows at rest was laid on or taken off, and nobody counts it. Leaves to others: the hold's way to
//! the person, and the orders that put it right.

use std::time::Duration;

use super::hold::Cause;
use super::on_pan::Loose;
use super::order::Effect;
use super::record::Record;
use super::state::State;
use super::words;
use crate::balance::{Base, Tracked};
use crate::mass::{Indication, Moment};

/// A hand that changes one load for the next may rest on the pan so long before it is told of.
const PATIENCE: Duration = Duration::from_millis(1500);

/// Metal that lies there now and is in no record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LooseNow {
    /// The load that it lies with.
    pub(super) beside: u64,
    /// How much more lies there than was recorded; less, if negative.
    pub(super) mass: Indication,
    /// What the whole load would be with it.
    pub(super) whole: Indication,
}

impl State {
    /// Looks at a pan at rest while nothing is counted on it.
    pub(super) fn look_for_loose(&mut self, tracked: &Tracked, at: Moment, out: &mut Vec<Effect>) {
        let is_kept = self.pending.is_none() && !self.holds.has(Cause::Disk);
        if !tracked.steady || !is_kept || self.open_job().is_none() {
            return;
        }
        let loose = self.loose_now();
        if loose.is_none() {
            (self.loose_since, self.loose_told) = (None, None);
        }
        if self.has_left(tracked.gross) {
            return self.follow_up(Record::Emptied {}, out);
        }
        let Some(loose) = loose else {
            let last = self.open_job().and_then(|job| job.on_pan.last());
            let is_back = !self.is_pan_lifted();
            let settled = last.map(|load| load.n).filter(|n| self.is_loose_known(*n));
            if let Some(beside) = settled.filter(|_| is_back) {
                self.follow_up(Record::Settled { beside }, out);
            }
            return;
        };
        let since = *self.loose_since.get_or_insert(at);
        if at.since(since) < PATIENCE || self.loose_told == Some(loose.mass) {
            return;
        }
        self.loose_told = Some(loose.mass);
        let (beside, mass) = (loose.beside, loose.mass);
        let is_known = self.open_job().is_some_and(|job| {
            let mut known = job.loose().iter();
            known.any(|known| known.beside == beside && known.mass == mass)
        });
        if !is_known {
            self.follow_up(Record::Loose { beside, mass }, out);
        }
        if let Some(job) = &self.job {
            let (why, mend) = words::loose(job, &loose);
            self.holds.begin(Cause::Pan, why, mend, Duration::ZERO, at);
        }
    }

    /// Whether all that is recorded as lying on the pan has left it: the balance is back at what it
    /// showed before the first of it was put down.
    fn has_left(&self, gross: Indication) -> bool {
        let ground = self.open_job().and_then(|job| job.on_pan.ground());
        let rules = &self.rules.pan;
        ground.is_some_and(|ground| {
            let (now, ground) = (gross.mass(), ground.mass());
            // Zeroed since, where no dish stood before.
            let is_zeroed = now.abs() <= rules.tolerance && ground <= rules.least_load;
            (now - ground).abs() <= rules.tolerance || is_zeroed
        })
    }

    /// Whether the balance rests at less than it showed before anything was recorded: the dish was
    /// lifted, or the balance zeroed, and it is not known from what a weighing could count.
    pub(super) fn is_pan_lifted(&self) -> bool {
        let ground = self.open_job().and_then(|job| job.on_pan.ground());
        let rests = self.pan.last().filter(|tracked| tracked.steady);
        ground.zip(rests).is_some_and(|(ground, tracked)| {
            tracked.gross.mass() < ground.mass() - self.rules.pan.tolerance
        })
    }

    /// What the file may have missed of the pan while it could not be written.
    pub(super) fn tell_pan_again(&mut self, out: &mut Vec<Effect>) {
        let Some(job) = self.open_job() else { return };
        let loose = job.loose().to_vec();
        let (ground, last) = (job.on_pan.ground(), job.on_pan.last());
        if ground.is_none() {
            self.follow_up(Record::Emptied {}, out);
        } else if let Some(beside) = last.map(|load| load.n).filter(|n| !self.is_loose_known(*n)) {
            self.follow_up(Record::Settled { beside }, out);
        }
        for Loose { beside, mass } in loose {
            self.follow_up(Record::Loose { beside, mass }, out);
        }
    }

    /// Whether the file says so of a load already.
    fn is_loose_known(&self, beside: u64) -> bool {
        let job = self.open_job();
        job.is_some_and(|job| job.loose().iter().any(|known| known.beside == beside))
    }

    /// The metal on the pan that is in no record, as it rests there now. A load that was set aside is
    /// weighed again or taken off, and is not asked about.
    pub(super) fn loose_now(&self) -> Option<LooseNow> {
        if matches!(self.pan.base(), Some(Base::From(_))) {
            return None;
        }
        let load = self.open_job()?.on_pan.last()?;
        let tracked = self.pan.last().filter(|tracked| tracked.steady)?;
        let mass = tracked.gross.minus(load.gross)?;
        let is_loose = mass.mass().abs() > self.rules.pan.tolerance;
        if !is_loose || self.has_left(tracked.gross) || self.is_pan_lifted() {
            return None;
        }
        Some(LooseNow {
            beside: load.n,
            mass,
            whole: tracked.gross.minus(load.base)?,
        })
    }
}
