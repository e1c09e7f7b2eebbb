//! What happens on the pan in the middle of an addition: the tare key, a lifted dish, beginning
//! anew; and the same across a restart.

use panbell::job::{PanAnswer, Record};
use panbell::mass::Mass;

use crate::support::desk::{Desk, Window, g, shown};

/// A desk with a lot weighed and an addition begun on a pan that holds `dish`; its window.
fn adding(dish: Mass) -> (Desk, Window) {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "20.00");
    desk.place(dish);
    desk.at_rest(&shown(dish));
    let window = desk.add(&[]);
    (desk, window)
}

fn is_question(desk: &Desk, mark: usize) {
    let bell = desk.follower.bell(mark, "hold");
    let text = bell["text"].as_str().unwrap();
    assert!(
        text.contains("was the dish lifted, or the balance's tare key pressed?"),
        "{bell}"
    );
}

#[test]
fn the_tare_key_is_asked_about_and_the_true_mass_is_captured() {
    let (desk, window) = adding(Mass::ZERO);
    desk.put(g("1.50"));
    desk.at_rest("1.50 g");
    let mark = desk.follower.mark();
    desk.balance.press_tare().unwrap();
    is_question(&desk, mark);
    assert_eq!(desk.view()["hold"]["cause"], "pan");
    desk.say(&["take"]).is_refused("was the dish lifted");
    let said = desk.ok(&["answer", "tared"]);
    let left = shown(window.aim - g("1.50")).replace(" g", " grams");
    assert!(
        said.contains(&format!("Add {left} more of fine copper")),
        "{said}"
    );
    assert_eq!(desk.view()["pan"]["net"], "1.50 g");
    let mark = desk.follower.mark();
    desk.put(window.aim - g("1.50"));
    desk.follower.bell(mark, "recorded");
    assert_eq!(desk.home.masses("T-1")[1], shown(window.aim));
    let last = desk.home.captures("T-1").pop().unwrap();
    assert_eq!(
        (last.base.mass(), last.gross.mass()),
        (-g("1.50"), window.aim - g("1.50"))
    );
    desk.say(&["answer", "tared"]).is_refused("asks nothing");
}

#[test]
fn a_dish_lifted_and_put_back_goes_on_by_itself() {
    let (desk, window) = adding(g("23.10"));
    desk.put(g("1.50"));
    desk.at_rest("24.60 g");
    let with_metal = desk.on_pan();
    let mark = desk.follower.mark();
    desk.place(Mass::ZERO);
    is_question(&desk, mark);
    desk.place(with_metal);
    desk.follower.bell(mark, "resumed");
    assert_eq!(Window::of(&desk.view()), window);
    desk.put(window.aim - g("1.50"));
    desk.follower.bell(mark, "recorded");
    assert_eq!(desk.home.masses("T-1")[1], shown(window.aim));
}

#[test]
fn anew_forgets_what_was_poured_and_counts_from_what_lies_there() {
    let (desk, window) = adding(g("23.10"));
    desk.put(g("1.50"));
    desk.at_rest("24.60 g");
    let mark = desk.follower.mark();
    desk.place(g("5.00"));
    is_question(&desk, mark);
    desk.at_rest("5.00 g");
    desk.yes(&["answer", "anew"]).ends(0);
    desk.ready();
    assert_eq!(desk.view()["pan"]["net"], "0.00 g");
    let mark = desk.follower.mark();
    desk.put(window.aim);
    desk.follower.bell(mark, "recorded");
    let last = desk.home.captures("T-1").pop().unwrap();
    assert_eq!(last.mass.to_string(), shown(window.aim));
    assert_eq!(last.base.to_string(), "5.00 g");
    assert!(desk.home.records("T-1").iter().any(|(_, record)| matches!(
        record,
        Record::Answer {
            said: PanAnswer::Anew,
            ..
        }
    )));
}

#[test]
fn a_restart_in_the_middle_keeps_base_and_window() {
    for kill in [true, false] {
        let (mut desk, window) = adding(g("23.10"));
        desk.put(g("1.50"));
        desk.at_rest("24.60 g");
        // The record of this reading follows the reading by a moment.
        desk.until_noted("24.60 g");
        if kill {
            desk.kill();
        } else {
            desk.service.stop();
        }
        desk.start_again();
        let view = desk.at_rest("24.60 g");
        assert_eq!(view["pan"]["net"], "1.50 g");
        assert_eq!(Window::of(&view), window);
        let mark = desk.follower.mark();
        desk.put(window.aim - g("1.50"));
        desk.follower.bell(mark, "recorded");
        assert_eq!(
            desk.home.masses("T-1"),
            ["20.00 g".to_owned(), shown(window.aim)]
        );
        desk.verify();
    }
}

#[test]
fn a_balance_zeroed_while_the_service_was_away_is_asked_about() {
    let (mut desk, window) = adding(Mass::ZERO);
    desk.put(g("1.50"));
    desk.at_rest("1.50 g");
    desk.until_noted("1.50 g");
    desk.kill();
    desk.balance.press_tare().unwrap();
    desk.start_again();
    desk.until("the bench asks", |view| view["hold"]["cause"] == "pan");
    desk.ok(&["answer", "tared"]);
    assert_eq!(desk.at_rest("0.00 g")["pan"]["net"], "1.50 g");
    let mark = desk.follower.mark();
    desk.put(window.aim - g("1.50"));
    desk.follower.bell(mark, "recorded");
    assert_eq!(desk.home.masses("T-1")[1], shown(window.aim));
}
