//! `panbell rehearse`: a whole job on this machine with nothing attached.
//!
//! Starts the real service in a folder of its own, puts a pretend balance at the other end of a
//! real pseudo-terminal, and plays the person's hands. The service does not know. Ticket, client
//! and metals are invented.

mod hands;
mod play;
mod stage;

use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use rust_decimal::prelude::ToPrimitive as _;

use super::client::runtime;
use super::output::Output;
use super::{Ended, verify};
use crate::mass::typed_number;
use crate::trouble::Trouble;
use stage::Stage;

/// Play a whole job here with nothing attached.
#[derive(Debug, Args)]
pub(super) struct Rehearse {
    /// How fast the hands move: 1 is a person's pace, 4 four times as fast, 0.5 half
    #[arg(long, default_value_t = 1.0, value_parser = pace)]
    pace: f64,
    /// Keep everything in this folder, which must be new or empty
    #[arg(long, value_name = "DIR")]
    keep: Option<PathBuf>,
}

fn pace(text: &str) -> Result<f64, String> {
    match typed_number(text).ok().and_then(|number| number.to_f64()) {
        Some(pace) if (0.1..=20.0).contains(&pace) => Ok(pace),
        _ => Err("a pace is a number from 0.1 to 20".to_owned()),
    }
}

impl Rehearse {
    pub(super) fn run(&self, output: &Output) -> Result<Ended, Trouble> {
        let folder = match &self.keep {
            Some(folder) => folder.clone(),
            None => std::env::temp_dir().join(format!("panbell-rehearsal-{}", std::process::id())),
        };
        let result = runtime()?.block_on(async {
            let mut stage = Stage::set(&folder, self.pace, output).await?;
            let played = play::whole_job(&mut stage).await;
            stage.clear().await;
            played
        });
        let ended = result.and_then(|statement| {
            output.line("");
            output.say(&statement.text, &statement);
            output.line("");
            verify::files(&[folder.join("book").join(play::FILE)], output)
        });
        if self.keep.is_none() {
            if let Err(error) = std::fs::remove_dir_all(&folder) {
                output.line(&format!(
                    "The folder {} could not be taken away: {error}.",
                    folder.display()
                ));
            }
        } else {
            output.line(&format!("Everything is kept in {}.", folder.display()));
        }
        ended
    }
}

/// A person's pause at a pace.
fn paced(time: Duration, pace: f64) -> Duration {
    time.div_f64(pace)
}
