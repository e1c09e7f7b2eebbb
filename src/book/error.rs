//! What can go wrong with writing a job file, told to the person at the bench.
//!
//! Promises: every failure becomes sentences that say what it means for the melt, and says whether
//! the same may be tried again. Leaves to others: deciding what failed.

use std::{fmt, io};

use super::JobName;
use crate::trouble::Trouble;

/// Why a record was not kept, or a job file not opened, and what may be done next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AppendTrouble {
    /// No room on the disk. The file is as it was; the same may be tried again.
    Full(Trouble),
    /// It did not work this time. The file is as it was; the same may be tried again.
    Failed(Trouble),
    /// This file takes no more records while this service runs. If a sync failed, whether the
    /// record is on disk is not known until the file is read again.
    Final(Trouble),
}

impl AppendTrouble {
    /// The words for the person.
    pub fn trouble(&self) -> &Trouble {
        match self {
            Self::Full(trouble) | Self::Failed(trouble) | Self::Final(trouble) => trouble,
        }
    }

    /// Whether the file takes no more records.
    pub fn is_final(&self) -> bool {
        matches!(self, Self::Final(_))
    }
}

impl fmt::Display for AppendTrouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.trouble().fmt(f)
    }
}

impl std::error::Error for AppendTrouble {}

impl From<AppendTrouble> for Trouble {
    fn from(trouble: AppendTrouble) -> Self {
        match trouble {
            AppendTrouble::Full(trouble)
            | AppendTrouble::Failed(trouble)
            | AppendTrouble::Final(trouble) => trouble,
        }
    }
}

pub(super) fn is_full(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded
    )
}

/// A torn last line could not be set aside, so it was not cut off either.
pub(super) fn not_recovered(job: &JobName, error: &io::Error) -> AppendTrouble {
    let trouble = Trouble::new(
        "job-not-recovered",
        format!(
            "The file of job {job} ends in half a record, \
             and that could not be copied aside ({error})."
        ),
        "The job cannot go on yet; all whole records in it are safe, and none was changed.",
        "Free some space on the disk of the book and see that its folder can be written, \
         then open the job again.",
    );
    sort(error, trouble)
}

/// A job file could not be opened for writing, or its opening not be made durable.
pub(super) fn not_opened(job: &JobName, error: &io::Error) -> AppendTrouble {
    if error.kind() == io::ErrorKind::AlreadyExists {
        return AppendTrouble::Failed(Trouble::new(
            "job-exists",
            format!("The book already has a job {job}."),
            "It was not touched, and no new job was opened.",
            "If it is open, go on with it; if it is closed, give the new job another ticket.",
        ));
    }
    let trouble = Trouble::new(
        "job-not-opened",
        format!("The file of job {job} could not be opened for writing ({error})."),
        "Nothing can be recorded in this job yet.",
        "See that the folder of the book can be written and its disk has room, then try again.",
    );
    sort(error, trouble)
}

/// The book has a job of which the name differs in letter case only.
pub(super) fn twin(job: &JobName, twin: &JobName) -> AppendTrouble {
    AppendTrouble::Failed(Trouble::new(
        "job-exists",
        format!(
            "The book already has a file {twin}, and {job} differs from it in letter case only."
        ),
        "It was not touched, and no new job was opened.",
        "If that is the ticket that is meant, write it as the book has it; else give the new job another.",
    ))
}

/// A record could not be written; the file is as it was.
pub(super) fn not_written(job: &JobName, error: &io::Error) -> AppendTrouble {
    if is_full(error) {
        return AppendTrouble::Full(
            Trouble::new(
                "disk-full",
                "The disk that holds the book is full.",
                "Everything recorded so far stays, but this step was not recorded, \
                 and nothing is captured until there is room.",
                "Leave the metal as it is and free some space on that disk.",
            )
            .passing(),
        );
    }
    AppendTrouble::Failed(Trouble::new(
        "record-failed",
        format!("A record of job {job} could not be written ({error})."),
        "Everything recorded so far stays, but this step was not recorded.",
        "Leave the metal as it is, check the disk of the book, and try again.",
    ))
}

/// What was written in part could not be cut off again.
pub(super) fn not_cut(job: &JobName, wrote: &io::Error, cut: &io::Error) -> AppendTrouble {
    last(
        job,
        format!(
            "A record of job {job} could be written only in part ({wrote}), \
             and that part not be taken back ({cut})."
        ),
    )
}

/// The disk did not confirm what was written.
pub(super) fn not_synced(job: &JobName, error: &io::Error) -> AppendTrouble {
    AppendTrouble::Final(Trouble::new(
        "record-unsure",
        format!("The disk did not confirm the last records of job {job} ({error})."),
        "What was confirmed before is safe; the last step may be lost, \
         and nothing more is recorded in this job while this service runs.",
        "Leave the metal as it is, copy the book to a sound disk, start the service again, \
         and weigh what the job does not show.",
    ))
}

/// Someone else changed or removed the file while it was open.
pub(super) fn meddled(job: &JobName, what: &str) -> AppendTrouble {
    last(
        job,
        format!("The file of job {job} was {what} by something else while it was open."),
    )
}

/// The file has reached the size that is still read.
pub(super) fn no_more_room(job: &JobName) -> AppendTrouble {
    last(
        job,
        format!("The file of job {job} has grown to the largest size that is read."),
    )
}

fn last(job: &JobName, happened: String) -> AppendTrouble {
    AppendTrouble::Final(Trouble::new(
        "job-ended",
        happened,
        "What was recorded before is kept, but this step was not recorded, \
         and nothing more is recorded in this job while this service runs.",
        format!(
            "Leave the metal as it is, look at {} in the book, and start the service again.",
            job.file_name()
        ),
    ))
}

/// A record was to follow another one than the last.
pub(super) fn out_of_step(job: &JobName, after: u64, n: u64) -> AppendTrouble {
    AppendTrouble::Failed(Trouble::new(
        "record-out-of-step",
        format!("A record of job {job} was to follow record {after}, but the last one is {n}."),
        "It was not recorded, so that nothing stands in the file after something that was lost.",
        "Do the last step again.",
    ))
}

/// The record handed over is not one: a fault of ours.
pub(super) fn not_a_record(job: &JobName) -> AppendTrouble {
    AppendTrouble::Failed(Trouble::new(
        "record-unusable",
        format!("A record for job {job} was not in order or too long."),
        "It was not recorded; everything before it is kept.",
        "This is a fault of panbell: please report it, with what you did.",
    ))
}

/// The job is not open here, or already is.
pub(super) fn not_open(job: &JobName, is_open: bool) -> AppendTrouble {
    AppendTrouble::Failed(Trouble::new(
        if is_open { "job-open" } else { "job-not-open" },
        format!(
            "Job {job} is {} open in this service.",
            if is_open { "already" } else { "not" }
        ),
        "Nothing was recorded or changed.",
        "Look at which job the bench is on.",
    ))
}

/// More is waiting for the disk than may wait.
pub(super) fn overloaded(job: &JobName) -> AppendTrouble {
    AppendTrouble::Failed(
        Trouble::new(
            "disk-slow",
            "The disk that holds the book does not keep up.",
            format!("This step was not recorded in job {job}; nothing before it is lost."),
            "Leave the metal as it is and wait a moment; if it stays so, check the disk.",
        )
        .passing(),
    )
}

/// The writer has stopped.
pub(super) fn stopped() -> AppendTrouble {
    AppendTrouble::Final(Trouble::new(
        "book-closed",
        "The book has been closed, since the service is stopping.",
        "This step was not recorded.",
        "Start the service again, and weigh what the job does not show.",
    ))
}

/// The disk did not answer in time when the service stopped.
pub(super) fn not_finished() -> AppendTrouble {
    AppendTrouble::Final(Trouble::new(
        "disk-slow",
        "The disk that holds the book did not answer while the service was stopping.",
        "What was confirmed before is safe; the last steps may be lost.",
        "Check the disk, start the service again, and weigh what the job does not show.",
    ))
}

fn sort(error: &io::Error, trouble: Trouble) -> AppendTrouble {
    if is_full(error) {
        AppendTrouble::Full(trouble.passing())
    } else {
        AppendTrouble::Failed(trouble)
    }
}
