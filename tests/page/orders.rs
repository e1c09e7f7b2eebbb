//! Every order that the service takes can be given from the page alone.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::stage::Stage;
use crate::support::desk::{Window, g};

/// The orders in a job's file that the page gave, as the page sent them.
fn sent(stage: &Stage) -> Vec<Value> {
    let sent = stage.page.run("return window.sent", Value::Null);
    sent.as_array().unwrap().clone()
}

/// Takes up an order and says yes to what it asks, if it asks; waits until the service has it.
fn given(stage: &Stage, action: &str) {
    let before = sent(stage).len();
    stage.take_up(action);
    stage.page.until(
        &format!("{action} is sent, or asks"),
        "return window.sent.length > arguments[0] || document.querySelector('dialog[data-ready]') !== null",
        &before.into(),
    );
    if sent(stage).len() == before {
        stage.send();
    }
    done(stage, before, action);
}

fn done(stage: &Stage, before: usize, action: &str) {
    stage.page.until(
        &format!("{action} is answered"),
        "return window.sent.length > arguments[0] && window.sent.every((it) => it.status)",
        &before.into(),
    );
    let last = sent(stage).pop().unwrap();
    assert_eq!(last["status"], 200, "{action}: {last:#}");
}

/// Empties the pan, and presses the balance's own key until it shows nothing.
fn emptied(stage: &Stage) {
    stage.desk.place(panbell::mass::Mass::ZERO);
    stage
        .desk
        .until("the pan rests", |view| view["pan"]["steady"] == true);
    stage.desk.balance.press_tare().unwrap();
    stage.desk.at_rest("0.00 g");
}

/// Fills the field of this label on the sheet that is open.
fn fill(stage: &Stage, label: &str, text: &str) {
    stage.page.run(
        "const it = [...document.querySelectorAll('dialog .line')].find((it) => it.firstChild.textContent.startsWith(arguments[0][0])); it.querySelector('input').value = arguments[0][1]",
        json!([label, text]),
    );
}

/// Opens the sheet of an order, does what is to be done on it, sends it.
fn told(stage: &Stage, action: &str, how: impl FnOnce()) {
    let before = sent(stage).len();
    stage.take_up(action);
    stage.page.until(
        "its sheet is open",
        "return document.querySelector('dialog[data-ready]') !== null",
        &Value::Null,
    );
    // What is fetched for it is there.
    stage.page.until(
        "all of it is there",
        "return !document.querySelector('dialog').textContent.includes('being reckoned')",
        &Value::Null,
    );
    how();
    stage.send();
    done(stage, before, action);
}

#[test]
#[allow(clippy::too_many_lines)] // every order there is
fn every_order_that_the_service_takes_can_be_given_from_the_page() {
    let stage = Stage::set();
    stage.page.run(crate::walk::LISTEN, Value::Null);
    let desk = &stage.desk;
    let kept = |view: &Value| {
        let list = view["job"]["weighed"].as_array().unwrap().clone();
        list.into_iter()
            .filter(|it| it["withdrawn"] == false)
            .count()
    };

    told(&stage, "open", || fill(&stage, "Ticket", "E-1"));
    // A lot of a basis and with words of its own, begun, left, begun again, taken, more laid on.
    for left in [true, false] {
        told(&stage, "lot", || {
            fill(&stage, "Fineness", "585");
            stage.choose(if left { "Stamp, old" } else { "Fire assay" });
            fill(&stage, "A few words", "a ring");
        });
        if left {
            given(&stage, "leave");
        }
    }
    desk.ready();
    desk.put(g("20.00"));
    desk.until("it is recorded", |view| kept(view) == 1);
    desk.put(g("1.00"));
    given(&stage, "reweigh");
    desk.until("it is more", |view| {
        view["job"]["weighed"].as_array().unwrap().last().unwrap()["mass"] == "21.00 g"
    });
    desk.empty();
    told(&stage, "lot", || {
        fill(&stage, "Fineness", "916");
        stage.choose("XRF");
        fill(&stage, "Known to", "0.8");
    });
    desk.ready();
    desk.put(g("2.00"));
    desk.until("it is recorded", |view| kept(view) == 2);
    stage.take_up("withdraw");
    stage.until_asked("withdraw");
    stage.page.click("[data-offer=withdraw]");
    desk.until("it is set aside", |view| kept(view) == 1);
    desk.empty();

    // Planned, the next left out, nothing planned, a metal that was not.
    told(&stage, "plan", || {
        stage.choose("My own choice, below");
        stage.page.click("[aria-label='More fine gold']");
        stage.page.click("[aria-label='More fine silver']");
        stage.page.click("[aria-label='More fine gold']");
    });
    desk.until("two are planned", |view| {
        view["job"]["to_come"].as_array().unwrap().len() == 2
    });
    given(&stage, "plan-without");
    desk.until("one is left", |view| {
        view["job"]["to_come"].as_array().unwrap().len() == 1
    });
    told(&stage, "plan", || stage.choose("Nothing: melt it as it is"));
    desk.until("none is left", |view| {
        view["job"]["to_come"].as_array().unwrap().is_empty()
    });
    told(&stage, "add-other", || {
        stage.choose("Another");
        fill(&stage, "Its fineness", "916");
    });
    given(&stage, "leave");
    told(&stage, "plan", || {
        stage.choose("My own choice, below");
        stage.page.click("[aria-label='More fine gold']");
    });
    // The dish is lifted in the middle, the tare key pressed, all of it taken off.
    let empty = panbell::mass::Mass::ZERO;
    for answer in ["back", "tared", "anew"] {
        given(&stage, "add");
        desk.ready();
        desk.put(g("1.00"));
        desk.at_rest("1.00 g");
        desk.until_noted("1.00 g");
        match answer {
            "back" => desk.place(g("-12.00")),
            "tared" => desk.balance.press_tare().unwrap(),
            _ => desk.place(empty),
        }
        given(&stage, answer);
        if answer == "back" {
            desk.place(g("1.00"));
            desk.at_rest("1.00 g");
        }
        if answer != "anew" {
            desk.place(empty);
            given(&stage, "anew");
        }
        given(&stage, "leave");
        emptied(&stage);
    }
    given(&stage, "add");
    let window = Window::of(&desk.ready());
    desk.put(window.lower - g("0.50"));
    given(&stage, "take");
    desk.until("it is taken", |view| kept(view) == 2);
    // Metal that nobody counts, and the melt: it asks.
    desk.put(g("0.40"));
    desk.until("it is told", |view| view["hold"]["cause"] == "pan");
    told(&stage, "button", || {
        assert!(stage.page.text("dialog .asks").contains("0.40"));
    });
    emptied(&stage);
    desk.ready();
    desk.put(g("25.00"));
    desk.until("it is recorded", |view| kept(view) == 3);
    emptied(&stage);
    for way in ["Hung from the balance", "Vessel on the pan"] {
        if way.starts_with("Vessel") {
            desk.put(g("60.00"));
            desk.at_rest(&crate::support::desk::shown(desk.on_pan()));
        }
        told(&stage, "proof", || {
            stage.choose(way);
            stage.page.click("dialog summary");
            stage
                .page
                .click("[aria-label='Air, degrees Celsius: more']");
        });
        given(&stage, "leave");
    }
    emptied(&stage);
    told(&stage, "assay", || {
        fill(&stage, "Fineness found", "751.2");
        fill(&stage, "Known to", "0.3");
    });
    // A lot after the button: it asks on its sheet.
    told(&stage, "lot", || {
        assert!(stage.page.text("dialog .asks").contains("melted together"));
        fill(&stage, "Fineness", "750");
    });
    given(&stage, "leave");
    told(&stage, "check-weight", || {
        fill(&stage, "Mass of the weight", "20");
        stage.choose("F1");
    });
    assert!(
        desk.view()["sentence"]
            .as_str()
            .unwrap()
            .contains("20 g F1")
    );
    given(&stage, "leave");
    told(&stage, "close", || {});
    stage.until_sheet("Statement");

    let sent = sent(&stage);
    let bodies: Vec<&Value> = sent.iter().map(|it| &it["body"]).collect();
    let has = |what: Value| {
        let wanted = what.as_object().unwrap();
        let found = bodies
            .iter()
            .any(|body| wanted.iter().all(|(name, value)| body[name] == *value));
        assert!(found, "{what} in {bodies:#?}");
    };
    has(json!({"order": "lot", "fineness": "585", "basis": "stamp:old", "note": "a ring"}));
    has(json!({"order": "lot", "fineness": "916", "basis": "xrf:0.8"}));
    has(json!({"order": "plan", "add": []}));
    has(
        json!({"order": "plan", "add": [{"metal": "fine-gold", "share": "2"}, {"metal": "fine-silver", "share": "1"}]}),
    );
    has(json!({"order": "add", "metal": "916"}));
    has(json!({"order": "proof", "way": "hung", "air_celsius": "20.5"}));
    has(json!({"order": "proof", "way": "displaced"}));
    has(json!({"order": "assay", "fineness": "751.2", "basis": "fire-assay:0.3"}));
    has(json!({"order": "check-weight", "weight": "20 g F1"}));
    // Every one says what it was given on, and has an id of its own.
    let ids: BTreeSet<&str> = bodies
        .iter()
        .map(|body| body["on"]["id"].as_str().unwrap())
        .collect();
    assert_eq!(ids.len(), bodies.len());
    for body in &bodies {
        assert_eq!(body["on"]["seen"].as_str().unwrap().len(), 8, "{body}");
        assert_eq!(
            body["on"]["ticket"] == "E-1",
            body["order"] != "open",
            "{body}"
        );
    }
    stage.no_complaints();
}
