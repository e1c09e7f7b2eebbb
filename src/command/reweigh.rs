//! `panbell reweigh`: record the load that was recorded last as it lies on the pan now.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Record the load that was recorded last as it lies on the pan now.
#[derive(Debug, Args)]
pub(super) struct Reweigh {
    #[command(flatten)]
    on: OnArgs,
}

impl Reweigh {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.on, output, OrderBody::Reweigh {})
    }
}
