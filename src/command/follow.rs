//! `panbell follow`: a bench live, one calm line that is rewritten, or JSON, one event a line.

use std::time::Duration;

use clap::Args;
use serde_json::Value;

use super::client::{Client, runtime};
use super::output::Output;
use super::{BenchArg, Common, Ended};
use crate::trouble::Trouble;

/// Watch a bench live.
#[derive(Debug, Args)]
pub(super) struct Follow {
    #[command(flatten)]
    bench: BenchArg,
}

/// How soon a service that stopped is looked for again.
const AGAIN: Duration = Duration::from_secs(1);

impl Follow {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let client = Client::of(common)?;
        runtime()?.block_on(async {
            let mut line = Calm::default();
            let mut events = client.follow(self.bench.bench.as_deref()).await?;
            loop {
                while let Some((event, data)) = events.next().await {
                    line.take(&event, &data, output);
                }
                line.gone(output);
                events = loop {
                    tokio::time::sleep(AGAIN).await;
                    match client.follow(self.bench.bench.as_deref()).await {
                        Ok(events) => break events,
                        Err(trouble) if trouble.passes => {}
                        Err(trouble) => return Err(trouble),
                    }
                };
            }
        })
    }
}

/// The line as it stands.
#[derive(Default)]
pub(super) struct Calm {
    bench: String,
    pan: String,
    sentence: String,
    damaged: u64,
    last: String,
}

impl Calm {
    /// Takes an event and shows what it changes.
    pub(super) fn take(&mut self, event: &str, data: &str, output: &Output) {
        if output.is_json() {
            // The data is an object: its name goes in front of its own keys.
            let rest = data.strip_prefix('{').unwrap_or(data);
            let comma = if rest == "}" { "" } else { "," };
            return output.line(&format!("{{\"event\":\"{event}\"{comma}{rest}"));
        }
        let Ok(data) = serde_json::from_str::<Value>(data) else {
            return;
        };
        if let Some(bench) = data.get("bench").and_then(Value::as_str) {
            bench.clone_into(&mut self.bench);
        }
        if let Some(sentence) = data.get("sentence").and_then(Value::as_str) {
            sentence.clone_into(&mut self.sentence);
        }
        if let Some(damaged) = data.get("damaged").and_then(Value::as_u64) {
            self.damaged = damaged;
        }
        let pan = match event {
            "state" => data.get("pan"),
            "reading" => Some(&data),
            _ => None,
        };
        if let Some(pan) = pan {
            self.pan = pan_text(pan);
        }
        if event == "bell" {
            let part = |key: &str| {
                data.get(key)
                    .and_then(Value::as_str)
                    .unwrap_or_default()
                    .to_owned()
            };
            self.show(&format!("{}: {}", part("title"), part("text")), output);
            output.line("");
            self.last.clear();
        }
        let mut line = format!("{}  {}  {}", self.bench, self.pan, self.sentence);
        if self.damaged > 0 {
            line = format!("{line}  (damaged and dropped: {})", self.damaged);
        }
        self.show(&line, output);
    }

    /// The service stopped.
    fn gone(&mut self, output: &Output) {
        if !output.is_json() {
            self.show("The service stopped; waiting for it to come back.", output);
        }
    }

    fn show(&mut self, line: &str, output: &Output) {
        if line != self.last {
            line.clone_into(&mut self.last);
            output.rewrite(line);
        }
    }
}

fn pan_text(pan: &Value) -> String {
    let part = |key: &str| pan.get(key).and_then(Value::as_str);
    let Some(shown) = part("shown") else {
        return "no reading".to_owned();
    };
    let rest = if pan.get("steady").and_then(Value::as_bool) == Some(true) {
        "at rest"
    } else {
        "moving"
    };
    match (part("unit"), part("net")) {
        (Some("conflict"), _) => format!("shows {shown}, not believed"),
        (Some("unproven"), _) => format!("shows {shown}, unit not proven"),
        (_, Some(net)) => format!("{net} on the pan ({shown} shown), {rest}"),
        _ => format!("{shown} shown, {rest}"),
    }
}
