//! `panbell button`: the next load on the pan is the button.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{BenchArg, Common, Ended};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// The next load is the button.
#[derive(Debug, Args)]
pub(super) struct Button {
    #[command(flatten)]
    bench: BenchArg,
}

impl Button {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.bench, output, &OrderBody::Button {})
    }
}
