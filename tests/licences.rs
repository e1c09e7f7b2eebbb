//! Licences: every crate that is part of the program on Linux stands in `src/command/licences.txt`
//! with its licence and the notices that it asks for, and each licence is one that may be used.
//!
//! `UPDATE=1 cargo test --test licences` writes the file anew after a change of the dependencies.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// Licences that may be used, the best liked first: what asks for least. A program under MIT may be
/// shipped with all of them; of a file under MPL-2.0 the source must be told, and it stays as it is.
const ALLOWED: [&str; 8] = [
    "Unlicense",
    "Zlib",
    "Apache-2.0",
    "MIT",
    "ISC",
    "BSD-3-Clause",
    "Unicode-3.0",
    "MPL-2.0",
];
/// Those whose notice must be shipped with a program. The text of Apache-2.0 is shipped too, once.
const ASK_FOR_THEIR_NOTICE: [&str; 5] = ["MIT", "ISC", "BSD-3-Clause", "Unicode-3.0", "MPL-2.0"];
/// The platform that the program is for.
const PLATFORM: &str = "x86_64-unknown-linux-gnu";
const FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/src/command/licences.txt");

type Set = BTreeSet<String>;

/// Every way to fulfil an expression of licences: `OR` and `/` are a choice, `AND` is both, and what
/// is allowed on top (`WITH`) is not needed.
fn ways(expression: &str) -> Vec<Set> {
    let spaced = expression
        .replace('(', " ( ")
        .replace(')', " ) ")
        .replace('/', " OR ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    let all = either(&words, &mut at);
    assert_eq!(at, words.len(), "{expression}");
    all
}

fn either(words: &[&str], at: &mut usize) -> Vec<Set> {
    let mut all = both(words, at);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        all.extend(both(words, at));
    }
    all
}

fn both(words: &[&str], at: &mut usize) -> Vec<Set> {
    let mut all = one(words, at);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        let more = one(words, at);
        all = all
            .iter()
            .flat_map(|set| more.iter().map(|other| set.union(other).cloned().collect()))
            .collect();
    }
    all
}

fn one(words: &[&str], at: &mut usize) -> Vec<Set> {
    let word = words[*at];
    *at += 1;
    if word == "(" {
        let all = either(words, at);
        assert_eq!(words[*at], ")");
        *at += 1;
        return all;
    }
    if words.get(*at) == Some(&"WITH") {
        *at += 2;
    }
    vec![Set::from([word.to_owned()])]
}

/// The way of an expression that is liked best; none when none is allowed.
fn chosen(expression: &str) -> Option<Set> {
    let rank = |set: &Set| -> Option<usize> {
        let place = |name: &String| ALLOWED.iter().position(|it| it == name);
        set.iter().map(place).sum()
    };
    let ranked = ways(expression).into_iter();
    ranked
        .filter_map(|set| Some((rank(&set)?, set)))
        .min()
        .map(|(_, set)| set)
}

struct Crate {
    name: String,
    version: String,
    stated: String,
    source: String,
    folder: PathBuf,
}

/// Everything that is compiled into the program.
fn crates() -> Vec<Crate> {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--locked", "--format-version", "1"])
        .args(["--filter-platform", PLATFORM])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    let all: Value = serde_json::from_slice(&output.stdout).unwrap();
    let id = |value: &Value| value["id"].as_str().unwrap().to_owned();
    let list = |value: &Value| value.as_array().unwrap().clone();
    let nodes: BTreeMap<String, Value> = list(&all["resolve"]["nodes"])
        .into_iter()
        .map(|node| (id(&node), node))
        .collect();
    let root = all["resolve"]["root"].as_str().unwrap().to_owned();
    let (mut seen, mut next) = (BTreeSet::new(), vec![root.clone()]);
    while let Some(one) = next.pop() {
        if !seen.insert(one.clone()) {
            continue;
        }
        for needed in list(&nodes[&one]["deps"]) {
            // Not what only its tests or its building need.
            if list(&needed["dep_kinds"])
                .iter()
                .any(|kind| kind["kind"].is_null())
            {
                next.push(needed["pkg"].as_str().unwrap().to_owned());
            }
        }
    }
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let mut crates: Vec<Crate> = list(&all["packages"])
        .iter()
        .filter(|package| seen.contains(&id(package)) && id(package) != root)
        .map(|package| Crate {
            name: text(&package["name"]),
            version: text(&package["version"]),
            stated: text(&package["license"]),
            source: text(&package["repository"]),
            folder: Path::new(package["manifest_path"].as_str().unwrap())
                .parent()
                .unwrap()
                .to_owned(),
        })
        .collect();
    crates.sort_by(|one, other| (&one.name, &one.version).cmp(&(&other.name, &other.version)));
    crates
}

/// The files of a crate with the notices of these licences, each as its text.
fn notices(one: &Crate, licences: &Set) -> Vec<String> {
    let mut files: Vec<(String, PathBuf)> = fs::read_dir(&one.folder)
        .unwrap()
        .map(|file| file.unwrap())
        .filter(|file| file.file_type().unwrap().is_file())
        .map(|file| {
            (
                file.file_name().to_string_lossy().to_uppercase(),
                file.path(),
            )
        })
        .filter(|(name, _)| {
            ["LICEN", "COPYING", "NOTICE"]
                .iter()
                .any(|it| name.starts_with(it))
        })
        .collect();
    files.sort();
    let unneeded = |name: &str| {
        name.contains("APACHE")
            || name.contains("GPL")
            || (name.contains("MIT") && !licences.contains("MIT"))
    };
    files.retain(|(name, _)| !unneeded(name));
    files
        .iter()
        .map(|(_, path)| String::from_utf8_lossy(&fs::read(path).unwrap()).replace("\r\n", "\n"))
        .collect()
}

/// Who has the copyright, and the rest of a notice.
fn parted(notice: &str) -> (Vec<String>, String) {
    let is_of_whom = |line: &&str| {
        let line = line.trim().to_lowercase();
        line.starts_with("copyright ") && line.chars().any(|c| c.is_ascii_digit() || c == '(')
    };
    let of_whom = notice
        .lines()
        .filter(is_of_whom)
        .map(|line| line.trim().to_owned());
    let rest: Vec<&str> = notice.lines().filter(|line| !is_of_whom(line)).collect();
    (of_whom.collect(), rest.join("\n").trim().to_owned())
}

/// Texts that differ by their breaks of lines and their marks alone are one.
fn alike(text: &str) -> String {
    let letters = text.chars().filter(|c| c.is_alphanumeric());
    letters.collect::<String>().to_lowercase()
}

/// The whole file.
fn written() -> String {
    let crates = crates();
    assert!(crates.len() > 100, "{}", crates.len());
    let mut text = String::from(
        "panbell itself is under the MIT licence (the file LICENSE).\n\n\
         These crates are part of the program, unchanged, each under the licence named; where there is\n\
         a choice, it was made here. Their notices, as far as they ask for them, follow.\n\n",
    );
    let mut bodies: BTreeMap<String, (String, Vec<String>)> = BTreeMap::new();
    let mut apache = None;
    for one in &crates {
        let Some(licences) = chosen(&one.stated) else {
            panic!(
                "{} {}: {:?} is not allowed",
                one.name, one.version, one.stated
            );
        };
        let named: Vec<&str> = licences.iter().map(String::as_str).collect();
        let _infallible = writeln!(
            text,
            "{} {}: {}",
            one.name,
            one.version,
            named.join(" and ")
        );
        if licences.contains("MPL-2.0") {
            let _infallible = writeln!(
                text,
                "    Its source code, to which the licence gives a right: {}",
                one.source
            );
        }
        if licences.contains("Apache-2.0") && apache.is_none() {
            let file = one.folder.join("LICENSE-APACHE");
            apache = fs::read_to_string(file)
                .ok()
                .map(|text| text.replace("\r\n", "\n"));
        }
        let asks = |name: &&String| ASK_FOR_THEIR_NOTICE.contains(&name.as_str());
        let told = notices(one, &licences);
        let asked = licences.iter().any(|name| asks(&name));
        // Apache-2.0 asks for the NOTICE of a crate, if it has one.
        if !asked {
            let has_notice = fs::read_dir(&one.folder).unwrap().any(|file| {
                file.unwrap()
                    .file_name()
                    .to_string_lossy()
                    .to_uppercase()
                    .starts_with("NOTICE")
            });
            assert!(
                !has_notice,
                "{} has a NOTICE, which must be shipped",
                one.name
            );
            continue;
        }
        assert!(!told.is_empty(), "{} has no file with its notice", one.name);
        for notice in told {
            let (of_whom, body) = parted(&notice);
            let place = bodies.entry(alike(&body)).or_insert((body, Vec::new()));
            place.1.push(format!("{} {}", one.name, one.version));
            place
                .1
                .extend(of_whom.iter().map(|line| format!("    {line}")));
        }
    }
    let mut bodies: Vec<(String, Vec<String>)> = bodies.into_values().collect();
    bodies.sort_by(|one, other| one.1.cmp(&other.1));
    bodies.push((
        apache.expect("the text of Apache-2.0"),
        vec!["All that are under Apache-2.0".to_owned()],
    ));
    for (body, of) in bodies {
        let rule = "-".repeat(78);
        let _infallible = write!(text, "\n{rule}\n{}\n\n{}\n", of.join("\n"), body.trim_end());
    }
    // No blanks at the ends of lines.
    let lines: Vec<&str> = text.lines().map(str::trim_end).collect();
    lines.join("\n") + "\n"
}

#[test]
fn every_crate_of_the_program_is_listed_with_its_licence_and_its_notice() {
    let fresh = written();
    if std::env::var_os("UPDATE").is_some() {
        fs::write(FILE, &fresh).unwrap();
    }
    let kept = fs::read_to_string(FILE).unwrap_or_default();
    assert!(
        kept == fresh,
        "{FILE} is not as the dependencies are: UPDATE=1 cargo test --test licences"
    );
    let line = |start: &str| kept.lines().any(|line| line.starts_with(start));
    assert!(line("serialport ") && kept.contains("Mozilla Public License, v. 2.0"));
    assert!(kept.contains("Its source code, to which the licence gives a right: https://"));
}

#[test]
fn the_program_prints_them() {
    let output = Command::new(env!("CARGO_BIN_EXE_panbell"))
        .arg("licences")
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    assert_eq!(
        String::from_utf8(output.stdout).unwrap(),
        fs::read_to_string(FILE).unwrap()
    );
}

#[test]
fn a_licence_that_is_not_allowed_is_noticed_and_a_choice_is_made() {
    let named = |text: &str| chosen(text).map(|set| Vec::from_iter(set).join(" and "));
    for (text, want) in [
        ("MIT", Some("MIT")),
        ("MIT OR Apache-2.0", Some("Apache-2.0")),
        ("MIT/Apache-2.0", Some("Apache-2.0")),
        ("Apache-2.0 WITH LLVM-exception OR MIT", Some("Apache-2.0")),
        (
            "(MIT OR Apache-2.0) AND Unicode-3.0",
            Some("Apache-2.0 and Unicode-3.0"),
        ),
        ("MIT OR GPL-3.0-only", Some("MIT")),
        ("GPL-3.0-only", None),
        ("MIT AND AGPL-3.0-only", None),
        ("LGPL-2.1-or-later OR SSPL-1.0", None),
        ("Proprietary", None),
    ] {
        assert_eq!(named(text).as_deref(), want, "{text}");
    }
    // A crate that states none is none that may be used.
    assert!(std::panic::catch_unwind(|| chosen("")).is_err());
}
