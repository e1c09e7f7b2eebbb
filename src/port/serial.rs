//! A serial port, opened, ours alone, and read without blocking.
//!
//! Promises: locked before anything is changed; never the controlling terminal; input cleared
//! after set-up; a hang-up is told at once, as a read of no bytes; what is taken is given back on
//! drop. Works on pseudo-terminals, through links, and whatever state the port was left in.
//! Leaves to others: dropping the first part line, cutting lines, and trying again.

use std::io;
use std::os::fd::{AsRawFd, OwnedFd};
use std::time::Duration;

use rustix::fs::{FlockOperation, Mode, OFlags};
use rustix::io::Errno;
use rustix::termios::{ControlModes, QueueSelector};
use serialport::TTYPort;
use tokio::io::unix::AsyncFd;

use super::access;
use super::cause::PortTrouble;
use super::framing::{DataBits, Flow, Framing, Parity, PortSettings, StopBits};

/// An open port. It is read through a descriptor of its own; the lock and the exclusive mark
/// stand on a second one, that does nothing else.
#[derive(Debug)]
pub struct OpenPort {
    // Dropped first, so that the port is let go only when nobody here reads it any more.
    line: AsyncFd<OwnedFd>,
    // Takes back the exclusive mark when it is dropped: a pseudo-terminal would keep it, and
    // refuse the next one who opens it.
    _held: TTYPort,
    asked: Framing,
    gone: bool,
    /// Something was sent that may not have left yet.
    sent: bool,
}

impl OpenPort {
    /// Opens a port and sets it up. Called inside a tokio runtime.
    ///
    /// # Errors
    /// The cause, told apart as far as the system lets it be.
    pub fn open(settings: &PortSettings) -> Result<Self, PortTrouble> {
        let path = settings.path.as_path();
        let failed = |text: String| PortTrouble::Failed {
            path: path.to_owned(),
            text,
        };
        let broken = |errno: Errno| PortTrouble::from_errno(path, errno);
        if settings.speed == 0 {
            return Err(failed("a speed of 0 is no speed".to_owned()));
        }
        // AsyncFd would panic.
        tokio::runtime::Handle::try_current()
            .map_err(|_| failed("it was opened outside of the service's loop".to_owned()))?;
        access::look(path)?;

        // The first descriptor: ours, so the system's own error is seen. It stays open while
        // the second one is made, so that DTR does not fall and rise in between.
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let line = rustix::fs::open(path, flags, Mode::empty()).map_err(broken)?;
        rustix::termios::tcgetattr(&line).map_err(broken)?;
        // A trial of the lock. serialport marks the port exclusive before it locks, and takes
        // the mark away again when it cannot lock, even if the mark was another program's.
        // (On failure our own descriptor goes first, so as not to be found as the holder.)
        let trial = rustix::fs::flock(&line, FlockOperation::NonBlockingLockExclusive)
            .and_then(|()| rustix::fs::flock(&line, FlockOperation::Unlock));
        if let Err(errno) = trial {
            drop(line);
            return Err(broken(errno));
        }

        // The second: by way of the first, so that it is the same device whatever the name
        // leads to by now.
        let by_way = format!("/proc/self/fd/{}", line.as_raw_fd());
        let held = match builder(by_way, settings).open_native() {
            Ok(held) => held,
            Err(error) => {
                drop(line);
                return Err(match error.kind() {
                    // serialport's word for EBUSY and for a lock that is held.
                    serialport::ErrorKind::NoDevice => PortTrouble::busy(path),
                    serialport::ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
                        broken(Errno::ACCESS)
                    }
                    _ => failed(error.description),
                });
            }
        };
        // What was sent before now may be from another weighing, or cut by the set-up.
        rustix::termios::tcflush(&line, QueueSelector::IFlush).map_err(broken)?;
        let line = watched(line).map_err(|error| failed(error.to_string()))?;
        Ok(Self {
            line,
            _held: held,
            asked: settings.framing(),
            gone: false,
            sent: false,
        })
    }

    /// Reads what is there, or waits for it. No bytes means that the port hung up: close it.
    /// Cancelling it loses nothing.
    ///
    /// # Errors
    /// An error of the system that is no hang-up, or an empty `buf`.
    pub async fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        if buf.is_empty() {
            return Err(io::ErrorKind::InvalidInput.into());
        }
        read(&self.line, &mut self.gone, buf).await
    }

    /// Writes all of `bytes`, which can take long: a port may be told to wait, or be full.
    ///
    /// # Errors
    /// [`io::ErrorKind::TimedOut`] when it took longer than `limit` (some of it may be written);
    /// [`io::ErrorKind::BrokenPipe`] after a hang-up.
    pub async fn write_all(&mut self, bytes: &[u8], limit: Duration) -> io::Result<()> {
        tokio::time::timeout(limit, self.write_on(bytes))
            .await
            .unwrap_or_else(|_| Err(io::ErrorKind::TimedOut.into()))
    }

    async fn write_on(&mut self, mut bytes: &[u8]) -> io::Result<()> {
        while !bytes.is_empty() {
            if self.gone {
                return Err(io::ErrorKind::BrokenPipe.into());
            }
            let mut ready = self.line.writable().await?;
            match ready.try_io(|fd| rustix::io::write(fd.get_ref(), bytes).map_err(Into::into)) {
                Ok(Ok(count)) => bytes = bytes.get(count..).unwrap_or_default(),
                Ok(Err(error)) if is_hang_up(&error) => self.gone = true,
                Ok(Err(error)) if error.kind() == io::ErrorKind::Interrupted => {}
                Ok(Err(error)) => return Err(error),
                Err(_would_block) => {}
            }
        }
        Ok(())
    }

    /// Sends a short request without ever waiting; whether the port took it whole. What it did
    /// not take is not sent later: [`OpenPort::take_back`] takes back the beginning too.
    ///
    /// # Errors
    /// An error of the system, as after a hang-up, which reading tells as well.
    pub fn send_now(&mut self, bytes: &[u8]) -> io::Result<bool> {
        self.sent = true;
        loop {
            match rustix::io::write(self.line.get_ref(), bytes) {
                Ok(count) => return Ok(count == bytes.len()),
                Err(Errno::AGAIN) => return Ok(false),
                Err(Errno::INTR) => {}
                Err(errno) => return Err(errno.into()),
            }
        }
    }

    /// Takes back what was sent and has not left yet: a port that is told to wait keeps it.
    ///
    /// # Errors
    /// An error of the system, as after a hang-up.
    pub fn take_back(&mut self) -> io::Result<()> {
        self.sent = false;
        Ok(rustix::termios::tcflush(
            self.line.get_ref(),
            QueueSelector::OFlush,
        )?)
    }

    /// Whether bytes have come that were not read yet.
    pub fn is_waiting(&self) -> bool {
        rustix::io::ioctl_fionread(self.line.get_ref()).is_ok_and(|count| count > 0)
    }

    /// The framing that was asked for.
    pub fn asked_framing(&self) -> Framing {
        self.asked
    }

    /// The framing that the port kept, read back. A pseudo-terminal and some adapters say yes to
    /// seven bits or parity and stay at 8N1: then the check bit arrives as the top bit of each
    /// byte.
    ///
    /// # Errors
    /// An error of the system, as after a hang-up.
    pub fn kept_framing(&self) -> io::Result<Framing> {
        let modes = rustix::termios::tcgetattr(self.line.get_ref())?.control_modes;
        Ok(Framing {
            data_bits: match modes & ControlModes::CSIZE {
                ControlModes::CS8 => DataBits::Eight,
                _ => DataBits::Seven,
            },
            parity: if !modes.contains(ControlModes::PARENB) {
                Parity::None
            } else if modes.contains(ControlModes::PARODD) {
                Parity::Odd
            } else {
                Parity::Even
            },
            stop_bits: if modes.contains(ControlModes::CSTOPB) {
                StopBits::Two
            } else {
                StopBits::One
            },
        })
    }

    /// Whether the device is still there, asked without moving a byte: for a balance that only
    /// talks when asked, and so can go without a sign.
    pub fn is_there(&self) -> bool {
        !self.gone && rustix::termios::tcgetattr(self.line.get_ref()).is_ok()
    }
}

impl Drop for OpenPort {
    /// The last close of a port waits until everything has left it, half a minute if need be.
    fn drop(&mut self) {
        if self.sent {
            // After a hang-up there is nothing left to take back.
            drop(self.take_back());
        }
    }
}

fn builder(path: String, settings: &PortSettings) -> serialport::SerialPortBuilder {
    let plan = serialport::new(path, settings.speed)
        .data_bits(match settings.data_bits {
            DataBits::Seven => serialport::DataBits::Seven,
            DataBits::Eight => serialport::DataBits::Eight,
        })
        .parity(match settings.parity {
            Parity::None => serialport::Parity::None,
            Parity::Odd => serialport::Parity::Odd,
            Parity::Even => serialport::Parity::Even,
        })
        .stop_bits(match settings.stop_bits {
            StopBits::One => serialport::StopBits::One,
            StopBits::Two => serialport::StopBits::Two,
        })
        .flow_control(match settings.flow {
            Flow::None => serialport::FlowControl::None,
            Flow::Software => serialport::FlowControl::Software,
            Flow::Hardware => serialport::FlowControl::Hardware,
        });
    match settings.dtr {
        // On a pseudo-terminal there is no such wire; serialport lets that pass.
        Some(level) => plan.dtr_on_open(level),
        None => plan,
    }
}

/// A descriptor, open and not blocking, to be waited for inside a tokio runtime.
pub(super) fn watched(line: OwnedFd) -> io::Result<AsyncFd<OwnedFd>> {
    // SAFETY: an `OwnedFd` is open, and stays the same descriptor until it is dropped, which
    // only the `AsyncFd` that owns it does.
    #[allow(unsafe_code)]
    let line = unsafe { AsyncFd::register(line) };
    line.map_err(|error| error.into_parts().1)
}

/// Reads what is there, or waits for it; no bytes, then and ever after, means that it hung up.
pub(super) async fn read(
    line: &AsyncFd<OwnedFd>,
    gone: &mut bool,
    buf: &mut [u8],
) -> io::Result<usize> {
    while !*gone {
        let mut ready = line.readable().await?;
        let outcome =
            ready.try_io(|fd| rustix::io::read(fd.get_ref(), &mut *buf).map_err(Into::into));
        match outcome {
            Ok(Ok(0)) => *gone = true,
            Ok(Ok(count)) => return Ok(count),
            Ok(Err(error)) if is_hang_up(&error) => *gone = true,
            Ok(Err(error)) if error.kind() == io::ErrorKind::Interrupted => {}
            Ok(Err(error)) => return Err(error),
            Err(_would_block) => {}
        }
    }
    Ok(0)
}

/// The ways in which the system says that a port hung up.
fn is_hang_up(error: &io::Error) -> bool {
    matches!(
        Errno::from_io_error(error),
        Some(Errno::IO | Errno::NXIO | Errno::NODEV)
    )
}
