//! `[page]`: where the bench's page is served, to this computer and to paired devices.
//!
//! Promises: what is served without encryption is served on a loopback address or not at all; an
//! address that others on the network can reach is used only when the settings say so in as many
//! words, and under no name but those listed. Leaves to others: opening it, and who is let in.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

use super::section::{Known, Section};

/// Where the bench's page is served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageSettings {
    /// The loopback address and port; port 0 is any that is free. None: no page.
    pub at: Option<SocketAddr>,
    /// Where paired devices reach it, encrypted. None: nothing listens beyond loopback.
    pub beyond: Option<BeyondSettings>,
}

/// Where other devices reach the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BeyondSettings {
    /// Address and port; port 0 is any that is free.
    pub at: SocketAddr,
    /// The host names and addresses, in lower case and without a port, that devices may use; never
    /// empty.
    pub names: Vec<String>,
}

impl Default for PageSettings {
    fn default() -> Self {
        Self {
            at: Some(SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), PORT)),
            beyond: None,
        }
    }
}

/// The port by default; above those of the system, below those that it gives out by itself.
const PORT: u16 = 7726;
/// The port for other devices. Another one, so that neither is ever mistaken for the other.
const BEYOND: SocketAddr = SocketAddr::new(IpAddr::V6(Ipv6Addr::UNSPECIFIED), PORT + 1);
/// What `at` says for no page.
const OFF: &str = "off";
/// The most names; each is in the certificate.
const MOST_NAMES: usize = 16;

pub(super) const PAGE: Known = Known {
    table: "[page]",
    keys: &[
        ("at", "\"127.0.0.1:7726\""),
        ("beyond_loopback", "false"),
        ("beyond_at", "\"[::]:7727\""),
        ("names", "[\"bench.local\"]"),
    ],
};

/// The settings of the page; none, and said so, when they cannot be used.
pub(super) fn page(section: &Section<'_>) -> Option<PageSettings> {
    // All are read, so that all that is wrong is told.
    match (at(section), beyond(section)) {
        (Ok(at), Ok(beyond)) => Some(PageSettings { at, beyond }),
        _ => None,
    }
}

/// What is wrong was told.
struct Told;

fn at(section: &Section<'_>) -> Result<Option<SocketAddr>, Told> {
    if !section.has("at") {
        return Ok(PageSettings::default().at);
    }
    let text = section.text("at").ok_or(Told)?.value;
    if text == OFF {
        return Ok(None);
    }
    let Ok(at) = text.parse::<SocketAddr>() else {
        section.refuse(
            "at",
            "That is no address with a port.",
            "Write at = \"127.0.0.1:7726\", or at = \"off\" for no page.",
        );
        return Err(Told);
    };
    if !at.ip().is_loopback() {
        section.refuse(
            "at",
            "Others on the network could reach the bench there, and listen in.",
            "Write an address of this computer alone, such as at = \"127.0.0.1:7726\"; for other devices, write beyond_loopback = true and their address as beyond_at.",
        );
        return Err(Told);
    }
    Ok(Some(at))
}

fn beyond(section: &Section<'_>) -> Result<Option<BeyondSettings>, Told> {
    let wanted = if section.has("beyond_loopback") {
        section.truth("beyond_loopback")
    } else {
        Some(false)
    };
    let (Some(wanted), Some(at), Some(mut names)) = (wanted, beyond_at(section), names(section))
    else {
        return Err(Told);
    };
    if !wanted {
        return Ok(None);
    }
    if !at.ip().is_unspecified() {
        let own = at.ip().to_string();
        if !names.contains(&own) {
            names.push(own);
        }
    }
    if names.is_empty() {
        section.refuse(
            "beyond_loopback",
            "No name is listed by which devices may reach the bench.",
            "Add the names or addresses that they will use, as in names = [\"bench.local\"].",
        );
        return Err(Told);
    }
    Ok(Some(BeyondSettings { at, names }))
}

fn beyond_at(section: &Section<'_>) -> Option<SocketAddr> {
    if !section.has("beyond_at") {
        return Some(BEYOND);
    }
    let at = section.text("beyond_at")?.value.parse::<SocketAddr>().ok();
    if at.is_none() {
        section.refuse(
            "beyond_at",
            "That is no address with a port.",
            "Write beyond_at = \"[::]:7727\" for every network of this computer, or its address in one.",
        );
    }
    at
}

fn names(section: &Section<'_>) -> Option<Vec<String>> {
    let mut names: Vec<String> = Vec::new();
    for text in section.texts("names") {
        let Some(name) = host(&text) else {
            section.refuse(
                "names",
                &format!("\"{text}\" is no host name and no address."),
                "Write names without a port and without http, as in names = [\"bench.local\", \"192.168.1.20\"].",
            );
            return None;
        };
        if !names.contains(&name) {
            names.push(name);
        }
    }
    if names.len() > MOST_NAMES {
        section.refuse(
            "names",
            "There are more than 16 names.",
            "List those that devices really use.",
        );
        return None;
    }
    Some(names)
}

/// A host as it stands in a certificate: an address, or a name of letters, digits and hyphens
/// (RFC 1123, 2.1), in lower case.
fn host(text: &str) -> Option<String> {
    if let Ok(address) = text.parse::<IpAddr>() {
        return (!address.is_unspecified()).then(|| address.to_string());
    }
    let label = |label: &str| {
        (1..=63).contains(&label.len())
            && label
                .bytes()
                .all(|b| b.is_ascii_alphanumeric() || b == b'-')
            && !label.starts_with('-')
            && !label.ends_with('-')
    };
    // A last label of digits alone would be a mistyped address.
    let last = text.rsplit('.').next()?;
    let named = text.len() <= 253
        && text.split('.').all(label)
        && !last.bytes().all(|b| b.is_ascii_digit());
    named.then(|| text.to_ascii_lowercase())
}
