//! The real program at a real pseudo-terminal with a pretend balance and a person's hands.

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::process::{Child, ChildStdin, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use panbell::mass::Mass;
use panbell::port::{Nature, Pace, Pretend, PretendSettings, shape};
use panbell::settings::BalanceFile;

use super::support::desk::g;
use super::support::home::{self, Home};
use super::support::http;
use super::support::service::{KilledOnDrop, Service, plain};

/// Far more than a step takes, even on a busy machine.
const LIMIT: Duration = Duration::from_mins(2);

fn pretend(home: &Home, layout: &str, pace: Pace) -> Pretend {
    Pretend::start(PretendSettings {
        link: home.port("left"),
        nature: Nature {
            division: "0.01 g".parse().unwrap(),
            settling: Duration::from_millis(300),
            noise: Mass::ZERO,
            seed: 3,
        },
        shape: shape(layout).unwrap(),
        pace,
        speed: 57_600,
    })
    .unwrap()
}

/// `panbell learn` at work, with a person in front of it.
struct Learning {
    child: KilledOnDrop,
    keys: ChildStdin,
    lines: Receiver<String>,
    all: String,
}

impl Learning {
    fn start(home: &Home, words: &[&str]) -> Self {
        let mut child: Child = plain(home.path())
            .arg("learn")
            .arg(home.port("left"))
            .args(words)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .unwrap();
        let keys = child.stdin.take().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let (send, lines) = channel();
        std::thread::spawn(move || {
            out.lines()
                .map_while(Result::ok)
                .try_for_each(|line| send.send(line))
        });
        Self {
            child: KilledOnDrop(child),
            keys,
            lines,
            all: String::new(),
        }
    }

    /// Waits until it says this.
    fn until(&mut self, words: &str) {
        let end = Instant::now() + LIMIT;
        loop {
            let left = end.saturating_duration_since(Instant::now());
            let line = self
                .lines
                .recv_timeout(left)
                .unwrap_or_else(|_| panic!("\"{words}\" was never said: {}", self.all));
            self.all.push_str(&line);
            self.all.push('\n');
            if line.contains(words) {
                return;
            }
        }
    }

    fn type_line(&mut self, text: &str) {
        writeln!(self.keys, "{text}").unwrap();
    }

    /// The rest of what it says, and its exit code.
    fn end(mut self) -> (i32, String) {
        while let Ok(line) = self.lines.recv_timeout(LIMIT) {
            self.all.push_str(&line);
            self.all.push('\n');
        }
        (self.child.0.wait().unwrap().code().unwrap_or(-1), self.all)
    }
}

/// The steps at the pan.
fn weigh(learning: &mut Learning, balance: &Pretend) {
    learning.until("Empty the pan");
    learning.type_line("");
    learning.until("Put the check weight of 20 g on");
    balance
        .trickle(g("20"), Duration::from_millis(900))
        .unwrap();
    // The movement is heard before the key is pressed.
    std::thread::sleep(Duration::from_millis(1300));
    learning.type_line("");
    learning.until("Lift it");
    balance.place(Mass::ZERO).unwrap();
    learning.type_line("");
    // Nothing below zero was heard, so one step more is asked for.
    learning.until("press the balance's own tare or zero key");
    balance.place(g("20")).unwrap();
    balance.press_tare().unwrap();
    // The key waits for a rest; the weight is lifted when zero is shown.
    std::thread::sleep(Duration::from_millis(2500));
    balance.place(Mass::ZERO).unwrap();
    learning.type_line("");
}

fn saved(home: &Home) -> BalanceFile {
    let text = fs::read_to_string(home.path().join("balances/own.toml")).unwrap();
    BalanceFile::parse("own", &text).unwrap()
}

#[test]
fn a_balance_that_streams_is_learned_and_then_weighed_with() {
    let home = Home::new();
    let balance = pretend(&home, "status-first", Pace::LinesPerSecond(20));
    let mut learning = Learning::start(&home, &["--weight", "20 g", "--save", "own"]);
    weigh(&mut learning, &balance);
    let (code, said) = learning.end();
    assert_eq!(code, 0, "{said}");
    for words in [
        "the check weight proves it",
        "\"moving\" is in motion.",
        "\"stable\" is stable.",
        "A pseudo-terminal is commonly heard at every speed",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let file = saved(&home);
    assert_eq!(
        (file.speed, file.framing.to_string(), &file.ask),
        (9600, "8N1".to_owned(), &None)
    );

    // The service reads the same balance with what was learned.
    let bench = home::bench("left", &home.port("left"), "own");
    home.settings(&format!("{}{bench}", home::NO_DESKTOP));
    let _service = Service::start(&home);
    // The balance was tared with the weight on.
    balance.place(g("32.34")).unwrap();
    let end = Instant::now() + LIMIT;
    loop {
        let view = http::get(&home.socket(), "/v1/bench/left").unwrap().json();
        if view["pan"]["shown"] == "12.34 g" && view["pan"]["steady"] == true {
            break;
        }
        assert!(Instant::now() < end, "{view:#}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn a_balance_that_must_be_asked_is_asked_only_with_what_was_allowed() {
    let home = Home::new();
    let balance = pretend(
        &home,
        "signed-fixed",
        Pace::WhenAsked(b"brilvo\r\n".to_vec()),
    );
    let words = [
        "--weight",
        "20 g",
        "--save",
        "own",
        "--may-send",
        r"\x05",
        "--may-send",
        r"brilvo\r\n",
    ];
    let mut learning = Learning::start(&home, &words);
    weigh(&mut learning, &balance);
    let (code, said) = learning.end();
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("sent when asked"), "{said}");
    assert!(
        said.find(r#"Asking at 9600 with "\x05"."#)
            < said.find(r#"Asking at 9600 with "brilvo\r\n"."#),
        "{said}"
    );
    assert_eq!(saved(&home).ask.unwrap().send, b"brilvo\r\n");
}

#[test]
fn nothing_is_sent_to_a_silent_balance_without_leave() {
    let home = Home::new();
    let _balance = pretend(
        &home,
        "signed-fixed",
        Pace::WhenAsked(b"brilvo\r\n".to_vec()),
    );
    let learning = Learning::start(&home, &["--weight", "20 g", "--seconds", "1"]);
    let (code, said) = learning.end();
    assert_eq!(code, 1, "{said}");
    assert!(!said.contains("Asking"), "{said}");
}

#[test]
fn it_listens_for_a_time_when_nobody_is_at_the_keyboard() {
    let home = Home::new();
    let balance = pretend(&home, "comma-fields", Pace::LinesPerSecond(25));
    let kept = home.path().join("kept.bin");
    let words = [
        "--weight",
        "20 g",
        "--seconds",
        "6",
        "--keep",
        kept.to_str().unwrap(),
    ];
    let mut learning = Learning::start(&home, &words);
    learning.until("Listening");
    // The first seconds show the empty pan.
    std::thread::sleep(Duration::from_secs(2));
    balance
        .trickle(g("20"), Duration::from_millis(800))
        .unwrap();
    let (code, said) = learning.end();
    // No tare key was pressed, so a minus was never heard.
    assert_eq!(code, 3, "{said}");
    assert!(said.contains("minus = \"not proven\""), "{said}");
    assert!(said.contains("press the balance's own tare key"), "{said}");
    assert!(said.contains("The unit is g: the check weight proves it (0.00 with an empty pan, 20.00 with the weight)."), "{said}");
    // What was kept teaches the same.
    let again = plain(home.path())
        .args([
            "learn",
            "--from",
            kept.to_str().unwrap(),
            "--weight",
            "20 g",
        ])
        .output()
        .unwrap();
    let form = |text: &str| {
        text.lines()
            .find(|line| line.starts_with("form = "))
            .map(str::to_owned)
    };
    assert_eq!(form(&String::from_utf8_lossy(&again.stdout)), form(&said));
}

/// A balance whose wire is heard at its own speed and framing only: gives what was saved.
fn hunted(speed: u32, framing: &str) -> (BalanceFile, String) {
    let home = Home::new();
    let balance = Pretend::start(PretendSettings {
        link: home.port("left"),
        nature: Nature {
            division: "0.01 g".parse().unwrap(),
            settling: Duration::from_millis(300),
            noise: Mass::ZERO,
            seed: 3,
        },
        shape: shape("status-first").unwrap(),
        pace: Pace::LinesPerSecond(20),
        speed,
    })
    .unwrap();
    balance.set_wired(Some(framing.parse().unwrap())).unwrap();
    let mut learning = Learning::start(&home, &["--weight", "20 g", "--save", "own"]);
    weigh(&mut learning, &balance);
    let (code, said) = learning.end();
    assert_eq!(code, 0, "{said}");
    (saved(&home), said)
}

#[test]
fn the_speed_of_a_wire_is_found_by_listening() {
    let (file, said) = hunted(4800, "8N1");
    assert_eq!(
        (file.speed, &*file.framing.to_string()),
        (4800, "8N1"),
        "{said}"
    );
    assert!(said.contains("Listening at 2400"), "{said}");
}

#[test]
fn seven_bits_with_a_check_are_told_by_the_top_bit() {
    let (file, said) = hunted(2400, "7E1");
    assert_eq!(
        (file.speed, &*file.framing.to_string()),
        (2400, "7E1"),
        "{said}"
    );
}
