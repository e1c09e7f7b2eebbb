//! Every state of a bench has a way on: what it offers it takes, what it takes it offers, and the
//! main order is never refused. Judged by giving the orders, not by how they came to be offered.

use std::cell::RefCell;
use std::collections::BTreeMap;

use panbell::job::{Action, Cause, Effect, Event, Order, PanAnswer, State, Terms, Way, step};
use panbell::mass::{Division, Moment};
use panbell::metal::Fineness;

use rust_decimal::Decimal;

use super::exact::division;
use super::hand::{a_lot, an_assay, an_opening, check_weight, in_water, play_and_look, script};
use super::runner;
use super::several::added;

const RUNS: u32 = 250;
const ACTS: usize = 80;

/// What an order comes to: taken, asked about with this word, or refused with this code.
#[derive(Debug, PartialEq, Eq)]
enum Came {
    Taken,
    Asked(String),
    Refused(String),
}

fn give(state: &State, order: &Order, confirm: Option<&str>, now: Moment) -> Came {
    let terms = Terms {
        ticket: state.open_job().map(|job| job.opened.ticket.clone()),
        seen: Some(state.mark()),
        confirm: confirm.map(|word| word.parse().unwrap()),
        id: None,
    };
    let order = order.clone();
    let event = Event::Order {
        id: 7,
        order,
        terms,
    };
    let (_, effects) = step(state.clone(), event, now);
    let refused = effects.into_iter().find_map(|effect| match effect {
        Effect::Answer { answer, .. } => answer.err(),
        _ => None,
    });
    match refused {
        None => Came::Taken,
        Some(trouble) => match trouble.confirm {
            Some(word) => Came::Asked(word),
            None => Came::Refused(trouble.code.to_owned()),
        },
    }
}

/// Orders that a person could type for a way, one of which the bench must take where it offers it.
fn typed(way: Way, division: Division) -> Vec<Order> {
    let other = |gold| Order::Add {
        metal: Some(Box::new(added("other", gold, 1))),
    };
    match way {
        Way::Open => vec![an_opening(0, division)],
        Way::Lot => vec![a_lot(7)],
        Way::Plan => vec![Order::Plan { add: Vec::new() }],
        // From fine gold down to none.
        Way::AddOther => (0..=8)
            .map(|eighth| other(Fineness::per_mille(Decimal::from(1000 - 125 * eighth)).unwrap()))
            .collect(),
        Way::Proof => vec![in_water(20), in_water(21)],
        Way::Assay => vec![an_assay(0, "750".parse().unwrap())],
        Way::CheckWeight => vec![check_weight(division, 1000), check_weight(division, 9000)],
        Way::Add => vec![Order::Add { metal: None }],
        Way::Take => vec![Order::Take],
        Way::Withdraw => vec![Order::Withdraw { capture: None }],
        Way::Reweigh => vec![Order::Reweigh],
        Way::Leave => vec![Order::Leave],
        Way::Button => vec![Order::Button],
        Way::Back => vec![Order::Answer(PanAnswer::Back)],
        Way::Tared => vec![Order::Answer(PanAnswer::Tared)],
        Way::Anew => vec![Order::Answer(PanAnswer::Anew)],
        Way::Close => vec![Order::Close],
        // A plan like any other.
        Way::PlanWithout => Vec::new(),
    }
}

/// How often each way was offered, was the main one, and how many states were looked at.
#[derive(Debug, Default)]
struct Seen {
    states: u32,
    offered: BTreeMap<Way, u32>,
    main: BTreeMap<Way, u32>,
    asked: u32,
}

fn look(state: &State, now: Moment, seen: &mut Seen) {
    if state.is_writing() {
        assert!(state.actions().is_empty());
        return;
    }
    let division = state.rules().pan.division;
    let actions = state.actions();
    seen.states += 1;
    assert!(!actions.is_empty(), "no way on");
    assert!(actions.iter().filter(|action| action.main).count() <= 1);
    assert!(actions.iter().skip(1).all(|action| !action.main));
    for action in &actions {
        *seen.offered.entry(action.way).or_default() += 1;
        if action.main {
            *seen.main.entry(action.way).or_default() += 1;
        }
        taken_as_offered(state, action, division, now, seen);
    }
    for way in Way::ALL {
        if actions.iter().any(|action| action.way == way) {
            continue;
        }
        for order in typed(way, division) {
            let came = give(state, &order, None, now);
            assert!(
                matches!(came, Came::Refused(_)),
                "{order:?} is not offered and comes to {came:?}"
            );
        }
    }
    // A job that is open and a disk that writes: there is more to do than to show a check weight.
    if state.open_job().is_some() && !state.holds().has(Cause::Disk) {
        let other = |action: &Action| action.way != Way::CheckWeight;
        assert!(actions.iter().any(other), "nothing but a check weight");
    }
}

fn taken_as_offered(
    state: &State,
    action: &Action,
    division: Division,
    now: Moment,
    seen: &mut Seen,
) {
    let asks = action.asks.as_ref().map(|asks| asks.mark.to_string());
    let orders = match &action.order {
        Some(order) => vec![order.clone()],
        None => typed(action.way, division),
    };
    let mut came = orders.iter().map(|order| {
        let came = give(state, order, None, now);
        match (&asks, came) {
            (None, came) => came,
            (Some(word), came) => {
                assert_eq!(came, Came::Asked(word.clone()), "{action:?}");
                give(state, order, Some(word), now)
            }
        }
    });
    seen.asked += u32::from(asks.is_some());
    assert!(
        came.any(|came| came == Came::Taken),
        "{action:?} is offered and refused: {:?}",
        orders
            .iter()
            .map(|order| give(state, order, asks.as_deref(), now))
            .collect::<Vec<_>>()
    );
}

#[test]
fn every_state_has_a_way_on_and_what_is_offered_is_taken() {
    let seen = RefCell::new(Seen::default());
    runner(RUNS)
        .run(&script(division(), ACTS), |(division, dish, acts)| {
            play_and_look(division, dish, &acts, |bench| {
                // Time alone may have changed what was seen.
                let (state, _) = step(bench.state.clone(), Event::Tick, bench.now);
                look(&state, bench.now, &mut seen.borrow_mut());
            });
            Ok(())
        })
        .unwrap();
    let seen = seen.into_inner();
    assert!(seen.states >= 2000, "{seen:?}");
    assert!(seen.asked >= 20, "{seen:?}");
    for way in Way::ALL {
        let count = seen.offered.get(&way).copied().unwrap_or(0);
        assert!(count > 0, "{way:?} was never offered: {seen:?}");
    }
}
