//! `panbell plan`: what is to be added, in place of what was planned before.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{BenchArg, Common, Ended};
use crate::serve::{AddBody, OrderBody};
use crate::trouble::Trouble;

/// Plan the metals to add, in place of those planned before and not weighed yet.
#[derive(Debug, Args)]
pub(super) struct Plan {
    /// A metal to add: a name on the shelf or a fineness, with its parts by mass against the
    /// others (fine-silver, copper=2.5); in the order of weighing out
    #[arg(long, value_name = "METAL[=PARTS]", required = true)]
    add: Vec<String>,
    #[command(flatten)]
    bench: BenchArg,
}

impl Plan {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let add = self.add.iter().map(|text| AddBody::typed(text)).collect();
        order(common, &self.bench, output, &OrderBody::Plan { add })
    }
}
