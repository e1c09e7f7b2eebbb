//! `panbell take`: record what is on the pan now.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{BenchArg, Common, Ended};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Record what is on the pan now.
#[derive(Debug, Args)]
pub(super) struct Take {
    #[command(flatten)]
    bench: BenchArg,
}

impl Take {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        order(common, &self.bench, output, &OrderBody::Take {})
    }
}
