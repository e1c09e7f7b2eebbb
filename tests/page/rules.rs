//! The rules that the page goes by, each a function without a page: where the tip stands, what stands on the tiles, how
//! a sentence is cut, what is old.

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
fn the_rail_follows_the_work() {
    let stage = Stage::set();
    let script = "const { rail } = await import('/page/bench.js'); \
        return given.map((view) => rail(view).map((it) => it.state[0]).join(''))";
    let weighed =
        |what: &str| json!({"what": what, "name": what, "mass": "1.00 g", "withdrawn": false});
    let job = |weighed: Value, to_come: Value| json!({"pan": {}, "job": {"open": true, "weighed": weighed, "to_come": to_come}});
    let weighing = |what: &str| {
        let mut view = job(json!([]), json!([]));
        view["weighing"] = json!({"what": what, "name": what});
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
            weighing("lot"),
            weighing("addition"),
            // A low button gets more gold and is melted again.
            job(json!([weighed("lot"), weighed("addition"), weighed("button"), weighed("addition")]), json!([])),
        ]),
    );
    assert_eq!(
        found,
        json!([
            "tttttt", "nttttt", "nttttt", "dntttt", "ddnttt", "dddntt", "ddddnt", "dddddn",
            "nttttt", "llnttt", "dddntt",
        ])
    );
}

/// Also one that no tile of the page is made for: it has a tile all the same.
#[test]
fn each_order_that_is_offered_has_a_tile_in_the_order_of_the_service() {
    let stage = Stage::set();
    let script = "const { deeds } = await import('/page/bench.js'); \
        return deeds(given).map(({ key, label, says, by, main }) => [key, label, says, by, main])";
    let action = |action: &str, main: bool, order: Value| json!({"action": action, "main": main, "order": order, "name": "lot 1", "mass": "3.00 g"});
    let mut button = action("button", false, json!({"order": "button"}));
    button["asks"] = json!(["Metal lies on the pan."]);
    let view = json!({"job": {"open": true, "weighed": [], "to_come": []}, "actions": [
        action("take", true, json!({"order": "take"})),
        action("withdraw", false, json!({"order": "withdraw", "capture": 3})),
        button,
        action("lot", false, Value::Null),
        action("temper-it", false, json!({"order": "temper-it"})),
        action("name-it", false, Value::Null),
    ]});
    assert_eq!(
        stage.page.wait_for(script, view),
        json!([
            ["take", "Take it now", "lot 1", "once", true],
            [
                "withdraw",
                "Withdraw the last",
                "3.00 g of lot 1",
                "twice",
                false
            ],
            [
                "button",
                "Melt it as it is",
                "then weigh the button",
                "asked",
                false
            ],
            ["lot", "Weigh a lot", "", "sheet", false],
            ["temper-it", "Temper it", "lot 1, 3.00 g", "once", false],
            ["name-it", "Name it", "lot 1, 3.00 g", "unknown", false],
        ])
    );
}

/// Whatever is cut for the sake of the eye, every letter of a sentence is there, in its order.
#[test]
fn no_letter_of_a_sentence_is_lost() {
    let stage = Stage::set();
    let script = "const { sentences, fromAfar, parts, cells, chance } = await import('/page/bench.js'); \
        return { whole: given.map((text) => sentences(text).join('')), \
            first: given.map((text) => fromAfar(text, false).join('')), last: given.map((text) => fromAfar(text, true).join('')), \
            numbered: given.map((text) => parts(text, 'grams').map(([part]) => part).join('')), \
            lines: given.map((text) => cells(text).join('')), \
            cut: [fromAfar(given[2], false), fromAfar(given[3], true)], \
            chance: ['0.999999', '0.975', '0.00001', '1', null].map(chance) }";
    let mut said: Vec<String> = [
        "",
        "Nothing is weighed yet. Weigh the first lot.",
        "0.05 grams too much of copper: the melt would be 748.20 ‰, below 750 ‰. Take a little off, or take it and the rest follows: 1.20 g of fine silver.",
        "2.37 grams of copper makes the melt 750.10 ‰, within the window (lawful with 97.5 %). Hands off: it is recorded when at rest.",
        "Hold: The balance shows carats, this bench weighs in grams. Set the balance back to grams; the bench goes on by itself.",
        "a:b. c. D.E  F?! : . ",
        "Ends. ",
        "Ümlaut. Östlich: so. «Quoted». ",
    ]
    .map(str::to_owned)
    .to_vec();
    // And whatever else comes, from a seed.
    let letters: Vec<char> = "aZ9 .:?!-ü‰\u{202f}".chars().collect();
    let seed = 20_261_130_u64;
    let mut random = seed;
    for _ in 0..500 {
        let mut text = String::new();
        for _ in 0..24 {
            random = random
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            text.push(letters[usize::try_from(random >> 33).unwrap() % letters.len()]);
        }
        said.push(text);
    }
    let found = stage.page.wait_for(script, json!(said));
    for way in ["whole", "first", "last", "numbered", "lines"] {
        assert_eq!(found[way], json!(said), "{way}, seed {seed}");
    }
    // What is read from afar.
    assert_eq!(
        [&found["cut"][0][1], &found["cut"][1][1]],
        [
            "0.05 grams too much of copper:",
            " Hands off: it is recorded when at rest."
        ]
    );
    // Never rounded up to certainty, nor down to none.
    assert_eq!(
        found["chance"],
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
    stage.until_likeliest("open");
    page.press("n");
    stage.between_presses();
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
fn how_old_something_is_is_known_at_the_worst() {
    let stage = Stage::set();
    let script = "const { Clock } = await import('/page/bench.js'); \
        return given.map((moves) => { const it = new Clock(); const ages = []; \
            for (const [kind, ...rest] of moves) { if (kind === 'age') ages.push(it.age(...rest)); else it[kind](...rest); } \
            return ages.map((age) => (Number.isFinite(age) ? age : String(age))); })";
    let found = stage.page.wait_for(
        script,
        json!([
            // Asked for at 100, come at 150: so much of that may be the way here.
            [
                ["opened", 100, 150, 1000],
                ["age", 1000, 150],
                ["came", 400, 1240],
                ["age", 1240, 400],
                // What lags is old, and grows older while nothing comes.
                ["came", 5000, 1300],
                ["age", 1300, 5000],
                ["age", 1300, 6000]
            ],
            // A second stream that was quicker says more.
            [
                ["opened", 0, 900, 1000],
                ["age", 1000, 900],
                ["opened", 2000, 2010, 2995],
                ["age", 2995, 2010]
            ],
            // A service that started anew, or a clock that stood still: what was known counts no more.
            [
                ["opened", 100, 150, 1000],
                ["opened", 9000, 9040, 20],
                ["age", 20, 9040]
            ],
            [
                ["opened", 100, 150, 1000],
                ["came", 200, 9000],
                ["age", 9000, 200]
            ],
            // By way of another page, with what that does not know.
            [
                ["passed", 50, 1000, 30, "a"],
                ["age", 1000, 50],
                ["passed", 3000, 2000, 30, "a"],
                ["age", 2000, 3000],
                ["passed", 4000, 500, 10, "b"],
                ["age", 500, 4000]
            ],
            [["age", 5, 5]],
        ]),
    );
    assert_eq!(
        found,
        json!([
            [50, 60, 4600, 5600],
            [900, 10],
            [40],
            ["Infinity"],
            [30, 1980, 10],
            ["NaN"]
        ])
    );
}

#[test]
fn what_is_older_than_what_is_known_is_no_news() {
    let stage = Stage::set();
    let script = "const { Order } = await import('/page/bench.js'); \
        const it = new Order(); return [...given.map((one) => it.takes(...one)), it.isNewer(99), it.isNewer(200), it.isNewer(null)]";
    let found = stage.page.wait_for(
        script,
        json!([
            ["a.7", 10, true],
            ["a.8", 11, false],
            ["a.8", 11, false],
            ["a.8", 11, true],
            ["a.6", 9, true],
            ["b.1", 5, true],
            ["a.9", 12, false],
            ["b.2", 100, false],
        ]),
    );
    assert_eq!(
        found,
        json!([
            true, true, false, true, false, true, false, true, false, true, false
        ])
    );
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
