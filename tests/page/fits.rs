//! What must be seen is in sight, whole and uncovered: on a phone, at 200 per cent, with a client's name that is far too
//! long, in the statement on a phone and on paper.

use serde_json::{Value, json};

use crate::driver::{PHONE, Screen, TABLET, ZOOMED};
use crate::stage::{Stage, is_within_width};
use crate::support::desk::g;
use crate::support::http;

/// Which of these are not whole within the window, or lie under something else.
const HIDDEN: &str = "return arguments[0].filter((found) => { \
    const it = [...document.querySelectorAll(found)].find((it) => it.getClientRects().length > 0); if (!it) return true; \
    const box = it.getBoundingClientRect(); \
    if (box.left < -1 || box.top < -1 || box.right > innerWidth + 1 || box.bottom > innerHeight + 1) return true; \
    const points = [[0.5, 0.5], [0.03, 0.1], [0.97, 0.1], [0.03, 0.9], [0.97, 0.9]]; \
    return !points.every(([x, y]) => { \
        const top = document.elementFromPoint(Math.min(Math.max(box.left + x * box.width, 1), innerWidth - 1), Math.min(Math.max(box.top + y * box.height, 1), innerHeight - 1)); \
        return it.contains(top) || top?.contains(it); }); })";

/// A ticket whose client has a name of 128 letters, with this much of one lot.
fn long_named(stage: &Stage, load: &str) -> String {
    let client = "Wolkenstein".repeat(12)[..128].to_owned();
    let body = json!({"order": "open", "ticket": "L-1", "client": client, "target": "750", "colour": "yellow",
        "add": [{"metal": "fine-silver"}, {"metal": "fine-copper"}]});
    let reply = http::order(&stage.desk.home.socket(), "left", &body.to_string()).unwrap();
    assert_eq!(reply.status, 200, "{reply:?}");
    stage.desk.lot("916", "fire-assay", load);
    client
}

fn scrolled_up(stage: &Stage, screen: Screen) {
    stage.page.screen(screen);
    stage.page.run("scrollTo(0, 0)", Value::Null);
    stage.until_still();
}

#[test]
fn what_must_be_seen_is_in_sight_whole_and_uncovered() {
    let stage = Stage::set();
    let page = &stage.page;
    let client = long_named(&stage, "1486.55");
    // Between two weighings: the main step, and the number.
    stage.until_likeliest("add");
    for (screen, name) in [(TABLET, "tablet"), (ZOOMED, "zoomed"), (PHONE, "phone")] {
        scrolled_up(&stage, screen);
        let hidden = page.run(
            HIDDEN,
            json!([
                "#net",
                "#unit",
                "#plate",
                ".main[data-offer=add]",
                "#sentence .large",
                "#bench-name"
            ]),
        );
        assert_eq!(hidden, json!([]), "{name}");
        is_within_width(page);
        stage.picture(&format!("72-{name}-between"));
    }
    // The whole name can be read.
    assert!(
        page.text("#sums").contains(&client),
        "{}",
        page.text("#sums")
    );
    // Wherever it is scrolled to on a phone, no tile lies over another.
    page.screen(PHONE);
    for down in [0, 150, 300, 450, 600, 900] {
        page.run("scrollTo(0, arguments[0])", json!(down));
        let over = page.run(
            "const all = [...document.querySelectorAll('[data-offer]')].filter((it) => !it.closest('.likeliest')).map((it) => it.getBoundingClientRect()); \
             const cross = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1; \
             return all.flatMap((a, n) => all.slice(n + 1).filter((b) => cross(a, b))).length",
            Value::Null,
        );
        assert_eq!(over, 0, "{down}");
    }
    page.run("scrollTo(0, 0)", Value::Null);
    // Weighing out much: the aim and its edges are long numbers.
    stage.take_up("add");
    stage.desk.until("there is a window", |view| {
        view["weighing"]["aim"].is_string()
    });
    stage.desk.put(g("12.34"));
    stage.until_net("12.34 g");
    stage.until_offered("take");
    for (screen, name) in [(TABLET, "tablet"), (ZOOMED, "zoomed"), (PHONE, "phone")] {
        scrolled_up(&stage, screen);
        let hidden = page.run(HIDDEN, json!(["#net", "#unit", "#sentence .large", "#aim"]));
        assert_eq!(hidden, json!([]), "{name}");
        let cut = page.run(
            "return [...document.querySelectorAll('.edge')].map((it) => { const box = it.getBoundingClientRect(), whole = it.ownerSVGElement.getBoundingClientRect(); return [it.textContent, box.right - whole.right]; }).filter(([, over]) => over > 0)",
            Value::Null,
        );
        assert_eq!(cut, json!([]), "{name}");
        is_within_width(page);
        stage.picture(&format!("73-{name}-weighing"));
    }
    // On a tablet at 200 per cent what can be done is in sight too.
    scrolled_up(&stage, ZOOMED);
    assert_eq!(page.run(HIDDEN, json!(["[data-offer=take]"])), json!([]));
    stage.no_complaints();
}

#[test]
fn the_statement_is_whole_on_a_phone_and_on_paper() {
    let stage = Stage::set();
    let page = &stage.page;
    let client = long_named(&stage, "14.86");
    let body = json!({"order": "lot", "fineness": "585", "basis": "stamp:old-soldered", "note": "a clasp, a chain of very many links and half a ring with an engraving that nobody can read any more"});
    assert_eq!(
        http::order(&stage.desk.home.socket(), "left", &body.to_string())
            .unwrap()
            .status,
        200
    );
    stage.weigh("4.20");
    stage.desk.empty();
    stage.take_up("close");
    stage.until_sheet("Close the job");
    page.click("dialog .foot .main");
    stage.until_sheet("Statement");
    let told = stage.desk.view()["job"]["statement"]
        .as_str()
        .unwrap()
        .to_owned();
    let shown = page.run(
        "return document.querySelector('.statement').textContent",
        Value::Null,
    );
    assert_eq!(
        shown.as_str().unwrap().trim_end(),
        told.trim_end(),
        "not every letter is there"
    );
    assert!(told.contains(&client));
    let outside = "const room = document.querySelector('.statement').getBoundingClientRect(); \
        return [...document.querySelectorAll('.statement span')].filter((it) => { const box = it.getBoundingClientRect(); \
            return box.width > 0 && (box.left < room.left - 1 || box.right > room.right + 1 || it.scrollWidth > it.clientWidth + 1 && getComputedStyle(it).display !== 'inline'); }).map((it) => it.textContent)";
    for (screen, name) in [(TABLET, "tablet"), (ZOOMED, "zoomed"), (PHONE, "phone")] {
        page.screen(screen);
        assert_eq!(page.run(outside, Value::Null), json!([]), "{name}");
        let sideways = page.run("return [...document.querySelectorAll('dialog, dialog .body, .statement, html')].filter((it) => it.scrollWidth > it.clientWidth + 1).map((it) => it.className || it.tagName)", Value::Null);
        assert_eq!(sideways, json!([]), "{name}");
        page.picture(&format!("74-{name}-statement"));
    }
    // On paper, 210 mm wide.
    page.screen(Screen {
        width: 718,
        height: 1000,
        scale: 1,
        touch: false,
    });
    page.tool("Emulation.setEmulatedMedia", &json!({"media": "print"}));
    assert_eq!(page.run(outside, Value::Null), json!([]));
    let cut = page.run(
        "const it = document.querySelector('.statement'); const last = it.lastElementChild.getBoundingClientRect(); \
         return [it.getBoundingClientRect().right <= innerWidth + 1, document.documentElement.scrollHeight >= last.bottom + scrollY - 1, getComputedStyle(document.querySelector('.foot')).display]",
        Value::Null,
    );
    assert_eq!(cut, json!([true, true, "none"]));
    page.picture("75-paper");
    page.tool("Emulation.setEmulatedMedia", &json!({"media": ""}));
    stage.no_complaints();
}
