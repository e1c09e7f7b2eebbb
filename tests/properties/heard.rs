//! Silence is not rest: whatever lies between a pan and the bench, nothing is recorded that did not
//! lie there for the whole of the time that counts.
//!
//! What is recorded is held against the true load, never against what was heard. What a balance
//! cannot tell is granted, and no more: its display lags behind the load by its filter, rounds to
//! its division, and is made once an interval; and a line may be a little late before anybody can
//! know that it is.

use std::sync::Arc;
use std::time::Duration;

use panbell::balance::Base;
use panbell::job::{
    Adding, BenchRules, Captured, Effect, Event, How, Order, PanAnswer, Record, State, Water,
    WaterWay, What, Zone, step,
};
use panbell::mass::{CheckWeight, Division, Indication, Moment, Reading, Shown, Status};
use panbell::metal::{Basis, Fineness};
use proptest::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;

use super::bench::rules;
use super::pours::{Act, Pour, act};
use super::several::opened;
use super::truth::{Came, Sender, World, sender};
use super::{Count, seeded};

const SILENCE: u64 = 3000;
const STEADY: u64 = 1000;
const DWELL: u64 = 2000;
/// Readings that must be alike, however slowly they come.
const READINGS: u64 = 4;
/// How late a line may be and still count as now: this, or half the interval up to a limit.
const LATE: u64 = 170;
const LATE_AT_MOST: u64 = 290;
/// Half a division of rounding, and what the filter's tail leaves of a thousand divisions.
const ROUNDS: f64 = 1.1;

/// What came of a run.
#[derive(Default)]
struct Tally {
    lots: u32,
    additions: u32,
    others: u32,
    taken: u32,
    checked: u32,
    bases: u32,
    asked: u32,
    slow: u32,
    uneven: u32,
    overs: u32,
    fast: u32,
}

struct Bench {
    world: World,
    state: Option<State>,
    written: u64,
    checked: u64,
    last: Option<(u64, i64)>,
    ordered_at: u64,
    /// A check weight was asked for, and may still be.
    wants_check: bool,
    /// What stood on the pan at some rest of the load itself.
    dish: f64,
    acts: u64,
    tally: Tally,
}

fn division() -> Division {
    "0.01 g".parse().unwrap()
}

fn mass(divisions: i64) -> Indication {
    Indication::new(Decimal::new(divisions, 2), division().unit()).unwrap()
}

fn in_divisions(mass: Indication) -> f64 {
    (mass.digits() * Decimal::ONE_HUNDRED).to_f64().unwrap()
}

impl Bench {
    fn new(world: World, rules: &Arc<BenchRules>) -> Self {
        let mut bench = Self {
            world,
            state: Some(State::new(Arc::clone(rules), None)),
            written: 0,
            checked: 0,
            last: None,
            ordered_at: 0,
            wants_check: false,
            dish: 0.0,
            acts: 0,
            tally: Tally::default(),
        };
        bench.event(&Event::PortOpened);
        bench.rest(1500);
        let demand = panbell::melt::Demand {
            target: "750".parse().unwrap(),
            lowest: "750".parse().unwrap(),
            highest: "760".parse().unwrap(),
            risk: panbell::melt::Risk::default(),
        };
        let none = Fineness::NONE;
        let opened = opened(demand, division(), &[(none, 2), (none, 1), (none, 1)]);
        bench.order(Order::Open(Box::new(opened)));
        bench
    }

    fn event(&mut self, event: &Event<'_>) {
        let at = Moment::after_origin(Duration::from_millis(self.world.now));
        let before = self.state.take().expect("between two steps");
        let adding = before.adding().copied();
        let (state, effects) = step(before, event.clone(), at);
        self.state = Some(state);
        let mut then = None;
        for effect in effects {
            match effect {
                Effect::Append { record, wait, .. } => {
                    self.written += 1;
                    match &*record {
                        Record::Capture(captured) => self.judge(captured, adding),
                        Record::Base { base } => self.judge_base(*base),
                        _ => {}
                    }
                    if wait {
                        then = Some(Event::Written { n: self.written });
                    }
                }
                Effect::Check(checked) => {
                    let (_, shows) = self.last.expect("something was heard");
                    self.lay_there(shows as f64, STEADY, "a check weight");
                    self.checked += 1;
                    self.tally.checked += 1;
                    then = Some(Event::Checked(Ok((self.checked, checked))));
                }
                Effect::Answer { .. } | Effect::Ring(_) => {}
            }
        }
        if let Some(then) = then {
            self.event(&then);
        }
    }

    fn state(&self) -> &State {
        self.state.as_ref().expect("between two steps")
    }

    fn order(&mut self, order: Order) {
        if self.world.is_stopped() {
            return;
        }
        self.wants_check |= matches!(order, Order::CheckWeight { .. });
        let counts = matches!(
            order,
            Order::Lot { .. }
                | Order::Add { .. }
                | Order::Button
                | Order::Proof(_)
                | Order::Answer(_)
        );
        if counts {
            self.ordered_at = self.world.now;
        }
        self.event(&Event::Order {
            id: 1,
            order,
            terms: panbell::job::Terms::default(),
        });
    }

    /// How late a line may be before anybody can know that it is.
    fn late(&self) -> u64 {
        match self.world.sender {
            Sender::Even(every) | Sender::OnChange(every) => {
                LATE.max((every / 2).min(LATE_AT_MOST) + 40)
            }
            // One that sends unevenly may as well have been about to send.
            Sender::Uneven(least, most) => LATE.max((least + most) * 5 / 4 - least + 40),
        }
    }

    /// What is recorded now lay there in truth, for all of the time that counts: whenever the
    /// balance looked at its pan in that time, whatever became of what it then said.
    fn lay_there(&self, divisions: f64, time: u64, what: &str) {
        self.always(time, what, |(least, most)| {
            // As far as the balance could know, and its readings may lie a division apart.
            (least - ROUNDS - 1.0..=most + ROUNDS + 1.0).contains(&divisions)
        });
    }

    fn always(&self, time: u64, what: &str, holds: impl Fn((f64, f64)) -> bool) {
        let world = &self.world;
        let now = world.now;
        let by_readings = (READINGS - 1) * world.sender.shortest();
        let since = now.saturating_sub(time.max(by_readings)) + 1;
        let until = now.saturating_sub(self.late());
        let mut looked = 0;
        for at in world.looked.iter().rev().skip_while(|at| **at > until) {
            if *at < since {
                break;
            }
            looked += 1;
            let lay = world.load.between(at.saturating_sub(world.settles()), *at);
            assert!(
                holds(lay),
                "{what} at {now}: at {at} there lay {lay:?}, by {:?}, heard last {:?}, over {:?}",
                world.sender,
                self.last,
                world.load
            );
        }
        let due = (now - since).saturating_sub(self.late()) / (world.sender.longest() + 5);
        assert!(looked >= due.saturating_sub(1), "{looked} of {due}");
    }

    fn judge(&mut self, captured: &Captured, adding: Option<Adding>) {
        let gross = in_divisions(captured.gross);
        let what = format!("{captured:?}");
        self.lay_there(gross, STEADY, &what);
        let (_, shows) = self.last.expect("something was heard");
        assert!(
            (gross - shows as f64).abs() < 0.1,
            "not what was heard last"
        );
        match &captured.what {
            What::Addition { .. } if captured.how == How::Settled => {
                let window = adding.expect("an addition").window;
                let base = in_divisions(captured.base);
                let edge = |mass| in_divisions(division().show(mass)) + base;
                let (lower, upper) = (edge(window.lower), edge(window.upper));
                self.always(
                    DWELL,
                    &format!("{what} within {lower} and {upper}"),
                    |(least, most)| most + ROUNDS >= lower && least - ROUNDS <= upper,
                );
                self.tally.additions += 1;
            }
            What::Lot { .. } => self.tally.lots += 1,
            _ => self.tally.others += 1,
        }
        self.tally.taken += u32::from(captured.how == How::Taken);
        match self.world.sender {
            Sender::Even(every) if every >= 900 => self.tally.slow += 1,
            Sender::Even(_) => self.tally.fast += 1,
            Sender::Uneven(..) => self.tally.uneven += 1,
            // Its silence is not rest; only a display that never rests could be recorded of it.
            Sender::OnChange(_) => {}
        }
    }

    /// A base is a rest too, and nothing that was put there after the order.
    fn judge_base(&mut self, base: Indication) {
        self.tally.bases += 1;
        let base = in_divisions(base);
        self.lay_there(base, STEADY, "a base");
        let (since, now) = (self.ordered_at, self.world.now);
        let before =
            since.saturating_sub(self.world.settles() + self.late() + self.world.sender.longest());
        let (_, most) = self.world.load.between(before, since);
        let known = base.abs() <= 4.0 || self.stood(base, since);
        assert!(
            known || base <= most + 4.0,
            "{base} is counted as standing there at {now}; at the order at {since} there lay at most {most}: {:?}",
            self.world.load
        );
    }

    /// Whether the pan was left alone with this on it before.
    fn stood(&self, divisions: f64, before: u64) -> bool {
        (0..before).step_by(100).any(|at| {
            let (least, most) = self.world.load.between(at, at + STEADY);
            most - least <= 2.0 && (divisions - least).abs() <= 5.0
        })
    }

    fn rest(&mut self, ms: u64) {
        let until = self.world.now + ms;
        while self.world.now < until {
            for came in self.world.pass() {
                match came {
                    Came::Stalled => self.event(&Event::Stalled),
                    Came::Read { lines, all_old } => {
                        let newest = lines.len() - 1;
                        for (place, line) in lines.into_iter().enumerate() {
                            let status = match (line.moving, self.acts % 2) {
                                (true, _) => Status::InMotion,
                                (false, 0) => Status::Unsaid,
                                _ => Status::Stable,
                            };
                            let reading = Reading {
                                shown: Shown::Weighed(mass(line.shows)),
                                status,
                            };
                            self.last = Some((line.at, line.shows));
                            let raw = b"";
                            if place == newest && !all_old {
                                self.event(&Event::Line { reading, raw });
                            } else {
                                self.event(&Event::OldLine { reading, raw });
                            }
                        }
                    }
                }
            }
            let at = Moment::after_origin(Duration::from_millis(self.world.now));
            if !self.world.is_stopped() && self.state().wake_at().is_some_and(|wake| wake <= at) {
                self.event(&Event::Tick);
            }
        }
        self.judge_over();
    }

    /// What lies over its window, and was heard to, is told.
    fn judge_over(&mut self) {
        let world = &self.world;
        let quiet = world.load.still_since().max(world.well_since);
        let time = world.settles() + 250 + self.late() + 2 * world.sender.longest();
        let (Some(adding), Some(Base::From(base)), false) = (
            self.state().adding(),
            self.state().pan_base(),
            // While a check weight is waited for nothing else is weighed.
            self.state().holds().any() || self.wants_check,
        ) else {
            return;
        };
        let counts_since = self.ordered_at + STEADY;
        let upper = in_divisions(division().show(adding.window.upper)) + in_divisions(base);
        let (least, _) = world.load.between(world.now, world.now);
        if least > upper + 2.0
            && world.now >= quiet.max(counts_since) + time
            && !world.is_troubled()
        {
            assert_eq!(self.state().zone(), Zone::Over, "{least} over {upper}");
            self.tally.overs += 1;
        }
    }

    fn carry_out(&mut self, act: &Act) {
        self.acts += 1;
        match act {
            Act::Order(which, wait) => {
                let order = self.next_order(*which);
                self.order(order);
                self.rest(*wait);
            }
            Act::Weigh(pour) => self.pour(*pour, pour.first as f64, pour.then as f64),
            Act::WeighOut(first, then, pour) => self.weigh_out(*first, *then, *pour),
            Act::Whole(which, first, then, pour) => {
                let order = self.next_order(*which);
                self.order(order);
                for _ in 0..60 {
                    if self.state().expected().is_some()
                        && !matches!(self.state().pan_base(), Some(Base::From(_)))
                    {
                        self.rest(200);
                    }
                }
                self.weigh_out(*first, *then, *pour);
                self.world.put(self.dish, 150);
                self.rest(200);
            }
            Act::Empty(over, wait) => {
                self.world.put(self.dish, *over);
                self.rest(over + wait);
            }
            Act::Dish(wait) => {
                let metal = self.world.load.between(self.world.now, self.world.now).0 - self.dish;
                self.dish = if self.dish > 0.0 { 0.0 } else { 2310.0 };
                self.world.put(self.dish + metal, 200);
                self.rest(200 + wait);
            }
            Act::Take(wait) => {
                self.rest(*wait);
                self.order(Order::Take);
            }
            Act::Anew(wait) => {
                self.rest(*wait);
                self.tally.asked += u32::from(self.state().pan_base() == Some(Base::NextRest));
                self.order(Order::Answer(PanAnswer::Anew));
            }
            Act::Rest(ms) => self.rest(*ms),
        }
    }

    fn weigh_out(&mut self, first: i64, then: i64, pour: Pour) {
        let here = self.world.load.between(self.world.now, self.world.now).0 - self.dish;
        let Some(adding) = self.state().adding() else {
            return self.pour(pour, pour.first as f64, pour.then as f64);
        };
        let edge = |mass| in_divisions(division().show(mass));
        let (lower, upper) = (edge(adding.window.lower), edge(adding.window.upper));
        let base = match self.state().pan_base() {
            Some(Base::From(base)) => in_divisions(base) - self.dish,
            _ => here,
        };
        let place = |place: i64| base + (lower + (upper - lower) * place as f64 / 100.0).round();
        self.pour(
            pour,
            place(first),
            place(if pour.pause.is_multiple_of(2) {
                first
            } else {
                then
            }),
        );
    }

    fn pour(&mut self, pour: Pour, first: f64, then: f64) {
        let trouble = pour.trouble;
        let begins = trouble.map(|(_, after, _)| self.world.now + after);
        let legs = [
            (Some(first), pour.over.0),
            (None, pour.pause),
            (Some(then), pour.over.1),
            (None, pour.rests + 4 * self.world.sender.longest()),
        ];
        for (to, ms) in legs {
            if let Some(to) = to {
                self.world.put(self.dish + to.max(0.0), ms);
            }
            let until = self.world.now + ms;
            if let (Some((how, _, lasts)), Some(begins)) = (trouble, begins)
                && (self.world.now..until).contains(&begins)
            {
                self.rest(begins - self.world.now);
                // Less than what an uneven balance is silent for by itself is no trouble.
                let least = match self.world.sender {
                    Sender::Uneven(_, most) => 3 * most,
                    Sender::Even(every) | Sender::OnChange(every) => every / 2,
                };
                self.world.begin(how, lasts.max(least));
            }
            self.rest(until.saturating_sub(self.world.now));
            // Some hands do not wait.
            if to.is_none() && pour.pause % 4 == 1 {
                self.order(Order::Take);
            }
        }
    }

    fn next_order(&self, which: u8) -> Order {
        if which.is_multiple_of(17) {
            let weight: CheckWeight = "10.00 g within 0.02 g".parse().unwrap();
            return Order::CheckWeight {
                weight: Some(weight),
            };
        }
        let Some(job) = self.state().open_job() else {
            return Order::Take;
        };
        let air = panbell::melt::Air::default();
        match which % 16 {
            0 => Order::Withdraw { capture: None },
            1 => Order::Button,
            2 => Order::Proof(Water {
                way: WaterWay::Hung,
                water_celsius: Decimal::from(20),
                air_celsius: air.celsius,
                pascal: air.pascal,
                humidity: air.humidity,
            }),
            3..=9 if job.lots().next().is_some() => Order::Add { metal: None },
            _ => {
                let fineness: Fineness = "916".parse().unwrap();
                Order::Lot {
                    fineness,
                    basis: Basis::FireAssay,
                    taken: fineness,
                    u_ppt: Decimal::ZERO,
                    note: String::new(),
                }
            }
        }
    }
}

fn play(world: World, rules: &Arc<BenchRules>, acts: &[Act]) -> Tally {
    let mut bench = Bench::new(world, rules);
    for act in acts {
        bench.carry_out(act);
    }
    bench.tally
}

const CASES: u32 = 200;

#[test]
fn nothing_is_recorded_that_did_not_lie_there_all_the_time_that_counts() {
    let sums: [Count; 11] = Default::default();
    let script = (
        sender(),
        0_u64..90,
        any::<bool>(),
        any::<u64>(),
        proptest::collection::vec(act(), 4..22),
    );
    let rules = Arc::new(rules(
        division(),
        [STEADY, DWELL, SILENCE].map(Duration::from_millis).into(),
    ));
    let (mut runner, cases) = seeded(CASES);
    runner
        .run(&script, |(sender, lag, says_status, seed, acts)| {
            let world = World::new(sender, (lag, says_status), seed);
            let tally = play(world, &rules, &acts);
            for (sum, more) in sums.iter().zip(counts(&tally)) {
                sum.add(more);
            }
            Ok(())
        })
        .unwrap();
    for (sum, (name, least)) in sums.iter().zip(LEAST) {
        println!("{} {name}", sum.get());
        assert!(
            sum.get() >= least * cases / CASES,
            "only {} {name}",
            sum.get()
        );
    }
}

/// What a run must have seen: a third of what it sees.
const LEAST: [(&str, u32); 11] = [
    ("lots", 70),
    ("additions", 20),
    ("other weighings", 10),
    ("taken by order", 6),
    ("check weights", 11),
    ("bases", 150),
    ("questions of a base", 6),
    ("recorded of slow balances", 25),
    ("recorded of uneven balances", 24),
    ("overs that were told", 10),
    ("recorded of quick balances", 55),
];

fn counts(tally: &Tally) -> [u32; 11] {
    [
        tally.lots,
        tally.additions,
        tally.others,
        tally.taken,
        tally.checked,
        tally.bases,
        tally.asked,
        tally.slow,
        tally.uneven,
        tally.overs,
        tally.fast,
    ]
}
