//! `panbell licences`: the licences of what the program is made of.

use clap::Args;
use serde_json::json;

use super::Ended;
use super::output::Output;

/// Written by `tests/licences.rs` from what is compiled in.
const TEXT: &str = include_str!("licences.txt");

/// Print the licences of everything that the program is made of
#[derive(Debug, Args)]
pub(super) struct Licences {}

impl Licences {
    #[allow(clippy::unused_self)] // every command is run alike
    pub(super) fn run(&self, output: &Output) -> Ended {
        output.say(TEXT, &json!({ "text": TEXT }));
        Ended::Done
    }
}
