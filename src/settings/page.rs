//! `[page]`: where the bench's page is served.
//!
//! Promises: an address that others on the network could reach is refused, for what is served
//! there is not encrypted. Leaves to others: opening it.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};

use super::section::{Known, Section};

/// Where the bench's page is served.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PageSettings {
    /// The loopback address and port; port 0 is any that is free. None: no page.
    pub at: Option<SocketAddr>,
}

impl Default for PageSettings {
    fn default() -> Self {
        Self {
            at: Some(SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), PORT)),
        }
    }
}

/// The port by default; above those of the system, below those that it gives out by itself.
const PORT: u16 = 7726;
/// What `at` says for no page.
const OFF: &str = "off";

pub(super) const PAGE: Known = Known {
    table: "[page]",
    keys: &[("at", "\"127.0.0.1:7726\"")],
};

/// The settings of the page; none, and said so, when they cannot be used.
pub(super) fn page(section: &Section<'_>) -> Option<PageSettings> {
    if !section.has("at") {
        return Some(PageSettings::default());
    }
    let text = section.text("at")?.value;
    if text == OFF {
        return Some(PageSettings { at: None });
    }
    let Ok(at) = text.parse::<SocketAddr>() else {
        section.refuse(
            "at",
            "That is no address with a port.",
            "Write at = \"127.0.0.1:7726\", or at = \"off\" for no page.",
        );
        return None;
    };
    if !at.ip().is_loopback() {
        section.refuse(
            "at",
            "Others on the network could reach the bench there, and listen in.",
            "Write an address of this computer alone, such as at = \"127.0.0.1:7726\".",
        );
        return None;
    }
    Some(PageSettings { at: Some(at) })
}
