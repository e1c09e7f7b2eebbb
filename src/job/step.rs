//! One step of a bench: an event in, effects out. Total: nothing fails here and nothing panics;
//! what is refused is answered with its reason.

use std::time::Duration;

use super::fold::Job;
use super::hold::Cause;
use super::order::{Done, Effect, Event};
use super::record::{Captured, How, PanAnswer, Raw, Record, What};
use super::state::{Pending, State};
use super::words;
use super::{BellKind, Ring, statement};
use crate::balance::{Base, LinkState, Tracked, Verdict};
use crate::mass::{Indication, Moment, Reading, Status};
use crate::melt::Side;
use crate::trouble::Trouble;

/// A balance that cannot weigh for so long is told of; a lifted dish shows "under zero" meanwhile.
const BALANCE_PATIENCE: Duration = Duration::from_secs(2);
/// A line without a unit is told of when it lasts; many balances leave the unit out in motion.
const UNPROVEN_PATIENCE: Duration = Duration::from_secs(2);
/// How often a full disk is tried again.
const DISK_RETRY: Duration = Duration::from_secs(2);

/// Takes one event at a moment; gives the state after it and what is to be done, in order.
pub fn step(mut state: State, event: Event<'_>, at: Moment) -> (State, Vec<Effect>) {
    let mut out = Vec::new();
    match event {
        Event::Line { reading, raw } => state.line(reading, raw, at, &mut out),
        Event::OddLine => state.odd_line(at),
        Event::PortOpened => state.port_opened(at),
        Event::PortLost(trouble) => state.port_lost(&trouble, at),
        Event::Order { id, order } => state.order(id, order, &mut out),
        Event::Written { n } => state.written(n, at, &mut out),
        Event::NotWritten {
            trouble,
            waited,
            for_good,
        } => state.not_written(trouble, waited, for_good, at, &mut out),
        Event::Tick => state.tick(at, &mut out),
    }
    state.tell_holds(at, &mut out);
    (state, out)
}

impl State {
    fn line(&mut self, reading: Reading, raw: &[u8], at: Moment, out: &mut Vec<Effect>) {
        self.link.good_line(at);
        self.shown = Some((reading, at));
        self.line.clear();
        self.line.extend_from_slice(raw);
        if self.link.state() == LinkState::Talking {
            self.end_hold(Cause::Link, out);
        }
        if !self.is_believable(&reading, at, out) {
            self.pan.forget();
            self.inside_since = None;
            return;
        }
        let Some(gross) = reading.indication() else {
            return;
        };
        let tracked = self.pan.take(gross, reading.status, at);
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
        let weighs = reading.status.is_weighing();
        if weighs {
            self.end_hold(Cause::Balance, out);
        } else {
            let (why, mend) = balance_words(reading.status);
            self.holds.begin(
                Cause::Balance,
                why.to_owned(),
                mend.to_owned(),
                BALANCE_PATIENCE,
                at,
            );
        }
        let unit = self.guard.unit();
        let agreed = match self.guard.judge(reading) {
            Verdict::Agreed => {
                self.end_hold(Cause::Unit, out);
                true
            }
            Verdict::Conflict(seen) => {
                let (why, mend) = words::unit_conflict(seen, unit);
                self.holds.begin(Cause::Unit, why, mend, Duration::ZERO, at);
                false
            }
            Verdict::Unproven => {
                if self.expected().is_some() {
                    let why = format!(
                        "The balance does not say its unit, so {} are not proven.",
                        unit.name()
                    );
                    let mend = "Let the balance send its unit with the mass; until then nothing is captured.".to_owned();
                    self.holds
                        .begin(Cause::Unit, why, mend, UNPROVEN_PATIENCE, at);
                }
                false
            }
        };
        weighs && agreed
    }

    /// Records what a weighing counts from.
    fn take_base(&mut self, base: Option<Indication>, out: &mut Vec<Effect>) {
        if let Some(base) = base {
            self.standing_load = None;
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
        let text = words::standing(job, adding, net.mass(), self.rules.shelf.metals());
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
                (Some(What::Lot { .. } | What::Button), ..) => self.pan.is_loaded(),
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
            raw,
        };
        self.wait_for(Record::Capture(captured), order, out);
    }

    fn odd_line(&mut self, at: Moment) {
        self.link.odd_line(at);
        if self.link.state() == LinkState::Garbled {
            self.pan.forget();
            self.inside_since = None;
            self.guard.link_lost();
            let why = "What the balance sends cannot be read.".to_owned();
            let mend = "Its speed, framing or line layout is probably another than its file says: compare them with the balance's own settings.".to_owned();
            self.holds.begin(Cause::Link, why, mend, Duration::ZERO, at);
        }
    }

    fn port_opened(&mut self, at: Moment) {
        self.link.opened(at);
        let patience = self.rules.link.silence;
        self.silent(patience, at);
    }

    fn silent(&mut self, patience: Duration, at: Moment) {
        self.pan.forget();
        self.inside_since = None;
        self.guard.link_lost();
        let why = "The port is open and the balance says nothing.".to_owned();
        let mend =
            "Is it switched on, and does it send without being asked? Check the cable on its side."
                .to_owned();
        self.holds.begin(Cause::Link, why, mend, patience, at);
    }

    fn port_lost(&mut self, trouble: &Trouble, at: Moment) {
        self.link.lost();
        self.guard.link_lost();
        self.pan.forget();
        self.inside_since = None;
        self.holds.begin(
            Cause::Link,
            trouble.happened.clone(),
            trouble.mend.clone(),
            Duration::ZERO,
            at,
        );
    }

    fn tick(&mut self, at: Moment, out: &mut Vec<Effect>) {
        let before = self.link.state();
        self.link.tick(at);
        if self.link.state() == LinkState::Silent && before != LinkState::Silent {
            self.silent(Duration::ZERO, at);
        }
        if self.disk_retry.is_some_and(|due| at >= due) && self.pending.is_none() {
            self.disk_retry = None;
            self.wait_for(Record::Resume { cause: Cause::Disk }, None, out);
        }
    }

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
    fn follow_up(&mut self, record: Record, out: &mut Vec<Effect>) {
        if let Some(job) = self.job.as_mut().filter(|job| job.closed.is_none()) {
            job.apply(&record, job.last + 1);
            if !self.holds.has(Cause::Disk) {
                out.push(Effect::Append {
                    record: Box::new(record),
                    wait: false,
                });
            }
        }
    }

    /// The record that was waited for is on disk: now it counts, and may be told.
    fn written(&mut self, n: u64, at: Moment, out: &mut Vec<Effect>) {
        let Some(Pending { record, order }) = self.pending.take() else {
            return;
        };
        match (&record, &mut self.job) {
            (Record::Open(_), job) => *job = Job::begin(&record, n),
            (_, Some(job)) => job.apply(&record, n),
            (_, None) => return,
        }
        self.take_effect(&record, at, out);
        self.refresh_adding();
        let done = self.done_words(&record);
        if let Some(kind) = bell_of(&record) {
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
    }

    /// What a record that now counts changes on the pan.
    fn take_effect(&mut self, record: &Record, at: Moment, out: &mut Vec<Effect>) {
        match record {
            Record::Open(_) | Record::Close(_) => {
                self.pan.disarm();
                self.end_hold(Cause::Pan, out);
            }
            Record::Expect { what, .. } => {
                let base = self.arm(what, at);
                self.take_base(base, out);
                self.end_hold(Cause::Pan, out);
            }
            Record::Capture(captured) => {
                self.pan.disarm();
                self.inside_since = None;
                if !matches!(captured.what, What::Addition { .. }) {
                    self.standing_load = Some(captured.base);
                }
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

    fn not_written(
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
            if matches!(pending.map(|pending| pending.record), Some(Record::Open(_))) {
                return;
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
    }

    /// Ends a hold; when the person had been told of it, its end is recorded and rung.
    pub(super) fn end_hold(&mut self, cause: Cause, out: &mut Vec<Effect>) {
        if self.holds.end(cause) == Some(true) && self.open_job().is_some() {
            self.follow_up(Record::Resume { cause }, out);
            self.ring_resumed(out);
        }
    }

    fn ring_resumed(&mut self, out: &mut Vec<Effect>) {
        if !self.holds.any_announced() {
            let text = self.sentence();
            out.push(Effect::Ring(Ring {
                kind: BellKind::Resumed,
                title: "The bench goes on".to_owned(),
                text,
            }));
        }
    }

    fn tell_holds(&mut self, at: Moment, out: &mut Vec<Effect>) {
        while let Some(hold) = self.holds.due(at) {
            if self.open_job().is_some() {
                if hold.cause != Cause::Disk {
                    self.follow_up(
                        Record::Hold {
                            cause: hold.cause,
                            why: hold.why.clone(),
                        },
                        out,
                    );
                }
                let text = format!("{} {}", hold.why, hold.mend);
                out.push(Effect::Ring(Ring {
                    kind: BellKind::Hold,
                    title: "Hold: nothing is captured".to_owned(),
                    text,
                }));
            }
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
            Record::Open(opened) => (
                format!("Job {} is open. {}", opened.job, self.sentence()),
                false,
            ),
            Record::Capture(captured) => captured_words(self, job, captured),
            Record::Withdraw { capture } => {
                let what = job.weighed.iter().find(|weighed| weighed.n == *capture);
                let what =
                    what.map_or_else(String::new, |weighed| weighed.captured.mass.to_string());
                (
                    format!(
                        "{what} is set aside; it stays in the file as withdrawn. {}",
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
        warning |= self.holds.any() && !matches!(record, Record::Close(_));
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
                false,
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
        What::Button => (
            format!("Button: {mass}. {}", words::loss(job, captured.mass.mass())),
            false,
        ),
    }
}

/// What puts right a melt that was taken as it is.
fn put_right(state: &State, job: &Job) -> String {
    match words::put_right(job, &job.melt(), state.rules.shelf.metals()) {
        Some(ways) => {
            format!(
                "It lies outside the window; put it right with {ways}: panbell add --with METAL."
            )
        }
        None => "It lies outside the window.".to_owned(),
    }
}

fn bell_of(record: &Record) -> Option<BellKind> {
    match record {
        Record::Capture(_) => Some(BellKind::Recorded),
        Record::Close(_) => Some(BellKind::Done),
        _ => None,
    }
}

fn balance_words(status: Status) -> (&'static str, &'static str) {
    match status {
        Status::OverLimit => (
            "The balance says that the load is over its limit.",
            "Take the load off.",
        ),
        Status::UnderZero => (
            "The balance says that it is under zero.",
            "Put the dish back, or zero the balance with its own key while nothing is being weighed.",
        ),
        Status::RequiresCalibration => (
            "The balance asks to be calibrated.",
            "Calibrate it as its booklet says, then go on.",
        ),
        Status::RequiresReZeroing => (
            "The balance asks to be zeroed again.",
            "Empty the pan and zero it with its own key.",
        ),
        _ => (
            "The balance reports a fault.",
            "Switch it off and on; if the fault stays, have it seen to.",
        ),
    }
}
