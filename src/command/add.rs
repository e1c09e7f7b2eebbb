//! `panbell add`: weigh out the next planned addition.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Weigh out the next planned addition.
#[derive(Debug, Args)]
pub(super) struct Add {
    /// A metal that was not planned: a name on the shelf, or a fineness
    #[arg(long = "with", value_name = "METAL")]
    metal: Option<String>,
    #[command(flatten)]
    on: OnArgs,
}

impl Add {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(
            common,
            &self.on,
            output,
            OrderBody::Add {
                metal: self.metal.clone(),
            },
        )
    }
}
