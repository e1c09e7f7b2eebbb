//! The benches of the settings: what was typed, checked, and what it means.
//!
//! Promises: a bench that is read can be started: its layout compiles, its rules fit each other,
//! and no two benches share a name or a port. Leaves to others: whether the port is there.

use std::path::PathBuf;
use std::sync::Arc;

use super::name::{self, Name};
use super::number::{self, DWELL, LEAST_LOAD, SILENCE, SPAN, STEADY, TOLERANCE};
use super::section::{Known, Section};
use super::{BalanceFile, BenchSettings, Folders, Form, USB_SCALE};
use crate::balance::hid::is_tael;
use crate::balance::{LinkLimits, PanRules, SteadyRule};
use crate::job::BenchRules;
use crate::mass::{CheckWeight, Class, Division, Indication, Mass, Unit};
use crate::metal::{MarkLaw, Shelf};
use crate::port::{Framing, PortSettings};
use crate::trouble::Trouble;

pub(super) const BENCH: Known = Known {
    table: "[[bench]]",
    keys: &[
        ("name", "\"left\""),
        ("port", "\"/dev/serial/by-id/NAME\""),
        ("balance", "\"signed-fixed\""),
        ("tael", "\"tael-hk\""),
        ("division", "\"0.01 g\""),
        ("repeatability", "\"0.005 g\""),
        ("class", "\"II\""),
        ("calibration_u", "\"0.004 g\""),
        ("check_weight", "\"20 g F2\""),
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
            let (port, form) = match balance {
                Balance::File(file) => {
                    let port = file.port(port);
                    let form = Form::Lines {
                        frame: file.frame,
                        layout: file.layout,
                        ask: file.ask,
                    };
                    (port, form)
                }
                // Speed and framing are nothing to a USB scale.
                Balance::Scale { tael } => {
                    let port = PortSettings::new(port, 9600, Framing::EIGHT_NONE_ONE);
                    (port, Form::Reports { tael })
                }
            };
            benches.push(BenchSettings {
                name,
                port,
                form,
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

/// What a bench's balance is read by.
#[allow(clippy::large_enum_variant)] // one a bench
enum Balance {
    File(BalanceFile),
    Scale { tael: Option<Unit> },
}

/// Whose tael the scale's tael is. (That it cannot be read is told; the settings are not used then.)
fn tael(section: &Section<'_>) -> Option<Unit> {
    let taels: Vec<(&str, Unit)> = Unit::all()
        .filter(|unit| is_tael(*unit))
        .map(|unit| (unit.symbol(), unit))
        .collect();
    section.word("tael", &taels)
}

fn balance(
    section: &Section<'_>,
    folders: &Folders,
    elsewhere: &mut Vec<Trouble>,
) -> Option<Balance> {
    let tael = tael(section);
    let name = section.needed_text("balance")?.value;
    match BalanceFile::find(name, folders) {
        Ok(file) => {
            if tael.is_some() {
                section.refuse(
                    "tael",
                    "That is for a USB scale; this balance sends lines.",
                    "Take it out, and say in the balance file's [units] what the symbol of the tael stands for.",
                );
            }
            Some(Balance::File(file))
        }
        Err(wrong) if wrong.is_unknown_balance() && name == USB_SCALE => {
            Some(Balance::Scale { tael })
        }
        Err(wrong) if wrong.is_unknown_balance() => {
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
fn asked_often_enough(section: &Section<'_>, balance: &Balance, rules: &BenchRules) {
    if let Balance::File(file) = balance
        && let Some(ask) = &file.ask
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
    let repeatability = spread(
        section,
        "repeatability",
        "No balance repeats itself without any spread.",
        "Write the standard deviation of ten weighings of one load, with its unit, or leave it out.",
    );
    let calibration_u = spread(
        section,
        "calibration_u",
        "No calibration is without any uncertainty.",
        "Write the standard uncertainty that its certificate states for the loads weighed (half of what it states with k = 2), with its unit, or leave it out.",
    );
    let class = section
        .has("class")
        .then(|| section.parsed::<Class>("class"));
    let weight = if section.has("check_weight") {
        section
            .parsed::<CheckWeight>("check_weight")
            .map(|weight| Some(weight.value))
    } else {
        Some(None)
    };
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
    let class = class.map_or(Some(None), |class| class.map(|class| Some(class.value)))?;
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
        class,
        calibration_u: calibration_u?,
        check_weight: check_weight(section, weight, division, class, divisions(least_load))?,
    })
}

/// A standard deviation or uncertainty of a mass, if it is given; the outer `None` when it cannot be
/// read or is none.
#[allow(clippy::option_option)] // left out, and unreadable, are two things
fn spread(section: &Section<'_>, key: &str, why: &str, mend: &str) -> Option<Option<Mass>> {
    if !section.has(key) {
        return Some(None);
    }
    let mass = section.parsed::<Indication>(key)?.value.mass();
    if !mass.is_positive() {
        section.refuse(key, why, mend);
        return None;
    }
    Some(Some(mass))
}

/// The check weight, if there is one; the outer `None` when it cannot be used.
#[allow(clippy::option_option)] // left out, and unusable, are two things
fn check_weight(
    section: &Section<'_>,
    typed: Option<Option<CheckWeight>>,
    division: Division,
    class: Option<Class>,
    least_load: Mass,
) -> Option<Option<CheckWeight>> {
    let Some(weight) = typed? else {
        return Some(None);
    };
    if weight.nominal().mass() < least_load || !weight.tells_units(division, class) {
        section.refuse(
            "check_weight",
            "It is too light: within what this balance may be off, it could not tell its units apart.",
            "Use a heavier weight, best near the loads that you weigh.",
        );
        return None;
    }
    Some(Some(weight))
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
