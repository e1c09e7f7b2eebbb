//! `panbell withdraw`: set the last capture aside.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{BenchArg, Common, Ended};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Set the last capture aside.
#[derive(Debug, Args)]
pub(super) struct Withdraw {
    #[command(flatten)]
    bench: BenchArg,
}

impl Withdraw {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.bench, output, &OrderBody::Withdraw {})
    }
}
