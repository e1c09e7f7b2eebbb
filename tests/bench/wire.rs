//! A balance as far as a measurement needs one: the near end of a raw pseudo-terminal.

use std::ffi::OsString;
use std::fs::File;
use std::io::Write as _;
use std::os::unix::ffi::OsStringExt as _;
use std::path::PathBuf;
use std::time::Instant;

use rustix::fs::{Mode, OFlags};
use rustix::pty::OpenptFlags;
use rustix::termios::OptionalActions;

/// Lines are numbered by the mass they show, so that each is known again where it arrives.
const FIRST: usize = 100;

/// The line of a number, as a layout that is shipped reads it: `moving   12.34 g`.
pub(crate) fn numbered(number: usize) -> Vec<u8> {
    let number = number + FIRST;
    let value = format!("{}.{:02}", number / 100, number % 100);
    format!("moving {value:>7} g\r\n").into_bytes()
}

/// The number that a text such as ` 12.34 g` was made of.
pub(crate) fn number_in(text: &str) -> Option<usize> {
    let (value, _) = text.split_once(" g")?;
    let value = value.rsplit([' ', '"']).next()?;
    let (whole, part) = value.split_once('.')?;
    let number: usize = format!("{whole}{part}").parse().ok()?;
    number.checked_sub(FIRST)
}

/// Our end, and the name of the other.
pub(crate) struct Wire {
    end: File,
    pub(crate) other: PathBuf,
    // Held open so that the other end stays as it is set while nobody else has it.
    _kept: File,
}

impl Wire {
    pub(crate) fn new() -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let end = rustix::pty::openpt(flags).unwrap();
        rustix::pty::grantpt(&end).unwrap();
        rustix::pty::unlockpt(&end).unwrap();
        let name = rustix::pty::ptsname(&end, Vec::new()).unwrap();
        let other = PathBuf::from(OsString::from_vec(name.into_bytes()));
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let kept = rustix::fs::open(&other, flags, Mode::empty()).unwrap();
        let mut modes = rustix::termios::tcgetattr(&kept).unwrap();
        modes.make_raw();
        rustix::termios::tcsetattr(&kept, OptionalActions::Now, &modes).unwrap();
        Self {
            end: File::from(end),
            other,
            _kept: File::from(kept),
        }
    }

    /// Sends bytes and gives the moment just before the system was asked to.
    pub(crate) fn send(&self, bytes: &[u8]) -> Instant {
        let at = Instant::now();
        (&self.end).write_all(bytes).unwrap();
        at
    }

    /// From now on what finds no room is lost, as on a wire that nobody reads.
    pub(crate) fn lose_what_does_not_fit(&self) {
        rustix::io::ioctl_fionbio(&self.end, true).unwrap();
    }

    /// Sends bytes if there is room.
    pub(crate) fn send_if_room(&self, bytes: &[u8]) {
        drop((&self.end).write(bytes));
    }

    /// The other end, to read as plainly as can be.
    pub(crate) fn open_other(&self) -> File {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        File::from(rustix::fs::open(&self.other, flags, Mode::empty()).unwrap())
    }
}
