//! The cable pulled and put back a hundred times at any moment.

use std::time::{Duration, Instant};

use panbell::job::Record;

use crate::support::desk::{Desk, g};

#[test]
fn a_hundred_unpluggings_record_nothing_twice_and_leak_nothing() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    let descriptors = desk.service.descriptors();
    let mut seed = u64::from(std::process::id()) | 1;
    println!("seed {seed}");
    let mut lots = 0_u32;
    let mut loaded = false;
    let mut expected: Vec<String> = Vec::new();
    let mark = desk.follower.mark();
    for round in 0..100 {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        std::thread::sleep(Duration::from_millis((seed >> 33) % 90));
        desk.balance.unplug().unwrap();
        if round % 3 == 0 {
            // While it is away, somebody moves the pan.
            std::thread::sleep(Duration::from_millis((seed >> 40) % 30));
        }
        desk.balance.plug().unwrap();
        if round % 10 == 9 {
            let view = desk.until("it talks again", |view| view["link"] == "talking");
            if !view["weighing"].is_object() {
                desk.empty();
                loaded = false;
                desk.ok(&["lot", "916", "fire-assay"]);
            } else if !loaded && view["pan"]["net"].is_string() {
                lots += 1;
                let mass = g("5.00") + g("0.01").times(lots);
                desk.put(mass);
                loaded = true;
                expected.push(crate::support::desk::shown(mass));
            } else if loaded {
                desk.until("it is recorded", |view| view["weighing"].is_null());
            }
        }
    }
    // Let the weighing that is under way come to its end.
    let view = desk.until("it talks again", |view| view["link"] == "talking");
    if view["weighing"].is_object() && !loaded {
        desk.ready();
        desk.put(g("9.99"));
        expected.push("9.99 g".to_owned());
    }
    desk.until("nothing is under way", |view| view["weighing"].is_null());
    assert!(expected.len() >= 3, "too little happened: {expected:?}");
    assert_eq!(desk.home.masses("T-1"), expected);
    // All that was announced so far, and whatever may be announced too much.
    desk.follower.readings(desk.follower.mark(), 50);
    let bells = desk.follower.bells_since(mark);
    let recorded = bells.iter().filter(|bell| *bell == "recorded").count();
    assert_eq!(recorded, expected.len(), "{bells:?}");
    let holds = desk.home.records("T-1");
    assert!(
        holds
            .iter()
            .any(|(_, record)| matches!(record, Record::Hold { .. }))
    );
    let until = Instant::now() + Duration::from_secs(10);
    while desk.service.descriptors() > descriptors {
        assert!(
            Instant::now() < until,
            "{} descriptors, were {descriptors}",
            desk.service.descriptors()
        );
        std::thread::sleep(Duration::from_millis(20));
    }
    desk.verify();
}

#[test]
fn a_balance_that_is_away_costs_next_to_nothing() {
    let desk = Desk::new();
    desk.open("T-1", &[]);
    desk.ok(&["lot", "916", "fire-assay"]);
    desk.balance.unplug().unwrap();
    desk.until("it is missed", |view| view["link"] == "absent");
    let wakes = desk.service.wakes();
    let (cpu, began) = (desk.service.cpu(), Instant::now());
    // Time has to pass here: what is measured is what it costs.
    std::thread::sleep(Duration::from_secs(3));
    let (used, passed) = (desk.service.cpu().saturating_sub(cpu), began.elapsed());
    // One of its hundredths beside the fiftieth: the clock counts in whole ones.
    assert!(
        used <= passed / 50 + Duration::from_millis(10),
        "{used:?} in {passed:?}"
    );
    // It looks for the port less and less often, up to every two seconds.
    let woke = desk.service.wakes() - wakes;
    assert!(woke < 60, "it woke {woke} times");
    desk.balance.plug().unwrap();
    desk.until("it is back", |view| view["link"] == "talking");
}
