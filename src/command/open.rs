//! `panbell open`: begin a job.

use clap::Args;

use super::client::order;
use super::output::Output;
use super::{BenchArg, Common, Ended, OnArgs};
use crate::serve::{AddBody, OrderBody};
use crate::trouble::Trouble;

/// Open a job.
#[derive(Debug, Args)]
pub(super) struct Open {
    /// The ticket; the job file is named after it
    ticket: String,
    /// The client's reference
    #[arg(long, value_name = "REFERENCE", default_value = "")]
    client: String,
    /// What to make: karat as 14k, or fineness as 585
    #[arg(long, value_name = "KARAT|FINENESS")]
    target: String,
    /// yellow, pale-yellow, pink, red, green or white
    #[arg(long, value_name = "COLOUR")]
    colour: String,
    /// casting, sheet, wire, tube, ring, solder or any
    #[arg(long = "use", value_name = "USE", default_value = "any")]
    purpose: String,
    /// A metal to add: a name on the shelf or a fineness, with its parts by mass against the
    /// others (fine-silver, copper=2.5); in the order of weighing out
    #[arg(long, value_name = "METAL[=PARTS]")]
    add: Vec<String>,
    #[command(flatten)]
    bench: BenchArg,
}

impl Open {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let add = self.add.iter().map(|text| AddBody::typed(text));
        let body = OrderBody::Open {
            ticket: self.ticket.clone(),
            client: self.client.clone(),
            target: self.target.clone(),
            colour: self.colour.clone(),
            purpose: self.purpose.clone(),
            add: add.collect(),
        };
        // It is for no ticket that is open, and asks nothing.
        let on = OnArgs {
            bench: self.bench.clone(),
            ticket: None,
            confirm: None,
        };
        order(common, &on, output, body)
    }
}
