//! The weighing of a check weight, with or without a job: asked for, seen at rest, recorded, taken
//! off again. Meanwhile the pan of the job's own weighing stands as it was, so that the weight may
//! be put beside metal that lies there. Leaves to others: the limits, and the unit guard.

use std::time::Duration;

use super::check::{CheckVerdict, Checked, LastCheck};
use super::fold::Job;
use super::hold::Cause;
use super::order::{Done, Effect};
use super::record::{Raw, Record};
use super::state::State;
use super::words;
use super::{BellKind, Ring};
use crate::balance::{Base, CHECK_LASTS, LinkState, Pan, Verdict};
use crate::mass::{CheckWeight, Indication, Moment, Reading, Shown, Unit};
use crate::trouble::Trouble;

/// A check weight on its way over the pan.
#[derive(Debug, Clone)]
pub(super) struct Checking {
    weight: CheckWeight,
    pan: Pan,
    phase: Phase,
    /// The link was lost since: what was seen says nothing of what is shown now.
    is_stale: bool,
}

#[derive(Debug, Clone)]
enum Phase {
    /// It is to be put on.
    Load,
    /// It was seen, and the record of it is being written.
    Writing,
    /// It agreed, and is to be taken off before anything else is weighed.
    Removing(Indication),
}

/// The last check weight, and when it would have been weighed by the clock of the bench.
#[derive(Debug, Clone)]
pub(super) struct Remembered {
    last: LastCheck,
    told: Moment,
}

impl State {
    /// Begins the weighing of a check weight, or says why not.
    pub(super) fn begin_check(&mut self, typed: Option<CheckWeight>) -> Result<Done, Trouble> {
        let weight = typed.or(self.rules.check_weight).ok_or_else(|| {
            Trouble::new(
                "no-check-weight",
                "The settings of this bench name no check weight.",
                "Nothing was checked.",
                "Say which it is, by its mass and class, as 20 g and F2; or put check_weight = \"20 g F2\" under [[bench]] of the settings.",
            )
        })?;
        let (division, class) = (self.rules.pan.division, self.rules.class);
        if weight.nominal().mass() < self.rules.pan.least_load
            || !weight.tells_units(division, class)
        {
            return Err(Trouble::new(
                "check-weight-too-light",
                format!(
                    "{weight} is too light for this balance: within what the balance may be off, it could not tell its units apart."
                ),
                "Nothing was checked.",
                "Take a heavier weight.",
            ));
        }
        if let Some(Checking {
            phase: Phase::Writing,
            ..
        }) = self.checking
        {
            return Err(Trouble::new(
                "bench-writing",
                "A check weight is being recorded.",
                "Nothing was changed.",
                "Give the order again.",
            )
            .passing());
        }
        // A pan that is at rest now gives what the weight is put beside at once.
        let mut pan = self.bare.clone();
        pan.arm(Base::NextRest, self.now);
        self.checking = Some(Checking {
            weight,
            pan,
            phase: Phase::Load,
            is_stale: false,
        });
        self.inside_since = None;
        Ok(Done {
            text: self.sentence(),
            warning: false,
        })
    }

    /// Takes a line while a check weight is asked for; says whether it was taken for that.
    pub(super) fn check_with(
        &mut self,
        reading: &Reading,
        (raw, newest): (&[u8], bool),
        at: Moment,
        out: &mut Vec<Effect>,
    ) -> bool {
        let unit = self.guard.unit();
        let (shown, is_stated) = match reading.shown {
            Shown::Weighed(mass) if mass.unit() == unit => (Some(mass), true),
            Shown::UnitUnstated(digits) if self.guard.wants_check_weight() => {
                (Indication::new(digits, unit), false)
            }
            _ => (None, false),
        };
        let gross = shown.filter(|_| reading.status.is_weighing());
        let take = |pan: &mut Pan| match gross {
            Some(gross) if newest => Some(pan.take(gross, reading.status, at)),
            Some(gross) => Some(pan.pass(gross, reading.status, at)),
            None => {
                pan.forget();
                None
            }
        };
        take(&mut self.bare);
        let Some(checking) = &mut self.checking else {
            return false;
        };
        let (Some(tracked), Some(gross)) = (take(&mut checking.pan), gross) else {
            return true;
        };
        let tolerance = self.rules.pan.tolerance;
        match &checking.phase {
            // Something was taken off, as a check weight that lay there too soon: what is left is
            // what it counts from.
            Phase::Load
                if tracked.steady && tracked.net.is_some_and(|net| net.mass() < -tolerance) =>
            {
                checking.pan.arm(Base::From(gross), at);
            }
            // The button is put back first, so that the weight stands beside it.
            Phase::Load
                if tracked.steady
                    && checking.pan.is_loaded()
                    && is_button(self.job.as_ref(), checking.weight, gross, tracked.net) =>
            {
                checking.pan.arm(Base::From(gross), at);
            }
            Phase::Load if tracked.steady && checking.pan.is_loaded() => {
                let terms = (self.rules.pan.division, self.rules.class);
                let form = (is_stated, self.guard.has_form(gross.digits()));
                let raw = Raw::of(raw);
                let judged = tracked
                    .net
                    .and_then(|net| Checked::judge(checking.weight, net, terms, form, raw));
                let lay_there = match checking.pan.base() {
                    Some(Base::From(base)) => base,
                    _ => gross,
                };
                let judged = judged.map(|checked| checked.beside(lay_there));
                if let Some(checked) = judged.map(Box::new) {
                    checking.phase = Phase::Writing;
                    self.check_asked = Some(at);
                    out.push(Effect::Check(checked));
                }
            }
            // Off again, whatever else was lifted with it.
            Phase::Removing(with)
                if tracked.steady
                    && gross.mass()
                        <= with.mass() - checking.weight.nominal().mass() + tolerance =>
            {
                // What the weight was put beside stands there still, for all that is known.
                if let Some(Base::From(base)) = checking.pan.base() {
                    self.pan.remember(base);
                }
                self.checking = None;
            }
            _ => {}
        }
        true
    }

    /// The weighing of a check weight is in the book of check weights, or could not be put there.
    pub(super) fn checked(
        &mut self,
        written: Result<(u64, Box<Checked>), Trouble>,
        at: Moment,
        out: &mut Vec<Effect>,
    ) {
        self.check_asked = None;
        if self.disk_answered() {
            self.tell_disk_answers(out);
        }
        match written {
            Ok((check, checked)) => {
                self.last_check = Some(Remembered {
                    last: LastCheck {
                        checked: (*checked).clone(),
                        age: Duration::ZERO,
                    },
                    told: at,
                });
                self.check_due = Some((check, checked));
                self.write_due(at, out);
            }
            Err(trouble) => {
                self.checking = None;
                out.push(Effect::Ring(Ring {
                    kind: BellKind::Hold,
                    title: "The check weight is not recorded".to_owned(),
                    text: format!("{} {}", trouble.happened, trouble.mend),
                }));
            }
        }
    }

    /// Puts what is known of the unit into the file of an open job, as soon as nothing else is
    /// waited for. A check weight that the disk does not take there proves nothing.
    pub(super) fn write_due(&mut self, at: Moment, out: &mut Vec<Effect>) {
        if self.pending.is_some() {
            return;
        }
        let is_open = self.open_job().is_some();
        let can_write = !self.holds.has(Cause::Disk);
        match self.check_due.take() {
            Some((check, checked)) if !is_open => self.check_counts(check, &checked, at, out),
            Some((check, checked)) if can_write => {
                let checked = *checked;
                self.wait_for(Record::CheckWeight { check, checked }, None, out);
            }
            Some(_) => self.checking = None,
            None if self.doubt_due && is_open && can_write => {
                self.doubt_due = false;
                self.wait_for(Record::Doubt {}, None, out);
            }
            None => {}
        }
    }

    /// A check weight is recorded wherever it must be: now it counts, and is told.
    pub(super) fn check_counts(
        &mut self,
        check: u64,
        checked: &Checked,
        at: Moment,
        out: &mut Vec<Effect>,
    ) {
        // A link that was lost since may have brought another unit.
        let waiting = self.checking.take();
        if let Some(mut checking) = waiting.filter(|checking| !checking.is_stale) {
            if checked.verdict == CheckVerdict::Agreed {
                self.guard.agree(check, at);
                if self.guard.verdict() == Verdict::Agreed {
                    self.end_hold(Cause::Unit, out);
                }
                if let Some(last) = checking.pan.last() {
                    checking.phase = Phase::Removing(last.gross);
                    self.checking = Some(checking);
                }
            } else {
                self.guard.disagree(checked.seen);
                if let Verdict::Conflict(seen) = self.guard.verdict() {
                    self.hold_unit(seen, at);
                }
            }
        }
        let title = match checked.verdict {
            CheckVerdict::Agreed => "Check weight: agreed",
            CheckVerdict::Off => "Check weight: outside its limits",
            CheckVerdict::OtherUnit => "Check weight: another unit",
        };
        out.push(Effect::Ring(Ring {
            kind: BellKind::Recorded,
            title: title.to_owned(),
            text: checked.sentence(),
        }));
    }

    /// The link was lost: what lies on the pan is not known any more.
    pub(super) fn stop_check(&mut self) {
        self.checking = self
            .checking
            .take()
            .filter(|checking| matches!(checking.phase, Phase::Writing));
        if let Some(checking) = &mut self.checking {
            checking.is_stale = true;
        }
    }

    /// What a bench is told of its last check weight when it starts.
    pub(super) fn remember_check(&mut self, last: LastCheck, at: Moment) {
        self.last_check = Some(Remembered { last, told: at });
    }

    /// How far the weighing of a check weight is, in a word; empty where none is under way.
    pub(super) fn check_step(&self) -> &'static str {
        match self.checking.as_ref().map(|checking| &checking.phase) {
            None => "",
            Some(Phase::Load) => "check-weight-load",
            Some(Phase::Writing) => "check-weight-writing",
            Some(Phase::Removing(_)) => "check-weight-removing",
        }
    }

    /// Whether a check weight may be ordered now: not while one is being recorded.
    pub(super) fn may_check(&self) -> bool {
        !matches!(&self.checking, Some(checking) if matches!(checking.phase, Phase::Writing))
    }

    /// Whether a check weight is asked for and could be left out.
    pub(super) fn may_leave_check(&self) -> bool {
        matches!(&self.checking, Some(checking) if matches!(checking.phase, Phase::Load))
    }

    /// Whether nothing can be captured until a check weight was shown.
    pub(super) fn wants_check_weight_now(&self) -> bool {
        self.checking.is_none()
            && self.guard.wants_check_weight()
            && self.guard.verdict() != Verdict::Agreed
            && self.expected().is_some()
            && self.link.state() == LinkState::Talking
    }

    /// What the person is to do with the check weight now.
    pub(super) fn check_sentence(&self) -> Option<String> {
        let checking = self.checking.as_ref()?;
        let weight = checking.weight;
        Some(match checking.phase {
            Phase::Load => match checking.pan.base() {
                Some(Base::From(base)) if self.wants_beside(base) == Some(true) => {
                    format!("Put the check weight {weight} on the pan, beside the button.")
                }
                Some(Base::From(base)) if self.wants_beside(base) == Some(false) => format!(
                    "Put the button on the pan and let it rest, then the check weight {weight} beside it."
                ),
                Some(Base::From(base)) if base.mass().abs() > self.rules.pan.tolerance => format!(
                    "Put the check weight {weight} on the pan. It counts from the {} that stand there already; if that is the check weight, take it off and put it on again.",
                    words::spelled(base)
                ),
                Some(Base::From(_)) => format!("Put the check weight {weight} on the pan."),
                _ => format!("Let the pan come to rest; then put the check weight {weight} on it."),
            },
            Phase::Writing => "The check weight is being recorded.".to_owned(),
            Phase::Removing(_) => format!("The check weight {weight} agrees. Take it off the pan."),
        })
    }

    /// What stands against every job of a bench with a check weight set up, if anything does.
    pub(super) fn check_warning(&self) -> Option<String> {
        // One that did not agree stands until one does, whether or not the settings name a weight.
        if let Some(failed) = self.failed_check() {
            return Some(failed.sentence());
        }
        let weight = self.rules.check_weight?;
        let recent = self.last_check.as_ref().filter(|remembered| {
            self.now.since(remembered.told) + remembered.last.age <= CHECK_LASTS
        });
        match recent {
            None => Some(format!(
                "The check weight {weight} was not weighed in the last {} hours, so nothing says that the balance weighs as it should.",
                CHECK_LASTS.as_secs() / 3600
            )),
            Some(_) => None,
        }
    }

    /// The last check weight of this bench, if it did not agree.
    pub fn failed_check(&self) -> Option<&Checked> {
        let checked = &self.last_check.as_ref()?.last.checked;
        (checked.verdict != CheckVerdict::Agreed).then_some(checked)
    }

    /// Whether a check weight is being weighed.
    pub fn is_checking(&self) -> bool {
        self.checking.is_some()
    }

    /// Whether nothing can be recorded before a check weight agrees: the balance sends no unit, and
    /// none stands for it.
    pub fn wants_check_weight(&self) -> bool {
        self.guard.wants_check_weight() && self.guard.verdict() != Verdict::Agreed
    }

    /// For a job whose button wants the check weight beside it: whether it lies on a pan that shows
    /// this.
    fn wants_beside(&self, shown: Indication) -> Option<bool> {
        let job = self.open_job()?;
        let wants = job.last_button().is_some() && job.wants_check_weight();
        wants.then(|| job.is_button_on_pan(shown))
    }

    /// The bench holds for its unit; if that throws doubt on what was weighed before, it is soon in
    /// the job's file.
    pub(super) fn hold_unit(&mut self, seen: Option<Unit>, at: Moment) {
        let unit = self.guard.unit();
        let by_numbers = self.guard.wants_check_weight();
        let (why, mend) = if by_numbers {
            words::unit_jump(seen, unit)
        } else {
            words::unit_conflict(seen, unit)
        };
        if self.guard.take_doubt() {
            self.doubt_due |= self.open_job().is_some();
            // What was read before may be of another unit: nothing is known of the pan by it.
            self.last_base = None;
        }
        self.holds.begin(Cause::Unit, why, mend, Duration::ZERO, at);
    }
}

/// Whether what was put on a pan for a check weight is the button of the job, and cannot be the
/// weight.
fn is_button(
    job: Option<&Job>,
    weight: CheckWeight,
    gross: Indication,
    net: Option<Indication>,
) -> bool {
    let Some(job) = job.filter(|job| job.closed.is_none()) else {
        return false;
    };
    let apart = net.is_some_and(|net| {
        let nominal = weight.nominal().mass();
        (net.mass() - nominal).abs().times(10) > nominal
    });
    apart && job.is_button_on_pan(gross)
}
