//! `panbell tare` and `panbell zero`: press a key of a balance that takes orders over its line.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Press the balance's tare key.
#[derive(Debug, Args)]
pub(super) struct Tare {
    #[command(flatten)]
    on: OnArgs,
}

/// Press the balance's zero key.
#[derive(Debug, Args)]
pub(super) struct Zero {
    #[command(flatten)]
    on: OnArgs,
}

impl Tare {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.on, output, OrderBody::Tare {})
    }
}

impl Zero {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.on, output, OrderBody::Zero {})
    }
}
