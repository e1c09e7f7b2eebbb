//! The book as one service holds it: the folder, and the lock on it.
//!
//! Promises: as long as a [`Book`] lives, no other one can be opened on the same folder, in this
//! process or another. Leaves to others: writing files ([`Writer`](super::Writer)).

use std::fs::{DirBuilder, File, TryLockError};
use std::io::{self, Read as _, Write as _};
use std::ops::Deref;
use std::os::unix::fs::DirBuilderExt as _;
use std::path::Path;

use rustix::fs::{Access, access};

use super::{BookView, open_lock_file, trouble};
use crate::trouble::Trouble;

/// A book, locked for this service until it is dropped.
#[derive(Debug)]
pub struct Book {
    view: BookView,
    /// Held open for its lock, which the system lets go when the process ends, however it ends.
    lock: File,
}

impl Book {
    /// Opens the book in a folder, which is made if it is not there (for its owner only), and
    /// locks it.
    pub fn open(folder: &Path) -> Result<Self, Trouble> {
        make(folder).map_err(|error| trouble::folder(folder, "made", &error))?;
        // One that was made once, and cannot be written any more, would be noticed at the first job.
        access(folder, Access::WRITE_OK | Access::EXEC_OK)
            .map_err(|error| trouble::folder(folder, "opened for writing", &error.into()))?;
        let failed = |error| trouble::folder(folder, "locked", &error);
        let mut lock = open_lock_file(&folder.join(".lock")).map_err(failed)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(trouble::in_use(folder, holder(&lock))),
            Err(TryLockError::Error(error)) => return Err(failed(error)),
        }
        // The number only helps people. A full disk must not keep the book from being opened.
        let noted = lock
            .set_len(0)
            .and_then(|()| writeln!(lock, "{}", std::process::id()));
        drop(noted);
        Ok(Self {
            view: BookView::of(folder),
            lock,
        })
    }
}

impl Drop for Book {
    fn drop(&mut self) {
        // Closing is not enough: a program that is just being started elsewhere in this process
        // still shares the open file, and with it the lock, for an instant.
        drop(self.lock.unlock());
    }
}

impl Deref for Book {
    type Target = BookView;
    fn deref(&self) -> &BookView {
        &self.view
    }
}

/// Makes a folder that lasts: each new name is synced into the folder above it.
fn make(folder: &Path) -> io::Result<()> {
    let new: Vec<&Path> = folder
        .ancestors()
        .take_while(|folder| !folder.as_os_str().is_empty() && !folder.exists())
        .collect();
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)?;
    for made in new {
        let above = made.parent().filter(|path| !path.as_os_str().is_empty());
        sync_folder(above.unwrap_or(Path::new(".")))?;
    }
    Ok(())
}

/// Makes new, removed and renamed names in a folder last.
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// The process that wrote its number into the lock file.
fn holder(lock: &File) -> Option<u32> {
    let mut text = String::new();
    lock.take(32).read_to_string(&mut text).ok()?;
    text.trim().parse().ok()
}
