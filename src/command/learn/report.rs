//! What was learned, shown: the captured lines with each part marked, and what is open.
//!
//! Promises: text and JSON say the same. Leaves to others: the conclusions.

use serde::Serialize;

use crate::balance::Sign;
use crate::balance::learn::{Learnt, LearntLine, UnitKnown, What, marked};
use crate::command::output::Output;
use crate::mass::Shown;
use crate::settings::BalanceFile;
use std::path::Path;

/// Lines that are shown to people, of each build one.
const MOST_SHOWN: usize = 6;

#[derive(Serialize)]
struct Body<'a> {
    says: &'a str,
    speed: u32,
    framing: String,
    speed_known: bool,
    asked: bool,
    form: &'a str,
    decimals: u32,
    /// `proven`, `stated`, `told`, `conflict`, `unknown`.
    unit_known: &'static str,
    unit: Option<&'static str>,
    /// Whether it is proven how a value below zero looks.
    sign_known: bool,
    empty: Option<String>,
    loaded: Option<String>,
    heard: usize,
    read: usize,
    passed_over: usize,
    odd: usize,
    missed: usize,
    damaged: usize,
    /// Of times before the lines of a log: `none`, `left out`, `kept`.
    stamps: &'static str,
    unsettled: Vec<String>,
    lines: Vec<LineBody>,
    file: &'a str,
    saved: Option<String>,
}

#[derive(Serialize)]
struct LineBody {
    line: String,
    marks: String,
    parts: Vec<PartBody>,
    shown: Option<String>,
    status: Option<&'static str>,
}

#[derive(Serialize)]
struct PartBody {
    what: &'static str,
    from: usize,
    to: usize,
}

impl LineBody {
    fn of(line: &LearntLine) -> Self {
        let (above, below) = marked(line);
        let reading = line.read.ok();
        Self {
            line: above,
            marks: below,
            parts: line
                .parts
                .iter()
                .map(|part| PartBody {
                    what: word(part.what),
                    from: part.from,
                    to: part.to,
                })
                .collect(),
            shown: reading.and_then(|reading| match reading.shown {
                Shown::Weighed(mass) => Some(mass.to_string()),
                Shown::UnitUnstated(digits)
                | Shown::UnitUnknown(digits)
                | Shown::SignUnproven(digits) => Some(digits.to_string()),
                Shown::Nothing => None,
            }),
            status: reading.map(|reading| reading.status.word()),
        }
    }
}

fn word(what: What) -> &'static str {
    match what {
        What::Value => "value",
        What::Sign => "sign",
        What::Unit => "unit",
        What::Status => "status",
        What::Kind => "kind",
        What::Fine => "fine",
        What::Text => "text",
    }
}

/// Tells what was learned.
pub(super) fn tell(
    output: &Output,
    learnt: &Learnt,
    file: &BalanceFile,
    ((open, stamped), text, saved): ((Option<&'static str>, Option<bool>), &str, Option<&Path>),
) {
    let mut unsettled = learnt.unsettled.clone();
    unsettled.extend(open.map(str::to_owned));
    let (odd, missed) = (learnt.odd().count(), learnt.missed().count());
    let heard = learnt.lines.len();
    let read = learnt.readings();
    let body = Body {
        says: &learnt.says,
        speed: file.speed,
        framing: file.framing.to_string(),
        speed_known: open.is_none(),
        asked: file.ask.is_some(),
        form: &learnt.layout.line,
        decimals: learnt.decimals,
        unit_known: match learnt.unit {
            UnitKnown::Proven(_) => "proven",
            UnitKnown::Stated(_) => "stated",
            UnitKnown::Told(_) => "told",
            UnitKnown::Conflict { .. } => "conflict",
            UnitKnown::No => "unknown",
        },
        unit: learnt.unit.unit().map(crate::mass::Unit::symbol),
        sign_known: learnt.knows_sign(),
        empty: learnt.levels.0.map(|value| value.to_string()),
        loaded: learnt.levels.1.map(|value| value.to_string()),
        heard,
        read,
        passed_over: heard.saturating_sub(read + odd + missed),
        odd,
        missed,
        damaged: learnt.damaged,
        stamps: match stamped {
            None => "none",
            Some(true) => "left out",
            Some(false) => "kept",
        },
        unsettled,
        lines: learnt.lines.iter().map(LineBody::of).collect(),
        file: text,
        saved: saved.map(|path| path.display().to_string()),
    };
    output.say(&for_people(&body, learnt), &body);
}

fn for_people(body: &Body<'_>, learnt: &Learnt) -> String {
    let mut out = vec![format!("{}\n", body.says)];
    let mut seen: Vec<String> = Vec::new();
    for line in learnt.lines.iter().filter(|line| !line.parts.is_empty()) {
        let (above, below) = marked(line);
        if seen.len() < MOST_SHOWN && !seen.contains(&below) {
            out.push(format!("    {above}\n    {below}"));
            seen.push(below);
        }
    }
    out.push(
        "\nv value, s sign, u unit, r rest or motion, k kind, f digit in brackets, . nothing"
            .to_owned(),
    );
    let levels = match (&body.empty, &body.loaded) {
        (Some(empty), Some(loaded)) => {
            format!(" ({empty} with an empty pan, {loaded} with the weight)")
        }
        _ => String::new(),
    };
    let unit = body.unit.unwrap_or("unit");
    out.push(match body.unit_known {
        "proven" => format!("The unit is {unit}: the check weight proves it{levels}."),
        "stated" | "told" => format!("The unit is {unit}, and no check weight proves it{levels}."),
        "conflict" => format!(
            "The unit is not clear: the lines and the check weight contradict each other{levels}."
        ),
        _ => format!("The unit is not known{levels}."),
    });
    for (symbol, sign) in &learnt.layout.signs {
        let word = if *sign == Sign::Minus {
            "minus"
        } else {
            "plus"
        };
        out.push(match symbol.as_str() {
            "" => format!("No sign at all is {word}."),
            symbol => format!("\"{symbol}\" is {word}."),
        });
    }
    if !learnt.knows_sign() {
        out.push("The sign is not proven: nothing is captured with this file yet.".to_owned());
    }
    for (symbol, status) in &learnt.layout.statuses {
        out.push(format!("\"{symbol}\" is {}.", status.word()));
    }
    let asked = if body.asked { ", sent when asked" } else { "" };
    out.push(format!(
        "Port: {} bits a second, {}{asked}.",
        body.speed, body.framing
    ));
    out.push(format!(
        "Of {} lines {} are read, {} are passed over, {} are noise or halves, {} are missed.",
        body.heard, body.read, body.passed_over, body.odd, body.missed
    ));
    if !body.unsettled.is_empty() {
        out.push("\nNot settled:".to_owned());
        out.extend(body.unsettled.iter().map(|text| format!("- {text}")));
    }
    out.push(match &body.saved {
        Some(path) => format!(
            "\nSaved as {path}. In the settings: balance = \"{}\"",
            name_of(path)
        ),
        None => format!(
            "\nThe balance file (--save NAME keeps it):\n\n{}",
            body.file
        ),
    });
    out.join("\n")
}

fn name_of(path: &str) -> String {
    let stem = Path::new(path)
        .file_stem()
        .map(|stem| stem.to_string_lossy());
    stem.unwrap_or_default().into_owned()
}
