//! Metal on the pan that is in no record: told at once, recorded by one order, asked about before
//! anything becomes final; and what was set aside is neither counted twice nor left out.

use serde_json::Value;

use crate::support::desk::{Desk, Window, g, shown};

fn main_action(view: &Value) -> &Value {
    let first = &view["actions"][0];
    assert_eq!(first["main"], true, "{view:#}");
    first
}

/// A desk with a lot of 5.00 g recorded, which still lies on the pan.
fn with_a_lot() -> Desk {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.ok(&["lot", "916", "fire-assay"]);
    desk.ready();
    let mark = desk.follower.mark();
    desk.put(g("5.00"));
    desk.follower.bell(mark, "recorded");
    desk
}

fn is_loose(view: &Value) -> bool {
    view["hold"]["cause"] == "pan"
}

#[test]
fn metal_laid_on_a_recorded_lot_is_told_at_once_and_recorded_by_one_order() {
    let desk = with_a_lot();
    let mark = desk.follower.mark();
    desk.put(g("4.87"));
    let bell = desk.follower.bell(mark, "hold");
    let text = bell["text"].as_str().unwrap();
    assert!(
        text.contains("4.87 grams more") && text.contains("lot 1"),
        "{bell}"
    );
    let view = desk.until("it holds", is_loose);
    let main = main_action(&view);
    assert_eq!(main["action"], "reweigh");
    assert_eq!(main["mass"], "9.87 g");
    desk.say(&["add"]).is_refused("4.87 grams more");
    let asked = desk.say(&["button"]);
    assert!(asked.err.contains("4.87 grams") && asked.err.contains("--confirm"));
    // The next lot waits until the pan is empty, and this one can still be put right.
    desk.ok(&["lot", "750", "fire-assay"]);
    let said = desk.ok(&["reweigh"]);
    assert!(said.contains("9.87 grams"), "{said}");
    desk.until("it goes on", |view| view["hold"].is_null());
    desk.empty();
    desk.ready();
    let mark = desk.follower.mark();
    desk.put(g("2.00"));
    desk.follower.bell(mark, "recorded");
    let standing: Vec<String> = desk
        .home
        .job("T-1")
        .standing()
        .map(|weighed| weighed.captured.mass.to_string())
        .collect();
    assert_eq!(standing, ["9.87 g", "2.00 g"]);
    desk.verify();
}

#[test]
fn metal_taken_off_a_recorded_lot_is_told_and_when_it_is_back_nothing_is_left_to_ask() {
    let desk = with_a_lot();
    desk.place(g("3.00"));
    let view = desk.until("it holds", is_loose);
    let why = view["hold"]["why"].as_str().unwrap();
    assert!(why.contains("2.00 grams less"), "{why}");
    assert_eq!(main_action(&view)["mass"], "3.00 g");
    desk.place(g("5.00"));
    desk.until("it goes on", |view| view["hold"].is_null());
    desk.empty();
    let asked = desk.say(&["close"]);
    assert!(!asked.err.contains("no record"), "{asked:?}");
}

#[test]
fn what_was_told_and_not_put_right_is_asked_again_before_it_becomes_final() {
    let mut desk = with_a_lot();
    desk.put(g("4.87"));
    desk.until("it holds", is_loose);
    desk.empty();
    desk.until("the hold is gone", |view| view["hold"].is_null());
    desk.say(&["reweigh"]).is_refused("does not lie on the pan");
    let told = "4.87 grams lay on the pan beside lot 1";
    for order in [&["button"][..], &["close"]] {
        let asked = desk.say(order);
        assert!(asked.err.contains(told), "{order:?}: {asked:?}");
    }
    // A new process knows it from the file.
    desk.kill();
    desk.start_again();
    desk.until("the balance talks", |view| view["link"] == "talking");
    let asked = desk.say(&["close"]);
    assert!(asked.err.contains(told), "{asked:?}");
}

#[test]
fn metal_laid_on_while_the_service_was_away_is_told_when_it_is_back() {
    let mut desk = with_a_lot();
    desk.kill();
    desk.put(g("1.30"));
    desk.start_again();
    let view = desk.until("it holds", is_loose);
    assert!(
        view["hold"]["why"]
            .as_str()
            .unwrap()
            .contains("1.30 grams more"),
        "{view:#}"
    );
}

#[test]
fn an_addition_that_was_set_aside_is_weighed_on_from_where_it_was_counted_from() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "40.00");
    let window = desk.add(&[]);
    desk.put(g("4.50"));
    desk.at_rest("4.50 g");
    desk.say(&["take"]).ends(3);
    let said = desk.ok(&["withdraw"]);
    assert!(said.contains("4.50 g"), "{said}");
    let view = desk.view();
    let sentence = view["sentence"].as_str().unwrap();
    assert!(
        sentence.contains("4.50 grams") && sentence.contains("set aside"),
        "{sentence}"
    );
    let again = desk.add(&[]);
    assert_eq!(again, window, "the same melt, the same window");
    let view = desk.ready();
    assert_eq!(view["pan"]["net"], "4.50 g", "{view:#}");
    let mark = desk.follower.mark();
    desk.place(again.aim);
    desk.follower.bell(mark, "recorded");
    let last = desk.home.captures("T-1").pop().unwrap();
    assert_eq!(last.mass.mass(), again.aim, "all of it, once");
    desk.verify();
}

#[test]
fn a_lot_of_a_wrong_fineness_is_set_aside_and_recorded_anew_as_it_lies_there() {
    let desk = with_a_lot();
    desk.ok(&["withdraw"]);
    let mark = desk.follower.mark();
    desk.ok(&["lot", "750", "fire-assay"]);
    desk.follower.bell(mark, "recorded");
    let job = desk.home.job("T-1");
    let lots: Vec<_> = job
        .lots()
        .map(|(lot, taken)| (lot.captured.mass.to_string(), taken.to_string()))
        .collect();
    assert_eq!(lots, [("5.00 g".to_owned(), "750 ‰".to_owned())]);
    // Metal of another kind is not counted from there: what was set aside has to leave the pan.
    desk.ok(&["withdraw"]);
    desk.ok(&["lot", "750", "fire-assay"]);
    desk.until("recorded", |view| view["weighing"].is_null());
}

#[test]
fn a_button_waits_until_the_metal_that_was_weighed_out_is_off_the_pan() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.lot("916", "fire-assay", "20.00");
    let copper = desk.add_at_aim(&[]);
    let said = desk.ok(&["button"]);
    assert!(said.contains("Empty the pan"), "{said}");
    desk.place(g("0.00"));
    desk.ready();
    let mark = desk.follower.mark();
    desk.place(g("20.00") + copper);
    desk.follower.bell(mark, "recorded");
    let last = desk.home.captures("T-1").pop().unwrap();
    assert_eq!(last.mass.to_string(), shown(g("20.00") + copper));
}

#[test]
fn a_weighing_begun_by_mistake_is_left_and_an_order_for_another_ticket_is_refused() {
    let desk = Desk::new();
    desk.open("T-1", &["fine-copper"]);
    desk.ok(&["lot", "916", "fire-assay"]);
    desk.ready();
    desk.ok(&["leave"]);
    assert!(desk.view()["weighing"].is_null());
    desk.say(&["leave"]).is_refused("No weighing is under way");
    desk.say(&["lot", "917", "fire-assay", "--ticket", "TRAP-2"])
        .is_refused("ticket T-1 is open");
    assert!(desk.home.masses("T-1").is_empty());
    desk.lot("916", "fire-assay", "20.00");
    let n = desk.view()["job"]["weighed"][0]["n"].as_u64().unwrap();
    desk.lot("916", "fire-assay", "3.00");
    desk.say(&["withdraw", "--capture", &n.to_string()])
        .is_refused("another mass by now");
    let _window: Window = desk.add(&["--ticket", "T-1"]);
    desk.ok(&["leave"]);
}
