//! The real program learns from captured logs, shows its conclusion, and saves a file that is used.

use std::fs;
use std::path::{Path, PathBuf};

use panbell::balance::Layout;
use panbell::mass::{Shown, Status};
use panbell::settings::BalanceFile;
use serde_json::Value;

use super::support::home::Home;
use super::support::service::{Said, plain, run};

fn log(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/learn/logs")
        .join(name)
}

pub(crate) fn learn(home: &Home, words: &[&str]) -> Said {
    run(plain(home.path()).arg("learn").args(words))
}

pub(crate) fn json(home: &Home, words: &[&str], code: i32) -> Value {
    let said = learn(home, &[words, &["--json"]].concat());
    serde_json::from_str(&said.ends(code)).unwrap()
}

fn from(name: &str) -> Value {
    let file = log(name);
    // The print key was pressed three times, and never below zero.
    let code = if name == "print-key.log" { 3 } else { 0 };
    let words = ["--from", file.to_str().unwrap(), "--weight", "20 g"];
    json(&Home::new(), &words, code)
}

#[test]
fn logs_of_several_kinds_are_learned() {
    for (name, unit, framing, odd, status) in [
        ("framed-xor.bin", "g", "8N1", 0, true),
        ("written-out.log", "g", "8N1", 0, true),
        ("print-key.log", "g", "8N1", 0, false),
        ("even-check-bit.bin", "grain", "7E1", 0, true),
        ("timed-and-noisy.log", "g", "8N1", 3, true),
    ] {
        let body = from(name);
        assert_eq!(body["unit"], unit, "{name}: {body:#}");
        assert_eq!(body["unit_known"], "proven", "{name}: {body:#}");
        assert_eq!(body["framing"], framing, "{name}");
        assert_eq!(body["missed"], 0, "{name}: {body:#}");
        assert!(body["odd"].as_u64().unwrap() <= odd + 2, "{name}: {body:#}");
        assert!(body["read"].as_u64().unwrap() >= 3, "{name}: {body:#}");
        let text = body["file"].as_str().unwrap();
        let file = BalanceFile::parse(name, text).unwrap();
        assert_eq!(!file.layout.statuses.is_empty(), status, "{name}: {text}");
        let open = body["unsettled"].as_array().unwrap();
        assert!(
            open.iter()
                .any(|text| text.as_str().unwrap().contains("speed")),
            "{open:?}"
        );
    }
    let framed = from("framed-xor.bin");
    assert!(
        framed["file"].as_str().unwrap().contains("check = \"xor\""),
        "{framed:#}"
    );
    let key = from("print-key.log");
    assert!(
        key["file"].as_str().unwrap().contains("skip = ["),
        "{key:#}"
    );
}

#[test]
fn the_conclusion_is_marked_under_the_lines() {
    let file = log("timed-and-noisy.log");
    let said = learn(
        &Home::new(),
        &["--from", file.to_str().unwrap(), "--weight", "20 g"],
    );
    let text = said.ends(0);
    let lines: Vec<&str> = text.lines().collect();
    let at = lines
        .iter()
        .position(|line| line.ends_with("RS,+20.00,g") || line.ends_with("RS,+0.00,g"))
        .unwrap();
    let (above, below) = (lines[at], lines[at + 1]);
    for (text, mark) in [("RS", 'r'), ("+", 's'), ("g", 'u')] {
        let place = above.rfind(text).unwrap();
        assert_eq!(below.as_bytes()[place] as char, mark, "{above}\n{below}");
    }
    for words in [
        "the check weight proves it",
        "\"RS\" is stable.",
        "\"MV\" is in motion.",
        "Not settled:",
        "[line]",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
}

#[test]
fn a_file_is_saved_once_and_over_another_only_by_force() {
    let home = Home::new();
    let file = log("written-out.log");
    let words = [
        "--from",
        file.to_str().unwrap(),
        "--weight",
        "20 g",
        "--save",
        "mine",
    ];
    let saved = home.path().join("balances/mine.toml");
    let text = learn(&home, &words).ends(0);
    assert!(text.contains("balance = \"mine\""), "{text}");
    let first = fs::read_to_string(&saved).unwrap();
    BalanceFile::parse("mine", &first).unwrap();
    fs::write(&saved, "says = \"by hand\"\n").unwrap();
    learn(&home, &words).is_refused("There is already a balance file");
    assert_eq!(fs::read_to_string(&saved).unwrap(), "says = \"by hand\"\n");
    let forced = json(&home, &[&words[..], &["--force"]].concat(), 0);
    assert_eq!(forced["saved"], saved.to_str().unwrap());
    assert_eq!(fs::read_to_string(&saved).unwrap(), first);
    let left: Vec<_> = fs::read_dir(home.path().join("balances"))
        .unwrap()
        .collect();
    assert_eq!(left.len(), 1, "nothing else is left there: {left:?}");
    learn(&home, &["--from", file.to_str().unwrap(), "--save", "../x"]).is_refused("is no name");
}

#[test]
fn what_cannot_be_learned_is_told() {
    let home = Home::new();
    let empty = home.path().join("empty.log");
    fs::write(&empty, "").unwrap();
    learn(&home, &["--from", empty.to_str().unwrap()]).is_refused("Nothing was heard");
    fs::write(&empty, "no numbers\nat all\n").unwrap();
    let refused = learn(&home, &["--from", empty.to_str().unwrap()]);
    refused.is_refused("No value was found");
    assert!(
        !refused.err.contains("speed"),
        "it reads as text: {}",
        refused.err
    );
    learn(&home, &["--from", "/nowhere/at.all"]).is_refused("cannot be read");
    let folder = home.path().to_str().unwrap().to_owned();
    learn(&home, &["--from", &folder]).is_refused("not an ordinary file");
    assert_eq!(learn(&home, &[]).code, 2);
    // A weight that does not fit the line's unit is a warning, and no unit is taken.
    let file = log("written-out.log");
    let body = json(
        &home,
        &["--from", file.to_str().unwrap(), "--weight", "100 ct"],
        0,
    );
    assert_eq!(body["unit_known"], "proven", "100 ct are 20 g");
    let body = json(
        &home,
        &["--from", file.to_str().unwrap(), "--weight", "4 g"],
        3,
    );
    assert_eq!(body["unit_known"], "conflict", "{body:#}");
    assert!(
        !body["file"].as_str().unwrap().contains("\"g\" = \"g\""),
        "{body:#}"
    );
}

/// What is learned of a log with a weight of 20 g, its exit code and what it says.
pub(crate) fn learned(name: &str, log: &str) -> (i32, String, Option<String>) {
    let home = Home::new();
    let path = home.path().join(name);
    fs::write(&path, log).unwrap();
    let from = path.to_str().unwrap();
    let mut command = plain(home.path());
    let words = ["learn", "--from", from, "--weight", "20 g", "--save", "own"];
    let said = run(command.args(words));
    let file = fs::read_to_string(home.path().join("balances/own.toml")).ok();
    (said.code, format!("{}{}", said.out, said.err), file)
}

/// Whether the pan rests where a plain log shows this.
pub(crate) fn rests(shown: &str) -> bool {
    matches!(shown, "0.00" | "20.00" | "-20.00")
}

/// A plain log: nothing on the pan, 20 g, nothing; then 20 g that are tared and lifted. Each line as
/// `line` writes it.
pub(crate) fn plain_log(line: impl Fn(&str) -> String) -> String {
    let steps = [
        "0.00", "4.31", "11.87", "18.02", "20.00", "13.40", "2.15", "0.00", "6.27", "15.71",
        "20.00", "0.00", "-3.39", "-16.24", "-20.00",
    ];
    steps
        .iter()
        .flat_map(|shown| std::iter::repeat_n(line(shown), if rests(shown) { 15 } else { 1 }))
        .collect()
}

#[test]
fn a_rare_word_with_a_number_is_no_weighing() {
    for odd in [
        "ERR 4",
        "CAL 20.00",
        "TOTAL 32.10",
        "UNDER -0.05",
        "ID 12345",
        "No 0012",
    ] {
        let log = plain_log(|shown| format!("{shown:>9}\r\n"));
        let half = log.len() / 2 / 11 * 11;
        let log = format!(
            "{}{}{}",
            &log[..half],
            format!("{odd}\r\n").repeat(3),
            &log[half..]
        );
        let (_, said, file) = learned("odd.log", &log);
        let Some(file) = file else { continue };
        let mut layout =
            Layout::compile(&BalanceFile::parse("own", &file).unwrap().layout).unwrap();
        let mass = layout.read(odd.as_bytes()).map(|reading| reading.shown);
        assert!(
            !matches!(mass, Ok(Shown::UnitUnstated(_) | Shown::Weighed(_))),
            "{odd}: {mass:?}\n{said}"
        );
        assert!(!said.contains("is stable."), "{odd}: {said}");
    }
}

#[test]
fn a_weight_that_was_named_and_not_seen_leaves_the_unit_out() {
    let log = plain_log(|shown| {
        let tenth: f64 = shown.parse::<f64>().unwrap() / 10.0;
        format!("{tenth:>9.3} g\r\n")
    });
    let (code, said, file) = learned("tenth.log", &log);
    assert_eq!(code, 3, "{said}");
    if let Some(file) = file {
        assert!(
            !BalanceFile::parse("own", &file)
                .unwrap()
                .layout
                .units
                .iter()
                .any(|(symbol, _)| symbol == "g"),
            "{file}"
        );
    }
}

#[test]
fn the_digits_behind_a_point_are_never_the_mass() {
    let log = plain_log(|shown| format!("+{shown:>8}\r\n").replace("+ ", "+0"));
    let half = log.len() / 2 / 11 * 11;
    let log = format!(
        "{}{}{}",
        &log[..half],
        "+99999.99\r\n".repeat(3),
        &log[half..]
    );
    let (_, said, file) = learned("over.log", &log);
    let file = file.unwrap_or_default();
    assert!(!file.contains("\\.(?<value>"), "{file}\n{said}");
}

#[test]
fn digits_written_from_behind_are_read_from_behind() {
    // 20.00 g comes as 00.0200, and 4.31 on the way as 13.4000.
    let log = plain_log(|shown| {
        let (sign, bare) = match shown.strip_prefix('-') {
            Some(bare) => ("-", bare),
            None => ("", shown),
        };
        let back: String = format!("{bare:0>7}").chars().rev().collect();
        format!("={sign}{back}\r\n")
    });
    let (code, said, file) = learned("reversed.log", &log);
    assert_eq!(code, 0, "{said}");
    let file = file.unwrap();
    assert!(file.contains("digits = \"last first\""), "{file}");
    let spec = BalanceFile::parse("own", &file).unwrap().layout;
    let mut layout = Layout::compile(&spec).unwrap();
    for (line, mass) in [("=13.4000", "4.31"), ("=-00.0200", "-20.00")] {
        let shown = layout.read(line.as_bytes()).unwrap().shown;
        assert_eq!(shown, Shown::UnitUnstated(mass.parse().unwrap()), "{file}");
    }
}

#[test]
fn a_seldom_word_among_words_captures_nothing() {
    let log = plain_log(|shown| {
        let word = if rests(shown) { "ST" } else { "US" };
        format!("{word} {shown:>8} g\r\n").repeat(2)
    });
    let line = log.lines().next().unwrap().len() + 2;
    let half = log.len() / line / 2 * line;
    let odd = "ER     4.00 g\r\n".repeat(3);
    let (_, said, file) = learned(
        "seldom.log",
        &format!("{}{odd}{}", &log[..half], &log[half..]),
    );
    let file = file.unwrap_or_else(|| panic!("{said}"));
    let statuses = BalanceFile::parse("own", &file).unwrap().layout.statuses;
    let of = |word: &str| {
        statuses
            .iter()
            .find(|(known, _)| known == word)
            .map(|(_, it)| *it)
    };
    assert_eq!(of("ST"), Some(Status::Stable), "{file}\n{said}");
    assert_ne!(of("ER"), Some(Status::Stable), "{file}\n{said}");
    let mut layout = Layout::compile(&BalanceFile::parse("own", &file).unwrap().layout).unwrap();
    let read = layout.read(b"ER     4.00 g");
    assert!(
        read.is_err() || read.is_ok_and(|it| it.status == Status::InMotion),
        "{read:?} {file}"
    );
}

#[test]
fn a_word_is_stable_only_if_it_came_with_the_check_weight() {
    // "OK" comes on the empty pan only; with the weight on it the balance sends "US" all the time.
    let word = |shown: &str| if shown == "0.00" { "OK" } else { "US" };
    let log = plain_log(|shown| format!("{} {shown:>8} g\r\n", word(shown)));
    // Up to the lifting of the weight.
    let log: String = log.split_inclusive('\n').take(50).collect();
    let (_, said, file) = learned("empty-only.log", &log);
    assert!(
        said.contains("never while the check weight lay still"),
        "{said}"
    );
    assert!(!said.contains("is stable"), "{said}");
    let file = BalanceFile::parse("own", &file.unwrap_or_else(|| panic!("{said}"))).unwrap();
    let mut layout = Layout::compile(&file.layout).unwrap();
    let read = layout.read(b"OK     0.00 g").unwrap();
    assert_eq!(read.status, Status::InMotion, "{said}");
}

/// How a balance writes what it shows.
pub(crate) type Written = fn(&str) -> String;

#[test]
fn stray_lines_are_told_and_are_no_weighings() {
    let counted = |shown: &str| format!("ST {shown:>9} g\r\n");
    let free = |shown: &str| format!("{shown} g\r\n");
    let bare = |shown: &str| format!("{shown:>9}\r\n");
    let forms: [(&str, Written, &[&str]); 3] = [
        (
            "counted",
            counted,
            &["12", "---", "ST   20.", "0.00 g", "12 g"],
        ),
        (
            "free",
            free,
            &["12", "12.34", "---", "12 g", ".34 g", "20."],
        ),
        ("bare", bare, &["12", "---", "20"]),
    ];
    for (name, line, odd) in forms {
        for stray in odd {
            for times in [1, 3] {
                let log = plain_log(line);
                let lines: Vec<&str> = log.split_inclusive('\n').collect();
                let mut all: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
                for at in 0..times {
                    all.insert(20 + at * 7, format!("{stray}\r\n"));
                }
                let (code, said, file) = learned("stray.log", &all.concat());
                let what = format!("{name}: {stray} {times} times: {said}");
                assert_eq!(code, 0, "{what}");
                let file = BalanceFile::parse("own", &file.unwrap()).unwrap();
                let mut layout = Layout::compile(&file.layout).unwrap();
                assert!(layout.read(stray.as_bytes()).is_err(), "{what}");
                assert!(
                    layout.read(lines[0].trim_end().as_bytes()).is_ok(),
                    "{what}"
                );
                let lines = if times == 1 { "1 line " } else { "3 lines " };
                let told = said.lines().any(|text| {
                    text.starts_with("- ")
                        && text.contains(lines)
                        && text.contains(&format!("\"{stray}\""))
                });
                assert!(told, "{what}");
            }
        }
    }
}
