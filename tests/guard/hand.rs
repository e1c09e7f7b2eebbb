//! One whole job by a hand that sees only the display and the bench's words: check weight, lots,
//! an addition, the button, check weight, close; with or without a sleeve on the unit key.

use std::sync::Arc;
use std::time::Duration;

use panbell::balance::{LinkLimits, PanRules, SteadyRule, Verdict};
use panbell::job::{
    AddedMetal, BenchRules, Event, FORMAT, Opened, Order, PanAnswer, Record, State, UnitBy,
};
use panbell::mass::{Division, Moment};
use panbell::metal::{Basis, Colour, Composition, Fineness, MarkLaw, Purpose, Shelf};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;

use super::core::Core;
use super::pan::{Balance, Dice, Display, grams_of};

/// When and into what the unit key is pressed, and when it is pressed back, in seconds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bump {
    pub(crate) into: Display,
    pub(crate) at: f64,
    pub(crate) back: Option<f64>,
}

/// How a job ended, in the order of badness.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Ended {
    /// All captures right, no hold for the unit.
    Well,
    /// The unit hold came, and nothing wrong was captured before.
    Held,
    /// Something wrong was captured, and each such mass is called not proven when the job is closed.
    Marked,
    /// Something wrong was captured and nobody was told.
    Missed,
}

pub(crate) struct Outcome {
    pub(crate) ended: Ended,
    /// The display had really been in another unit or mode.
    pub(crate) was_bumped: bool,
    /// Masses are called not proven.
    pub(crate) is_marked: bool,
    /// What ended the job before its time.
    pub(crate) stopped: Option<Stop>,
}

pub(crate) struct Hand<'a> {
    core: Core,
    balance: Balance,
    home: Display,
    dice: &'a mut Dice,
    bump: Option<Bump>,
    was_bumped: bool,
    /// What lay there when the weighing began to count.
    base_at: f64,
    /// Captures that are wrong, by their records.
    wrong: Vec<u64>,
    captures: u32,
    /// The hand knows of the trouble and puts it right.
    mends: bool,
    closed: bool,
}

/// Why a job stopped before its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stop {
    /// The bench holds for the unit.
    Held,
    /// The check weight did not agree.
    Refused,
    /// Nothing came for long: the hand would look.
    Stuck,
}

pub(crate) fn rules(division: Division, law: &Arc<MarkLaw>) -> BenchRules {
    let d = division.mass();
    BenchRules {
        name: "bench".to_owned(),
        pan: PanRules {
            division,
            steady: SteadyRule {
                span: d,
                time: Duration::from_millis(500),
            },
            tolerance: d.times(3),
            least_load: d.times(10),
        },
        dwell: Duration::from_millis(500),
        link: LinkLimits {
            silence: Duration::from_secs(3),
        },
        shelf: Arc::new(Shelf::default()),
        law: Arc::clone(law),
        past: Arc::default(),
        repeatability: None,
        class: None,
        calibration_u: None,
        check_weight: "50 g F2".parse().ok(),
    }
}

impl<'a> Hand<'a> {
    pub(crate) fn new(
        rules: Arc<BenchRules>,
        balance: Balance,
        bump: Option<Bump>,
        dice: &'a mut Dice,
    ) -> Self {
        Self {
            core: Core::new(rules),
            home: balance.display,
            balance,
            dice,
            bump,
            was_bumped: false,
            base_at: 0.0,
            wrong: Vec::new(),
            captures: 0,
            mends: false,
            closed: false,
        }
    }

    fn state(&self) -> &State {
        self.core.state()
    }

    fn order(&mut self, order: Order) {
        let records = self.core.order(order, None, self.now());
        self.note_all(&records);
    }

    fn event(&mut self, event: Event<'_>) {
        let records = self.core.event(event, self.now());
        self.note_all(&records);
    }

    fn now(&self) -> Moment {
        Moment::after_origin(self.balance.now())
    }

    fn note_all(&mut self, records: &[(u64, Record)]) {
        for (n, record) in records {
            self.note(*n, record);
        }
    }

    fn note(&mut self, n: u64, record: &Record) {
        match record {
            Record::Base { .. } => self.base_at = self.balance.load,
            Record::Capture(captured) => {
                self.captures += 1;
                let by_line = captured.unit_by == UnitBy::Line;
                assert_eq!(by_line, self.balance.says_units, "what its unit rests on");
                let digits: f64 = captured.mass.digits().to_f64().unwrap();
                let told = digits * grams_of(captured.mass.unit());
                let truth = self.balance.load - self.base_at;
                // Three divisions and more; a slip of the unit is far beyond, or harmless.
                if (told - truth).abs() > 0.08 {
                    self.wrong.push(n);
                }
            }
            Record::Close(_) => self.closed = true,
            _ => {}
        }
    }

    /// Lets one line come, with the load on its way to `to`.
    fn line(&mut self, to: f64) -> Result<(), Stop> {
        if let Some(bump) = self.bump {
            let is_in =
                self.balance.time >= bump.at && bump.back.is_none_or(|at| self.balance.time < at);
            self.balance.display = if is_in { bump.into } else { self.home };
            self.was_bumped |= is_in;
        }
        self.balance.pass(to);
        let reading = self.balance.line(self.dice);
        self.event(Event::Line { reading, raw: b"" });
        match self.state().guard().verdict() {
            Verdict::Conflict(_) if !self.mends => Err(Stop::Held),
            _ => Ok(()),
        }
    }

    fn rest(&mut self, seconds: f64) -> Result<(), Stop> {
        let until = self.balance.time + seconds;
        while self.balance.time < until {
            self.line(self.balance.load)?;
        }
        Ok(())
    }

    fn idle(&mut self, from: f64, to: f64) -> Result<(), Stop> {
        let seconds = self.dice.between(from, to);
        self.rest(seconds)
    }

    fn until(&mut self, is_so: impl Fn(&Self) -> bool) -> Result<(), Stop> {
        let limit = self.balance.time + 10.0;
        while !is_so(self) {
            if self.balance.time > limit {
                return Err(Stop::Stuck);
            }
            self.line(self.balance.load)?;
        }
        Ok(())
    }

    /// The hand brings the load to this in a fraction of a second, anywhere between two lines.
    fn bring(&mut self, to: f64) -> Result<(), Stop> {
        let takes = self.dice.between(0.05, 0.5);
        let (from, mut done) = (
            self.balance.load,
            self.dice.between(0.1, 0.9) * self.balance.every,
        );
        loop {
            let share = (done / takes).min(1.0);
            self.line(from + (to - from) * share)?;
            if share >= 1.0 {
                return Ok(());
            }
            done += self.balance.every;
        }
    }

    fn is_checking(&self) -> bool {
        self.state().is_checking()
    }

    fn check(&mut self) -> Result<(), Stop> {
        let before = self.balance.load;
        self.order(Order::CheckWeight { weight: None });
        // The hand reads "put it on the pan", and has to find it first.
        self.rest(1.2 + 6.0 * self.balance.settling)?;
        // A slow balance may not be at rest yet by then, and the bench says so.
        self.until(|hand| {
            !hand
                .state()
                .sentence()
                .starts_with("Let the pan come to rest")
        })?;
        let checks = self.core.checked;
        self.bring(before + 50.0)?;
        self.until(|hand| hand.core.checked > checks)?;
        if self.state().guard().verdict() != Verdict::Agreed {
            return Err(Stop::Refused);
        }
        self.bring(before)?;
        self.until(|hand| !hand.is_checking())
    }

    fn begin(&mut self, order: Order) -> Result<(), Stop> {
        self.order(order);
        self.until(|hand| {
            let expected = hand
                .state()
                .open_job()
                .and_then(|job| job.expected.as_ref());
            expected.is_none_or(|expected| expected.base.is_some())
        })
    }

    fn load(&mut self, order: Order, mass: f64) -> Result<(), Stop> {
        self.begin(order)?;
        let captures = self.captures;
        self.bring(self.balance.load + mass)?;
        self.until(|hand| hand.captures > captures)
    }

    /// Pours until the display says that it is enough.
    fn pour(&mut self) -> Result<(), Stop> {
        self.begin(Order::Add { metal: None })?;
        let captures = self.captures;
        let pace = self.dice.between(0.3, 1.5) * self.balance.every;
        let unit = grams_of(self.state().rules().pan.division.unit());
        let limit = self.balance.time + 40.0;
        while self.captures == captures {
            let Some(adding) = self.state().adding() else {
                break;
            };
            let aim: f64 = adding.window.aim.grams().to_f64().unwrap();
            let net = self.state().tracked().and_then(|tracked| tracked.net);
            let net = net.map_or(0.0, |net| net.digits().to_f64().unwrap() * unit);
            // Near the aim the hand is slow, and it waits for the display to follow.
            let missing = aim - net;
            let more = if missing > 0.4 {
                pace * self.dice.share()
            } else if missing > 0.01 {
                missing.min(pace) * 0.3
            } else {
                0.0
            };
            self.line(self.balance.load + more)?;
            if self.balance.time > limit {
                self.order(Order::Take);
                return if self.captures > captures {
                    Ok(())
                } else {
                    Err(Stop::Stuck)
                };
            }
        }
        Ok(())
    }

    fn job(&mut self, opened: Opened) -> Result<(), Stop> {
        let with_dish = self.dice.is(0.6);
        self.rest(0.7)?;
        let dish = if with_dish {
            self.dice.between(3.0, 60.0)
        } else {
            0.0
        };
        if with_dish {
            self.bring(dish)?;
            self.rest(0.5 + 8.0 * self.balance.settling)?;
            if self.dice.is(0.4) {
                self.balance.press_tare();
                self.rest(1.2)?;
            }
        }
        if !self.balance.says_units || self.dice.is(0.2) {
            self.check()?;
        }
        self.order(Order::Open(Box::new(opened)));
        let mut melt = 0.0;
        let mut last = self.dice.between(2.0, 12.0);
        for _ in 0..=self.dice.below(2) {
            // Now and then just five times the last, or as many pennyweights of it as grams.
            let mass = match self.dice.below(12) {
                0 if last < 12.0 => last * 5.0,
                1 => last / 1.555_173_84,
                _ => self.dice.between(2.0, 40.0),
            };
            self.load(lot(), mass)?;
            melt += mass;
            last = mass;
            if with_dish && self.dice.is(0.3) {
                self.bring(0.0)?;
                self.idle(0.2, 1.0)?;
            }
            self.bring(dish)?;
            self.idle(0.2, 2.0)?;
        }
        let before = self.balance.load;
        self.pour()?;
        melt += self.balance.load - before;
        if with_dish && self.dice.is(0.5) {
            self.bring(0.0)?;
            self.idle(0.2, 1.0)?;
        }
        self.bring(dish)?;
        self.idle(0.5, 2.0)?;
        let button = melt * self.dice.between(0.985, 1.0);
        self.load(Order::Button, button)?;
        // As the bench asks: beside the button. Some take it off first.
        let is_beside = self.dice.is(0.8);
        if is_beside && !self.balance.says_units {
            self.check()?;
        }
        self.bring(dish)?;
        self.rest(0.5)?;
        if !is_beside && !self.balance.says_units {
            self.check()?;
        }
        self.give_close();
        Ok(())
    }

    /// What is not finished is asked for once.
    fn give_close(&mut self) {
        self.order_and_mean_it(&Order::Close);
    }

    /// Gives an order, and says yes to what is asked.
    fn order_and_mean_it(&mut self, order: &Order) {
        self.order(order.clone());
        if let Some(confirm) = self.core.asked.take() {
            let records = self.core.order(order.clone(), Some(confirm), self.now());
            self.note_all(&records);
        }
    }

    /// Everything off the pan, a check weight, and what is under way begun anew and left.
    fn mend(&mut self) -> Result<(), Stop> {
        self.bring(0.0)?;
        self.rest(3.0)?;
        if !self.balance.says_units {
            self.check()?;
        }
        self.order_and_mean_it(&Order::Answer(PanAnswer::Anew));
        self.rest(3.0)?;
        self.give_close();
        Ok(())
    }

    /// The whole job, and what came of it.
    pub(crate) fn run(mut self, opened: Opened) -> Outcome {
        let stopped = self.job(opened).err();
        if stopped.is_some() && self.state().open_job().is_some() {
            // The hand sees what is wrong, takes everything off, puts the unit back, shows the
            // check weight and closes.
            self.bump = None;
            self.balance.display = self.home;
            self.mends = true;
            self.rest(1.5).ok();
            for _ in 0..3 {
                if !self.closed && self.mend().is_err() {
                    self.rest(5.0).ok();
                }
            }
        }
        let doubted: Vec<u64> = self.state().job().map_or_else(Vec::new, |job| {
            job.unproven().map(|(weighed, _)| weighed.n).collect()
        });
        let is_told = self.wrong.iter().all(|n| doubted.contains(n));
        let is_unit = matches!(stopped, Some(Stop::Held | Stop::Refused));
        let ended = match (self.wrong.is_empty(), is_unit) {
            (true, false) => Ended::Well,
            (true, true) => Ended::Held,
            (false, _) if is_told => Ended::Marked,
            (false, _) => Ended::Missed,
        };
        Outcome {
            ended,
            was_bumped: self.was_bumped,
            is_marked: !doubted.is_empty(),
            stopped,
        }
    }
}

pub(crate) fn lot() -> Order {
    let fineness: Fineness = "800".parse().unwrap();
    Order::Lot {
        fineness,
        basis: Basis::FireAssay,
        taken: fineness,
        u_ppt: Decimal::ZERO,
        note: String::new(),
    }
}

pub(crate) fn opened(division: Division) -> Opened {
    let copper = AddedMetal {
        metal: "copper".to_owned(),
        name: "copper".to_owned(),
        gold: Fineness::NONE,
        u_ppt: Decimal::ZERO,
        made_of: Composition::of_gold(Fineness::NONE),
        share: Decimal::ONE,
    };
    Opened {
        format: FORMAT,
        job: "t-1".to_owned(),
        bench: "bench".to_owned(),
        ticket: "t-1".to_owned(),
        client: String::new(),
        target: "750".parse().unwrap(),
        lowest: "750".parse().unwrap(),
        highest: "765".parse().unwrap(),
        give_away_g: None,
        risk: Decimal::new(25, 3),
        u_mass_g: Decimal::ZERO,
        u_balance_g: Decimal::ZERO,
        colour: Colour::Yellow,
        purpose: Purpose::Any,
        division,
        add: vec![copper],
    }
}
