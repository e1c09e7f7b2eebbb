//! `panbell button`: the next load on the pan is the button.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// The next load is the button.
#[derive(Debug, Args)]
pub(super) struct Button {
    #[command(flatten)]
    on: OnArgs,
}

impl Button {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.on, output, OrderBody::Button {})
    }
}
