//! What flows onto the page while the pan moves: every number, and the sentence calmly. How soon and
//! how dearly is measured by `cargo bench --bench figures -- page`.

use std::time::Duration;

use panbell::port::Pace;
use serde_json::Value;

use crate::stage::Stage;
use crate::support::desk::g;

#[test]
fn the_sentence_is_told_to_who_hears_the_page_now_and_then_while_the_pan_moves() {
    let stage = Stage::set();
    stage.adding();
    stage.desk.pour(g("0.80"), Duration::from_secs(8));
    // The sentence changes with every grain.
    let said = stage.page.wait_for(
        "let said = 0; new MutationObserver(() => { said += 1; }).observe(document.getElementById('say'), { childList: true, characterData: true, subtree: true }); \
         await new Promise((done) => setTimeout(done, 5000)); \
         return said",
        Value::Null,
    );
    assert!(
        (1..=3).contains(&said.as_u64().unwrap()),
        "said {said} times in five seconds"
    );
}

#[test]
fn every_line_on_the_wire_that_stands_for_a_moment_is_a_number_on_the_page() {
    let stage = Stage::set();
    stage.adding();
    // From here on the wire carries only what is said here.
    stage.desk.balance.set_pace(Pace::Silent).unwrap();
    stage.page.run(
        "window.seen = []; const net = document.getElementById('net'); \
         new MutationObserver(() => { if (window.seen.at(-1) !== net.textContent) window.seen.push(net.textContent); }) \
           .observe(net, { childList: true, characterData: true, subtree: true })",
        Value::Null,
    );
    // The window is far above: nothing is captured.
    let numbers: Vec<String> = (1..=30).map(|n| format!("0.{n:02}")).collect();
    for number in &numbers {
        stage
            .desk
            .balance
            .say(format!("moving {number:>7} g\r\n"))
            .unwrap();
        stage.until_net(&format!("{number} g"));
    }
    let seen = stage.page.run("return window.seen", Value::Null);
    let wanted: Vec<String> = numbers.iter().map(|it| format!("{it} g")).collect();
    let seen: Vec<&str> = seen
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it.as_str().unwrap())
        .filter(|it| *it != "0.00 g")
        .collect();
    assert_eq!(seen, wanted);
}
