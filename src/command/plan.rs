//! `panbell plan`: what is to be added, in place of what was planned before.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::{AddBody, OrderBody};
use crate::trouble::Trouble;

/// Plan the metals to add, in place of those planned before and not weighed yet.
#[derive(Debug, Args)]
pub(super) struct Plan {
    /// A metal to add: a name on the shelf or a fineness, with its parts by mass against the
    /// others (fine-silver, copper=2.5); in the order of weighing out
    #[arg(
        long,
        value_name = "METAL[=PARTS]",
        required_unless_present = "nothing"
    )]
    add: Vec<String>,
    /// Add nothing: what was planned and is not weighed yet is dropped
    #[arg(long, conflicts_with = "add")]
    nothing: bool,
    #[command(flatten)]
    on: OnArgs,
}

impl Plan {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let add = self.add.iter().map(|text| AddBody::typed(text)).collect();
        order(common, &self.on, output, OrderBody::Plan { add })
    }
}
