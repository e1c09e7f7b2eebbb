//! The rules of the house, read off the sources: who may name whom, what the core may not touch,
//! and how a file looks. Standard library only. Every rule is a function of a path and a text, and
//! is shown here to find a small bad sample. Leaves to others: whether the code is right.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

#[path = "tidy/read.rs"]
mod read;
#[path = "tidy/samples.rs"]
mod samples;

use std::fs;
use std::path::Path;

use read::{Token, paths, tokens};

/// The rooms that are pure: no clock, no file, no task, no log.
const CORE: [&str; 5] = ["mass", "metal", "melt", "balance", "job"];
/// Every room, in order; one names only those before it. Settings stand below the port, since they
/// are told in the port's own types; a port knows of no settings.
const ROOMS: [&str; 12] = [
    "mass", "metal", "melt", "balance", "job", // the core
    "port", "settings", "book", "bell", "serve", "bench", "command", // the shell
];
/// Paths that the core may not name, with all that lies under them.
const NOT_IN_CORE: [&str; 13] = [
    "std::time::Instant",
    "std::time::SystemTime",
    "std::fs",
    "std::net",
    "std::process",
    "std::thread",
    "std::env",
    "std::io",
    "tokio",
    "tracing",
    "jiff",
    "rustix",
    "serialport",
];
/// Macros that the core may not call.
const NOT_CALLED_IN_CORE: [&str; 5] = ["println", "eprintln", "print", "eprint", "dbg"];
/// Core files that may count in binary floating point: uncertainty and optimisation.
const FLOATS_IN: [&str; 7] = [
    "src/melt/air.rs",
    "src/melt/blend/program.rs",
    "src/melt/budget.rs",
    "src/melt/button.rs",
    "src/melt/doubt.rs",
    "src/melt/proof.rs",
    "src/melt/trials.rs",
];
/// The only files with unsafe code.
const UNSAFE_IN: [&str; 1] = ["src/port/serial.rs"];
/// The most lines of a file.
const MOST_LINES: usize = 600;

/// What is wrong with a file, one sentence each.
type Faults = Vec<String>;
/// A rule: the path from the package's folder, and the text.
type Rule = fn(&str, &str) -> Faults;

const RULES: [Rule; 9] = [
    rooms_name_only_those_above,
    core_is_pure,
    core_counts_exactly,
    begins_with_its_promise,
    is_not_too_long,
    unsafe_only_where_listed,
    nothing_is_left_undone,
    no_decision_hangs_on_a_code,
    carat_is_a_mass_and_karat_a_fineness,
];

/// The room of a file: `src/ROOM/...` or `src/ROOM.rs`.
fn room_of(path: &str) -> Option<&str> {
    let inside = path.strip_prefix("src/")?;
    let first = inside.split('/').next()?;
    let name = first.strip_suffix(".rs").unwrap_or(first);
    (name != "lib" && name != "main").then_some(name)
}

fn is_core(path: &str) -> bool {
    room_of(path).is_some_and(|room| CORE.contains(&room))
}

fn rooms_name_only_those_above(path: &str, text: &str) -> Faults {
    let Some(room) = room_of(path) else {
        return Faults::new(); // The library lists the rooms; the program may call any.
    };
    let place = ROOMS.iter().position(|known| *known == room);
    if place.is_none() && room != "trouble" {
        return vec![format!("{path} is in no room of the house")];
    }
    let mut faults = Faults::new();
    for found in paths(text) {
        let parts: Vec<&str> = found.path.split("::").collect();
        let named = match parts.as_slice() {
            ["crate", name, ..] | ["super", "super", name, ..] => name,
            ["super", name, ..] if path.ends_with("/mod.rs") => name,
            _ => continue,
        };
        let Some(other) = ROOMS.iter().position(|known| known == named) else {
            continue;
        };
        // Trouble stands above all rooms and so names none.
        if place.is_none_or(|place| other > place) {
            faults.push(format!(
                "{path}:{} names {named}, which is not above {room}",
                found.line
            ));
        }
    }
    faults
}

fn core_is_pure(path: &str, text: &str) -> Faults {
    if !is_core(path) && room_of(path) != Some("trouble") {
        return Faults::new();
    }
    let mut faults = Faults::new();
    for found in paths(text) {
        let named = found.path.strip_prefix("core::").map_or_else(
            || found.path.clone(),
            |rest| format!("std::{rest}"), // the same things under another name
        );
        for banned in NOT_IN_CORE {
            let under = named
                .strip_prefix(banned)
                .is_some_and(|rest| rest.is_empty() || rest.starts_with("::"));
            if under {
                faults.push(format!("{path}:{} names {banned} in the core", found.line));
            }
        }
        // `use std::time;` or `use std::time::*;` would let the clock in by a shorter name.
        if ["std", "std::*", "std::time", "std::time::*"].contains(&named.as_str()) {
            faults.push(format!(
                "{path}:{} opens {named} whole in the core",
                found.line
            ));
        }
    }
    let tokens = tokens(text);
    for pair in tokens.windows(2) {
        if let [(line, Token::Word(word)), (_, Token::Mark('!'))] = pair
            && NOT_CALLED_IN_CORE.contains(&word.as_str())
        {
            faults.push(format!("{path}:{line} calls {word}! in the core"));
        }
    }
    for (line, token) in &tokens {
        if matches!(token, Token::Word(word) if word == "async" || word == "await") {
            faults.push(format!("{path}:{line} has a task in the core"));
        }
    }
    faults
}

fn core_counts_exactly(path: &str, text: &str) -> Faults {
    if !is_core(path) || FLOATS_IN.contains(&path) {
        return Faults::new();
    }
    tokens(text)
        .into_iter()
        .filter(|(_, token)| match token {
            Token::Word(word) => ["f32", "f64"]
                .iter()
                .any(|kind| word == kind || word.ends_with(&format!("_{kind}"))),
            Token::Float(_) => true,
            _ => false,
        })
        .map(|(line, token)| format!("{path}:{line} counts in binary floating point: {token:?}"))
        .collect()
}

fn begins_with_its_promise(path: &str, text: &str) -> Faults {
    let first = text.lines().next().unwrap_or_default();
    let says = first
        .strip_prefix("//! ")
        .is_some_and(|rest| !rest.trim().is_empty());
    if says {
        Faults::new()
    } else {
        vec![format!(
            "{path} does not begin with a `//! ` line that says what it is"
        )]
    }
}

fn is_not_too_long(path: &str, text: &str) -> Faults {
    let lines = text.lines().count();
    if lines > MOST_LINES {
        vec![format!(
            "{path} has {lines} lines, more than {MOST_LINES}: it wants cutting"
        )]
    } else {
        Faults::new()
    }
}

fn unsafe_only_where_listed(path: &str, text: &str) -> Faults {
    if UNSAFE_IN.contains(&path) {
        return Faults::new();
    }
    tokens(text)
        .into_iter()
        .filter(|(_, token)| matches!(token, Token::Word(word) if word == "unsafe"))
        .map(|(line, _)| format!("{path}:{line} has unsafe code and is not listed for it"))
        .collect()
}

fn nothing_is_left_undone(path: &str, text: &str) -> Faults {
    let mut faults = Faults::new();
    for (at, line) in text.lines().enumerate() {
        let is_word = |c: char| c.is_alphanumeric() || c == '_';
        let mut words = line.split(|c: char| !is_word(c) && c != '!');
        let left = words.find(|word| {
            ["TODO", "FIXME", "XXX", "todo!", "unimplemented!"]
                .iter()
                .any(|mark| word == mark)
        });
        if let Some(mark) = left {
            faults.push(format!("{path}:{} leaves a {mark}", at + 1));
        }
    }
    faults
}

/// Codes of troubles and warnings are for programs outside; inside, a kind is a type.
fn no_decision_hangs_on_a_code(path: &str, text: &str) -> Faults {
    if !path.starts_with("src/") {
        return Faults::new();
    }
    // Tests hold what is told.
    let text = text
        .split_once("mod tests {")
        .map_or(text, |(text, _)| text);
    let tokens: Vec<(usize, Token)> = tokens(text)
        .into_iter()
        .filter(|(_, token)| !matches!(token, Token::Mark('(' | ')')))
        .collect();
    let mut faults = Faults::new();
    for (at, found) in tokens.windows(3).enumerate() {
        let [(line, Token::Word(word)), (_, one), (_, two)] = found else {
            continue;
        };
        let before = tokens.get(at.saturating_sub(5)..at).unwrap_or_default();
        let in_matches = before
            .iter()
            .any(|(_, token)| matches!(token, Token::Word(word) if word == "matches"));
        let is_compared = match (one, two) {
            (Token::Mark('=' | '!'), Token::Mark('=')) => true,
            (Token::Mark(','), Token::Text(_)) => in_matches,
            _ => false,
        };
        if word == "code" && is_compared {
            faults.push(format!(
                "{path}:{line} decides by a code: let it be a kind of its own"
            ));
        }
    }
    faults
}

/// What is told to people: a text that speaks of carats does not speak of fineness, and one that
/// speaks of karat does not speak of a mass, unless it names both to tell them apart.
fn carat_is_a_mass_and_karat_a_fineness(path: &str, text: &str) -> Faults {
    let mut faults = Faults::new();
    for (line, token) in tokens(text) {
        let Token::Text(said) = token else { continue };
        let said = said.to_lowercase();
        let (carat, karat) = (said.contains("carat"), said.contains("karat"));
        let any = |words: &[&str]| words.iter().any(|word| said.contains(word));
        if carat && !karat && any(&["‰", "ppt", "per mille", "fineness", "finer", "gold of"]) {
            faults.push(format!(
                "{path}:{line} says carat of a fineness: \"{said}\""
            ));
        }
        if karat && !carat && any(&[" g.", " g ", "gram", "weigh", " mass"]) {
            faults.push(format!("{path}:{line} says karat of a mass: \"{said}\""));
        }
    }
    faults
}

/// Every source file, as its path from the package's folder and its text.
fn sources() -> Vec<(String, String)> {
    fn walk(folder: &Path, into: &mut Vec<(String, String)>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, into);
            } else if path.extension().is_some_and(|end| end == "rs") {
                let name = path.strip_prefix(env!("CARGO_MANIFEST_DIR")).unwrap();
                into.push((
                    name.to_str().unwrap().to_owned(),
                    fs::read_to_string(&path).unwrap(),
                ));
            }
        }
    }
    let mut files = Vec::new();
    walk(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut files,
    );
    files.sort();
    files
}

#[test]
fn the_house_keeps_its_rules() {
    let sources = sources();
    for room in ROOMS {
        assert!(
            sources.iter().any(|(path, _)| room_of(path) == Some(room)),
            "no room {room} was found, so nothing was checked of it"
        );
    }
    let faults: Faults = sources
        .iter()
        .flat_map(|(path, text)| RULES.iter().flat_map(move |rule| rule(path, text)))
        .collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn lists_name_files_that_need_them() {
    let sources = sources();
    for path in UNSAFE_IN {
        let (_, text) = sources
            .iter()
            .find(|(known, _)| known == path)
            .unwrap_or_else(|| panic!("{path} is listed for unsafe code and does not exist"));
        assert!(
            !unsafe_only_where_listed("src/port/other.rs", text).is_empty(),
            "{path} is listed for unsafe code and has none: take it off the list"
        );
    }
}
