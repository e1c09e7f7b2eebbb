//! `panbell answer`: say what happened to the pan when the bench asks.

use clap::{Args, ValueEnum};

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::job::PanAnswer;
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// What happened to the pan.
#[derive(Debug, Args)]
pub(super) struct Answer {
    /// What it was
    said: Said,
    #[command(flatten)]
    on: OnArgs,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Said {
    /// The balance's tare key was pressed; the metal is still on the pan
    Tared,
    /// The dish was lifted and is back, with all metal that was in it
    Back,
    /// Begin this weighing anew from what is on the pan
    Anew,
}

impl Answer {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let said = match self.said {
            Said::Tared => PanAnswer::Tared,
            Said::Back => PanAnswer::Back,
            Said::Anew => PanAnswer::Anew,
        };
        order(common, &self.on, output, OrderBody::Answer { said })
    }
}
