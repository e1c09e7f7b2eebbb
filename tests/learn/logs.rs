//! The real program learns from captured logs, shows its conclusion, and saves a file that is used.

use std::fs;
use std::path::{Path, PathBuf};

use panbell::settings::BalanceFile;
use serde_json::Value;

use super::support::home::Home;
use super::support::service::{Said, plain, run};

fn log(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/learn/logs")
        .join(name)
}

fn learn(home: &Home, words: &[&str]) -> Said {
    run(plain(home.path()).arg("learn").args(words))
}

fn json(home: &Home, words: &[&str], code: i32) -> Value {
    let said = learn(home, &[words, &["--json"]].concat());
    serde_json::from_str(&said.ends(code)).unwrap()
}

fn from(name: &str) -> Value {
    let file = log(name);
    json(
        &Home::new(),
        &["--from", file.to_str().unwrap(), "--weight", "20 g"],
        0,
    )
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
    learn(&home, &["--from", empty.to_str().unwrap()]).is_refused("No value was found");
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
