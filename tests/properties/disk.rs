//! A disk that is asked and keeps silent: when it is told, what is refused meanwhile, and that the bench
//! goes on by itself.

use std::time::Duration;

use panbell::job::{Cause, Order, Record};
use panbell::melt::{Demand, Risk};
use panbell::metal::{Basis, Fineness};
use rust_decimal::Decimal;

use crate::bench::{Bench, Disk};
use crate::several::opened;

fn bench() -> Bench {
    let bench = Bench::new("0.01 g".parse().unwrap());
    assert!(bench.state.holds().told().is_none());
    bench
}

fn open() -> Order {
    let target: Fineness = Fineness::per_mille(Decimal::from(750)).unwrap();
    let demand = Demand {
        target,
        lowest: target,
        highest: Fineness::per_mille(Decimal::from(754)).unwrap(),
        risk: Risk::default(),
    };
    Order::Open(Box::new(opened(demand, "0.01 g".parse().unwrap(), &[])))
}

fn lot() -> Order {
    let fineness = Fineness::per_mille(Decimal::from(900)).unwrap();
    Order::Lot {
        fineness,
        basis: Basis::FireAssay,
        taken: fineness,
        u_ppt: Decimal::ONE,
        note: String::new(),
    }
}

/// Whether the person was told that the disk holds the bench.
fn is_told(bench: &Bench) -> bool {
    let told = bench.state.holds().told();
    told.is_some_and(|hold| hold.cause == Cause::Disk)
}

#[test]
fn a_second_without_an_answer_is_told_and_not_a_moment_sooner() {
    for order in [open(), lot()] {
        let mut bench = bench();
        if matches!(order, Order::Lot { .. }) {
            bench.order(open());
            bench.disk(Disk::Writes);
        }
        let (kept, rung) = (bench.file().len(), bench.tally.rung);
        bench.order(order);
        assert!(bench.state.orders_wait());
        bench.wait(Duration::from_millis(999), true);
        assert!(!is_told(&bench) && bench.state.orders_wait());
        bench.wait(Duration::from_millis(1), true);
        assert!(
            is_told(&bench),
            "nobody has to do anything for it to be told"
        );
        assert_eq!(bench.tally.holds, 1);
        assert!(bench.state.sentence().contains("does not answer"));
        // Told once, and an order is answered at once and leaves nothing.
        bench.wait(Duration::from_secs(30), true);
        assert!(!bench.state.orders_wait());
        bench.order(lot());
        bench.order(open());
        assert_eq!((bench.tally.holds, bench.tally.rung), (1, rung + 1));
        bench.disk(Disk::Writes);
        assert!(!bench.state.holds().any());
        assert_eq!(bench.tally.rung, rung + 2, "that it goes on is told");
        bench.disk(Disk::Writes);
        let resumed = Record::Resume { cause: Cause::Disk };
        assert_eq!(bench.file().len(), kept + 2);
        assert_eq!(bench.file().last(), Some(&resumed));
        bench.finish();
    }
}

#[test]
fn a_silence_that_ends_in_a_failure_is_a_hold_for_that_until_it_can_be_written_again() {
    let mut bench = bench();
    bench.order(open());
    bench.disk(Disk::Writes);
    bench.order(lot());
    bench.wait(Duration::from_secs(5), true);
    assert!(is_told(&bench));
    bench.disk(Disk::Fails);
    assert!(is_told(&bench) && !bench.state.sentence().contains("does not answer"));
    bench.order(lot());
    // It is tried again by itself, and that may take its time too.
    bench.wait(Duration::from_secs(10), true);
    assert!(is_told(&bench));
    bench.disk(Disk::Writes);
    assert!(!bench.state.holds().any());
    bench.order(lot());
    bench.disk(Disk::Writes);
    assert!(matches!(bench.file().last(), Some(Record::Expect { .. })));
    bench.finish();
}

#[test]
fn an_opening_that_fails_after_a_silence_leaves_no_hold_behind() {
    let mut bench = bench();
    bench.order(open());
    bench.wait(Duration::from_secs(5), true);
    assert!(is_told(&bench));
    bench.disk(Disk::Fails);
    assert!(!bench.state.holds().any());
    assert!(bench.state.open_job().is_none() && bench.file().is_empty());
    bench.finish();
}
