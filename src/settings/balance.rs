//! Balance files: what a port must be set to and what a line looks like.
//!
//! Promises: a file that is read compiles to a layout; symbols mean only what the file says they
//! mean. Leaves to others: which file is meant (`find`), opening the port and reading lines.

use std::path::PathBuf;

use super::section::{At, Known, Reading, Section};
use super::source::Source;
use super::trouble::{MEANS, SettingsTrouble};
use crate::balance::{Layout, LayoutSpec};
use crate::mass::{Status, Unit};
use crate::port::{Flow, Framing, PortSettings};
use crate::trouble::Trouble;

const TOP: Known = Known {
    table: "the balance file",
    keys: &[
        ("says", "\"what a line looks like\""),
        ("port", "{ speed = 9600, framing = \"8N1\" }"),
        (
            "line",
            "{ form = '(?<value>[0-9.]+) (?<unit>[a-z]+)', decimal = \".\" }",
        ),
        ("units", "{ \"g\" = \"g\" }"),
        ("status", "{ \"moving\" = \"in motion\" }"),
    ],
};
const PORT: Known = Known {
    table: "[port]",
    keys: &[
        ("speed", "9600"),
        ("framing", "\"8N1\""),
        ("flow", "\"none\""),
        ("dtr", "true"),
    ],
};
const LINE: Known = Known {
    table: "[line]",
    keys: &[
        ("form", "'(?<value>[0-9.]+) (?<unit>[a-z]+)'"),
        ("decimal", "\".\""),
    ],
};
/// Every table of a balance file whose keys are ours.
#[cfg(test)]
pub(super) const TABLES: [&Known; 3] = [&TOP, &PORT, &LINE];

/// The speeds that balances and adapters have.
const SPEEDS: [u32; 12] = [
    300, 600, 1200, 2400, 4800, 9600, 14_400, 19_200, 38_400, 57_600, 115_200, 230_400,
];

/// What a balance file says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BalanceFile {
    /// What the shape of its line is, one sentence.
    pub says: String,
    /// Bits a second.
    pub speed: u32,
    /// Data bits, parity, stop bits.
    pub framing: Framing,
    /// Who tells whom to wait.
    pub flow: Flow,
    /// The DTR wire; left alone when not said.
    pub dtr: Option<bool>,
    /// How a line is read.
    pub layout: LayoutSpec,
}

impl BalanceFile {
    /// The port of this name, set up as the balance needs it.
    pub fn port(&self, path: impl Into<PathBuf>) -> PortSettings {
        PortSettings {
            flow: self.flow,
            dtr: self.dtr,
            ..PortSettings::new(path, self.speed, self.framing)
        }
    }

    pub(super) fn read(source: &Source) -> Result<Self, SettingsTrouble> {
        let reading = Reading::new(source);
        let parsed = reading.parse();
        let file = parsed
            .as_ref()
            .and_then(|parsed| Self::of(&Section::top(&reading, &TOP, parsed)));
        drop(parsed);
        match (file, SettingsTrouble::of(reading.faults())) {
            (_, Some(wrong)) => Err(wrong),
            (Some(file), None) => Ok(file),
            (None, None) => Err(Trouble::new(
                "settings-value",
                format!("{} cannot be used.", source.name),
                MEANS,
                "Compare it with a shipped balance file.",
            )
            .into()),
        }
    }

    fn of(top: &Section<'_>) -> Option<Self> {
        let says = top.needed_text("says");
        let port = top.needed_table("port", &PORT);
        let speed = port.speed();
        let framing = port.parsed::<Framing>("framing");
        let flow = if port.has("flow") {
            port.word(
                "flow",
                &[
                    ("none", Flow::None),
                    ("software", Flow::Software),
                    ("hardware", Flow::Hardware),
                ],
            )
        } else {
            Some(Flow::None)
        };
        let dtr = port.truth("dtr");
        let line = top.needed_table("line", &LINE);
        let form = line.needed_text("form");
        line.need("decimal");
        let decimal = line.word("decimal", &[(".", b'.'), (",", b',')]);
        let units = symbols(top, "units", "the symbol of a unit", |text| {
            text.parse::<Unit>()
                .map_err(|inner| (inner.happened, inner.mend))
        });
        let statuses = symbols(top, "status", "the symbol of a status", status);
        let form = form?;
        let layout = LayoutSpec {
            line: form.value.to_owned(),
            decimal: decimal?,
            units,
            statuses,
        };
        check_layout(top, &line, &layout);
        Some(Self {
            says: says?.value.to_owned(),
            speed: speed?,
            framing: framing?.value,
            flow: flow?,
            dtr,
            layout,
        })
    }
}

impl Section<'_> {
    fn speed(&self) -> Option<u32> {
        self.need("speed");
        let written = self.whole("speed")?;
        let known = SPEEDS.iter().find(|speed| i64::from(**speed) == written);
        if known.is_none() {
            let all: Vec<String> = SPEEDS.iter().map(u32::to_string).collect();
            self.refuse(
                "speed",
                "No balance speaks at that speed.",
                &format!(
                    "Known are {}; the balance's manual or menu says which.",
                    all.join(", ")
                ),
            );
        }
        known.copied()
    }
}

fn status(text: &str) -> Result<Status, (String, String)> {
    let known = Status::WORDS.iter().find(|(word, _)| *word == text);
    known.map(|(_, status)| *status).ok_or_else(|| {
        let words = || Status::WORDS.iter().map(|(word, _)| *word);
        let nearest = super::nearest(text, words()).map_or_else(String::new, |word| {
            format!("The nearest known one is \"{word}\". ")
        });
        let all: Vec<&str> = words().collect();
        (
            format!("\"{text}\" is not a status of a balance."),
            format!("{nearest}Known are {}.", all.join(", ")),
        )
    })
}

/// A table of symbols, each with what it stands for.
fn symbols<T>(
    top: &Section<'_>,
    key: &str,
    what: &str,
    read: impl Fn(&str) -> Result<T, (String, String)>,
) -> Vec<(String, T)> {
    let reading = top.reading;
    let mut out: Vec<(String, T)> = Vec::new();
    let refuse = |at, why: String, mend: String| {
        let line = reading.source.line_of(at);
        reading.fault(at, "settings-value", format!("{line}: {why}"), mend);
    };
    for (At { value: symbol, at }, text) in top.entries(key, what).unwrap_or_default() {
        // A line is compared without the blanks around a symbol.
        let bare = symbol.trim();
        if bare.is_empty() {
            let why = format!("{what} is empty.");
            refuse(at, why, "Write it as it stands in the line.".to_owned());
        } else if out.iter().any(|(known, _)| known == bare) {
            let why = format!("{what} \"{bare}\" stands here twice.");
            refuse(at, why, "Keep one of the two.".to_owned());
        } else {
            match read(text) {
                Ok(value) => out.push((bare.to_owned(), value)),
                Err((why, mend)) => refuse(at, why, mend),
            }
        }
    }
    out
}

/// The layout compiles, and its form and its tables fit each other.
fn check_layout(top: &Section<'_>, line: &Section<'_>, layout: &LayoutSpec) {
    if let Err(inner) = Layout::compile(layout) {
        // An expression that cannot be read is drawn with a caret by its parser; the last line says it.
        let why = inner.happened.rsplit_once("\nerror: ").map_or_else(
            || inner.happened.clone(),
            |(_, why)| format!("It cannot be read: {why}"),
        );
        line.refuse("form", &why, "Mend the form; a group is written (?<value>...), and known groups are value, sign, unit, status.");
        return;
    }
    for (group, key) in [("unit", "units"), ("status", "status")] {
        let in_form = layout.line.contains(&format!("<{group}>"));
        match (in_form, top.has(key)) {
            (true, false) => line.refuse(
                "form",
                &format!(
                    "It has a group {group}, and there is no [{key}] that says what is found there."
                ),
                &format!("Add [{key}] with every symbol that the balance sends."),
            ),
            (false, true) => line.refuse(
                "form",
                &format!("It has no group {group}, so [{key}] would never be looked at."),
                &format!("Name the part of the line as (?<{group}>...), or take [{key}] out."),
            ),
            _ => {}
        }
    }
}
