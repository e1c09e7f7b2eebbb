//! Records on their way to the book: what is asked to be written, and what its outcome changes.

use std::time::Duration;

use super::fold::Job;
use super::hold::Cause;
use super::order::{Done, Effect};
use super::prove::{assay_words, in_water_words, unproven};
use super::record::{Captured, PanAnswer, Record, What};
use super::remedy::Remedy;
use super::state::{Given, Pending, State};
use super::words;
use super::{BellKind, Ring, statement};
use crate::balance::Base;
use crate::mass::Moment;
use crate::trouble::Trouble;

/// How often a full disk is tried again.
pub(super) const DISK_RETRY: Duration = Duration::from_secs(2);
/// How long the disk may take before it is told that it does not answer: a sync takes some
/// milliseconds, on a slow card some tenths of a second (by experience, no source).
pub(super) const DISK_PATIENCE: Duration = Duration::from_secs(1);
/// How much evidence is kept for behind a record that is waited for: a disk answers long before.
const MOST_BEHIND: usize = 64;

impl State {
    /// Appends a record that is waited for.
    pub(super) fn wait_for(&mut self, record: Record, order: Option<Given>, out: &mut Vec<Effect>) {
        out.push(Effect::Append {
            record: Box::new(record.clone()),
            wait: true,
            id: order.as_ref().and_then(|order| order.id.clone()),
        });
        self.pending = Some(Pending {
            record,
            since: self.now,
            order,
        });
    }

    /// When it is to be told that the disk does not answer.
    pub(super) fn disk_silent_at(&self) -> Option<Moment> {
        let asked = self.pending.as_ref().map(|pending| pending.since);
        let since = asked.into_iter().chain(self.check_asked).min()?;
        (!self.disk_silent).then(|| since.plus(DISK_PATIENCE))
    }

    /// A disk that was asked and keeps silent holds the bench: nothing is known of what it was
    /// given last.
    pub(super) fn watch_disk(&mut self, at: Moment) {
        if self.disk_silent_at().is_some_and(|due| at >= due) {
            self.disk_silent = true;
            self.holds.begin(
                Cause::Disk,
                "The disk that holds the book does not answer.".to_owned(),
                "Leave the metal as it is and wait: the bench goes on by itself when it answers. If it stays so, check the disk.".to_owned(),
                Duration::ZERO,
                at,
            );
        }
    }

    /// The disk has answered, whatever it said; gives whether its silence was told and is over.
    pub(super) fn disk_answered(&mut self) -> bool {
        if self.pending.is_some() || self.check_asked.is_some() {
            return false;
        }
        // One that is to be tried again holds for another reason too.
        std::mem::take(&mut self.disk_silent)
            && self.disk_retry.is_none()
            && self.holds.end(Cause::Disk) == Some(true)
    }

    /// Why nothing is ordered while the disk holds the bench. What is refused so is not done later.
    pub(super) fn disk_hold(&self) -> Trouble {
        if self.disk_silent {
            return Trouble::new(
                "disk-hold",
                "The disk that holds the book does not answer.",
                "This order was not carried out and will not be; the one before it may be still.",
                "Wait until the bench goes on, look how it stands, then give the order again.",
            )
            .passing();
        }
        Trouble::new(
            "disk-hold",
            "The job file cannot be written now.",
            "What was recorded stays; nothing more is recorded until it can be written again.",
            "Make room on the disk, or see what the hold says.",
        )
    }

    /// Tells that a silence of the disk is over.
    pub(super) fn tell_disk_answers(&mut self, out: &mut Vec<Effect>) {
        self.follow_up(Record::Resume { cause: Cause::Disk }, out);
        self.ring_resumed(out);
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
        // One that is silent may yet take it; the bench holds, so nothing rests on it.
        let kept = !self.holds.has(Cause::Disk) || self.disk_silent;
        if let Some(job) = self.job.as_mut().filter(|job| job.closed.is_none()) {
            job.apply(&record, job.last + u64::from(kept));
            if kept {
                out.push(Effect::Append {
                    record: Box::new(record),
                    wait: false,
                    id: None,
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
        let Some(Pending { record, order, .. }) = self.pending.take() else {
            return;
        };
        let answers_again =
            self.disk_answered() && record != (Record::Resume { cause: Cause::Disk });
        match (&record, &mut self.job) {
            (Record::Open(_), job) => *job = Job::begin(&record, n),
            (_, Some(job)) => job.apply(&record, n),
            (_, None) => return,
        }
        let number = order.as_ref().map(|order| order.number);
        if let (Some(job), Some(Given { id: Some(id), .. })) = (&mut self.job, order) {
            job.was_carried_out(id, n);
        }
        self.follow_up_behind(record.begins_anew(), out);
        self.take_effect(&record, at, out);
        self.refresh_adding();
        if answers_again {
            self.tell_disk_answers(out);
        }
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
        if let Some(id) = number {
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
            Record::Open(_) | Record::Close(_) | Record::Plan { .. } | Record::Leave {} => {
                if matches!(record, Record::Open(_)) {
                    self.guard.job_begins(at);
                    (self.odd_rest, self.odd_button) = (None, None);
                }
                self.doubt_due = false;
                (self.loose_since, self.loose_told) = (None, None);
                self.pan.disarm();
                self.end_hold(Cause::Pan, out);
            }
            Record::Withdraw { .. } => {
                // What was under way was counted with what is set aside.
                self.pan.disarm();
                self.end_hold(Cause::Pan, out);
            }
            Record::Expect { what, .. } => {
                let base = self.arm(what, at);
                self.take_base(base, out);
                self.end_hold(Cause::Pan, out);
            }
            Record::Capture(captured) => {
                if captured.instead_of.is_none() {
                    self.pan.disarm();
                }
                (self.loose_since, self.loose_told) = (None, None);
                self.end_hold(Cause::Pan, out);
                self.guard.used();
                self.inside_since = None;
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
                        let base = self.pan.arm_anew(at);
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
                self.tell_pan_again(out);
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
            if let Some(order) = pending.as_ref().and_then(|pending| pending.order.as_ref()) {
                out.push(Effect::Answer {
                    id: order.number,
                    answer: Err(trouble.clone()),
                });
            }
            let answers_again = self.disk_answered();
            match pending.map(|pending| pending.record) {
                Some(Record::Open(_)) => {
                    if answers_again {
                        self.ring_resumed(out);
                    }
                    return;
                }
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
                    "Melt, then weigh what came out.".to_owned()
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
                " Leave it on the pan, and put the check weight beside it."
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
    format!("It lies outside the window. {}", remedy.told())
}
