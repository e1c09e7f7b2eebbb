//! What is on the pan, and what a weighing counts from.
//!
//! A weighing starts from what is on the pan when it is armed (software tare): the first reading
//! at rest is its base. Before a load may be captured the pan must have been emptied of the one
//! before. If the pan becomes lighter than it can by itself - the dish lifted, all metal taken
//! off, or the balance's own tare key pressed - the three look alike or nearly so; the weighing
//! stands still until the pan is back as it was, or the person says which it was.

use std::time::Duration;

use super::{Arrival, Steadiness, SteadyRule, Stillness};
use crate::mass::{Division, Indication, Mass, Moment, Status};

/// The rules of a pan, in masses of its balance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PanRules {
    /// The division.
    pub division: Division,
    /// When it is at rest.
    pub steady: SteadyRule,
    /// Within this of a mass counts as back at it.
    pub tolerance: Mass,
    /// The least load that counts as one.
    pub least_load: Mass,
}

/// What a weighing counts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Base {
    /// The pan must first be back at this, with the last load gone.
    AfterEmptying(Indication),
    /// Whatever is on the pan when it next comes to rest.
    NextRest,
    /// This, as indicated.
    From(Indication),
}

/// What one reading made of the pan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tracked {
    /// What the balance shows.
    pub gross: Indication,
    /// What is on the pan above the base; none before there is a base.
    pub net: Option<Indication>,
    /// Whether the pan is at rest.
    pub steady: bool,
    /// The base was taken by this reading.
    pub base_taken: bool,
    /// What was read before says nothing of the time right before this reading.
    pub after_gap: bool,
}

/// The pan became lighter than by taking a little off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Low {
    gross: Indication,
    /// Nothing but a lifted dish explains it; the tare key cannot.
    certain: bool,
    between_since: Option<Moment>,
    disturbed: bool,
}

/// Follows one weighing on the pan.
#[derive(Debug, Clone)]
pub struct Pan {
    rules: PanRules,
    steadiness: Steadiness,
    weighing: Option<Weighing>,
    last: Option<Tracked>,
    heard: Moment,
    /// What is known to have stood there at rest: last, and under the weighings so far.
    known: [Option<Mass>; KNOWN],
}

#[derive(Debug, Clone, Copy)]
struct Weighing {
    base: Base,
    /// Only what is known may be its base; anything else is asked about.
    asks: Asks,
    /// What came to rest there and is not known.
    doubted: Option<Indication>,
    /// What lay there at the order, at rest or not, as long as it did not change.
    at_order: Option<Mass>,
    /// Net when last at rest.
    rest: Mass,
    /// Net rose above that since.
    poured: bool,
    low: Option<Low>,
}

/// What is asked about before it becomes a base.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asks {
    Nothing,
    /// What is not known to have stood there.
    Unknown,
    /// That, and what is less than nothing.
    All,
}

/// How one reading was heard.
#[derive(Debug, Clone, Copy)]
struct Heard {
    steady: bool,
    /// For how long nothing was heard before it.
    unheard: Duration,
    /// Something that happened in that time may have been missed.
    missed: bool,
}

/// How old a reading at rest may be to stand for the pan as it is.
const FRESH: Duration = Duration::from_secs(1);

/// Masses that are remembered as having stood on the pan: the last rest, bases before, what was
/// asked about, and what a job file tells.
const KNOWN: usize = 5;

/// Longer than this between the low and the former mass, or unheard, is not a dish being put back.
const PUT_BACK: Duration = Duration::from_millis(1500);

impl Pan {
    /// A pan of which nothing is known.
    pub fn new(rules: PanRules) -> Self {
        let steadiness = Steadiness::new(rules.steady);
        Self {
            rules,
            steadiness,
            weighing: None,
            last: None,
            heard: Moment::default(),
            known: [None; KNOWN],
        }
    }

    /// The rules.
    pub fn rules(&self) -> &PanRules {
        &self.rules
    }

    /// Starts a weighing. A pan that is at rest as wanted, by a reading no older than a second and
    /// with no gap since, gives the base at once, so that metal may follow without waiting; gives
    /// that base.
    pub fn arm(&mut self, base: Base, at: Moment) -> Option<Indication> {
        self.begin(base, Asks::Nothing, at)
    }

    /// The same for a weighing before which a hand may have been quicker than the balance: on a pan
    /// that is not at rest yet, only what stood there before may become the base by itself, or
    /// nothing at all. Anything else that comes to rest may be the metal that is to be weighed:
    /// see [`Pan::doubted_base`].
    pub fn arm_asking(&mut self, base: Base, at: Moment) -> Option<Indication> {
        self.begin(base, Asks::All, at)
    }

    /// The same where a person has said that it counts from what is on the pan: less than nothing,
    /// too.
    pub fn arm_anew(&mut self, at: Moment) -> Option<Indication> {
        self.begin(Base::NextRest, Asks::Unknown, at)
    }

    fn begin(&mut self, base: Base, asks: Asks, at: Moment) -> Option<Indication> {
        if let Some(Base::From(before)) = self.base() {
            self.remember(before);
        }
        if let Some(doubted) = self.doubted_base() {
            self.remember(doubted);
        }
        let mut weighing = Weighing {
            asks: Asks::Nothing,
            ..Weighing::from(base, Mass::ZERO)
        };
        let is_current = |last: &Tracked| last.steady && self.is_current(at);
        let taken = self.last.filter(is_current).map(|last| last.gross);
        let taken = taken.filter(|gross| weighing.takes_base(*gross, &self.rules));
        let is_below = |gross: Indication| is_below_zero(gross, self.rules.tolerance);
        let taken = taken.filter(|gross| asks != Asks::All || !is_below(*gross));
        weighing.asks = asks;
        let current = self.last.filter(|_| self.is_current(at));
        weighing.at_order = current.map(|last| last.gross.mass());
        if let Some(gross) = taken {
            weighing.base = Base::From(gross);
        }
        self.weighing = Some(weighing);
        if let Some(last) = &mut self.last {
            last.net = weighing.net(last.gross);
        }
        taken
    }

    /// Goes on with a weighing of which the base and the last net at rest are known.
    pub fn resume(&mut self, base: Base, rest: Mass) {
        let weighing = Weighing::from(base, rest);
        self.weighing = Some(weighing);
        // What stands there already counts from the new base, not from the one before.
        if let Some(last) = &mut self.last {
            last.net = weighing.net(last.gross);
        }
    }

    /// Ends the weighing.
    pub fn disarm(&mut self) {
        if let Some(Base::From(before)) = self.base() {
            self.remember(before);
        }
        self.weighing = None;
        if let Some(last) = &mut self.last {
            last.net = None;
        }
    }

    /// What the weighing counts from, if there is one.
    pub fn base(&self) -> Option<Base> {
        self.weighing.map(|w| w.base)
    }

    /// What the last reading made of it.
    pub fn last(&self) -> Option<&Tracked> {
        self.last.as_ref()
    }

    /// When the last usable reading came.
    pub fn heard(&self) -> Moment {
        self.heard
    }

    /// Whether the pan is lighter than it can become by itself and the weighing stands still.
    pub fn is_low(&self) -> bool {
        self.weighing.is_some_and(|w| w.low.is_some())
    }

    /// Net when last at rest: what was there before the pan became light.
    pub fn rest(&self) -> Mass {
        self.weighing.map_or(Mass::ZERO, |w| w.rest)
    }

    /// Takes a usable reading in the bench's unit, of which nothing newer was there when it was
    /// read.
    pub fn take(&mut self, gross: Indication, status: Status, at: Moment) -> Tracked {
        self.follow(gross, status, true, at)
    }

    /// Takes a usable reading behind which another had come already: it may end a rest, and is
    /// none itself.
    pub fn pass(&mut self, gross: Indication, status: Status, at: Moment) -> Tracked {
        self.follow(gross, status, false, at)
    }

    fn follow(&mut self, gross: Indication, status: Status, newest: bool, at: Moment) -> Tracked {
        let Stillness { steady, arrival } = self.steadiness.take(gross.mass(), status, newest, at);
        let unheard = match (arrival, self.last) {
            (Arrival::InTime, _) | (_, None) => Duration::ZERO,
            _ => at.since(self.heard),
        };
        let missed = arrival == Arrival::AfterGap || unheard > PUT_BACK;
        let mut base_taken = false;
        if let Some(weighing) = &mut self.weighing {
            let near = |mass: &Mass| (gross.mass() - *mass).abs() <= self.rules.tolerance;
            weighing.at_order = weighing.at_order.filter(near);
            if steady && weighing.takes_base(gross, &self.rules) {
                let is_known = near(&Mass::ZERO)
                    || self.known.iter().flatten().any(near)
                    || weighing.at_order.is_some();
                let is_asked = match weighing.asks {
                    Asks::Nothing => false,
                    Asks::Unknown => !is_known,
                    Asks::All => !is_known || is_below_zero(gross, self.rules.tolerance),
                };
                if is_asked {
                    weighing.doubted = Some(gross);
                } else {
                    weighing.base = Base::From(gross);
                    weighing.doubted = None;
                    base_taken = true;
                }
            }
            let heard = Heard {
                steady,
                unheard,
                missed,
            };
            weighing.follow(gross, heard, at, &self.rules);
        }
        if steady && self.doubted_base().is_none() {
            self.known[0] = Some(gross.mass());
        }
        let tracked = Tracked {
            gross,
            net: self.weighing.and_then(|w| w.net(gross)),
            steady,
            base_taken,
            after_gap: arrival != Arrival::InTime,
        };
        self.last = Some(tracked);
        self.heard = at;
        tracked
    }

    /// Something stood on the pan before, as the job's file tells: it may be a base without being
    /// asked about.
    pub fn remember(&mut self, stood: Indication) {
        let mass = stood.mass();
        let [_, before @ ..] = &mut self.known;
        if !before.contains(&Some(mass)) {
            before.rotate_right(1);
            before[0] = Some(mass);
        }
    }

    /// What came to rest on the pan, was not known to stand there before the weighing began, and is
    /// nothing that it counts from: it may be a vessel, or metal put on before the pan had come to
    /// rest. The base is taken by itself when the pan is back at something known; a person who says
    /// that it is no metal begins the weighing anew.
    pub fn doubted_base(&self) -> Option<Indication> {
        self.weighing.and_then(|weighing| weighing.doubted)
    }

    /// Whether gaps in what is heard keep the pan from rest.
    pub fn is_hindered(&self) -> bool {
        self.steadiness.is_hindered()
    }

    fn is_current(&self, at: Moment) -> bool {
        at.since(self.heard) <= FRESH && !self.steadiness.is_overdue(at)
    }

    /// Time passed: a pan that was not heard for longer than the balance's pace explains is not
    /// known to be at rest any more.
    pub fn grow_old(&mut self, at: Moment) {
        if self.steadiness.is_overdue(at)
            && let Some(last) = &mut self.last
        {
            last.steady = false;
        }
    }

    /// The pan cannot be read any more, or not be believed: rest must be found anew.
    pub fn forget(&mut self) {
        self.steadiness.forget();
        if let Some(last) = &mut self.last {
            last.steady = false;
        }
    }

    /// The port was opened or lost: how often the balance sends must be learned anew too.
    pub fn forget_pace(&mut self) {
        self.steadiness.forget_pace();
        self.forget();
    }

    /// Whether a load stands on a pan that was empty before.
    pub fn is_loaded(&self) -> bool {
        let net = self.last.and_then(|tracked| tracked.net);
        !self.is_low() && net.is_some_and(|net| net.mass() >= self.rules.least_load)
    }

    /// What the weighing counts from if the tare key was pressed. `None` if the pan is not low, or
    /// if metal was falling at that moment so that nobody knows what was there.
    pub fn tared_base(&self) -> Option<Indication> {
        let weighing = self.weighing?;
        let low = weighing.low.filter(|_| !weighing.poured)?;
        low.gross.minus(self.rules.division.show(weighing.rest))
    }

    /// The dish is back: counting goes on from the same base.
    pub fn dish_is_back(&mut self) {
        if let Some(weighing) = &mut self.weighing {
            weighing.low = None;
            weighing.poured = false;
        }
    }
}

/// Whether the balance shows less than nothing: a dish that was tared is lifted, and comes back with
/// the metal.
fn is_below_zero(gross: Indication, tolerance: Mass) -> bool {
    gross.mass() < -tolerance
}

impl Weighing {
    fn from(base: Base, rest: Mass) -> Self {
        Self {
            base,
            asks: Asks::Nothing,
            doubted: None,
            at_order: None,
            rest,
            poured: false,
            low: None,
        }
    }

    fn takes_base(&self, gross: Indication, rules: &PanRules) -> bool {
        match self.base {
            Base::NextRest => true,
            Base::AfterEmptying(back) => {
                let (now, back) = (gross.mass(), back.mass());
                // Zeroed since: a pan that was as good as empty before, or lighter (a dish that was
                // tared stood beside it), is at zero. Where a dish stood, it may only be lifted.
                let is_zeroed = now.abs() <= rules.tolerance && back <= rules.least_load;
                (now - back).abs() <= rules.tolerance || is_zeroed
            }
            Base::From(_) => false,
        }
    }

    fn net(&self, gross: Indication) -> Option<Indication> {
        match self.base {
            Base::From(base) => gross.minus(base),
            _ => None,
        }
    }

    fn follow(&mut self, gross: Indication, heard: Heard, at: Moment, rules: &PanRules) {
        let steady = heard.steady;
        let (Base::From(base), Some(net)) = (self.base, self.net(gross)) else {
            return;
        };
        let (net, tolerance) = (net.mass(), rules.tolerance);
        if let Some(low) = &mut self.low {
            let need = base.mass() + self.rest;
            let between =
                gross.mass() > low.gross.mass() + tolerance && gross.mass() < need - tolerance;
            low.between_since = between.then(|| low.between_since.unwrap_or(at));
            low.disturbed |= low
                .between_since
                .is_some_and(|since| at.since(since) > PUT_BACK)
                || heard.unheard > PUT_BACK;
            let is_back = steady && (gross.mass() - need).abs() <= tolerance;
            if is_back && !self.poured && (low.certain || !low.disturbed) {
                self.low = None;
            }
            return;
        }
        let had_metal = self.rest > tolerance || self.poured;
        match certain_low(gross.mass(), net, had_metal, tolerance) {
            Some(certain) if had_metal || steady => {
                // Metal may have been falling and not been heard.
                self.poured |= heard.missed;
                self.low = Some(Low {
                    gross,
                    certain,
                    between_since: None,
                    disturbed: false,
                });
            }
            Some(_) => {}
            None if steady => {
                self.rest = net;
                self.poured = false;
            }
            None => self.poured |= net > self.rest + tolerance,
        }
    }
}

/// Whether the pan is low, and then whether only a lifted dish explains it: the tare key makes the
/// balance show zero, never less.
fn certain_low(gross: Mass, net: Mass, had_metal: bool, tolerance: Mass) -> Option<bool> {
    let below_base = net < -tolerance;
    if gross.abs() <= tolerance {
        (below_base || (had_metal && net <= tolerance)).then_some(false)
    } else {
        below_base.then_some(true)
    }
}

#[cfg(test)]
mod tests;
