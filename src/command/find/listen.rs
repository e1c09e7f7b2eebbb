//! Listening to the ports that nobody has, all at once, speed by speed.
//!
//! Promises: nothing is sent; a port is given back before the next speed, and at the end; a port
//! that says nothing at one speed is not tried at the others, since bytes come at any. Leaves to
//! others: which ports may be listened to, and what a line means.

use std::time::Duration;

use tokio::task::JoinSet;
use tokio::time::{Instant, timeout_at};

use super::Seen;
use crate::balance::{CheckBit, Layout, Sound, sound};
use crate::port::{Framing, OpenPort, PortSettings};
use crate::settings::{BalanceFile, Folders, SHIPPED_BALANCES};
use crate::trouble::Trouble;

/// The speeds that balances have, the commonest first.
const SPEEDS: [u32; 10] = [
    9600, 19_200, 4800, 2400, 1200, 38_400, 57_600, 115_200, 600, 300,
];
/// Lines after which it is sure enough.
const ENOUGH: usize = 3;
/// The most that is taken in at one speed.
const MOST_BYTES: usize = 8192;

/// What was heard of a port.
#[derive(Debug, Clone)]
pub(super) enum Heard {
    /// It could not be listened to after all.
    Refused(Trouble),
    /// Nothing.
    Silent,
    /// Bytes that are no text at any speed.
    Garbled,
    /// Text, and no weighings.
    Text,
    /// Something that talks like a balance.
    Balance {
        speed: u32,
        framing: String,
        line: Vec<u8>,
        /// The balance files that read its lines.
        layouts: Vec<String>,
    },
}

/// Listens to every port that is free, for so long at each speed.
pub(super) async fn to_all(seen: &mut [Seen], time: Duration, folders: &Folders) {
    let mut tasks = JoinSet::new();
    for (place, one) in seen.iter().enumerate().filter(|(_, one)| one.is_free()) {
        let node = one.port.node.clone();
        tasks.spawn(async move { (place, to_one(&node, time).await) });
    }
    let mut layouts = layouts(folders);
    while let Some(done) = tasks.join_next().await {
        let Ok((place, mut heard)) = done else {
            continue;
        };
        if let Heard::Balance {
            line, layouts: fit, ..
        } = &mut heard
        {
            *fit = layouts
                .iter_mut()
                .filter_map(|(name, layout)| layout.read(line).is_ok().then(|| name.clone()))
                .collect();
        }
        if let Some(one) = seen.get_mut(place) {
            one.heard = Some(heard);
        }
    }
}

async fn to_one(node: &std::path::Path, time: Duration) -> Heard {
    let mut best = Heard::Garbled;
    for speed in SPEEDS {
        let settings = PortSettings::new(node, speed, Framing::EIGHT_NONE_ONE);
        let mut port = match OpenPort::open(&settings) {
            Ok(port) => port,
            Err(cause) => return Heard::Refused(cause.with_holder().trouble()),
        };
        match stretch(&mut port, time).await {
            // Bytes sent at any speed arrive as some bytes at any other.
            Sound::Silent => return Heard::Silent,
            Sound::Garbled => {}
            Sound::Text => best = Heard::Text,
            Sound::Weighings { line, check, .. } => {
                let framing = match check {
                    CheckBit::None => "8N1",
                    CheckBit::Even => "7E1",
                    CheckBit::Odd => "7O1",
                };
                return Heard::Balance {
                    speed,
                    framing: framing.to_owned(),
                    line,
                    layouts: Vec::new(),
                };
            }
        }
    }
    best
}

/// What one stretch of time sounds like; sooner when it is clear.
async fn stretch(port: &mut OpenPort, time: Duration) -> Sound {
    let until = Instant::now() + time;
    let (mut all, mut bytes) = (Vec::new(), [0; 1024]);
    while all.len() < MOST_BYTES {
        match timeout_at(until, port.read(&mut bytes)).await {
            Ok(Ok(count @ 1..)) => all.extend_from_slice(bytes.get(..count).unwrap_or_default()),
            // The time is up, or the port went away.
            _ => break,
        }
        let heard = sound(&all);
        if matches!(
            heard,
            Sound::Weighings {
                lines: ENOUGH..,
                ..
            }
        ) {
            return heard;
        }
    }
    sound(&all)
}

/// Every balance file that can be read: the person's own, then the shipped ones.
fn layouts(folders: &Folders) -> Vec<(String, Layout)> {
    let own = std::fs::read_dir(&folders.balances);
    let mut names: Vec<String> = own
        .into_iter()
        .flatten()
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter_map(|name| Some(name.strip_suffix(".toml")?.to_owned()))
        .collect();
    names.sort();
    for (shipped, _) in SHIPPED_BALANCES {
        if !names.iter().any(|own| own == shipped) {
            names.push(shipped.to_owned());
        }
    }
    names
        .into_iter()
        .filter_map(|name| {
            let file = BalanceFile::find(&name, folders).ok()?;
            Some((name, Layout::compile(&file.layout).ok()?))
        })
        .collect()
}
