//! Who else is about: services that take ports for themselves, and adapters that were taken.
//!
//! Promises: only what the system shows of running programs and of devices is told; nothing is
//! stopped or changed. Leaves to others: what to tell the person.

use std::fs;
use std::path::Path;

use super::access::{Holder, holders_in};
use super::discover::{Roots, clean, names_in, text_of};

/// What a service wants with serial ports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ServiceKind {
    /// It looks for modems, and sends to every new port to find them.
    Modem,
    /// It looks for braille displays, and takes adapters for itself to find them.
    Braille,
}

impl ServiceKind {
    /// The word for it, with its article.
    pub fn words(self) -> &'static str {
        match self {
            Self::Modem => "a modem service",
            Self::Braille => "a braille service",
        }
    }

    /// The kind of a program by its name in the list of processes, which holds 15 characters.
    pub fn of_program(name: &str) -> Option<Self> {
        match name {
            "ModemManager" => Some(Self::Modem),
            "brltty" => Some(Self::Braille),
            _ => None,
        }
    }
}

/// A USB adapter that a program took from the kernel, so that it has no port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenAdapter {
    /// Its place on the bus: `1-2`.
    pub place: String,
    /// What it calls itself.
    pub adapter: Option<String>,
    /// Who has it, as far as the system lets us see.
    pub holders: Vec<Holder>,
}

/// The services that run and may want a port, each with its process number.
pub fn services(roots: &Roots) -> Vec<(ServiceKind, u32)> {
    let mut found: Vec<(ServiceKind, u32)> = names_in(&roots.proc)
        .into_iter()
        .filter_map(|name| {
            let pid: u32 = name.parse().ok()?;
            let comm = text_of(&roots.proc.join(&name).join("comm"))?;
            Some((ServiceKind::of_program(&comm)?, pid))
        })
        .collect();
    found.sort_by_key(|(_, pid)| *pid);
    found
}

/// Adapters that a program drives by itself, of the classes that serial adapters have: a class of
/// the maker's own, or communications (USB-IF defined class codes FF, 02 and 0A).
pub fn taken_adapters(roots: &Roots) -> Vec<TakenAdapter> {
    let devices = roots.sys.join("bus/usb/devices");
    let mut places: Vec<String> = names_in(&devices)
        .into_iter()
        .filter(|name| is_taken(&devices.join(name)))
        .filter_map(|name| Some(name.split_once(':')?.0.to_owned()))
        .collect();
    places.sort();
    places.dedup();
    places
        .into_iter()
        .map(|place| {
            let device = devices.join(&place);
            let said = |file: &str| text_of(&device.join(file)).as_deref().and_then(clean);
            let number = |file: &str| said(file)?.parse::<u32>().ok();
            let node = number("busnum").zip(number("devnum"));
            let node = node.map(|(bus, number)| {
                let node = format!("bus/usb/{bus:03}/{number:03}");
                roots.dev.join(node)
            });
            TakenAdapter {
                adapter: said("product").or_else(|| said("manufacturer")),
                holders: node.map_or_else(Vec::new, |node| holders_in(&roots.proc, &node)),
                place,
            }
        })
        .collect()
}

fn is_taken(interface: &Path) -> bool {
    let driver = fs::read_link(interface.join("driver"));
    let by_a_program = driver.is_ok_and(|driver| driver.ends_with("usbfs"));
    let class = text_of(&interface.join("bInterfaceClass"));
    by_a_program && matches!(class.as_deref(), Some("ff" | "02" | "0a"))
}
