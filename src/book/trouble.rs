//! What can go wrong with the folder and with reading it, told to the person at the bench.
//!
//! Promises: every failure becomes sentences that say what it means for the melt. Leaves to
//! others: deciding what failed, and [writing](super::AppendTrouble).

use std::{io, path::Path};

use super::JobName;
use crate::job::Damage;
use crate::trouble::Trouble;

/// The folder cannot be made, read or locked.
pub(super) fn folder(folder: &Path, doing: &str, error: &io::Error) -> Trouble {
    Trouble::new(
        "book-unusable",
        format!(
            "The book in {} could not be {doing} ({error}).",
            folder.display()
        ),
        "No job can be opened, so nothing that is weighed would be kept.",
        "See that the folder exists, belongs to you and is on a disk that can be written, \
         or keep everything in another folder with panbell --home FOLDER.",
    )
}

/// Another service holds the lock.
pub(super) fn in_use(folder: &Path, pid: Option<u32>) -> Trouble {
    let by = pid.map_or_else(
        || "another panbell".to_owned(),
        |pid| format!("another panbell (process {pid})"),
    );
    Trouble::new(
        "book-in-use",
        format!("The book in {} is being written by {by}.", folder.display()),
        "Two services must not write one book, so this one keeps nothing; the other goes on.",
        "Use the one that runs, stop it first, or keep another book with panbell --home FOLDER.",
    )
    .passing()
}

/// A job file cannot be read.
pub(super) fn unreadable(job: &JobName, error: &io::Error) -> Trouble {
    if error.kind() == io::ErrorKind::NotFound {
        return Trouble::new(
            "job-unknown",
            format!("The book has no job {job}."),
            "Nothing was opened or changed.",
            "Look at the list of jobs, or open a new one.",
        );
    }
    Trouble::new(
        "job-unreadable",
        format!("The file of job {job} could not be read ({error})."),
        "The job cannot go on until it can be read; the file was not changed.",
        "See that the file is there, is an ordinary file, and belongs to you.",
    )
}

/// A job file is larger than anything a bench writes.
pub(super) fn too_big(job: &JobName, limit: u64) -> Trouble {
    Trouble::new(
        "job-too-big",
        format!(
            "The file of job {job} is larger than {} MiB.",
            limit / (1024 * 1024)
        ),
        "No job gets so large by weighing, so it is not read; it was not changed.",
        "See what wrote into it, and bring back the file from a copy.",
    )
}

/// A line of a job file does not fit.
pub(super) fn damaged(job: &JobName, line: u64, why: Damage) -> Trouble {
    Trouble::new(
        "job-damaged",
        format!(
            "Line {line} of the file of job {job} is not as it was written: {}.",
            why.words()
        ),
        "The lines before it are whole, what follows cannot be relied on, and the job cannot go on. \
         The file was not changed.",
        "Compare it with a copy, and open a new job for the metal that is still to be melted.",
    )
}

/// The thread that writes could not be started.
pub(super) fn no_thread(error: &io::Error) -> Trouble {
    Trouble::new(
        "book-unusable",
        format!("The system did not allow the book to be opened for writing ({error})."),
        "Nothing that is weighed would be kept, so no job was opened.",
        "Close other programs or start the machine again, then start the service.",
    )
}
