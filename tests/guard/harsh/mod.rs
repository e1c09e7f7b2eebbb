//! A harsher hand than the first, on an instrument of its own: unit keys at any moment of the work,
//! once or in bursts within half a second, back again or not, over dishes tared and not, with and
//! without a button, with the last check weight beside it or alone. A hold is put right as its
//! words say, and the job goes on.

mod keys;
mod scale;

use std::sync::Arc;

use panbell::balance::Verdict;
use panbell::job::{BenchRules, Event, Opened, Order, PanAnswer, Record, State, UnitDoubt};
use panbell::mass::Moment;
use rust_decimal::prelude::ToPrimitive as _;

use super::core::Core;
use super::hand::lot;
use super::pan::{Dice, grams_of};
use keys::{Presses, presses};
use scale::Scale;

/// How a job ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fate {
    /// All masses right, and the bench never held for its unit.
    Well,
    /// It held, and all masses are right.
    Held,
    /// Something wrong was recorded, and what the bench saw of the unit told of it before the order
    /// to close.
    Told,
    /// The first order to close was refused for it.
    Closing,
    /// Only the statement has it.
    Statement,
    /// Nothing tells of it.
    Nowhere,
}

#[derive(Debug)]
pub(crate) struct Outcome {
    pub(crate) fate: Fate,
    pub(crate) was_pressed: bool,
    pub(crate) has_button: bool,
    pub(crate) is_beside: bool,
    /// No order that the bench names led on.
    pub(crate) is_stuck: bool,
    /// Nothing was wrong, and masses are called not proven nevertheless: by what was seen of the
    /// unit, or only since nothing proved them.
    pub(crate) marked_right: (bool, bool),
    /// What was seen of the unit tells of the wrong masses, not only that nothing proved them.
    pub(crate) is_seen: bool,
}

/// The hand gave up on this step.
struct GaveUp;
type Go = Result<(), GaveUp>;

pub(crate) struct Hand<'a> {
    core: Core,
    scale: Scale,
    dice: &'a mut Dice,
    presses: Vec<Presses>,
    due: Vec<(f64, bool)>,
    acts: usize,
    was_pressed: bool,
    /// The metal that is being weighed, as it truly is; while pouring, what the pan bore before.
    metal: f64,
    poured_on: Option<f64>,
    /// The load of the last second, the newest first.
    lately: [f64; 80],
    captures: u32,
    wrong: Vec<u64>,
    holds: u32,
    was_held: bool,
    told: Option<Fate>,
    is_seen: bool,
    closed: bool,
    is_stuck: bool,
    recoveries: u32,
    is_recovering: bool,
}

const CHECK: f64 = 50.0;

impl<'a> Hand<'a> {
    pub(crate) fn new(
        rules: Arc<BenchRules>,
        says_units: bool,
        with_key: bool,
        dice: &'a mut Dice,
    ) -> Self {
        let mut scale = Scale::new(dice);
        scale.says_units = says_units;
        let presses = if with_key { presses(dice) } else { Vec::new() };
        Self {
            core: Core::new(rules),
            scale,
            dice,
            presses,
            due: Vec::new(),
            acts: 0,
            was_pressed: false,
            metal: 0.0,
            poured_on: None,
            lately: [0.0; 80],
            captures: 0,
            wrong: Vec::new(),
            holds: 0,
            was_held: false,
            told: None,
            is_seen: false,
            closed: false,
            is_stuck: false,
            recoveries: 0,
            is_recovering: false,
        }
    }

    fn state(&self) -> &State {
        self.core.state()
    }

    fn order(&mut self, order: Order) {
        let records = self.core.order_and_mean_it(order, self.now());
        self.note_all(&records);
    }

    fn event(&mut self, event: Event<'_>) {
        let records = self.core.event(event, self.now());
        self.note_all(&records);
    }

    fn now(&self) -> Moment {
        Moment::after_origin(self.scale.now())
    }

    fn note_all(&mut self, records: &[(u64, Record)]) {
        for (n, record) in records {
            self.note(*n, record);
        }
    }

    fn note(&mut self, n: u64, record: &Record) {
        match record {
            Record::Capture(captured) => {
                self.captures += 1;
                let digits: f64 = captured.mass.digits().to_f64().unwrap();
                let told = digits * grams_of(captured.mass.unit());
                // The hand may pour on in the very moment; what lay there lately is as true.
                let lay = |load: f64| self.poured_on.map_or(self.metal, |on| load - on);
                let off = |load: f64| (told - lay(load)).abs() > 0.08;
                if self.lately.iter().copied().all(off) {
                    self.wrong.push(n);
                }
            }
            Record::Close(_) => self.closed = true,
            _ => {}
        }
    }

    /// Whether every wrong mass is called not proven, and whether by what was seen of the unit.
    fn is_told(&self) -> (bool, bool) {
        let Some(job) = self.state().job() else {
            return (false, false);
        };
        let is = |seen: bool| {
            self.wrong.iter().all(|n| {
                job.unproven()
                    .any(|(weighed, doubt)| weighed.n == *n && (!seen || is_by_sight(doubt)))
            })
        };
        (is(false), is(true))
    }

    /// One moment passes, with this on the pan.
    fn pass(&mut self, load: f64) {
        let now = self.scale.time;
        while let Some(at) = self.due.iter().position(|(at, _)| *at <= now) {
            let (at, is_way_home) = self.due.remove(at);
            if !is_way_home {
                self.scale.press_unit();
            } else if !self.scale.is_home() {
                self.scale.press_unit();
                self.due.push((at + 0.16, true));
            }
        }
        self.lately.rotate_right(1);
        self.lately[0] = load;
        self.was_pressed |= !self.scale.is_home();
        if let Some(reading) = self.scale.pass(load, self.dice) {
            self.event(Event::Line { reading, raw: b"" });
        }
        let holds = matches!(self.state().guard().verdict(), Verdict::Conflict(_));
        if holds && !self.was_held {
            self.holds += 1;
        }
        self.was_held = holds;
    }

    fn wait(&mut self, seconds: f64) {
        let until = self.scale.time + seconds;
        while self.scale.time < until {
            self.pass(self.scale.load);
        }
    }

    fn idle(&mut self, from: f64, to: f64) {
        let seconds = self.dice.between(from, to);
        self.wait(seconds);
    }

    fn announce(&mut self) {
        self.acts += 1;
        for press in self.presses.clone() {
            if press.act != self.acts {
                continue;
            }
            let at = self.scale.time + press.after;
            match press.times {
                None => self.due.push((at, true)),
                Some(times) => {
                    let mut at = at;
                    for _ in 0..times {
                        self.due.push((at, false));
                        at += press.gap;
                    }
                }
            }
        }
    }

    /// The hand brings the pan to this load, not at once and not evenly.
    fn bring(&mut self, to: f64) {
        self.announce();
        self.idle(0.2, 1.0);
        let (from, takes) = (self.scale.load, self.dice.between(0.08, 0.9));
        let start = self.scale.time;
        loop {
            let done = ((self.scale.time - start) / takes).min(1.0);
            self.pass(from + (to - from) * done * done * (3.0 - 2.0 * done));
            if done >= 1.0 {
                return;
            }
        }
    }

    /// Waits for the bench, and puts right what it holds for.
    fn until(&mut self, is_so: impl Fn(&Self) -> bool) -> Go {
        let mut limit = self.scale.time + 20.0;
        let mut asked = self.scale.time;
        while !is_so(self) {
            self.pass(self.scale.load);
            let holds = self.state().guard().verdict() != Verdict::Agreed;
            if holds && !self.is_recovering && !self.scale.says_units {
                self.idle(0.5, 3.0);
                self.recover()?;
                limit = self.scale.time + 20.0;
            } else if holds && self.scale.says_units {
                self.go_home();
            }
            let is_asked = self.state().pan_question().is_some();
            asked = if is_asked { asked } else { self.scale.time };
            if self.scale.time > limit || self.scale.time > asked + 5.0 {
                return Err(GaveUp);
            }
        }
        Ok(())
    }

    /// The hand looks at the display and sets it back to grams.
    fn go_home(&mut self) {
        while !self.scale.is_home() {
            self.scale.press_unit();
            self.idle(0.2, 0.8);
        }
    }

    fn recover(&mut self) -> Go {
        self.recoveries += 1;
        if self.recoveries > 8 {
            return Err(GaveUp);
        }
        self.go_home();
        self.is_recovering = true;
        let done = self.check();
        self.is_recovering = false;
        done
    }

    /// Shows the check weight beside what lies there, until it agrees.
    fn check(&mut self) -> Go {
        let was_recovering = std::mem::replace(&mut self.is_recovering, true);
        let done = self.show_weight();
        self.is_recovering = was_recovering;
        done
    }

    fn show_weight(&mut self) -> Go {
        for _ in 0..4 {
            let before = self.scale.load;
            self.order(Order::CheckWeight { weight: None });
            self.idle(1.5, 3.5);
            let checks = self.core.checked;
            self.bring(before + CHECK);
            let seen = self.until(|hand| hand.core.checked > checks);
            let agrees = self.state().guard().verdict() == Verdict::Agreed;
            self.bring(before);
            self.until(|hand| !hand.state().is_checking()).ok();
            if seen.is_ok() && agrees {
                return Ok(());
            }
            self.go_home();
            self.wait(1.0);
        }
        Err(GaveUp)
    }

    fn begin(&mut self, order: &Order) -> Go {
        for tries in 0..3 {
            self.order(order.clone());
            let begun = self.until(|hand| {
                let expected = hand.state().open_job().and_then(|job| job.expected.clone());
                expected.is_some_and(|expected| expected.base.is_some())
            });
            if begun.is_ok() {
                return Ok(());
            }
            self.way_on(tries + 1);
        }
        Err(GaveUp)
    }

    /// What a person does where nothing goes on: looks at the display, and counts anew.
    fn way_on(&mut self, tries: u32) {
        self.go_home();
        self.wait(3.0);
        if tries > 0 {
            self.order(Order::Answer(PanAnswer::Anew));
            self.wait(1.5);
        }
    }

    fn load(&mut self, order: &Order, mass: f64) -> Go {
        self.begin(order)?;
        let empty = self.scale.load;
        for tries in 0..3 {
            let captures = self.captures;
            (self.metal, self.poured_on) = (mass, None);
            self.bring(empty + mass);
            if self.until(|hand| hand.captures > captures).is_ok() {
                return Ok(());
            }
            self.bring(empty);
            self.way_on(tries + 1);
        }
        Err(GaveUp)
    }

    fn pour(&mut self) -> Go {
        self.begin(&Order::Add { metal: None })?;
        self.announce();
        self.poured_on = Some(self.scale.load);
        let captures = self.captures;
        let mut limit = self.scale.time + 60.0;
        let mut asked = 0;
        while self.captures == captures {
            let holds = self.state().guard().verdict() != Verdict::Agreed;
            if holds && !self.scale.says_units {
                self.idle(0.5, 2.0);
                self.recover()?;
                limit = self.scale.time + 60.0;
            } else if holds {
                self.go_home();
            }
            if self.state().pan_question().is_some() {
                // Everything is tipped out and weighed anew.
                self.bring(self.poured_on.unwrap_or_default());
                self.wait(2.0);
                self.order(Order::Answer(PanAnswer::Anew));
                self.wait(1.0);
            }
            let Some(adding) = self.state().adding() else {
                break;
            };
            let aim: f64 = adding.window.aim.grams().to_f64().unwrap();
            let net = self.state().tracked().and_then(|tracked| tracked.net);
            let missing = aim - net.map_or(0.0, |net| net.digits().to_f64().unwrap());
            // A tap of the spoon, and a look at the display.
            let tap = if missing > 1.0 {
                self.dice.between(0.1, 0.6)
            } else if missing > 0.015 {
                (missing * self.dice.between(0.2, 0.8)).max(0.008)
            } else {
                0.0
            };
            let to = self.scale.load + tap;
            for _ in 0..4 {
                self.pass(self.scale.load + tap / 4.0);
            }
            self.pass(to);
            let look = if missing > 1.0 { 0.25 } else { 0.9 };
            self.wait(look);
            if self.scale.time > limit {
                self.go_home();
                self.wait(1.5);
                let order = [
                    Order::Take,
                    Order::Answer(PanAnswer::Back),
                    Order::Take,
                    Order::Answer(PanAnswer::Anew),
                ];
                let Some(order) = order.get(asked).cloned() else {
                    return Err(GaveUp);
                };
                if order == Order::Answer(PanAnswer::Anew) {
                    // Everything is tipped out and weighed anew.
                    let on = self.poured_on.unwrap_or_default();
                    self.bring(on);
                    self.wait(2.0);
                }
                self.order(order);
                asked += 1;
                limit = self.scale.time + 10.0;
            }
        }
        Ok(())
    }

    fn job(&mut self, opened: Opened) -> (Go, bool, bool) {
        let dish = [0.0, 0.0, self.dice.between(3.0, 60.0)][self.dice.below(3)];
        let has_button = self.dice.is(0.7);
        let is_beside = has_button && self.dice.is(0.6);
        (
            self.steps(opened, dish, has_button, is_beside),
            has_button,
            is_beside,
        )
    }

    fn steps(&mut self, opened: Opened, dish: f64, has_button: bool, is_beside: bool) -> Go {
        self.wait(1.0);
        if dish > 0.0 {
            self.bring(dish);
            self.wait(2.0);
            if self.dice.is(0.45) {
                self.scale.press_tare();
                self.wait(1.5);
            }
        }
        if !self.scale.says_units {
            self.check()?;
        }
        self.order(Order::Open(Box::new(opened)));
        let mut melt = 0.0;
        for _ in 0..=self.dice.below(3) {
            let mass = if self.dice.is(0.3) {
                self.dice.between(0.6, 5.0)
            } else {
                self.dice.between(5.0, 45.0)
            };
            self.load(&lot(), mass)?;
            melt += mass;
            self.away(dish);
        }
        if self.dice.is(0.6) {
            let before = self.scale.load;
            self.pour()?;
            melt += self.scale.load - before;
            self.away(dish);
        }
        if has_button {
            let button = melt * self.dice.between(0.985, 1.0);
            self.load(&Order::Button, button)?;
            if !is_beside {
                self.away(dish);
            }
        }
        if !self.scale.says_units {
            self.check()?;
        }
        Ok(())
    }

    /// What was weighed is taken off, now and then with its dish.
    fn away(&mut self, dish: f64) {
        self.idle(0.1, 1.5);
        if dish > 0.0 && self.dice.is(0.3) {
            self.bring(0.0);
            self.idle(0.1, 2.5);
        }
        self.bring(dish);
        // A hand that orders before the display has followed is no matter of units.
        self.idle(0.8, 2.0);
    }

    fn close(&mut self) {
        let (_, seen) = self.is_told();
        if !self.wrong.is_empty() && seen {
            self.told = Some(Fate::Told);
        }
        self.order(Order::Close);
        let (told, seen) = self.is_told();
        self.is_seen = seen;
        if matches!(self.core.answer, Some(Err(_))) && told && !self.wrong.is_empty() {
            self.told.get_or_insert(Fate::Closing);
        }
        for tries in 0..3 {
            if self.closed {
                break;
            }
            if tries == 1 {
                self.bring(0.0);
                self.wait(3.0);
                self.order(Order::Answer(PanAnswer::Anew));
                self.wait(2.0);
                self.order(Order::Close);
            }
            self.order(Order::Close);
        }
        if told && !self.wrong.is_empty() {
            self.told.get_or_insert(Fate::Statement);
        }
    }

    pub(crate) fn run(mut self, opened: Opened) -> Outcome {
        let (went, has_button, is_beside) = self.job(opened);
        // Of a hand that gave up, only what the bench holds for counts.
        let state = self.state();
        let is_held = state.guard().verdict() != Verdict::Agreed || state.pan_question().is_some();
        self.is_stuck |= went.is_err() && is_held;
        if self.state().open_job().is_some() {
            self.close();
            self.is_stuck |= !self.closed;
        }
        let fate = match (self.wrong.is_empty(), self.told) {
            (true, _) if self.holds > 0 => Fate::Held,
            (true, _) => Fate::Well,
            (false, told) => told.unwrap_or(Fate::Nowhere),
        };
        let doubts: Vec<_> = self
            .state()
            .job()
            .map(|job| job.unproven().map(|(_, doubt)| doubt).collect())
            .unwrap_or_default();
        let is_right = self.wrong.is_empty();
        Outcome {
            fate,
            was_pressed: self.was_pressed,
            has_button,
            is_beside,
            is_stuck: self.is_stuck,
            marked_right: (
                is_right && doubts.iter().any(|doubt| is_by_sight(*doubt)),
                is_right && !doubts.is_empty() && !doubts.iter().any(|doubt| is_by_sight(*doubt)),
            ),
            is_seen: self.is_seen,
        }
    }
}

/// Whether a doubt rests on what was seen of the unit.
fn is_by_sight(doubt: UnitDoubt) -> bool {
    doubt == UnitDoubt::Seen
}
