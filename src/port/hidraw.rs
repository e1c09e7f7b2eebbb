//! The port of a USB scale: a hidraw device, described by its own descriptor, read report by
//! report.
//!
//! Promises: only a hidraw device is opened, for reading only, and nothing is sent to it; the
//! descriptor is that of the device that was opened, whatever its name leads to by now; a hang-up
//! is told at once, as a read of no bytes. Every program that has such a device open gets every
//! report, and only those that came since, so it is not locked and nothing old is in it. A pipe
//! works as a port too, with the descriptor beside it under its name and `.report_descriptor`.
//! Leaves to others: what a report means (`balance::hid`), and trying again.

use std::fs::{self, File};
use std::io::{self, Read};
use std::os::fd::OwnedFd;
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use tokio::io::unix::AsyncFd;

use super::cause::PortTrouble;
use super::serial;
use crate::balance::hid::{DescriptorFault, LONGEST_DESCRIPTOR, ScaleLayout};
use crate::trouble::Trouble;

/// Where the kernel tells of devices.
const SYS: &str = "/sys";

/// An open USB scale.
#[derive(Debug)]
pub struct ScalePort {
    line: AsyncFd<OwnedFd>,
    layout: Arc<ScaleLayout>,
    gone: bool,
}

/// Why a USB scale cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ScaleTrouble {
    /// What can be wrong with any port.
    Port(PortTrouble),
    /// What is wrong with this device, told.
    Device(Trouble),
}

impl ScaleTrouble {
    /// The trouble in words for the person at the bench.
    pub fn trouble(&self) -> Trouble {
        match self {
            Self::Port(cause) => cause.trouble(),
            Self::Device(trouble) => trouble.clone(),
        }
    }
}

impl ScalePort {
    /// Opens a USB scale. Called inside a tokio runtime.
    ///
    /// # Errors
    /// The cause, told apart as far as the system lets it be.
    pub fn open(path: &Path) -> Result<Self, ScaleTrouble> {
        let broken = |errno: Errno| refused(path, errno);
        let failed = |error: &io::Error| {
            ScaleTrouble::Port(PortTrouble::Failed {
                path: path.to_owned(),
                text: error.to_string(),
            })
        };
        tokio::runtime::Handle::try_current().map_err(|_| {
            failed(&io::Error::other(
                "it was opened outside of the service's loop",
            ))
        })?;
        let seen = look(path, Path::new(SYS))?;
        let flags = OFlags::RDONLY | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let line = rustix::fs::open(path, flags, Mode::empty()).map_err(broken)?;
        let opened = rustix::fs::fstat(&line).map_err(broken)?;
        if (opened.st_dev, opened.st_ino, opened.st_rdev) != seen.identity {
            // The name was given to another device between the look and the opening.
            return Err(ScaleTrouble::Port(PortTrouble::Absent {
                path: path.to_owned(),
            }));
        }
        let layout =
            described(&seen.descriptor).map_err(|fault| ScaleTrouble::Device(fault.trouble()))?;
        Ok(Self {
            line: serial::watched(line).map_err(|error| failed(&error))?,
            layout: Arc::new(layout),
            gone: false,
        })
    }

    /// How its reports are read.
    pub fn layout(&self) -> &Arc<ScaleLayout> {
        &self.layout
    }

    /// Whether reports have come that were not read yet.
    pub fn is_waiting(&self) -> bool {
        let mut polled = [PollFd::new(self.line.get_ref(), PollFlags::IN)];
        rustix::event::poll(&mut polled, Some(&Timespec::default())).is_ok_and(|ready| ready > 0)
    }

    /// Reads one report, or waits for it. No bytes means that the scale is gone: close it.
    /// Cancelling it loses nothing.
    ///
    /// # Errors
    /// An error of the system that is no hang-up, or a `buf` that no report fits in.
    pub async fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        // No longer than a report, since a pipe does not keep them apart.
        match buf.get_mut(..self.layout.longest_report()) {
            Some(buf) if !buf.is_empty() => serial::read(&self.line, &mut self.gone, buf).await,
            _ => Err(io::ErrorKind::InvalidInput.into()),
        }
    }
}

/// What a name leads to.
struct Seen {
    /// File system, file and device.
    identity: (u64, u64, u64),
    descriptor: PathBuf,
}

/// Looks at a port without opening it, since opening some devices does something.
fn look(path: &Path, sys: &Path) -> Result<Seen, ScaleTrouble> {
    let meta = fs::metadata(path).map_err(|error| {
        let errno = Errno::from_io_error(&error).unwrap_or(Errno::IO);
        refused(path, errno)
    })?;
    let identity = (meta.dev(), meta.ino(), meta.rdev());
    let kind = meta.file_type();
    if kind.is_fifo() {
        let mut beside = path.as_os_str().to_owned();
        beside.push(".report_descriptor");
        return Ok(Seen {
            identity,
            descriptor: beside.into(),
        });
    }
    if !kind.is_char_device() {
        return Err(no_scale(path, "no device at all"));
    }
    let (major, minor) = (
        rustix::fs::major(meta.rdev()),
        rustix::fs::minor(meta.rdev()),
    );
    let device = sys.join(format!("dev/char/{major}:{minor}"));
    let class = fs::read_link(device.join("subsystem"));
    let class = class
        .ok()
        .and_then(|class| Some(class.file_name()?.to_owned()));
    match class.as_ref().and_then(|class| class.to_str()) {
        Some("hidraw") => Ok(Seen {
            identity,
            descriptor: device.join("device/report_descriptor"),
        }),
        Some("tty") => Err(no_scale(
            path,
            "a serial port, which is read by a balance file with the form of its lines",
        )),
        _ => Err(no_scale(path, "another kind of device")),
    }
}

/// Reads a descriptor and what it describes.
pub(super) fn described(file: &Path) -> Result<ScaleLayout, DescriptorFault> {
    let mut bytes = Vec::new();
    let most = u64::try_from(LONGEST_DESCRIPTOR).unwrap_or(u64::MAX);
    // One byte more than may be, so that more is noticed.
    let read = File::open(file).and_then(|it| it.take(most + 1).read_to_end(&mut bytes));
    match read {
        Ok(_) => ScaleLayout::of(&bytes),
        Err(error) => {
            tracing::debug!(file = %file.display(), %error, "no report descriptor");
            Err(DescriptorFault::Missing)
        }
    }
}

/// An error of the system, told with a view to hidraw devices: those belong to root, and only a
/// rule gives them to a person.
fn refused(path: &Path, errno: Errno) -> ScaleTrouble {
    let cause = PortTrouble::from_errno(path, errno);
    if !matches!(cause, PortTrouble::NoPermission { .. }) {
        return ScaleTrouble::Port(cause);
    }
    let mut trouble = cause.trouble();
    "Put the scale's serial number into the part for USB scales of panbell's udev/70-panbell.rules and install that file, as it says; then pull the scale's plug and put it back."
        .clone_into(&mut trouble.mend);
    ScaleTrouble::Device(trouble)
}

fn no_scale(path: &Path, what: &str) -> ScaleTrouble {
    ScaleTrouble::Device(Trouble::new(
        "port-no-scale",
        format!("{} is no USB scale but {what}.", path.display()),
        "Nothing is read from it, so nothing is weighed; what was recorded stays.",
        "Put the scale's port into the settings: a name such as /dev/hidraw0, best one under /dev/panbell that stays the same.",
    ))
}
