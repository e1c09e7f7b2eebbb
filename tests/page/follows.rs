//! How heavy the page is: first paint, pictures a second, and processor time while the pan moves.

use std::time::Duration;

use panbell::port::Pace;
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

/// Lines that are followed onto the page.
const LINES: u32 = 120;

#[test]
fn a_line_on_the_wire_is_soon_a_number_on_the_page() {
    let stage = Stage::set();
    let page = &stage.page;
    stage.until_shown();
    stage.adding();
    // From here on the wire carries only what is timed.
    stage.desk.balance.set_pace(Pace::Silent).unwrap();
    page.run(
        "window.seen = {}; const net = document.getElementById('net'); \
         new MutationObserver(() => { window.seen[net.textContent] ??= performance.timeOrigin + performance.now(); }) \
           .observe(net, { childList: true, characterData: true, subtree: true })",
        Value::Null,
    );
    let mut sent = Vec::new();
    for n in 0..LINES {
        // The window is far above: nothing is captured.
        let shows = format!("0.{:02} g", n % 40 + 1);
        let line = format!("moving {:>7} g\r\n", format!("0.{:02}", n % 40 + 1));
        page_forgets(&stage, &shows);
        sent.push((shows.clone(), now()));
        stage.desk.balance.say(line).unwrap();
        stage.until_net(&shows);
        let seen = page.run("return window.seen[arguments[0]]", json!(shows));
        let late = seen.as_f64().unwrap() - sent.last().unwrap().1;
        sent.last_mut().unwrap().1 = late;
    }
    let mut late: Vec<f64> = sent.iter().map(|(_, late)| *late).collect();
    late.sort_by(f64::total_cmp);
    let at = |part: usize| late[(late.len() - 1) * part / 100];
    loud(&format!(
        "from a line on the wire to the number on the page: median {:.1} ms, 99th percentile {:.1} ms",
        at(50),
        at(99)
    ));
    // A number that came within the blink of an eye; the figure itself is in DEVELOPERS.md.
    assert!((0.0..1000.0).contains(&at(50)), "{late:?}");
}

/// Milliseconds since 1970, the page's clock.
fn now() -> f64 {
    let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    now.unwrap().as_secs_f64() * 1000.0
}

fn page_forgets(stage: &Stage, shows: &str) {
    stage
        .page
        .run("delete window.seen[arguments[0]]", json!(shows));
}
