//! The task that shows notices, and that nothing waits for: rings first, then what was pressed,
//! then progress. Leaves to others: the box of rings, and what stands on the desktop.

use std::sync::Arc;

use tokio::sync::mpsc;
use tokio::time::{Instant, sleep_until};

use super::desk::{Desk, Heard};
use super::limits;
use super::press::Press;
use super::sender::Shared;
use super::server::{Change, Server};
use super::waiting::Next;

/// Shows until the last sender is gone, and what was due has been tried once more.
pub(super) async fn run(
    shared: Arc<Shared>,
    mut woken: mpsc::Receiver<()>,
    presses: mpsc::Sender<Press>,
) {
    let (ear, mut heard) = mpsc::channel(limits::HEARD);
    let mut desk = Desk::new(Arc::clone(&shared), presses, ear);
    let mut ending = false;
    loop {
        let next = shared.rings().take(Instant::now());
        let pause = match next {
            Next::Show(ring) => {
                desk.ring(ring).await;
                continue;
            }
            Next::Pause(_) | Next::Idle if ending => return,
            Next::Pause(until) => Some(until),
            Next::Idle => None,
        };
        let progress = desk.progress_due();
        if let Some((bench, due)) = &progress
            && *due <= Instant::now()
        {
            desk.show_progress(bench).await;
            continue;
        }
        let wake = pause.into_iter().chain(progress.map(|(_, due)| due)).min();
        tokio::select! {
            news = woken.recv() => ending = news.is_none(),
            // Never closed: the desk holds the other end.
            Some(news) = heard.recv() => hear(&mut desk, news).await,
            change = changed(&mut desk.server) => desk.changed(change),
            () = at(wake) => {}
        }
    }
}

async fn hear(desk: &mut Desk, news: Heard) {
    match news {
        Heard::Pressed { bench, key } => desk.pressed(&bench, &key).await,
        Heard::Closed { bench, number } => desk.closed(&bench, number),
        Heard::Answered { bench, act, answer } => desk.answered(&bench, act, answer).await,
    }
}

/// Waits for a change of the service; for ever, while nothing is watched.
async fn changed(server: &mut Option<Server>) -> Change {
    match server {
        Some(server) => server.change().await,
        None => std::future::pending().await,
    }
}

/// Waits for a moment; for ever, where there is none.
async fn at(moment: Option<Instant>) {
    match moment {
        Some(moment) => sleep_until(moment).await,
        None => std::future::pending().await,
    }
}
