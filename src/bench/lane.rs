//! One bench: whatever happens next is one event; its effects are carried out in order.

use std::collections::BTreeMap;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

use serde::Serialize;
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::{Instant, sleep_until};

use super::checks::Checks;
use super::journal::Journal;
use super::line::{Came, Line, MOST_AT_ONCE};
use super::pan;
use super::reader::Reader;
use crate::balance::{LinkState, Piece, Verdict};
use crate::bell::{BellSender, Peal};
use crate::job::{self, Cause, Checked, Done, Effect, Event, Job, LastCheck, Record, State, step};
use crate::mass::{Indication, Moment, Reading};
use crate::serve::{
    ActionView, Ask, BellView, BenchView, Live, PanView, ReadingView, WeighingView,
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
    asks: mpsc::Receiver<Ask>,
    live: Live,
    answers: BTreeMap<u64, oneshot::Sender<Result<Done, Trouble>>>,
    orders: u64,
    origin: Instant,
    /// The state that followers were last told whole, and its mark.
    told: Option<BenchView>,
    mark: Option<Mark>,
    /// How the pan stood when it was last seen which orders would be taken.
    standing: Standing,
    /// Damaged frames that the log has told of.
    damage_told: u64,
}

/// An event with the moment that it tells of, in milliseconds since the service started.
#[derive(Serialize)]
struct Told<'a, T> {
    #[serde(flatten)]
    data: &'a T,
    t: u64,
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
        asks: mpsc::Receiver<Ask>,
        live: Live,
    ) -> Result<Self, Trouble> {
        Ok(Self {
            name: settings.name.clone(),
            state: Some(
                State::new(Arc::clone(&settings.rules), job).sending(settings.form.sends()),
            ),
            reader: Reader::of(&settings.form)?,
            line: Line::new(settings.port.clone(), &settings.form),
            journal,
            checks,
            checking: None,
            bells,
            asks,
            live,
            answers: BTreeMap::new(),
            orders: 0,
            origin: Instant::now(),
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
            let (wake, writing) = match &self.state {
                Some(state) => (state.wake_at(), state.is_writing()),
                None => return,
            };
            let wake = wake.map(|at| self.origin + at.since_origin());
            let tick = async {
                match wake {
                    Some(at) => sleep_until(at).await,
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
                ask = self.asks.recv(), if !writing => match ask {
                    Some(ask) => self.asked(ask),
                    None => break,
                },
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
        Moment::after_origin(self.origin.elapsed())
    }

    fn came(&mut self, came: Came) {
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

    /// Bytes, or a pause after them, to lines, or a report, to readings to steps.
    fn bytes(&mut self, count: Option<usize>) {
        let at = self.now();
        let mut effects = Vec::new();
        let (reader, state, mut shown) = (&mut self.reader, &mut self.state, None);
        let (mut answered, mut damaged) = (false, false);
        self.line.pieces(count, |piece| {
            let event = match piece {
                Piece::Line(raw) => match reader.read(raw) {
                    Ok(None) => return,
                    Ok(Some(reading)) => {
                        shown = Some(reading);
                        Event::Line { reading, raw }
                    }
                    Err(why) => {
                        tracing::debug!(line = %raw.escape_ascii(), ?why, "a line was not understood");
                        Event::OddLine
                    }
                },
                Piece::TooLong => {
                    tracing::debug!("more bytes than a line can have, without a line end");
                    Event::OddLine
                }
                Piece::Damaged => {
                    damaged = true;
                    Event::DamagedLine
                }
            };
            answered = true;
            if let Some(before) = state.take() {
                let (after, more) = step(before, event, at);
                *state = Some(after);
                effects.extend(more);
            }
        });
        if answered {
            self.line.answered();
        }
        if damaged {
            self.log_damage();
        }
        if shown.is_some() {
            self.live.was_read();
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

    fn asked(&mut self, ask: Ask) {
        match ask {
            Ask::View(reply) => {
                if let Some(state) = &self.state {
                    // A client that left is no trouble of the bench.
                    let mut view = BenchView::of(state, self.now());
                    view.t = Some(self.live.moment());
                    view.age = self.live.age();
                    let _gone = reply.send((self.live.last(), view));
                }
            }
            Ask::Job(reply) => {
                if let Some(state) = &self.state {
                    let job = state.open_job().cloned();
                    let _gone = reply.send(job.map(|job| (job, state.shared_rules())));
                }
            }
            Ask::Press(key, reply) => {
                let allowed = match &self.state {
                    Some(state) => state.may_press(key),
                    None => return,
                };
                tracing::info!(bench = self.name, key = key.word(), ?allowed, "key");
                let _gone = reply.send(allowed.and_then(|()| self.line.press(key)));
            }
            Ask::Order(order, terms, reply) => {
                self.orders += 1;
                self.answers.insert(self.orders, reply);
                tracing::debug!(bench = self.name, ?order, "order");
                if let Some(bells) = &self.bells {
                    bells.ordered(&self.name);
                }
                self.happen(Event::Order {
                    id: self.orders,
                    order,
                    terms,
                });
            }
        }
    }

    fn happen(&mut self, event: Event<'_>) {
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
                    if let Some(reply) = self.answers.remove(&id) {
                        let _gone = reply.send(answer);
                    }
                }
                Effect::Ring(ring) => {
                    tracing::info!(
                        bench = self.name,
                        bell = ring.kind.word(),
                        "{}: {}",
                        ring.title,
                        ring.text
                    );
                    self.tell("bell", &BellView::of(&ring));
                    if let Some(bells) = &self.bells {
                        bells.ring(Peal {
                            bench: self.name.clone(),
                            ring,
                        });
                    }
                }
            }
        }
        if let (Some(bells), Some(state)) = (&self.bells, &self.state) {
            bells.pan(&self.name, pan::now(state));
        }
        self.tell_followers(changed, shown.is_some());
    }

    /// Followers get the small reading, and the whole state when anything else has changed.
    fn tell_followers(&mut self, changed: bool, shown: bool) {
        if !self.live.is_followed() {
            self.told = None;
            return;
        }
        let Some(state) = &self.state else { return };
        let at = self.now();
        if shown {
            let reading = ReadingView {
                pan: PanView::of(state, at),
                weighing: WeighingView::of(state),
                sentence: state.sentence(),
            };
            self.tell("reading", &reading);
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
            if self.told.as_ref() != Some(&view) {
                self.tell("state", &view);
                self.told = Some(view);
            }
        }
    }

    fn tell<T: Serialize>(&self, event: &'static str, data: &T) {
        if !self.live.is_followed() {
            return;
        }
        let t = self.live.moment();
        match serde_json::to_string(&Told { data, t }) {
            Ok(data) => self.live.tell(event, data),
            Err(error) => tracing::error!(%error, event, "an event could not be written as JSON"),
        }
    }
}
