//! The rules that the page goes by, each a function without a page: where the tip stands, what is offered next, how a
//! sentence is put for one who types nothing.

use serde_json::{Value, json};

use crate::stage::Stage;

#[test]
fn the_tip_rises_with_the_mass_and_the_last_division_is_seen() {
    let stage = Stage::set();
    let script = "const { height, SLOT, REACH } = await import('/page/bench.js'); \
        return { slot: SLOT, reach: REACH, heights: given.map((net) => height(net, { lower: 2.32, aim: 2.37, upper: 2.42 }, 0.01)) }";
    let loads = [
        0.0, 1.0, 2.2, 2.3, 2.31, 2.32, 2.37, 2.42, 2.43, 3.0, 50.0, 5000.0,
    ];
    let found = stage.page.wait_for(script, json!(loads));
    let heights: Vec<f64> = found["heights"]
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it.as_f64().unwrap())
        .collect();
    let (slot, reach) = (
        found["slot"].as_f64().unwrap(),
        found["reach"].as_f64().unwrap(),
    );
    assert!(heights.is_sorted(), "{heights:?}");
    assert!(
        heights[4] < -slot - 0.5
            && heights[5] > -slot
            && heights[7] < slot
            && heights[8] > slot + 0.5,
        "{heights:?}"
    );
    assert!(
        heights[4] - heights[3] > 0.4,
        "two divisions look like one: {heights:?}"
    );
    assert!(heights.iter().all(|it| it.abs() <= reach), "{heights:?}");
    assert!(heights[6].abs() < 1e-9);
}

#[test]
fn what_is_offered_follows_the_work() {
    let stage = Stage::set();
    let script = "const { offers, rail } = await import('/page/bench.js'); \
        return given.map((view) => [offers(view).find((it) => it.main)?.key ?? '', rail(view).map((it) => it.state[0]).join('')])";
    let weighed =
        |what: &str| json!({"what": what, "name": what, "mass": "1.00 g", "withdrawn": false});
    let job = |weighed: Value, to_come: Value| json!({"pan": {}, "job": {"open": true, "weighed": weighed, "to_come": to_come}});
    let weighing = |what: &str, net: &str| {
        let mut view = job(json!([]), json!([]));
        view["weighing"] = json!({"what": what, "name": what});
        view["pan"] = json!({"net": net});
        view
    };
    let copper = json!([{"name": "copper", "mass": "1.00 g"}]);
    let mut proved = job(
        json!([weighed("lot"), weighed("addition"), weighed("button")]),
        json!([]),
    );
    proved["job"]["assay"] = json!({"fineness_ppt": "752.10"});
    let mut withdrawn = weighed("lot");
    withdrawn["withdrawn"] = true.into();
    let found = stage.page.wait_for(
        script,
        json!([
            {"job": null},
            job(json!([]), json!([])),
            job(json!([withdrawn]), json!([])),
            job(json!([weighed("lot")]), json!([])),
            job(json!([weighed("lot")]), copper),
            job(json!([weighed("lot"), weighed("addition")]), json!([])),
            job(json!([weighed("lot"), weighed("addition"), weighed("button")]), json!([])),
            proved,
            // What lies on the pan is taken by the next step, but never an addition before its time.
            weighing("lot", "3.00 g"),
            weighing("lot", "0.00 g"),
            weighing("addition", "3.00 g"),
            // A low button gets more gold and is melted again.
            job(json!([weighed("lot"), weighed("addition"), weighed("button"), weighed("addition")]), json!([])),
        ]),
    );
    assert_eq!(
        found,
        json!([
            ["open", "tttttt"],
            ["lot", "nttttt"],
            ["lot", "nttttt"],
            ["plan", "dntttt"],
            ["add", "ddnttt"],
            ["button", "dddntt"],
            ["proof", "ddddnt"],
            ["close", "dddddn"],
            ["take", "nttttt"],
            ["", "nttttt"],
            ["", "llnttt"],
            ["button", "dddntt"],
        ])
    );
}

#[test]
fn sentences_name_no_command() {
    let stage = Stage::set();
    let script = "const { plain, chance } = await import('/page/bench.js'); return [given.map(plain), ['0.999999', '0.975', '0.00001', '1', null].map(chance)]";
    let said = [
        "Nothing is weighed yet. Weigh the first lot: panbell lot.",
        "The lots make 21.06 g of 817.62 ‰. Weigh a further lot, or name a metal: panbell add --with METAL.",
        "The button is weighed, and not sure to be lawful: prove it, panbell proof or panbell assay, or close the job.",
        "Put the dish back as it was, or say which: panbell answer back, tared or anew.",
        "Put back what was on it, or begin copper anew: panbell answer anew.",
        "Hold: The balance shows carats. Set it back.",
    ];
    let found = stage.page.wait_for(script, json!(said));
    assert_eq!(
        found[0],
        json!([
            "Nothing is weighed yet. Weigh the first lot.",
            "The lots make 21.06 g of 817.62 ‰. Weigh a further lot, or name a metal.",
            "The button is weighed, and not sure to be lawful: prove it, or close the job.",
            "Put the dish back as it was, or say which.",
            "Put back what was on it, or begin copper anew.",
            "The balance shows carats. Set it back.",
        ])
    );
    // Never rounded up to certainty, nor down to none.
    assert_eq!(
        found[1],
        json!(["99.99 %", "97.5 %", "0.01 %", "100 %", ""])
    );
}

#[test]
fn a_key_can_be_another_and_does_one_thing() {
    let stage = Stage::set();
    let page = &stage.page;
    page.click("#set");
    stage.until_sheet("Settings of this device");
    page.click("[aria-label='Another key for: Do the next step offered']");
    page.press("x");
    let key =
        "return [...document.querySelectorAll('dialog[open] kbd')].map((it) => it.textContent)";
    assert_eq!(
        page.run(key, Value::Null),
        json!(["Space", "Backspace", "X"])
    );
    page.click("dialog[open] .foot button");
    page.until(
        "the button names it",
        "return document.querySelector('.offers .main kbd')?.textContent === 'X'",
        &Value::Null,
    );
    page.press("n");
    page.press("x");
    stage.until_sheet("A new ticket");
    // It stays so on this device.
    let kept = page.run(
        "return JSON.parse(localStorage.getItem('panbell.settings')).keys.next",
        Value::Null,
    );
    assert_eq!(kept, json!(["x"]));
}

#[test]
fn a_warning_of_all_recipes_is_said_once() {
    let stage = Stage::set();
    let script = "const { shared } = await import('/page/bench.js'); return given.map((list) => shared(list))";
    let recipe = |warnings: &[&str]| json!({"warnings": warnings});
    let found = stage.page.wait_for(
        script,
        json!([
            [
                recipe(&["zinc", "pale"]),
                recipe(&["soft", "zinc"]),
                recipe(&["zinc"])
            ],
            // Of one alone it stands where it belongs.
            [recipe(&["zinc"])],
            [recipe(&["zinc"]), {}],
            [],
        ]),
    );
    let wanted = json!([
        {"all": ["zinc"], "each": [["pale"], ["soft"], []]},
        {"all": [], "each": [["zinc"]]},
        {"all": [], "each": [["zinc"], []]},
        {"all": [], "each": []},
    ]);
    assert_eq!(found, wanted);
}
