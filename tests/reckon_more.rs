//! The reckonings beside the plain one, by the real program: density, piece and blend, as text and
//! as JSON, with what is typed wrong told in full.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)] // of JSON values, which answer null

#[path = "reckon_more/blend.rs"]
mod blend;
#[path = "reckon_more/density.rs"]
mod density;
#[path = "reckon_more/piece.rs"]
mod piece;

use std::fs;
use std::process::{Command, Output};

use rust_decimal::Decimal;
use serde_json::Value;

const SHELF: &str = r#"
[[metal]]
key = "fine-gold"
name = "fine gold"
made_of = "Au 999.9"
price_per_gram = "60.00 EUR"
stock = "10.00 g"
[[metal]]
key = "fine-silver"
name = "fine silver"
made_of = "Ag 1000"
price_per_gram = "1.10 EUR"
[[metal]]
key = "copper"
name = "pure copper"
made_of = "Cu 1000"
price_per_gram = "0.05 EUR"
[[metal]]
key = "zinc"
name = "pure zinc"
made_of = "Zn 1000"
price_per_gram = "0.01 EUR"
[[metal]]
key = "hail-white"
name = "hail white, nickel"
made_of = "Cu 220 Ni 580 Zn 200"
karats = ["18 k"]
price_per_gram = "0.02 EUR"
[[metal]]
key = "palladium"
name = "palladium sponge"
made_of = "Pd 1000"
price_per_gram = "35.00 EUR"
[[metal]]
key = "moss-green"
name = "moss green"
made_of = "Ag 780 Cu 215.2 Zn 4.8"
karats = ["14 k", "585 ppt"]
price_per_gram = "0.01 EUR"
"#;

/// What the program said and how it ended.
struct Said {
    code: i32,
    out: String,
    err: String,
}

impl Said {
    fn json(&self) -> Value {
        serde_json::from_str(&self.out)
            .unwrap_or_else(|why| panic!("{why}: {}{}", self.out, self.err))
    }

    #[track_caller]
    fn has(&self, wanted: &str) -> &Self {
        assert!(
            self.out.contains(wanted),
            "no {wanted:?} in:\n{}{}",
            self.out,
            self.err
        );
        self
    }

    #[track_caller]
    fn ended(&self, code: i32) -> &Self {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        self
    }
}

fn reckon_with(shelf: Option<&str>, arguments: &[&str]) -> Said {
    let home = tempfile::tempdir().unwrap();
    if let Some(shelf) = shelf {
        fs::write(home.path().join("shelf.toml"), shelf).unwrap();
    }
    let Output {
        status,
        stdout,
        stderr,
    } = Command::new(env!("CARGO_BIN_EXE_panbell"))
        .arg("--home")
        .arg(home.path())
        .arg("reckon")
        .args(arguments)
        .output()
        .unwrap();
    Said {
        code: status.code().unwrap(),
        out: String::from_utf8(stdout).unwrap(),
        err: String::from_utf8(stderr).unwrap(),
    }
}

fn reckon(arguments: &[&str]) -> Said {
    reckon_with(Some(SHELF), arguments)
}

/// The answer as JSON, which must end so.
#[track_caller]
fn answer(code: i32, arguments: &[&str]) -> Value {
    let said = reckon(&[arguments, &["--json"]].concat());
    said.ended(code);
    said.json()
}

/// What a question is refused with: the same for people and as JSON, three whole sentences.
#[track_caller]
fn refused(arguments: &[&str]) -> (String, String) {
    let trouble = answer(1, arguments);
    let part = |key: &str| trouble[key].as_str().unwrap().to_owned();
    let said = reckon(arguments);
    said.ended(1);
    assert_eq!(said.out, "");
    let lines: Vec<&str> = said.err.lines().collect();
    assert_eq!(lines, [part("happened"), part("means"), part("mend")]);
    assert!(lines.iter().all(|line| line.ends_with('.')), "{lines:?}");
    (part("code"), said.err.clone())
}

#[track_caller]
fn refused_as(code: &str, with: &str, arguments: &[&str]) {
    let (found, said) = refused(arguments);
    assert_eq!(found, code, "{said}");
    assert!(said.contains(with), "no {with:?} in:\n{said}");
}

/// Every number of an answer is a decimal string.
fn no_naked_number(value: &Value) {
    match value {
        Value::Number(number) => panic!("{number} is not a string"),
        Value::Array(all) => all.iter().for_each(no_naked_number),
        Value::Object(all) => all.values().for_each(no_naked_number),
        _ => {}
    }
}

fn d(value: &Value) -> Decimal {
    let text = value
        .as_str()
        .unwrap_or_else(|| panic!("{value} is no string"));
    text.parse().unwrap()
}

#[track_caller]
fn near(found: &Value, wanted: &str, within: &str) {
    let (wanted, within): (Decimal, Decimal) = (wanted.parse().unwrap(), within.parse().unwrap());
    assert!((d(found) - wanted).abs() <= within, "{found} for {wanted}");
}

#[test]
fn the_other_reckonings_do_not_swallow_what_is_meant_for_the_plain_one() {
    let mixed = [
        "--division",
        "0.001 g",
        "density",
        "--air",
        "1 g",
        "--water",
        "0.9 g",
    ];
    reckon(&[&mixed[..], &density::PLANNED].concat()).ended(2);
    reckon(&["--lot", "20g@22k", "--to", "750"]).has("makes");
}
