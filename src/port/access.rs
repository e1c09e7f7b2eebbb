//! Looking at a port without opening it: is it there, is it a serial port, who has it.
//!
//! Promises: nothing is opened, since opening some devices does something, and no look waits for
//! a lost disk. Leaves to others: what a cause means (`cause`), and opening (`serial`).

use std::fs;
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::Path;

use rustix::fs::Access;
use rustix::io::Errno;

use super::cause::PortTrouble;
use crate::trouble::is_harmful;

/// A program that has a port open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    /// Its process number.
    pub pid: u32,
    /// Its command name, as the system lists it.
    pub name: String,
}

/// Looks at a port without opening it: is it there, is it a serial port, may we open it. A
/// port that is held by another program passes; only opening can tell.
pub fn check(path: &Path) -> Result<(), PortTrouble> {
    look(path)?;
    rustix::fs::access(path, Access::READ_OK | Access::WRITE_OK)
        .map_err(|errno| PortTrouble::from_errno(path, errno))
}

/// Whether the name leads to a terminal device that may be a serial port; it is not opened, since
/// opening some devices does something.
pub(super) fn look(path: &Path) -> Result<(), PortTrouble> {
    let meta = fs::metadata(path).map_err(|error| {
        let errno = Errno::from_io_error(&error).unwrap_or(Errno::IO);
        PortTrouble::from_errno(path, errno)
    })?;
    let kind = meta.file_type();
    let what = if kind.is_dir() {
        Some("a folder")
    } else if kind.is_file() {
        Some("an ordinary file")
    } else if kind.is_fifo() {
        Some("a pipe")
    } else if kind.is_socket() {
        Some("a socket")
    } else if kind.is_block_device() {
        Some("a disk")
    } else {
        odd_device(meta.rdev())
    };
    match what {
        Some(what) => Err(PortTrouble::NotASerialPort {
            path: path.to_owned(),
            what,
        }),
        None => Ok(()),
    }
}

/// What a character device is, if the system knows that it is no serial port.
fn odd_device(rdev: u64) -> Option<&'static str> {
    let (major, minor) = (rustix::fs::major(rdev), rustix::fs::minor(rdev));
    match (major, minor) {
        // Setting one of these up as a port would wreck the person's own screen.
        (5, 0) => return Some("the terminal that the command runs in"),
        (5, 1) | (4, 0..=63) => return Some("the screen and keyboard of this computer"),
        (5, 2) => return Some("the maker of pseudo-terminals"),
        _ => {}
    }
    let subsystem = fs::read_link(format!("/sys/dev/char/{major}:{minor}/subsystem")).ok()?;
    (subsystem.file_name()? != "tty").then_some("another kind of device")
}

/// The programs that have this port open, as far as the system lets us see; this one included.
pub fn holders(path: &Path) -> Vec<Holder> {
    holders_in(Path::new("/proc"), path)
}

/// The same, with the processes of this folder.
pub(super) fn holders_in(processes: &Path, path: &Path) -> Vec<Holder> {
    let Ok(meta) = fs::metadata(path) else {
        return Vec::new();
    };
    let wanted = meta.rdev();
    let Ok(processes) = fs::read_dir(processes) else {
        return Vec::new();
    };
    processes
        .flatten()
        .filter_map(|process| {
            let pid: u32 = process.file_name().to_str()?.parse().ok()?;
            let files = fs::read_dir(process.path().join("fd")).ok()?;
            files
                .flatten()
                .any(|file| is_device(&file.path(), wanted))
                .then(|| Holder {
                    pid,
                    name: command_name(&process.path()),
                })
        })
        .collect()
}

fn is_device(link: &Path, wanted: u64) -> bool {
    // Only names under /dev are asked further: a file on a lost network disk would hang us.
    fs::read_link(link).is_ok_and(|target| target.starts_with("/dev"))
        && fs::metadata(link)
            .is_ok_and(|meta| meta.file_type().is_char_device() && meta.rdev() == wanted)
}

fn command_name(process: &Path) -> String {
    let name = fs::read_to_string(process.join("comm")).unwrap_or_default();
    let name: String = name.trim().chars().filter(|c| !is_harmful(*c)).collect();
    if name.is_empty() {
        "a program without a name".to_owned()
    } else {
        name
    }
}
