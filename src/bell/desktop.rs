//! Desktop notifications: one notice a bench, replaced and not stacked, shown by a task that
//! nothing waits for. Leaves to the box what is due, and to the notice how it looks.
//!
//! Two habits of desktops shape this file.
//!
//! A notice has the number that the desktop gave it. The next one of the bench carries that
//! number, and the number that comes back is kept, whether it is the same or not. After the
//! person put the notice away, or the notification service was started anew, the number means
//! nothing any more, a new one comes back, and all is well again.
//!
//! A connection stands behind a notice, a new one each time, and some desktops take all our
//! notices away when the connection closes over which the first of them was *made*, even if
//! it was replaced over others since. So the connection of the newest notice of each bench stays
//! open, and with it the last few over which a notice was made.

use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use notify_rust::NotificationHandle;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::{Instant, sleep_until, timeout};

use super::failure::Failure;
use super::waiting::{Next, Rings, Waiting};
use super::{Peal, limits, notice};
use crate::trouble::Trouble;

/// The bells of the service.
#[derive(Debug)]
pub struct Bells;

impl Bells {
    /// Starts the task that shows notices. Must be called within the runtime; the task ends when
    /// the last sender is gone and what was due has been tried once more.
    pub fn start() -> (BellSender, BellTask) {
        let shared = Arc::new(Shared::default());
        let (wake, woken) = mpsc::channel(1);
        let task = tokio::spawn(run(Arc::clone(&shared), woken));
        (BellSender { shared, wake }, BellTask { task })
    }
}

/// Rings the bells. Cheap to clone, may be used from any thread.
#[derive(Debug, Clone)]
pub struct BellSender {
    shared: Arc<Shared>,
    wake: mpsc::Sender<()>,
}

impl BellSender {
    /// Rings. Never waits and never fails; what is promised of a ring stands in [`crate::bell`].
    pub fn ring(&self, peal: Peal) {
        lock(&self.shared.rings).put(peal);
        // A full channel means that the task is about to look anyway.
        self.wake.try_send(()).ok();
    }

    /// What keeps notices from being shown, as far as the last ring could tell.
    pub fn trouble(&self) -> Option<Trouble> {
        lock(&self.shared.trouble).clone()
    }
}

/// The running task. Dropping it leaves the task running.
#[derive(Debug)]
pub struct BellTask {
    task: JoinHandle<()>,
}

impl BellTask {
    /// Lets the last rings be shown, for two seconds at most. Drop every sender first.
    pub async fn finish(mut self) {
        if timeout(limits::FINISH, &mut self.task).await.is_err() {
            self.task.abort();
        }
    }
}

#[derive(Debug, Default)]
struct Shared {
    rings: Mutex<Rings>,
    trouble: Mutex<Option<Trouble>>,
}

/// What is behind the locks is whole at every moment, so a panic elsewhere does not spoil it.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

async fn run(shared: Arc<Shared>, mut woken: mpsc::Receiver<()>) {
    let mut desk = Desk::default();
    let mut ending = false;
    loop {
        let next = lock(&shared.rings).take(Instant::now());
        match next {
            Next::Show(ring) => desk.show(ring, &shared).await,
            Next::Pause(_) | Next::Idle if ending => return,
            Next::Pause(until) => tokio::select! {
                () = sleep_until(until) => {}
                news = woken.recv() => ending = news.is_none(),
            },
            Next::Idle => ending = woken.recv().await.is_none(),
        }
    }
}

/// The newest notice of a bench.
struct Shown {
    handle: NotificationHandle,
    /// Whether the notice was made over this connection, or only replaced.
    made: bool,
}

/// What stands on the desktop.
#[derive(Default)]
struct Desk {
    shown: HashMap<String, Shown>,
    makers: VecDeque<NotificationHandle>,
}

impl Desk {
    async fn show(&mut self, ring: Waiting, shared: &Shared) {
        let replaces = self.shown.get(&ring.peal.bench).map(|it| it.handle.id());
        // In a task of its own, so that a panic in there ends one notice and not the bells.
        let mut call = tokio::spawn(send(ring.peal.clone(), replaces));
        let (answer, in_time) = if let Ok(answer) = timeout(limits::ANSWER, &mut call).await {
            (answer, true)
        } else {
            complain(shared, Failure::Silent);
            (call.await, false)
        };
        match answer.unwrap_or(Err(Failure::Broke)) {
            Ok(handle) => {
                self.keep(ring.peal.bench, handle, replaces);
                // One that always answers late is not well, and is not to be told of each time.
                if in_time && lock(&shared.trouble).take().is_some() {
                    tracing::info!("Notices are shown on the desktop again.");
                    lock(&shared.rings).all_due();
                }
            }
            Err(failure) => {
                if failure.forgets() {
                    self.shown.clear();
                    self.makers.clear();
                }
                complain(shared, failure);
                lock(&shared.rings).give_back(ring, Instant::now());
            }
        }
    }

    fn keep(&mut self, bench: String, handle: NotificationHandle, replaces: Option<u32>) {
        let made = replaces != Some(handle.id());
        let old = self.shown.insert(bench, Shown { handle, made });
        if let Some(old) = old.filter(|old| old.made) {
            self.makers.push_back(old.handle);
        }
        while self.makers.len() > limits::KEPT {
            self.makers.pop_front();
        }
    }
}

async fn send(peal: Peal, replaces: Option<u32>) -> Result<NotificationHandle, Failure> {
    let notice = notice::notice(&peal, replaces);
    match timeout(limits::GIVE_UP, notice.show_async()).await {
        Ok(Ok(handle)) => Ok(handle),
        Ok(Err(error)) => Err(Failure::of(&error.to_string())),
        Err(_) => Err(Failure::Silent),
    }
}

/// Says what is wrong, once, until a notice has been shown in between.
fn complain(shared: &Shared, failure: Failure) {
    let trouble = failure.trouble();
    if lock(&shared.trouble).replace(trouble.clone()).is_none() {
        tracing::warn!(
            code = trouble.code,
            means = trouble.means,
            mend = trouble.mend,
            "{}",
            trouble.happened
        );
    }
}
