//! Records on their way to the book: what is asked to be written, and what its outcome changes.

use std::time::Duration;

use super::fold::Job;
use super::hold::Cause;
use super::order::{Done, Effect};
use super::prove::{assay_words, in_water_words, unproven};
use super::record::{Captured, PanAnswer, Record, What};
use super::remedy::Remedy;
use super::state::{Pending, State};
use super::words;
use super::{BellKind, Ring, statement};
use crate::balance::Base;
use crate::mass::Moment;
use crate::trouble::Trouble;

/// How often a full disk is tried again.
pub(super) const DISK_RETRY: Duration = Duration::from_secs(2);
/// How much evidence is kept for behind a record that is waited for: a disk answers long before.
const MOST_BEHIND: usize = 64;

impl State {
    /// Appends a record that is waited for.
    pub(super) fn wait_for(&mut self, record: Record, order: Option<u64>, out: &mut Vec<Effect>) {
        out.push(Effect::Append {
            record: Box::new(record.clone()),
            wait: true,
        });
        self.pending = Some(Pending { record, order });
    }

    /// Applies a record at once and appends it without waiting: evidence that a capture does not
    /// rest on. While the disk holds the bench nothing of the kind is tried.
    pub(super) fn follow_up(&mut self, record: Record, out: &mut Vec<Effect>) {
        if self.pending.is_some() && self.open_job().is_some() {
            // In the file it stands behind the record that is waited for, so it counts after it.
            if self.behind.len() < MOST_BEHIND || matches!(record, Record::Base { .. }) {
                self.behind.push(record);
            }
            return;
        }
        let kept = !self.holds.has(Cause::Disk);
        if let Some(job) = self.job.as_mut().filter(|job| job.closed.is_none()) {
            job.apply(&record, job.last + u64::from(kept));
            if kept {
                out.push(Effect::Append {
                    record: Box::new(record),
                    wait: false,
                });
            }
        }
    }

    /// What came while a record was waited for, now that it is decided. `anew`: that record began
    /// or ended a weighing, so what was seen of the one before is not evidence of this one.
    fn follow_up_behind(&mut self, anew: bool, out: &mut Vec<Effect>) {
        for record in std::mem::take(&mut self.behind) {
            let of_weighing = matches!(record, Record::Base { .. } | Record::Reading { .. });
            if !(anew && of_weighing) {
                self.follow_up(record, out);
            }
        }
    }

    /// The record that was waited for is on disk: now it counts, and may be told.
    pub(super) fn written(&mut self, n: u64, at: Moment, out: &mut Vec<Effect>) {
        let Some(Pending { record, order }) = self.pending.take() else {
            return;
        };
        match (&record, &mut self.job) {
            (Record::Open(_), job) => *job = Job::begin(&record, n),
            (_, Some(job)) => job.apply(&record, n),
            (_, None) => return,
        }
        self.follow_up_behind(record.begins_anew(), out);
        self.take_effect(&record, at, out);
        self.refresh_adding();
        let done = self.done_words(&record);
        if let Some(kind) = record.bell() {
            let title = match kind {
                BellKind::Done => "Done".to_owned(),
                _ => "Recorded".to_owned(),
            };
            let text = if kind == BellKind::Done {
                "The job is closed.".to_owned()
            } else {
                done.text.clone()
            };
            out.push(Effect::Ring(Ring { kind, title, text }));
        }
        if let Some(id) = order {
            out.push(Effect::Answer {
                id,
                answer: Ok(done),
            });
        }
        self.write_due(at, out);
    }

    /// What a record that now counts changes on the pan.
    fn take_effect(&mut self, record: &Record, at: Moment, out: &mut Vec<Effect>) {
        match record {
            Record::Open(_) | Record::Close(_) | Record::Plan { .. } => {
                if matches!(record, Record::Open(_)) {
                    self.guard.job_begins(at);
                    (self.odd_rest, self.odd_button) = (None, None);
                }
                self.close_asked = false;
                self.doubt_due = false;
                self.pan.disarm();
                self.end_hold(Cause::Pan, out);
            }
            Record::Withdraw { .. } => {
                // What was under way was counted with what is set aside.
                self.close_asked = false;
                self.pan.disarm();
                self.end_hold(Cause::Pan, out);
            }
            Record::Assay(_) => self.close_asked = false,
            Record::Expect { what, .. } => {
                let base = self.arm(what, at);
                self.take_base(base, out);
                self.end_hold(Cause::Pan, out);
            }
            Record::Capture(captured) => {
                self.pan.disarm();
                self.guard.used();
                self.close_asked = false;
                self.inside_since = None;
                if matches!(captured.what, What::Lot { .. } | What::Button) {
                    self.standing_load = Some(captured.base);
                }
            }
            Record::CheckWeight { check, checked } => {
                self.check_counts(*check, checked, at, out);
            }
            Record::Answer { said, base } => {
                match (said, base) {
                    (PanAnswer::Tared, Some(base)) => {
                        self.pan.resume(Base::From(*base), self.pan.rest());
                    }
                    (PanAnswer::Back, _) => self.pan.dish_is_back(),
                    _ => {
                        let base = self.pan.arm(Base::NextRest, at);
                        self.take_base(base, out);
                    }
                }
                self.end_hold(Cause::Pan, out);
            }
            Record::Resume { cause: Cause::Disk } => {
                // What could not be appended meanwhile and is needed to go on after a kill.
                let base = match self.pan.base() {
                    Some(Base::From(base)) if self.expected().is_some() => Some(base),
                    _ => None,
                };
                self.holds.end(Cause::Disk);
                if let Some(base) = base {
                    self.follow_up(Record::Base { base }, out);
                    self.noted = [None; 2];
                }
                self.ring_resumed(out);
            }
            _ => {}
        }
    }

    pub(super) fn not_written(
        &mut self,
        trouble: Trouble,
        waited: bool,
        for_good: bool,
        at: Moment,
        out: &mut Vec<Effect>,
    ) {
        if waited {
            let pending = self.pending.take();
            if let Some(id) = pending.as_ref().and_then(|pending| pending.order) {
                out.push(Effect::Answer {
                    id,
                    answer: Err(trouble.clone()),
                });
            }
            match pending.map(|pending| pending.record) {
                Some(Record::Open(_)) => return,
                Some(Record::CheckWeight { .. }) => self.checking = None,
                Some(Record::Doubt {}) => self.doubt_due = true,
                _ => {}
            }
        }
        self.inside_since = None;
        if self.open_job().is_some() {
            self.holds.begin(
                Cause::Disk,
                trouble.happened,
                trouble.mend,
                Duration::ZERO,
                at,
            );
            self.disk_retry = (!for_good).then(|| at.plus(DISK_RETRY));
        }
        if waited {
            self.follow_up_behind(false, out);
        }
    }

    /// What to say when an order, or a capture by itself, has come to be.
    fn done_words(&self, record: &Record) -> Done {
        let Some(job) = &self.job else {
            return Done {
                text: String::new(),
                warning: false,
            };
        };
        let (text, mut warning) = match record {
            Record::Open(opened) => {
                let mut cautions = words::cautions(job, &self.rules);
                cautions.extend(self.check_warning());
                let told = cautions
                    .iter()
                    .fold(String::new(), |told, caution| format!("{told} {caution}"));
                let ticket = if opened.ticket == opened.job {
                    String::new()
                } else {
                    format!(", for ticket {}", opened.ticket)
                };
                let text = format!(
                    "Job {} is open{ticket}. {}{told}",
                    opened.job,
                    self.sentence()
                );
                (text, !cautions.is_empty())
            }
            Record::Expect {
                what: What::Button, ..
            } if !job.to_come().is_empty() => {
                (format!("{} {}", words::to_come(job), self.sentence()), true)
            }
            Record::Plan { .. } => {
                let cautions = words::cautions(job, &self.rules);
                let told = [&[self.sentence()], &*cautions].concat().join(" ");
                let is_hopeless = job.plan().is_none() && !job.to_come().is_empty();
                (told, is_hopeless || !cautions.is_empty())
            }
            Record::Capture(captured) => captured_words(self, job, captured),
            Record::Assay(assayed) => assay_words(job, assayed, &self.rules),
            Record::Withdraw { capture } => {
                let what = job.weighed.iter().find(|weighed| weighed.n == *capture);
                let what = what.map_or_else(String::new, |weighed| {
                    format!(
                        "{} ({})",
                        words::of_withdrawn(job, &weighed.captured.what),
                        weighed.captured.mass
                    )
                });
                (
                    format!(
                        "Set aside: {what}; it stays in the file as withdrawn. {}",
                        words::lots_so_far(job)
                    ),
                    false,
                )
            }
            Record::Close(closed) => (
                statement::statement(job, closed),
                !closed.warnings.is_empty(),
            ),
            _ => (self.sentence(), false),
        };
        warning |= self.holds.any_announced() && !matches!(record, Record::Close(_));
        Done { text, warning }
    }
}

fn captured_words(state: &State, job: &Job, captured: &Captured) -> (String, bool) {
    let mass = words::spelled(captured.mass);
    match &captured.what {
        What::Lot { .. } => {
            let lots = job.lots().count();
            (
                format!(
                    "Lot {lots}: {mass}. {} Empty the pan.",
                    words::lots_so_far(job)
                ),
                job.plan().is_none() && !job.to_come().is_empty(),
            )
        }
        What::Addition { addition } => {
            let name = words::metal_name(job, *addition);
            let melt = job.melt();
            let demand = job.demand();
            let fineness = melt.fineness().map_or_else(String::new, |f| f.to_string());
            if job.to_come().is_empty() {
                let right = melt.is_at_least(demand.lowest) && melt.is_at_most(demand.highest);
                let next = if right {
                    "Melt, then weigh what came out: panbell button.".to_owned()
                } else {
                    put_right(state, job)
                };
                (
                    format!("{name}: {mass}. The melt is {fineness} by mass balance. {next}"),
                    !right,
                )
            } else {
                let plan = job.plan();
                let failed = plan.is_none();
                let next = match plan {
                    Some(_) => words::to_come(job),
                    None => put_right(state, job),
                };
                (format!("{name}: {mass}. {next}"), failed)
            }
        }
        What::Button => {
            let button = captured.mass.mass();
            let heavier = button > job.melt().mass();
            let loss = words::loss(job, button, &state.rules.past);
            let unproven = unproven(job, &state.rules);
            let open = unproven
                .as_ref()
                .map_or_else(String::new, |told| format!(" {told}"));
            let weight = if job.wants_check_weight() {
                " Leave it on the pan, and put the check weight beside it: panbell check-weight."
            } else {
                ""
            };
            (
                format!("Button: {mass}. {loss}{open}{weight}"),
                heavier || unproven.is_some(),
            )
        }
        What::InWater(_) => in_water_words(job, captured, &state.rules),
    }
}

/// What puts right a melt that was taken as it is.
fn put_right(state: &State, job: &Job) -> String {
    let remedy = Remedy::of(job, &job.melt(), &state.rules);
    format!(
        "It lies outside the window. {}",
        remedy.told("panbell add --with METAL.")
    )
}
