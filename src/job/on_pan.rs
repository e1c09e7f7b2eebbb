//! What of the job's book lies on the pan, as its records tell: which loads, and what the balance
//! shows when nothing but these lies there.
//!
//! Promises: a fold of records and of nothing else, so that a restart knows what the bench knew;
//! whether metal lies there that is in no record can be told from a reading alone. Leaves to
//! others: the readings, and what is asked about them.

use super::record::{Captured, What};
use crate::mass::{Indication, Mass};

/// A recorded load that has not left the pan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Load {
    /// The record of it.
    pub(super) n: u64,
    /// What it was counted from.
    pub(super) base: Indication,
    /// What the balance showed with it.
    pub(super) gross: Indication,
}

/// Metal that lay with a recorded load and is in no record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Loose {
    /// The record of that load.
    pub beside: u64,
    /// How much more, or less, lay there.
    pub mass: Indication,
}

/// What of the book lies on the pan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct OnPan {
    /// From the first that was put down to the last.
    loads: Vec<Load>,
    /// The load that was set aside last, while it may still lie there, and what it was.
    set_aside: Option<(Load, What)>,
    /// What was laid on or taken off unrecorded, and is not settled.
    loose: Vec<Loose>,
}

impl OnPan {
    pub(super) fn captured(&mut self, n: u64, captured: &Captured) {
        if let Some(replaced) = captured.instead_of {
            self.loads.retain(|load| load.n != replaced);
            self.settled(replaced);
        }
        self.set_aside = None;
        match captured.what {
            // Water, vessels and hangers come and go.
            What::InWater(_) => self.loads.clear(),
            What::Lot { .. } | What::Addition { .. } | What::Button => self.loads.push(Load {
                n,
                base: captured.base,
                gross: captured.gross,
            }),
        }
    }

    pub(super) fn withdrawn(&mut self, n: u64, what: &What) {
        self.settled(n);
        match self.loads.last().copied() {
            Some(load) if load.n == n => {
                self.loads.pop();
                // Of several, all of them lie there.
                self.set_aside = Some((load, what.clone()));
            }
            _ => self.loads.retain(|load| load.n != n),
        }
    }

    /// A weighing counts from here: what lies there stays, or it is not known any more what does.
    pub(super) fn counted_from(&mut self, base: Indication, tolerance: Mass) {
        let is_level = |level: Indication| (level.mass() - base.mass()).abs() <= tolerance;
        if self.level().is_some_and(|level| !is_level(level)) {
            self.emptied();
        }
    }

    pub(super) fn emptied(&mut self) {
        self.loads.clear();
        self.set_aside = None;
    }

    pub(super) fn found_loose(&mut self, loose: Loose) {
        self.settled(loose.beside);
        self.loose.push(loose);
    }

    pub(super) fn settled(&mut self, beside: u64) {
        self.loose.retain(|loose| loose.beside != beside);
    }

    /// What was laid on or taken off unrecorded.
    pub(super) fn loose(&self) -> &[Loose] {
        &self.loose
    }

    /// The load that was recorded last, while it lies there.
    pub(super) fn last(&self) -> Option<Load> {
        self.loads.last().copied()
    }

    /// The load that was set aside last, while it may still lie there.
    pub(super) fn set_aside(&self) -> Option<&(Load, What)> {
        self.set_aside.as_ref()
    }

    /// What the balance shows while all that lies there is in the book; none when nothing is known
    /// to lie there.
    pub(super) fn level(&self) -> Option<Indication> {
        let aside = || self.set_aside.as_ref().map(|(load, _)| load.base);
        self.loads.last().map(|load| load.gross).or_else(aside)
    }

    /// What the balance shows once all of it has left.
    pub(super) fn ground(&self) -> Option<Indication> {
        let aside = || self.set_aside.as_ref().map(|(load, _)| load.base);
        self.loads.first().map(|load| load.base).or_else(aside)
    }
}
