//! One reading: whether it may be believed, what it says of the pan, and whether a mass is due to
//! be captured.

use std::time::Duration;

use super::fold::{Adding, Job};
use super::hold::Cause;
use super::order::Effect;
use super::record::{Captured, How, Raw, Record, What};
use super::state::{Given, PanQuestion, State};
use super::words;
use super::{BellKind, Ring};
use crate::balance::{Base, LinkState, Tracked, Verdict};
use crate::mass::{Indication, Mass, Moment, Reading, Shown, Status};
use crate::melt::Side;

/// A balance that cannot weigh for so long is told of; a lifted dish shows "under zero" meanwhile.
const BALANCE_PATIENCE: Duration = Duration::from_secs(2);
/// A pan that rests elsewhere than before the last load is asked about when it stays so: a dish may
/// be on its way back.
const EMPTIED_PATIENCE: Duration = Duration::from_secs(4);
/// A line without a unit is told of when it lasts; many balances leave the unit out in motion.
const UNPROVEN_PATIENCE: Duration = Duration::from_secs(2);

impl State {
    /// A line of which nothing newer was there when it was read.
    pub(super) fn line(&mut self, reading: Reading, raw: &[u8], at: Moment, out: &mut Vec<Effect>) {
        self.shown = Some((reading, at));
        let Some(gross) = self.believed(&reading, (raw, true), at, out) else {
            return;
        };
        self.line.clear();
        self.line.extend_from_slice(raw);
        let tracked = self.pan.take(gross, reading.status, at);
        if self.is_other_unit(&tracked, at) {
            self.write_due(at, out);
            return;
        }
        if !tracked.base_taken {
            self.look_for_loose(&tracked, at, out);
        }
        self.take_base(tracked.base_taken.then_some(gross), out);
        self.judge_pan(at, out);
        if tracked.steady {
            self.note_reading(&tracked, out);
        }
        if self.holds.any() {
            self.inside_since = None;
            return;
        }
        self.ring_zone(&tracked, at, out);
        self.capture_when_due(&tracked, at, out);
    }

    /// A line that says what was and not what is: it can end a rest and throw doubt on a unit, and
    /// nothing is shown, rung or recorded on it.
    pub(super) fn old_line(
        &mut self,
        reading: Reading,
        raw: &[u8],
        at: Moment,
        out: &mut Vec<Effect>,
    ) {
        let Some(gross) = self.believed(&reading, (raw, false), at, out) else {
            return;
        };
        let tracked = self.pan.pass(gross, reading.status, at);
        let is_inside = match (&self.adding, tracked.net) {
            (Some(adding), Some(net)) => adding.window.side(net.mass()) == Side::Within,
            _ => false,
        };
        if tracked.after_gap || !is_inside {
            self.inside_since = None;
        }
        self.judge_pan(at, out);
    }

    /// The mass that a line shows, if the bench may weigh with it.
    fn believed(
        &mut self,
        reading: &Reading,
        (raw, newest): (&[u8], bool),
        at: Moment,
        out: &mut Vec<Effect>,
    ) -> Option<Indication> {
        self.link.good_line(at);
        if self.link.state() == LinkState::Talking {
            self.end_hold(Cause::Link, out);
        }
        let is_believable = self.is_believable(reading, at, out);
        self.write_due(at, out);
        if self.check_with(reading, (raw, newest), at, out) || !is_believable {
            self.pan.forget();
            self.inside_since = None;
            return None;
        }
        let believed = self.guard.believed(reading);
        // Nothing to weigh in it, but it may say that the pan moves.
        if believed.is_none() && (reading.status == Status::InMotion || self.guard.is_suspect()) {
            self.pan.forget();
            self.inside_since = None;
        }
        believed
    }

    /// Whether the reading's mass may be taken at all: the balance weighs, and the unit is proven.
    fn is_believable(&mut self, reading: &Reading, at: Moment, out: &mut Vec<Effect>) -> bool {
        // Digits that may be of either sign are no load, whatever else is proven of them.
        let is_signed = !matches!(reading.shown, Shown::SignUnproven(_));
        let weighs = reading.status.is_weighing() && is_signed;
        if weighs {
            self.end_hold(Cause::Balance, out);
        } else {
            let (why, mend) = if is_signed {
                words::balance(reading.status)
            } else {
                words::sign_unproven()
            };
            self.holds.begin(
                Cause::Balance,
                why.to_owned(),
                mend.to_owned(),
                BALANCE_PATIENCE,
                at,
            );
        }
        if !is_signed {
            // Nothing more is asked of such a line, so that the hold says what is the matter.
            return false;
        }
        let unit = self.guard.unit();
        let agreed = match self.guard.judge(reading, at) {
            Verdict::Agreed => {
                self.end_hold(Cause::Unit, out);
                true
            }
            Verdict::Conflict(seen) => {
                self.hold_unit(seen, at);
                false
            }
            Verdict::Unproven => {
                if self.expected().is_some() {
                    let why = format!(
                        "The balance does not say its unit, so {} are not proven.",
                        unit.name()
                    );
                    let mend = "Let the balance send its unit with the mass, or show it a check weight. Until then nothing is captured.".to_owned();
                    self.holds
                        .begin(Cause::Unit, why, mend, UNPROVEN_PATIENCE, at);
                }
                false
            }
        };
        weighs && agreed
    }

    /// Whether what stands on the pan is a mass that is known already, in another unit: the dish
    /// that comes back, the button of a melt. Then the bench holds.
    fn is_other_unit(&mut self, tracked: &Tracked, at: Moment) -> bool {
        if !tracked.steady {
            return false;
        }
        let base = self.pan.base();
        let found = match (base, tracked.net) {
            // After a record the pan goes back to what it bore before, also when nothing is ordered.
            (Some(Base::AfterEmptying(_)) | None, _) => {
                let back = match base {
                    Some(Base::AfterEmptying(back)) => Some(back),
                    _ => self.last_base,
                };
                self.comes_back_otherwise(back, tracked.gross)
            }
            (Some(Base::From(_)), _) if tracked.base_taken => self
                .last_base
                .is_some_and(|last| self.guard.comes_back(last, tracked.gross)),
            (_, Some(net)) if self.expected() == Some(&What::Button) && self.pan.is_loaded() => {
                self.is_odd_button(net)
            }
            _ => false,
        };
        if let (true, Verdict::Conflict(seen)) = (found, self.guard.verdict()) {
            self.hold_unit(seen, at);
            self.pan.forget();
            self.inside_since = None;
            if tracked.base_taken
                && let Some(what) = self.expected().cloned()
            {
                // That was no base. The pan is armed anew, and takes one when it is believed.
                self.arm(&what, at);
            }
        }
        found
    }

    /// Whether a pan that rests shows what it bore before the last load in another unit. The load
    /// itself may be just so many times as heavy.
    fn comes_back_otherwise(&mut self, back: Option<Indication>, now: Indication) -> bool {
        let is_new = self.compared.replace(now) != Some(now);
        let tolerance = self.rules.pan.tolerance;
        // Held for once: when the check weight has agreed, it was what it came back to that was of
        // another unit.
        let was_held = self
            .odd_rest
            .is_some_and(|held| (held.mass() - now.mass()).abs() <= tolerance.times(3));
        let load = self.job.as_ref().and_then(|job| job.weighed.last());
        let is_load =
            load.is_some_and(|load| (load.captured.gross.mass() - now.mass()).abs() <= tolerance);
        let comes_back = is_new
            && !is_load
            && !was_held
            && back.is_some_and(|back| self.guard.comes_back(back, now));
        if comes_back {
            self.odd_rest = Some(now);
        }
        comes_back
    }

    /// Whether the button weighs what its melt would in another unit. Held for once: when the check
    /// weight has agreed and it still does, it is as heavy as that, and what went into the melt is in
    /// doubt.
    fn is_odd_button(&mut self, net: Indication) -> bool {
        let tolerance = self.rules.pan.tolerance;
        let held = self.odd_button;
        if held.is_some_and(|held| (held.mass() - net.mass()).abs() <= tolerance.times(3)) {
            return false;
        }
        let melt = self
            .open_job()
            .map(|job| words::shown(job, job.melt().mass()));
        let is_odd = melt.is_some_and(|melt| self.guard.should_weigh(melt, net));
        if is_odd {
            self.odd_button = Some(net);
        }
        is_odd
    }

    /// Records what a weighing counts from.
    pub(super) fn take_base(&mut self, base: Option<Indication>, out: &mut Vec<Effect>) {
        if let Some(base) = base {
            self.last_base = Some(base);
            self.compared = None;
            self.follow_up(Record::Base { base }, out);
        }
    }

    /// A load that is put down may lift a dish first; an addition in the middle may not.
    fn judge_pan(&mut self, at: Moment, out: &mut Vec<Effect>) {
        if self.pan_question() == Some(PanQuestion::BaseDoubted) {
            let (why, mend) = words::base_doubted();
            self.holds.begin(Cause::Pan, why, mend, Duration::ZERO, at);
        } else if self.pan.is_low() && self.adding.is_some() {
            let (why, mend) =
                words::pan_question(self.job.as_ref(), self.pan.rest(), self.rules.pan.division);
            self.holds.begin(Cause::Pan, why, mend, Duration::ZERO, at);
        } else if let (Some(doubted), Some(what)) = (self.pan.doubted_base(), self.expected()) {
            let name = self.open_job().map(|job| words::of(job, what));
            let (why, mend) = words::base_question(doubted, &name.unwrap_or_default());
            self.holds.begin(Cause::Pan, why, mend, Duration::ZERO, at);
        } else if let (Some(PanQuestion::NotEmptied), Some(Base::AfterEmptying(back))) =
            (self.pan_question(), self.pan.base())
        {
            let (why, mend) = words::not_emptied(back);
            self.holds
                .begin(Cause::Pan, why, mend, EMPTIED_PATIENCE, at);
        } else if self.loose_told.is_none() {
            self.end_hold(Cause::Pan, out);
        }
    }

    /// Keeps every reading at rest of a weighing that differs from the last. One that trembles
    /// back by a single division to the reading before that is no news: left alone on a restless
    /// bench it would fill the disk.
    fn note_reading(&mut self, tracked: &Tracked, out: &mut Vec<Effect>) {
        let Some(net) = tracked.net else { return };
        if self.expected().is_none() || self.pan.is_low() || self.is_noted(net) {
            return;
        }
        self.noted = [Some(net), self.noted[0]];
        let record = Record::Reading {
            gross: tracked.gross,
            net,
            raw: Raw::of(&self.line),
        };
        self.follow_up(record, out);
    }

    fn is_noted(&self, net: Indication) -> bool {
        let [last, before] = self.noted;
        let step = self.rules.pan.division.mass();
        let trembles = last.is_some_and(|last| (last.mass() - net.mass()).abs() <= step);
        last == Some(net) || (before == Some(net) && trembles)
    }

    fn ring_zone(&mut self, tracked: &Tracked, at: Moment, out: &mut Vec<Effect>) {
        let (Some(job), Some(adding), Some(net)) = (&self.job, &self.adding, tracked.net) else {
            return;
        };
        let division = self.rules.pan.division;
        if tracked.after_gap {
            self.watch.missed();
        }
        let Some(kind) = self
            .watch
            .take(net.mass(), &adding.window, division, tracked.steady, at)
        else {
            return;
        };
        self.ring_bell(kind, job, adding, net.mass(), out);
    }

    /// An over that was heard last is told even if nothing more is heard.
    pub(super) fn ring_over_when_due(&mut self, at: Moment, out: &mut Vec<Effect>) {
        let net = self.pan.last().and_then(|tracked| tracked.net);
        let (Some(job), Some(adding), Some(net), false) =
            (&self.job, &self.adding, net, self.holds.any())
        else {
            return;
        };
        if let Some(kind) = self.watch.over_by(at) {
            self.ring_bell(kind, job, adding, net.mass(), out);
        }
    }

    fn ring_bell(
        &self,
        kind: BellKind,
        job: &Job,
        adding: &Adding,
        net: Mass,
        out: &mut Vec<Effect>,
    ) {
        let name = words::metal_name(job, adding.addition);
        let title = match kind {
            BellKind::Near => format!("Near: {name}"),
            BellKind::Within => format!("Within: {name}"),
            BellKind::Over => format!("Over: {name}"),
            _ => format!("Under again: {name}"),
        };
        let text = words::standing(job, adding, net, &self.rules);
        out.push(Effect::Ring(Ring { kind, title, text }));
    }

    fn capture_when_due(&mut self, tracked: &Tracked, at: Moment, out: &mut Vec<Effect>) {
        if !tracked.steady {
            self.inside_since = None;
            return;
        }
        let due = match (self.expected(), &self.adding, tracked.net) {
            (Some(What::Addition { .. }), Some(adding), Some(net)) => {
                if adding.window.side(net.mass()) == Side::Within && net.mass().is_positive() {
                    let since = *self.inside_since.get_or_insert(at);
                    at.since(since) >= self.rules.dwell
                } else {
                    self.inside_since = None;
                    false
                }
            }
            (Some(What::Lot { .. } | What::Button | What::InWater(_)), ..) => self.pan.is_loaded(),
            _ => false,
        };
        if due && self.pending.is_none() {
            self.capture(How::Settled, None, None, out);
        }
    }

    /// Asks for the capture of what is on the pan. The caller has seen to it that it may be.
    /// `instead_of`: of the load that was recorded there already, as it lies there now.
    pub(super) fn capture(
        &mut self,
        how: How,
        instead_of: Option<u64>,
        order: Option<Given>,
        out: &mut Vec<Effect>,
    ) {
        let Some(tracked) = self.pan.last().copied() else {
            return;
        };
        let again = instead_of.and_then(|n| {
            let weighed = self.job.as_ref()?.weighed.iter().find(|it| it.n == n)?;
            Some((weighed.captured.what.clone(), weighed.captured.base))
        });
        let under_way = || match (self.expected().cloned(), self.pan.base()) {
            (Some(what), Some(Base::From(base))) => Some((what, base)),
            _ => None,
        };
        let Some((what, base)) = again.or_else(under_way) else {
            return;
        };
        let Some(mass) = tracked.gross.minus(base) else {
            return;
        };
        let captured = Captured {
            what,
            mass,
            gross: tracked.gross,
            base,
            how,
            instead_of,
            unit_by: self.guard.ground().map(Into::into).unwrap_or_default(),
            raw: Raw::of(&self.line),
        };
        self.wait_for(Record::Capture(captured), order, out);
    }
}
