//! One open job file: the only place that knows the next number, the chain and the whole length.
//!
//! Promises: after any failed write the file ends with its last whole record, or takes no more; a
//! failed sync is final and is never tried again and called good; a record is checked by the same
//! rules that a scan uses, before it is written. Leaves to others: opening files, threads, time.

use std::fs::File;
use std::io::{self, Write as _};
use std::os::unix::fs::MetadataExt as _;
use std::time::{Duration, Instant};

use jiff::Timestamp;
use tokio::sync::oneshot;

use super::{AppendTrouble, FILE_LIMIT, JobName, error};
use crate::job::{ChainLink, Scan, check_line, seal};

/// The longest event that is recorded, in bytes: its keys as JSON text.
pub const EVENT_LIMIT: usize = 64 * 1024;

/// When a record must be on disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Synced {
    /// Before the answer. For all that is announced as recorded.
    Now,
    /// Within a second, and not later than the next `Now` of the same job. For what may be lost
    /// together with the power.
    Soon,
}

/// How long a `Soon` record waits: well under its second, so that a slow disk keeps it too.
pub(super) const SOON: Duration = Duration::from_millis(500);

/// A record that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recorded {
    /// Its number, counted from 1.
    pub n: u64,
    /// When it was recorded, exactly as it stands in the file: RFC 3339, UTC, milliseconds.
    pub at: String,
    /// Its link, which stands for the whole file up to it.
    pub chain: ChainLink,
}

/// What a job file is on. [`File`] in the service; tests also use one that fails on demand, since
/// no disk fails a sync when asked.
pub(super) trait Disk {
    /// Appends all bytes, or fails after any number of them.
    fn put(&mut self, bytes: &[u8]) -> io::Result<()>;
    /// Puts all that was written where a power cut cannot reach it.
    fn sync(&mut self) -> io::Result<()>;
    /// Cuts the file to a length.
    fn cut(&mut self, len: u64) -> io::Result<()>;
    /// The length, and whether the file still has a name.
    fn look(&self) -> io::Result<(u64, bool)>;
}

impl Disk for File {
    fn put(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.write_all(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }

    fn cut(&mut self, len: u64) -> io::Result<()> {
        self.set_len(len)
    }

    fn look(&self) -> io::Result<(u64, bool)> {
        let meta = self.metadata()?;
        Ok((meta.len(), meta.nlink() > 0))
    }
}

/// An open job file.
pub(super) struct JobFile<D> {
    job: JobName,
    disk: D,
    n: u64,
    last: ChainLink,
    good_len: u64,
    unsynced_since: Option<Instant>,
    ended: Option<AppendTrouble>,
    /// Told once, when the file takes no more records.
    tell_end: Option<oneshot::Sender<AppendTrouble>>,
}

impl<D: Disk> JobFile<D> {
    /// A file whose whole contents are as this scan found.
    pub(super) fn new(
        job: JobName,
        disk: D,
        scan: &Scan,
        tell_end: oneshot::Sender<AppendTrouble>,
    ) -> Self {
        Self {
            job,
            disk,
            n: scan.n(),
            last: scan.last,
            good_len: scan.good_len as u64,
            unsynced_since: None,
            ended: None,
            tell_end: Some(tell_end),
        }
    }

    /// When records that are not yet on disk must be.
    pub(super) fn due(&self) -> Option<Instant> {
        self.unsynced_since.map(|since| since + SOON)
    }

    /// Why the file takes no more records, if so.
    pub(super) fn ended(&self) -> Option<&AppendTrouble> {
        self.ended.as_ref()
    }

    /// Appends one record after record number `after`.
    pub(super) fn append(
        &mut self,
        after: u64,
        event: &str,
        synced: Synced,
        (at, now): (Timestamp, Instant),
    ) -> Result<Recorded, AppendTrouble> {
        if let Some(ended) = &self.ended {
            return Err(ended.clone());
        }
        if after != self.n {
            return Err(error::out_of_step(&self.job, after, self.n));
        }
        let n = self.n + 1;
        let at = format!("{at:.3}");
        let body = format!(r#"{{"n":{n},"at":"{at}",{event}}}"#);
        let (line, chain) = seal(&self.last, &body);
        let whole = line.strip_suffix('\n').unwrap_or(&line);
        if event.len() > EVENT_LIMIT || check_line(whole.as_bytes(), n, &self.last) != Ok(chain) {
            return Err(error::not_a_record(&self.job));
        }
        let len = self.good_len + line.len() as u64;
        if len > FILE_LIMIT {
            return Err(self.end(error::no_more_room(&self.job)));
        }
        self.write(&line)?;
        self.good_len = len;
        self.n = n;
        self.last = chain;
        self.unsynced_since.get_or_insert(now);
        if synced == Synced::Now {
            self.sync()?;
        }
        Ok(Recorded { n, at, chain })
    }

    /// Makes sure of what was found in the file when it was opened, given how syncing its folder
    /// went: a service that was killed may have written it and not synced it.
    pub(super) fn confirm(&mut self, folder: io::Result<()>) -> Result<(), AppendTrouble> {
        folder
            .and_then(|()| self.disk.sync())
            .map_err(|error| self.end(error::not_synced(&self.job, &error)))
    }

    /// Syncs what is not yet on disk. A failure is final.
    pub(super) fn sync(&mut self) -> Result<(), AppendTrouble> {
        if let Some(ended) = &self.ended {
            return Err(ended.clone());
        }
        if self.unsynced_since.take().is_some()
            && let Err(error) = self.disk.sync()
        {
            return Err(self.end(error::not_synced(&self.job, &error)));
        }
        Ok(())
    }

    /// Writes a line, or leaves the file as it was, or ends it.
    fn write(&mut self, line: &str) -> Result<(), AppendTrouble> {
        // A line behind bytes of someone else's, or in a file that has lost its name, would never
        // be found again.
        match self.disk.look() {
            Ok((_, false)) => return Err(self.end(error::meddled(&self.job, "removed"))),
            Ok((len, true)) if len != self.good_len => {
                return Err(self.end(error::meddled(&self.job, "changed")));
            }
            Ok(_) => {}
            Err(error) => return Err(error::not_written(&self.job, &error)),
        }
        let Err(wrote) = self.disk.put(line.as_bytes()) else {
            return Ok(());
        };
        match self.disk.cut(self.good_len) {
            Ok(()) => Err(error::not_written(&self.job, &wrote)),
            Err(cut) => Err(self.end(error::not_cut(&self.job, &wrote, &cut))),
        }
    }

    fn end(&mut self, trouble: AppendTrouble) -> AppendTrouble {
        self.unsynced_since = None;
        self.ended = Some(trouble.clone());
        if let Some(tell) = self.tell_end.take() {
            // Nobody may be listening; the next append is told anyway.
            drop(tell.send(trouble.clone()));
        }
        trouble
    }
}
