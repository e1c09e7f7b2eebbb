//! The bench page in a real browser, beside a bare page that writes the same stream into one element.
//!
//! One browser, one pretend balance for each, the same lines, in turn: the bare page gets them from a
//! few lines of plain code that read the port and pass on what it shows, as server-sent events too. The
//! difference is what the service, its guards and the drawn page cost together.

use std::fs::File;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use panbell::port::{Pace, Pretend};
use rustix::fs::{Mode, OFlags};
use rustix::termios::OptionalActions;
use serde_json::{Value, json};

use crate::driver::Browser;
use crate::stage::{Stage, address};
use crate::support::desk::{g, pretend};
use crate::table::{self, Sample};

const ROUNDS: u32 = 3;
/// Lines of which each is followed onto the page, in a round.
const LINES: u32 = 50;
const RATE: u32 = 50;
/// For so long a pan that moves is looked at, in a round.
const LOOK_MS: u32 = 5000;

pub(crate) fn measure() {
    if !has_browser() {
        println!("LOUD: chromedriver is not here, so the page is missing below");
        return;
    }
    let stage = Stage::unopened();
    // A window far above all that is poured here, so that nothing is captured.
    stage.desk.open("P-1", &["fine-silver", "fine-copper"]);
    stage.desk.lot("916", "fire-assay", "80.00");
    stage.desk.ok(&["add"]);
    stage.desk.ready();
    let bare = Bare::start();
    let mut ways = [
        Way::new("bare page", bare.address.clone(), &bare.balance),
        Way::new("bench page", address(&stage.desk.home), &stage.desk.balance),
    ];
    let page = &stage.page;
    for way in &mut ways {
        // Files, scripts and the browser itself, once.
        way.open(page);
        way.weigh(page);
        way.paint.clear();
    }
    for _ in 0..ROUNDS {
        for way in &mut ways {
            way.follow_lines(page);
        }
        // What was said of the pan is gone from it at once, which asks whether the dish was lifted.
        stage.desk.ok(&["answer", "anew"]);
        stage.desk.ready();
    }
    for round in 1..=ROUNDS {
        for way in &mut ways {
            way.look_while_it_moves(page, round);
        }
    }
    report(&ways);
}

fn has_browser() -> bool {
    let mut asked = Command::new("chromedriver");
    asked.arg("--version").stdout(Stdio::null());
    asked.status().is_ok_and(|status| status.success())
}

/// One page, and the balance behind it.
struct Way<'a> {
    name: &'static str,
    address: String,
    balance: &'a Pretend,
    paint: Vec<f64>,
    weight: f64,
    late: Vec<f64>,
    pictures: Vec<f64>,
    share: Vec<f64>,
}

impl<'a> Way<'a> {
    fn new(name: &'static str, address: String, balance: &'a Pretend) -> Self {
        Self {
            name,
            address,
            balance,
            paint: Vec::new(),
            weight: 0.0,
            late: Vec::new(),
            pictures: Vec::new(),
            share: Vec::new(),
        }
    }

    /// Opens the page and waits until it shows the pan.
    fn open(&mut self, page: &Browser) {
        page.go("about:blank");
        page.go(&self.address);
        page.until(
            "the pan is shown",
            "return / g$/.test(document.getElementById('net')?.textContent) && document.getElementById('cover')?.hidden !== false",
            &Value::Null,
        );
        let paint = page.run(
            "return performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0",
            Value::Null,
        );
        self.paint.push(paint.as_f64().unwrap());
    }

    /// The files of the page that is open, as a browser gets them that has none of them yet.
    fn weigh(&mut self, page: &Browser) {
        let bytes = page.wait_for(
            "const files = performance.getEntriesByType('resource').map((it) => it.name).filter((it) => !/[/](v1|events)/.test(it)); \
             let sum = 0; \
             for (const file of new Set([location.href, ...files])) sum += (await (await fetch(file, { cache: 'reload' })).arrayBuffer()).byteLength; \
             return sum",
            Value::Null,
        );
        self.weight = bytes.as_f64().unwrap() / 1000.0;
    }

    /// From a line on the wire to its number in the page.
    fn follow_lines(&mut self, page: &Browser) {
        self.open(page);
        // From here on the wire carries only what is timed.
        self.balance.set_pace(Pace::Silent).unwrap();
        page.run(
            "window.seen = {}; const net = document.getElementById('net'); \
             new MutationObserver(() => { window.seen[net.textContent] ??= performance.timeOrigin + performance.now(); }) \
               .observe(net, { childList: true, characterData: true, subtree: true })",
            Value::Null,
        );
        for n in 1..=LINES {
            let number = format!("0.{n:02}");
            let shows = json!(format!("{number} g"));
            page.run("delete window.seen[arguments[0]]", shows.clone());
            let sent = now();
            let line = format!("moving {number:>7} g\r\n");
            self.balance.say(line).unwrap();
            page.until(
                "the number is on the page",
                "return arguments[0] in window.seen",
                &shows,
            );
            let seen = page.run("return window.seen[arguments[0]]", shows);
            self.late.push(seen.as_f64().unwrap() - sent);
        }
        self.balance.set_pace(Pace::LinesPerSecond(RATE)).unwrap();
    }

    /// Pictures a second, and the work of the page's own thread, while metal is poured.
    fn look_while_it_moves(&mut self, page: &Browser, round: u32) {
        self.open(page);
        let over = Duration::from_millis(u64::from(LOOK_MS) + 1000);
        self.balance.trickle(g("0.60").times(round), over).unwrap();
        // Time on the processor, whoever else has it in between.
        page.tool("Performance.enable", &json!({"timeDomain": "threadTicks"}));
        let before = busy(page);
        let pictures = page.wait_for(
            "const begins = performance.now(); let pictures = 0; \
             while (performance.now() - begins < given) { await new Promise(requestAnimationFrame); pictures += 1; } \
             return pictures * 1000 / (performance.now() - begins)",
            json!(LOOK_MS),
        );
        let share = (busy(page) - before) * 1000.0 / f64::from(LOOK_MS);
        self.share.push(share * 100.0);
        self.pictures.push(pictures.as_f64().unwrap());
    }

    /// First paint, weight, pictures, share, and lateness by median and 99th percentile.
    fn figures(&self) -> [f64; 6] {
        let median = |all: &[f64]| Sample::of(all.to_vec()).median();
        let late = Sample::of(self.late.clone());
        [
            median(&self.paint),
            self.weight,
            median(&self.pictures),
            median(&self.share),
            late.median(),
            late.p99(),
        ]
    }
}

/// Seconds of work that the page's own thread has done.
fn busy(page: &Browser) -> f64 {
    let all = page.tool("Performance.getMetrics", &json!({}));
    let mut all = all["metrics"].as_array().unwrap().iter();
    let found = all.find(|it| it["name"] == "TaskDuration").unwrap();
    found["value"].as_f64().unwrap()
}

/// Milliseconds since 1970, the page's clock.
fn now() -> f64 {
    let now = SystemTime::now().duration_since(UNIX_EPOCH);
    now.unwrap().as_secs_f64() * 1000.0
}

fn report(ways: &[Way; 2]) {
    let [bare, page] = ways.each_ref().map(Way::figures);
    let row = |name: &str, all: [f64; 6]| -> Vec<String> {
        let decimals = [0, 1, 0, 1, 1, 1];
        let cells = all.iter().zip(decimals);
        let cells = cells.map(|(value, decimals)| format!("{value:.decimals$}"));
        std::iter::once(name.to_owned()).chain(cells).collect()
    };
    let mut beyond = page;
    for (beyond, bare) in beyond.iter_mut().zip(bare) {
        *beyond -= bare;
    }
    table::print(
        &format!(
            "the page in Chromium without a graphics card, {RATE} readings a second while metal is poured; {} lines followed one by one (wanted: a number on the page within 100 ms at p99)",
            ROUNDS * LINES
        ),
        &[
            "",
            "first paint ms",
            "weight kB",
            "pictures/s",
            "% of a core",
            "line to number ms",
            "p99 ms",
        ],
        &[
            row(ways[0].name, bare),
            row(ways[1].name, page),
            row("beyond bare", beyond),
        ],
    );
}

const BARE: &str = "<!doctype html><meta charset=\"utf-8\"><title>bare</title><link rel=\"icon\" href=\"data:,\">\
    <p id=\"net\">-</p><script>const net = document.getElementById('net'); \
    new EventSource('/events').onmessage = (event) => { net.textContent = event.data; };</script>";

/// A page that shows what a balance shows, and nothing else.
struct Bare {
    address: String,
    balance: Pretend,
    _folder: tempfile::TempDir,
}

impl Bare {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("port");
        let balance = pretend(&link, RATE);
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = format!("http://{}/", listener.local_addr().unwrap());
        let follower: Arc<Mutex<Option<TcpStream>>> = Arc::default();
        let lines = BufReader::new(port(&link)).lines();
        let told = Arc::clone(&follower);
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                let shown = line.split_whitespace().skip(1).collect::<Vec<_>>();
                let event = format!("data: {}\n\n", shown.join(" "));
                let mut follower = told.lock().unwrap();
                if let Some(Err(_)) = follower.as_mut().map(|it| it.write_all(event.as_bytes())) {
                    *follower = None;
                }
            }
        });
        std::thread::spawn(move || {
            for mut client in listener.incoming().map_while(Result::ok) {
                client.set_nodelay(true).unwrap();
                let mut asked = [0; 4096];
                let count = client.read(&mut asked).unwrap_or(0);
                if asked[..count].starts_with(b"GET /events") {
                    let head = "HTTP/1.1 200 OK\r\ncontent-type: text/event-stream\r\n\r\n";
                    client.write_all(head.as_bytes()).ok();
                    *follower.lock().unwrap() = Some(client);
                } else {
                    let head =
                        "HTTP/1.1 200 OK\r\ncontent-type: text/html\r\nconnection: close\r\n";
                    let length = BARE.len();
                    write!(client, "{head}content-length: {length}\r\n\r\n{BARE}").ok();
                }
            }
        });
        Self {
            address,
            balance,
            _folder: folder,
        }
    }
}

/// A port as plainly as it can be opened.
fn port(link: &Path) -> File {
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    let port = rustix::fs::open(link, flags, Mode::empty()).unwrap();
    let mut modes = rustix::termios::tcgetattr(&port).unwrap();
    modes.make_raw();
    rustix::termios::tcsetattr(&port, OptionalActions::Now, &modes).unwrap();
    File::from(port)
}
