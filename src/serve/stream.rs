//! Server-sent events of one follower.
//!
//! A follower keeps no queue of its own and no task: the next event is taken from the bench's
//! channel when the client has room for it. For one that is slow the channel runs ahead, and what
//! was missed is replaced by the latest state.

use std::convert::Infallible;
use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};

use axum::response::sse::Event;
use futures_core::Stream;
use tokio::sync::broadcast::{self, error::RecvError};
use tokio::sync::watch;

use super::door::{Door, Message};

/// The events on their way to one follower.
pub(super) struct Follower {
    /// The next event, and what gives the one after it; none after the last.
    next: Option<Next>,
}

type Next = Pin<Box<dyn Future<Output = Option<(Event, Feed)>> + Send>>;

impl Follower {
    /// Follows a bench: the whole state first, then every event, until the service stops.
    pub(super) fn start(door: Door, stopping: watch::Receiver<bool>) -> Self {
        let feed = Feed {
            live: door.follow(),
            door,
            stopping,
        };
        Self {
            next: Some(Box::pin(feed.first())),
        }
    }
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
    door: Door,
    live: broadcast::Receiver<Message>,
    stopping: watch::Receiver<bool>,
}

impl Feed {
    async fn first(self) -> Option<(Event, Self)> {
        match self.whole().await {
            Some(event) => Some((event, self)),
            None => self.next().await,
        }
    }

    async fn next(mut self) -> Option<(Event, Self)> {
        loop {
            // Biased: at a stop, what was told before it is still told.
            let told = tokio::select! {
                biased;
                message = self.live.recv() => match message {
                    Ok(message) => Some(event(&message)),
                    Err(RecvError::Lagged(_)) => self.whole().await,
                    Err(RecvError::Closed) => return None,
                },
                _ = self.stopping.changed() => return None,
            };
            if let Some(event) = told {
                return Some((event, self));
            }
        }
    }

    async fn whole(&self) -> Option<Event> {
        let view = self.door.view().await.ok()?;
        Some(
            Event::default()
                .event("state")
                .data(serde_json::to_string(&view).ok()?),
        )
    }
}

fn event(message: &Message) -> Event {
    Event::default().event(message.event).data(&*message.data)
}
