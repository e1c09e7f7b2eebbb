//! A browser: Chromium without a window, driven by `WebDriver` as the W3C describes it, with nothing but a socket and JSON.
//! One browser at a time, since two would starve each other on a small machine.

use std::io::{Read as _, Write as _};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use serde_json::{Value, json};

use crate::support::follower::LIMIT;
use crate::support::service::KilledOnDrop;

static ONE: Mutex<()> = Mutex::new(());

/// How the screen is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Screen {
    pub(crate) width: u32,
    pub(crate) height: u32,
    /// Pixels of the device to one of the page.
    pub(crate) scale: u32,
    pub(crate) touch: bool,
}

/// A ten-inch tablet, lying.
pub(crate) const TABLET: Screen = Screen {
    width: 1280,
    height: 800,
    scale: 1,
    touch: false,
};
/// A phone, standing.
pub(crate) const PHONE: Screen = Screen {
    width: 390,
    height: 844,
    scale: 2,
    touch: true,
};
/// The tablet at 200 per cent: half as many pixels of the page.
pub(crate) const ZOOMED: Screen = Screen {
    width: 640,
    height: 400,
    scale: 2,
    touch: false,
};

pub(crate) struct Browser {
    port: u16,
    session: String,
    _driver: KilledOnDrop,
    profile: tempfile::TempDir,
    _alone: MutexGuard<'static, ()>,
}

impl Browser {
    pub(crate) fn start() -> Self {
        let alone = ONE.lock().unwrap_or_else(PoisonError::into_inner);
        let port = free_port();
        let profile = tempfile::tempdir().unwrap();
        let child = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is not here: tests/run installs chromium and chromium-driver");
        let mut browser = Self {
            port,
            session: String::new(),
            _driver: KilledOnDrop(child),
            profile,
            _alone: alone,
        };
        let until = Instant::now() + LIMIT;
        while browser.call("GET", "/status", &Value::Null).is_err() {
            assert!(Instant::now() < until, "chromedriver does not answer");
            std::thread::sleep(Duration::from_millis(20));
        }
        let folder = browser.profile.path().display();
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "goog:loggingPrefs": {"browser": "ALL"},
            "goog:chromeOptions": {"args": [
                "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars",
                "--disable-background-networking", "--no-first-run", "--mute-audio", "--force-color-profile=srgb",
                "--window-size=1280,800", format!("--user-data-dir={folder}"),
            ]},
        }}});
        let made = browser.call("POST", "/session", &wanted).unwrap();
        browser.session = format!("/session/{}", made["sessionId"].as_str().unwrap());
        browser.screen(TABLET);
        browser
    }

    fn call(&self, method: &str, path: &str, body: &Value) -> Result<Value, String> {
        let text = if body.is_null() {
            String::new()
        } else {
            body.to_string()
        };
        let address = (Ipv4Addr::LOCALHOST, self.port);
        let mut stream = TcpStream::connect(address).map_err(|error| error.to_string())?;
        stream.set_read_timeout(Some(2 * LIMIT)).unwrap();
        let request = format!(
            "{method} {path} HTTP/1.1\r\nhost: localhost:{}\r\nconnection: close\r\n\
             content-type: application/json\r\ncontent-length: {}\r\n\r\n{text}",
            self.port,
            text.len()
        );
        stream
            .write_all(request.as_bytes())
            .map_err(|error| error.to_string())?;
        let mut answer = Vec::new();
        // It says how long its answer is, and need not hang up after it.
        let mut part = vec![0; 65_536];
        loop {
            if let Some(whole) = body_of(&answer) {
                let answer: Value =
                    serde_json::from_slice(whole).map_err(|error| error.to_string())?;
                let value = answer["value"].clone();
                return match value["error"].as_str() {
                    Some(error) => Err(format!("{error}: {}", value["message"])),
                    None => Ok(value),
                };
            }
            match stream.read(&mut part) {
                Ok(0) => return Err("the driver hung up".to_owned()),
                Ok(count) => answer.extend_from_slice(&part[..count]),
                Err(error) => return Err(error.to_string()),
            }
        }
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> Value {
        let path = format!("{}{path}", self.session);
        self.call(method, &path, body)
            .unwrap_or_else(|why| panic!("{path}: {why}"))
    }

    pub(crate) fn go(&self, address: &str) {
        self.ask("POST", "/url", &json!({"url": address}));
    }

    /// What a piece of script gives back.
    #[allow(clippy::needless_pass_by_value)] // most are made for the call
    pub(crate) fn run(&self, script: &str, given: Value) -> Value {
        self.ask(
            "POST",
            "/execute/sync",
            &json!({"script": script, "args": [given]}),
        )
    }

    /// What a piece of script gives back that may wait: the body of an async function.
    #[allow(clippy::needless_pass_by_value)]
    pub(crate) fn wait_for(&self, script: &str, given: Value) -> Value {
        let script = format!(
            "const done = arguments[1]; (async (given) => {{ {script} }})(arguments[0]).then(done, (why) => done({{ failed: String(why && why.stack || why) }}))"
        );
        let answer = self.ask(
            "POST",
            "/execute/async",
            &json!({"script": script, "args": [given]}),
        );
        assert!(answer["failed"].is_null(), "{}", answer["failed"]);
        answer
    }

    /// Waits until a piece of script is true.
    pub(crate) fn until(&self, what: &str, script: &str, given: &Value) {
        let until = Instant::now() + LIMIT;
        while self.run(script, given.clone()) != Value::Bool(true) {
            assert!(
                Instant::now() < until,
                "waited in vain until {what}; the page says: {}\n{}",
                self.text("body"),
                self.run("return JSON.stringify([document.activeElement.outerHTML.slice(0, 200), [...document.querySelectorAll(\"[data-offer], [data-waits]\")].map((it) => it.outerHTML)])", Value::Null)
            );
            std::thread::sleep(Duration::from_millis(30));
        }
    }

    /// The text that is shown of the first element found.
    pub(crate) fn text(&self, found: &str) -> String {
        let script = "return document.querySelector(arguments[0])?.innerText ?? ''";
        self.run(script, found.into()).as_str().unwrap().to_owned()
    }

    fn element(&self, found: &str) -> String {
        let element = self.ask(
            "POST",
            "/element",
            &json!({"using": "css selector", "value": found}),
        );
        let ids = element.as_object().unwrap();
        ids.values().next().unwrap().as_str().unwrap().to_owned()
    }

    /// Clicks as a mouse does: into the middle of what must be in sight and covered by nothing.
    pub(crate) fn click(&self, found: &str) {
        let element = self.element(found);
        self.ask("POST", &format!("/element/{element}/click"), &json!({}));
    }

    /// Presses keys one after the other, wherever the keyboard is. `WebDriver` names some by private
    /// characters: U+E003 is Backspace, U+E004 Tab, U+E007 Enter, U+E00C Escape.
    pub(crate) fn press(&self, keys: &str) {
        let keys: Vec<Value> = keys
            .chars()
            .flat_map(|key| {
                ["keyDown", "keyUp"].map(|kind| json!({"type": kind, "value": key.to_string()}))
            })
            .collect();
        self.ask(
            "POST",
            "/actions",
            &json!({"actions": [{"type": "key", "id": "keys", "actions": keys}]}),
        );
    }

    /// Presses a key as a switch does whose contact bounces: closed and open by turns for these milliseconds each. The
    /// browser is told when each was, so that it is so on a busy machine too.
    pub(crate) fn bounce(&self, key: &str, turns: &[u64]) {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap();
        let began = since.as_secs_f64();
        let (named, code) = named(key);
        let mut passed = 0;
        let closed = turns.len() + turns.len() % 2;
        for turn in 0..closed {
            let kind = match (turn % 2, named.chars().count()) {
                (1, _) => "keyUp",
                (_, 1) => "keyDown",
                _ => "rawKeyDown",
            };
            let text = if named.chars().count() == 1 {
                named
            } else {
                ""
            };
            let at = began + f64::from(u32::try_from(passed).unwrap()) / 1000.0;
            self.tool(
                "Input.dispatchKeyEvent",
                &json!({"type": kind, "key": named, "code": code, "text": text, "timestamp": at,
                    "windowsVirtualKeyCode": virtual_code(named)}),
            );
            passed += turns.get(turn).copied().unwrap_or(0);
            // In its own time too, as far as the machine keeps up.
            let due = Duration::from_millis(passed);
            let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap();
            std::thread::sleep((since + due).saturating_sub(now));
        }
    }

    /// Holds a key down as long as it takes to repeat so often. `code` is the key's place on the keyboard.
    pub(crate) fn hold_down(&self, key: &str, code: &str, repeats: usize) {
        let text = match key {
            "Enter" => "\r",
            _ if key.chars().count() == 1 => key,
            _ => "",
        };
        for turn in 0..=repeats {
            let kind = if text.is_empty() {
                "rawKeyDown"
            } else {
                "keyDown"
            };
            self.tool(
                "Input.dispatchKeyEvent",
                &json!({"type": kind, "key": key, "code": code, "text": text, "autoRepeat": turn > 0,
                    "windowsVirtualKeyCode": virtual_code(key)}),
            );
            std::thread::sleep(Duration::from_millis(if turn == 0 { 500 } else { 33 }));
        }
        self.tool(
            "Input.dispatchKeyEvent",
            &json!({"type": "keyUp", "key": key, "code": code, "windowsVirtualKeyCode": virtual_code(key)}),
        );
    }

    /// Taps with a finger where an element is, so many times, so many milliseconds apart.
    pub(crate) fn tap(&self, found: &str, times: usize, apart: u64) {
        let place = self.run(
            "const it = document.querySelector(arguments[0]); if (!it) return null; it.scrollIntoView({ block: 'nearest' }); \
             const box = it.getBoundingClientRect(); return [box.x + box.width / 2, box.y + box.height / 2]",
            found.into(),
        );
        if place.is_null() {
            // It went away as a finger would have come to it.
            return;
        }
        for _ in 0..times {
            self.tool(
                "Input.dispatchTouchEvent",
                &json!({"type": "touchStart", "touchPoints": [{"x": place[0], "y": place[1]}]}),
            );
            self.tool(
                "Input.dispatchTouchEvent",
                &json!({"type": "touchEnd", "touchPoints": []}),
            );
            std::thread::sleep(Duration::from_millis(apart));
        }
    }

    /// A command of the browser's own tools.
    pub(crate) fn tool(&self, command: &str, given: &Value) -> Value {
        self.ask(
            "POST",
            "/goog/cdp/execute",
            &json!({"cmd": command, "params": given}),
        )
    }

    pub(crate) fn screen(&self, screen: Screen) {
        self.tool(
            "Emulation.setDeviceMetricsOverride",
            &json!({"width": screen.width, "height": screen.height, "deviceScaleFactor": screen.scale, "mobile": screen.touch}),
        );
        self.tool(
            "Emulation.setTouchEmulationEnabled",
            &json!({"enabled": screen.touch, "maxTouchPoints": 5}),
        );
    }

    /// What the person prefers: `prefers-color-scheme` and the like.
    pub(crate) fn prefers(&self, features: &[(&str, &str)]) {
        let features: Vec<Value> = features
            .iter()
            .map(|(name, value)| json!({"name": name, "value": value}))
            .collect();
        self.tool("Emulation.setEmulatedMedia", &json!({"features": features}));
    }

    /// Leaves a picture of what is in sight.
    pub(crate) fn picture(&self, name: &str) {
        let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("page");
        std::fs::create_dir_all(&folder).unwrap();
        let picture = self.ask("GET", "/screenshot", &Value::Null);
        std::fs::write(
            folder.join(format!("{name}.png")),
            base64(picture.as_str().unwrap()),
        )
        .unwrap();
    }

    /// Opens further pages; gives every window.
    pub(crate) fn further(&self, count: usize, address: &str) -> Vec<String> {
        for _ in 0..count {
            let made = self.ask("POST", "/window/new", &json!({"type": "tab"}));
            self.switch(made["handle"].as_str().unwrap());
            self.go(address);
        }
        let all = self.ask("GET", "/window/handles", &Value::Null);
        let all = all.as_array().unwrap().iter();
        all.map(|handle| handle.as_str().unwrap().to_owned())
            .collect()
    }

    /// The window that is driven.
    pub(crate) fn window(&self) -> String {
        let handle = self.ask("GET", "/window", &Value::Null);
        handle.as_str().unwrap().to_owned()
    }

    pub(crate) fn switch(&self, window: &str) {
        self.ask("POST", "/window", &json!({"handle": window}));
    }

    pub(crate) fn close_window(&self) {
        self.ask("DELETE", "/window", &Value::Null);
    }

    /// What the page complained of since the last time, but for lines that were lost on purpose.
    pub(crate) fn complaints(&self) -> Vec<String> {
        let log = self.ask("POST", "/se/log", &json!({"type": "browser"}));
        let log = log.as_array().unwrap().iter();
        log.map(|line| line["message"].as_str().unwrap().to_owned())
            .filter(|line| !line.contains("net::ERR_"))
            .collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // Or the browser would outlive its driver.
        self.call("DELETE", &self.session, &Value::Null).ok();
    }
}

/// The name of a key and its place on the keyboard, of a letter, a digit or one that `WebDriver` names.
fn named(key: &str) -> (&str, String) {
    match key {
        "\u{e003}" => ("Backspace", "Backspace".to_owned()),
        "\u{e007}" => ("Enter", "Enter".to_owned()),
        " " => (" ", "Space".to_owned()),
        _ if key.starts_with(|c: char| c.is_ascii_digit()) => (key, format!("Digit{key}")),
        _ => (key, format!("Key{}", key.to_uppercase())),
    }
}

/// Windows's number of a key, which Chromium wants besides.
fn virtual_code(key: &str) -> u32 {
    match key {
        "Backspace" => 8,
        "Tab" => 9,
        "Enter" => 13,
        _ => key.to_uppercase().chars().next().map_or(0, u32::from),
    }
}

pub(crate) fn free_port() -> u16 {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
    listener.local_addr().unwrap().port()
}

/// The body of an answer, once it is whole.
fn body_of(answer: &[u8]) -> Option<&[u8]> {
    let end = answer.windows(4).position(|part| part == b"\r\n\r\n")? + 4;
    let opening = std::str::from_utf8(&answer[..end]).unwrap().to_lowercase();
    let length = opening
        .lines()
        .find_map(|line| line.strip_prefix("content-length:"))?;
    answer.get(end..end + length.trim().parse::<usize>().unwrap())
}

fn base64(text: &str) -> Vec<u8> {
    const ALPHABET: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let digits: Vec<u32> = text
        .bytes()
        .filter_map(|byte| ALPHABET.iter().position(|known| *known == byte))
        .map(|digit| u32::try_from(digit).unwrap())
        .collect();
    let mut bytes = Vec::with_capacity(digits.len() * 3 / 4);
    for four in digits.chunks(4) {
        let sum = four.iter().fold(0, |sum, digit| sum << 6 | digit) << (6 * (4 - four.len()));
        bytes.extend_from_slice(&sum.to_be_bytes()[1..four.len()]);
    }
    bytes
}
