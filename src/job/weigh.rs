//! One reading: whether it may be believed, what it says of the pan, and whether a mass is due to
//! be captured.

use std::time::Duration;

use super::hold::Cause;
use super::order::Effect;
use super::record::{Captured, How, Raw, Record, What};
use super::state::State;
use super::words;
use super::{BellKind, Ring};
use crate::balance::{Base, LinkState, Tracked, Verdict};
use crate::mass::{Indication, Moment, Reading, Shown, Status};
use crate::melt::Side;

/// A balance that cannot weigh for so long is told of; a lifted dish shows "under zero" meanwhile.
const BALANCE_PATIENCE: Duration = Duration::from_secs(2);
/// A line without a unit is told of when it lasts; many balances leave the unit out in motion.
const UNPROVEN_PATIENCE: Duration = Duration::from_secs(2);

impl State {
    pub(super) fn line(&mut self, reading: Reading, raw: &[u8], at: Moment, out: &mut Vec<Effect>) {
        self.link.good_line(at);
        self.shown = Some((reading, at));
        if self.link.state() == LinkState::Talking {
            self.end_hold(Cause::Link, out);
        }
        let is_believable = self.is_believable(&reading, at, out);
        self.write_due(at, out);
        if self.check_with(&reading, raw, at, out) || !is_believable {
            self.pan.forget();
            self.inside_since = None;
            return;
        }
        let Some(gross) = self.guard.believed(&reading) else {
            // Nothing to weigh in it, but it may say that the pan moves.
            if reading.status == Status::InMotion || self.guard.is_suspect() {
                self.pan.forget();
                self.inside_since = None;
            }
            return;
        };
        self.line.clear();
        self.line.extend_from_slice(raw);
        let tracked = self.pan.take(gross, reading.status, at);
        if self.is_other_unit(&tracked, at) {
            self.write_due(at, out);
            return;
        }
        self.take_base(tracked.base_taken.then_some(gross), out);
        self.judge_pan(at, out);
        if tracked.steady {
            if self
                .standing_load
                .is_some_and(|base| gross.mass() <= base.mass() + self.rules.pan.tolerance)
            {
                self.standing_load = None;
            }
            self.note_reading(&tracked, out);
        }
        if self.holds.any() {
            self.inside_since = None;
            return;
        }
        self.ring_zone(&tracked, at, out);
        self.capture_when_due(&tracked, at, out);
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
                    let mend = "Let the balance send its unit with the mass, or show it a check weight: panbell check-weight. Until then nothing is captured.".to_owned();
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
        let found = match (self.pan.base(), tracked.net) {
            (Some(Base::AfterEmptying(back)), _) => self.guard.comes_back(back, tracked.gross),
            (Some(Base::From(_)), _) if tracked.base_taken => self
                .last_base
                .is_some_and(|last| self.guard.comes_back(last, tracked.gross)),
            (_, Some(net)) if self.expected() == Some(&What::Button) && self.pan.is_loaded() => {
                let melt = self
                    .open_job()
                    .map(|job| words::shown(job, job.melt().mass()));
                melt.is_some_and(|melt| self.guard.should_weigh(melt, net))
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

    /// Records what a weighing counts from.
    pub(super) fn take_base(&mut self, base: Option<Indication>, out: &mut Vec<Effect>) {
        if let Some(base) = base {
            self.standing_load = None;
            self.last_base = Some(base);
            self.follow_up(Record::Base { base }, out);
        }
    }

    /// A load that is put down may lift a dish first; an addition in the middle may not.
    fn judge_pan(&mut self, at: Moment, out: &mut Vec<Effect>) {
        if self.pan.is_low() && self.adding.is_some() {
            let (why, mend) =
                words::pan_question(self.job.as_ref(), self.pan.rest(), self.rules.pan.division);
            self.holds.begin(Cause::Pan, why, mend, Duration::ZERO, at);
        } else {
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
        let Some(kind) = self
            .watch
            .take(net.mass(), &adding.window, division, tracked.steady, at)
        else {
            return;
        };
        let name = words::metal_name(job, adding.addition);
        let title = match kind {
            BellKind::Near => format!("Near: {name}"),
            BellKind::Within => format!("Within: {name}"),
            BellKind::Over => format!("Over: {name}"),
            _ => format!("Under again: {name}"),
        };
        let text = words::standing(job, adding, net.mass(), &self.rules);
        out.push(Effect::Ring(Ring { kind, title, text }));
    }

    fn capture_when_due(&mut self, tracked: &Tracked, at: Moment, out: &mut Vec<Effect>) {
        let due = tracked.steady
            && match (self.expected(), &self.adding, tracked.net) {
                (Some(What::Addition { .. }), Some(adding), Some(net)) => {
                    if adding.window.side(net.mass()) == Side::Within && net.mass().is_positive() {
                        let since = *self.inside_since.get_or_insert(at);
                        at.since(since) >= self.rules.dwell
                    } else {
                        self.inside_since = None;
                        false
                    }
                }
                (Some(What::Lot { .. } | What::Button | What::InWater(_)), ..) => {
                    self.pan.is_loaded()
                }
                _ => false,
            };
        if !tracked.steady {
            self.inside_since = None;
        }
        if due && self.pending.is_none() {
            self.capture(How::Settled, None, out);
        }
    }

    /// Asks for the capture of what is on the pan. The caller has seen to it that it may be.
    pub(super) fn capture(&mut self, how: How, order: Option<u64>, out: &mut Vec<Effect>) {
        let (Some(what), Some(tracked)) = (self.expected().cloned(), self.pan.last().copied())
        else {
            return;
        };
        let (Some(net), Some(Base::From(base))) = (tracked.net, self.pan.base()) else {
            return;
        };
        let raw = Raw::of(&self.line);
        let captured = Captured {
            what,
            mass: net,
            gross: tracked.gross,
            base,
            how,
            unit_by: self.guard.ground().map(Into::into).unwrap_or_default(),
            raw,
        };
        self.wait_for(Record::Capture(captured), order, out);
    }
}
