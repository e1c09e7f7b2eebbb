//! `panbell simulate`: a pretend balance by itself, for those who write a layout, teach, or try
//! another program.
//!
//! It speaks any balance file on a real pseudo-terminal and does what a script or the keyboard
//! says. Nothing real is weighed, and it says so.

mod play;
mod script;

use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;

use super::client::runtime;
use super::output::Output;
use super::{Common, Ended};
use crate::mass::{Division, Indication, Mass};
use crate::port::{LayoutWriter, Nature, Writer, shape};
use crate::settings::{BalanceFile, Folders, SHIPPED_BALANCES, USB_SCALE, nearest, read_ordinary};
use crate::trouble::Trouble;

/// The largest script, in bytes: more than a day of lines.
const LARGEST_SCRIPT: u64 = 1 << 20;

/// Be a pretend balance on a pseudo-terminal, by itself
#[derive(Debug, Args)]
#[command(after_help = after_help())]
pub(super) struct Simulate {
    /// What it speaks: the name of a balance file, shipped or your own, or a path with a slash in it,
    /// as in ./mine.toml
    #[arg(long, value_name = "NAME")]
    layout: String,
    /// Make a link of this name to its port, and take it away at the end
    #[arg(long, value_name = "PATH")]
    link: Option<PathBuf>,
    /// What happens to it, line by line; without it, what is typed
    #[arg(long, value_name = "FILE")]
    script: Option<PathBuf>,
    /// The step of its last digit, with the unit it wakes up in
    #[arg(long, default_value = "0.01 g", value_parser = division)]
    division: Division,
    /// Lines a second, from 1 to 100
    #[arg(long, default_value_t = 10, value_parser = clap::value_parser!(u32).range(1..=100))]
    rate: u32,
    /// How long a large load takes to come to rest
    #[arg(long, value_name = "TIME", default_value = "600ms", value_parser = script::time_of)]
    settle: Duration,
    /// How far the display strays
    #[arg(long, value_name = "MASS", default_value = "0 g", value_parser = load)]
    noise: Mass,
    /// A port that is set to another speed or framing than the balance file says hears what a real
    /// wire would give it; without this it hears everything at any speed
    #[arg(long)]
    wired: bool,
    /// Where the noise begins: the same number, the same noise
    #[arg(long, value_name = "NUMBER", default_value_t = 7)]
    seed: u64,
}

fn after_help() -> String {
    format!(
        "What may be typed, or stand in a script:\n\n{}\n\nThe end of what is typed ends it, and so does Ctrl-C.",
        script::WORDS
    )
}

fn division(text: &str) -> Result<Division, String> {
    text.parse().map_err(|wrong: Trouble| wrong.to_string())
}

fn load(text: &str) -> Result<Mass, String> {
    let mass = text.parse::<Indication>().map(Indication::mass);
    match mass {
        Ok(mass) if !mass.is_negative() => Ok(mass),
        Ok(_) => Err("it is not below zero".to_owned()),
        Err(wrong) => Err(wrong.to_string()),
    }
}

impl Simulate {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let folders = common.reading_folders()?;
        let file = self.file(&folders)?;
        let script = match &self.script {
            Some(path) => {
                let text = read_ordinary(path, LARGEST_SCRIPT).and_then(|bytes| {
                    let odd = |_| std::io::Error::other("it is not text in UTF-8");
                    String::from_utf8(bytes).map_err(odd)
                });
                let text = text.map_err(|error| {
                    Trouble::new(
                        "script-unreadable",
                        format!("The script {} cannot be read: {error}.", path.display()),
                        "Nothing was started.",
                        "Name a text file; panbell simulate --help shows what may stand in it.",
                    )
                })?;
                Some(script::script(&text)?)
            }
            None => None,
        };
        if let Some(link) = &self.link {
            is_free(link)?;
        }
        let writer = self.writer(&file, &folders)?;
        let nature = Nature {
            division: self.division,
            settling: self.settle,
            noise: self.noise,
            seed: self.seed,
        };
        runtime()?.block_on(async {
            let mut play = play::Play::begin(self, &file, writer, nature, output)?;
            let played = match &script {
                Some(script) => play.follow(script).await,
                None => play.obey().await,
            };
            play.end();
            played
        })?;
        Ok(Ended::Done)
    }
}

impl Simulate {
    /// The balance file that is named. A path begins in the folder in which the command was given.
    fn file(&self, folders: &Folders) -> Result<BalanceFile, Trouble> {
        let path = self.layout.contains('/').then(|| {
            let path = Path::new(&self.layout);
            std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
        });
        let named = path.as_deref().map(|path| path.to_string_lossy());
        let found = BalanceFile::find(named.as_deref().unwrap_or(&self.layout), folders);
        let wrong = match found {
            Ok(file) => return Ok(file),
            Err(wrong) if wrong.is_unknown_balance() => wrong.first().clone(),
            Err(wrong) => return Err(wrong.into()),
        };
        let happened = if self.layout == USB_SCALE {
            "A USB scale sends no lines, so none can be pretended.".to_owned()
        } else {
            wrong.happened
        };
        let shipped: Vec<&str> = SHIPPED_BALANCES.iter().map(|(name, _)| *name).collect();
        let nearest = nearest(&self.layout, shipped.iter().copied())
            .map_or_else(String::new, |name| {
                format!("The nearest known one is \"{name}\". ")
            });
        Err(Trouble::new(
            "balance-unknown",
            happened,
            "Nothing was started.",
            format!(
                "{nearest}Shipped are {}. A file of your own is named by its path with a slash in it, as in ./mine.toml, or by its name without .toml if it is in {}.",
                shipped.join(", "),
                folders.balances.display()
            ),
        ))
    }

    /// The shape of a shipped balance file is known by its name; of any other, a way to write what
    /// it reads is found.
    fn writer(&self, file: &BalanceFile, folders: &Folders) -> Result<Writer, Trouble> {
        let own = folders.balances.join(format!("{}.toml", self.layout));
        if let Some(shape) = shape(&self.layout)
            && !own.exists()
        {
            return Ok(Box::new(shape));
        }
        let (unit, decimals) = (self.division.unit(), self.division.decimals());
        let mut writer = LayoutWriter::new(&file.layout, file.frame, unit, decimals)?;
        // What a layout has no words for is not said, as by a display that shows dashes.
        Ok(Box::new(move |showing| {
            writer.write(showing).unwrap_or_default()
        }))
    }
}

/// A link that leads to something is somebody's; one that leads nowhere was left behind.
fn is_free(link: &std::path::Path) -> Result<(), Trouble> {
    if link.exists() {
        return Err(Trouble::new(
            "link-taken",
            format!("{} is there already.", link.display()),
            "It is left as it is; nothing was started.",
            "Give the pretend balance another name with --link, or end the one that has this name.",
        ));
    }
    Ok(())
}
