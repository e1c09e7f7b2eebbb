//! A bench under test: every event goes through here, a disk of records answers what is to be
//! written, and everything that a step does is judged apart from how the step came to it.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;
use std::time::Duration;

use panbell::balance::{LinkLimits, PanRules, SteadyRule};
use panbell::job::{
    BellKind, BenchRules, Captured, Cause, Effect, Event, How, Job, Order, Raw, Record, State,
    Terms, UnitBy, What, step,
};
use panbell::mass::{Division, Indication, Mass, Moment, Reading, Shown, Status};
use panbell::melt::{Side, window};
use panbell::metal::Shelf;
use panbell::trouble::Trouble;

const SILENCE: Duration = Duration::from_secs(3);
/// The hand's balance sends ten times a second, so this long is a gap; what a person waits for in
/// between is none of its pace.
const GAP: Duration = Duration::from_millis(300);
const STEADY: Duration = Duration::from_millis(300);
const DWELL: Duration = Duration::from_millis(600);

/// What an append comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Disk {
    Writes,
    Fails,
    FailsForGood,
}

pub(crate) struct Bench {
    pub(crate) rules: Arc<BenchRules>,
    pub(crate) state: State,
    pub(crate) now: Moment,
    /// The records of the file, and those on their way to it with whether they are waited for.
    file: Vec<Record>,
    queue: VecDeque<(Record, bool)>,
    disk_is_dead: bool,
    /// How often each order was answered; a process that is killed takes its own with it.
    orders: BTreeMap<u64, u32>,
    /// What the last order was answered with, if it asks.
    asked: Option<String>,
    /// Check weights that were recorded.
    checked: u64,
    checks_told: u64,
    /// What the balance said since the port was opened or lost, or the bench began.
    lines: Vec<(Moment, Reading, Vec<u8>)>,
    pub(crate) tally: Tally,
}

/// What a run came to.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Tally {
    pub(crate) lots: u32,
    pub(crate) additions: u32,
    pub(crate) taken: u32,
    pub(crate) buttons: u32,
    pub(crate) in_water: u32,
    pub(crate) assays: u32,
    pub(crate) closed: u32,
    pub(crate) refused: u32,
    pub(crate) holds: u32,
    pub(crate) folds_compared: u32,
    pub(crate) rung: u32,
    pub(crate) checked: u32,
    pub(crate) by_check_weight: u32,
}

impl Bench {
    pub(crate) fn new(division: Division) -> Self {
        let rules = Arc::new(rules(division, (STEADY, DWELL, SILENCE)));
        Self {
            state: State::new(Arc::clone(&rules), None),
            rules,
            now: Moment::default(),
            file: Vec::new(),
            queue: VecDeque::new(),
            disk_is_dead: false,
            orders: BTreeMap::new(),
            asked: None,
            checked: 0,
            checks_told: 0,
            lines: Vec::new(),
            tally: Tally::default(),
        }
    }

    /// The records of the job's file.
    pub(crate) fn file(&self) -> &[Record] {
        &self.file
    }

    pub(crate) fn order(&mut self, order: Order) {
        self.order_on(order, Terms::default());
    }

    pub(crate) fn order_on(&mut self, order: Order, terms: Terms) {
        let id = self.orders.len() as u64 + 1;
        self.orders.insert(id, 0);
        self.asked = None;
        self.event(&Event::Order { id, order, terms });
    }

    /// Gives an order, and says yes if something is asked first.
    pub(crate) fn order_and_confirm(&mut self, order: Order) {
        self.order(order.clone());
        if let Some(word) = self.asked.take() {
            let confirm = Some(word.parse().unwrap());
            self.order_on(
                order,
                Terms {
                    confirm,
                    ..Terms::default()
                },
            );
        }
    }

    pub(crate) fn line(&mut self, reading: Reading) {
        let mut raw = format!("\"{:?}\" \\ {}", reading.shown, self.lines.len()).into_bytes();
        if self.lines.len().is_multiple_of(5) {
            raw.push(0xb0); // no text any more
        }
        self.lines.push((self.now, reading, raw.clone()));
        self.event(&Event::Line { reading, raw: &raw });
    }

    pub(crate) fn port(&mut self, opened: bool) {
        self.lines.clear();
        if opened {
            self.event(&Event::PortOpened);
        } else {
            let why = Trouble::new("port-gone", "It is gone.", "It holds.", "Plug it in.");
            self.event(&Event::PortLost(Arc::new(why)));
        }
    }

    /// Time passes; `ticks` is whether the bench is woken when it asked for it.
    pub(crate) fn wait(&mut self, time: Duration, ticks: bool) {
        let until = self.now.plus(time);
        for _ in 0..8 {
            match self.state.wake_at() {
                Some(at) if ticks && at <= until => {
                    self.now = at.max(self.now);
                    self.event(&Event::Tick);
                }
                _ => break,
            }
        }
        self.now = until;
    }

    /// The disk takes what waits for it; what is asked for meanwhile waits for the next time.
    pub(crate) fn disk(&mut self, how: Disk) {
        let mut failed = None;
        for _ in 0..self.queue.len() {
            let Some((record, waited)) = self.queue.pop_front() else {
                break;
            };
            let opens = matches!(record, Record::Open(_));
            let dead = self.disk_is_dead && !opens;
            if how == Disk::Writes && !dead {
                if opens {
                    self.file.clear();
                    self.disk_is_dead = false;
                }
                self.keep(record.clone());
                if waited {
                    let n = self.file.len() as u64;
                    self.event_about(&Event::Written { n }, Some(&record));
                }
                continue;
            }
            // Nothing that follows a lost record is taken either.
            let for_good = dead || how == Disk::FailsForGood;
            self.disk_is_dead |= for_good && !opens;
            failed = Some(for_good);
            self.not_written(waited, for_good);
        }
        self.tally.refused += u32::from(failed.is_some());
    }

    fn not_written(&mut self, waited: bool, for_good: bool) {
        self.event(&Event::NotWritten {
            trouble: Trouble::new("disk-full", "It is full.", "It waits.", "Make room."),
            waited,
            for_good,
        });
    }

    fn keep(&mut self, record: Record) {
        assert!(
            !matches!(self.file.last(), Some(Record::Close(_))),
            "{record:?} is written after the close"
        );
        self.file.push(record);
    }

    /// The process is killed when `written` of the records on their way had reached the disk, and
    /// starts again.
    pub(crate) fn kill(&mut self, written: usize) {
        let queue = std::mem::take(&mut self.queue);
        for (record, _) in queue.into_iter().take(written) {
            if matches!(record, Record::Open(_)) {
                self.file.clear();
                self.disk_is_dead = false;
            }
            if self.disk_is_dead {
                break;
            }
            self.keep(record);
        }
        for answered in self.orders.values_mut() {
            *answered = 1;
        }
        self.disk_is_dead = false;
        self.lines.clear();
        let job = (!self.file.is_empty()).then(|| self.replayed());
        self.state = State::new(
            Arc::clone(&self.rules),
            job.filter(|job| job.closed.is_none()),
        );
        self.compare_fold();
    }

    fn replayed(&self) -> Job {
        let numbered = (1..).zip(self.file.iter().cloned());
        Job::replay(numbered).expect("the file begins with an opening")
    }

    /// Writes all that waits, and says that every order was answered once.
    pub(crate) fn finish(&mut self) {
        for _ in 0..10 {
            self.disk(Disk::Writes);
        }
        assert!(self.queue.is_empty(), "it never comes to rest");
        assert!(!self.state.is_writing(), "a record is waited for for ever");
        for (id, answered) in &self.orders {
            assert_eq!(*answered, 1, "order {id}");
        }
    }

    pub(crate) fn event(&mut self, event: &Event<'_>) {
        self.event_about(event, None);
    }

    fn event_about(&mut self, event: &Event<'_>, written: Option<&Record>) {
        let before = self.state.clone();
        let (state, effects) = step(before.clone(), event.clone(), self.now);
        self.state = state;
        let mut checks = Vec::new();
        for effect in effects {
            match effect {
                Effect::Append { record, wait, .. } => {
                    if wait {
                        let waiting = self.queue.iter().any(|(_, waited)| *waited);
                        assert!(!waiting, "two records are waited for at once");
                        assert!(self.state.is_writing());
                    }
                    if let Record::Capture(captured) = &*record {
                        assert!(wait, "a capture is waited for");
                        self.judge_capture(captured, &before, event);
                    }
                    self.queue.push_back((*record, wait));
                }
                Effect::Check(checked) => checks.push(checked),
                Effect::Answer { id, answer } => {
                    self.asked = answer
                        .err()
                        .and_then(|trouble| trouble.confirm)
                        .map(String::from);
                    let answered = self.orders.get_mut(&id).expect("an order that was given");
                    *answered += 1;
                    assert_eq!(*answered, 1, "order {id} is answered again");
                }
                Effect::Ring(ring) => {
                    self.tally.rung += 1;
                    self.tally.holds += u32::from(ring.kind == BellKind::Hold);
                    assert!(!ring.title.is_empty() && !ring.text.is_empty());
                    match ring.kind {
                        // A check weight may have to wait for another record, so it is told
                        // at some moment after it was kept.
                        BellKind::Recorded if ring.title.starts_with("Check weight") => {
                            self.checks_told += 1;
                            let kept = self.checked;
                            assert!(self.checks_told <= kept, "told by {event:?}, {kept} kept");
                        }
                        BellKind::Recorded => assert!(
                            matches!(written, Some(Record::Capture(_))),
                            "rung as recorded by {event:?}"
                        ),
                        BellKind::Done => assert!(matches!(written, Some(Record::Close(_)))),
                        BellKind::Within | BellKind::Near => assert!(!self.state.holds().any()),
                        _ => {}
                    }
                }
            }
        }
        self.count(written);
        assert!(!self.state.sentence().is_empty());
        self.compare_fold();
        for checked in checks {
            self.checked += 1;
            self.tally.checked += 1;
            self.event(&Event::Checked(Ok((self.checked, checked))));
        }
    }

    fn count(&mut self, written: Option<&Record>) {
        match written {
            Some(Record::Capture(captured)) => {
                match captured.what {
                    What::Lot { .. } => self.tally.lots += 1,
                    What::Addition { .. } => self.tally.additions += 1,
                    What::Button => self.tally.buttons += 1,
                    What::InWater(_) => self.tally.in_water += 1,
                }
                self.tally.by_check_weight += u32::from(captured.unit_by != UnitBy::Line);
                self.tally.taken += u32::from(captured.how == How::Taken);
            }
            Some(Record::Assay(_)) => self.tally.assays += 1,
            Some(Record::Close(_)) => self.tally.closed += 1,
            _ => {}
        }
    }

    /// The state is the fold of the file, whenever nothing is on its way and the disk is well.
    fn compare_fold(&mut self) {
        if !self.queue.is_empty() || self.state.holds().has(Cause::Disk) {
            return;
        }
        let Some(job) = self.state.job() else { return };
        assert_eq!(*job, self.replayed(), "the state against its file");
        self.tally.folds_compared += 1;
        if let Some(adding) = self.state.adding() {
            let rest = job.rest_of_melt(adding.addition);
            assert_eq!(adding.rest, rest);
            let anew = window(&rest, adding.metal, &job.demand(), job.opened.division);
            assert_eq!(
                Ok(adding.window),
                anew,
                "the window is of the melt as it is"
            );
        }
    }

    /// Whether what is on the pan may be recorded, from what was heard and from nothing else.
    fn judge_capture(&self, captured: &Captured, before: &State, event: &Event<'_>) {
        let again = captured.instead_of;
        let holds = |state: &State| {
            // Metal that is in no record holds the bench until it is recorded.
            state
                .holds()
                .all()
                .any(|hold| again.is_none() || hold.cause != Cause::Pan)
        };
        assert!(!holds(&self.state), "captured while the bench holds");
        let by_order = matches!(
            event,
            Event::Order {
                order: Order::Take | Order::Reweigh,
                ..
            }
        );
        assert_eq!(captured.how == How::Taken, by_order);
        if by_order {
            assert!(!holds(before), "taken while the bench held");
        } else {
            assert!(matches!(event, Event::Line { .. }), "captured by {event:?}");
        }
        if let Some(replaced) = again {
            let job = before.open_job().expect("a load that is weighed again");
            let load = job.standing().find(|weighed| weighed.n == replaced);
            let load = &load.expect("it counted until now").captured;
            assert_eq!((&captured.what, captured.base), (&load.what, load.base));
        } else {
            assert_eq!(before.expected(), Some(&captured.what));
        }
        assert_eq!(
            captured.mass.digits(),
            captured.gross.digits() - captured.base.digits(),
            "gross less base"
        );
        let unit = self.rules.pan.division.unit();
        for shown in [captured.mass, captured.gross, captured.base] {
            assert_eq!(shown.unit(), unit);
        }
        assert!(captured.mass.mass().is_positive());
        self.judge_rest(captured);
        let mass = captured.mass.mass();
        let job = before.open_job().expect("an open job");
        match captured.what {
            What::Addition { addition } if captured.how == How::Settled => {
                let rest = job.rest_of_melt(addition);
                let gold = job.metal(addition).expect("a metal").gold;
                let (melt, demand) = (rest.with(mass, gold), job.demand());
                assert!(melt.is_at_least(demand.lowest), "captured below the lawful");
                assert!(melt.is_at_most(demand.highest), "captured above the limit");
                let window = window(&rest, gold, &demand, job.opened.division).expect("a window");
                let inside = |mass: Mass| window.side(mass) == Side::Within;
                assert!(inside(mass));
                for (at, reading, _) in &self.lines {
                    if self.now.since(*at) <= DWELL && reading.shown != Shown::Nothing {
                        let shown = self.believed(captured, reading).mass();
                        assert!(inside(shown - captured.base.mass()), "left its window");
                    }
                }
            }
            What::Lot { .. } | What::Button | What::InWater(_) if captured.how == How::Settled => {
                assert!(mass >= self.rules.pan.least_load);
            }
            _ => {}
        }
    }

    /// What a line shows, if it may be weighed with: its unit is stated, or a check weight was
    /// recorded, and is what the capture says that its unit rests on.
    fn believed(&self, captured: &Captured, reading: &Reading) -> Indication {
        match (captured.unit_by, reading.shown) {
            (UnitBy::Line, Shown::Weighed(shown)) => shown,
            (UnitBy::CheckWeight(number), Shown::UnitUnstated(digits)) => {
                assert_eq!(number, self.checked, "the last check weight");
                Indication::new(digits, self.rules.pan.division.unit()).unwrap()
            }
            (by, shown) => panic!("{shown:?} is captured by {by}"),
        }
    }

    /// The last line is fresh, says the capture's gross in the bench's unit, and for the time of
    /// steadiness before it nothing else was heard.
    fn judge_rest(&self, captured: &Captured) {
        // A line without a mass that says nothing against it takes nothing away.
        let is_empty = |reading: &Reading| {
            reading.shown == Shown::Nothing
                && reading.status.is_weighing()
                && reading.status != Status::InMotion
        };
        let mut lines = self.lines.iter().rev().filter(|line| !is_empty(&line.1));
        let (at, reading, raw) = lines.clone().next().expect("something was heard");
        assert_eq!(self.believed(captured, reading), captured.gross);
        assert_eq!(captured.raw, Raw::of(raw));
        assert!(
            self.now.since(*at) < GAP,
            "an old reading is captured as if it were fresh"
        );
        let (mut lowest, mut highest, mut later) =
            (captured.gross.mass(), captured.gross.mass(), *at);
        for (when, reading, _) in lines.by_ref() {
            assert!(
                reading.status.is_weighing() && reading.status != Status::InMotion,
                "{reading:?} in the rest before a capture"
            );
            let shown = self.believed(captured, reading);
            assert_eq!(shown.unit(), self.rules.pan.division.unit());
            assert!(later.since(*when) < GAP, "silence within the rest");
            (lowest, highest) = (lowest.min(shown.mass()), highest.max(shown.mass()));
            assert!(
                highest - lowest <= self.rules.pan.steady.span,
                "not at rest"
            );
            if at.since(*when) >= STEADY {
                return;
            }
            later = *when;
        }
        panic!("not heard for long enough to be at rest");
    }
}

/// The rules of a bench with these times of rest, dwell and silence.
pub(crate) fn rules(
    division: Division,
    (steady, dwell, silence): (Duration, Duration, Duration),
) -> BenchRules {
    let d = division.mass();
    BenchRules {
        name: "window".to_owned(),
        pan: PanRules {
            division,
            steady: SteadyRule {
                span: d,
                time: steady,
            },
            tolerance: d.times(3),
            least_load: d.times(10),
        },
        dwell,
        link: LinkLimits { silence },
        shelf: Arc::new(Shelf::default()),
        repeatability: None,
        class: None,
        calibration_u: None,
        check_weight: None,
        law: std::sync::Arc::new(a_law()),
        past: std::sync::Arc::default(),
    }
}

/// The first of the shipped laws.
fn a_law() -> panbell::metal::MarkLaw {
    let home = tempfile::tempdir().unwrap();
    let folders = panbell::settings::Folders::under(home.path());
    panbell::settings::read_laws(&folders).unwrap().remove(0)
}
