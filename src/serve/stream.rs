//! Server-sent events of one follower.
//!
//! A follower keeps no queue of its own and no task: the next event is taken from what the bench
//! keeps when the client has room for it. For one that is so slow that it is not kept any more,
//! what was missed is replaced by the latest state. Every event has an id; one who names the last
//! that it heard (`Last-Event-ID`) goes on after it.

use std::convert::Infallible;
use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::response::sse::Event;
use futures_core::Stream;
use serde::Serialize;
use tokio::sync::watch;
use tokio::time::{Instant, sleep_until};

use super::devices::{Leave, left};
use super::door::Door;
use super::live::After;

/// How soon a client should come back when it was cut off.
const RETRY: Duration = Duration::from_secs(1);

/// How often every follower is told that it is connected, and how old the last reading is.
const BEAT: Duration = Duration::from_secs(1);

/// The events on their way to one follower.
pub(super) struct Follower {
    /// The next event, and what gives the one after it; none after the last.
    next: Option<Next>,
}

type Next = Pin<Box<dyn Future<Output = Option<(Event, Feed)>> + Send>>;

impl Follower {
    /// Follows a bench until the service stops: on from the last event that was heard, if it is
    /// still kept; else the whole state first.
    /// Sooner for a device that is forgotten.
    pub(super) fn start(
        door: Door,
        heard: Option<&str>,
        stopping: watch::Receiver<bool>,
        leave: Option<Leave>,
    ) -> Self {
        let told = door.live.follow();
        let missed = door.live.last();
        let after = heard.and_then(|id| door.live.number(id));
        let feed = Feed {
            after,
            missed,
            told,
            door,
            beat: Instant::now() + BEAT,
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
    /// The last event that it was given; none when it must have the whole state first.
    after: Option<u64>,
    /// Up to here it was cut off.
    missed: u64,
    told: watch::Receiver<u64>,
    door: Door,
    /// When the next beat is due.
    beat: Instant,
    end: End,
}

/// What ends a stream.
struct End {
    stopping: watch::Receiver<bool>,
    leave: Option<Leave>,
}

/// That the service is there, and how long ago the balance was read, in milliseconds.
#[derive(Serialize)]
struct Beat {
    t: u64,
    age: Option<u64>,
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
        let leave = self.leave.as_ref();
        leave.is_some_and(|leave| leave.has_changed().is_err())
    }
}

impl Feed {
    async fn next(mut self) -> Option<(Event, Self)> {
        loop {
            // Looked at first: at a busy bench there may always be something to tell.
            if self.end.is_forgotten() {
                return None;
            }
            if self.after.is_some() && self.beat <= Instant::now() {
                return Some((self.beats()?, self));
            }
            let after = self.after.map(|number| {
                self.told.mark_unchanged();
                self.door.live.after(number, self.missed)
            });
            match after {
                Some(After::Event(number, message)) => {
                    let event = Event::default()
                        .event(message.event)
                        .id(self.door.live.id(number))
                        .data(&*message.data);
                    self.after = Some(number);
                    return Some((event, self));
                }
                Some(After::Nothing) => {
                    // Biased: at a stop, what was told before it is still told.
                    tokio::select! {
                        biased;
                        told = self.told.changed() => told.ok()?,
                        () = sleep_until(self.beat) => {}
                        () = self.end.come() => return None,
                    }
                }
                Some(After::Lost) | None => {
                    if let Some((number, event)) = self.whole().await {
                        self.after = Some(number);
                        return Some((event, self));
                    }
                    // A bench that is waiting for its disk tells no state, but rings.
                    if *self.end.stopping.borrow() {
                        return None;
                    }
                    self.after = Some(self.door.live.last());
                }
            }
        }
    }

    fn beats(&mut self) -> Option<Event> {
        self.beat = Instant::now() + BEAT;
        let beat = Beat {
            t: self.door.live.moment(),
            age: self.door.live.age(),
        };
        Some(
            Event::default()
                .event("beat")
                .data(serde_json::to_string(&beat).ok()?),
        )
    }

    async fn whole(&mut self) -> Option<(u64, Event)> {
        let (number, view) = tokio::select! {
            biased;
            view = self.door.view_and_number() => view.ok()?,
            () = self.end.come() => return None,
        };
        let event = Event::default()
            .event("state")
            .id(self.door.live.id(number))
            .data(serde_json::to_string(&view).ok()?);
        Some((number, event))
    }
}
