//! The one thread that writes job files, and the handle on it.
//!
//! Promises: orders are carried out one after the other; giving one never waits for a disk; every
//! order is answered; the thread sleeps when nothing is due; when the last handle goes, what is
//! written is synced and the lock on the book let go (or the disk has hung for ten seconds). Leaves to others: what is written
//! ([`JobFile`]) and waiting for answers.

use std::collections::BTreeMap;
use std::fs::File;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use tokio::sync::oneshot;

use super::file::JobFile;
use super::folder::sync_folder;
use super::opened::begin;
use super::{Answer, AppendTrouble, Book, JobName, Opened, Recorded, Synced};
use super::{error, recover, trouble};
use crate::job;
use crate::trouble::Trouble;

/// How many orders may wait for the disk. With the limit on an event this also bounds memory.
const QUEUE: usize = 256;

/// How long stopping waits for the disk.
const FINISH_LIMIT: Duration = Duration::from_secs(10);

type Reply<T> = oneshot::Sender<Result<T, AppendTrouble>>;

enum Order {
    Create(JobName, Reply<Opened>),
    Resume(JobName, Reply<Opened>),
    Append {
        job: JobName,
        after: u64,
        event: String,
        synced: Synced,
        reply: Reply<Recorded>,
    },
    Close(JobName, Reply<()>),
}

/// A handle on the thread that writes a book.
#[derive(Clone)]
pub struct Writer(Arc<Shared>);

struct Shared {
    book: Arc<Book>,
    /// Taken away to stop the thread, which then carries out what still waits.
    orders: Mutex<Option<SyncSender<Order>>>,
    /// How the thread ended.
    done: Mutex<Option<Receiver<Result<(), AppendTrouble>>>>,
}

impl Writer {
    /// Takes the book and starts the thread.
    pub fn start(book: Book) -> Result<Self, Trouble> {
        let book = Arc::new(book);
        let (orders, inbox) = sync_channel(QUEUE);
        let mut desk = Desk {
            book: Arc::clone(&book),
            files: BTreeMap::new(),
        };
        let (tell, done) = sync_channel(1);
        std::thread::Builder::new()
            .name("book".into())
            .spawn(move || {
                let result = desk.work(&inbox);
                // First let go of the book, so that whoever is told can open it anew.
                drop(desk);
                drop(tell.send(result));
            })
            .map_err(|error| trouble::no_thread(&error))?;
        Ok(Self(Arc::new(Shared {
            book,
            orders: Mutex::new(Some(orders)),
            done: Mutex::new(Some(done)),
        })))
    }

    /// The book, to read in.
    pub fn book(&self) -> &Book {
        &self.0.book
    }

    /// Makes the file of a new job; refuses a job that exists, and sets aside a file that holds no
    /// record. Its first record follows number 0.
    pub fn create(&self, job: &JobName) -> Answer<Opened> {
        self.order(job, |reply| Order::Create(job.clone(), reply))
    }

    /// Opens the file of a job to go on with it; sets aside a torn last line, refuses damage.
    pub fn resume(&self, job: &JobName) -> Answer<Opened> {
        self.order(job, |reply| Order::Resume(job.clone(), reply))
    }

    /// Appends a record to an open job.
    ///
    /// `event` is the keys of the record as JSON text without braces, from `"event":` on; number,
    /// time and chain are put to it here. `after` is the number of the record that it follows: if
    /// another one is the last on disk, because one before this failed or the caller lost count,
    /// the record is refused, so several can be under way without one standing after a lost one.
    pub fn append(
        &self,
        job: &JobName,
        after: u64,
        event: String,
        synced: Synced,
    ) -> Answer<Recorded> {
        self.order(job, |reply| Order::Append {
            job: job.clone(),
            after,
            event,
            synced,
            reply,
        })
    }

    /// Syncs the file of a job and lets go of it. One that takes no more records stays so, even
    /// when it is opened again, until the service starts anew.
    pub fn close(&self, job: &JobName) -> Answer<()> {
        self.order(job, |reply| Order::Close(job.clone(), reply))
    }

    /// Carries out what was ordered, syncs everything and ends the thread; gives the first sync
    /// that failed in doing so. Waits for the disk. Later orders are answered as final. Dropping
    /// the last handle does the same.
    pub fn finish(&self) -> Result<(), Trouble> {
        self.0.finish().map_err(Trouble::from)
    }

    fn order<T>(&self, job: &JobName, order: impl FnOnce(Reply<T>) -> Order) -> Answer<T> {
        let (reply, answer) = oneshot::channel();
        // Without a queue the reply is dropped, which is an answer of its own.
        let orders = held(&self.0.orders);
        let sent = orders.as_ref().map(|orders| orders.try_send(order(reply)));
        if let Some(Err(TrySendError::Full(_))) = sent {
            let (reply, answer) = oneshot::channel();
            drop(reply.send(Err(error::overloaded(job))));
            return Answer::of(answer);
        }
        Answer::of(answer)
    }
}

impl Shared {
    fn finish(&self) -> Result<(), AppendTrouble> {
        drop(held(&self.orders).take());
        let Some(done) = held(&self.done).take() else {
            return Ok(());
        };
        match done.recv_timeout(FINISH_LIMIT) {
            Ok(result) => result,
            Err(RecvTimeoutError::Timeout) => Err(error::not_finished()),
            Err(RecvTimeoutError::Disconnected) => Err(error::stopped()),
        }
    }
}

/// What a lock guards. Nothing is done under these locks that could leave it half changed.
fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Drop for Shared {
    fn drop(&mut self) {
        // Nobody is left to tell. The files' own `ended` have told.
        drop(self.finish());
    }
}

/// What the thread works with.
struct Desk {
    book: Arc<Book>,
    /// The open files, and those that take no more records, which are kept so as to stay so.
    files: BTreeMap<JobName, JobFile<File>>,
}

impl Desk {
    fn work(&mut self, inbox: &Receiver<Order>) -> Result<(), AppendTrouble> {
        loop {
            let due = self.files.values().filter_map(JobFile::due).min();
            let next = match due {
                None => inbox.recv().map_err(|_| RecvTimeoutError::Disconnected),
                Some(due) => inbox.recv_timeout(due.saturating_duration_since(Instant::now())),
            };
            match next {
                Err(RecvTimeoutError::Disconnected) => break,
                Ok(order) => self.carry_out(order),
                Err(RecvTimeoutError::Timeout) => {}
            }
            // Also between orders, so that a busy bench cannot put off another one's sync.
            let now = Instant::now();
            for file in self.files.values_mut() {
                if file.due().is_some_and(|due| due <= now) {
                    // A failure has been kept in the file and told.
                    drop(file.sync());
                }
            }
        }
        let mut result = Ok(());
        for file in self
            .files
            .values_mut()
            .filter(|file| file.ended().is_none())
        {
            result = result.and(file.sync());
        }
        result
    }

    /// A reply that nobody waits for any more is not a failure: the order was carried out.
    fn carry_out(&mut self, order: Order) {
        match order {
            Order::Create(job, reply) => drop(reply.send(self.create(job))),
            Order::Resume(job, reply) => drop(reply.send(self.resume(job))),
            Order::Append {
                job,
                after,
                event,
                synced,
                reply,
            } => drop(reply.send(self.append(&job, after, &event, synced))),
            Order::Close(job, reply) => drop(reply.send(self.close(&job))),
        }
    }

    fn create(&mut self, job: JobName) -> Result<Opened, AppendTrouble> {
        self.must_be_new(&job)?;
        let (file, torn) = recover::create(&self.book, &job, Timestamp::now())?;
        let (opened, file) = begin(&job, file, Vec::new(), job::scan(&[]), torn);
        self.files.insert(job, file);
        Ok(opened)
    }

    fn resume(&mut self, job: JobName) -> Result<Opened, AppendTrouble> {
        self.must_be_new(&job)?;
        let found = recover::recover(&self.book, &job, Timestamp::now())?;
        let (opened, mut file) = begin(&job, found.file, found.bytes, found.scan, found.torn);
        let confirmed = file.confirm(sync_folder(self.book.folder()));
        // Kept even if that failed, so that it is not tried again and called good.
        self.files.insert(job, file);
        confirmed.map(|()| opened)
    }

    fn append(
        &mut self,
        job: &JobName,
        after: u64,
        event: &str,
        synced: Synced,
    ) -> Result<Recorded, AppendTrouble> {
        let clocks = (Timestamp::now(), Instant::now());
        let file = self.files.get_mut(job);
        file.ok_or_else(|| error::not_open(job, false))?
            .append(after, event, synced, clocks)
    }

    fn close(&mut self, job: &JobName) -> Result<(), AppendTrouble> {
        let file = self.files.get_mut(job);
        file.ok_or_else(|| error::not_open(job, false))?.sync()?;
        self.files.remove(job);
        Ok(())
    }

    fn must_be_new(&self, job: &JobName) -> Result<(), AppendTrouble> {
        self.files.get(job).map_or(Ok(()), |file| {
            let ended = file.ended().cloned();
            Err(ended.unwrap_or_else(|| error::not_open(job, true)))
        })
    }
}
