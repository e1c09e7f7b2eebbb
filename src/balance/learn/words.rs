//! What was learned, in words and under the lines.
//!
//! Promises: each part is marked under the line that it stands in; what could not be settled says
//! what it means and what would settle it. Leaves to others: printing.

use super::audit;
use super::cut::Cut;
use super::family::{Family, Row};
use super::form::Form;
use super::hear::listen;
use super::roles::{Role, Roles, UnitKnown};
use super::series::Levels;
use super::strays;
use super::{Learnt, LearntLine, Part, Told, What};
use crate::balance::frame::{End, Start};
use crate::trouble::Trouble;

/// The trouble of a capture without a byte.
pub(super) fn nothing_heard() -> Trouble {
    Trouble::new(
        "learn-nothing-heard",
        "Nothing was heard from the balance.",
        "How it speaks could not be learned, so nothing can be weighed with it yet.",
        "See that it is switched on and its cable is in; if it sends only when its print key is pressed, press it; if it must be asked, let panbell ask.",
    )
}

/// The trouble of a capture in which nothing can be a mass.
pub(super) fn no_mass(lines: usize, bytes: &[u8]) -> Trouble {
    // What reads as text was heard at the right speed.
    let mend = if listen(bytes).printable < 950 {
        "The bytes look like nonsense: the speed or the framing may be wrong, so try others. Else capture again with the weight put on and taken off."
    } else {
        "Capture again while the weight is put on and taken off; if the lines hold the mass in a way that panbell does not know, write the balance file by hand."
    };
    Trouble::new(
        "learn-no-mass",
        format!("No value was found in the {lines} lines that were heard."),
        "How the balance speaks could not be learned, so nothing can be weighed with it yet.",
        mend,
    )
}

/// The parts of a line, in order.
pub(super) fn parts(row: &Row, roles: &Roles, line: &[u8]) -> Vec<Part> {
    let mut out = Vec::new();
    for (cell, role) in row.cells.iter().zip(&roles.of) {
        let Some((from, to)) = *cell else { continue };
        let mut put = |what: What, from: usize, to: usize| {
            if from < to {
                out.push(Part { what, from, to });
            }
        };
        match role {
            Role::Value => {
                if let Some(sign) = row.number.sign {
                    put(What::Sign, sign, sign + 1);
                }
                let (open, close) = row.number.bracket.unwrap_or((to, to));
                put(What::Value, row.number.digits, open);
                put(What::Fine, open + 1, close);
            }
            Role::Sign | Role::Close | Role::SignStatus => put(What::Sign, from, to),
            Role::Unit if line.get(from..to).is_some_and(|text| !roles.is_unit(text)) => {
                put(What::Status, from, to);
            }
            Role::Unit => put(What::Unit, from, to),
            Role::Status => put(What::Status, from, to),
            Role::Kind => put(What::Kind, from, to),
            Role::Text | Role::Number => put(What::Text, from, to),
        }
    }
    out
}

/// A captured line with its parts marked under it: `v` value, `s` sign, `u` unit, `r` rest or
/// motion, `k` kind, `f` the digit in brackets, `.` text that carries nothing.
pub fn marked(line: &LearntLine) -> (String, String) {
    let (mut above, mut below) = (String::new(), String::new());
    for (at, byte) in line.bytes.iter().enumerate() {
        let part = line
            .parts
            .iter()
            .find(|part| (part.from..part.to).contains(&at));
        let mark = match part.map(|part| part.what) {
            Some(What::Value) => 'v',
            Some(What::Sign) => 's',
            Some(What::Unit) => 'u',
            Some(What::Status) => 'r',
            Some(What::Kind) => 'k',
            Some(What::Fine) => 'f',
            Some(What::Text) => '.',
            None => ' ',
        };
        for sign in byte.escape_ascii() {
            // A quote and a backslash are shown as they are.
            let plain = matches!(byte, b' '..=b'~');
            above.push(if plain {
                char::from(*byte)
            } else {
                char::from(sign)
            });
            below.push(mark);
            if plain {
                break;
            }
        }
    }
    below.truncate(below.trim_end().len());
    (above, below)
}

/// What the shape of a line is, one sentence.
pub(super) fn says(family: &Family, roles: &Roles, form: &Form, cut: &Cut) -> String {
    let mut words: Vec<&str> = Vec::new();
    for (at, role) in roles.of.iter().enumerate() {
        let word = match role {
            Role::Value => "the value",
            Role::Sign => "the sign",
            Role::Close => continue,
            Role::SignStatus => "sign and status",
            Role::Unit => "the unit",
            Role::Status => "the status",
            Role::Kind => "what is weighed",
            Role::Number => "a number that is no mass",
            Role::Text => match family.columns.get(at).map(|column| column.kind) {
                Some(super::token::Kind::Word) => "a word",
                _ => continue,
            },
        };
        words.push(word);
    }
    let places = if form.counted {
        " in counted places"
    } else {
        ""
    };
    let frame = match (cut.spec.starts, cut.spec.ends) {
        (Start::Stx, End::Etx) => " between STX and ETX",
        (Start::Stx, _) => " after STX",
        (Start::Anywhere, End::Etx) => " before ETX",
        (Start::Anywhere, End::Gap(_)) => " ended by a pause",
        (Start::Anywhere, End::Line) => "",
    };
    let check = if cut.spec.check.is_some() {
        ", with a check"
    } else {
        ""
    };
    let mut text = format!(
        "{}{places}{frame}{check}; learned from the balance itself.",
        words.join(", ")
    );
    if let Some(first) = text.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    text
}

/// Adds what could not be settled beside what the roles already said.
pub(super) fn unsettled(
    learnt: &mut Learnt,
    told: &Told,
    levels: &Levels,
    (form, supposed): (&Form, bool),
) {
    let strays = strays::told(learnt);
    learnt.unsettled.extend(strays);
    let open: Vec<String> = learnt.open.iter().map(audit::told).collect();
    learnt.unsettled.extend(open);
    let mut say = |text: String| learnt.unsettled.push(text);
    match (told.weight, learnt.unit) {
        (None, UnitKnown::Stated(unit)) => say(format!(
            "No check weight was used, so the unit is only what the line states: {unit}."
        )),
        (None, _) => say("No check weight was used, so the unit is not proven.".to_owned()),
        (Some(_), UnitKnown::Conflict { stated, shown }) => say(format!(
            "The line states {stated} and the check weight shows {shown}: what the line states has no entry, and nothing is captured in it."
        )),
        (Some(weight), UnitKnown::Stated(_) | UnitKnown::Told(_) | UnitKnown::No)
            if levels.units.is_empty() =>
        {
            say(format!(
                "The check weight of {} g was not found among the values at rest.",
                weight.grams()
            ));
        }
        _ => {}
    }
    if !learnt.layout.line.contains("<unit>") {
        say(match learnt.unit.unit() {
            Some(unit) => format!(
                "The lines state no unit. The check weight was shown in {}; the bench must be told its unit, and a unit key is not seen in the line.",
                unit.name()
            ),
            None => "The lines state no unit, and it is not proven which it is.".to_owned(),
        });
    }
    if levels.empty.is_none() && levels.loaded.is_some() {
        say(
            "The empty pan was not heard at rest, so the weight was judged by its value alone."
                .to_owned(),
        );
    }
    if supposed {
        say(
            "Lines have no end but a pause, and its length is supposed: a log does not hold it."
                .to_owned(),
        );
    }
    if !form.counted && learnt.frame.check.is_none() {
        say("The lines have neither counted places nor a check, so a digit lost on the wire can go unseen.".to_owned());
    }
    if learnt.damaged > 0 {
        say(format!(
            "{} frames failed their check and were left out.",
            learnt.damaged
        ));
    }
}
