//! Which balance file a name means: one of the person's own, or a shipped one.
//!
//! Promises: a file of the person's own goes before a shipped one of the same name, and is never
//! passed over because it cannot be read; the shipped files are named after the shape of their
//! line. Leaves to others: what stands in it (`balance`).

use std::path::Path;

use super::source::Source;
use super::trouble::{MEANS, SettingsTrouble};
use super::{BalanceFile, Folders};
use crate::trouble::Trouble;

/// The balance files that are part of the program: name and text.
pub const SHIPPED_BALANCES: [(&str, &str); 13] = [
    (
        "signed-fixed",
        include_str!("../../config/balances/signed-fixed.toml"),
    ),
    (
        "status-first",
        include_str!("../../config/balances/status-first.toml"),
    ),
    (
        "comma-fields",
        include_str!("../../config/balances/comma-fields.toml"),
    ),
    (
        "value-only",
        include_str!("../../config/balances/value-only.toml"),
    ),
    (
        "unit-at-rest",
        include_str!("../../config/balances/unit-at-rest.toml"),
    ),
    (
        "zero-filled",
        include_str!("../../config/balances/zero-filled.toml"),
    ),
    (
        "stx-check",
        include_str!("../../config/balances/stx-check.toml"),
    ),
    (
        "last-in-brackets",
        include_str!("../../config/balances/last-in-brackets.toml"),
    ),
    (
        "net-gross-tare",
        include_str!("../../config/balances/net-gross-tare.toml"),
    ),
    (
        "headed-block",
        include_str!("../../config/balances/headed-block.toml"),
    ),
    (
        "grouped-digits",
        include_str!("../../config/balances/grouped-digits.toml"),
    ),
    (
        "pause-ended",
        include_str!("../../config/balances/pause-ended.toml"),
    ),
    ("asked", include_str!("../../config/balances/asked.toml")),
];

/// The name of a balance that needs no file: a USB HID scale, which describes itself. A file of the
/// person's own of that name goes before it.
pub const USB_SCALE: &str = "usb-scale";

impl BalanceFile {
    /// The balance file that the settings mean: a path if there is a slash in it (from the folder
    /// of the settings file, unless it is a whole path), else one of the person's own balance
    /// files, else a shipped one.
    ///
    /// # Errors
    /// When there is none of that name, or when what is wrong in it.
    pub fn find(name: &str, folders: &Folders) -> Result<Self, SettingsTrouble> {
        if name.contains('/') {
            let near = folders.settings.parent().unwrap_or(Path::new("."));
            let path = near.join(name);
            return match Source::read(&path)? {
                Some(source) => Self::read(&source),
                None => Err(SettingsTrouble::unknown_balance(unknown_path(&path))),
            };
        }
        let own = folders.balances.join(format!("{name}.toml"));
        if let Some(source) = Source::read(&own)? {
            return Self::read(&source);
        }
        match SHIPPED_BALANCES.iter().find(|(known, _)| *known == name) {
            Some((_, text)) => Self::read(&Source::shipped(name, text)),
            None => Err(SettingsTrouble::unknown_balance(unknown(name, folders))),
        }
    }
}

fn unknown_path(path: &Path) -> Trouble {
    Trouble::new(
        "balance-unknown",
        format!("There is no balance file {}.", path.display()),
        MEANS,
        "Correct the path, or name a shipped balance file without a slash.",
    )
}

fn unknown(name: &str, folders: &Folders) -> Trouble {
    let mut known: Vec<String> = SHIPPED_BALANCES
        .iter()
        .map(|(name, _)| *name)
        .chain([USB_SCALE])
        .map(str::to_owned)
        .collect();
    // Only to help; a folder that cannot be listed offers nothing.
    if let Ok(entries) = std::fs::read_dir(&folders.balances) {
        let mut own: Vec<String> = entries
            .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
            .filter_map(|file| Some(file.strip_suffix(".toml")?.to_owned()))
            .filter(|own| !known.contains(own))
            .collect();
        own.sort();
        known.extend(own.into_iter().take(20));
    }
    let nearest = super::nearest(name, known.iter().map(String::as_str))
        .map_or_else(String::new, |nearest| {
            format!("The nearest known one is \"{nearest}\". ")
        });
    Trouble::new(
        "balance-unknown",
        format!(
            "There is no balance file \"{name}\", neither shipped nor in {}.",
            folders.balances.display()
        ),
        MEANS,
        format!("{nearest}Known are {}.", known.join(", ")),
    )
}
