//! The service killed and started again under an open page, the token missing, and many pages at once.

use serde_json::{Value, json};

use crate::stage::{Stage, address};
use crate::support::desk::g;
use crate::support::http;

#[test]
fn a_service_that_is_killed_leaves_no_number_standing_and_the_page_comes_back_by_itself() {
    let mut stage = Stage::set();
    stage.adding();
    stage.desk.put(g("0.37"));
    stage.until_net("0.37 g");

    stage.desk.kill();
    let lost = "return document.getElementById('hold-word').textContent === 'Not connected' && !document.getElementById('cover').hidden";
    stage
        .page
        .until("the page says that it is lost", lost, &Value::Null);
    assert_eq!(
        stage.page.run(
            "return document.getElementById('net').textContent",
            Value::Null
        ),
        "–"
    );
    let told = stage.page.run(
        "return document.getElementById('cry').textContent",
        Value::Null,
    );
    assert_eq!(told, "The service is lost.");
    stage.page.picture("50-lost");
    // Nothing can be ordered of a service that is not there.
    assert_eq!(
        stage.page.run(
            "return document.querySelectorAll('#offers button').length",
            Value::Null
        ),
        0
    );

    stage.desk.place(g("0.52"));
    stage.desk.start_again();
    stage.until_shown();
    stage.until_net("0.52 g");
    stage.until_offered("take");
}

#[test]
fn a_device_that_was_not_let_in_is_told_so_and_text_from_outside_is_text() {
    let stage = Stage::unopened();
    let at = stage.at();
    stage.page.go(&format!("http://{at}/bench/left"));
    let told =
        "return document.getElementById('hold-why').textContent.includes('has not been let in')";
    stage.page.until("it is told", told, &Value::Null);

    stage.page.go(&address(&stage.desk.home));
    stage.until_shown();
    // The token is kept, and no longer stands in the address.
    let kept = stage.page.run(
        "return [location.hash, localStorage.getItem('panbell.token').length]",
        Value::Null,
    );
    assert_eq!(kept, json!(["", 64]));
    let body = r#"{"order":"open","ticket":"T-1","client":"<img src=x onerror='window.hurt=1'><b>bold</b>","target":"750","colour":"yellow"}"#;
    assert_eq!(
        http::order(&stage.desk.home.socket(), "left", body)
            .unwrap()
            .status,
        200
    );
    stage.until_likeliest("lot");
    assert!(
        stage.page.text("#job-line").contains("<b>bold</b>"),
        "{}",
        stage.page.text("#job-line")
    );
    assert_eq!(stage.page.run("return [window.hurt ?? null, document.querySelectorAll('main img, header img, header b').length]", Value::Null), json!([null, 0]));
}

#[test]
fn twenty_pages_at_once_all_show_the_pan_and_take_orders() {
    let stage = Stage::set();
    let before = stage.desk.service.descriptors();
    let windows = stage
        .page
        .further(19, &format!("http://{}/bench/left", stage.at()));
    assert_eq!(windows.len(), 20);
    stage.desk.open("T-20", &["fine-silver"]);
    stage.desk.put(g("7.77"));
    for window in &windows {
        stage.page.switch(window);
        stage.until_net("7.77 g");
    }
    // A browser has six connections to one address: its pages share one stream.
    let more = stage.desk.service.descriptors() - before;
    assert!(more <= 6, "{more} descriptors more for 19 pages more");
    // The page with the stream is closed, and another takes over.
    stage.page.switch(&windows[0]);
    stage.page.close_window();
    stage.page.switch(&windows[19]);
    stage.desk.place(g("8.88"));
    stage.until_net("8.88 g");
    stage.desk.place(g("0.00"));
    stage.until_net("0.00 g");
    stage.take_up("lot");
    stage.until_sheet("The next lot");
    stage.choose("750");
    stage.send();
    stage.weigh("5.00");
    stage.page.switch(&windows[10]);
    stage.page.until(
        "another page shows it",
        "return document.getElementById('weighed').textContent.includes('5.00 g')",
        &Value::Null,
    );
}
