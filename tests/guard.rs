//! The unit guard in a hundred thousand whole jobs, each a job of the real core with a balance that
//! settles, a hand that sees only the display, and, in half of them, a sleeve on the unit key.
//! Prints how often each kind of balance let something wrong through, and how often it cried wolf.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing, clippy::cast_precision_loss)]

#[path = "guard/hand.rs"]
mod hand;
#[path = "guard/harsh/mod.rs"]
mod harsh;
#[path = "guard/pan.rs"]
mod pan;

use std::collections::BTreeMap;
use std::sync::Arc;

use hand::{Bump, Ended, Hand, Outcome, Stop, opened, rules};
use pan::{Balance, Dice, Display, Mode};
use panbell::mass::{Division, Unit};
use panbell::metal::MarkLaw;

/// Whole jobs.
const JOBS: usize = 20_000;

/// How a display writes its units and modes, with a step and decimals each: one whose divisions are
/// about as fine as the balance feels, and one that writes everything with two decimals.
type Modes = [(Mode, i64, u32); 8];

fn modes(dice: &mut Dice, is_plain: bool) -> Modes {
    let percent = Mode::Percent(dice.between(1.0, 60.0));
    let count = Mode::Count(dice.between(0.05, 2.0));
    if is_plain {
        return [
            (Mode::Unit(Unit::Gram), 1, 2),
            (Mode::Unit(Unit::Carat), 5, 2),
            (Mode::Unit(Unit::Pennyweight), 1, 2),
            (Mode::Unit(Unit::Grain), 20, 2),
            (Mode::Unit(Unit::TroyOunce), 1, 2),
            (Mode::Unit(Unit::Ounce), 1, 2),
            (percent, 1, 2),
            (count, 1, 0),
        ];
    }
    [
        (Mode::Unit(Unit::Gram), 1, 2),
        (Mode::Unit(Unit::Carat), 5, 2),
        (Mode::Unit(Unit::Pennyweight), 5, 3),
        (Mode::Unit(Unit::Grain), 2, 1),
        (Mode::Unit(Unit::TroyOunce), 5, 4),
        (Mode::Unit(Unit::Ounce), 5, 4),
        (percent, 1, 1),
        (count, 1, 0),
    ]
}

fn name(mode: Mode) -> String {
    match mode {
        Mode::Unit(unit) => unit.symbol().to_owned(),
        Mode::Percent(_) => "per cent".to_owned(),
        Mode::Count(_) => "counting".to_owned(),
    }
}

/// How jobs of one kind ended.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    jobs: u32,
    held: u32,
    marked: u32,
    missed: u32,
    stuck: u32,
    marked_right: u32,
}

impl Tally {
    fn take(&mut self, outcome: &Outcome) {
        self.jobs += 1;
        self.held += u32::from(outcome.ended == Ended::Held);
        self.marked += u32::from(outcome.ended == Ended::Marked);
        self.missed += u32::from(outcome.ended == Ended::Missed);
        self.stuck += u32::from(outcome.stopped == Some(Stop::Stuck));
        self.marked_right += u32::from(outcome.is_marked && outcome.ended != Ended::Marked);
    }

    fn add(&mut self, other: &Self) {
        self.jobs += other.jobs;
        self.held += other.held;
        self.marked += other.marked;
        self.missed += other.missed;
        self.stuck += other.stuck;
        self.marked_right += other.marked_right;
    }

    fn share(&self, of: u32) -> f64 {
        f64::from(of) / f64::from(self.jobs.max(1))
    }
}

/// Kind of balance, what its key was pressed into, and whether it was pressed back.
type Kind = (bool, String);

fn run(seed: u64, jobs: usize, law: &Arc<MarkLaw>) -> BTreeMap<Kind, Tally> {
    let division: Division = "0.01 g".parse().unwrap();
    let rules = Arc::new(rules(division, law));
    let mut tallies: BTreeMap<Kind, Tally> = BTreeMap::new();
    for job in 0..jobs {
        let mut dice = Dice(seed.wrapping_mul(0x1_0000_0001).wrapping_add(job as u64));
        let is_plain = dice.is(0.5);
        let modes = modes(&mut dice, is_plain);
        let display = |(mode, step, decimals)| Display {
            mode,
            step,
            decimals,
        };
        let mut balance = Balance::new(display(modes[0]), &mut dice);
        balance.says_units = dice.is(0.5);
        let says_units = balance.says_units;
        let bump = dice.is(0.5).then(|| {
            let at = dice.between(0.0, 32.0);
            let into = display(modes[1 + dice.below(7)]);
            let back = dice.is(0.5).then(|| at + dice.between(0.3, 15.0));
            Bump { into, at, back }
        });
        let outcome = Hand::new(Arc::clone(&rules), balance, bump, &mut dice).run(opened(division));
        if std::env::var("SHOW").is_ok() && !outcome.was_bumped && outcome.ended != Ended::Well {
            println!("job {job} of seed {seed}: {:?} {:?}", outcome.ended, outcome.stopped);
        }
        let what = match bump.filter(|_| outcome.was_bumped) {
            None => "none".to_owned(),
            Some(bump) => {
                let back = if bump.back.is_some() { " and back" } else { "" };
                format!("{} .{}{back}", name(bump.into.mode), bump.into.decimals)
            }
        };
        tallies
            .entry((says_units, what))
            .or_default()
            .take(&outcome);
    }
    tallies
}

#[test]
fn units_are_guarded_in_a_hundred_thousand_jobs() {
    let home = tempfile::tempdir().unwrap();
    let folders = panbell::settings::Folders::under(home.path());
    let law = Arc::new(panbell::settings::read_laws(&folders).unwrap().remove(0));
    let threads: Vec<_> = (0..2)
        .map(|seed| {
            let law = Arc::clone(&law);
            std::thread::spawn(move || run(seed + 11, JOBS / 2, &law))
        })
        .collect();
    let mut tallies: BTreeMap<Kind, Tally> = BTreeMap::new();
    for thread in threads {
        for (kind, tally) in thread.join().unwrap() {
            tallies.entry(kind).or_default().add(&tally);
        }
    }
    println!(
        "unit sent  key pressed into       jobs  held %  marked %  missed %  stuck %  marked though right %"
    );
    for ((says, what), tally) in &tallies {
        let percent = |of| 100.0 * tally.share(of);
        println!(
            "{:<9}  {what:<20} {:>7}  {:>6.2}  {:>8.3}  {:>8.4}  {:>7.3}  {:>6.3}",
            says,
            tally.jobs,
            percent(tally.held),
            percent(tally.marked),
            percent(tally.missed),
            percent(tally.stuck),
            percent(tally.marked_right),
        );
    }
    let sum = |says: bool, bumped: bool| {
        let mut sum = Tally::default();
        for ((of, what), tally) in &tallies {
            if *of == says && (what != "none") == bumped {
                sum.add(tally);
            }
        }
        sum
    };
    let (sent, silent) = (sum(true, true), sum(false, true));
    let (sent_calm, silent_calm) = (sum(true, false), sum(false, false));
    println!(
        "sent {sent:?}\nsilent {silent:?}\nsent, calm {sent_calm:?}\nsilent, calm {silent_calm:?}"
    );
    assert!(sent.jobs > 15_000 && silent.jobs > 15_000);
    // The unit in the line: nothing wrong is ever captured, and nobody is disturbed.
    assert_eq!((sent.missed, sent.marked), (0, 0));
    assert_eq!(
        (sent_calm.held, sent_calm.missed, sent_calm.stuck),
        (0, 0, 0)
    );
    // No unit in the line: seen were 0.42 % missed, 9.0 % told only by the closing, and one alarm
    // in 26 189 without a key. Half as much again, and ten alarms, are the bounds.
    assert!(silent.share(silent.missed) < 0.007, "{silent:?}");
    assert!(silent.share(silent.marked) < 0.14, "{silent:?}");
    assert!(
        silent_calm.held + silent_calm.stuck <= 10,
        "{silent_calm:?}"
    );
    assert_eq!((silent_calm.missed, silent_calm.marked), (0, 0));
}

/// How many jobs of the harsh hand ended so.
#[derive(Debug, Clone, Copy, Default)]
struct Harsh {
    jobs: u32,
    fates: [u32; 6],
    held_first: u32,
    stuck: u32,
    marked: (u32, u32),
    unseen: u32,
}

impl Harsh {
    fn add(&mut self, other: &Self) {
        self.jobs += other.jobs;
        for (sum, more) in self.fates.iter_mut().zip(other.fates) {
            *sum += more;
        }
        self.stuck += other.stuck;
        self.marked.0 += other.marked.0;
        self.marked.1 += other.marked.1;
        self.unseen += other.unseen;
    }
}

type HarshKind = (bool, bool, &'static str);

fn run_harsh(seed: u64, jobs: usize, law: &Arc<MarkLaw>) -> BTreeMap<HarshKind, Harsh> {
    let division: Division = "0.01 g".parse().unwrap();
    let rules = Arc::new(rules(division, law));
    let mut tallies: BTreeMap<HarshKind, Harsh> = BTreeMap::new();
    for job in 0..jobs {
        let own = seed.wrapping_mul(0x9e37_79b9).wrapping_add(job as u64);
        let own = std::env::var("OWN").map_or(own, |n| n.parse().unwrap());
        let mut dice = Dice(own);
        let (says_units, with_key) = (dice.is(0.15), dice.is(0.75));
        let outcome = harsh::Hand::new(Arc::clone(&rules), says_units, with_key, &mut dice)
            .run(opened(division));
        if std::env::var("SHOW").is_ok() && (outcome.fate == harsh::Fate::Nowhere || outcome.is_stuck || (!outcome.was_pressed && (outcome.holds > 0 || outcome.fate > harsh::Fate::Held))) {
            println!("seed {own} {outcome:?} units {says_units}");
        }
        let closing = match (outcome.has_button, outcome.is_beside) {
            (false, _) => "no button",
            (true, false) => "weight alone",
            (true, true) => "weight beside",
        };
        let tally = tallies
            .entry((says_units, outcome.was_pressed, closing))
            .or_default();
        tally.jobs += 1;
        tally.fates[outcome.fate as usize] += 1;
        tally.stuck += u32::from(outcome.is_stuck);
        tally.marked.0 += u32::from(outcome.marked_right.0);
        tally.marked.1 += u32::from(outcome.marked_right.1);
        tally.unseen += u32::from(outcome.fate > harsh::Fate::Held && !outcome.is_seen);
    }
    tallies
}

#[test]
fn harsh_hands() {
    let home = tempfile::tempdir().unwrap();
    let folders = panbell::settings::Folders::under(home.path());
    let law = Arc::new(panbell::settings::read_laws(&folders).unwrap().remove(0));
    let jobs: usize = std::env::var("HARSH").map_or(4000, |n| n.parse().unwrap());
    let threads: Vec<_> = (0..2)
        .map(|seed| {
            let law = Arc::clone(&law);
            std::thread::spawn(move || run_harsh(seed + 101, jobs / 2, &law))
        })
        .collect();
    let mut tallies: BTreeMap<HarshKind, Harsh> = BTreeMap::new();
    for thread in threads {
        for (kind, tally) in thread.join().unwrap() {
            tallies.entry(kind).or_default().add(&tally);
        }
    }
    println!("unit  key    closing        jobs  well held told closing statement nowhere | stuck marked-right seen/unproved | wrong told by the general word alone");
    for ((says, pressed, closing), tally) in &tallies {
        println!(
            "{says:<5} {pressed:<5}  {closing:<14} {:>6} {:?} | {} {:?} | {}",
            tally.jobs, tally.fates, tally.stuck, tally.marked, tally.unseen
        );
    }
}
