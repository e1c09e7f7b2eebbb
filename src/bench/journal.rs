//! The records of one bench on their way to the book, in order.

use std::collections::VecDeque;
use std::future::{Future, poll_fn};
use std::pin::Pin;
use std::task::Poll;

use tokio::sync::oneshot;

use crate::book::{AppendTrouble, JobName, Recorded, Synced, TornAside, Writer};
use crate::job::{Event, Job, OrderId, Record};
use crate::trouble::Trouble;

/// Appends the records of one bench and keeps their order.
pub(super) struct Journal {
    writer: Writer,
    job: Option<JobName>,
    /// The number of the last record given to the writer, and of the last known to be kept.
    given: u64,
    kept: u64,
    in_flight: VecDeque<InFlight>,
    /// Why the records in flight behind a failed one fail too.
    failed: Option<Trouble>,
    /// What the person is to be told with the next answer.
    note: Option<String>,
    ended: Option<oneshot::Receiver<AppendTrouble>>,
}

struct InFlight {
    waited: bool,
    answer: Pin<Box<dyn Future<Output = Result<Outcome, AppendTrouble>> + Send>>,
}

struct Outcome {
    n: u64,
    /// A job that was opened by this record.
    opened: Option<Begun>,
}

/// The file of a job that was opened.
struct Begun {
    ended: oneshot::Receiver<AppendTrouble>,
    /// What stood in its place.
    torn: Option<TornAside>,
}

impl Journal {
    /// No job yet.
    pub(super) fn new(writer: Writer) -> Self {
        Self {
            writer,
            job: None,
            given: 0,
            kept: 0,
            in_flight: VecDeque::new(),
            failed: None,
            note: None,
            ended: None,
        }
    }

    /// Goes on with an open job of the book.
    pub(super) async fn resume(&mut self, name: &JobName) -> Result<Job, Trouble> {
        let opened = self.writer.resume(name).await.map_err(Trouble::from)?;
        if let Some(torn) = &opened.torn {
            tracing::warn!(job = name.as_str(), aside = %torn.path.display(), bytes = torn.bytes,
                "half a record stood at the end of the job file; it was never announced, and is set aside");
        }
        let job = Job::read(opened.lines())?;
        self.begin(name.clone(), opened.scan.n(), opened.ended);
        Ok(job)
    }

    fn begin(&mut self, name: JobName, n: u64, ended: oneshot::Receiver<AppendTrouble>) {
        (self.job, self.given, self.kept, self.ended) = (Some(name), n, n, Some(ended));
    }

    /// Gives a record to the writer; its outcome comes from [`Journal::next`].
    pub(super) fn append(&mut self, record: &Record, wait: bool, id: Option<&OrderId>) {
        let body = match record.body_of(id) {
            Ok(body) => body,
            Err(trouble) => return self.push(wait, async { Err(AppendTrouble::Failed(trouble)) }),
        };
        if let Record::Open(opened) = record {
            return match JobName::new(&opened.job) {
                Ok(name) => {
                    let create = create(self.writer.clone(), name.clone(), body);
                    (self.job, self.given, self.kept) = (Some(name), 1, 0);
                    self.push(wait, create);
                }
                Err(trouble) => self.push(wait, async { Err(AppendTrouble::Failed(trouble)) }),
            };
        }
        let Some(job) = self.job.clone() else { return };
        let synced = if wait { Synced::Now } else { Synced::Soon };
        let answer = self.writer.append(&job, self.given, body, synced);
        self.given += 1;
        self.push(wait, async {
            answer
                .await
                .map(|Recorded { n, .. }| Outcome { n, opened: None })
        });
        if matches!(record, Record::Close(_)) {
            // The order is behind the record in the writer's queue; its answer is not needed.
            drop(self.writer.close(&job));
        }
    }

    fn push(
        &mut self,
        waited: bool,
        answer: impl Future<Output = Result<Outcome, AppendTrouble>> + Send + 'static,
    ) {
        self.in_flight.push_back(InFlight {
            waited,
            answer: Box::pin(answer),
        });
    }

    /// The next outcome, as an event for the bench: of a record that is waited for, of one that
    /// failed, or of the file itself when it stops taking records between two appends. None for
    /// what nobody waits for and went well. Pending while there is nothing. Cancelling loses
    /// nothing.
    pub(super) async fn next(&mut self) -> Option<Event<'static>> {
        poll_fn(|context| {
            if let Some(first) = self.in_flight.front_mut()
                && let Poll::Ready(outcome) = first.answer.as_mut().poll(context)
            {
                let waited = self.in_flight.pop_front().is_some_and(|first| first.waited);
                return Poll::Ready(self.came(outcome, waited));
            }
            let Some(ended) = &mut self.ended else {
                return Poll::Pending;
            };
            let Poll::Ready(outcome) = Pin::new(ended).poll(context) else {
                return Poll::Pending;
            };
            self.ended = None;
            // An end without a reason is that of a job which was closed.
            Poll::Ready(outcome.ok().map(|trouble| Event::NotWritten {
                trouble: trouble.into(),
                waited: false,
                for_good: true,
            }))
        })
        .await
    }

    /// What the person is to be told beside what was done, once.
    pub(super) fn note(&mut self) -> Option<String> {
        self.note.take()
    }

    fn came(
        &mut self,
        outcome: Result<Outcome, AppendTrouble>,
        waited: bool,
    ) -> Option<Event<'static>> {
        match outcome {
            Ok(Outcome { n, opened }) => {
                self.kept = n;
                if let Some(Begun { ended, torn }) = opened {
                    self.ended = Some(ended);
                    self.note = torn.as_ref().map(put_aside);
                }
                waited.then_some(Event::Written { n })
            }
            Err(trouble) => {
                let for_good = trouble.is_final();
                let first = self.failed.get_or_insert_with(|| trouble.into()).clone();
                if self.in_flight.is_empty() {
                    self.failed = None;
                    self.given = self.kept;
                }
                Some(Event::NotWritten {
                    trouble: first,
                    waited,
                    for_good,
                })
            }
        }
    }
}

/// Makes the file of a new job and writes its first record.
async fn create(writer: Writer, name: JobName, body: String) -> Result<Outcome, AppendTrouble> {
    let opened = writer.create(&name).await?;
    match writer.append(&name, 0, body, Synced::Now).await {
        Ok(recorded) => Ok(Outcome {
            n: recorded.n,
            opened: Some(Begun {
                ended: opened.ended,
                torn: opened.torn,
            }),
        }),
        Err(trouble) => {
            drop(writer.close(&name).await);
            Err(trouble)
        }
    }
}

/// Says that a file stood in the place of a new job's, and where it is now.
fn put_aside(torn: &TornAside) -> String {
    let name = torn.path.file_name().unwrap_or_default().display();
    tracing::warn!(aside = %torn.path.display(), bytes = torn.bytes,
        "a file of this ticket held no whole record, so nothing of it was ever announced; it is set aside");
    format!(
        "A file of this ticket held no whole record, so nothing of it was ever announced; it is set aside in the book as {name}."
    )
}
