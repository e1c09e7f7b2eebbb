//! A look into a book: which jobs it has, which are open, and the bytes of one.
//!
//! Promises: reads only, needs no lock, bounded in size, quick with thousands of files. Leaves to
//! others: judging what was read ([`job::scan`](crate::job::scan())).

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _};
use std::os::unix::fs::{FileExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use rustix::fs::OFlags;

use super::{JobName, trouble};
use crate::job::{last_line, unseal};
use crate::trouble::Trouble;

/// The largest job file that is read or written: 64 MiB, hundreds of thousands of records.
pub const FILE_LIMIT: u64 = 64 * 1024 * 1024;

/// How much of a file's end is read to see whether its job is closed; then, if one line is longer
/// than that, how much more.
const TAILS: [u64; 2] = [4 * 1024, 2 * super::EVENT_LIMIT as u64];

/// What the ends of the job files tell.
#[derive(Debug, Default)]
pub struct Survey {
    /// Jobs that are not closed, or of which that cannot be told.
    pub open: Vec<JobName>,
    /// The lines that closed the others.
    pub closings: Vec<Vec<u8>>,
}

/// A book that is only read. A file that is being written may show half a last record.
#[derive(Debug, Clone)]
pub struct BookView {
    folder: PathBuf,
}

impl BookView {
    /// The book in this folder, which need not exist yet.
    pub fn of(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
        }
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where a job's file is, or would be.
    pub fn path(&self, job: &JobName) -> PathBuf {
        self.folder.join(job.file_name())
    }

    /// Every job in the book, by name. Files that this service would never make (another ending,
    /// a name that no job has, a link, a folder) are passed over.
    pub fn jobs(&self) -> Result<Vec<JobName>, Trouble> {
        let failed = |error| trouble::folder(&self.folder, "read", &error);
        let mut jobs = Vec::new();
        for entry in std::fs::read_dir(&self.folder).map_err(failed)? {
            let entry = entry.map_err(failed)?;
            let job = entry.file_name().to_str().and_then(JobName::of_file);
            if let Some(job) = job
                && entry.file_type().map_err(failed)?.is_file()
            {
                jobs.push(job);
            }
        }
        jobs.sort_unstable();
        Ok(jobs)
    }

    /// Every job that is not closed, and every job of which that cannot be told from the last few
    /// KiB of its file: torn, unreadable, or not ending in a record. Scan those.
    pub fn open_jobs(&self) -> Result<Vec<JobName>, Trouble> {
        Ok(self.survey()?.open)
    }

    /// The open jobs, as [`open_jobs`](Self::open_jobs), and the closing records of the others.
    pub fn survey(&self) -> Result<Survey, Trouble> {
        let mut survey = Survey::default();
        for job in self.jobs()? {
            match self
                .last_record(&job)
                .ok()
                .flatten()
                .filter(|line| is_close(line))
            {
                Some(closing) => survey.closings.push(closing),
                None => survey.open.push(job),
            }
        }
        Ok(survey)
    }

    /// All bytes of a job's file.
    pub fn read(&self, job: &JobName) -> Result<Vec<u8>, Trouble> {
        let unreadable = |error| trouble::unreadable(job, &error);
        let file = open(&self.path(job), OpenOptions::new().read(true)).map_err(unreadable)?;
        read_all(&file, job)
    }

    /// The last whole line of a job's file, if it can be told from the end alone.
    fn last_record(&self, job: &JobName) -> io::Result<Option<Vec<u8>>> {
        let file = open(&self.path(job), OpenOptions::new().read(true))?;
        let len = file.metadata()?.len();
        let mut tail = Vec::new();
        for size in TAILS {
            let from = len.saturating_sub(size);
            tail.resize(usize::try_from(len - from).unwrap_or(0), 0);
            file.read_exact_at(&mut tail, from)?;
            match last_line(&tail) {
                None => return Ok(None),
                // No line end before it: the line may have begun earlier.
                Some(line) if from > 0 && line.len() + 1 == tail.len() => {}
                Some(line) => return Ok(Some(line.to_vec())),
            }
        }
        Ok(None)
    }
}

/// Whether a line is the record that closes a job.
fn is_close(line: &[u8]) -> bool {
    #[derive(serde::Deserialize)]
    struct Event<'a> {
        #[serde(borrow)]
        event: std::borrow::Cow<'a, str>,
    }
    unseal(line).is_some()
        && serde_json::from_slice::<Event>(line).is_ok_and(|line| line.event == "close")
}

/// Opens an ordinary file: a link is not followed, and anything that could make an open or a read
/// wait is refused.
pub(super) fn open(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    let flags = OFlags::NOFOLLOW | OFlags::NONBLOCK;
    let file = options
        .custom_flags(i32::try_from(flags.bits()).unwrap_or(0))
        .open(path)?;
    if file.metadata()?.is_file() {
        Ok(file)
    } else {
        Err(io::Error::new(
            io::ErrorKind::InvalidInput,
            "not an ordinary file",
        ))
    }
}

/// All bytes of an open job file.
pub(super) fn read_all(file: &File, job: &JobName) -> Result<Vec<u8>, Trouble> {
    let mut bytes = Vec::new();
    file.take(FILE_LIMIT + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| trouble::unreadable(job, &error))?;
    if bytes.len() as u64 > FILE_LIMIT {
        return Err(trouble::too_big(job, FILE_LIMIT));
    }
    Ok(bytes)
}
