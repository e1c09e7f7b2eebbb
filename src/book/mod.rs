//! The book: the folder of job files, one file a job, one event a line.
//!
//! Promises: one service writes a book; one thread writes its files; a record that was answered as
//! kept is on disk; a file that was torn or damaged is told apart, and nothing is ever thrown away
//! without a copy. Leaves to others: what the events mean, and when to record one.
//!
//! [`BookView`] only reads and needs no lock. [`Book`] holds the lock. [`Writer`] takes the book
//! and is the only way to change a file.

mod error;
#[cfg(test)]
mod faulty;
mod file;
mod folder;
mod lock;
mod name;
mod opened;
mod recover;
mod trouble;
mod view;
mod writer;

pub use error::AppendTrouble;
pub use file::{EVENT_LIMIT, Recorded, Synced};
pub use folder::Book;
pub use lock::open_lock_file;
pub use name::JobName;
pub use opened::{Answer, Opened};
pub use recover::TornAside;
pub use view::{BookView, FILE_LIMIT, Survey};
pub use writer::Writer;
