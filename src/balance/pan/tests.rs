//! The pan, reading by reading.
#![allow(clippy::unwrap_used)]

use super::*;

fn g(text: &str) -> Indication {
    format!("{text} g").parse().unwrap()
}

struct Hand {
    pan: Pan,
    ms: u64,
}

impl Hand {
    fn new(base: Base) -> Self {
        let division: Division = "0.01 g".parse().unwrap();
        let mut pan = Pan::new(PanRules {
            division,
            steady: SteadyRule {
                span: division.mass(),
                time: Duration::from_millis(300),
            },
            tolerance: division.mass().times(3),
            least_load: division.mass().times(10),
        });
        pan.arm(base, Moment::default());
        Self { pan, ms: 0 }
    }

    fn now(&self) -> Moment {
        Moment::after_origin(Duration::from_millis(self.ms))
    }

    fn show(&mut self, text: &str) -> Tracked {
        self.ms += 100;
        self.pan.take(g(text), Status::Unsaid, self.now())
    }

    fn rest(&mut self, text: &str) -> Tracked {
        for _ in 0..4 {
            self.show(text);
        }
        self.show(text)
    }
}

#[test]
fn a_load_counts_from_what_was_on_the_pan_and_only_after_emptying() {
    let mut hand = Hand::new(Base::NextRest);
    hand.rest("23.10");
    assert!(!hand.pan.is_loaded());
    assert_eq!(hand.rest("35.56").net, Some(g("12.46")));
    assert!(hand.pan.is_loaded());
    hand.pan.arm(Base::AfterEmptying(g("23.10")), hand.now());
    assert_eq!(hand.rest("35.56").net, None);
    assert!(!hand.pan.is_loaded());
    hand.rest("23.11");
    assert_eq!(hand.rest("27.12").net, Some(g("4.01")));
}

#[test]
fn a_pan_at_rest_gives_its_base_at_once_and_an_old_reading_does_not() {
    let mut hand = Hand::new(Base::NextRest);
    hand.rest("23.10");
    assert_eq!(hand.pan.arm(Base::NextRest, hand.now()), Some(g("23.10")));
    assert_eq!(
        hand.show("23.60").net,
        Some(g("0.50")),
        "what is poured at once counts"
    );
    assert_eq!(hand.pan.arm(Base::NextRest, hand.now()), None, "it moves");
    hand.rest("23.60");
    hand.ms += 1500;
    assert_eq!(hand.pan.arm(Base::NextRest, hand.now()), None, "it is old");
}

#[test]
fn a_dish_lifted_and_put_back_goes_on_by_itself() {
    let mut hand = Hand::new(Base::NextRest);
    hand.rest("23.10");
    hand.rest("25.40");
    hand.show("11.00");
    hand.rest("0.00");
    assert!(hand.pan.is_low());
    hand.rest("25.41");
    assert!(!hand.pan.is_low());
    // Tared with the dish on it by the balance's own key: lifted, it shows less than zero.
    let mut hand = Hand::new(Base::NextRest);
    hand.rest("0.00");
    hand.rest("2.30");
    hand.show("-20.80");
    assert!(hand.pan.is_low());
    hand.rest("2.30");
    assert!(!hand.pan.is_low());
}

#[test]
fn the_tare_key_in_the_middle_is_not_mistaken_for_a_dish_put_back_by_pouring_on() {
    let mut hand = Hand::new(Base::NextRest);
    hand.rest("0.00");
    hand.rest("2.30");
    hand.show("0.00");
    assert!(hand.pan.is_low(), "at once, not when it comes to rest");
    for step in 1..=230 {
        hand.show(&format!("{}.{:02}", step / 100, step % 100));
    }
    hand.rest("2.30");
    assert!(
        hand.pan.is_low(),
        "the same mass again, but poured, is a second helping"
    );
    let base = hand.pan.tared_base().unwrap();
    assert_eq!(base, g("-2.30"));
    hand.pan.resume(Base::From(base), hand.pan.rest());
    let net = hand.pan.last().unwrap().net;
    assert_eq!(net, Some(g("4.60")), "at once, not with the next reading");
    assert_eq!(hand.rest("2.30").net, Some(g("4.60")));
}

#[test]
fn metal_that_was_falling_when_the_key_was_pressed_cannot_be_counted() {
    let mut hand = Hand::new(Base::NextRest);
    hand.rest("0.00");
    hand.show("0.90");
    hand.show("1.40");
    hand.show("0.00");
    assert!(hand.pan.is_low());
    assert_eq!(hand.pan.tared_base(), None);
    hand.pan.dish_is_back();
    assert_eq!(hand.rest("1.50").net, Some(g("1.50")));
}

#[test]
fn a_little_taken_off_is_ordinary() {
    let mut hand = Hand::new(Base::NextRest);
    hand.rest("0.00");
    hand.rest("2.30");
    hand.rest("1.95");
    assert!(!hand.pan.is_low());
    assert_eq!(hand.rest("2.10").net, Some(g("2.10")));
}

#[test]
fn metal_that_was_quicker_than_the_balance_is_asked_about() {
    let mut hand = Hand::new(Base::NextRest);
    hand.rest("23.10");
    hand.rest("28.10");
    hand.show("23.10");
    assert_eq!(hand.pan.arm_asking(Base::NextRest, hand.now()), None);
    hand.rest("25.40");
    assert_eq!(hand.pan.base(), Some(Base::NextRest));
    assert_eq!(hand.pan.doubted_base(), Some(g("25.40")));
    hand.rest("23.11");
    assert_eq!(hand.pan.base(), Some(Base::From(g("23.11"))), "as before");
    assert_eq!(hand.pan.doubted_base(), None);
    hand.show("30.00");
    hand.pan.arm_asking(Base::NextRest, hand.now());
    hand.rest("30.00");
    assert_eq!(
        hand.pan.base(),
        Some(Base::From(g("30.00"))),
        "at the order"
    );
}
