//! The USB scales that are plugged in, found without opening any device.
//!
//! Promises: only reads what the kernel tells of its hidraw devices; a device that calls itself a
//! scale and cannot be read is listed too, with why not. Leaves to others: showing them.

use std::fs;
use std::path::{Path, PathBuf};

use super::hidraw::described;
use crate::balance::hid::DescriptorFault;
use crate::trouble::{Trouble, is_harmful};

/// A USB scale that is plugged in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HidScale {
    /// Its port, as in `/dev/hidraw0`; the number may be another after the next plugging in.
    pub node: PathBuf,
    /// The name that it gives itself.
    pub name: String,
    /// Its serial number, if it has one.
    pub serial: Option<String>,
    /// What its reports look like, in a few words, or why they cannot be read.
    pub described: Result<String, Trouble>,
}

/// The USB scales in a tree like `/sys`, by the number of their port.
pub fn hid_scales(sys: &Path) -> Vec<HidScale> {
    let Ok(entries) = fs::read_dir(sys.join("class/hidraw")) else {
        return Vec::new();
    };
    let mut found: Vec<(u32, HidScale)> = entries
        .filter_map(|entry| {
            let entry = entry.ok()?;
            let name = entry.file_name().into_string().ok()?;
            let number = name.strip_prefix("hidraw")?.parse().ok()?;
            let device = entry.path().join("device");
            let described = described(&device.join("report_descriptor"));
            // It is another kind of device.
            let other = Err(DescriptorFault::NotAScale);
            if described == other || described == Err(DescriptorFault::Missing) {
                return None;
            }
            let told = fs::read(device.join("uevent")).unwrap_or_default();
            let told = String::from_utf8_lossy(&told);
            let value = |key: &str| {
                let value = told.lines().find_map(|line| line.strip_prefix(key))?;
                // It is the device's own word, and goes to a terminal.
                let plain: String = value
                    .chars()
                    .filter(|it| !is_harmful(*it))
                    .take(80)
                    .collect();
                (!plain.trim().is_empty()).then(|| plain.trim().to_owned())
            };
            let scale = HidScale {
                node: Path::new("/dev").join(&name),
                name: value("HID_NAME=").unwrap_or_else(|| "a USB scale".to_owned()),
                serial: value("HID_UNIQ="),
                described: described
                    .map(|layout| layout.to_string())
                    .map_err(|fault| fault.trouble()),
            };
            Some((number, scale))
        })
        .collect();
    found.sort_by_key(|(number, _)| *number);
    found.into_iter().map(|(_, scale)| scale).collect()
}
