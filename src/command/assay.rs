//! `panbell assay`: what an assay found in the button.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Enter what an assay found in the button.
#[derive(Debug, Args)]
pub(super) struct Assay {
    /// The fineness found, per mille as 749.6 or in karat as 17.99k
    fineness: String,
    /// By what: fire-assay, xrf, touchstone, or declared:0.5 with its standard uncertainty, per mille
    #[arg(default_value = "fire-assay")]
    basis: String,
    #[command(flatten)]
    on: OnArgs,
}

impl Assay {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let body = OrderBody::Assay {
            fineness: self.fineness.clone(),
            basis: self.basis.clone(),
        };
        order(common, &self.on, output, body)
    }
}
