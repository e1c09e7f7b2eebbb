//! The benches of the settings: what was typed, checked, and what it means.
//!
//! Promises: a bench that is read can be started: its layout compiles, its rules fit each other,
//! and no two benches share a name or a port. Leaves to others: whether the port is there.

use std::path::PathBuf;
use std::sync::Arc;

use super::name::{self, Name};
use super::number::{self, DWELL, LEAST_LOAD, SILENCE, SPAN, STEADY, TOLERANCE};
use super::section::{Known, Section};
use super::{BalanceFile, BenchSettings, Folders};
use crate::balance::{LinkLimits, PanRules, SteadyRule};
use crate::job::BenchRules;
use crate::mass::{Class, Division, Indication, Mass};
use crate::metal::{MarkLaw, Shelf};
use crate::trouble::Trouble;

pub(super) const BENCH: Known = Known {
    table: "[[bench]]",
    keys: &[
        ("name", "\"left\""),
        ("port", "\"/dev/serial/by-id/NAME\""),
        ("balance", "\"signed-fixed\""),
        ("division", "\"0.01 g\""),
        ("repeatability", "\"0.005 g\""),
        ("class", "\"II\""),
        ("steady", "{ seconds = 1.0 }"),
        ("pan", "{ dwell_seconds = 2.0 }"),
        ("link", "{ silence_seconds = 3.0 }"),
    ],
};
pub(super) const BENCH_STEADY: Known = Known {
    table: "[bench.steady]",
    keys: &[(SPAN.key, "1"), (STEADY.key, "1.0")],
};
pub(super) const BENCH_PAN: Known = Known {
    table: "[bench.pan]",
    keys: &[
        (DWELL.key, "2.0"),
        (TOLERANCE.key, "3"),
        (LEAST_LOAD.key, "10"),
    ],
};
pub(super) const BENCH_LINK: Known = Known {
    table: "[bench.link]",
    keys: &[(SILENCE.key, "3.0")],
};

/// The name of a bench that is the only one and has none.
const ONLY: &str = "bench";
/// The largest division, in grams. A balance whose last digit is coarser is not for this work, and
/// a point that was forgotten would let a melt go wrong.
const LARGEST_DIVISION_GRAMS: i64 = 10;

/// Reads every bench. What is wrong is noted with the section, or, when it is wrong in a balance
/// file, put into `elsewhere`.
pub(super) fn benches(
    sections: &[Section<'_>],
    folders: &Folders,
    shop: (&Arc<Shelf>, &Arc<MarkLaw>),
    elsewhere: &mut Vec<Trouble>,
) -> Vec<BenchSettings> {
    let mut names: Vec<String> = Vec::new();
    let mut ports: Vec<PathBuf> = Vec::new();
    let mut benches = Vec::new();
    for section in sections {
        let name = named(section, sections.len() == 1, &mut names);
        let port = port(section, &mut ports);
        let balance = balance(section, folders, elsewhere);
        let rules = rules(section, name.as_deref(), shop);
        if let (Some(balance), Some(rules)) = (&balance, &rules) {
            asked_often_enough(section, balance, rules);
        }
        if let (Some(name), Some(port), Some(balance), Some(rules)) = (name, port, balance, rules) {
            benches.push(BenchSettings {
                name,
                port: balance.port(port),
                frame: balance.frame,
                layout: balance.layout,
                ask: balance.ask,
                rules: Arc::new(rules),
            });
        }
    }
    benches
}

fn named(section: &Section<'_>, is_only: bool, names: &mut Vec<String>) -> Option<String> {
    let name = if is_only && !section.has("name") {
        ONLY.to_owned()
    } else {
        section.parsed::<Name>("name")?.value.to_string()
    };
    if name::is_taken(&name, names.iter().map(String::as_str)) {
        section.refuse(
            "name",
            "A bench further up has that name already.",
            "Give each bench a name of its own.",
        );
    }
    names.push(name.clone());
    Some(name)
}

fn port(section: &Section<'_>, ports: &mut Vec<PathBuf>) -> Option<PathBuf> {
    let text = section.needed_text("port")?.value;
    let path = PathBuf::from(text);
    if !path.is_absolute() || text.contains('\0') {
        section.refuse(
            "port",
            "That is not the whole path of a port.",
            "Write it from the first slash, best one of the names under /dev/serial/by-id, which stay the same.",
        );
        return None;
    }
    if ports.contains(&path) {
        section.refuse(
            "port",
            "A bench further up reads that port already.",
            "Give each bench a port of its own.",
        );
    }
    ports.push(path.clone());
    Some(path)
}

fn balance(
    section: &Section<'_>,
    folders: &Folders,
    elsewhere: &mut Vec<Trouble>,
) -> Option<BalanceFile> {
    let name = section.needed_text("balance")?.value;
    match BalanceFile::find(name, folders) {
        Ok(balance) => Some(balance),
        Err(wrong) if wrong.first().code == "balance-unknown" => {
            section.refuse("balance", &wrong.first().happened, &wrong.first().mend);
            None
        }
        Err(wrong) => {
            elsewhere.extend(wrong.all().cloned());
            None
        }
    }
}

/// A reading must not grow old before the next one is asked for.
fn asked_often_enough(section: &Section<'_>, balance: &BalanceFile, rules: &BenchRules) {
    if let Some(ask) = &balance.ask
        && ask.every >= rules.link.silence
    {
        section.refuse(
            "balance",
            "It is asked so seldom that every reading is old before the next one comes.",
            &format!(
                "Write less than {} seconds behind every in its [ask], or raise {} of this bench.",
                rules.link.silence.as_secs_f32(),
                SILENCE.key
            ),
        );
    }
}

fn rules(
    section: &Section<'_>,
    name: Option<&str>,
    (shelf, law): (&Arc<Shelf>, &Arc<MarkLaw>),
) -> Option<BenchRules> {
    let division = division(section);
    let repeatability = repeatability(section);
    let class = section
        .has("class")
        .then(|| section.parsed::<Class>("class"));
    let steady = section.table("steady", &BENCH_STEADY);
    let pan = section.table("pan", &BENCH_PAN);
    let link = section.table("link", &BENCH_LINK);
    let (span, rest) = (steady.number(&SPAN), steady.number(&STEADY));
    let (dwell, tolerance) = (pan.number(&DWELL), pan.number(&TOLERANCE));
    let least_load = pan.number(&LEAST_LOAD);
    let silence = link.number(&SILENCE);
    let (tolerance, least_load) = (tolerance?, least_load?);
    if least_load <= tolerance {
        let (key, other) = if pan.has(LEAST_LOAD.key) {
            (LEAST_LOAD.key, TOLERANCE.key)
        } else {
            (TOLERANCE.key, LEAST_LOAD.key)
        };
        pan.refuse(
            key,
            &format!(
                "With a tolerance of {tolerance} divisions and a least load of {least_load}, an empty pan could count as a load."
            ),
            &format!("Keep {} above {}; change {key} or {other}.", LEAST_LOAD.key, TOLERANCE.key),
        );
    }
    let division = division?;
    let divisions = |number| division.mass().times(number::count(number));
    Some(BenchRules {
        name: name?.to_owned(),
        pan: PanRules {
            division,
            steady: SteadyRule {
                span: divisions(span?),
                time: number::duration(rest?),
            },
            tolerance: divisions(tolerance),
            least_load: divisions(least_load),
        },
        dwell: number::duration(dwell?),
        link: LinkLimits {
            silence: number::duration(silence?),
        },
        shelf: Arc::clone(shelf),
        law: Arc::clone(law),
        past: Arc::default(),
        repeatability: repeatability?,
        class: class.map_or(Some(None), |class| class.map(|class| Some(class.value)))?,
    })
}

/// The repeatability, if it is given; the outer `None` when it cannot be read.
#[allow(clippy::option_option)] // left out, and unreadable, are two things
fn repeatability(section: &Section<'_>) -> Option<Option<Mass>> {
    if !section.has("repeatability") {
        return Some(None);
    }
    let mass = section.parsed::<Indication>("repeatability")?.value.mass();
    if !mass.is_positive() {
        section.refuse(
            "repeatability",
            "No balance repeats itself without any spread.",
            "Write the standard deviation of ten weighings of one load, with its unit, or leave it out.",
        );
        return None;
    }
    Some(Some(mass))
}

fn division(section: &Section<'_>) -> Option<Division> {
    let division = section.parsed::<Division>("division")?.value;
    let largest = Mass::from_grams(LARGEST_DIVISION_GRAMS.into()).unwrap_or_default();
    if division.mass() > largest {
        section.refuse(
            "division",
            "No balance for this work has so large a division.",
            &format!("Write the step of the balance's last digit, at most {LARGEST_DIVISION_GRAMS} g, with its unit."),
        );
        return None;
    }
    Some(division)
}
