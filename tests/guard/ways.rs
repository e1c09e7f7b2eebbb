//! Every hold for the unit or the pan has a way on, and what proves a mass that rests on a check
//! weight: line by line, on the real core.

use std::sync::Arc;

use panbell::balance::Verdict;
use panbell::job::{Event, Job, Order, PanAnswer, PanQuestion, Record, State, UnitDoubt};
use panbell::mass::{Division, Moment, Reading, Shown, Status};
use panbell::trouble::Trouble;

use super::core::Core;
use super::hand::{lot, opened, rules};

struct Bench {
    core: Core,
    states_unit: bool,
    ms: u64,
    records: Vec<(u64, Record)>,
    on_pan: f64,
}

impl Bench {
    fn new(states_unit: bool, check_weight: Option<&str>) -> Self {
        let division: Division = "0.01 g".parse().unwrap();
        let mut rules = rules(division, &super::law());
        rules.check_weight = check_weight.and_then(|weight| weight.parse().ok());
        let mut bench = Self {
            core: Core::new(Arc::new(rules)),
            states_unit,
            ms: 0,
            records: Vec::new(),
            on_pan: 0.0,
        };
        bench.rest();
        bench
    }

    /// One that sends no unit, with a check weight shown and a job opened.
    fn silent() -> Self {
        let mut bench = Self::new(false, Some("50 g F2"));
        bench.check();
        bench.open();
        bench
    }

    fn state(&self) -> &State {
        self.core.state()
    }

    fn job(&self) -> &Job {
        self.state().job().unwrap()
    }

    fn open(&mut self) {
        let opened = opened("0.01 g".parse().unwrap());
        self.order(Order::Open(Box::new(opened))).unwrap();
    }

    fn event(&mut self, event: Event<'_>) {
        let records = self.core.event(event, self.now());
        self.records.extend(records);
    }

    fn now(&self) -> Moment {
        Moment::after_origin(std::time::Duration::from_millis(self.ms))
    }

    fn order(&mut self, order: Order) -> Result<String, Trouble> {
        let records = self.core.order_and_mean_it(order, self.now());
        self.records.extend(records);
        self.core.answer.take().unwrap()
    }

    /// One line that shows this.
    fn line(&mut self, number: f64) {
        self.ms += 100;
        let digits = format!("{number:.2}");
        let shown = if self.states_unit {
            Shown::Weighed(format!("{digits} g").parse().unwrap())
        } else {
            Shown::UnitUnstated(digits.parse().unwrap())
        };
        let reading = Reading {
            shown,
            status: Status::Unsaid,
        };
        self.event(Event::Line { reading, raw: b"" });
    }

    /// What is on the pan stays there for two seconds.
    fn rest(&mut self) {
        for _ in 0..20 {
            self.line(self.on_pan);
        }
    }

    /// The display shows this at once, as after a key.
    fn key(&mut self, number: f64) {
        self.on_pan = number;
        self.rest();
    }

    /// A load is put on or taken off, and settles.
    fn bring(&mut self, to: f64) {
        let from = self.on_pan;
        for share in [0.3717, 0.7129, 0.9311, 0.9893] {
            self.line(from + (to - from) * share);
        }
        self.on_pan = to;
        self.rest();
    }

    /// The check weight beside what lies there, which the display shows in grams.
    fn check(&mut self) {
        let before = self.on_pan;
        self.order(Order::CheckWeight { weight: None }).unwrap();
        self.rest();
        self.bring(before + 50.0);
        self.bring(before);
        assert!(!self.state().is_checking());
        assert_eq!(self.state().guard().verdict(), Verdict::Agreed);
    }

    fn load(&mut self, order: Order, shown: f64) {
        self.order(order).unwrap();
        self.rest();
        self.bring(self.on_pan + shown);
    }

    fn masses(&self) -> Vec<String> {
        let weighed = self.job().weighed.iter();
        weighed
            .map(|weighed| weighed.captured.mass.to_string())
            .collect()
    }

    fn doubts(&self) -> Vec<(String, UnitDoubt)> {
        self.job()
            .unproven()
            .map(|(weighed, doubt)| (weighed.captured.mass.to_string(), doubt))
            .collect()
    }

    fn doubts_recorded(&self) -> usize {
        let doubts = |(_, record): &&(u64, Record)| matches!(record, Record::Doubt {});
        self.records.iter().filter(doubts).count()
    }

    /// Closes at the second asking; the code of the refusal, and the statement.
    fn close(&mut self) -> (Option<&'static str>, String) {
        match self.order(Order::Close) {
            Ok(statement) => (None, statement),
            Err(trouble) => (Some(trouble.code), self.order(Order::Close).unwrap()),
        }
    }
}

#[test]
fn a_check_weight_beside_the_button_proves_the_job_and_one_alone_does_not() {
    for is_beside in [true, false] {
        let mut bench = Bench::silent();
        bench.load(lot(), 20.0);
        bench.bring(0.0);
        bench.load(Order::Button, 19.9);
        assert_eq!(bench.doubts().len(), 2);
        if !is_beside {
            bench.bring(0.0);
        }
        bench.check();
        let doubts = bench.doubts();
        if is_beside {
            assert_eq!(doubts, []);
        } else {
            let alone = |mass: &str| (mass.to_owned(), UnitDoubt::NotBeside);
            assert_eq!(doubts, [alone("20.00 g"), alone("19.90 g")]);
            // Asked for; and the button that is put back does it.
            let refused = bench.order(Order::Close).unwrap_err();
            assert_eq!(refused.code, "check-weight-due");
            bench.order(Order::CheckWeight { weight: None }).unwrap();
            bench.rest();
            assert!(
                bench
                    .state()
                    .sentence()
                    .contains("Put the button on the pan")
            );
            bench.bring(19.9);
            assert!(bench.state().sentence().contains("beside the button"));
            bench.bring(69.9);
            bench.bring(19.9);
            assert_eq!(bench.doubts(), []);
        }
        let (_, statement) = bench.close();
        assert!(!statement.contains("The unit of"), "{statement}");
        // The file says the same.
        let again = Job::replay(bench.records.clone()).unwrap();
        assert_eq!(again.unproven().count(), 0);
    }
}

#[test]
fn without_a_button_every_mass_is_unproven_and_the_statement_says_so() {
    let mut bench = Bench::silent();
    bench.load(lot(), 20.0);
    bench.bring(0.0);
    bench.check();
    assert_eq!(
        bench.doubts(),
        [("20.00 g".to_owned(), UnitDoubt::NoButton)]
    );
    let (refused, statement) = bench.close();
    assert_eq!(refused, Some("job-unfinished"));
    assert!(
        statement.contains("The unit of 20.00 g is not proven"),
        "{statement}"
    );
}

#[test]
fn a_button_unlike_its_melt_stands_when_the_weight_agrees_and_the_job_before_it_is_in_doubt() {
    let mut bench = Bench::silent();
    // The lot was weighed in carats: pressed on the empty pan, and back on the empty pan.
    bench.load(lot(), 100.0);
    bench.bring(0.0);
    bench.load(Order::Button, 19.9);
    assert!(matches!(
        bench.state().guard().verdict(),
        Verdict::Conflict(_)
    ));
    assert_eq!(bench.masses(), ["100.00 g"]);
    bench.check();
    bench.rest();
    assert_eq!(bench.masses(), ["100.00 g", "19.90 g"], "it stands");
    assert_eq!(bench.doubts(), [("100.00 g".to_owned(), UnitDoubt::Seen)]);
    assert_eq!(bench.doubts_recorded(), 1);
    let (refused, statement) = bench.close();
    assert!(refused.is_some());
    assert!(
        statement.contains("The unit of 100.00 g is not proven"),
        "{statement}"
    );

    // Shown with the button taken off, the weight leads on as well.
    let mut bench = Bench::silent();
    bench.load(lot(), 100.0);
    bench.bring(0.0);
    bench.load(Order::Button, 19.9);
    bench.bring(0.0);
    bench.check();
    // The button was on the pan before; that it is off is said.
    bench.order(Order::Answer(PanAnswer::Anew)).unwrap();
    bench.rest();
    bench.bring(19.9);
    assert_eq!(bench.masses(), ["100.00 g", "19.90 g"]);
    assert_eq!(bench.doubts().len(), 2);
}

#[test]
fn what_counts_from_a_doubted_number_is_begun_anew() {
    let mut bench = Bench::silent();
    bench.load(lot(), 20.0);
    bench.bring(0.0);
    // A dish of 10 g, which the balance already shows in carats.
    bench.bring(50.0);
    bench.order(lot()).unwrap();
    bench.rest();
    // Back into grams, and the check weight says that it is so.
    bench.key(10.0);
    assert!(matches!(
        bench.state().guard().verdict(),
        Verdict::Conflict(_)
    ));
    bench.check();
    assert_eq!(bench.state().pan_question(), Some(PanQuestion::BaseDoubted));
    bench.bring(70.0);
    assert_eq!(bench.masses(), ["20.00 g"], "60 g were put on, not 20");
    bench.bring(10.0);
    bench.order(Order::Answer(PanAnswer::Anew)).unwrap();
    bench.rest();
    assert_eq!(bench.state().pan_question(), None);
    bench.bring(70.0);
    assert_eq!(bench.masses(), ["20.00 g", "60.00 g"]);
}

#[test]
fn a_pan_that_was_zeroed_or_lost_its_dish_after_a_load_has_a_way_on() {
    for states_unit in [true, false] {
        let begin = |base: f64| {
            let mut bench = Bench::new(states_unit, Some("50 g F2"));
            if !states_unit {
                bench.check();
            }
            bench.bring(base);
            bench.open();
            if base < 0.0 {
                // Less than nothing is counted from only when that is said.
                bench.order(lot()).unwrap();
                bench.rest();
                bench.order(Order::Answer(PanAnswer::Anew)).unwrap();
                bench.rest();
                bench.bring(base + 20.0);
            } else {
                bench.load(lot(), 20.0);
            }
            bench.order(lot()).unwrap();
            bench
        };
        // A dish that was tared stood beside the pan; zeroed with the lot already off.
        let mut bench = begin(-35.2);
        bench.line(-20.0);
        bench.key(0.0);
        bench.bring(12.0);
        assert_eq!(bench.masses(), ["20.00 g", "12.00 g"], "{states_unit}");
        // A dish that is lifted with the lot may come back; that it does not is asked about.
        let mut bench = begin(23.1);
        bench.bring(0.0);
        assert_eq!(bench.state().pan_question(), Some(PanQuestion::NotEmptied));
        assert!(
            !bench.state().holds().any_announced(),
            "it may be on its way"
        );
        for _ in 0..3 {
            bench.rest();
        }
        let told = bench.state().sentence();
        assert!(told.contains("what is there now"), "{told}");
        bench.order(Order::Answer(PanAnswer::Anew)).unwrap();
        bench.rest();
        bench.bring(12.0);
        assert_eq!(bench.masses(), ["20.00 g", "12.00 g"], "{states_unit}");
        // The dish itself is no lot.
        let mut bench = begin(23.1);
        bench.bring(0.0);
        bench.bring(23.1);
        bench.bring(35.1);
        assert_eq!(bench.masses(), ["20.00 g", "12.00 g"], "{states_unit}");
    }
}

#[test]
fn a_rest_that_is_the_old_one_in_another_unit_holds_also_when_nothing_is_ordered() {
    let mut bench = Bench::silent();
    bench.bring(23.1);
    bench.load(lot(), 10.0);
    // Pressed with the load on its way off.
    for shown in [30.0, 26.0, 121.0, 117.0] {
        bench.line(shown);
    }
    bench.key(115.5);
    assert!(matches!(
        bench.state().guard().verdict(),
        Verdict::Conflict(_)
    ));
    assert_eq!(bench.doubts_recorded(), 1);
    bench.key(23.1);
    bench.check();
    // Its load may be as many times as heavy.
    let mut bench = Bench::silent();
    bench.bring(10.0);
    bench.load(lot(), 40.0);
    bench.rest();
    assert_eq!(bench.state().guard().verdict(), Verdict::Agreed);
}

#[test]
fn keys_pressed_two_or_three_times_in_a_row_hold() {
    for shown in [
        &[100.0, 100.0, 12.86][..],
        &[100.0, 12.86],
        &[100.0, 12.86, 308.65],
        &[12.86, 12.86, 308.65, 308.65, 100.0],
    ] {
        let mut bench = Bench::silent();
        bench.load(lot(), 20.0);
        for number in shown {
            bench.line(*number);
        }
        bench.key(shown[shown.len() - 1]);
        let verdict = bench.state().guard().verdict();
        assert!(matches!(verdict, Verdict::Conflict(_)), "{shown:?}");
    }
}

#[test]
fn a_check_weight_that_failed_is_told_of_without_any_in_the_settings() {
    let mut bench = Bench::new(true, None);
    let weight = "50 g F2".parse().ok();
    bench.order(Order::CheckWeight { weight }).unwrap();
    bench.rest();
    bench.bring(50.2);
    bench.bring(0.0);
    assert!(bench.state().failed_check().is_some());
    let opened = opened("0.01 g".parse().unwrap());
    let told = bench.order(Order::Open(Box::new(opened))).unwrap();
    assert!(
        told.contains("is shown as 50.20 g, outside its limits"),
        "{told}"
    );
    bench.load(lot(), 20.0);
    let (_, statement) = bench.close();
    assert!(statement.contains("is shown as 50.20 g"), "{statement}");
    // One that agrees ends it.
    bench.bring(0.0);
    bench.order(Order::CheckWeight { weight }).unwrap();
    bench.rest();
    bench.bring(50.0);
    bench.bring(0.0);
    assert_eq!(bench.state().failed_check(), None);
}

#[test]
fn a_balance_that_ceases_to_state_its_unit_is_led_on_by_a_check_weight() {
    let mut bench = Bench::new(true, Some("50 g F2"));
    bench.open();
    bench.order(lot()).unwrap();
    bench.states_unit = false;
    for _ in 0..20 {
        bench.rest();
    }
    assert!(bench.state().wants_check_weight());
    bench.check();
    bench.rest();
    bench.bring(20.0);
    assert_eq!(bench.masses(), ["20.00 g"]);
}
