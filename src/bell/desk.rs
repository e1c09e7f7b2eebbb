//! What stands on the desktop: one notice a bench, replaced and not stacked, and beside it at most
//! one further notice, of what was pressed for. Leaves to others: what is due, and how a notice
//! looks.
//!
//! Habits of desktops shape this file.
//!
//! A notice has the number that the desktop gave it. The next one of the bench carries that
//! number, and the number that comes back is kept, whether it is the same or not. Once the service
//! is another one, old numbers may be those of other programs' notices, and are forgotten.
//!
//! A connection stands behind a notice, a new one each time, and some desktops take all our
//! notices away when the connection closes over which the first of them was *made*, even if
//! it was replaced over others since. So the connection of the newest notice of each bench stays
//! open, and with it the last few over which a notice was made. Some tell only the newest connection
//! of what was pressed, and some tell all: one press is counted once, by the key that it carries.
//!
//! Whether a press or a closing is ever told is the desktop's affair: nothing here waits for it.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;

use notify_rust::{NotificationHandle, NotificationResponse};
use tokio::sync::{mpsc, oneshot};
use tokio::task::AbortHandle;
use tokio::time::{Instant, timeout};

use super::failure::Failure;
use super::limits;
use super::notice::{self, Content};
use super::press::{Act, Press, Told};
use super::sender::Shared;
use super::server::{Can, Change, Server};
use super::waiting::Waiting;
use crate::job::BellKind;
use crate::trouble::Trouble;

/// What comes back from a notice.
pub(super) enum Heard {
    /// A button was pressed.
    Pressed { bench: String, key: String },
    /// It went away, by the person's hand or by its time.
    Closed { bench: String, number: u32 },
    /// What came of a press.
    Answered {
        bench: String,
        act: Act,
        answer: Result<Told, Trouble>,
    },
}

/// The newest notice of a bench.
struct Shown {
    handle: Arc<NotificationHandle>,
    /// Whether the notice was made over this connection, or only replaced.
    made: bool,
    /// What listens for presses.
    listening: AbortHandle,
    /// What it says, and the ring behind it.
    content: Content,
    ring: Waiting,
    at: Instant,
    /// Whether it still stands, as far as the desktop tells.
    stands: bool,
    /// Whether its button was pressed: once is enough.
    pressed: bool,
}

impl Drop for Shown {
    fn drop(&mut self) {
        self.listening.abort();
    }
}

/// What stands on the desktop.
pub(super) struct Desk {
    shared: Arc<Shared>,
    presses: mpsc::Sender<Press>,
    ear: mpsc::Sender<Heard>,
    pub(super) server: Option<Server>,
    can: Can,
    shown: HashMap<String, Shown>,
    further: HashMap<String, NotificationHandle>,
    makers: VecDeque<Arc<NotificationHandle>>,
}

impl Desk {
    pub(super) fn new(
        shared: Arc<Shared>,
        presses: mpsc::Sender<Press>,
        ear: mpsc::Sender<Heard>,
    ) -> Self {
        Self {
            shared,
            presses,
            ear,
            server: None,
            can: Can::default(),
            shown: HashMap::new(),
            further: HashMap::new(),
            makers: VecDeque::new(),
        }
    }

    /// Shows a ring, or gives it back to the box.
    pub(super) async fn ring(&mut self, ring: Waiting) {
        let kind = ring.peal.ring.kind;
        let content = Content {
            bench: ring.peal.bench.clone(),
            kind,
            title: ring.peal.ring.title.clone(),
            note: String::new(),
            text: ring.peal.ring.text.clone(),
            act: Act::on(kind).map(|act| (act, ring.turn)),
            progress: self.progress(&ring.peal.bench, kind),
            quiet: false,
            long: false,
        };
        match self.show(&content).await {
            Ok((handle, in_time)) => {
                self.keep(content, ring, handle);
                // One that always answers late is not well, and is not to be told of each time.
                if in_time && self.shared.trouble().take().is_some() {
                    tracing::info!("Notices are shown on the desktop again.");
                    self.shared.rings().all_due();
                }
            }
            Err(failure) => {
                if failure.forgets() {
                    self.forget();
                }
                if matches!(failure, Failure::NoBus(_)) {
                    self.server = None;
                }
                self.complain(failure);
                self.shared.rings().give_back(ring, Instant::now());
            }
        }
    }

    /// How far an addition is, where that says something beside the news.
    fn progress(&self, bench: &str, kind: BellKind) -> Option<u8> {
        let follows = matches!(
            kind,
            BellKind::Near | BellKind::Within | BellKind::Over | BellKind::UnderAgain
        );
        follows.then(|| self.shared.progress(bench)).flatten()
    }

    /// The next bench whose notice shows an old progress, and when it may be shown anew. On a
    /// desktop without bars it would only flash.
    pub(super) fn progress_due(&self) -> Option<(String, Instant)> {
        if !self.can.value {
            return None;
        }
        let old = self.shown.iter().filter(|(bench, shown)| {
            let now = self.progress(bench, shown.content.kind);
            shown.stands && now.is_some() && now != shown.content.progress
        });
        old.map(|(bench, shown)| (bench.clone(), shown.at + limits::PROGRESS))
            .min_by_key(|(_, due)| *due)
    }

    /// Shows a bench's notice anew with the progress of now.
    pub(super) async fn show_progress(&mut self, bench: &str) {
        if let Some(shown) = self.shown.get(bench) {
            let mut content = shown.content.clone();
            content.progress = self.progress(bench, content.kind);
            content.quiet = true;
            self.show_again(bench, content).await;
        }
    }

    /// Shows something else, or the same anew, in place of a bench's notice. Where that cannot be,
    /// the notice stays as it is.
    async fn show_again(&mut self, bench: &str, content: Content) {
        let shown = self.show(&content).await;
        let Some(before) = self.shown.get_mut(bench) else {
            return;
        };
        // Not tried again at once, whatever came of it.
        before.at = Instant::now();
        let (ring, pressed) = (before.ring.clone(), before.pressed);
        match shown {
            Ok((handle, _)) => {
                self.keep(content, ring, handle);
                if let Some(shown) = self.shown.get_mut(bench) {
                    shown.pressed = pressed;
                }
            }
            Err(failure) => {
                before.stands = false;
                if failure.forgets() {
                    self.forget();
                }
                self.complain(failure);
            }
        }
    }

    /// Shows; says with it whether the desktop answered in time.
    async fn show(&mut self, content: &Content) -> Result<(NotificationHandle, bool), Failure> {
        if self.server.is_none() {
            self.server = Server::watch().await;
        }
        self.can = match &mut self.server {
            Some(server) => server.can().await,
            None => Can::default(),
        };
        let replaces = if content.long {
            self.further.get(&content.bench).map(NotificationHandle::id)
        } else {
            self.shown.get(&content.bench).map(|it| it.handle.id())
        };
        // In a task of its own, so that a panic in there ends one notice and not the bells.
        let mut call = tokio::spawn(send(content.clone(), self.can, replaces));
        let (answer, in_time) = if let Ok(answer) = timeout(limits::ANSWER, &mut call).await {
            (answer, true)
        } else {
            self.complain(Failure::Silent);
            (call.await, false)
        };
        let handle = answer.unwrap_or(Err(Failure::Broke))?;
        Ok((handle, in_time))
    }

    fn keep(&mut self, content: Content, ring: Waiting, handle: NotificationHandle) {
        let bench = content.bench.clone();
        let replaced = self.shown.get(&bench).map(|it| it.handle.id());
        let handle = Arc::new(handle);
        let shown = Shown {
            made: replaced != Some(handle.id()),
            listening: self.listen(&bench, Arc::clone(&handle)),
            handle,
            content,
            ring,
            at: Instant::now(),
            stands: true,
            pressed: false,
        };
        let old = self.shown.insert(bench, shown);
        if let Some(old) = old.filter(|old| old.made) {
            self.makers.push_back(Arc::clone(&old.handle));
        }
        while self.makers.len() > limits::KEPT {
            self.makers.pop_front();
        }
    }

    /// Listens for what is pressed on a notice, until it is replaced.
    fn listen(&self, bench: &str, handle: Arc<NotificationHandle>) -> AbortHandle {
        let (ear, bench) = (self.ear.clone(), bench.to_owned());
        let listening = async move {
            let number = handle.id();
            let hear = |response: &NotificationResponse| {
                let news = match response {
                    NotificationResponse::Action(key) => Heard::Pressed {
                        bench,
                        key: key.clone(),
                    },
                    NotificationResponse::Closed(_) => Heard::Closed { bench, number },
                    _ => return,
                };
                ear.try_send(news).ok();
            };
            handle.wait_for_action_async(hear).await;
        };
        tokio::spawn(listening).abort_handle()
    }

    /// A button was pressed: it becomes an order, if it stands on the newest news.
    pub(super) async fn pressed(&mut self, bench: &str, key: &str) {
        let Some((act, turn)) = Act::of_key(key) else {
            return;
        };
        let Some(shown) = self.shown.get_mut(bench) else {
            return;
        };
        if shown.pressed && shown.ring.turn == turn {
            return;
        }
        shown.pressed = true;
        let is_newest = self.shared.rings().is_newest(bench, turn);
        // Why it holds may be asked at any time; an order given meanwhile changes nothing in that.
        if act != Act::Why && !is_newest {
            let stale = Trouble::new(
                "press-late",
                "The bench has gone on since this was shown.",
                "Nothing was done.",
                "Give the order itself if it is still meant: panbell take, or panbell withdraw.",
            );
            return self.answered(bench, act, Err(stale)).await;
        }
        let (answer, answered) = oneshot::channel();
        let press = Press {
            bench: bench.to_owned(),
            act,
            answer,
        };
        if self.presses.try_send(press).is_err() {
            return self.answered(bench, act, Err(busy())).await;
        }
        let (ear, bench) = (self.ear.clone(), bench.to_owned());
        tokio::spawn(async move {
            let answer = match timeout(limits::PRESS, answered).await {
                Ok(Ok(answer)) => answer,
                _ => Err(busy()),
            };
            let news = Heard::Answered { bench, act, answer };
            ear.send(news).await.ok();
        });
    }

    /// Tells what came of a press. What was taken rings by itself.
    pub(super) async fn answered(&mut self, bench: &str, act: Act, answer: Result<Told, Trouble>) {
        // News of the bench takes the place of this anyway.
        let is_old_news = self.shared.rings().has_news(bench);
        let Some(shown) = self.shown.get(bench) else {
            return;
        };
        let mut content = shown.content.clone();
        content.quiet = true;
        match (act, answer) {
            (Act::Take, Ok(_)) => return,
            (Act::Withdraw, Ok(told)) => {
                (content.title, content.text) = (told.title, told.text);
                (content.note, content.act) = (String::new(), None);
            }
            (Act::Why, Ok(told)) => {
                self.show_further(bench, content.kind, told).await;
                // Some desktops put a notice away once it was pressed; a hold is to be seen.
                if let Some(shown) = self.shown.get_mut(bench) {
                    shown.pressed = false;
                }
            }
            (act, Err(trouble)) => {
                content.note = format!("{}: {trouble}", act.not_done());
                // A further try needs no new news, if this is still the newest.
                if let Some(shown) = self.shown.get_mut(bench) {
                    shown.pressed = false;
                }
            }
        }
        if !is_old_news {
            self.show_again(bench, content).await;
        }
    }

    async fn show_further(&mut self, bench: &str, kind: BellKind, told: Told) {
        let content = Content {
            bench: bench.to_owned(),
            kind,
            title: told.title,
            note: String::new(),
            text: told.text,
            act: None,
            progress: None,
            quiet: true,
            long: true,
        };
        match self.show(&content).await {
            Ok((handle, _)) => drop(self.further.insert(bench.to_owned(), handle)),
            Err(failure) => self.complain(failure),
        }
    }

    /// A notice went away: there is nothing to bring up to date any more.
    pub(super) fn closed(&mut self, bench: &str, number: u32) {
        if let Some(shown) = self.shown.get_mut(bench)
            && shown.handle.id() == number
        {
            shown.stands = false;
        }
    }

    /// The service went away or another one came. What must not be missed and still stood is shown
    /// once more there.
    pub(super) fn changed(&mut self, change: Change) {
        if change == Change::NoBus {
            self.server = None;
        }
        let mut rings = self.shared.rings();
        for (bench, shown) in &self.shown {
            if shown.stands && shown.ring.is_critical() && !rings.has_news(bench) {
                rings.give_back(shown.ring.clone(), Instant::now());
            }
        }
        if change == Change::Came {
            rings.all_due();
        }
        drop(rings);
        self.forget();
    }

    /// The notices are gone with their numbers.
    fn forget(&mut self) {
        self.shown.clear();
        self.further.clear();
        self.makers.clear();
    }

    /// Says what is wrong, once, until a notice has been shown in between.
    fn complain(&self, failure: Failure) {
        let trouble = failure.trouble();
        if self.shared.trouble().replace(trouble.clone()).is_none() {
            tracing::warn!(
                code = trouble.code,
                means = trouble.means,
                mend = trouble.mend,
                "{}",
                trouble.happened
            );
        }
    }
}

async fn send(
    content: Content,
    can: Can,
    replaces: Option<u32>,
) -> Result<NotificationHandle, Failure> {
    let notice = notice::notice(&content, can, replaces);
    match timeout(limits::GIVE_UP, notice.show_async()).await {
        Ok(Ok(handle)) => Ok(handle),
        Ok(Err(error)) => Err(Failure::of(&error.to_string())),
        Err(_) => Err(Failure::Silent),
    }
}

fn busy() -> Trouble {
    Trouble::new(
        "press-unanswered",
        "The bench did not answer what was pressed.",
        "Whether it was done is not known here; what is recorded stands in the job file.",
        "Look with panbell follow, then give the order itself if it was not.",
    )
    .passing()
}
