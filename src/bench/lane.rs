//! One bench: whatever happens next is one event; its effects are carried out in order.

use std::future::Future;
use std::ops::Range;
use std::pin::Pin;
use std::sync::Arc;

use serde::Serialize;
use tokio::sync::watch;
use tokio::time::sleep;

use super::checks::Checks;
use super::given::Given;
use super::journal::Journal;
use super::line::{Came, Line, MOST_AT_ONCE};
use super::pan;
use super::reader::Reader;
use super::watchful::Watchful;
use crate::balance::{LinkState, Piece, Verdict};
use crate::bell::{BellSender, Peal};
use crate::job::{
    self, BellKind, Cause, Checked, Done, Effect, Event, Job, LastCheck, Record, Ring, State, step,
};
use crate::mass::{Indication, Moment, Reading};
use crate::serve::{
    ActionView, Ask, BellView, BenchView, Clock, Inbox, Kind, Look, ReadingView, Refusal, Rung,
    Wish,
};
use crate::settings::BenchSettings;
use crate::trouble::Trouble;

/// One bench with everything that it works with.
pub(super) struct Lane {
    name: String,
    /// Always there between two steps; taken out only inside one.
    state: Option<State>,
    reader: Reader,
    line: Line,
    journal: Journal,
    checks: Arc<Checks>,
    /// The check weight that is being recorded.
    checking: Option<Checking>,
    bells: Option<BellSender>,
    inbox: Inbox,
    given: Given,
    /// The order that was given on another state than there is.
    on_old: Option<u64>,
    /// The last capture that a bell has told of.
    rung: u64,
    clock: Watchful,
    /// What lies at the port came while the loop stood still, nobody knows when.
    behind: bool,
    /// What one read came to, kept for its room.
    heard: Vec<Heard>,
    raws: Vec<u8>,
    /// The state that followers were last told whole, and its mark.
    told: Option<BenchView>,
    mark: Option<Mark>,
    /// How the pan stood when it was last seen which orders would be taken.
    standing: Standing,
    /// Damaged frames that the log has told of.
    damage_told: u64,
}

/// One piece of what was read.
enum Heard {
    /// A reading; its line is this part of what is kept.
    Reading(Reading, Range<usize>),
    Odd,
    Damaged,
}

/// A check weight on its way to the book of check weights.
type Checking = Pin<Box<dyn Future<Output = Result<(u64, Box<Checked>), Trouble>> + Send>>;

/// What a reading can change beside the pan; when it does, followers are told the whole state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Mark {
    link: LinkState,
    unit: Verdict,
    hold: Option<Cause>,
    low: bool,
    damaged: u64,
    state: job::Mark,
}

/// How the pan stands, as far as it decides which orders would be taken: at rest at this, something of
/// a weighing on it, anything at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Standing {
    rest: Option<Indication>,
    half_weighed: bool,
    loaded: bool,
}

impl Standing {
    fn of(state: &State) -> Self {
        let Some(tracked) = state.tracked() else {
            return Self::default();
        };
        let net = tracked.net.map(Indication::mass).unwrap_or_default();
        Self {
            rest: tracked.steady.then_some(tracked.gross),
            half_weighed: net > state.rules().pan.tolerance,
            loaded: net.is_positive(),
        }
    }
}

impl Mark {
    fn of(state: &State) -> Self {
        Self {
            link: state.link().state(),
            unit: state.guard().verdict(),
            hold: state.holds().told().map(|hold| hold.cause),
            low: state.is_pan_low(),
            damaged: state.link().damaged(),
            state: state.mark(),
        }
    }
}

impl Lane {
    pub(super) fn new(
        settings: &BenchSettings,
        job: Option<Job>,
        (journal, checks): (Journal, Arc<Checks>),
        bells: Option<BellSender>,
        inbox: Inbox,
        clock: Clock,
    ) -> Result<Self, Trouble> {
        let reader = Reader::of(&settings.form)?;
        Ok(Self {
            name: settings.name.clone(),
            rung: job.as_ref().and_then(last_capture).unwrap_or(0),
            state: Some(
                State::new(Arc::clone(&settings.rules), job)
                    .sending(settings.form.sends())
                    .with_fine_digit(reader.has_fine_digit()),
            ),
            reader,
            line: Line::new(settings.port.clone(), &settings.form),
            journal,
            checks,
            checking: None,
            bells,
            inbox,
            given: Given::default(),
            on_old: None,
            clock: Watchful::by(clock),
            behind: false,
            heard: Vec::new(),
            raws: Vec::new(),
            told: None,
            mark: None,
            standing: Standing::default(),
            damage_told: 0,
        })
    }

    /// Tells the bench of its last check weight, before it works.
    pub(super) fn remember(&mut self, last: LastCheck) {
        self.happen(Event::LastCheck(Box::new(last)));
    }

    /// Works until told to stop; then what was given to the book is waited for.
    pub(super) async fn run(mut self, mut stopping: watch::Receiver<bool>) {
        loop {
            let (wake, orders_wait) = match &self.state {
                Some(state) => (state.wake_at(), state.orders_wait()),
                None => return,
            };
            let wait = self.clock.waits(wake, self.line.is_open());
            let tick = async {
                match wait {
                    Some(wait) => sleep(wait).await,
                    None => std::future::pending().await,
                }
            };
            let checking = &mut self.checking;
            let checked = async {
                match checking {
                    Some(checking) => checking.await,
                    None => std::future::pending().await,
                }
            };
            // Biased: what is on disk counts before more is asked of it, and a chatty balance
            // cannot keep an order waiting.
            tokio::select! {
                biased;
                _ = stopping.changed() => break,
                event = self.journal.next() => if let Some(event) = event { self.happen(event) },
                written = checked => {
                    self.checking = None;
                    self.happen(Event::Checked(written));
                }
                ask = self.inbox.asks.recv(), if !orders_wait => match ask {
                    Some(ask) => self.asked(ask),
                    None => break,
                },
                Some(look) = self.inbox.looks.recv() => self.looked(look),
                came = self.line.next() => {
                    let is_flood = matches!(came, Came::Bytes(count) if count >= MOST_AT_ONCE / 4);
                    self.came(came);
                    if is_flood {
                        // A port that always has more would keep the thread for itself.
                        tokio::task::yield_now().await;
                    }
                }
                () = tick => self.happen(Event::Tick),
            }
        }
    }

    fn now(&self) -> Moment {
        self.clock.now()
    }

    /// The loop runs again. If it stood still, nothing that is known of the pan is current, and
    /// what lies at the port is of any age.
    fn woke(&mut self) {
        if self.clock.stood_still() {
            tracing::debug!(bench = self.name, "the service stood still");
            self.behind |= self.line.is_waiting();
            self.happen(Event::Stalled);
        }
    }

    fn came(&mut self, came: Came) {
        if matches!(came, Came::Bytes(_)) && self.clock.stood_still() {
            self.happen(Event::Stalled);
            self.behind = true;
        }
        self.woke();
        match came {
            Came::Opened => {
                self.reader.opened(self.line.scale());
                self.happen(Event::PortOpened);
            }
            Came::Lost(trouble) => self.happen(Event::PortLost(trouble)),
            Came::Nothing => {}
            Came::Bytes(count) => self.bytes(Some(count)),
            Came::Pause => self.bytes(None),
        }
    }

    /// Bytes, or a pause after them, to lines, or a report, to readings to steps. Of what came
    /// together only the newest reading says what is; and if the loop stood still, not even that.
    fn bytes(&mut self, count: Option<usize>) {
        let at = self.now();
        let (mut heard, mut raws) = (
            std::mem::take(&mut self.heard),
            std::mem::take(&mut self.raws),
        );
        let reader = &mut self.reader;
        self.line.pieces(count, |piece| {
            heard.push(match piece {
                Piece::Line(raw) => match reader.read(raw) {
                    Ok(None) => return,
                    Ok(Some(reading)) => {
                        let from = raws.len();
                        raws.extend_from_slice(raw);
                        Heard::Reading(reading, from..raws.len())
                    }
                    Err(why) => {
                        tracing::debug!(line = %raw.escape_ascii(), ?why, "a line was not understood");
                        Heard::Odd
                    }
                },
                Piece::TooLong => {
                    tracing::debug!("more bytes than a line can have, without a line end");
                    Heard::Odd
                }
                Piece::Damaged => Heard::Damaged,
            });
        });
        if !heard.is_empty() {
            self.line.answered();
        }
        // A read that was full has left more behind it, newer than all of this.
        let is_full = count.is_some_and(|count| count >= MOST_AT_ONCE);
        let is_waiting = (self.behind || is_full) && self.line.is_waiting();
        let newest = heard
            .iter()
            .rposition(|heard| matches!(heard, Heard::Reading(..)))
            .filter(|_| !self.behind && !is_waiting);
        self.behind &= is_waiting;
        let (mut effects, mut shown, mut damaged) = (Vec::new(), None, false);
        for (place, heard) in heard.drain(..).enumerate() {
            let event = match heard {
                Heard::Reading(reading, part) => {
                    let raw = raws.get(part).unwrap_or_default();
                    if Some(place) == newest {
                        shown = Some(reading);
                        Event::Line { reading, raw }
                    } else {
                        Event::OldLine { reading, raw }
                    }
                }
                Heard::Odd => Event::OddLine,
                Heard::Damaged => {
                    damaged = true;
                    Event::DamagedLine
                }
            };
            if let Some(before) = self.state.take() {
                let (after, more) = step(before, event, at);
                self.state = Some(after);
                effects.extend(more);
            }
        }
        raws.clear();
        (self.heard, self.raws) = (heard, raws);
        if damaged {
            self.log_damage();
        }
        self.carry_out(effects, shown);
    }

    /// Says in the log that frames fail their check: the first, and whenever they are ten times
    /// as many as were told.
    fn log_damage(&mut self) {
        let count = self.state.as_ref().map_or(0, |it| it.link().damaged());
        if count >= self.damage_told.saturating_mul(10) {
            self.damage_told = count;
            tracing::warn!(
                bench = self.name,
                count,
                "frames of the balance fail their check and are dropped"
            );
        }
    }

    /// Shows how it stands, at once, whatever is being written.
    fn looked(&mut self, look: Look) {
        self.woke();
        // What has grown old is not shown as current, be it that no tick has come to say so yet.
        self.happen(Event::Tick);
        let Some(state) = &self.state else { return };
        // A client that left is no trouble of the bench.
        match look {
            Look::View(reply) => {
                let view = BenchView::of(state, self.now());
                let _gone = reply.send((self.inbox.live.last(), view));
            }
            Look::Job(reply) => {
                let job = state.open_job().cloned();
                let _gone = reply.send(job.map(|job| (job, state.shared_rules())));
            }
        }
    }

    fn asked(&mut self, ask: Ask) {
        self.woke();
        let (wish, terms) = (ask.wish, ask.terms);
        if !ask.turn.begin() {
            tracing::info!(
                bench = self.name,
                ?wish,
                "nobody waits for this order any more"
            );
            return;
        }
        let Some(number) = self.given.take(&wish, terms.id.as_ref(), ask.reply) else {
            return;
        };
        let Some(state) = &self.state else { return };
        let is_old = terms.seen.is_some_and(|seen| seen != state.mark());
        self.on_old = is_old.then_some(number);
        match wish {
            Wish::Press(key) => {
                let allowed = state.may_press(key, &terms);
                tracing::info!(bench = self.name, key = key.word(), ?allowed, "key");
                let pressed = allowed.and_then(|()| self.line.press(key));
                self.answer(number, pressed);
            }
            Wish::Order(order) => {
                tracing::debug!(bench = self.name, ?order, "order");
                if let Some(bells) = &self.bells {
                    bells.ordered(&self.name);
                }
                self.happen(Event::Order {
                    id: number,
                    order,
                    terms,
                });
            }
        }
    }

    /// Answers an order; refuses one that was given on an old state with the present one.
    fn answer(&mut self, number: u64, mut answer: Result<Done, Trouble>) {
        if let (Ok(done), Some(note)) = (&mut answer, self.journal.note()) {
            done.text = format!("{} {note}", done.text);
            done.warning = true;
        }
        let answer = answer.map_err(|trouble| Refusal {
            trouble,
            bench: match &self.state {
                Some(state) if self.on_old == Some(number) => {
                    Some(Box::new(BenchView::of(state, self.now())))
                }
                _ => None,
            },
        });
        self.given.answer(number, &answer);
    }

    /// Rings, on the stream and by the bells.
    fn ring(&mut self, ring: Ring) {
        tracing::info!(
            bench = self.name,
            bell = ring.kind.word(),
            "{}: {}",
            ring.title,
            ring.text
        );
        self.note_rung(ring.kind);
        self.tell(Kind::Bell, &BellView::of(&ring, self.now()));
        if let Some(bells) = &self.bells {
            bells.ring(Peal {
                bench: self.name.clone(),
                ring,
            });
        }
    }

    /// Keeps what a bell was about, so that a press on its notice means that and nothing newer.
    fn note_rung(&mut self, kind: BellKind) {
        let job = self.state.as_ref().and_then(State::open_job);
        let last = job.and_then(last_capture);
        // A check weight is recorded too, and is no capture.
        let is_new = kind == BellKind::Recorded && last.is_some_and(|last| last > self.rung);
        let capture = last.filter(|_| is_new);
        self.rung = capture.unwrap_or(self.rung);
        self.inbox.live.rings(Rung {
            ticket: job.map(|job| job.opened.ticket.clone()),
            capture,
        });
    }

    fn happen(&mut self, event: Event<'_>) {
        self.woke();
        let at = self.now();
        let Some(state) = self.state.take() else {
            return;
        };
        let (state, effects) = step(state, event, at);
        self.state = Some(state);
        self.carry_out(effects, None);
    }

    fn carry_out(&mut self, effects: Vec<Effect>, shown: Option<Reading>) {
        let mut changed = shown.is_none();
        for effect in effects {
            match effect {
                Effect::Append { record, wait, id } => {
                    changed |= !matches!(*record, Record::Reading { .. });
                    self.journal.append(&record, wait, id.as_ref());
                }
                Effect::Check(checked) => {
                    changed = true;
                    let (checks, bench) = (Arc::clone(&self.checks), self.name.clone());
                    self.checking =
                        Some(Box::pin(async move { checks.append(bench, checked).await }));
                }
                Effect::Answer { id, answer } => {
                    changed = true;
                    if let (Some(bells), Ok(done)) = (&self.bells, &answer) {
                        bells.say(&done.text);
                    }
                    self.answer(id, answer);
                }
                Effect::Ring(ring) => self.ring(ring),
            }
        }
        if let (Some(bells), Some(state)) = (&self.bells, &self.state) {
            bells.pan(&self.name, pan::now(state));
        }
        self.tell_followers(changed, shown.is_some());
    }

    /// Followers get the small reading, and the whole state when anything else has changed.
    fn tell_followers(&mut self, changed: bool, shown: bool) {
        if shown {
            self.inbox.live.was_read();
        }
        if !self.inbox.live.is_followed() {
            self.told = None;
            return;
        }
        let Some(state) = &self.state else { return };
        let at = self.now();
        if shown {
            self.tell(Kind::Reading, &ReadingView::of(state, at));
        }
        // A pan that came to rest, or was loaded, lets other orders be taken than before.
        let standing = Standing::of(state);
        let changed = changed
            || (standing != self.standing && {
                let told = self.told.as_ref();
                told.is_none_or(|told| told.actions != ActionView::all(state))
            });
        self.standing = standing;
        let mark = Some(Mark::of(state));
        if changed || mark != self.mark {
            self.mark = mark;
            let view = BenchView::of(state, at);
            if !self.told.as_mut().is_some_and(|told| told.is_as(&view)) {
                self.tell(Kind::State, &view);
                self.told = Some(view);
            }
        }
    }

    fn tell<T: Serialize>(&self, kind: Kind, data: &T) {
        if !self.inbox.live.is_followed() {
            return;
        }
        match serde_json::to_string(data) {
            Ok(data) => self.inbox.live.tell(kind, data),
            Err(error) => tracing::error!(%error, ?kind, "an event could not be written as JSON"),
        }
    }
}

/// The number of the last capture that stands.
fn last_capture(job: &Job) -> Option<u64> {
    job.standing().next_back().map(|last| last.n)
}
