//! The whole job from the page: with the mouse, by keys alone, on a phone.

use panbell::mass::Unit;
use serde_json::{Value, json};

use crate::driver::PHONE;
use crate::stage::{Stage, address, is_within_width};
use crate::support::desk::{Window, g, mass, shown};

const BACKSPACE: &str = "\u{e003}";
const ENTER: &str = "\u{e007}";

#[test]
#[allow(clippy::too_many_lines)] // one job, from its ticket to its statement
fn with_the_mouse_with_a_mix_up_of_units_and_too_much_in_the_middle() {
    let stage = Stage::set();
    let page = &stage.page;
    stage.picture("10-no-ticket");
    assert!(page.text("#sentence").starts_with("No job is open"));

    stage.take_up("open");
    stage.until_sheet("A new ticket");
    page.run(
        "document.querySelector('dialog[open] input').value = arguments[0]",
        "M-1".into(),
    );
    stage.choose("18k");
    stage.choose("Sheet");
    page.picture("11-ticket");
    stage.send();
    stage.until_likeliest("lot");
    assert_eq!(stage.steps()[0], "now");

    for (mark, basis, load) in [("916", "Fire assay", "14.86"), ("14k", "Stamp", "6.20")] {
        stage.take_up("lot");
        stage.until_sheet("The next lot");
        stage.choose(mark);
        stage.choose(basis);
        page.picture("12-lot");
        stage.send();
        stage.weigh(load);
        stage.desk.empty();
    }
    stage.until_likeliest("plan");
    assert_eq!(
        stage.steps(),
        json!(["done", "now", "to-come", "to-come", "to-come", "to-come"])
    );

    stage.take_up("plan");
    stage.until_sheet("What to add");
    page.picture("13-plan");
    assert!(
        page.text("dialog[open]").contains("Likeliest first"),
        "{}",
        page.text("dialog[open]")
    );
    // Both recipes warn of it.
    let warned = page.text("dialog[open]");
    assert_eq!(warned.matches("nothing is known").count(), 1, "{warned}");
    stage.choose("My own choice, below");
    page.click("[aria-label='More fine silver']");
    page.click("[aria-label='More fine copper']");
    stage.send();
    stage.until_likeliest("add");
    assert_eq!(
        stage.steps(),
        json!(["done", "done", "now", "to-come", "to-come", "to-come"])
    );
    stage.picture("14-planned");

    stage.take_up("add");
    let window = Window::of(&stage.desk.ready());
    stage.desk.put(window.aim - g("0.40"));
    stage.until_net(&shown(window.aim - g("0.40")));
    stage.picture("15-under");
    // Somebody's sleeve brushes the unit key.
    stage.desk.balance.press_unit(Unit::Carat).unwrap();
    page.until(
        "the hold covers the bench",
        "return !document.getElementById('cover').hidden",
        &Value::Null,
    );
    let held = page.text("#cover");
    assert!(
        held.contains("carats") && held.contains("Set the balance back to grams"),
        "{held}"
    );
    let covered = page.run(
        "const at = document.getElementById('net').getBoundingClientRect(); \
         return document.elementFromPoint(at.left + 5, at.top + 5)?.closest('#cover') !== null",
        Value::Null,
    );
    assert_eq!(covered, true, "the number can still be read");
    page.picture("16-hold");
    stage.desk.balance.press_unit(Unit::Gram).unwrap();
    stage.until_shown();

    stage.desk.place(window.upper + g("0.06"));
    page.until(
        "it is over",
        "return document.querySelector('.beam').dataset.side === 'over'",
        &Value::Null,
    );
    stage.picture("17-over");
    stage.desk.place(window.aim);
    page.until(
        "it is within",
        "return document.querySelector('.beam').dataset.side === 'within'",
        &Value::Null,
    );
    stage.until_likeliest("add");

    stage.take_up("add");
    let window = Window::of(&stage.desk.ready());
    stage.desk.put(window.aim);
    stage.until_likeliest("button");
    assert!(
        page.text("#cautions").contains("cadmium"),
        "{}",
        page.text("#cautions")
    );
    stage.desk.empty();
    stage.picture("19-melt");

    stage.take_up("button");
    let melt = stage.desk.view()["job"]["melt"]
        .as_str()
        .unwrap()
        .to_owned();
    stage.desk.ready();
    let mark = stage.desk.follower.mark();
    stage.desk.put(mass(&melt) - g("0.05"));
    stage.desk.follower.bell(mark, "recorded");
    stage.desk.empty();
    stage.until_likeliest("proof");

    stage.desk.place(g("60.00"));
    stage.desk.at_rest("60.00 g");
    stage.take_up("proof");
    stage.until_sheet("Prove the button in water");
    page.click("[aria-label='Water, degrees Celsius: more']");
    page.picture("20-proof");
    stage.send();
    stage.weigh("1.49");
    stage.until_likeliest("close");
    assert!(
        page.text("#sums").contains("g/cm³"),
        "{}",
        page.text("#sums")
    );

    stage.take_up("assay");
    stage.until_sheet("What an assay found");
    for digit in ["7", "5", "2", ".", "1"] {
        let key = "const key = [...document.querySelectorAll('dialog[open] .pad .key')].find((it) => it.textContent === arguments[0]); key.click()";
        page.run(key, digit.into());
    }
    stage.send();
    page.until(
        "the assay is told",
        "return document.getElementById('sums').textContent.includes('752.10')",
        &Value::Null,
    );

    stage.take_up("close");
    stage.until_sheet("Close the job");
    page.click("dialog[open] .foot .main");
    stage.until_sheet("Statement");
    let statement = page.text(".statement");
    for words in [
        "Ticket M-1",
        "Lot 1, 916",
        "752.10",
        "Fine gold in the melt",
    ] {
        assert!(statement.contains(words), "no \"{words}\" in {statement}");
    }
    page.picture("21-statement");
    page.click("dialog[open] .foot button");
    stage.until_likeliest("open");
    assert_eq!(
        stage.steps(),
        json!(["done", "done", "done", "done", "done", "done"])
    );
    assert_eq!(stage.desk.home.masses("M-1").len(), 6);
    stage.desk.verify();
    stage.no_complaints();
}

#[test]
#[allow(clippy::too_many_lines)] // the same by keys
fn by_keys_alone_as_a_foot_switch_types_them() {
    let stage = Stage::set();
    let page = &stage.page;
    stage.until_likeliest("open");
    page.press("n");
    stage.until_sheet("A new ticket");
    stage.tab_to("dialog input[maxlength='60']");
    page.press("K-7");
    page.press(ENTER);
    stage.until_no_sheet();
    stage.until_likeliest("lot");

    page.press(ENTER);
    stage.until_sheet("The next lot");
    stage.tab_to("dialog input[data-number]");
    page.press("916");
    page.press(ENTER);
    stage.until_no_sheet();
    stage.desk.ready();
    stage.desk.put(g("12.00"));
    stage.until_net("12.00 g");
    stage.until_likeliest("plan");
    assert_eq!(
        stage.desk.view()["job"]["weighed"]
            .as_array()
            .unwrap()
            .len(),
        1
    );

    // Backspace asks once, and forgets it was asked.
    stage.until_offered("withdraw");
    page.press(BACKSPACE);
    stage.until_asked("withdraw");
    assert_eq!(stage.desk.view()["job"]["weighed"][0]["withdrawn"], false);
    page.press(BACKSPACE);
    page.until(
        "it is struck through",
        "return document.querySelector('#weighed s')?.textContent === '12.00 g'",
        &Value::Null,
    );
    assert!(page.text("#weighed").contains("withdrawn"));
    page.picture("30-withdrawn");

    stage.desk.empty();
    stage.until_likeliest("lot");
    page.press("n");
    stage.until_sheet("The next lot");
    stage.tab_to("dialog input[data-number]");
    page.press("916");
    page.press(ENTER);
    stage.until_no_sheet();
    stage.weigh("12.50");
    stage.desk.empty();
    stage.until_likeliest("plan");
    page.press("n");
    stage.until_sheet("What to add");
    page.press(ENTER);
    stage.until_no_sheet();

    // The first recipe is planned: weigh out all of it, the first taken by Space before it is enough.
    let mut first = true;
    loop {
        let view = stage
            .desk
            .until("it has settled", |view| view["weighing"].is_null());
        if view["job"]["to_come"].as_array().unwrap().is_empty() {
            break;
        }
        stage.until_likeliest("add");
        let weighed = view["job"]["weighed"].as_array().unwrap().len();
        page.press("n");
        let window = Window::of(&stage.desk.ready());
        if std::mem::take(&mut first) {
            let little = window.lower - g("0.02");
            stage.desk.put(little);
            stage.desk.at_rest(&shown(stage.desk.on_pan()));
            stage.until_net(&shown(little));
            stage.until_offered("take");
            page.press(" ");
        } else {
            stage.desk.put(window.aim);
        }
        stage.desk.until("it is recorded", |view| {
            view["job"]["weighed"].as_array().unwrap().len() > weighed
        });
    }
    stage.desk.empty();
    stage.until_likeliest("button");
    page.press("n");
    stage.desk.ready();
    let melt = stage.desk.view()["job"]["melt"]
        .as_str()
        .unwrap()
        .to_owned();
    stage.desk.put(mass(&melt));
    stage.until_likeliest("assay");
    // In water it is weighed once the pan is empty.
    stage.desk.empty();
    stage.until_likeliest("proof");
    // Past the likeliest to another, by Tab: it keeps its own Enter.
    page.run(
        "document.querySelector('.offers .main').focus()",
        Value::Null,
    );
    stage.tab_to("[data-offer=close]");
    page.press(ENTER);
    stage.until_sheet("Close the job");
    page.press("n");
    stage.until_sheet("Statement");
    assert!(
        page.text(".statement").contains("Ticket K-7"),
        "{}",
        page.text(".statement")
    );
    stage.desk.verify();
    stage.no_complaints();
}

#[test]
fn on_a_phone_with_a_question_about_the_pan() {
    let stage = Stage::unopened();
    let page = &stage.page;
    page.screen(PHONE);
    page.go(&address(&stage.desk.home));
    stage.until_shown();
    let [lower, ..] = stage.adding();
    let poured = mass(&lower) - g("0.20");
    stage.desk.put(poured);
    stage.desk.at_rest(&shown(poured));
    stage.desk.until_noted(&shown(poured));
    stage.picture("40-phone-under");
    is_within_width(page);

    // The tare key is pressed in the middle of it.
    stage.desk.balance.press_tare().unwrap();
    page.until(
        "it asks",
        "return document.querySelectorAll('#hold-answers button').length === 3",
        &Value::Null,
    );
    page.picture("41-phone-question");
    let small = page.run(
        "return [...document.querySelectorAll('#hold-answers button, .tools button, .offers button')]\
          .filter((it) => it.offsetParent && (it.offsetWidth < 56 || it.offsetHeight < 56)).map((it) => it.textContent)",
        Value::Null,
    );
    assert_eq!(small, json!([]));
    stage.take_up("tared");
    stage.until_shown();
    // What was poured still counts.
    stage.until_net(&shown(poured));

    stage.take_up("take");
    stage.until_likeliest("add");
    stage.take_up("plan");
    stage.until_sheet("What to add");
    page.picture("42-phone-plan");
    page.click("dialog[open] .foot button");
    is_within_width(page);
    stage.no_complaints();
}
