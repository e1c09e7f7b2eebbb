//! Why a port cannot be had, found out and told.
//!
//! Promises: the causes are told apart (absent, not permitted, held by another program, no serial
//! port at all), each with what it means and what to do. Leaves to others: looking (`access`),
//! opening (`serial`), and when to try again.

use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::{fs, io};

use rustix::io::Errno;

use super::access::{Holder, holders};
use super::people;
use crate::trouble::Trouble;

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
const MEANS: &str = "Until that is mended nothing is read from the balance and nothing is recorded; what was recorded stays.";

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

    /// Held by another program, not named yet.
    pub(super) fn busy(path: &Path) -> Self {
        Self::Busy {
            path: path.to_owned(),
            holder: None,
        }
    }

    /// The same cause, with the holder of a busy port named where it can be. Looks through the
    /// open files of every process, which takes long enough not to do it at every attempt.
    #[must_use]
    pub fn with_holder(self) -> Self {
        let Self::Busy { path, holder: None } = self else {
            return self;
        };
        let all = holders(&path);
        let me = std::process::id();
        let ours = all.iter().find(|by| by.pid == me);
        // The oldest of several: a program that is being started holds copies of its parent's.
        let holder = ours.or(all.iter().min_by_key(|by| by.pid)).cloned();
        Self::Busy { path, holder }
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
