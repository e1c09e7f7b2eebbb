//! `panbell page`: where the bench's page is.

use clap::Args;

use super::client::{Client, runtime};
use super::output::Output;
use super::{Common, Ended};
use crate::serve::{PageView, RefusalBody};
use crate::trouble::Trouble;

/// Print the address of the bench's page
#[derive(Debug, Args)]
pub(super) struct Page {}

impl Page {
    #[allow(clippy::unused_self)] // every command is run alike
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let page: PageView = runtime()?.block_on(Client::of(common)?.get("/v1/page"))?;
        let open = page
            .beyond
            .as_ref()
            .is_some_and(|beyond| beyond.trouble.is_none());
        if page.address.is_none() && !open {
            let beyond = page.beyond.and_then(|beyond| beyond.trouble);
            return Err(page.trouble.or(beyond).map_or_else(off, Trouble::from));
        }
        output.say(&text(&page), &page);
        let failed = |trouble: &Option<RefusalBody>| trouble.is_some();
        let half = failed(&page.trouble) || page.beyond.is_some() && !open;
        Ok(if half { Ended::Warning } else { Ended::Done })
    }
}

/// The address of this computer first; that of other devices after it.
fn text(page: &PageView) -> String {
    let mut text = String::new();
    let mut line = |line: &str| {
        text.push_str(line);
        text.push('\n');
    };
    let mut failed = |trouble: &Option<RefusalBody>| {
        if let Some(trouble) = trouble {
            line(&Trouble::from(trouble.clone()).to_string());
        }
    };
    failed(&page.trouble);
    if let Some(beyond) = &page.beyond {
        failed(&beyond.trouble);
    }
    if let Some(address) = &page.address {
        line(address);
    }
    if let Some(beyond) = &page.beyond {
        for address in &beyond.addresses {
            line(&format!("{address}  for paired devices (panbell pair)"));
        }
        if let Some(fingerprint) = &beyond.fingerprint {
            line(&format!(
                "SHA-256 fingerprint of its certificate: {fingerprint}"
            ));
        }
    }
    text
}

fn off() -> Trouble {
    Trouble::new(
        "page-off",
        "The bench's page is off.",
        "The bench weighs and rings without its page, and takes orders from the commands.",
        "For a page, take at = \"off\" out of [page] in the settings and start panbell again.",
    )
}
