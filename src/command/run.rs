//! `panbell run`: the service.

use clap::Args;

use super::{Common, Ended, logs};
use crate::bench;
use crate::settings::Settings;
use crate::trouble::Trouble;

/// Run the service until it is told to stop.
#[derive(Debug, Args)]
pub(super) struct Run {}

impl Run {
    pub(super) fn run(&self, common: &Common) -> Result<Ended, Trouble> {
        logs::start(common.verbose);
        let folders = common.folders()?;
        let settings = Settings::read(&folders)?;
        bench::run(settings)?;
        Ok(Ended::Done)
    }
}
