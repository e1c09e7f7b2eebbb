//! Lock files: a file whose lock says that a service is alone with the folder that it lies in.
//!
//! Promises: a link is not followed, nothing but an ordinary file of one's own is opened, nothing
//! can make the opening wait, and nobody else can read or write what is opened. Leaves to others:
//! locking it, and what is told.

use std::fs::{File, OpenOptions, Permissions};
use std::io;
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _, PermissionsExt as _};
use std::path::Path;

use super::view;

/// Opens a lock file, which is made if it is not there, for reading and writing.
///
/// # Errors
/// What stands in its place, or what the system says.
pub fn open_lock_file(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).write(true).create(true).mode(0o600);
    let file = view::open(path, &mut options)?;
    let meta = file.metadata()?;
    if meta.uid() != rustix::process::geteuid().as_raw() {
        return Err(io::Error::other(format!(
            "{} belongs to somebody else",
            path.display()
        )));
    }
    // One of an earlier version could be read by others.
    if meta.mode() & 0o077 != 0 {
        file.set_permissions(Permissions::from_mode(0o600))?;
    }
    Ok(file)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    #[test]
    fn only_an_ordinary_file_of_ones_own_is_opened_and_nobody_else_can_read_it() {
        let home = tempfile::tempdir().unwrap();
        let at = |name: &str| home.path().join(name);
        let mode = |name: &str| at(name).symlink_metadata().unwrap().mode() & 0o777;
        drop(open_lock_file(&at("new")).unwrap());
        assert_eq!(mode("new"), 0o600);
        std::fs::write(at("old"), "12").unwrap();
        std::fs::set_permissions(at("old"), Permissions::from_mode(0o666)).unwrap();
        drop(open_lock_file(&at("old")).unwrap());
        assert_eq!(mode("old"), 0o600);
        assert_eq!(std::fs::read_to_string(at("old")).unwrap(), "12");

        symlink(at("target"), at("dangling")).unwrap();
        assert!(open_lock_file(&at("dangling")).is_err());
        assert!(!at("target").exists());
        symlink(at("new"), at("link")).unwrap();
        assert!(open_lock_file(&at("link")).is_err());
        let (kind, mode) = (rustix::fs::FileType::Fifo, rustix::fs::Mode::RWXU);
        rustix::fs::mknodat(rustix::fs::CWD, at("pipe"), kind, mode, 0).unwrap();
        assert!(open_lock_file(&at("pipe")).is_err());
        std::fs::create_dir(at("folder")).unwrap();
        assert!(open_lock_file(&at("folder")).is_err());
    }
}
