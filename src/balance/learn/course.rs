//! How the values of a family lie in time and load: where they rest, and which of them are far from
//! zero.
//!
//! Promises: noise makes no rest, and hides none. Leaves to others: what stands beside the values
//! (`signs`).

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::Phase;
use super::family::{Family, Line};
use super::groups::enough;
use super::series;

/// Fewer lines than that are taken one by one, as a print key gives them.
const FEW: usize = 12;
/// Lines in a row that are a rest.
const REST: usize = 3;
/// With much on the pan a text that came in fewer than one of so many lines is noise.
const SELDOM: usize = 50;
/// The longest rest is at most so many times as long as any other.
const SHORT: usize = 4;

/// How the rows lie in time and load.
pub(super) struct Course {
    pub(super) values: Vec<Decimal>,
    pub(super) far: Vec<bool>,
    /// Rests with much on the pan, as ranges of rows, in order.
    pub(super) rests: Vec<std::ops::Range<usize>>,
    /// The first of these came after a rest near zero.
    pub(super) begins_empty: bool,
    pub(super) phases: Vec<Option<Phase>>,
    /// Values so near are of one rest.
    pub(super) near: Decimal,
    pub(super) few: bool,
}

/// Runs of values that are one rest; a single other value among them is noise, unless it is zero,
/// between a load and the same one below zero.
fn runs(values: &[Decimal], near: Decimal) -> Vec<std::ops::Range<usize>> {
    let alike = |one: usize, other: usize| {
        let pair = (values.get(one), values.get(other));
        matches!(pair, (Some(one), Some(other)) if (one - other).abs() <= near)
    };
    let mut out = Vec::new();
    let mut from = 0;
    while from < values.len() {
        let mut to = from + 1;
        loop {
            let odd = values.get(to).is_some_and(|value| *value > near);
            if to < values.len() && alike(to - 1, to) {
                to += 1;
            } else if odd && alike(to - 1, to + 1) {
                to += 2;
            } else {
                break;
            }
        }
        out.push(from..to);
        from = to;
    }
    out
}

impl Course {
    pub(super) fn of(family: &Family, lines: &[Line<'_>]) -> Self {
        let points = family.points(lines);
        let near = series::near(&points);
        let values: Vec<Decimal> = points.iter().map(|point| point.value.abs()).collect();
        let most = values.iter().max().copied().unwrap_or_default();
        let edge = (near * Decimal::TWO).max(most * Decimal::new(4, 2));
        let far: Vec<bool> = values.iter().map(|value| *value > edge).collect();
        let few = points.len() < FEW * 2;
        let least = if few { 1 } else { REST };
        let mut rests = Vec::new();
        let mut begins_empty = None;
        for run in runs(&values, near) {
            let (from, to) = (run.start, run.end);
            if run.len() >= least {
                let is_far = far.get(from) == Some(&true);
                if begins_empty.is_none() {
                    begins_empty = Some(!is_far);
                }
                if is_far {
                    rests.push(from..to);
                }
            }
        }
        // A piece that noise cut off a movement is no rest beside the real ones.
        let longest = rests.iter().map(ExactSizeIterator::len).max().unwrap_or(0);
        rests.retain(|rest: &std::ops::Range<usize>| rest.len() * SHORT >= longest);
        Self {
            values,
            far,
            rests,
            begins_empty: begins_empty == Some(true),
            phases: points.iter().map(|point| point.phase).collect(),
            near,
            few,
        }
    }
}

impl Course {
    /// Takes out what noise does to texts: one that is too rare to be any, and a single other one
    /// in the middle of a rest.
    pub(super) fn smooth(&self, texts: &mut [Vec<u8>]) {
        let enough = enough(texts.len());
        let mut counts: BTreeMap<Vec<u8>, usize> = BTreeMap::new();
        for text in &*texts {
            *counts.entry(text.clone()).or_default() += 1;
        }
        let rare = |text: &Vec<u8>| counts.get(text).is_some_and(|count| *count < enough);
        let is_far = |at: usize| self.far.get(at) == Some(&true);
        let mut far: BTreeMap<Vec<u8>, usize> = BTreeMap::new();
        for (at, text) in texts.iter().enumerate() {
            *far.entry(text.clone()).or_default() += usize::from(is_far(at));
        }
        let seldom = (texts.len() / SELDOM).max(2);
        let strays = |at: usize, text: &Vec<u8>| {
            is_far(at) && far.get(text).is_some_and(|count| *count < seldom)
        };
        for at in 0..texts.len() {
            let near = |other: Option<usize>| {
                let pair = (
                    self.values.get(at),
                    other.and_then(|at| self.values.get(at)),
                );
                matches!(pair, (Some(one), Some(other)) if (one - other).abs() <= self.near)
            };
            let before = at.checked_sub(1).and_then(|at| texts.get(at)).cloned();
            let behind = texts.get(at + 1).cloned();
            let within = is_far(at)
                && before.is_some()
                && before == behind
                && near(at.checked_sub(1))
                && near(at.checked_add(1));
            let text = texts.get(at);
            let noise = text.is_some_and(|text| rare(text) || strays(at, text)) || within;
            if let (true, Some(text), Some(new)) =
                (noise && !self.few, texts.get_mut(at), before.or(behind))
            {
                *text = new;
            }
        }
    }
}
