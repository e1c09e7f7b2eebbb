//! The job as a state machine: whatever comes, nothing is recorded that should not be.

use panbell::job::{Order, PanAnswer};
use panbell::mass::{Shown, Status};

use super::bench::{Bench, Disk, Tally};
use super::exact::division;
use super::hand::{Act, play, script};
use super::{Count, runner};

/// How many runs of up to how many acts: some seconds.
const RUNS: u32 = 600;
const ACTS: usize = 80;

#[test]
fn whatever_happens_nothing_is_captured_that_should_not_be() {
    let sums: [Count; 14] = Default::default();
    runner(RUNS)
        .run(&script(division(), ACTS), |(division, dish, acts)| {
            for (sum, more) in sums.iter().zip(counts(&play(division, dish, &acts).tally)) {
                sum.add(more);
            }
            Ok(())
        })
        .unwrap();
    // What has been seen to happen, in a run like this, by a factor of three and more.
    let least = [
        150, 150, 150, 12, 80, 5, 20, 70, 400, 60, 20_000, 1000, 50, 25,
    ];
    let names = [
        "runs with a capture",
        "lots",
        "additions",
        "captures by order",
        "buttons",
        "weighings in water",
        "assays",
        "closed jobs",
        "holds rung",
        "failures of the disk",
        "states compared with their file",
        "rings",
        "check weights",
        "captures by a check weight",
    ];
    for ((sum, least), name) in sums.iter().zip(least).zip(names) {
        println!("{} {name}, at least {least}", sum.get());
        assert!(sum.get() >= least, "only {} {name}", sum.get());
    }
}

fn counts(tally: &Tally) -> [u32; 14] {
    let captures = tally.lots + tally.additions + tally.buttons;
    [
        u32::from(captures > 0),
        tally.lots,
        tally.additions,
        tally.taken,
        tally.buttons,
        tally.in_water,
        tally.assays,
        tally.closed,
        tally.holds,
        tally.refused,
        tally.folds_compared,
        tally.rung,
        tally.checked,
        tally.by_check_weight,
    ]
}

/// A job with one lot of 700 recorded.
const ONE_LOT: [Act; 6] = [
    Act::GoOn(0),
    Act::GoOn(0),
    Act::GoOn(100),
    Act::Rest(5),
    Act::Pour(2000),
    Act::Rest(11),
];
/// And an addition begun, with a little of it on the pan, at rest.
const A_LITTLE_ADDED: [Act; 4] = [Act::GoOn(1), Act::Rest(5), Act::Pour(20), Act::Rest(8)];

fn played(parts: &[&[Act]]) -> Bench {
    play("0.01 g".parse().unwrap(), 0, &parts.concat())
}

#[test]
fn a_little_added_can_be_taken_by_order() {
    let tally = played(&[&ONE_LOT, &A_LITTLE_ADDED, &[Act::Take(100, true)]]).tally;
    assert_eq!((tally.lots, tally.additions, tally.taken), (1, 1, 1));
}

#[test]
fn what_has_become_old_is_not_taken_even_if_no_tick_said_so() {
    let taken = |late: &[Act]| played(&[&ONE_LOT, &A_LITTLE_ADDED, late]).tally.taken;
    assert_eq!(taken(&[Act::Take(4000, false)]), 0);
    let odd = [Act::Wait(1900, false), Act::OddLines(1)];
    assert_eq!(taken(&[&odd[..], &odd, &[Act::Take(0, false)]].concat()), 0);
}

#[test]
fn a_pan_that_is_said_to_move_is_not_taken_even_if_the_line_has_no_digits() {
    let moves = Act::Say(Shown::Nothing, Status::InMotion);
    let tally = played(&[&ONE_LOT, &A_LITTLE_ADDED, &[moves, Act::Take(0, true)]]).tally;
    assert_eq!(tally.taken, 0);
    // One that says nothing at all takes nothing away, and is not the line that is kept.
    let empty = Act::Say(Shown::Nothing, Status::Unsaid);
    let tally = played(&[&ONE_LOT, &A_LITTLE_ADDED, &[empty, Act::Take(0, true)]]).tally;
    assert_eq!(tally.taken, 1);
}

/// A slow disk, what comes meanwhile, and a quick one again.
fn while_the_disk_is_slow(acts: &[Act]) -> Vec<Act> {
    let mut all = vec![Act::Disk(Disk::Writes, false)];
    all.extend_from_slice(acts);
    all.push(Act::Disk(Disk::Writes, true));
    all
}

#[test]
fn a_hold_while_the_close_is_written_does_not_stand_behind_it() {
    // A line behind the close would open the job again at the next start. The first asking is
    // answered with what is not finished.
    let close = || Act::Order(Order::Close);
    let held = while_the_disk_is_slow(&[close(), close(), Act::Port(false)]);
    assert_eq!(played(&[&ONE_LOT, &held]).tally.closed, 1);
}

#[test]
fn a_reading_while_the_next_weighing_is_written_is_not_one_of_the_next() {
    let anew = [Act::Order(Order::Button), Act::Pour(25), Act::Rest(8)];
    let bench = played(&[&ONE_LOT, &A_LITTLE_ADDED, &while_the_disk_is_slow(&anew)]);
    assert!(bench.tally.folds_compared > 0);
}

#[test]
fn what_is_taken_right_after_the_tare_key_was_owned_up_to_is_all_of_it() {
    let tared = [
        Act::TareKey,
        Act::Rest(5),
        Act::Pour(30),
        Act::Rest(8),
        Act::Order(Order::Answer(PanAnswer::Tared)),
        Act::Take(0, true),
    ];
    let bench = played(&[&ONE_LOT, &A_LITTLE_ADDED, &tared]);
    let last = bench.state.job().unwrap().weighed.last().unwrap();
    assert_eq!(last.captured.mass.to_string(), "0.50 g");
}

#[test]
fn what_was_heard_before_a_gap_is_not_taken_although_it_is_not_old_yet() {
    let taken = |late| {
        played(&[&ONE_LOT, &A_LITTLE_ADDED, &[Act::Take(late, false)]])
            .tally
            .taken
    };
    assert_eq!(taken(100), 1);
    assert_eq!([taken(400), taken(1500), taken(2900)], [0; 3]);
}
