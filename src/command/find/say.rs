//! What was found, in words and as JSON.

use std::fmt::Write as _;

use serde::Serialize;

use super::listen::Heard;
use super::{Findings, Seen};
use crate::port::{Holder, PortKind, PortTrouble};
use crate::trouble::is_harmful;

/// Everything, as JSON.
#[derive(Serialize)]
pub(super) struct Body {
    ports: Vec<PortBody>,
    scales: Vec<ScaleBody>,
    taken_adapters: Vec<TakenBody>,
    services: Vec<ServiceBody>,
    troubles: Vec<TroubleBody>,
}

#[derive(Serialize)]
struct PortBody {
    port: String,
    stable: Vec<String>,
    /// usb, built-in or pseudo-terminal.
    kind: &'static str,
    adapter: Option<String>,
    serial: Option<String>,
    driver: Option<String>,
    /// free, bench, taken, no-permission, absent or not-serial.
    state: &'static str,
    bench: Option<String>,
    holders: Vec<HolderBody>,
    /// Whether the device service gave it to the person at the screen, and keeps modem services
    /// off; none where nothing is noted.
    seat: Option<bool>,
    no_modem: Option<bool>,
    heard: Option<HeardBody>,
}

#[derive(Serialize)]
struct HolderBody {
    pid: u32,
    name: String,
}

#[derive(Serialize, Default)]
struct HeardBody {
    /// silent, garbled, text, balance or refused.
    sound: &'static str,
    speed: Option<u32>,
    framing: Option<String>,
    line: Option<String>,
    layouts: Vec<String>,
}

#[derive(Serialize)]
struct ScaleBody {
    node: String,
    name: Option<String>,
    readable: bool,
}

#[derive(Serialize)]
struct TakenBody {
    place: String,
    adapter: Option<String>,
    holders: Vec<HolderBody>,
}

#[derive(Serialize)]
struct ServiceBody {
    service: &'static str,
    pid: u32,
}

#[derive(Serialize)]
struct TroubleBody {
    code: &'static str,
    happened: String,
    means: String,
    mend: String,
    passes: bool,
}

fn holders(all: &[Holder]) -> Vec<HolderBody> {
    all.iter()
        .map(|by| HolderBody {
            pid: by.pid,
            name: by.name.clone(),
        })
        .collect()
}

impl Body {
    pub(super) fn of(found: &Findings) -> Self {
        Self {
            ports: found.ports.iter().map(PortBody::of).collect(),
            scales: found
                .scales
                .iter()
                .map(|scale| ScaleBody {
                    node: scale.node.display().to_string(),
                    name: scale.name.clone(),
                    readable: scale.trouble.is_none() && scale.unreadable.is_none(),
                })
                .collect(),
            taken_adapters: found
                .taken
                .iter()
                .map(|taken| TakenBody {
                    place: taken.place.clone(),
                    adapter: taken.adapter.clone(),
                    holders: holders(&taken.holders),
                })
                .collect(),
            services: found
                .services
                .iter()
                .map(|(kind, pid)| ServiceBody {
                    service: kind.words().trim_start_matches("a "),
                    pid: *pid,
                })
                .collect(),
            troubles: found
                .troubles
                .iter()
                .map(|trouble| TroubleBody {
                    code: trouble.code,
                    happened: trouble.happened.clone(),
                    means: trouble.means.clone(),
                    mend: trouble.mend.clone(),
                    passes: trouble.passes,
                })
                .collect(),
        }
    }
}

impl PortBody {
    fn of(seen: &Seen) -> Self {
        let port = &seen.port;
        Self {
            port: port.node.display().to_string(),
            stable: port
                .stable
                .iter()
                .map(|name| name.display().to_string())
                .collect(),
            kind: match port.kind {
                PortKind::Usb => "usb",
                PortKind::BuiltIn => "built-in",
                PortKind::Pseudo => "pseudo-terminal",
            },
            adapter: port.adapter.clone(),
            serial: port.serial.clone(),
            driver: port.driver.clone(),
            state: state(seen),
            bench: seen.bench.clone(),
            holders: holders(&port.holders),
            seat: port.marks.map(|marks| marks.seat),
            no_modem: port.marks.map(|marks| marks.no_modem),
            heard: seen.heard.as_ref().map(HeardBody::of),
        }
    }
}

impl HeardBody {
    fn of(heard: &Heard) -> Self {
        let plain = |sound| Self {
            sound,
            ..Self::default()
        };
        match heard {
            Heard::Refused(_) => plain("refused"),
            Heard::Silent => plain("silent"),
            Heard::Garbled => plain("garbled"),
            Heard::Text => plain("text"),
            Heard::Balance {
                speed,
                framing,
                line,
                layouts,
            } => Self {
                sound: "balance",
                speed: Some(*speed),
                framing: Some(framing.clone()),
                line: Some(shown(line)),
                layouts: layouts.clone(),
            },
        }
    }
}

/// A line as text; where it is none, with its odd bytes written out.
fn shown(line: &[u8]) -> String {
    match std::str::from_utf8(line) {
        Ok(text) if !text.chars().any(is_harmful) => text.to_owned(),
        _ => line.escape_ascii().to_string(),
    }
}

fn state(seen: &Seen) -> &'static str {
    match &seen.port.trouble {
        Some(PortTrouble::Absent { .. }) => "absent",
        Some(PortTrouble::NoPermission { .. }) => "no-permission",
        Some(PortTrouble::NotASerialPort { .. }) => "not-serial",
        Some(PortTrouble::Busy { .. } | PortTrouble::Failed { .. }) => "taken",
        None if !seen.port.holders.is_empty() => "taken",
        None if seen.bench.is_some() => "bench",
        None => "free",
    }
}

/// Everything, for people.
pub(super) fn text(found: &Findings) -> String {
    let mut out = String::new();
    for seen in &found.ports {
        port(&mut out, seen);
    }
    for scale in &found.scales {
        line(&mut out, &scale.node.display().to_string());
        let name = scale.name.as_deref().unwrap_or("without a name");
        line(
            &mut out,
            &format!("  a USB scale without a serial port: {name}"),
        );
    }
    for taken in &found.taken {
        let name = taken.adapter.as_deref().unwrap_or("without a name");
        line(&mut out, &format!("USB adapter {name}, at {}", taken.place));
        let by = by(&taken.holders).unwrap_or_else(|| "a program".to_owned());
        line(
            &mut out,
            &format!("  has no port, since it is driven by {by}"),
        );
    }
    if !found.troubles.is_empty() && !out.is_empty() {
        out.push('\n');
    }
    for trouble in &found.troubles {
        line(&mut out, &trouble.to_string());
    }
    out
}

fn port(out: &mut String, seen: &Seen) {
    let found = &seen.port;
    line(out, &found.node.display().to_string());
    if let Some(stable) = found.stable.first() {
        line(out, &format!("  name that stays: {}", stable.display()));
    } else if found.kind == PortKind::Usb {
        line(
            out,
            "  no name that stays: it has no serial number, or the device service is not running",
        );
    }
    let what = match found.kind {
        PortKind::Usb => "USB adapter",
        PortKind::BuiltIn => "port of this computer",
        PortKind::Pseudo => "pseudo-terminal: another program is at its other end",
    };
    let mut what = vec![what.to_owned()];
    what.extend(found.adapter.clone());
    what.extend(
        found
            .serial
            .as_ref()
            .map(|serial| format!("serial number {serial}")),
    );
    what.extend(
        found
            .driver
            .as_ref()
            .map(|driver| format!("driver {driver}")),
    );
    line(out, &format!("  {}", what.join(", ")));
    if let Some(bench) = &seen.bench {
        line(out, &format!("  bench {bench} of the settings has it"));
    }
    match state(seen) {
        "taken" => {
            let by = by(&found.holders).unwrap_or_else(|| "another program".to_owned());
            line(out, &format!("  open in {by}"));
        }
        "no-permission" => line(out, "  may not be opened by you"),
        "absent" => line(out, "  is not there"),
        "not-serial" => line(out, "  is no serial port"),
        "free" => line(out, "  free"),
        _ => {}
    }
    match &seen.heard {
        Some(Heard::Silent) => line(
            out,
            "  says nothing: off, or it sends only at its print key or when it is asked",
        ),
        Some(Heard::Garbled) => line(out, "  sends something that is no text at any usual speed"),
        Some(Heard::Text) => line(out, "  sends text that does not look like weighings"),
        Some(Heard::Balance {
            speed,
            framing,
            line: example,
            layouts,
        }) => {
            let any_speed = if found.kind == PortKind::Pseudo {
                " (as at any speed)"
            } else {
                ""
            };
            line(
                out,
                &format!(
                    "  talks like a balance at {speed} {framing}{any_speed}: \"{}\"",
                    shown(example)
                ),
            );
            let words = if layouts.is_empty() {
                format!(
                    "  no balance file reads its lines yet: panbell learn {}",
                    found.node.display()
                )
            } else {
                format!("  its lines are read by: {}", layouts.join(", "))
            };
            line(out, &words);
        }
        Some(Heard::Refused(_)) | None => {}
    }
}

fn by(holders: &[Holder]) -> Option<String> {
    let all: Vec<String> = holders
        .iter()
        .map(|by| format!("{} (process {})", by.name, by.pid))
        .collect();
    (!all.is_empty()).then(|| all.join(", "))
}

fn line(out: &mut String, text: &str) {
    // Writing into a text cannot fail.
    let _written = writeln!(out, "{text}");
}
