//! Opening a job file to go on with it.
//!
//! Promises: of a clean file nothing is changed; a torn last line is copied beside the file, and
//! that copy is on disk before the line is cut off; a damaged file is never written to. Leaves to others:
//! appending, syncing what was found ([`JobFile`](super::file::JobFile)), and what it means.

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::PathBuf;

use jiff::Timestamp;

use super::{AppendTrouble, Book, JobName, error, folder::sync_folder, trouble, view};
use crate::job::{self, Scan, Verdict};

/// Half a record that was found at the end of a file, and where it was put.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TornAside {
    /// The copy, beside the job file.
    pub path: PathBuf,
    /// Its length in bytes.
    pub bytes: usize,
}

/// An open job file that ends with its last whole record, and all that is in it.
pub(super) struct Recovered {
    pub(super) file: File,
    pub(super) bytes: Vec<u8>,
    /// Always of a clean file.
    pub(super) scan: Scan,
    pub(super) torn: Option<TornAside>,
}

/// The most bytes of a file that can hold no record: half a first line, or what a power cut left of a
/// few. What is larger was written by something else.
const NO_RECORD: u64 = 1024 * 1024;

/// Makes the file of a new job; refuses one that exists, in whatever letter case: a person who reads
/// a ticket aloud does not tell them apart, nor does every file system. The book's own file counts. A file in its place that holds
/// no record, since its first line was never finished, is set aside. `now` names that.
pub(super) fn create(
    book: &Book,
    job: &JobName,
    now: Timestamp,
) -> Result<(File, Option<TornAside>), AppendTrouble> {
    let path = book.path(job);
    let jobs = book.jobs().map_err(AppendTrouble::Failed)?;
    let is_twin =
        |other: &&JobName| *other != job && other.as_str().eq_ignore_ascii_case(job.as_str());
    let own = [JobName::check_weights()];
    if let Some(twin) = jobs.iter().chain(&own).find(is_twin) {
        return Err(error::twin(job, twin));
    }
    let opened = |error| error::not_opened(job, &error);
    let torn = clear(book, job, now).map_err(opened)?;
    let mut options = OpenOptions::new();
    options.append(true).create_new(true).mode(0o600);
    let file = view::open(&path, &mut options).map_err(opened)?;
    if let Err(error) = sync_folder(book.folder()) {
        // Its name may not last, so it must not be written to; make room for another try.
        drop(std::fs::remove_file(&path));
        return Err(error::not_opened(job, &error));
    }
    Ok((file, torn))
}

/// Takes a file without any record out of the way of a new job; gives its copy, unless it was empty.
fn clear(book: &Book, job: &JobName, now: Timestamp) -> io::Result<Option<TornAside>> {
    let path = book.path(job);
    // What is there and no ordinary file is refused where the job's own is made.
    let Ok(file) = view::open(&path, OpenOptions::new().read(true)) else {
        return Ok(None);
    };
    let mut bytes = Vec::new();
    file.take(NO_RECORD + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > NO_RECORD || bytes.contains(&b'\n') {
        return Ok(None);
    }
    let torn = if bytes.is_empty() {
        None
    } else {
        let (path, bytes) = (set_aside(book, job, &bytes, now)?, bytes.len());
        Some(TornAside { path, bytes })
    };
    std::fs::remove_file(&path)?;
    Ok(torn)
}

/// Opens the file of a job to go on with it. `now` names what is set aside.
pub(super) fn recover(
    book: &Book,
    job: &JobName,
    now: Timestamp,
) -> Result<Recovered, AppendTrouble> {
    let path = book.path(job);
    let file = view::open(&path, OpenOptions::new().read(true).append(true)).map_err(|error| {
        if error.kind() == io::ErrorKind::NotFound {
            AppendTrouble::Failed(trouble::unreadable(job, &error))
        } else {
            error::not_opened(job, &error)
        }
    })?;
    let mut bytes = view::read_all(&file, job).map_err(AppendTrouble::Failed)?;
    let mut scan = job::scan(&bytes);
    let mut torn = None;
    match scan.verdict {
        Verdict::Clean => {}
        Verdict::TornTail { at } => {
            let tail = bytes.split_off(at);
            let aside = set_aside(book, job, &tail, now)
                .and_then(|path| {
                    file.set_len(at as u64)?;
                    Ok(path)
                })
                .map_err(|error| error::not_recovered(job, &error))?;
            torn = Some(TornAside {
                path: aside,
                bytes: tail.len(),
            });
            scan.verdict = Verdict::Clean;
        }
        Verdict::Damaged { line, why } => {
            return Err(AppendTrouble::Final(trouble::damaged(job, line, why)));
        }
    }
    Ok(Recovered {
        file,
        bytes,
        scan,
        torn,
    })
}

/// Copies a torn tail beside its file and syncs the copy and its name.
fn set_aside(book: &Book, job: &JobName, tail: &[u8], now: Timestamp) -> io::Result<PathBuf> {
    let stamp = format!("{now:.3}").replace([':', '-'], "");
    let mut options = OpenOptions::new();
    options.write(true).create_new(true).mode(0o600);
    // The same instant twice needs a clock that was set back; a few more names settle it.
    let mut tries = 0;
    let (path, mut copy) = loop {
        let more = if tries == 0 {
            String::new()
        } else {
            format!("-{tries}")
        };
        let path = book.folder().join(format!("{job}.torn-{stamp}{more}"));
        match view::open(&path, &mut options) {
            Ok(copy) => break (path, copy),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && tries < 9 => tries += 1,
            Err(error) => return Err(error),
        }
    };
    let copied = copy
        .write_all(tail)
        .and_then(|()| copy.sync_all())
        .and_then(|()| sync_folder(book.folder()));
    if let Err(error) = copied {
        // Half a copy would only take up room, and the original is still in its place.
        drop(std::fs::remove_file(&path));
        return Err(error);
    }
    Ok(path)
}
