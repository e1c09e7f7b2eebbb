//! A pseudo-terminal of the test's own, for exact bytes and exact silence.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing, missing_docs)]

use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use rustix::termios::OptionalActions;

/// Both ends: ours, and one of the other that is held so that nothing hangs up between openings.
pub struct RawWire {
    end: OwnedFd,
    _other: OwnedFd,
    /// The port itself, behind the link.
    pub port: PathBuf,
}

impl RawWire {
    /// Makes one, raw, with a link to it.
    pub fn new(link: &Path) -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let end = rustix::pty::openpt(flags).unwrap();
        rustix::pty::grantpt(&end).unwrap();
        rustix::pty::unlockpt(&end).unwrap();
        rustix::io::ioctl_fionbio(&end, true).unwrap();
        let name = rustix::pty::ptsname(&end, Vec::new()).unwrap();
        let port = PathBuf::from(name.into_string().unwrap());
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let other = rustix::fs::open(&port, flags, Mode::empty()).unwrap();
        let mut modes = rustix::termios::tcgetattr(&other).unwrap();
        modes.make_raw();
        rustix::termios::tcsetattr(&other, OptionalActions::Now, &modes).unwrap();
        std::os::unix::fs::symlink(&port, link).unwrap();
        Self {
            end,
            _other: other,
            port,
        }
    }

    /// Sends all of it; fails when nobody takes it for long.
    pub fn send(&self, mut bytes: &[u8]) {
        let until = Instant::now() + Duration::from_secs(20);
        while !bytes.is_empty() {
            match rustix::io::write(&self.end, bytes) {
                Ok(count) => bytes = &bytes[count..],
                Err(Errno::AGAIN) => {
                    assert!(Instant::now() < until, "nobody takes the bytes");
                    std::thread::sleep(Duration::from_millis(2));
                }
                Err(error) => panic!("the wire broke: {error}"),
            }
        }
    }

    /// What the other side has sent since the last time.
    pub fn hear(&self) -> Vec<u8> {
        let mut buf = [0; 4096];
        let count = rustix::io::read(&self.end, &mut buf).unwrap_or(0);
        buf[..count].to_vec()
    }

    /// Sends what finds room, and says how much that was.
    pub fn flood(&self, bytes: &[u8]) -> usize {
        rustix::io::write(&self.end, bytes).unwrap_or(0)
    }
}
