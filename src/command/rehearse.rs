//! `panbell rehearse`.
use super::Ended;
use super::output::Output;
use crate::trouble::Trouble;
/// x
#[derive(Debug, clap::Args)]
pub(super) struct Rehearse {}
impl Rehearse {
    pub(super) fn run(&self, _output: &Output) -> Result<Ended, Trouble> { Ok(Ended::Done) }
}
