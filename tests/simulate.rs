//! `panbell simulate`: the real program as a pretend balance, read by the library, by the service,
//! and by pyserial, which knows nothing of either. Every wait has a limit.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "support/python.rs"]
mod python;
#[path = "support/mod.rs"]
mod support;

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use panbell::balance::{End, FrameSpec, Layout, Piece, Splitter};
use panbell::mass::{Reading, Shown, Status, Unit};
use panbell::port::{OpenPort, PortTrouble};
use panbell::settings::{BalanceFile, Folders, SHIPPED_BALANCES};
use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;
use support::follower::{Follower, LIMIT};
use support::home::{self, Home};
use support::service::{KilledOnDrop, Service, plain, run};

/// A way to end it.
type Finish = fn(&mut Simulated);

/// A running `panbell simulate --json`.
struct Simulated {
    child: KilledOnDrop,
    typed: Option<ChildStdin>,
    events: Receiver<Value>,
}

impl Simulated {
    fn start(home: &Home, words: &[&str]) -> Self {
        let mut command = plain(home.path());
        command.args(["simulate", "--json"]).args(words);
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let (tell, events) = channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if tell.send(serde_json::from_str(&line).unwrap()).is_err() {
                    return;
                }
            }
        });
        Self {
            typed: child.stdin.take(),
            child: KilledOnDrop(child),
            events,
        }
    }

    fn script(home: &Home, script: &str, words: &[&str]) -> Self {
        let file = home.path().join("script.txt");
        fs::write(&file, script).unwrap();
        let file = file.display().to_string();
        Self::start(home, &[words, &["--script", &file]].concat())
    }

    /// The next event of this name.
    fn event(&self, name: &str) -> Value {
        let until = Instant::now() + LIMIT;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let event = self.events.recv_timeout(left);
            let event = event.unwrap_or_else(|_| panic!("no event {name}"));
            if event["event"] == name {
                return event;
            }
        }
    }

    /// The port that it is plugged into next.
    fn port(&self) -> PathBuf {
        PathBuf::from(self.event("plugged")["port"].as_str().unwrap())
    }

    fn types(&mut self, line: &str) {
        let typed = self.typed.as_mut().unwrap();
        writeln!(typed, "{line}").unwrap();
    }

    fn signal(&self, signal: Signal) {
        let pid = Pid::from_raw(i32::try_from(self.child.0.id()).unwrap()).unwrap();
        kill_process(pid, signal).unwrap();
    }

    /// Waits for its end, which must be a good one.
    fn ends(mut self) {
        let until = Instant::now() + LIMIT;
        loop {
            if let Some(status) = self.child.0.try_wait().unwrap() {
                assert_eq!(status.code(), Some(0));
                return;
            }
            assert!(Instant::now() < until, "it did not end");
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

/// Opens a port as the service does, asks where that is wanted, and reads until a reading is as
/// wanted.
fn read_until(
    file: &BalanceFile,
    port: &Path,
    what: &str,
    wanted: impl Fn(&Reading) -> bool,
) -> Reading {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let reading = runtime.block_on(async {
        tokio::time::timeout(LIMIT, async {
            let mut port = loop {
                match OpenPort::open(&file.port(port)) {
                    Ok(port) => break port,
                    // Another test's process may hold a copy of the lock for a moment.
                    Err(PortTrouble::Busy { .. }) => {
                        tokio::time::sleep(Duration::from_millis(5)).await;
                    }
                    Err(other) => panic!("{}", other.trouble()),
                }
            };
            hear(&mut port, file, what, wanted).await
        })
        .await
    });
    reading.unwrap_or_else(|_| panic!("waited in vain for {what}"))
}

async fn hear(
    port: &mut OpenPort,
    file: &BalanceFile,
    what: &str,
    wanted: impl Fn(&Reading) -> bool,
) -> Reading {
    let mut layout = Layout::compile(&file.layout).unwrap();
    let mut splitter = Splitter::mid_stream().framed(file.frame);
    let (mut bytes, mut found) = ([0; 512], None);
    loop {
        if let Some(ask) = &file.ask {
            port.write_all(&ask.send, LIMIT).await.unwrap();
        }
        let each = |piece: Piece<'_>| {
            let Piece::Line(line) = piece else {
                panic!("{what}: {piece:?}")
            };
            match layout.read(line) {
                Ok(reading) if wanted(&reading) => found = Some(reading),
                Ok(_) => {}
                // A balance file whose line ends with a pause may be read in two parts here.
                Err(why) if !why.is_odd() || file.frame != FrameSpec::default() => {}
                Err(why) => panic!("{what}: {}: {why:?}", line.escape_ascii()),
            }
        };
        match tokio::time::timeout(Duration::from_millis(50), port.read(&mut bytes)).await {
            Ok(read) => {
                let count = read.unwrap();
                assert_ne!(count, 0, "it hung up before {what}");
                splitter.push(&bytes[..count], each);
            }
            Err(_quiet) => splitter.paused(each),
        }
        if let Some(reading) = found {
            return reading;
        }
    }
}

/// These digits, in this unit where one is stated.
fn shows(digits: &'static str, unit: Unit) -> impl Fn(&Reading) -> bool {
    move |reading| match reading.shown {
        Shown::Weighed(shown) => shown.digits().to_string() == digits && shown.unit() == unit,
        Shown::UnitUnstated(shown) => shown.to_string() == digits,
        _ => false,
    }
}

// --- What it speaks ----------------------------------------------------------------------------

#[test]
fn it_speaks_every_shipped_balance_file() {
    let home = Home::new();
    for (name, text) in SHIPPED_BALANCES {
        // By its own shape, and, under another name, as any balance file.
        let copy = format!("my-{name}");
        home.balance_file(&copy, text);
        for name in [name, &copy] {
            let file = BalanceFile::find(name, &Folders::under(home.path())).unwrap();
            // With pauses, where a pause ends a line.
            let rate = if matches!(file.frame.ends, End::Gap(_)) {
                "8"
            } else {
                "50"
            };
            let words = ["--layout", name, "--settle", "200ms", "--rate", rate];
            let mut simulated = Simulated::start(&home, &words);
            let port = simulated.port();
            for (typed, digits, unit) in [
                ("put 1234.56 g", "1234.56", Unit::Gram),
                ("take 1222.10 g", "12.46", Unit::Gram),
                ("unit ct", "62.30", Unit::Carat),
                ("tare", "0.00", Unit::Carat),
                ("empty", "-62.30", Unit::Carat),
            ] {
                simulated.types(typed);
                simulated.event("did");
                let what = format!("{typed} in {name}");
                read_until(&file, &port, &what, shows(digits, unit));
            }
            simulated.types("end");
            simulated.ends();
        }
    }
}

#[test]
fn it_speaks_a_balance_file_of_ones_own() {
    let home = Home::new();
    let text = "says = \"own\"\n[port]\nspeed = 4800\nframing = \"7E1\"\n\
        [line]\nform = '''(?<status>[VY])[ ]{2}(?<sign>[-+ ])(?<value>[0-9]{5},[0-9]{3})(?<unit>[a-z]{1,3}) {0,2}'''\ndecimal = \",\"\n\
        [units]\n\"g\" = \"g\"\n\"dwt\" = \"dwt\"\n[status]\n\"V\" = \"stable\"\n\"Y\" = \"in motion\"\n";
    home.balance_file("shop-made", text);
    let file = BalanceFile::find("shop-made", &Folders::under(home.path())).unwrap();
    let words = ["--layout", "shop-made", "--division", "0.001 dwt"];
    let mut simulated = Simulated::start(&home, &words);
    let begun = simulated.event("plugged");
    assert_eq!(
        (&begun["speed"], &begun["framing"]),
        (&4800.into(), &"7E1".into())
    );
    let port = PathBuf::from(begun["port"].as_str().unwrap());
    simulated.types("put 1.234 dwt");
    let at_rest = |reading: &Reading| {
        shows("1.234", Unit::Pennyweight)(reading) && reading.status == Status::Stable
    };
    read_until(&file, &port, "the mass at rest", at_rest);
    simulated.types("end");
    simulated.ends();
    // By a path, which begins where one stands.
    let mut command = plain(home.path());
    let file = home.path().join("balances");
    let said = command
        .current_dir(file)
        .args(["simulate", "--layout", "./shop-made.toml"]);
    let said = run(said.args(["--division", "0.001 dwt", "--script", "/nowhere/script"]));
    said.is_refused("The script /nowhere/script cannot be read");
}

#[test]
fn what_it_cannot_do_is_refused_before_anything_is_made() {
    let home = Home::new();
    let link = home.path().join("bench");
    let link_text = link.display().to_string();
    let say = |words: &[&str]| {
        let words = [&["simulate"], words, &["--link", &link_text]].concat();
        let said = run(plain(home.path()).args(words));
        assert!(said.out.is_empty(), "{said:?}");
        said
    };
    say(&["--layout", "unheard-of"]).is_refused("no balance file \"unheard-of\"");
    for (layout, words) in [
        ("usb-scale", "A USB scale sends no lines"),
        ("./shop.toml", "There is no balance file /"),
        ("shop.toml", "no balance file \"shop.toml\""),
    ] {
        let said = say(&["--layout", layout]);
        said.is_refused(words);
        for words in [
            "Shipped are signed-fixed",
            "as in ./mine.toml",
            "without .toml",
        ] {
            assert!(said.err.contains(words), "{layout}: {words}: {said:?}");
        }
        assert!(!said.err.contains("one is \"usb-scale\""), "{said:?}");
    }
    let script = home.path().join("script.txt");
    fs::write(&script, "tare\ndance\n").unwrap();
    let file = script.display().to_string();
    say(&["--layout", "status-first", "--script", &file])
        .is_refused("Line 2 of the script, \"dance\"");
    say(&["--layout", "status-first", "--script", "/nowhere/script"]).is_refused("cannot be read");
    let own = "says = \"own\"\n[port]\nspeed = 9600\nframing = \"8N1\"\n\
        [line]\nform = '''(?<value>[0-9])'''\ndecimal = \".\"\n";
    home.balance_file("narrow", own);
    say(&["--layout", "narrow"]).is_refused("No line of this layout was found");
    assert!(fs::symlink_metadata(&link).is_err(), "no link was made");
    fs::write(&link, "a job").unwrap();
    say(&["--layout", "status-first"]).is_refused("is there already");
    assert_eq!(fs::read_to_string(&link).unwrap(), "a job");
    for words in [
        ["--rate", "0"],
        ["--noise", "-1 g"],
        ["--settle", "5"],
        ["--division", "1 gr"],
    ] {
        let words = [&["simulate", "--layout", "status-first"], &words[..]].concat();
        run(plain(home.path()).args(words)).ends(2);
    }
}

// --- What happens to it ------------------------------------------------------------------------

#[test]
fn a_script_is_played_in_its_time_and_a_signal_takes_the_link_away() {
    let home = Home::new();
    let link = home.path().join("bench");
    let link_text = link.display().to_string();
    let script =
        "put 5 g\ntrickle 2.5 g in 400ms\nunplug 300ms\nat 200ms unit ct\ntake 1 g\nloop 2\n";
    let words = ["--layout", "signed-fixed", "--link", &link_text];
    let simulated = Simulated::script(&home, script, &words);
    let begun = simulated.event("plugged");
    assert_eq!(begun["link"], link_text.as_str());
    assert_eq!(
        fs::read_link(&link).unwrap(),
        Path::new(begun["port"].as_str().unwrap())
    );
    let mut pans = Vec::new();
    let mut moments = Vec::new();
    loop {
        let event = simulated.events.recv_timeout(LIMIT).unwrap();
        match event["event"].as_str().unwrap() {
            "did" => {
                pans.push((event["line"].clone(), event["pan"].clone()));
                moments.push(event["at_ms"].as_u64().unwrap());
            }
            "plugged" => {}
            "script done" => break,
            other => panic!("{other}"),
        }
    }
    let want = [
        ("put 5 g", "5.00 g"),
        ("trickle 2.5 g in 400ms", "7.50 g"),
        ("unplug 300ms", "7.50 g"),
        ("at 200ms unit ct", "7.50 g"),
        ("take 1 g", "6.50 g"),
        ("put 5 g", "11.50 g"),
        ("trickle 2.5 g in 400ms", "14.00 g"),
        ("unplug 300ms", "14.00 g"),
        ("at 200ms unit ct", "14.00 g"),
        ("take 1 g", "13.00 g"),
    ];
    let want = want.map(|(line, pan)| (Value::from(line), Value::from(pan)));
    assert_eq!(pans, want);
    // A lower bound only: a busy machine is late, and never early.
    assert!(moments[2] >= 395, "{moments:?}");
    assert!(moments[4] >= 695, "{moments:?}");
    simulated.signal(Signal::TERM);
    simulated.event("ended");
    simulated.ends();
    assert!(fs::symlink_metadata(&link).is_err(), "the link is gone");
}

#[test]
fn every_way_to_end_it_takes_the_link_away() {
    let home = Home::new();
    let link = home.path().join("bench");
    let link_text = link.display().to_string();
    // What a killed one left behind leads nowhere, and is no hindrance.
    std::os::unix::fs::symlink("/nowhere", &link).unwrap();
    let words = ["--layout", "signed-fixed", "--link", &link_text];
    let ends: [Finish; 5] = [
        |it| it.signal(Signal::INT),
        |it| it.signal(Signal::HUP),
        |it| it.signal(Signal::TERM),
        |it| drop(it.typed.take()),
        |it| it.types("end"),
    ];
    for end in ends {
        let mut simulated = Simulated::start(&home, &words);
        simulated.port();
        assert!(link.exists());
        end(&mut simulated);
        simulated.ends();
        assert!(fs::symlink_metadata(&link).is_err(), "the link is gone");
    }
    let simulated = Simulated::script(&home, "wait 100ms\nend\n", &words);
    simulated.ends();
    assert!(fs::symlink_metadata(&link).is_err(), "the link is gone");
}

#[test]
fn a_typed_line_that_is_not_understood_stops_nothing() {
    let home = Home::new();
    let mut simulated = Simulated::start(&home, &["--layout", "comma-fields"]);
    simulated.types("dance");
    let refused = simulated.event("refused");
    assert_eq!(refused["code"], "script-unreadable");
    simulated.types("put 1 g");
    assert_eq!(simulated.event("did")["pan"], "1.00 g");
    simulated.types("unplug");
    simulated.event("did");
    simulated.types("plug");
    assert!(simulated.port().exists());
    simulated.types("end");
    simulated.ends();
}

#[test]
fn the_service_hears_it_garbled_unplugged_and_silent() {
    let home = Home::new();
    let port = home.port("left");
    let port_text = port.display().to_string();
    let words = [
        "--layout",
        "status-first",
        "--link",
        &port_text,
        "--rate",
        "50",
    ];
    let mut simulated = Simulated::start(&home, &words);
    simulated.port();
    let bench = home::bench("left", &port, "status-first");
    home.settings(&format!("{}{bench}", home::NO_DESKTOP));
    let mut service = Service::start(&home);
    let follower = Follower::start(&home.socket(), "left");
    let mut mark = 0;
    for (typed, link) in [
        ("put 3 g", "talking"),
        ("garble 3s", "garbled"),
        ("put 1 g", "talking"),
        ("unplug", "absent"),
        ("plug", "talking"),
        ("silent", "silent"),
        ("talk", "talking"),
    ] {
        simulated.types(typed);
        follower.wait(mark, &format!("{link} after {typed}"), |event, data| {
            event == "state" && data["link"] == link
        });
        mark = follower.mark();
    }
    follower.wait(0, "the mass", |event, data| {
        event == "reading" && data["shown"] == "4.00 g"
    });
    service.stop();
}

// --- An independent reader ---------------------------------------------------------------------

#[test]
fn pyserial_reads_the_same_masses() {
    let home = Home::new();
    let python = python::python();
    let check = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/python/serial_check.py");
    for (layout, at_rest) in [
        (
            "status-first",
            r"stable (?P<value>[ 0-9.-]{7}) (?P<unit>\S+)",
        ),
        ("comma-fields", r"&; *(?P<value>[0-9,-]+);(?P<unit>\w+);#"),
    ] {
        let words = ["--layout", layout, "--settle", "200ms", "--rate", "50"];
        let mut simulated = Simulated::start(&home, &words);
        let port = simulated.port();
        let mut reader = read_with(&python, &check, &port, at_rest);
        let mut heard = BufReader::new(reader.0.stdout.take().unwrap()).lines();
        let mut next = || {
            heard
                .next()
                .expect("pyserial reads on")
                .unwrap()
                .replace(',', ".")
        };
        assert_eq!(next(), "open");
        assert_eq!(next(), "0.00 g", "{layout}");
        for (typed, want) in [
            ("put 12.46 g", "12.46 g"),
            ("trickle 2.4 g in 300ms", "14.86 g"),
            ("unit ct", "74.30 ct"),
            ("tare", "0.00 ct"),
            ("take 0.09 g", "-0.45 ct"),
        ] {
            simulated.types(typed);
            // On its way it may rest for a line's time at another mass.
            while next() != want {}
        }
        reader.0.kill().unwrap();
        simulated.types("end");
        simulated.ends();
    }
}

/// pyserial on this port; it ends by itself after half a minute.
fn read_with(python: &Path, check: &Path, port: &Path, at_rest: &str) -> KilledOnDrop {
    let child: Child = Command::new(python)
        .arg(check)
        .arg(port)
        .args([at_rest, "1000"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    KilledOnDrop(child)
}
