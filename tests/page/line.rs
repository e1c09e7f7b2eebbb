//! The page over a line that is slow, silent, cut, or loses answers: no number stands on it that is older than three
//! seconds, and an order happens once or not at all.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use serde_json::{Value, json};

use crate::driver::Browser;
use crate::proxy::{Proxy, address_by};
use crate::stage::Stage;
use crate::support::desk::{Desk, g, pretend};
use crate::support::{home, service};

/// Milliseconds since 1970, which browser and test share.
fn wall() -> f64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap();
    since.as_secs_f64() * 1000.0
}

fn through(stage: &Stage) -> Proxy {
    let proxy = Proxy::start(stage.at());
    stage.page.go(&address_by(stage, &proxy));
    stage.until_shown();
    proxy
}

/// What can be read of the page, every 40 ms: when, and the number of the pan if nothing covers it.
const WATCH: &str = "
    window.read = [];
    setInterval(() => {
        const cover = document.getElementById('cover');
        const boot = document.body.classList.contains('loading');
        const open = cover.hidden && !boot;
        window.read.push([Date.now(), open ? document.getElementById('net').textContent : null, document.getElementById('hold-word').textContent]);
    }, 40);";

/// How old a number may be: three seconds, and what looking takes.
const MOST: f64 = 3_000.0 + 150.0;

#[test]
#[allow(clippy::too_many_lines)] // one line, all that happens to it
fn nothing_that_is_read_on_the_page_is_older_than_three_seconds_whatever_the_line_does() {
    let stage = Stage::unopened();
    let proxy = through(&stage);
    stage.page.run(WATCH, Value::Null);
    // The pan shows another number every fifth of a second, and it is known when.
    let truth: Arc<Mutex<Vec<(f64, String)>>> = Arc::default();
    let over = Arc::new(AtomicBool::new(false));
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut n = 0_u32;
            while !over.load(Ordering::Relaxed) {
                n += 1;
                let text = format!("{}.{:02}", n / 100, n % 100);
                truth.lock().unwrap().push((wall(), format!("{text} g")));
                stage.desk.balance.place(g(&text)).unwrap();
                std::thread::sleep(Duration::from_millis(200));
            }
        });
        let until_read = |what: &str| {
            let fresh =
                "const [, read] = window.read.at(-1) ?? []; return read?.endsWith(' g') === true";
            stage.page.until(what, fresh, &Value::Null);
        };
        let until_covered = |what: &str| {
            let covered = "return window.read.at(-1)?.[1] === null";
            stage.page.until(what, covered, &Value::Null);
        };
        let rest = |ms: u64| std::thread::sleep(Duration::from_millis(ms));
        rest(1500);
        // Everything goes silent, and nobody is told.
        proxy.stall();
        until_covered("all is silent");
        rest(3000);
        // What was held back comes now, all at once.
        proxy.open();
        until_read("all goes through again");
        // Only the stream is forgotten; questions and answers go through.
        proxy.stall_streams();
        until_covered("the stream is silent");
        rest(2000);
        proxy.open();
        until_read("the stream goes through again");
        // The line is cut, for shorter and for longer than it takes to be covered.
        for cut in [1000, 6000] {
            proxy.cut();
            rest(cut);
            proxy.open();
            until_read("the line was cut");
        }
        // Slow, but not too slow.
        proxy.slow(Duration::from_millis(350), None);
        rest(3000);
        until_read("there is a delay");
        // Too slow for what the balance says: the age would grow without end.
        proxy.slow(Duration::ZERO, Some(4_000));
        rest(12_000);
        proxy.open();
        until_read("it is quick again");
        rest(500);
        over.store(true, Ordering::Relaxed);
    });
    let truth = truth.lock().unwrap().clone();
    let read = stage.page.run("return window.read", Value::Null);
    let (mut oldest, mut open, mut covered) = (0.0_f64, 0, 0);
    for sample in read.as_array().unwrap() {
        let at = sample[0].as_f64().unwrap();
        let Some(text) = sample[1].as_str() else {
            covered += 1;
            continue;
        };
        if text == "–" {
            continue;
        }
        open += 1;
        // Until when it was so: the next number came then.
        let place = truth.iter().rposition(|(_, shown)| shown == text);
        let until = place.map_or(f64::NEG_INFINITY, |place| {
            truth.get(place + 1).map_or(f64::INFINITY, |(at, _)| *at)
        });
        if place.is_none() && text == "0.00 g" {
            continue;
        }
        oldest = oldest.max(at - until);
    }
    println!("read {open} times, covered {covered} times, the oldest {oldest:.0} ms");
    assert!(oldest < MOST, "{oldest}");
    assert!(open > 300 && covered > 200, "{open} {covered}");
}

#[test]
fn a_balance_that_falls_silent_leaves_no_number_standing() {
    // The service would wait for it for half a minute.
    let stage = Stage::waiting("30");
    stage.desk.place(g("4.56"));
    stage.until_net("4.56 g");
    stage.page.run(WATCH, Value::Null);
    stage
        .desk
        .balance
        .set_pace(panbell::port::Pace::Silent)
        .unwrap();
    let silent = "return document.getElementById('hold-word').textContent === 'Silent' && !document.getElementById('cover').hidden";
    let from = wall();
    stage.page.until("it is covered", silent, &Value::Null);
    assert!(wall() - from < 4_500.0, "{}", wall() - from);
    let says = stage.page.text("#cover");
    assert!(
        says.contains("4.56 g") && says.contains("seconds ago"),
        "{says}"
    );
    // What may be ordered may be ordered all the same.
    stage.until_likeliest("open");
    stage
        .desk
        .balance
        .set_pace(panbell::port::Pace::LinesPerSecond(20))
        .unwrap();
    stage.until_shown();
}

/// Records of the book that carry out orders: the orders' ids.
fn ids(stage: &Stage, ticket: &str) -> Vec<String> {
    let text = std::fs::read_to_string(stage.desk.home.job_path(ticket)).unwrap();
    text.lines()
        .filter_map(|line| {
            serde_json::from_str::<Value>(line).unwrap()["order"]
                .as_str()
                .map(str::to_owned)
        })
        .collect()
}

fn orders_sent(proxy: &Proxy) -> usize {
    let seen = proxy.seen();
    seen.iter().filter(|line| line.contains("/order")).count()
}

#[test]
fn an_order_whose_answer_is_lost_happens_once() {
    let stage = Stage::unopened();
    stage.desk.open("O-1", &[]);
    for load in ["11.11", "7.77", "5.55"] {
        stage.desk.lot("750", "stamp", load);
    }
    let proxy = through(&stage);
    let commanded = ids(&stage, "O-1").len();
    for lost in [1, 3] {
        let before = stage
            .desk
            .home
            .job("O-1")
            .weighed
            .iter()
            .filter(|it| it.withdrawn)
            .count();
        let sent = orders_sent(&proxy);
        // What was told of the one before is put away.
        stage
            .page
            .run("document.getElementById('said-away').click()", Value::Null);
        stage.page.until(
            "nothing is told",
            "return document.getElementById('said').hidden",
            &Value::Null,
        );
        stage.take_up("withdraw");
        stage.until_asked("withdraw");
        proxy.lose_answers(lost);
        stage.page.click("[data-offer=withdraw]");
        let told = "return !document.getElementById('said').hidden && !document.getElementById('said-text').textContent.startsWith('It is not known yet')";
        stage.page.until("it is told", told, &Value::Null);
        stage.until_offered("withdraw");
        let after = stage
            .desk
            .home
            .job("O-1")
            .weighed
            .iter()
            .filter(|it| it.withdrawn)
            .count();
        assert_eq!(after, before + 1, "{:?}", proxy.seen());
        assert!(orders_sent(&proxy) > sent + lost, "{:?}", proxy.seen());
    }
    let mut ids = ids(&stage, "O-1").split_off(commanded);
    assert_eq!(ids.len(), 2);
    ids.dedup();
    assert_eq!(ids.len(), 2);
    assert_eq!(
        stage.page.run(
            "return [...document.querySelectorAll('#weighed s')].map((it) => it.textContent)",
            Value::Null
        ),
        json!(["7.77 g", "5.55 g"])
    );
}

#[test]
fn an_order_that_is_not_answered_is_said_not_to_be_known_and_is_done_once_when_the_line_is_back() {
    let stage = Stage::unopened();
    stage.desk.open("S-1", &["fine-silver", "fine-copper"]);
    stage.desk.lot("916", "fire-assay", "14.86");
    let proxy = through(&stage);
    let commanded = ids(&stage, "S-1").len();
    stage.until_likeliest("add");
    proxy.stall();
    stage.page.click("[data-offer=add]");
    let unknown =
        "return document.getElementById('said-text').textContent.startsWith('It is not known yet')";
    stage.page.until("it is not known", unknown, &Value::Null);
    // Nothing else can be ordered meanwhile, and nothing was ordered.
    assert_eq!(
        stage.page.run(
            "return document.querySelectorAll('[data-offer]:not([aria-disabled])').length",
            Value::Null
        ),
        0
    );
    assert!(stage.desk.view()["weighing"].is_null());
    proxy.open();
    stage
        .desk
        .until("it is begun", |view| view["weighing"].is_object());
    stage.page.until(
        "the page is at it",
        "return document.getElementById('aim').textContent !== ''",
        &Value::Null,
    );
    // The order that was held back came too, and was the same.
    stage.until_offered("leave");
    assert_eq!(ids(&stage, "S-1").len(), commanded + 1);
}

#[test]
fn a_close_that_is_to_be_refused_stays_refused_however_often_the_browser_sends_it() {
    let stage = Stage::unopened();
    stage.desk.open("C-1", &[]);
    stage.desk.lot("750", "fire-assay", "14.86");
    stage.desk.button(g("14.80"));
    stage.desk.empty();
    stage.desk.ok(&["assay", "752.1", "fire-assay"]);
    let proxy = through(&stage);
    stage.take_up("close");
    stage.until_sheet("Close the job");
    let asks = stage.page.text("dialog .asks");
    assert_eq!(asks, "", "nothing stands against it");
    // The line is silent, and the button is set aside meanwhile.
    proxy.stall_streams();
    proxy.lose_answers(2);
    stage.desk.ok(&["withdraw"]);
    stage.page.click("dialog .foot .main");
    let told = "return document.querySelector('dialog .trouble')?.textContent.startsWith('Something else has happened') === true";
    stage.page.until("it is refused", told, &Value::Null);
    assert!(orders_sent(&proxy) >= 3, "{:?}", proxy.seen());
    assert_eq!(stage.desk.view()["job"]["open"], true);
    // With the line back the sheet says what stands against it now.
    proxy.open();
    let asks = "return document.querySelector('dialog .asks')?.textContent.length > 0";
    stage.page.until("it asks", asks, &Value::Null);
    assert_eq!(stage.desk.view()["job"]["open"], true);
}

#[test]
fn a_page_of_which_a_part_is_lost_is_covered_and_asks_for_it_until_it_is_here() {
    let stage = Stage::unopened();
    stage.desk.place(g("3.33"));
    stage.desk.at_rest("3.33 g");
    let proxy = Proxy::start(stage.at());
    stage.page.go(&address_by(&stage, &proxy));
    stage.until_net("3.33 g");
    let address = format!("http://{}/bench/left", proxy.at);
    let before = proxy.seen().len();
    stage.page.go("about:blank");
    stage.page.go(&address);
    stage.until_net("3.33 g");
    let parts: Vec<String> = proxy.seen()[before..]
        .iter()
        .filter_map(|line| line.split(' ').nth(1))
        .filter(|path| path.starts_with("/page/"))
        .map(str::to_owned)
        .collect();
    assert_eq!(parts.len(), 2, "as few as will do: {parts:?}");
    for part in &parts {
        for lost in ["dropped", "cut off"] {
            stage.page.go("about:blank");
            match lost {
                "dropped" => proxy.drop_requests(part, 6),
                _ => proxy.halve(part, 4),
            }
            stage.page.go(&address);
            // Nothing but the cover is seen until all of it is here.
            let covered = "return document.body.classList.contains('loading') && [...document.body.children].filter((it) => it.offsetParent).map((it) => it.id).join() === 'boot' && document.getElementById('boot').textContent.includes('asked for again')";
            stage
                .page
                .until(&format!("{part} is {lost}"), covered, &Value::Null);
            stage.until_net("3.33 g");
        }
    }
    // Also where it is held back for ever.
    stage.page.go("about:blank");
    proxy.hold_back(&parts[0]);
    stage.page.go(&address);
    stage.until_net("3.33 g");
    stage.page.complaints();
}

#[test]
fn four_pages_that_come_again_at_once_over_a_poor_line_all_come_up() {
    let stage = Stage::unopened();
    let proxy = Proxy::start(stage.at());
    stage.page.go(&address_by(&stage, &proxy));
    stage.until_shown();
    let windows = stage
        .page
        .further(3, &format!("http://{}/bench/left", proxy.at));
    stage.desk.place(g("2.22"));
    for window in &windows {
        stage.page.switch(window);
        stage.until_net("2.22 g");
    }
    proxy.drop_requests("/page/", 6);
    for window in &windows {
        stage.page.switch(window);
        stage.page.run("location.reload()", Value::Null);
    }
    for window in &windows {
        stage.page.switch(window);
        stage.until_shown();
        stage.until_net("2.22 g");
    }
}

/// Also a page that has no stream of its own, since another of the same browser has it for both.
#[test]
fn every_page_of_one_browser_is_covered_when_the_stream_is_silent() {
    let stage = Stage::unopened();
    let proxy = through(&stage);
    let windows = stage
        .page
        .further(1, &format!("http://{}/bench/left", proxy.at));
    stage.desk.place(g("1.23"));
    for window in &windows {
        stage.page.switch(window);
        stage.until_net("1.23 g");
    }
    proxy.stall();
    for window in &windows {
        stage.page.switch(window);
        let covered = "return document.getElementById('hold-word').textContent === 'Not connected' && document.getElementById('net').textContent === '–'";
        stage.page.until("it is covered", covered, &Value::Null);
    }
    stage.desk.place(g("4.32"));
    proxy.open();
    for window in windows.iter().rev() {
        stage.page.switch(window);
        stage.until_net("4.32 g");
    }
    // The page that has the stream is closed while the line is silent.
    proxy.stall();
    stage.page.switch(&windows[0]);
    stage.page.close_window();
    stage.page.switch(&windows[1]);
    stage.desk.place(g("5.55"));
    proxy.open();
    stage.until_net("5.55 g");
}

#[test]
fn the_sight_of_all_benches_is_covered_when_it_is_old() {
    let desk = Desk::set(|home| {
        let benches = ["left", "right"]
            .map(|name| home::bench(name, &home.port(name), "status-first"))
            .concat();
        home.settings(&format!(
            "[bell]\ndesktop = false\n[page]\nat = \"127.0.0.1:0\"\n{benches}"
        ));
        service::command(home.path())
    });
    let _right = pretend(&desk.home.port("right"), 20);
    let page = Browser::start();
    let address = crate::stage::address(&desk.home);
    let at = address
        .strip_prefix("http://")
        .unwrap()
        .split('/')
        .next()
        .unwrap()
        .to_owned();
    let proxy = Proxy::start(at.parse().unwrap());
    page.go(&address.replace(&at, &proxy.at.to_string()));
    desk.place(g("3.21"));
    let shown = "return document.getElementById('bench-list').innerText.includes('3.21 g')";
    page.until("it is shown", shown, &Value::Null);
    proxy.stall();
    let from = wall();
    let covered = "return document.getElementById('bench-list').innerText.includes('Not connected') && !document.getElementById('bench-list').innerText.includes('3.21 g')";
    page.until("it is covered", covered, &Value::Null);
    assert!(wall() - from < 4_000.0, "{}", wall() - from);
    proxy.open();
    page.until("it is shown again", shown, &Value::Null);
}

#[test]
fn the_strip_has_one_unit() {
    let stage = Stage::set();
    stage.desk.place(g("2.00"));
    stage.until_net("2.00 g");
    let script = "const { strip } = await import('/page/bench.js'); \
        const canvas = document.createElement('canvas'), chart = strip(canvas); \
        const view = (shown, net) => ({ unit: 'g', division: '0.01 g', pan: { shown, net }, job: null, weighing: null }); \
        for (const [shown, net] of given) chart.take(view(shown, net)); \
        return chart.trace().map(({ net, gross }) => [net, gross])";
    let given = json!([
        ["2.00 g", "2.00 g"],
        ["2.10 g", null],
        ["10.50 ct", null],
        ["10.50 (no unit)", null],
        ["2.20 g", "2.20 g"]
    ]);
    // What came before the carats is on another scale than what is sure, and is gone.
    assert_eq!(
        stage.page.wait_for(script, given),
        json!([[null, null], [2.2, 2.2]])
    );
}
