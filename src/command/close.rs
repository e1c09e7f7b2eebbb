//! `panbell close`: end the job and print its statement.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// End the job.
#[derive(Debug, Args)]
pub(super) struct Close {
    #[command(flatten)]
    on: OnArgs,
}

impl Close {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.on, output, OrderBody::Close {})
    }
}
