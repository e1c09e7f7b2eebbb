//! The bells' front: whoever rings, tells or asks does it here, and never waits. Leaves to others:
//! every way of telling.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::timeout;

use super::sound::Sound;
use super::speech::Speech;
use super::waiting::Rings;
use super::{PanNow, Peal, Press, desktop, limits};
use crate::settings::BellSettings;
use crate::trouble::Trouble;

/// The bells of the service.
#[derive(Debug)]
pub struct Bells;

impl Bells {
    /// Starts what the settings ask for. Must be called within the runtime. What is pressed on a
    /// notice is sent to `presses`, and dropped where that is full or gone. The task that shows
    /// notices ends when the last sender is gone and what was due has been tried once more.
    pub fn start(settings: &BellSettings, presses: mpsc::Sender<Press>) -> (BellSender, BellTask) {
        let shared = Arc::new(Shared::default());
        let (wake, task) = if settings.desktop {
            let (wake, woken) = mpsc::channel(1);
            let task = tokio::spawn(desktop::run(Arc::clone(&shared), woken, presses));
            (Some(wake), Some(task))
        } else {
            (None, None)
        };
        let sender = BellSender {
            shared,
            wake,
            sound: settings.sound.as_ref().and_then(Sound::start),
            speech: settings.speech.then(Speech::start).flatten(),
        };
        (sender, BellTask { task })
    }
}

/// Rings the bells. Cheap to clone, may be used from any thread.
#[derive(Debug, Clone)]
pub struct BellSender {
    shared: Arc<Shared>,
    wake: Option<mpsc::Sender<()>>,
    sound: Option<Sound>,
    speech: Option<Speech>,
}

impl BellSender {
    /// Rings. Never waits and never fails; what is promised of a ring stands in [`crate::bell`].
    pub fn ring(&self, peal: Peal) {
        self.say(&format!("{}. {}", peal.ring.title, peal.ring.text));
        if self.wake.is_some() {
            self.shared.rings().put(peal);
            self.wake();
        }
    }

    /// Where the pan of a bench stands: to be told after every reading.
    pub fn pan(&self, bench: &str, now: PanNow) {
        if let Some(sound) = &self.sound {
            sound.ask(bench, now.tune);
        }
        if self.wake.is_some() && self.shared.put_progress(bench, now.progress) {
            self.wake();
        }
    }

    /// A bench was given an order: what its notice offers is not to be pressed any more.
    pub fn ordered(&self, bench: &str) {
        if self.wake.is_some() {
            self.shared.rings().gone_on(bench);
        }
    }

    /// Speaks, where that is asked for, in place of what is being spoken.
    pub fn say(&self, sentence: &str) {
        if let Some(speech) = &self.speech {
            speech.say(sentence);
        }
    }

    /// What keeps notices from being shown, as far as the last ring could tell.
    pub fn trouble(&self) -> Option<Trouble> {
        self.shared.trouble().clone()
    }

    fn wake(&self) {
        if let Some(wake) = &self.wake {
            // A full channel means that the task is about to look anyway.
            wake.try_send(()).ok();
        }
    }
}

/// The running task. Dropping it leaves the task running.
#[derive(Debug)]
pub struct BellTask {
    task: Option<JoinHandle<()>>,
}

impl BellTask {
    /// Lets the last rings be shown, for two seconds at most. Drop every sender first.
    pub async fn finish(self) {
        if let Some(mut task) = self.task
            && timeout(limits::FINISH, &mut task).await.is_err()
        {
            task.abort();
        }
    }
}

/// What senders and the task share. What is behind the locks is whole at every moment, so a panic
/// elsewhere does not spoil it.
#[derive(Debug, Default)]
pub(super) struct Shared {
    rings: Mutex<Rings>,
    progress: Mutex<BTreeMap<String, u8>>,
    trouble: Mutex<Option<Trouble>>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shared {
    pub(super) fn rings(&self) -> MutexGuard<'_, Rings> {
        lock(&self.rings)
    }

    pub(super) fn trouble(&self) -> MutexGuard<'_, Option<Trouble>> {
        lock(&self.trouble)
    }

    /// How far the addition of a bench is, in hundredths; none without one.
    pub(super) fn progress(&self, bench: &str) -> Option<u8> {
        lock(&self.progress).get(bench).copied()
    }

    /// Says whether it changed.
    fn put_progress(&self, bench: &str, progress: Option<u8>) -> bool {
        let mut all = lock(&self.progress);
        match (all.get_mut(bench), progress) {
            (Some(known), Some(now)) => std::mem::replace(known, now) != now,
            (None, Some(now)) => {
                all.insert(bench.to_owned(), now);
                true
            }
            (Some(_), None) => all.remove(bench).is_some(),
            (None, None) => false,
        }
    }
}
