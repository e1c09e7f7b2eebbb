//! `panbell withdraw`: set the last capture aside.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Set the last capture aside.
#[derive(Debug, Args)]
pub(super) struct Withdraw {
    /// Only if this record of the job is still the last that counts
    #[arg(long, value_name = "N")]
    capture: Option<u64>,
    #[command(flatten)]
    on: OnArgs,
}

impl Withdraw {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(
            common,
            &self.on,
            output,
            OrderBody::Withdraw {
                capture: self.capture,
            },
        )
    }
}
