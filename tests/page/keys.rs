//! One press does one thing: keys and taps that bounce, keys that are held, a second press that was meant for what
//! stood there before, a yes to what is not so any more, the keyboard's place through every redraw.

use serde_json::{Value, json};

use crate::driver::PHONE;
use crate::stage::Stage;
use crate::support::desk::g;
use crate::support::http;

const BACKSPACE: &str = "\u{e003}";
const ENTER: &str = "\u{e007}";
const SPACE: &str = " ";

/// Contacts of foot switches, closed and open by turns, in milliseconds: 12 to 150 of bouncing on the way down and up.
const BOUNCES: [&[u64]; 4] = [
    &[12, 12, 60],
    &[20, 30, 15, 40, 90, 12, 18],
    &[8, 60, 12, 70, 150],
    &[140, 12, 12, 80, 30],
];

/// Orders that the service was given, by their ids in the job's file, or how many there are.
fn orders(stage: &Stage, ticket: &str) -> usize {
    let text = std::fs::read_to_string(stage.desk.home.job_path(ticket)).unwrap_or_default();
    text.lines()
        .filter(|line| line.contains("\"order\":\""))
        .count()
}

fn withdrawn(stage: &Stage, ticket: &str) -> usize {
    let job = stage.desk.home.job(ticket);
    job.weighed.iter().filter(|it| it.withdrawn).count()
}

/// A moment in which nothing may happen: longer than anything of the page waits.
fn nothing_happens(stage: &Stage) {
    stage.page.wait_for(
        "await new Promise((done) => setTimeout(done, 700))",
        Value::Null,
    );
}

fn focused(stage: &Stage) -> Value {
    stage.page.run(
        "const it = document.activeElement; return it.dataset.offer ?? it.id",
        Value::Null,
    )
}

#[test]
fn a_key_that_bounces_or_is_held_is_one_press() {
    let stage = Stage::set();
    let page = &stage.page;
    // N opens the sheet, and does not send it.
    for bounce in BOUNCES {
        stage.until_likeliest("open");
        page.bounce("n", bounce);
        stage.until_sheet("A new ticket");
        nothing_happens(&stage);
        assert_eq!(page.text("dialog h2"), "A new ticket");
        assert!(stage.desk.view()["job"].is_null());
        page.press("\u{e00c}");
        stage.until_no_sheet();
    }
    page.hold_down("n", "KeyN", 20);
    stage.until_sheet("A new ticket");
    nothing_happens(&stage);
    assert!(stage.desk.view()["job"].is_null());
    // The bouncing key sends it once, and types nothing.
    page.bounce(ENTER, BOUNCES[1]);
    stage.until_no_sheet();
    let ticket = stage.desk.view()["job"]["ticket"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(!ticket.contains('n'), "{ticket}");
    stage.until_likeliest("lot");
    assert_eq!(page.text("#said-text"), "", "it was sent once more");
    assert_eq!(orders(&stage, &ticket), 1);

    stage.desk.lot("750", "stamp", "11.11");
    // Backspace asks, and nothing is set aside by the bounce.
    for bounce in BOUNCES {
        stage.until_offered("withdraw");
        page.bounce(BACKSPACE, bounce);
        stage.until_asked("withdraw");
        nothing_happens(&stage);
        assert_eq!(withdrawn(&stage, &ticket), 0);
        page.until(
            "it forgets",
            "return document.querySelector('[data-offer=withdraw].asked') === null",
            &Value::Null,
        );
    }
    page.hold_down("Backspace", "Backspace", 30);
    nothing_happens(&stage);
    assert_eq!(withdrawn(&stage, &ticket), 0);
    // Meant twice, it is done once.
    stage.until_asked("withdraw");
    page.bounce(BACKSPACE, BOUNCES[1]);
    page.until(
        "it is set aside",
        "return document.querySelector('#weighed s') !== null",
        &Value::Null,
    );
    assert_eq!(withdrawn(&stage, &ticket), 1);
    stage.no_complaints();
}

#[test]
fn a_foot_key_on_a_sheet_types_nothing_and_means_only_the_button_of_the_sheet() {
    let stage = Stage::set();
    let page = &stage.page;
    stage.desk.open("F-1", &[]);
    stage.until_likeliest("lot");
    page.press("n");
    stage.until_sheet("The next lot");
    // On "Not now" it sends nothing and closes nothing.
    page.run(
        "document.querySelector('dialog .foot button').focus()",
        Value::Null,
    );
    stage.between_presses();
    page.press("n");
    nothing_happens(&stage);
    assert_eq!(page.text("dialog h2"), "The next lot");
    // In the field of a number it types nothing; what is no fineness is refused, and the sheet stays.
    stage.tab_to("dialog input[data-number]");
    page.press("750");
    page.press("n");
    page.until(
        "it is sent",
        "return !document.querySelector('dialog')",
        &Value::Null,
    );
    stage.desk.until("the lot is expected", |view| {
        view["weighing"]["name"] == "lot 1 (750 ‰ by stamp)"
    });
    // In a field of words a letter is a letter.
    stage.until_offered("lot");
    page.click("[data-offer=lot]");
    stage.until_sheet("The next lot");
    stage.tab_to("dialog input[maxlength='200']");
    page.press("ring of n");
    nothing_happens(&stage);
    assert_eq!(
        page.run(
            "return document.querySelector(\"dialog input[maxlength='200']\").value",
            Value::Null
        ),
        "ring of n"
    );
    // No sheet lies over another.
    page.run("document.getElementById('set').click()", Value::Null);
    assert_eq!(
        page.run(
            "return document.querySelectorAll('dialog').length",
            Value::Null
        ),
        1
    );
}

#[test]
fn two_taps_on_a_tile_are_one_order() {
    let stage = Stage::unopened();
    let page = &stage.page;
    page.screen(PHONE);
    page.go(&crate::stage::address(&stage.desk.home));
    stage.until_shown();
    stage.desk.open("T-1", &["fine-silver"]);
    stage.desk.lot("916", "fire-assay", "14.86");
    for apart in [30, 120, 260] {
        stage.desk.ok(&["add"]);
        stage.desk.ready();
        stage.desk.put(g("0.50"));
        stage.until_offered("take");
        let before = orders(&stage, "T-1");
        page.tap("[data-offer=take]", 4, apart);
        stage
            .desk
            .until("it is taken", |view| view["weighing"].is_null());
        nothing_happens(&stage);
        assert_eq!(orders(&stage, "T-1"), before + 1, "{apart} ms apart");
        assert!(stage.desk.view()["weighing"].is_null());
        // Set aside again, by two taps that mean it.
        stage.until_offered("withdraw");
        page.tap("[data-offer=withdraw]", 1, 0);
        stage.until_asked("withdraw");
        page.tap("[data-offer=withdraw]", 1, 0);
        stage.desk.until("it is set aside", |view| {
            view["job"]["weighed"].as_array().unwrap().last().unwrap()["withdrawn"] == true
        });
        stage.desk.empty();
    }
}

#[test]
fn the_keyboard_stays_on_its_order_and_never_falls_onto_another() {
    let stage = Stage::set();
    let page = &stage.page;
    stage.desk.open("K-1", &["fine-silver"]);
    stage.desk.lot("916", "fire-assay", "14.86");
    stage.desk.lot("750", "fire-assay", "5.00");
    stage.until_likeliest("add");
    page.run(
        "document.querySelector('.offers .main').focus()",
        Value::Null,
    );
    stage.tab_to("[data-offer=withdraw]");
    // It asks, is drawn anew, and keeps the keyboard.
    page.press(ENTER);
    stage.until_asked("withdraw");
    assert_eq!(focused(&stage), "withdraw");
    page.press(ENTER);
    page.until(
        "it is set aside",
        "return document.querySelectorAll('#weighed s').length === 1",
        &Value::Null,
    );
    stage.until_offered("withdraw");
    assert_eq!(
        focused(&stage),
        "withdraw",
        "the next is offered under the same name"
    );
    assert!(
        stage.desk.view()["weighing"].is_null(),
        "the main step was done"
    );
    stage.between_presses();
    page.press(ENTER);
    stage.until_asked("withdraw");
    page.press(ENTER);
    page.until(
        "the other is set aside",
        "return document.querySelectorAll('#weighed s').length === 2",
        &Value::Null,
    );
    // Nothing is left to be set aside: the keyboard is on no order, and Enter and Space do nothing.
    stage.until_likeliest("lot");
    assert_eq!(focused(&stage), "next-says");
    for key in [ENTER, SPACE, ENTER] {
        stage.between_presses();
        page.press(key);
        nothing_happens(&stage);
        assert_eq!(
            page.run(
                "return document.querySelector('dialog') === null",
                Value::Null
            ),
            true
        );
    }
    // The state that is told anew by the pan does not move it either.
    page.run(
        "document.querySelector('[data-offer=lot]').focus()",
        Value::Null,
    );
    for load in ["1.00", "0.00", "2.00", "0.00"] {
        stage.desk.place(g(load));
        stage.desk.at_rest(&format!("{load} g"));
        stage.until_net(&format!("{load} g"));
        assert_eq!(focused(&stage), "lot");
    }
}

#[test]
fn a_yes_is_void_when_what_it_was_about_has_changed() {
    let stage = Stage::set();
    let page = &stage.page;
    stage.desk.open("Y-1", &[]);
    stage.desk.lot("750", "stamp", "11.11");
    stage.until_offered("withdraw");
    page.press(BACKSPACE);
    stage.until_asked("withdraw");
    assert!(page.text("[data-offer=withdraw]").contains("11.11 g"));
    // Another page, or a command, weighs a lot meanwhile.
    stage.desk.lot("585", "stamp", "7.77");
    stage.until_offered("withdraw");
    page.until("it is about the other", "return document.querySelector('[data-offer=withdraw]').textContent.includes('7.77 g') && !document.querySelector('.asked')", &Value::Null);
    stage.between_presses();
    page.press(BACKSPACE);
    stage.until_asked("withdraw");
    assert_eq!(withdrawn(&stage, "Y-1"), 0);
    page.press(BACKSPACE);
    stage.desk.until("the other is set aside", |view| {
        view["job"]["weighed"][1]["withdrawn"] == true
    });
    assert_eq!(stage.desk.view()["job"]["weighed"][0]["withdrawn"], false);
}

#[test]
fn a_sheet_says_what_is_so_now_and_goes_away_when_its_order_is_not_offered_any_more() {
    let stage = Stage::set();
    let page = &stage.page;
    stage.desk.open("G-1", &[]);
    stage.desk.lot("750", "fire-assay", "14.86");
    stage.desk.button(g("14.80"));
    stage.desk.empty();
    stage.desk.ok(&["assay", "752.1", "fire-assay"]);
    stage.take_up("close");
    stage.until_sheet("Close the job");
    assert_eq!(page.text("dialog .asks"), "");
    // The button is set aside elsewhere.
    stage.desk.ok(&["withdraw"]);
    page.until("it asks", "return document.querySelector('dialog .asks').textContent.includes('button') && document.querySelector('dialog .foot .main').textContent.startsWith('Yes')", &Value::Null);
    // A press that was on its way is none; one that has read it closes the job.
    page.run(
        "document.querySelector('dialog .foot .main').click()",
        Value::Null,
    );
    nothing_happens(&stage);
    assert_eq!(stage.desk.view()["job"]["open"], true);
    page.click("dialog .foot button");

    stage.take_up("lot");
    stage.until_sheet("The next lot");
    // Another page closes the job.
    let view = stage.desk.view();
    let close = view["actions"]
        .as_array()
        .unwrap()
        .iter()
        .find(|it| it["action"] == "close");
    let order = json!({"order": "close", "on": {"confirm": close.unwrap()["confirm"]}});
    let reply = http::order(&stage.desk.home.socket(), "left", &order.to_string()).unwrap();
    assert_eq!(reply.status, 200, "{reply:?}");
    stage
        .desk
        .until("the job is closed", |view| view["job"]["open"] == false);
    page.until("the sheet is put away", "return !document.querySelector('dialog') && document.getElementById('said-text').textContent.includes('put away')", &Value::Null);
}

#[test]
fn another_key_is_heard_only_while_it_is_asked_for_and_may_be_a_digit() {
    let stage = Stage::set();
    let page = &stage.page;
    page.click("#set");
    stage.until_sheet("Settings of this device");
    page.click("[aria-label='Another key for: Take the mass as it is']");
    page.click("dialog .foot button");
    stage.until_likeliest("open");
    // Closed: what is pressed now is no choice.
    page.press("q");
    let keys = "return JSON.parse(localStorage.getItem('panbell.settings') ?? '{}').keys ?? null";
    assert_eq!(page.run(keys, Value::Null), Value::Null);
    // A switch that types 1.
    page.click("#set");
    stage.until_sheet("Settings of this device");
    page.click("[aria-label='Another key for: Do the next step offered']");
    page.bounce("1", BOUNCES[0]);
    page.until(
        "it is chosen",
        "return [...document.querySelectorAll('dialog kbd')].at(-1).textContent === '1'",
        &Value::Null,
    );
    page.click("dialog .foot button");
    stage.until_likeliest("open");
    stage.between_presses();
    page.bounce("1", BOUNCES[1]);
    stage.until_sheet("A new ticket");
    stage.between_presses();
    page.bounce("1", BOUNCES[2]);
    stage.until_no_sheet();
    stage.until_likeliest("lot");
    let ticket = stage.desk.view()["job"]["ticket"]
        .as_str()
        .unwrap()
        .to_owned();
    assert_eq!(orders(&stage, &ticket), 1);
    assert_eq!(stage.page.run(keys, Value::Null)["next"], json!(["1"]));
}

#[test]
fn a_bounce_is_told_from_a_press() {
    let stage = Stage::set();
    let script = "const { Bouncer } = await import('/page/bench.js'); \
        return given.map((moves) => { const it = new Bouncer(); \
            return moves.filter(([kind, at, key = 'n']) => (kind === 'up' ? (it.up(key, at), false) : it.down(key, kind === 'repeat', at))).map(([, at]) => at); })";
    let found = stage.page.wait_for(
        script,
        json!([
            [
                ["down", 0],
                ["up", 20],
                ["down", 32],
                ["up", 120],
                ["down", 370],
                ["up", 400]
            ],
            // The last movement counts, not the first: a contact may bounce on for long.
            [
                ["down", 0],
                ["up", 100],
                ["down", 200],
                ["up", 300],
                ["down", 400],
                ["up", 500],
                ["down", 760]
            ],
            [
                ["down", 0],
                ["repeat", 500],
                ["repeat", 533],
                ["up", 900],
                ["down", 1000],
                ["up", 1010],
                ["down", 1300]
            ],
            // Each key by itself; one that never came up is held.
            [
                ["down", 0],
                ["down", 10, "x"],
                ["down", 5000],
                ["up", 5100],
                ["down", 5400]
            ],
        ]),
    );
    assert_eq!(found, json!([[0, 370], [0, 760], [0, 1300], [0, 10, 5400]]));
}
