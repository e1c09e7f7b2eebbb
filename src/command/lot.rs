//! `panbell lot`: the next load on the pan is a lot.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// The next load is a lot.
#[derive(Debug, Args)]
pub(super) struct Lot {
    /// Its fineness: karat as 14k, or per mille as 585
    fineness: String,
    /// What that rests on: stamp, touchstone, xrf, fire-assay or declared; with what is known of it
    /// after a colon: stamp:old, stamp:soldered, declared:1.0 (standard uncertainty, per mille)
    basis: String,
    /// A few words on it
    #[arg(long, value_name = "TEXT", default_value = "")]
    note: String,
    #[command(flatten)]
    on: OnArgs,
}

impl Lot {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let body = OrderBody::Lot {
            fineness: self.fineness.clone(),
            basis: self.basis.clone(),
            note: self.note.clone(),
        };
        order(common, &self.on, output, body)
    }
}
