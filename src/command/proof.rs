//! `panbell proof`: the next weighing is of the button in water, its proof by density.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::reckon::WaterArgs;
use super::{Common, Ended, OnArgs};
use crate::job::WaterWay;
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// Prove the button by its density: the next weighing is of the button in water.
#[derive(Debug, Args)]
#[command(after_help = "\
Hung: the water stands below the balance, or on a bridge over the pan, and does not rest on it; the
empty hanger is in it already, and the button is hung from the balance into it. Displaced
(--displaced): a vessel of water stands on the pan, tared or not, and the button is hung into it by
a thread from outside, touching neither wall nor bottom; the balance shows the water that it pushes
aside.")]
pub(super) struct Proof {
    /// A vessel of water stands on the pan and the button hangs into it from outside
    #[arg(long)]
    displaced: bool,
    #[command(flatten)]
    water: WaterArgs,
    #[command(flatten)]
    on: OnArgs,
}

impl Proof {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let way = if self.displaced {
            WaterWay::Displaced
        } else {
            WaterWay::Hung
        };
        let body = OrderBody::Proof(self.water.read(way)?.into());
        order(common, &self.on, output, body)
    }
}
