//! Server-sent events of one follower.
//!
//! A follower keeps no queue of its own and no task: the next event is taken from what the bench
//! keeps when the client has room for it, and then what is late and was replaced is left out. One that
//! is so slow that what it missed is not kept any more gets the latest state in its place. Every event
//! has an id; one who names the last that it heard (`Last-Event-ID`) gets the bells that it missed and
//! the whole state as it is now, and nothing that is old. Once a second a beat says that all this is
//! there, and how old the last reading is.

use std::convert::Infallible;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::response::sse::Event;
use futures_core::Stream;
use serde::Serialize;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

use super::devices::{Leave, left};
use super::door::Door;
use super::live::{After, Message};
use super::wire::Wire;

/// How soon a client should come back when it was cut off.
const RETRY: Duration = Duration::from_secs(1);
/// From one beat to the next.
const BEAT: Duration = Duration::from_secs(1);

/// The events on their way to one follower.
pub(super) struct Follower {
    /// The next event, and what gives the one after it; none after the last.
    next: Option<Next>,
}

type Next = Pin<Box<dyn Future<Output = Option<(Event, Feed)>> + Send>>;

impl Follower {
    /// Follows a bench until the service stops: the bells that were missed since the last event that
    /// was heard, if they are still kept, then the whole state, then what comes.
    /// Sooner for a device that is forgotten.
    pub(super) fn start(
        door: Door,
        heard: Option<&str>,
        stopping: watch::Receiver<bool>,
        leave: Option<Leave>,
        wire: Option<Arc<Wire>>,
    ) -> Self {
        let feed = Feed {
            after: heard.and_then(|id| door.live.number(id)),
            is_whole: false,
            beat: Instant::now() + BEAT,
            told: door.live.follow(),
            door,
            wire,
            end: End { stopping, leave },
        };
        let first = async { feed.next().await.map(first_of_all) };
        Self {
            next: Some(Box::pin(first)),
        }
    }
}

fn first_of_all((event, feed): (Event, Feed)) -> (Event, Feed) {
    (event.retry(RETRY), feed)
}

impl Stream for Follower {
    type Item = Result<Event, Infallible>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let Some(next) = &mut self.next else {
            return Poll::Ready(None);
        };
        let Poll::Ready(came) = next.as_mut().poll(context) else {
            return Poll::Pending;
        };
        let (event, next) = match came {
            Some((event, feed)) => (Some(Ok(event)), Some(Box::pin(feed.next()) as Next)),
            None => (None, None),
        };
        self.next = next;
        Poll::Ready(event)
    }
}

/// What the events of a follower come from.
struct Feed {
    /// The last event that it was given, or that its state holds.
    after: Option<u64>,
    /// It has the whole state; what comes after that event is all that it lacks.
    is_whole: bool,
    /// When the next beat is due.
    beat: Instant,
    told: watch::Receiver<u64>,
    door: Door,
    wire: Option<Arc<Wire>>,
    end: End,
}

/// What ends a stream.
struct End {
    stopping: watch::Receiver<bool>,
    leave: Option<Leave>,
}

impl End {
    /// Comes when the service stops or the device is forgotten.
    async fn come(&mut self) {
        tokio::select! {
            _ = self.stopping.changed() => {}
            () = left(self.leave.clone()) => {}
        }
    }

    fn is_forgotten(&self) -> bool {
        self.leave.as_ref().is_some_and(Leave::is_over)
    }
}

impl Feed {
    async fn next(mut self) -> Option<(Event, Self)> {
        loop {
            // Looked at first: at a busy bench there may always be something to tell.
            if self.end.is_forgotten() {
                return None;
            }
            if let Some(wire) = self.wire.clone() {
                tokio::select! {
                    biased;
                    () = wire.room() => {}
                    () = self.end.come() => return None,
                }
            }
            let Some(after) = self.after.filter(|_| self.is_whole) else {
                let event = self.catch_up().await?;
                return Some((event, self));
            };
            // Before what is told: a busy bench must not put it off.
            if self.beat <= Instant::now() {
                self.beat = Instant::now() + BEAT;
                let event = self.event("beat", after, &self.door.live.beat())?;
                return Some((event, self));
            }
            self.told.mark_unchanged();
            match self.door.live.after(after) {
                After::Event(number, message) => {
                    self.after = Some(number);
                    let event = self.told(number, &message);
                    return Some((event, self));
                }
                After::Nothing => {
                    // Biased: at a stop, what was told before it is still told.
                    tokio::select! {
                        biased;
                        told = self.told.changed() => told.ok()?,
                        () = self.end.come() => return None,
                        () = sleep_until(self.beat) => {}
                    }
                }
                After::Lost => (self.after, self.is_whole) = (None, false),
            }
        }
    }

    /// The next of what one lacks who was cut off or comes anew: a bell that it missed, or, when it has
    /// all of them, the whole state.
    async fn catch_up(&mut self) -> Option<Event> {
        let (number, view) = tokio::select! {
            biased;
            view = self.door.view_and_number() => view.ok()?,
            () = self.end.come() => return None,
        };
        if let Some(after) = self.after
            && let After::Event(missed, bell) = self.door.live.bell_after(after, number)
        {
            self.after = Some(missed);
            return Some(self.told(missed, &bell));
        }
        (self.after, self.is_whole) = (Some(number), true);
        self.event("state", number, &view)
    }

    fn told(&self, number: u64, message: &Message) -> Event {
        Event::default()
            .event(message.kind.word())
            .id(self.door.live.id(number))
            .data(&*message.data)
    }

    fn event(&self, name: &str, number: u64, data: &impl Serialize) -> Option<Event> {
        let event = Event::default().event(name).id(self.door.live.id(number));
        Some(event.data(serde_json::to_string(data).ok()?))
    }
}
