//! Server-sent events of one follower.
//!
//! Each follower has a task and a short queue of its own. When its queue is full the task waits,
//! the bench's channel runs ahead, and what was missed is replaced by the latest state.

use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

use axum::response::sse::Event;
use futures_core::Stream;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{mpsc, watch};

use super::door::{Door, Message};

/// The events on their way to one follower.
pub(super) struct Follower(mpsc::Receiver<Event>);

/// Events that may wait for a slow follower before it is skipped ahead.
const QUEUE: usize = 8;

impl Follower {
    /// Follows a bench: the whole state first, then every event, until the service stops.
    pub(super) fn start(door: Door, stopping: watch::Receiver<bool>) -> Self {
        let (queue, events) = mpsc::channel(QUEUE);
        tokio::spawn(feed(door, queue, stopping));
        Self(events)
    }
}

impl Stream for Follower {
    type Item = Result<Event, Infallible>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        self.0.poll_recv(context).map(|event| event.map(Ok))
    }
}

async fn feed(door: Door, queue: mpsc::Sender<Event>, mut stopping: watch::Receiver<bool>) {
    let mut live = door.follow();
    let mut next = whole(&door).await;
    loop {
        if let Some(event) = next.take()
            && queue.send(event).await.is_err()
        {
            return;
        }
        tokio::select! {
            message = live.recv() => match message {
                Ok(message) => next = Some(event(&message)),
                Err(RecvError::Lagged(_)) => next = whole(&door).await,
                Err(RecvError::Closed) => return,
            },
            () = queue.closed() => return,
            _ = stopping.changed() => return,
        }
    }
}

async fn whole(door: &Door) -> Option<Event> {
    let view = door.view().await.ok()?;
    Some(
        Event::default()
            .event("state")
            .data(serde_json::to_string(&view).ok()?),
    )
}

fn event(message: &Message) -> Event {
    Event::default().event(message.event).data(&*message.data)
}
