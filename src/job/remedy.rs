//! What puts a melt right: the metals that would, the mark that it may carry as it is, or that it is
//! known too roughly for either.
//!
//! Leaves to others: the ways themselves (`melt`), and when they are told.

use super::fold::Job;
use super::state::BenchRules;
use super::words;
use crate::melt::{Mix, next_mark, ways};

/// So many ways are told; the rest are for `panbell plan`.
const MOST_WAYS: usize = 3;

/// What puts a melt right.
pub(super) struct Remedy {
    /// The first ways, as in "0.42 g of fine gold, or 1.20 g of casting grain".
    metals: Option<String>,
    /// The lower mark that the melt surely may carry as it is.
    mark: Option<String>,
    /// Metal would do if its fineness were known better.
    is_rough: bool,
    is_above: bool,
    is_button: bool,
}

impl Remedy {
    /// What puts this melt of the job right.
    pub(super) fn of(job: &Job, melt: &Mix, rules: &BenchRules) -> Self {
        let (demand, division) = (job.demand(), job.opened.division);
        let is_above = !melt.is_at_most(demand.highest);
        let sources = if is_above {
            job.lowering()
        } else {
            job.sources(rules.shelf.metals())
        };
        let found = ways(melt, &sources, &demand, division);
        let listed: Vec<String> = found
            .iter()
            .take(MOST_WAYS)
            .map(|way| {
                let short = if way.is_in_stock() {
                    ""
                } else {
                    " (more than the shelf holds)"
                };
                let aim = words::shown(job, way.window.aim);
                format!("{aim} of {}{short}", way.source.name)
            })
            .collect();
        let mark = next_mark(melt, &rules.law, &demand)
            .filter(|_| !melt.is_surely_at_least(demand.lowest, demand.risk));
        // The same melt, if nothing of it were in doubt.
        let known = melt
            .fineness()
            .map(|fineness| Mix::NOTHING.with(melt.mass(), fineness));
        let would_do = |known: &Mix| {
            let is_right = known.is_at_least(demand.lowest) && known.is_at_most(demand.highest);
            is_right || !ways(known, &sources, &demand, division).is_empty()
        };
        Self {
            is_rough: listed.is_empty() && known.as_ref().is_some_and(would_do),
            metals: (!listed.is_empty()).then(|| listed.join(", or ")),
            mark: mark.map(|mark| mark.text.clone()),
            is_above,
            is_button: job.last_button().is_some(),
        }
    }

    /// The metals alone.
    pub(super) fn metals(&self) -> Option<&str> {
        self.metals.as_deref()
    }

    /// The lower mark alone.
    pub(super) fn mark(&self) -> Option<&str> {
        self.mark.as_deref()
    }

    /// In whole sentences.
    pub(super) fn told(&self) -> String {
        let first = match (&self.metals, self.is_rough, self.is_button) {
            (Some(metals), ..) => format!("Put it right with {metals}."),
            (None, true, true) => "It is known too roughly for any metal to be sure to put it right: have it assayed by fire.".to_owned(),
            (None, true, false) => "It is known too roughly for any metal to be sure to put it right: have the least known lot assayed, or melt it and have the button assayed.".to_owned(),
            (None, false, _) if self.is_above => {
                "Bring it down with metal of less gold.".to_owned()
            }
            (None, false, _) => "No metal of the shelf puts it right.".to_owned(),
        };
        match &self.mark {
            Some(mark) => format!("{first} As it is it may carry the lower mark {mark}."),
            None => first,
        }
    }
}
