//! `panbell tare` and `panbell zero`: press a key of a balance that takes orders over its line.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{BenchArg, Common, Ended};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Press the balance's tare key.
#[derive(Debug, Args)]
pub(super) struct Tare {
    #[command(flatten)]
    bench: BenchArg,
}

/// Press the balance's zero key.
#[derive(Debug, Args)]
pub(super) struct Zero {
    #[command(flatten)]
    bench: BenchArg,
}

impl Tare {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.bench, output, &OrderBody::Tare {})
    }
}

impl Zero {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.bench, output, &OrderBody::Zero {})
    }
}
