//! What the writer gives back: answers to wait for, and an open job with all that is in it.
//!
//! Promises: an answer always comes, if only to say that the writer is gone; waiting for one never
//! blocks. Leaves to others: what the records mean.

use std::fs::File;
use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};

use tokio::sync::oneshot;

use super::file::JobFile;
use super::{AppendTrouble, JobName, TornAside, error};
use crate::job::Scan;

/// A job file that is open for appending, and what is in it.
#[derive(Debug)]
pub struct Opened {
    /// All whole records, on disk. The file is clean now, whatever it was before.
    pub bytes: Vec<u8>,
    /// The scan of these bytes; its [`n`](Scan::n) is the number that the next record follows.
    pub scan: Scan,
    /// Half a record that was found at the end and set aside: tell the person.
    pub torn: Option<TornAside>,
    /// Gives the reason when the file stops taking records, also when that comes to light
    /// between two appends; closes when the job is closed.
    pub ended: oneshot::Receiver<AppendTrouble>,
}

impl Opened {
    /// The records, in order, each as the bytes of one line.
    pub fn lines(&self) -> impl Iterator<Item = &[u8]> {
        let lines = self.scan.lines.iter();
        lines.filter_map(|line| self.bytes.get(line.clone()))
    }
}

/// The answer to an order. It need not be waited for; the order is carried out all the same.
#[derive(Debug)]
pub struct Answer<T>(oneshot::Receiver<Result<T, AppendTrouble>>);

impl<T> Answer<T> {
    pub(super) fn of(reply: oneshot::Receiver<Result<T, AppendTrouble>>) -> Self {
        Self(reply)
    }
}

impl<T> Future for Answer<T> {
    type Output = Result<T, AppendTrouble>;

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Self::Output> {
        Pin::new(&mut self.0)
            .poll(context)
            .map(|answer| answer.unwrap_or_else(|_| Err(error::stopped())))
    }
}

/// An opened job: what is told, and what the writer keeps.
pub(super) fn begin(
    job: &JobName,
    file: File,
    bytes: Vec<u8>,
    scan: Scan,
    torn: Option<TornAside>,
) -> (Opened, JobFile<File>) {
    let (tell, ended) = oneshot::channel();
    let file = JobFile::new(job.clone(), file, &scan, tell);
    let opened = Opened {
        bytes,
        scan,
        torn,
        ended,
    };
    (opened, file)
}
