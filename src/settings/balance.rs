//! Balance files: what a port must be set to and what a line looks like.
//!
//! Promises: a file that is read compiles to a layout; symbols mean only what the file says they
//! mean. Leaves to others: which file is meant (`find`), opening the port and reading lines.

mod ask;
mod frame;
mod text;
mod write;

use std::path::PathBuf;

use rust_decimal::Decimal;

use super::section::{At, Known, Reading, Section};
use super::source::Source;
use super::trouble::{MEANS, SettingsTrouble};
use crate::balance::{AskSpec, Digits, FrameSpec, Kind, Layout, LayoutSpec, Sign, symbol_bytes};
use crate::mass::{Status, Unit, typed_number};
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
        ("kind", "{ \"load\" = \"net\" }"),
        ("sign", "{ \"N\" = \"minus\" }"),
        (
            "ask",
            "{ send = 'brilvo\\r\\n', every = \"200 ms\", timeout = \"1 s\" }",
        ),
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
        ("thousands", "\",\""),
        ("decimals", "2"),
        ("digits", "\"plain\""),
        ("factor", "\"0.01\""),
        ("minus", "\"proven\""),
        ("ends", "\"line\""),
        ("starts", "\"stx\""),
        ("check", "\"xor\""),
        ("check_at", "\"after-end\""),
        ("check_as", "\"byte\""),
        ("check_covers", "\"payload\""),
        ("skip", "['No [0-9]+']"),
        ("takes", "\"net\""),
    ],
};
const ASK: Known = Known {
    table: "[ask]",
    keys: &[
        ("send", "'brilvo\\r\\n'"),
        ("every", "\"200 ms\""),
        ("timeout", "\"1 s\""),
        ("tare", "'tumkel\\r\\n'"),
        ("zero", "'zespar\\r\\n'"),
    ],
};
/// Every table of a balance file whose keys are ours.
#[cfg(test)]
pub(super) const TABLES: [&Known; 4] = [&TOP, &PORT, &LINE, &ASK];

/// The speeds that balances and adapters have.
const SPEEDS: [u32; 12] = [
    300, 600, 1200, 2400, 4800, 9600, 14_400, 19_200, 38_400, 57_600, 115_200, 230_400,
];

/// The bytes of a request as a balance file writes them: plain characters, and `\r`, `\n`, `\t`,
/// `\\` and `\xNN`.
///
/// # Errors
/// What is wrong with it, in words.
pub fn request_bytes(text: &str) -> Result<Vec<u8>, String> {
    let bytes = text::bytes(text)?;
    match bytes.len() {
        0 => Err("it is empty".to_owned()),
        long if long > AskSpec::LONGEST => {
            Err(format!("it is longer than {} bytes", AskSpec::LONGEST))
        }
        _ => Ok(bytes),
    }
}

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
    /// How a line is framed.
    pub frame: FrameSpec,
    /// How a line is read.
    pub layout: LayoutSpec,
    /// How the balance is asked; one without it sends of its own accord.
    pub ask: Option<AskSpec>,
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

    /// Reads the text of a balance file; `name` is what it is called in what is told of it.
    ///
    /// # Errors
    /// Everything that is wrong in it.
    pub fn parse(name: &str, text: &str) -> Result<Self, SettingsTrouble> {
        Self::read(&Source {
            name: name.to_owned(),
            text: text.to_owned(),
        })
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
        let frame = line.frame(speed);
        let units = symbols(top, "units", "the symbol of a unit", |text| {
            text.parse::<Unit>()
                .map_err(|inner| (inner.happened, inner.mend))
        });
        let statuses = symbols(top, "status", "the symbol of a status", status);
        let kinds = symbols(top, "kind", "the symbol of a kind", kind);
        let signs = symbols(top, "sign", "the symbol of a sign", sign);
        let (digits, factor) = (line.digits(), line.factor());
        let minus_unproven = line.minus_unproven();
        let (thousands, decimals) = (line.mark("thousands"), line.decimals());
        let (skip, takes) = (line.texts("skip"), line.takes());
        let ask = top.asked();
        // Everything is read by now, so that all that is wrong is told at once.
        let layout = LayoutSpec {
            line: form?.value.to_owned(),
            decimal: decimal?,
            thousands,
            decimals,
            digits,
            factor,
            signs,
            minus_unproven,
            skip,
            units,
            statuses,
            kinds,
            takes,
        };
        check_layout(top, &line, &layout);
        Some(Self {
            says: says?.value.to_owned(),
            speed: speed?,
            framing: framing?.value,
            flow: flow?,
            dtr,
            frame: frame?,
            layout,
            ask: ask?,
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

    /// The thousands mark, which is not the decimal mark.
    fn mark(&self, key: &str) -> Option<u8> {
        if !self.has(key) {
            return None;
        }
        let marks = [(".", b'.'), (",", b','), ("'", b'\''), (" ", b' ')];
        let mark = self.word(key, &marks)?;
        let same = self.text("decimal").map(|text| text.value.as_bytes()) == Some(&[mark]);
        if same {
            self.refuse(
                key,
                "That is the decimal mark already.",
                "Write the mark between groups of three digits, or take the line out.",
            );
        }
        (!same).then_some(mark)
    }

    fn decimals(&self) -> Option<u32> {
        let written = self.whole("decimals")?;
        let known = u32::try_from(written)
            .ok()
            .filter(|decimals| *decimals <= LayoutSpec::MOST_DECIMALS);
        if known.is_none() {
            self.refuse(
                "decimals",
                "No balance shows that many.",
                &format!(
                    "Write how many digits the display has after the mark, from 0 to {}.",
                    LayoutSpec::MOST_DECIMALS
                ),
            );
        }
        known
    }

    fn digits(&self) -> Digits {
        if !self.has("digits") {
            return Digits::Plain;
        }
        self.word("digits", &Digits::WORDS).unwrap_or_default()
    }

    /// What one count is, in the unit of the balance.
    fn factor(&self) -> Option<Decimal> {
        if !self.has("factor") {
            return None;
        }
        let written = self.text("factor")?;
        let factor = typed_number(written.value.trim()).ok();
        let known = factor.filter(|factor| Digits::is_factor(*factor));
        if known.is_none() {
            self.refuse(
                "factor",
                "That is not what a count can be worth.",
                "Write it as a decimal with at most 7 places, as in factor = \"0.01\".",
            );
        }
        known
    }

    /// Whether the file says that it is not proven how a minus looks.
    fn minus_unproven(&self) -> bool {
        let words = [("proven", false), ("not proven", true)];
        self.has("minus") && self.word("minus", &words).unwrap_or(true)
    }

    fn takes(&self) -> Kind {
        let loads = [("net", Kind::Net), ("gross", Kind::Gross)];
        self.word("takes", &loads).unwrap_or(Kind::Net)
    }
}

fn sign(text: &str) -> Result<Sign, (String, String)> {
    let known = Sign::WORDS.iter().find(|(word, _)| *word == text);
    known.map(|(_, sign)| *sign).ok_or_else(|| {
        (
            format!("\"{text}\" is not a sign."),
            "Known are plus, minus.".to_owned(),
        )
    })
}

fn kind(text: &str) -> Result<Kind, (String, String)> {
    let known = Kind::WORDS.iter().find(|(word, _)| *word == text);
    known.map(|(_, kind)| *kind).ok_or_else(|| {
        (
            format!("\"{text}\" is not a kind of mass."),
            "Known are net, gross, tare.".to_owned(),
        )
    })
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
        // A line is compared without the blanks around a symbol. A status, or a plus, can be that
        // nothing is said.
        let bare = symbol.trim();
        if bare.is_empty() && !matches!(key, "status" | "sign") {
            let why = format!("{what} is empty.");
            refuse(at, why, "Write it as it stands in the line.".to_owned());
        } else if out
            .iter()
            .any(|(known, _)| symbol_bytes(known) == symbol_bytes(bare))
        {
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
        let groups = LayoutSpec::GROUPS.join(", ");
        let mend = format!(
            "Mend the form; a group is written (?<value>...), and known groups are {groups}."
        );
        // The form is read first; when it can be, the fault is in what is skipped.
        let alone = LayoutSpec {
            skip: Vec::new(),
            ..layout.clone()
        };
        if Layout::compile(&alone).is_err() {
            line.refuse("form", &why, &mend);
        } else {
            line.refuse("skip", &why, "Mend that form; it needs no groups.");
        }
        return;
    }
    for (group, key) in [("unit", "units"), ("status", "status"), ("kind", "kind")] {
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
    let signed = layout.line.contains("<sign>");
    if top.has("sign") && !signed {
        line.refuse(
            "form",
            "It has no group sign, so [sign] would never be looked at.",
            "Name the part of the line as (?<sign>...), or take [sign] out.",
        );
    } else if layout.line.contains("<close>") && !(signed && top.has("sign")) {
        line.refuse(
            "form",
            "A group close is the second half of a sign, and there is no [sign] with a group sign.",
            "Add [sign] with both halves of each sign in one, as in \"()\" = \"minus\".",
        );
    }
}
