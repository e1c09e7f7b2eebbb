//! `panbell page`: where the bench's page is.

use clap::Args;

use super::client::{Client, runtime};
use super::output::Output;
use super::{Common, Ended};
use crate::serve::PageView;
use crate::trouble::Trouble;

/// Print the address of the bench's page
#[derive(Debug, Args)]
pub(super) struct Page {}

impl Page {
    #[allow(clippy::unused_self)] // every command is run alike
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let page: PageView = runtime()?.block_on(Client::of(common)?.get("/v1/page"))?;
        if let Some(address) = &page.address {
            output.say(address, &page);
            return Ok(Ended::Done);
        }
        Err(page.trouble.map_or_else(off, Trouble::from))
    }
}

fn off() -> Trouble {
    Trouble::new(
        "page-off",
        "The bench's page is off.",
        "The bench weighs and rings without its page, and takes orders from the commands.",
        "For a page, take at = \"off\" out of [page] in the settings and start panbell again.",
    )
}
