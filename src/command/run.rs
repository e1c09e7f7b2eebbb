//! `panbell run`: the service.

use clap::Args;

use super::output::Output;
use super::{Common, Ended, logs};
use crate::bench;
use crate::settings::Settings;
use crate::trouble::Trouble;

/// Run the service until it is told to stop.
#[derive(Debug, Args)]
pub(super) struct Run {}

impl Run {
    #[allow(clippy::unused_self)] // every command is run alike
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        logs::start(common.verbose);
        let folders = common.folders()?;
        let settings = Settings::read(&folders).map_err(|wrong| {
            // Everything that is wrong is said at once; the last is what the command ends with.
            let mut all = wrong.all().cloned().collect::<Vec<_>>();
            let last = all.pop().unwrap_or_else(|| wrong.first().clone());
            for trouble in &all {
                output.trouble(trouble);
            }
            last
        })?;
        bench::run(settings)?;
        Ok(Ended::Done)
    }
}
