//! `panbell take`: record what is on the pan now.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Record what is on the pan now.
#[derive(Debug, Args)]
pub(super) struct Take {
    #[command(flatten)]
    on: OnArgs,
}

impl Take {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.on, output, OrderBody::Take {})
    }
}
