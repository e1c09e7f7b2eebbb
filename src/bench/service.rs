//! The service: everything that `panbell run` starts, and how it stops.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;
use tokio::time::{MissedTickBehavior, interval};

use super::checks::{Checks, last_checks};
use super::journal::Journal;
use super::lane::Lane;
use super::presses::{PRESSES, carry_out};
use crate::bell::Bells;
use crate::book::{Book, BookView, JobName, Survey, Writer};
use crate::job::{Job, Record, Verdict, scan};
use crate::melt::PastMelt;
use crate::serve::{Clock, Door, Front, House, LIMIT, listen};
use crate::settings::{BenchSettings, Settings};
use crate::trouble::Trouble;

/// Runs the service until SIGTERM or SIGINT.
pub fn run(settings: Settings) -> Result<(), Trouble> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        // For ports that are being opened or closed: a few adapters may be stuck at once.
        .max_blocking_threads(8)
        .build()
        .map_err(|error| cannot_start(&error))?;
    let book = Book::open(&settings.folders.book)?;
    let writer = Writer::start(book)?;
    let result = runtime.block_on(serve(settings, writer.clone()));
    // An adapter that is stuck in its opening is not waited for.
    runtime.shutdown_timeout(Duration::from_millis(500));
    // The disk is waited for outside the loop, so that nothing else is kept waiting by it.
    let finished = writer.finish();
    result.and(finished)
}

async fn serve(mut settings: Settings, writer: Writer) -> Result<(), Trouble> {
    let survey = writer.book().survey()?;
    let past = past_melts(&survey);
    for bench in &mut settings.benches {
        Arc::make_mut(&mut bench.rules).past = Arc::clone(&past);
    }
    let (settings, clock) = (Arc::new(settings), Clock::start());
    let mut terminate = signal(SignalKind::terminate()).map_err(|error| cannot_start(&error))?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(|error| cannot_start(&error))?;
    let served = listen(&settings.folders.runtime)?;
    let front = Front::open(&settings.page, &settings.folders);
    let (stop, stopping) = watch::channel(false);
    let (press, presses) = mpsc::channel(PRESSES);
    let (bells, ringing) = Bells::start(&settings.bell, press);

    let mut open = open_jobs(writer.book(), survey.open);
    let checks = Arc::new(Checks::new(writer.clone()));
    let mut last_checks = last_checks(writer.book());
    let mut doors = Vec::new();
    let mut lanes = JoinSet::new();
    for bench in &settings.benches {
        let (door, inbox) = Door::new(&bench.name, clock, LIMIT);
        let mut journal = Journal::new(writer.clone());
        let job = match open.remove(&bench.name) {
            Some(name) => resumed(&mut journal, &name, bench).await?,
            None => None,
        };
        let kept = (journal, Arc::clone(&checks));
        let mut lane = Lane::new(bench, job, kept, Some(bells.clone()), inbox, clock)?;
        if let Some(last) = last_checks.remove(&bench.name) {
            lane.remember(last);
        }
        lanes.spawn(lane.run(stopping.clone()));
        doors.push(door);
    }
    for (bench, job) in open {
        tracing::warn!(
            bench,
            job = job.as_str(),
            "the book holds an open job of a bench that the settings do not name"
        );
    }
    // Ends with the bells, which hold the other end.
    let pressing = tokio::spawn(carry_out(presses, doors.clone()));
    let page = front.view().clone();
    let house = Arc::new(House {
        settings,
        doors,
        page,
    });
    let serving = tokio::spawn(served.run(front, house, stopping));

    notify(&[sd_notify::NotifyState::Ready]);
    tracing::info!("panbell is ready");
    let mut watchdog = sd_notify::watchdog_enabled().map(|limit| {
        // The manager asks for a sign of life within the limit; half of it leaves room.
        let mut beat = interval((limit / 2).max(Duration::from_millis(100)));
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        beat
    });
    loop {
        let beat = async {
            match &mut watchdog {
                Some(beat) => drop(beat.tick().await),
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            _ = terminate.recv() => break,
            _ = interrupt.recv() => break,
            () = beat => notify(&[sd_notify::NotifyState::Watchdog]),
        }
    }

    notify(&[sd_notify::NotifyState::Stopping]);
    tracing::info!("stopping");
    let _all_gone = stop.send(true);
    while let Some(ended) = lanes.join_next().await {
        if let Err(error) = ended {
            tracing::error!(%error, "a bench ended badly");
        }
    }
    drop(bells);
    let both = async {
        let _ended = serving.await;
        ringing.finish().await;
    };
    if tokio::time::timeout(Duration::from_secs(3), both)
        .await
        .is_err()
    {
        tracing::warn!("a client or the desktop did not let go in time");
    }
    pressing.abort();
    Ok(())
}

/// The open job of every bench that has one. A file that cannot be read is named and left alone.
fn open_jobs(book: &BookView, names: Vec<JobName>) -> BTreeMap<String, JobName> {
    let mut open = BTreeMap::new();
    for name in names {
        match bench_of(book, &name) {
            Ok(Some(bench)) => {
                if let Some(other) = open.insert(bench.clone(), name.clone()) {
                    tracing::error!(
                        bench,
                        jobs = format!("{} and {}", other.as_str(), name.as_str()),
                        "the book holds two open jobs of one bench; the bench goes on with the second"
                    );
                }
            }
            Ok(None) => {}
            Err(trouble) => tracing::error!(job = name.as_str(), "{trouble}"),
        }
    }
    open
}

/// What went into the closed melts of the book, and what came out.
fn past_melts(survey: &Survey) -> Arc<[PastMelt]> {
    let closed = survey
        .closings
        .iter()
        .filter_map(|line| match Record::from_line(line) {
            Ok(Record::Close(closed)) => Some(closed),
            _ => None,
        });
    closed
        .filter_map(|closed| {
            let (went_in, button) = (closed.melt.mass(), closed.button?.mass());
            Some(PastMelt { went_in, button })
        })
        .collect()
}

/// The bench of an open job; none for a job that is closed, or of which nothing is recorded.
fn bench_of(book: &BookView, name: &JobName) -> Result<Option<String>, Trouble> {
    let bytes = book.read(name)?;
    let scan = scan(&bytes);
    if let Verdict::Damaged { line, why } = &scan.verdict {
        return Err(Trouble::new(
            "job-damaged",
            format!(
                "Job file {} is damaged at line {line}: {}.",
                name.file_name(),
                why.words()
            ),
            "It is not gone on with, and nothing is written to it.",
            "Keep it as it is; put back a good copy if there is one, then start again.",
        ));
    }
    if scan.lines.is_empty() {
        if !bytes.is_empty() {
            tracing::warn!(
                job = name.as_str(),
                bytes = bytes.len(),
                "a job file holds no whole record, so nothing of it was ever announced; it is set aside when its ticket is opened"
            );
        }
        return Ok(None);
    }
    let job = Job::read(scan.lines.iter().filter_map(|line| bytes.get(line.clone())))?;
    Ok(job.closed.is_none().then_some(job.opened.bench))
}

/// The open job of a bench; none, and said so, when its file cannot be gone on with.
async fn resumed(
    journal: &mut Journal,
    name: &JobName,
    bench: &BenchSettings,
) -> Result<Option<Job>, Trouble> {
    let job = match journal.resume(name).await {
        Ok(job) => job,
        Err(trouble) => {
            tracing::error!(job = name.as_str(), "{trouble}");
            return Ok(None);
        }
    };
    let (was, is) = (job.opened.division, bench.rules.pan.division);
    if was != is {
        return Err(Trouble::new(
            "job-other-division",
            format!(
                "Job {} is open and was weighed in steps of {was}; the settings of bench {} now say {is}.",
                name.as_str(),
                bench.name
            ),
            "One melt is not weighed in two units, so the service does not start; what was recorded stays.",
            format!("Set division back to \"{was}\", close the job, and change it then."),
        ));
    }
    tracing::info!(job = name.as_str(), "going on with the open job");
    Ok(Some(job))
}

fn notify(state: &[sd_notify::NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(state) {
        tracing::debug!(%error, "the service manager could not be told");
    }
}

fn cannot_start(error: &std::io::Error) -> Trouble {
    Trouble::new(
        "cannot-start",
        format!("The service cannot start: {error}."),
        "Nothing is weighed; job files are untouched.",
        "See the system's log; a limit on open files or memory may have been reached.",
    )
}
