//! Which serial ports and USB scales this machine has, read off the system's own folders.
//!
//! Promises: nothing is opened and nothing is sent; what the system does not say is left out, never
//! supposed; the folders are arguments, so that a copied tree can be looked at as well. Leaves to
//! others: listening to a port, and who else is about (`company`).

use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

use rustix::fs::Access;

use super::access::{Holder, check, holders_in};
use super::cause::PortTrouble;
use super::scales::{HidScale, hid_scales};
use crate::trouble::{Trouble, is_harmful};

/// Where the system tells of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Roots {
    /// The devices as the kernel has them.
    pub sys: PathBuf,
    /// Their nodes.
    pub dev: PathBuf,
    /// The processes.
    pub proc: PathBuf,
    /// What services noted since the start.
    pub run: PathBuf,
}

impl Roots {
    /// The folders below this one: `/` for the machine itself.
    pub fn under(root: &Path) -> Self {
        Self {
            sys: root.join("sys"),
            dev: root.join("dev"),
            proc: root.join("proc"),
            run: root.join("run"),
        }
    }
}

/// What kind of port it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PortKind {
    /// An adapter on USB, or a balance with a USB serial port of its own.
    Usb,
    /// Part of the machine.
    BuiltIn,
    /// A pseudo-terminal: another program is at its other end.
    Pseudo,
}

/// What the device service noted of a port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Marks {
    /// Whoever sits at the screen may open it.
    pub seat: bool,
    /// Modem services are to keep off it.
    pub no_modem: bool,
}

/// A port as it was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundPort {
    /// Its node: `/dev/ttyUSB0`.
    pub node: PathBuf,
    /// Names that stay the same when it is plugged in again, the best first.
    pub stable: Vec<PathBuf>,
    /// What kind it is.
    pub kind: PortKind,
    /// What the adapter calls itself.
    pub adapter: Option<String>,
    /// The adapter's serial number.
    pub serial: Option<String>,
    /// The kernel's driver.
    pub driver: Option<String>,
    /// Why it could not be opened, as far as can be seen without opening it.
    pub trouble: Option<PortTrouble>,
    /// The programs that have it open, as far as the system lets us see.
    pub holders: Vec<Holder>,
    /// What the device service noted; none where it noted nothing.
    pub marks: Option<Marks>,
}

/// A USB scale of the Weighing Devices usage page, which has no serial port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundScale {
    /// Its node: `/dev/hidraw0`.
    pub node: PathBuf,
    /// What it calls itself.
    pub name: Option<String>,
    /// Why it could not be opened.
    pub trouble: Option<PortTrouble>,
    /// Why its reports could not be read.
    pub unreadable: Option<Trouble>,
}

/// The longest name that is passed on.
const LONGEST_NAME: usize = 80;

/// Every serial port that has hardware behind it, by name.
pub fn ports(roots: &Roots) -> Vec<FoundPort> {
    let mut found: Vec<FoundPort> = names_in(&roots.sys.join("class/tty"))
        .into_iter()
        .filter(|name| is_real(&roots.sys.join("class/tty").join(name)))
        .map(|name| port_of(roots, roots.dev.join(&name), Some(&name)))
        .collect();
    found.sort_by_key(|one| natural(&one.node));
    found
}

/// A port that was named, whatever it is.
pub fn port_named(roots: &Roots, path: &Path) -> FoundPort {
    let real = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let name = real.file_name().and_then(|name| name.to_str());
    let known = name.filter(|name| {
        real.parent() != Some(Path::new("/dev/pts"))
            && roots
                .sys
                .join("class/tty")
                .join(name)
                .join("device")
                .exists()
    });
    port_of(roots, path.to_owned(), known)
}

/// USB scales that are HID devices, by the number of their port.
pub fn scales(roots: &Roots) -> Vec<FoundScale> {
    let found = |scale: HidScale| {
        let node = roots.dev.join(scale.node.file_name()?);
        Some(FoundScale {
            name: clean(&scale.name),
            trouble: rustix::fs::access(&node, Access::READ_OK)
                .err()
                .map(|errno| PortTrouble::from_errno(&node, errno)),
            unreadable: scale.described.err(),
            node,
        })
    };
    hid_scales(&roots.sys)
        .into_iter()
        .filter_map(found)
        .collect()
}

/// A device behind the name, and, for a port of the machine, a chip behind the device.
fn is_real(class: &Path) -> bool {
    // A built-in port without a chip has the type 0 (serial_core.h, PORT_UNKNOWN).
    class.join("device").exists() && text_of(&class.join("type")).as_deref() != Some("0")
}

fn port_of(roots: &Roots, node: PathBuf, name: Option<&str>) -> FoundPort {
    let device = name
        .map(|name| roots.sys.join("class/tty").join(name).join("device"))
        .and_then(|device| fs::canonicalize(device).ok());
    let usb = device.as_deref().and_then(|device| {
        let above = |folder: &&Path| folder.join("idVendor").exists();
        device.ancestors().find(above).map(Path::to_owned)
    });
    let said = |file: &str| {
        text_of(&usb.as_ref()?.join(file))
            .as_deref()
            .and_then(clean)
    };
    let adapter = match (said("manufacturer"), said("product")) {
        // Some say who made them within what they are.
        (Some(maker), Some(product)) if product.starts_with(&maker) => Some(product),
        (Some(maker), Some(product)) => Some(format!("{maker} {product}")),
        (one, other) => one.or(other),
    };
    let rdev = fs::metadata(&node).map_or(0, |meta| meta.rdev());
    let is_pty = (136..=143).contains(&rustix::fs::major(rdev));
    FoundPort {
        stable: stable_names(&roots.dev, &node),
        kind: match (&usb, &device) {
            (Some(_), _) => PortKind::Usb,
            (None, None) if is_pty => PortKind::Pseudo,
            _ => PortKind::BuiltIn,
        },
        adapter,
        serial: said("serial"),
        driver: device.as_deref().and_then(driver),
        trouble: check(&node).err(),
        holders: holders_in(&roots.proc, &node),
        marks: marks(roots, name),
        node,
    }
}

/// The driver of a device. Built-in ports have a port and a controller of the serial core between
/// them and theirs.
fn driver(device: &Path) -> Option<String> {
    device.ancestors().take(4).find_map(|folder| {
        let driver = fs::read_link(folder.join("driver")).ok()?;
        let of_core = driver
            .components()
            .any(|part| part.as_os_str() == "serial-base");
        (!of_core).then(|| clean(driver.file_name()?.to_str()?))?
    })
}

/// Links that lead to a node: by what the adapter is first, by a rule of panbell's, by the socket
/// that it is in last.
fn stable_names(dev: &Path, node: &Path) -> Vec<PathBuf> {
    let Ok(real) = fs::canonicalize(node) else {
        return Vec::new();
    };
    ["serial/by-id", "panbell", "serial/by-path"]
        .iter()
        .flat_map(|folder| {
            let folder = dev.join(folder);
            let mut names = names_in(&folder);
            names.sort();
            names.into_iter().map(move |name| folder.join(name))
        })
        .filter(|link| fs::canonicalize(link).is_ok_and(|target| target == real))
        .collect()
}

/// What the device service noted (its records under `udev/data`, one `KEY:value` a line).
fn marks(roots: &Roots, name: Option<&str>) -> Option<Marks> {
    let number = text_of(&roots.sys.join("class/tty").join(name?).join("dev"))?;
    let noted = fs::read_to_string(roots.run.join("udev/data").join(format!("c{number}"))).ok()?;
    Some(Marks {
        seat: noted
            .lines()
            .any(|line| matches!(line, "G:uaccess" | "Q:uaccess")),
        no_modem: noted.lines().any(|line| line == "E:ID_MM_DEVICE_IGNORE=1"),
    })
}

pub(super) fn names_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .filter_map(|entry| entry.file_name().into_string().ok())
        .collect()
}

pub(super) fn text_of(file: &Path) -> Option<String> {
    let bytes = fs::read(file).ok()?;
    let text = String::from_utf8_lossy(&bytes).trim().to_owned();
    (!text.is_empty()).then_some(text)
}

/// A device's own words, fit to be shown: it may call itself anything.
pub(super) fn clean(text: &str) -> Option<String> {
    let text: String = text
        .trim()
        .chars()
        .filter(|c| !is_harmful(*c))
        .take(LONGEST_NAME)
        .collect();
    (!text.is_empty()).then_some(text)
}

/// ttyUSB2 before ttyUSB10.
fn natural(path: &Path) -> (String, u64) {
    let text = path.display().to_string();
    let digits = text.len() - text.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    let (word, number) = text.split_at(text.len() - digits);
    (word.to_owned(), number.parse().unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_in_the_order_that_people_count() {
        let mut names = ["/dev/ttyUSB10", "/dev/ttyUSB2", "/dev/ttyACM0"].map(Path::new);
        names.sort_by_key(|name| natural(name));
        assert_eq!(
            names,
            ["/dev/ttyACM0", "/dev/ttyUSB2", "/dev/ttyUSB10"].map(Path::new)
        );
    }
}
