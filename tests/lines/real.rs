//! Every shape through the real program: the service on real pseudo-terminals.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::Stdio;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use panbell::mass::Mass;
use panbell::port::{Nature, Pace, Pretend, PretendSettings, SHAPES, shape};
use serde_json::Value;

use crate::support::desk::g;
use crate::support::follower::{Follower, LIMIT};
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::service::{KilledOnDrop, Service, plain, run, word_to_confirm};
use crate::support::wire::RawWire;

/// A pretend balance of a shape, asked or talking as its balance file says.
fn pretend(link: &Path, name: &str) -> Pretend {
    let pace = match super::shipped(name).ask {
        Some(ask) => Pace::WhenAsked(ask.send),
        None => Pace::LinesPerSecond(8),
    };
    Pretend::start(PretendSettings {
        link: link.to_owned(),
        nature: Nature {
            division: "0.01 g".parse().unwrap(),
            settling: Duration::from_millis(100),
            noise: Mass::ZERO,
            seed: 7,
        },
        shape: shape(name).unwrap(),
        pace,
        speed: 57_600,
    })
    .unwrap()
}

fn view(home: &Home, bench: &str) -> Value {
    let reply = http::get(&home.socket(), &format!("/v1/bench/{bench}")).unwrap();
    assert_eq!(reply.status, 200, "{reply:?}");
    reply.json()
}

fn until(home: &Home, bench: &str, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
    let until = Instant::now() + LIMIT;
    loop {
        let view = view(home, bench);
        if wanted(&view) {
            return view;
        }
        assert!(
            Instant::now() < until,
            "{bench}: waited in vain until {what}: {view:#}"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// A home with a bench and a pretend balance of each of these shapes, and its service.
fn started(names: &[&str]) -> (Home, Vec<Pretend>, Service) {
    let home = Home::new();
    let balances = names.iter();
    let balances = balances
        .map(|name| pretend(&home.port(name), name))
        .collect();
    let benches: String = names
        .iter()
        .map(|name| home::bench(name, &home.port(name), name))
        .collect();
    home.settings(&format!("{}{benches}", home::NO_DESKTOP));
    let service = Service::start(&home);
    (home, balances, service)
}

#[test]
fn every_shape_is_heard_by_the_real_service() {
    let names = SHAPES.map(|(name, _)| name);
    let (home, balances, service) = started(&names);
    for balance in &balances {
        balance.place(g("1234.56")).unwrap();
    }
    for name in names {
        let shown = if name == "value-only" {
            "1234.56 (no unit)"
        } else {
            "1234.56 g"
        };
        let view = until(&home, name, shown, |view| view["pan"]["shown"] == shown);
        assert_eq!(view["link"], "talking", "{name}");
        assert_eq!(view["damaged"], 0, "{name}");
        if name != "value-only" {
            until(&home, name, "at rest", |view| view["pan"]["steady"] == true);
        }
    }
    let checked = names.iter().position(|name| *name == "stx-check").unwrap();
    for _ in 0..3 {
        balances[checked]
            .say("\u{2}#      99.99|g    \u{3}!")
            .unwrap();
    }
    let bench = "stx-check";
    let view = until(&home, bench, "they are counted", |view| {
        view["damaged"].as_u64() >= Some(3)
    });
    assert_ne!(view["pan"]["shown"], "99.99 g");
    service.until_logged("frames of the balance fail their check");
}

#[test]
fn a_balance_that_must_be_asked_weighs_a_lot_and_its_silence_is_told_as_such() {
    let (home, balances, _service) = started(&["asked"]);
    let follower = Follower::start(&home.socket(), "asked");
    let say = |words: &[&str]| run(plain(home.path()).args(words)).ends(0);
    until(&home, "asked", "it talks", |view| view["link"] == "talking");
    say(&["open", "T-1", "--target", "750", "--colour", "yellow"]);
    say(&["lot", "916", "fire-assay"]);
    until(&home, "asked", "a base", |view| {
        view["pan"]["net"] == "0.00 g"
    });
    let mark = follower.mark();
    balances[0].place(g("20.00")).unwrap();
    follower.bell(mark, "recorded");
    assert_eq!(home.masses("T-1"), ["20.00 g"]);

    let mark = follower.mark();
    balances[0].set_pace(Pace::Silent).unwrap();
    let bell = follower.bell(mark, "hold");
    let text = bell["text"].as_str().unwrap();
    assert!(text.contains("is asked and does not answer"), "{bell}");
    let pace = Pace::WhenAsked(super::shipped("asked").ask.unwrap().send);
    balances[0].set_pace(pace).unwrap();
    follower.bell(mark, "resumed");
}

#[test]
fn a_digit_in_brackets_is_told_as_not_for_payment_wherever_masses_are_shown() {
    let (home, balances, _service) = started(&["last-in-brackets", "stx-check"]);
    let say = |words: &[&str]| run(plain(home.path()).args(words));
    for (place, (bench, is_told)) in [("last-in-brackets", true), ("stx-check", false)]
        .into_iter()
        .enumerate()
    {
        let follower = Follower::start(&home.socket(), bench);
        let on = |words: &[&str]| say(&[words, &["--bench", bench]].concat());
        let talks = until(&home, bench, "it talks", |view| {
            view["pan"]["steady"] == true
        });
        assert_eq!(talks["fine_digit"], is_told);
        let ticket = format!("T-{place}");
        on(&["open", &ticket, "--target", "750", "--colour", "yellow"]).ends(0);
        on(&["lot", "916", "fire-assay"]).ends(0);
        until(&home, bench, "a base", |view| {
            view["pan"]["net"] == "0.00 g"
        });
        let mark = follower.mark();
        balances[place].place(g("20.00")).unwrap();
        follower.bell(mark, "recorded");
        assert_eq!(home.masses(&ticket), ["20.00 g"]);
        let mut child = plain(home.path());
        let child = child.args(["follow", "--line", "--bench", bench]);
        let mut child = KilledOnDrop(child.stdout(Stdio::piped()).spawn().unwrap());
        let out = BufReader::new(child.0.stdout.take().unwrap());
        let shown = out
            .lines()
            .map(Result::unwrap)
            .find(|line| line.contains("20.00 g"));
        let told = shown.unwrap().contains("the last digit is not for payment");
        assert_eq!(told, is_told);
        balances[place].place(Mass::ZERO).unwrap();
        let word = word_to_confirm(&on(&["close"]));
        let statement = on(&["close", "--confirm", &word]).ends(3);
        let note = "Note: The balance puts the last digit of each mass in brackets: it is not meant for payment.";
        assert_eq!(statement.contains(note), is_told, "{statement}");
        let file = std::fs::read_to_string(home.job_path(&ticket)).unwrap();
        assert_eq!(file.contains("\"fine_digit\":true"), is_told);
        run(plain(home.path()).arg("verify")).ends(0);
    }
}

#[test]
fn a_balance_asked_too_seldom_for_its_bench_is_refused() {
    let home = Home::new();
    let mut file = super::shipped("asked");
    file.ask.as_mut().unwrap().every = Duration::from_secs(3);
    home.balance_file("slow", &file.to_toml());
    home.settings(&home::bench("left", &home.port("left"), "slow"));
    run(plain(home.path()).arg("run")).is_refused_with("every reading is old");
}

#[test]
fn keys_are_pressed_only_on_order_and_never_under_a_weighing() {
    let home = Home::new();
    let wire = RawWire::new(&home.port("left"));
    let mut file = super::shipped("asked");
    file.ask.as_mut().unwrap().tare = Some(b"tumkel\r\n".to_vec());
    home.balance_file("keyed", &file.to_toml());
    let bench = home::bench("left", &home.port("left"), "keyed");
    home.settings(&format!("{}{bench}", home::NO_DESKTOP));
    let _service = Service::start(&home);
    let say = |words: &[&str]| run(plain(home.path()).args(words));
    say(&["tare"]).is_refused("is not heard");

    // A balance that answers each request, at its own thread.
    let (heard, is_over) = (Mutex::new(Vec::new()), AtomicBool::new(false));
    let count = |words: &[u8]| {
        let heard = heard.lock().unwrap();
        heard.windows(words.len()).filter(|it| *it == words).count()
    };
    std::thread::scope(|scope| {
        let _over = OnDrop(&is_over);
        scope.spawn(|| {
            while !is_over.load(Ordering::Relaxed) {
                let fresh = wire.hear();
                for _ in fresh.windows(6).filter(|it| *it == b"brilvo") {
                    wire.send(b"#      12.34|g    \r\n");
                }
                heard.lock().unwrap().extend(fresh);
                std::thread::sleep(Duration::from_millis(5));
            }
        });
        until(&home, "left", "12.34 g", |view| {
            view["pan"]["shown"] == "12.34 g"
        });
        assert_eq!(count(b"tumkel"), 0);
        say(&["zero"]).is_refused("does not say what presses the zero key");
        say(&["tare"]).ends(0);
        // Two more requests, and the key before them is there, once.
        let asked = count(b"brilvo\r\n");
        until(&home, "left", "it is asked on", |_| {
            count(b"brilvo\r\n") > asked + 2
        });
        assert_eq!(count(b"tumkel\r\n"), 1);

        say(&["open", "T-1", "--target", "750", "--colour", "yellow"]).ends(0);
        say(&["lot", "916", "fire-assay"]).ends(0);
        say(&["tare"]).is_refused("A weighing is under way");
        assert_eq!(count(b"tumkel"), 1);
    });
}

/// Ends a thread also when its test fails.
struct OnDrop<'a>(&'a AtomicBool);

impl Drop for OnDrop<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

#[test]
fn a_port_that_takes_nothing_delays_no_reading() {
    // The balance talks without listening: what is sent to it fills the wire and stays there.
    let home = Home::new();
    let wire = RawWire::new(&home.port("left"));
    let mut file = super::shipped("asked");
    let ask = file.ask.as_mut().unwrap();
    ask.send = vec![b'v'; 64];
    ask.every = Duration::from_millis(20);
    home.balance_file("deaf", &file.to_toml());
    let bench = home::bench("left", &home.port("left"), "deaf");
    home.settings(&format!("{}{bench}", home::NO_DESKTOP));
    let mut service = Service::start(&home);
    let began = Instant::now();
    let mut lines = 0;
    // A pseudo-terminal holds 4 KiB, some sixty requests; each line lets one more be sent.
    while began.elapsed() < Duration::from_secs(3) {
        wire.send(format!("#{:>11}|g    \r\n", format!("{lines}.00")).as_bytes());
        lines += 1;
        std::thread::sleep(Duration::from_millis(20));
    }
    let last = format!("{}.00 g", lines - 1);
    until(&home, "left", &last, |view| {
        // Said again, since a reading grows old.
        wire.send(format!("#{:>11}|g    \r\n", last.trim_end_matches(" g")).as_bytes());
        view["pan"]["shown"] == last
    });
    assert!(service.is_running());
    assert!(service.stop() < Duration::from_secs(5));
}
