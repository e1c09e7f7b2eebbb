//! `panbell find`: which ports and scales there are, who has them, and what stands in the way.
//!
//! Nothing is opened unless it is asked to listen; then only ports that nobody has and that no bench
//! of the settings names. Nothing is ever sent.

mod listen;
mod say;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use rust_decimal::prelude::ToPrimitive as _;

use super::client::runtime;
use super::output::Output;
use super::{Common, Ended};
use crate::mass::typed_number;
use crate::port::{
    FoundPort, FoundScale, PortKind, Roots, ServiceKind, TakenAdapter, port_named, ports, scales,
    services, taken_adapters,
};
use crate::settings::{Folders, Settings};
use crate::trouble::Trouble;
use listen::Heard;

/// Find the balance's port, and what stands in its way
#[derive(Debug, Args)]
pub(super) struct Find {
    /// Look only at these ports; a pseudo-terminal is looked at only when it is named
    ports: Vec<PathBuf>,
    /// Listen at the usual speeds to every port that is free and that no bench has. Nothing is
    /// sent, but opening a port raises its DTR wire, as for any program
    #[arg(long)]
    listen: bool,
    /// How long to listen at each speed, in seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0, value_parser = seconds, requires = "listen")]
    seconds: f64,
    /// Look below this folder's sys, dev, proc and run: a container's, or a tree copied from elsewhere
    #[arg(long, value_name = "DIR", default_value = "/")]
    root: PathBuf,
}

fn seconds(text: &str) -> Result<f64, String> {
    match typed_number(text).ok().and_then(|number| number.to_f64()) {
        Some(seconds) if (0.2..=60.0).contains(&seconds) => Ok(seconds),
        _ => Err("it is a number of seconds from 0.2 to 60".to_owned()),
    }
}

/// Everything that was found.
struct Findings {
    ports: Vec<Seen>,
    scales: Vec<FoundScale>,
    taken: Vec<TakenAdapter>,
    services: Vec<(ServiceKind, u32)>,
    troubles: Vec<Trouble>,
}

/// A port with what this program makes of it.
struct Seen {
    port: FoundPort,
    /// The bench of the settings that has it.
    bench: Option<String>,
    heard: Option<Heard>,
}

impl Seen {
    /// Whether it may be listened to: there, permitted, nobody's.
    fn is_free(&self) -> bool {
        self.port.trouble.is_none() && self.port.holders.is_empty() && self.bench.is_none()
    }
}

impl Find {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        is_folder(&self.root)?;
        let folders = common.reading_folders()?;
        // Which ports are the benches' must be known before one is opened.
        let benches = match benches(&folders) {
            Err(trouble) if self.listen => return Err(trouble),
            known => known.unwrap_or_default(),
        };
        let roots = Roots::under(&self.root);
        let found = if self.ports.is_empty() {
            ports(&roots)
        } else {
            let named = self.ports.iter();
            named.map(|path| port_named(&roots, path)).collect()
        };
        let mut seen: Vec<Seen> = found
            .into_iter()
            .map(|port| Seen {
                bench: real(&port.node).and_then(|real| benches.get(&real).cloned()),
                heard: None,
                port,
            })
            .collect();
        if self.listen {
            let time = Duration::from_secs_f64(self.seconds);
            runtime()?.block_on(listen::to_all(&mut seen, time, &folders));
        }
        let alone = self.ports.is_empty();
        let mut findings = Findings {
            ports: seen,
            scales: if alone { scales(&roots) } else { Vec::new() },
            taken: if alone {
                taken_adapters(&roots)
            } else {
                Vec::new()
            },
            services: services(&roots),
            troubles: Vec::new(),
        };
        findings.troubles = findings.stands_in_the_way();
        output.say(&say::text(&findings), &say::Body::of(&findings));
        Ok(if findings.troubles.is_empty() {
            Ended::Done
        } else {
            Ended::Warning
        })
    }
}

/// A folder that is not there would look like a machine without ports.
fn is_folder(root: &Path) -> Result<(), Trouble> {
    if root.is_dir() {
        return Ok(());
    }
    let what = if root.exists() {
        "is no folder"
    } else {
        "is not there"
    };
    Err(Trouble::new(
        "find-root",
        format!(
            "The folder {} that was to be looked into {what}.",
            root.display()
        ),
        "Nothing was looked at, so nothing is known of any port.",
        "Name the folder that holds sys, dev, proc and run, or leave --root out to look at this machine.",
    ))
}

/// The ports of the settings by where they lead, each with its bench. No settings, no benches.
fn benches(folders: &Folders) -> Result<BTreeMap<PathBuf, String>, Trouble> {
    if !folders.settings.exists() {
        return Ok(BTreeMap::new());
    }
    let settings = Settings::read(folders)?;
    let named = settings.benches.into_iter();
    Ok(named
        .filter_map(|bench| Some((real(&bench.port.path)?, bench.name)))
        .collect())
}

fn real(path: &Path) -> Option<PathBuf> {
    std::fs::canonicalize(path).ok()
}

impl Findings {
    /// Everything that keeps a balance from being read, in the order of the ports.
    fn stands_in_the_way(&self) -> Vec<Trouble> {
        let mut troubles = Vec::new();
        for seen in &self.ports {
            let name = seen.port.node.display();
            if let Some(trouble) = &seen.port.trouble {
                troubles.push(trouble.trouble());
            }
            let service = seen.port.holders.iter().find_map(|by| {
                let kind = ServiceKind::of_program(&by.name)?;
                Some((kind, by.pid))
            });
            if let Some((kind, pid)) = service {
                troubles.push(held_by_service(&format!("The port {name}"), kind, pid));
            }
            if let Some(Heard::Refused(trouble)) = &seen.heard {
                troubles.push(trouble.clone());
            }
        }
        for scale in &self.scales {
            troubles.extend(scale.unreadable.clone());
            troubles.extend(scale.trouble.as_ref().map(|trouble| {
                let mut trouble = trouble.trouble();
                trouble.mend = format!(
                    "{} The lines for a USB scale in that rule have to be taken into use.",
                    trouble.mend
                );
                trouble
            }));
        }
        for taken in &self.taken {
            let kind = taken
                .holders
                .iter()
                .find_map(|by| ServiceKind::of_program(&by.name));
            let braille = self
                .services
                .iter()
                .find(|(kind, _)| *kind == ServiceKind::Braille);
            let what = taken.adapter.as_deref().unwrap_or("without a name");
            match (kind, braille, taken.holders.first()) {
                (Some(kind), _, Some(by)) => {
                    troubles.push(held_by_service(
                        &format!("The USB adapter {what}"),
                        kind,
                        by.pid,
                    ));
                }
                // Who holds it is hidden from an ordinary user where a service of the system does.
                (None, Some((kind, pid)), None) => {
                    troubles.push(held_by_service(
                        &format!("The USB adapter {what}"),
                        *kind,
                        *pid,
                    ));
                }
                _ => {}
            }
        }
        let modem = self
            .services
            .iter()
            .find(|(kind, _)| *kind == ServiceKind::Modem);
        let open_to_it = |seen: &&Seen| {
            seen.port.kind == PortKind::Usb && !seen.port.marks.unwrap_or_default().no_modem
        };
        if let Some((kind, pid)) = modem
            && let Some(seen) = self.ports.iter().find(open_to_it)
        {
            troubles.push(
                Trouble::new(
                    "modem-service",
                    format!(
                        "{} runs (process {pid}), and nothing keeps it off {}.",
                        capital(kind.words()),
                        seen.port.node.display()
                    ),
                    "When the adapter is plugged in, the service may keep its port busy for some seconds and send to the balance.",
                    "Install panbell's udev rule with the adapter's serial number in it, then pull the adapter out and put it back.",
                )
                .passing(),
            );
        }
        if self.ports.is_empty() && self.scales.is_empty() && self.taken.is_empty() {
            troubles.push(Trouble::new(
                "no-port",
                "No serial port and no USB scale is here.",
                "There is nothing that a balance could be read from.",
                "Plug the balance's adapter in and look again; if it is in, try another cable, since some carry only power.",
            ));
        }
        troubles
    }
}

fn held_by_service(what: &str, kind: ServiceKind, pid: u32) -> Trouble {
    match kind {
        ServiceKind::Modem => Trouble::new(
            "held-by-modem-service",
            format!("{what} is held by a modem service (process {pid})."),
            "Until it lets go, the balance cannot be read; what it asks may have confused the balance.",
            "Wait half a minute if the adapter was just plugged in; install panbell's udev rule, which keeps modem services off it.",
        )
        .passing(),
        ServiceKind::Braille => Trouble::new(
            "held-by-braille-service",
            format!("{what} is held by a braille service (process {pid}), which takes it for a braille display."),
            "The balance cannot be read while the service has its adapter.",
            "Install panbell's second udev rule, which takes the adapter off its list; where somebody reads braille, name the display in the service's settings instead, so that it need not search.",
        ),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}
