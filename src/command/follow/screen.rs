//! Where a bench is drawn: a block of lines that is rewritten in place, or one line.

use serde::Deserialize;

use super::beam::{self, NARROWEST, Strokes};
use super::shown::{NOT_FOR_PAYMENT, Shown};
use crate::command::output::Output;
use crate::serve::{BellView, BenchView, PanView, WeighingView};

/// A terminal of fewer rows gets one line.
const LOWEST: usize = 16;

/// What is shown, and how.
pub(in crate::command) struct Screen {
    shown: Shown,
    one_line: bool,
    last: String,
    /// The job, and the records that stood in it.
    stood: Option<(String, Vec<u64>)>,
}

/// A reading as it is told to followers.
#[derive(Deserialize)]
struct Read {
    #[serde(flatten)]
    pan: PanView,
    weighing: Option<WeighingView>,
    sentence: String,
}

impl Screen {
    /// The beam, where there is room for it.
    pub(in crate::command) fn new() -> Self {
        Self {
            shown: Shown::default(),
            one_line: false,
            last: String::new(),
            stood: None,
        }
    }

    /// One calm line.
    pub(in crate::command) fn one_line() -> Self {
        Self {
            one_line: true,
            ..Self::new()
        }
    }

    /// Takes an event and shows what it changes.
    pub(in crate::command) fn take(&mut self, event: &str, data: &str, output: &Output) {
        if output.is_json() {
            // The data is an object: its name goes in front of its own keys.
            let rest = data.strip_prefix('{').unwrap_or(data);
            let comma = if rest == "}" { "" } else { "," };
            return output.json_line(&format!("{{\"event\":\"{event}\"{comma}{rest}"));
        }
        match event {
            "state" => {
                if let Ok(view) = serde_json::from_str::<BenchView>(data) {
                    for told in self.withdrawn(&view) {
                        output.above(&told);
                        self.last.clear();
                    }
                    self.shown.take(view);
                }
            }
            "reading" => {
                if let Ok(read) = serde_json::from_str::<Read>(data) {
                    self.shown.read(read.pan, read.weighing, read.sentence);
                }
            }
            "bell" => {
                if let Ok(bell) = serde_json::from_str::<BellView>(data) {
                    output.above(&format!("{}: {}", bell.title, bell.text));
                    self.last.clear();
                }
            }
            _ => return,
        }
        self.draw(output);
    }

    /// What was set aside since the state before, one sentence each.
    fn withdrawn(&mut self, view: &BenchView) -> Vec<String> {
        let job = view.job.as_ref();
        let now = job.map(|job| {
            let stood = job.weighed.iter().filter(|one| !one.withdrawn);
            (job.job.clone(), stood.map(|one| one.n).collect::<Vec<_>>())
        });
        let before = std::mem::replace(&mut self.stood, now);
        let (Some((name, stood)), Some(job)) = (before, job) else {
            return Vec::new();
        };
        let set_aside = job.weighed.iter().filter(|one| one.withdrawn);
        set_aside
            .filter(|one| name == job.job && stood.contains(&one.n))
            .map(|one| {
                let what = match one.what.as_str() {
                    "lot" | "addition" => format!("{} of {}", one.what, one.name),
                    _ => one.name.clone(),
                };
                format!(
                    "Withdrawn: {what}, {}; it stays in the file as withdrawn.",
                    one.mass
                )
            })
            .collect()
    }

    /// Draws what is known now.
    pub(in crate::command) fn draw(&mut self, output: &Output) {
        match output.room() {
            Some((width, rows)) if !self.one_line && width >= NARROWEST && rows >= LOWEST => {
                let strokes = if is_utf8() {
                    Strokes::Fine
                } else {
                    Strokes::Plain
                };
                output.block(&beam::lines(&self.shown, width - 1, strokes));
            }
            Some((width, rows)) if !self.one_line => {
                let lines = beam::short_lines(
                    &self.shown,
                    width.saturating_sub(1).max(1),
                    rows.saturating_sub(2),
                );
                output.block(&lines);
            }
            _ => {
                let Shown {
                    bench,
                    sentence,
                    damaged,
                    ..
                } = &self.shown;
                let mut line = format!("{bench}  {sentence}  {}", self.shown.on_pan());
                if self.shown.fine_digit && self.shown.pan.shown.is_some() {
                    line = format!("{line}; {NOT_FOR_PAYMENT}");
                }
                if *damaged > 0 {
                    line = format!("{line}  ({})", self.shown.dropped());
                }
                self.show(&line, output);
            }
        }
    }

    /// The service stopped: what it last said is no more true.
    pub(in crate::command) fn gone(&mut self, output: &Output) {
        self.cover("The service stopped; waiting for it to come back.", output);
    }

    /// Nothing is heard of the service: what it last said is too old to be shown.
    pub(in crate::command) fn silent(&mut self, output: &Output) {
        self.cover(
            "Nothing was heard of the service for three seconds; waiting for it.",
            output,
        );
    }

    fn cover(&mut self, sentence: &str, output: &Output) {
        if output.is_json() {
            return;
        }
        self.shown = Shown {
            bench: std::mem::take(&mut self.shown.bench),
            unit: std::mem::take(&mut self.shown.unit),
            sentence: sentence.to_owned(),
            division: 1.0,
            ..Shown::default()
        };
        self.draw(output);
    }

    fn show(&mut self, line: &str, output: &Output) {
        if line != self.last {
            line.clone_into(&mut self.last);
            output.rewrite(line);
        }
    }
}

/// Whether the terminal is said to show more than ASCII, by the first of the variables that is set,
/// in the order that POSIX gives them.
fn is_utf8() -> bool {
    ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .find_map(|name| std::env::var(name).ok().filter(|value| !value.is_empty()))
        .is_some_and(|value| {
            let value = value.to_ascii_lowercase();
            value.contains("utf-8") || value.contains("utf8")
        })
}
