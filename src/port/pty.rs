//! The pretend wire: a real pseudo-terminal behind a link of a stable name.
//!
//! Promises: never blocks; what does not fit is dropped, as on a wire that nobody reads; the link
//! is only ever made over nothing or over another link. Leaves to others: what is sent and when.

use std::ffi::OsString;
use std::fs;
use std::io::{self, ErrorKind};
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStringExt;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};

use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use rustix::termios::OptionalActions;

/// Most that is taken from the other side in one go.
const MOST_HEARD: usize = 4096;

/// Our end of a pseudo-terminal, with a link to the other end. Dropping it is pulling the plug.
#[derive(Debug)]
pub(super) struct Wire {
    // The link goes when this is dropped, after the descriptor: see `Drop`.
    end: Option<OwnedFd>,
    other_end: PathBuf,
    link: Option<PathBuf>,
}

impl Wire {
    /// Makes a pseudo-terminal, already raw, and points the link at it if one is wanted.
    pub(super) fn plug(link: Option<&Path>) -> io::Result<Self> {
        match link.map(fs::symlink_metadata) {
            Some(Ok(meta)) if !meta.file_type().is_symlink() => {
                return Err(io::Error::new(
                    ErrorKind::AlreadyExists,
                    "something that is not a link stands under that name",
                ));
            }
            _ => {}
        }
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let end = rustix::pty::openpt(flags)?;
        rustix::pty::grantpt(&end)?;
        rustix::pty::unlockpt(&end)?;
        rustix::io::ioctl_fionbio(&end, true)?;
        let name = rustix::pty::ptsname(&end, Vec::new())?;
        let other_end = PathBuf::from(OsString::from_vec(name.into_bytes()));
        make_raw(&other_end)?;
        if let Some(link) = link {
            // Made aside and moved into place, so that the name never leads nowhere in between.
            let aside = link.with_added_extension(format!("new-{}", std::process::id()));
            symlink(&other_end, &aside)?;
            fs::rename(&aside, link)?;
        }
        Ok(Self {
            end: Some(end),
            other_end,
            link: link.map(Path::to_owned),
        })
    }

    /// The port itself, behind the link.
    pub(super) fn port(&self) -> &Path {
        &self.other_end
    }

    /// The speed that the other end is set to, in bits a second; a pseudo-terminal keeps it, and
    /// sends at any.
    pub(super) fn speed(&self) -> Option<u32> {
        let modes = rustix::termios::tcgetattr(self.end.as_ref()?).ok()?;
        Some(modes.output_speed())
    }

    /// Sends bytes; whatever finds no room is lost.
    pub(super) fn send(&self, mut bytes: &[u8]) {
        let Some(end) = &self.end else { return };
        while !bytes.is_empty() {
            match rustix::io::write(end, bytes) {
                Ok(0) => return,
                Ok(count) => bytes = bytes.get(count..).unwrap_or_default(),
                Err(Errno::INTR) => {}
                Err(_full_or_gone) => return,
            }
        }
    }

    /// What the other side sent since the last time, as much as is taken in one go.
    pub(super) fn hear(&self) -> Vec<u8> {
        let mut buf = [0_u8; MOST_HEARD];
        let count = self
            .end
            .as_ref()
            // An error is nothing to hear: EIO only says that nobody has the other end open.
            .and_then(|end| rustix::io::read(end, &mut buf).ok())
            .unwrap_or(0);
        buf.get(..count).unwrap_or_default().to_vec()
    }
}

impl Drop for Wire {
    fn drop(&mut self) {
        // The device goes first and its name after it, as when a real plug is pulled.
        self.end = None;
        if let Some(link) = &self.link
            && fs::read_link(link).is_ok_and(|target| target == self.other_end)
        {
            drop(fs::remove_file(link));
        }
    }
}

/// Takes echo and line editing off, so that lines arrive as sent even before anyone sets the
/// port up. The setting stays with the pseudo-terminal.
fn make_raw(other_end: &Path) -> io::Result<()> {
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    let port = rustix::fs::open(other_end, flags, Mode::empty())?;
    let mut modes = rustix::termios::tcgetattr(&port)?;
    modes.make_raw();
    rustix::termios::tcsetattr(&port, OptionalActions::Now, &modes)?;
    Ok(())
}
