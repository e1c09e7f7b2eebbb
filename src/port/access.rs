//! Why a port cannot be had, found out and told.
//!
//! Promises: the causes are told apart (absent, not permitted, held by another program, no serial
//! port at all), each with what it means and what to do; looking never opens the port. Leaves to
//! others: opening it (`serial`), and when to try again.

use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::{Path, PathBuf};
use std::{fs, io};

use rustix::io::Errno;

use super::people;
use crate::trouble::Trouble;

/// A program that has a port open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    /// Its process number.
    pub pid: u32,
    /// Its command name, as the system lists it.
    pub name: String,
}

/// Why a port cannot be had.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PortTrouble {
    /// Nothing is there under that name, or nothing answers behind it.
    Absent {
        /// The name asked for.
        path: PathBuf,
    },
    /// The system does not let this user open it.
    NoPermission {
        /// The port, or the folder on the way to it that is closed.
        path: PathBuf,
        /// Whose it is.
        owner: String,
        /// The group it belongs to.
        group: String,
        /// Its permission bits, as in `0o660`.
        mode: u32,
        /// The user that this program runs as.
        who: String,
        /// Whether that user is listed in the group already, so that only a new login is missing.
        listed: bool,
    },
    /// Another program has it.
    Busy {
        /// The name asked for.
        path: PathBuf,
        /// Which, where the system lets us see it.
        holder: Option<Holder>,
    },
    /// The name leads to something that is no serial port.
    NotASerialPort {
        /// The name asked for.
        path: PathBuf,
        /// What it is, with its article.
        what: &'static str,
    },
    /// Anything else, in the system's words.
    Failed {
        /// The name asked for.
        path: PathBuf,
        /// The system's words.
        text: String,
    },
}

/// What every one of them means for the work.
const MEANS: &str =
    "Nothing is read from the balance and nothing is recorded until then; what was recorded stays.";

impl PortTrouble {
    /// Whether it can pass without a hand: a cable put back, a port let go.
    pub fn passes(&self) -> bool {
        matches!(self, Self::Absent { .. } | Self::Busy { .. })
    }

    /// The trouble in words for the person at the bench.
    pub fn trouble(&self) -> Trouble {
        match self {
            Self::Absent { path } => Trouble::new(
                "port-absent",
                format!("The balance's port {} is not there.", path.display()),
                MEANS,
                "Check that the balance's cable and its USB adapter are plugged in; if they are, the port may have another name now.",
            )
            .passing(),
            Self::NoPermission {
                path,
                owner,
                group,
                mode,
                who,
                listed,
            } => Trouble::new(
                "port-no-permission",
                format!(
                    "The balance's port may not be opened by {who}: {} belongs to {owner} and the group {group}, with mode {mode:04o}.",
                    path.display(),
                ),
                MEANS,
                permission_mend(group, *mode, who, *listed),
            ),
            Self::Busy { path, holder } => Trouble::new(
                "port-busy",
                match holder {
                    Some(by) if by.pid == std::process::id() => format!(
                        "This panbell already has the port {} open.",
                        path.display()
                    ),
                    Some(by) => format!(
                        "Another program has the port {} open: {} (process {}).",
                        path.display(),
                        by.name,
                        by.pid
                    ),
                    None => format!(
                        "Another program has the port {} open; which one is not to be seen from here.",
                        path.display()
                    ),
                },
                MEANS,
                match holder {
                    Some(by) if by.pid == std::process::id() => {
                        "Give each bench a port of its own in the settings.".to_owned()
                    }
                    Some(by) => format!("Close {}; the port is then taken up by itself.", by.name),
                    None => "Wait half a minute if the balance was just plugged in, since the system's modem service may be asking; otherwise close the other program.".to_owned(),
                },
            )
            .passing(),
            Self::NotASerialPort { path, what } => Trouble::new(
                "port-not-serial",
                format!("{} is {what}, not a serial port.", path.display()),
                MEANS,
                "Put the balance's port into the settings; the names under /dev/serial/by-id are the stable ones.",
            ),
            Self::Failed { path, text } => Trouble::new(
                "port-failed",
                format!("The balance's port {} could not be opened: {text}.", path.display()),
                MEANS,
                "Pull the adapter out and put it back; if it stays so, check the port settings against the balance's manual.",
            ),
        }
    }

    /// The cause behind an error of the system at this path, as far as it can be found out.
    pub(super) fn from_errno(path: &Path, errno: Errno) -> Self {
        let path_owned = path.to_owned();
        match errno {
            // ENXIO, ENODEV and EIO: the name stands, and there is no hardware behind it.
            Errno::NOENT | Errno::NOTDIR | Errno::NXIO | Errno::NODEV | Errno::IO => {
                Self::Absent { path: path_owned }
            }
            Errno::ACCESS | Errno::PERM => Self::refused(path),
            Errno::BUSY | Errno::AGAIN => Self::busy(path),
            Errno::NOTTY => Self::NotASerialPort {
                path: path_owned,
                what: "another kind of device",
            },
            other => Self::Failed {
                path: path_owned,
                text: io::Error::from(other).to_string(),
            },
        }
    }

    /// Held by another program; names it where it can.
    pub(super) fn busy(path: &Path) -> Self {
        let all = holders(path);
        let me = std::process::id();
        let ours = all.iter().find(|by| by.pid == me);
        // The oldest of several: a program that is being started holds copies of its parent's.
        let holder = ours.or(all.iter().min_by_key(|by| by.pid)).cloned();
        Self::Busy {
            path: path.to_owned(),
            holder,
        }
    }

    /// Refused by permission bits: those of the port, or of the folder on the way to it.
    fn refused(path: &Path) -> Self {
        let seen = path
            .ancestors()
            .find_map(|step| fs::metadata(step).ok().map(|meta| (step, meta)));
        let Some((at, meta)) = seen else {
            return Self::Failed {
                path: path.to_owned(),
                text: "permission denied".to_owned(),
            };
        };
        let who = people::who();
        let group = people::group(meta.gid());
        Self::NoPermission {
            path: at.to_owned(),
            owner: people::user(meta.uid()),
            listed: people::is_listed(&who, meta.gid()),
            group,
            mode: meta.mode() & 0o7777,
            who,
        }
    }
}

fn permission_mend(group: &str, mode: u32, who: &str, listed: bool) -> String {
    let group_may = mode & 0o060 == 0o060;
    if group_may && listed {
        return format!(
            "{who} is in the group {group} since the last login: log out of the whole desktop and in again."
        );
    }
    // Never send a person into the group of the system's own account.
    if group_may && group != "root" {
        return format!(
            "Run `sudo usermod -aG {group} {who}`, then log out of the whole desktop and in again; or install panbell's udev rule, which lets whoever sits at the screen open the balance."
        );
    }
    "Install panbell's udev rule, which lets whoever sits at the screen open the balance, then pull the adapter out and put it back.".to_owned()
}

/// Looks at a port without opening it: is it there, is it a serial port, may we open it. A
/// port that is held by another program passes; only opening can tell.
pub fn check(path: &Path) -> Result<(), PortTrouble> {
    look(path)?;
    rustix::fs::access(
        path,
        rustix::fs::Access::READ_OK | rustix::fs::Access::WRITE_OK,
    )
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
    let Ok(meta) = fs::metadata(path) else {
        return Vec::new();
    };
    let wanted = meta.rdev();
    let Ok(processes) = fs::read_dir("/proc") else {
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
    let name: String = name.trim().chars().filter(|c| !c.is_control()).collect();
    if name.is_empty() {
        "a program without a name".to_owned()
    } else {
        name
    }
}
