//! Times that a program wrote before the lines of its log, and such that a balance can send.

use std::fs;

use panbell::balance::Layout;
use panbell::settings::BalanceFile;

use super::logs::{Written, json, learn, learned, plain_log};
use super::support::home::Home;

/// What is written before the line of this number.
type Stamp = Box<dyn Fn(usize) -> String>;

/// A log in which a program wrote something before every line that it heard.
fn stamped_log(line: Written, stamp: impl Fn(usize) -> String) -> String {
    let log = plain_log(line);
    let lines = log.split_inclusive('\n').enumerate();
    lines.map(|(at, line)| stamp(at) + line).collect()
}

#[test]
fn times_that_a_program_wrote_are_left_out_of_the_form() {
    let padded: Written = |shown| format!("{shown:>9} g\r\n");
    let signed: Written = |shown| format!("+{shown:>8} g\r\n");
    let second = |at: usize| 57_580 + at / 3;
    let time = move |at: usize| {
        let at = second(at);
        format!("{:02}:{:02}:{:02}", at / 3600, at / 60 % 60, at % 60)
    };
    let thousandth = |at: usize| at * 337 % 1000 / 3 + at % 3 * 333;
    let stamps: [(&str, Stamp); 6] = [
        (
            "day and thousandths",
            Box::new(move |at| format!("2026-03-04 {}.{:03} ", time(at), thousandth(at))),
        ),
        (
            "two blanks",
            Box::new(move |at| format!("2026-03-04 {}.{:03}  ", time(at), thousandth(at))),
        ),
        (
            "in brackets",
            Box::new(move |at| format!("[{}.{:03}] ", time(at), thousandth(at))),
        ),
        (
            "with a zone",
            Box::new(move |at| format!("2026-03-04T{}+01:00\t", time(at))),
        ),
        (
            "seconds and a fraction",
            Box::new(move |at| format!("{}.{:03}, ", 1_772_600_000 + second(at), thousandth(at))),
        ),
        (
            "thousandths",
            Box::new(move |at| format!("{}; ", 1_772_600_000_000 + at * 107 + at % 2)),
        ),
    ];
    for (name, stamp) in &stamps {
        for line in [padded, signed] {
            if *name == "two blanks" && line("0.00").starts_with(' ') {
                continue; // whose the second one is cannot be told
            }
            let (code, said, file) = learned("stamped.log", &stamped_log(line, stamp));
            assert_eq!(code, 0, "{name}: {said}");
            let file = BalanceFile::parse("own", &file.unwrap()).unwrap();
            let mut layout = Layout::compile(&file.layout).unwrap();
            for shown in ["0.00", "20.00", "112.34"] {
                let line = line(shown);
                let read = layout.read(line.trim_end().as_bytes());
                let mass = read.map(|reading| reading.indication().unwrap().to_string());
                assert_eq!(mass, Ok(format!("{shown} g")), "{name}: {line} {said}");
            }
        }
    }
    // A frame that begins behind the stamp shows whose it is, to the second too.
    let framed: Written = |shown| format!("<STX>{shown:>9} g<ETX>\n");
    let (code, said, file) = learned("framed.log", &stamped_log(framed, |at| time(at) + " "));
    assert_eq!(code, 0, "{said}");
    assert!(!file.unwrap().contains(':'), "{said}");
}

#[test]
fn times_that_a_balance_can_send_are_asked_about() {
    let line: Written = |shown| format!("+{shown:>8} g\r\n");
    let time = |at: usize| format!("10:{:02}:{:02}", at / 60, at % 60);
    let stamps: [(&str, Stamp); 6] = [
        ("time", Box::new(move |at| time(at) + " ")),
        (
            "in brackets",
            Box::new(move |at| format!("[{}] ", time(at))),
        ),
        (
            "day and time",
            Box::new(move |at| format!("04.03.2026 {} ", time(at))),
        ),
        (
            "to the minute",
            Box::new(|at| format!("04.03.2026 10:{:02} ", at / 20)),
        ),
        ("a day", Box::new(|_| "2026-03-04 ".to_owned())),
        (
            "a number that counts",
            Box::new(|at| format!("{} ", 1_772_600_000 + at)),
        ),
    ];
    for (name, stamp) in &stamps {
        let log = stamped_log(line, stamp);
        let home = Home::new();
        let path = home.path().join("asked.log");
        fs::write(&path, &log).unwrap();
        let words = ["--from", path.to_str().unwrap(), "--weight", "20 g"];
        let with = log.lines().next().unwrap();
        let without = line("0.00");
        for (said, code, stamps, reads) in [
            (None, 3, "kept", with),
            (Some("balance"), 0, "kept", with),
            (Some("log"), 0, "left out", without.trim_end()),
        ] {
            let further: &[&str] = match &said {
                Some(whose) => &["--stamps", whose],
                None => &[],
            };
            let body = json(&home, &[&words[..], further].concat(), code);
            assert_eq!(body["stamps"], stamps, "{name}: {body:#}");
            let open = body["unsettled"].to_string();
            assert_eq!(
                open.contains("--stamps log if"),
                said.is_none(),
                "{name}: {open}"
            );
            let file = BalanceFile::parse("asked", body["file"].as_str().unwrap()).unwrap();
            let mut layout = Layout::compile(&file.layout).unwrap();
            let read = layout.read(reads.as_bytes());
            let mass = read.map(|reading| reading.indication().unwrap().to_string());
            assert_eq!(
                mass,
                Ok("0.00 g".to_owned()),
                "{name} {said:?}: {reads} {body:#}"
            );
        }
    }
    // A log without any, and a time that goes back: nothing is left out.
    let home = Home::new();
    let path = home.path().join("none.log");
    for log in [
        plain_log(line),
        stamped_log(line, |at| time(99 - at % 90 * 7 % 90) + " "),
    ] {
        fs::write(&path, log).unwrap();
        let from = path.to_str().unwrap();
        learn(&home, &["--from", from, "--stamps", "log"]).is_refused("No time stamp");
    }
    let port = ["/nowhere/port", "--stamps", "log"];
    assert_eq!(
        learn(&home, &port).code,
        2,
        "what is heard live has no stamps"
    );
}
