//! How heavy the page is: first paint, pictures a second, and processor time while the pan moves.

use std::time::Duration;

use serde_json::{Value, json};

use crate::stage::{Stage, address};
use crate::support::desk::g;
use crate::support::service::loud;

#[test]
fn it_is_painted_soon_and_costs_little_while_the_pan_moves() {
    let stage = Stage::set();
    let page = &stage.page;
    // Once warm: the files are in the program, and the browser has started.
    page.go("about:blank");
    page.go(&address(&stage.desk.home));
    stage.until_shown();
    let paint = page.wait_for(
        "return performance.getEntriesByType('paint').find((it) => it.name === 'first-contentful-paint')?.startTime ?? 0",
        Value::Null,
    );
    let paint = paint.as_f64().unwrap();
    stage.adding();
    stage.desk.pour(g("0.80"), Duration::from_secs(8));
    // Time on the processor, whoever else has it in between.
    page.tool("Performance.enable", &json!({"timeDomain": "threadTicks"}));
    let busy = || {
        let all = page.tool("Performance.getMetrics", &json!({}));
        let found = all["metrics"]
            .as_array()
            .unwrap()
            .iter()
            .find(|it| it["name"] == "TaskDuration")
            .unwrap();
        found["value"].as_f64().unwrap()
    };
    let before = busy();
    let pictures = page.wait_for(
        "window.said = 0; new MutationObserver(() => { window.said += 1; }).observe(document.getElementById('say'), { childList: true, characterData: true, subtree: true }); \
         const begins = performance.now(); let pictures = 0; \
         while (performance.now() - begins < 5000) { await new Promise(requestAnimationFrame); pictures += 1; } \
         return pictures * 1000 / (performance.now() - begins)",
        Value::Null,
    );
    let share = (busy() - before) / 5.0;
    loud(&format!(
        "the page: first paint {paint:.0} ms, {:.0} pictures a second, {:.1} % of a core at 50 readings a second",
        pictures.as_f64().unwrap(),
        100.0 * share
    ));
    // Far from what an idle machine measures (see DEVELOPERS.md), and from what would be felt.
    assert!(paint > 0.0 && paint < 3000.0, "{paint} ms");
    assert!(share < 0.4, "{share}");
    // The sentence changed with every grain; who hears it is told now and then.
    let said = page.run("return window.said", Value::Null);
    assert!(
        (1..=3).contains(&said.as_u64().unwrap()),
        "said {said} times in five seconds"
    );
}
