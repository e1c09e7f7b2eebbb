//! `panbell leave`: leave the weighing under way.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Leave the weighing under way.
#[derive(Debug, Args)]
pub(super) struct Leave {
    #[command(flatten)]
    on: OnArgs,
}

impl Leave {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.on, output, OrderBody::Leave {})
    }
}
