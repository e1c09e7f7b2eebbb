//! `panbell learn`: how a balance speaks, worked out from what it sends.
//!
//! Promises: only the port that is named is touched; nothing is sent to the balance that the person
//! did not allow; what was concluded is shown on the captured lines, with what could not be
//! settled; a file is saved only with `--save`, and only when the real layout reads every line that
//! was taken for a weighing as was concluded, or by force. Leaves to others: the inference
//! (`balance::learn`).

mod ear;
mod hands;
mod hunt;
mod report;
mod save;

use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;

use super::client::runtime;
use super::output::Output;
use super::{Common, Ended};
use crate::balance::AskSpec;
use crate::balance::learn::{
    Capture, Stamps, Told, TopBit, Whose, bytes_of_log, learn, without_stamps,
};
use crate::mass::{Indication, Unit};
use crate::port::{Flow, Framing};
use crate::settings::{BalanceFile, request_bytes};
use crate::trouble::Trouble;

/// Learn how a balance speaks, and write its balance file.
///
/// Listens at each usual speed, then asks for an empty pan, a check weight, and the pan empty
/// again. Nothing is sent to the balance unless it is allowed.
#[derive(Debug, Args)]
pub(super) struct Learn {
    /// The balance's port
    #[arg(required_unless_present = "from", conflicts_with = "from")]
    port: Option<PathBuf>,
    /// Learn from a captured log instead: raw bytes, or lines of text
    #[arg(long, value_name = "FILE")]
    from: Option<PathBuf>,
    /// Whose the times before the lines of the log are: log, of the program that kept it, or
    /// balance, of the balance itself
    #[arg(long, value_name = "WHOSE", value_parser = whose, conflicts_with = "port")]
    stamps: Option<Whose>,
    /// The check weight that is put on and lifted, as in "20 g"
    #[arg(long, value_name = "MASS")]
    weight: Option<Indication>,
    /// The unit that the balance shows, where its symbol can mean several
    #[arg(long, value_name = "UNIT")]
    unit: Option<Unit>,
    /// Listen at this speed only
    #[arg(long, value_name = "BITS")]
    speed: Option<u32>,
    /// Listen with this framing only, as in 8N1
    #[arg(long, value_name = "FRAMING")]
    framing: Option<Framing>,
    /// May be sent to a balance that keeps silent, as in 'brilvo\r'; can be given several times
    #[arg(long, value_name = "BYTES")]
    may_send: Vec<String>,
    /// Listen for so long and find the weight in the values, instead of asking for each step
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..=600))]
    seconds: Option<u64>,
    /// Keep the captured bytes in this file, which must be new
    #[arg(long, value_name = "FILE", conflicts_with = "from")]
    keep: Option<PathBuf>,
    /// Save what was learned as a balance file of this name
    #[arg(long, value_name = "NAME")]
    save: Option<String>,
    /// Save over a balance file that is there already
    #[arg(long, requires = "save")]
    force: bool,
}

/// What was heard, and how the port was set for it.
struct Heard {
    capture: Capture,
    speed: u32,
    framing: Framing,
    /// Why speed and framing are not known, if they are not.
    speed_open: Option<&'static str>,
    ask: Option<AskSpec>,
    told: Told,
    /// Times that stand before the lines of a log.
    stamps: Option<Stamps>,
}

/// The largest log that is read.
const LARGEST_LOG: u64 = 4 << 20;

impl Learn {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let place = self
            .save
            .as_deref()
            .map(|name| save::place(name, common, self.force))
            .transpose()?;
        let heard = match (&self.from, &self.port) {
            (Some(file), _) => self.hear_log(file)?,
            (None, Some(port)) => runtime()?.block_on(self.hear_port(port, output))?,
            (None, None) => return Err(no_port()),
        };
        let mut learnt = learn(&heard.capture, &heard.told)?;
        let stamps = heard.stamps.as_ref();
        if let Some(stamps) = stamps {
            stamps.loosen(&mut learnt.layout);
            learnt.unsettled.extend(stamps.told());
        }
        let file = BalanceFile {
            says: learnt.says.clone(),
            speed: heard.speed,
            framing: framing_of(heard.framing, learnt.top_bit),
            flow: Flow::None,
            dtr: None,
            frame: learnt.frame,
            layout: learnt.layout.clone(),
            ask: heard.ask,
        };
        let text = file.to_toml();
        // What is written is what was learned, before it is called so.
        let read = BalanceFile::parse("what was learned", &text)?;
        let missed = learnt.missed().count();
        let sound = missed == 0 && read == file;
        let saved = match &place {
            Some(place) if sound || self.force => {
                save::write(place, &text, self.force)?;
                Some(place.as_path())
            }
            _ => None,
        };
        let stamped = stamps.map(Stamps::left_out);
        let open = (heard.speed_open, stamped);
        report::tell(output, &learnt, &file, (open, &text, saved));
        if place.is_some() && saved.is_none() {
            return Err(not_sound(missed));
        }
        let open = !learnt.is_settled() || stamps.is_some_and(Stamps::is_open);
        Ok(if open || !sound {
            Ended::Warning
        } else {
            Ended::Done
        })
    }

    fn told(&self) -> Told {
        Told {
            weight: self.weight.map(Indication::mass),
            unit: self.unit,
        }
    }

    fn hear_log(&self, file: &Path) -> Result<Heard, Trouble> {
        let failed = |why: String| {
            Trouble::new(
                "learn-log",
                format!("{} cannot be read: {why}.", file.display()),
                "Nothing is learned from it.",
                "Name a file with what the balance sent.",
            )
        };
        let size = std::fs::metadata(file).map_err(|error| failed(error.to_string()))?;
        if !size.is_file() {
            return Err(failed("it is not an ordinary file".to_owned()));
        }
        if size.len() > LARGEST_LOG {
            return Err(failed(
                "it is larger than 4 MiB; a minute of lines is enough".to_owned(),
            ));
        }
        let log = std::fs::read(file).map_err(|error| failed(error.to_string()))?;
        let (log, stamps) = without_stamps(&log, self.stamps)?;
        let known = self.speed.is_some();
        Ok(Heard {
            capture: Capture {
                bytes: bytes_of_log(&log),
                ..Capture::default()
            },
            speed: self.speed.unwrap_or(hunt::USUAL_SPEED),
            framing: self.framing.unwrap_or(Framing::EIGHT_NONE_ONE),
            speed_open: (!known).then_some(
                "A log does not hold the speed: 9600 is supposed, and --speed says another.",
            ),
            ask: None,
            told: self.told(),
            stamps,
        })
    }

    async fn hear_port(&self, port: &Path, output: &Output) -> Result<Heard, Trouble> {
        let mut requests = Vec::new();
        for text in &self.may_send {
            requests.push(request_bytes(text).map_err(|why| {
                Trouble::new(
                    "learn-request",
                    format!("\"{text}\" cannot be sent: {why}."),
                    "Nothing was sent to the balance.",
                    r"Write it as in 'brilvo\r' or '\x05', at most 64 bytes.",
                )
            })?);
        }
        let mut hands = hands::Hands::new(output, self.seconds.is_none());
        let mut found = hunt::hunt(port, (self.speed, self.framing), &requests, &mut hands).await?;
        let mut told = self.told();
        if let Some(seconds) = self.seconds {
            found.ear.listen(Duration::from_secs(seconds)).await?;
        } else {
            hands.weigh(&mut found.ear, &mut told).await?;
        }
        let ask = found.ear.ask_spec();
        let capture = found.ear.into_capture();
        if let Some(file) = &self.keep {
            save::keep(file, &capture.bytes)?;
        }
        Ok(Heard {
            capture,
            speed: found.speed,
            framing: found.framing,
            speed_open: found.open,
            ask,
            told,
            // A balance that is heard live has no log around it.
            stamps: None,
        })
    }
}

fn whose(text: &str) -> Result<Whose, String> {
    match text {
        "log" => Ok(Whose::Log),
        "balance" => Ok(Whose::Balance),
        _ => Err("it is log or balance".to_owned()),
    }
}

/// The framing of characters, from that of the port and what the top bit told.
fn framing_of(port: Framing, top_bit: TopBit) -> Framing {
    let told = match top_bit {
        TopBit::Plain => return port,
        TopBit::Even => "7E1",
        TopBit::Odd => "7O1",
        TopBit::Mark => "7N2",
    };
    told.parse().unwrap_or(port)
}

fn no_port() -> Trouble {
    Trouble::new(
        "learn-no-port",
        "No port was named.",
        "Nothing was listened to.",
        "Name the balance's port, or a captured log with --from.",
    )
}

fn not_sound(missed: usize) -> Trouble {
    Trouble::new(
        "learn-not-sound",
        format!("{missed} captured lines are not read as was concluded."),
        "Nothing was saved, since a balance file must read its own balance.",
        "Capture again with more lines, or save it all the same with --force and mend the file by hand.",
    )
}
