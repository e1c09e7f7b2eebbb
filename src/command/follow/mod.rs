//! `panbell follow`: a bench live, as a beam in text on a terminal, one calm line where there is
//! little room, or JSON, one event a line.

mod age;
mod beam;
mod screen;
mod shown;

use std::time::Duration;

use clap::Args;
use rustix::event::{PollFd, PollFlags, poll};
use rustix::io::Errno;

use super::client::{Client, Events, runtime};
use super::output::Output;
use super::{BenchArg, Common, Ended};
use crate::trouble::Trouble;
use age::Age;
pub(super) use screen::Screen;

/// Watch a bench live.
#[derive(Debug, Args)]
pub(super) struct Follow {
    /// One line that is rewritten, instead of the beam
    #[arg(long)]
    line: bool,
    #[command(flatten)]
    bench: BenchArg,
}

/// How soon a service that stopped is looked for again.
const AGAIN: Duration = Duration::from_secs(1);
/// How often it is looked at whether what is shown has become old.
const LOOKS: Duration = Duration::from_millis(250);

impl Follow {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let client = Client::of(common)?;
        runtime()?.block_on(async {
            tokio::select! {
                ended = self.follow(&client, output) => ended,
                () = reader_gone() => Ok(Ended::Done),
            }
        })
    }

    async fn follow(&self, client: &Client, output: &Output) -> Result<Ended, Trouble> {
        let mut screen = if self.line {
            Screen::one_line()
        } else {
            Screen::new()
        };
        let mut age = Age::asked();
        let mut events = client.follow(self.bench.bench.as_deref()).await?;
        let mut resized =
            tokio::signal::unix::signal(tokio::signal::unix::SignalKind::window_change()).ok();
        let mut looks = tokio::time::interval(LOOKS);
        loop {
            let silent = loop {
                let resizes = async {
                    match &mut resized {
                        Some(resized) => drop(resized.recv().await),
                        None => std::future::pending().await,
                    }
                };
                tokio::select! {
                    event = events.next() => match event {
                        Some((event, data)) => {
                            age.told(&data);
                            if !age.is_old() {
                                screen.take(&event, &data, output);
                            }
                        }
                        None => break false,
                    },
                    () = resizes => screen.draw(output),
                    _ = looks.tick() => if age.is_old() {
                        break true;
                    },
                }
            };
            if silent {
                screen.silent(output);
            } else {
                screen.gone(output);
                tokio::time::sleep(AGAIN).await;
            }
            (events, age) = self.again(client).await?;
        }
    }

    /// The events asked for anew, as soon as the service answers.
    async fn again(&self, client: &Client) -> Result<(Events, Age), Trouble> {
        loop {
            let age = Age::asked();
            match client.follow(self.bench.bench.as_deref()).await {
                Ok(events) => return Ok((events, age)),
                Err(trouble) if trouble.passes => tokio::time::sleep(AGAIN).await,
                Err(trouble) => return Err(trouble),
            }
        }
    }
}

/// Whoever reads what is printed went away, as `head -1` does: without this it would be noticed at
/// the next event, which may not come for hours.
async fn reader_gone() {
    let (tell, gone) = tokio::sync::oneshot::channel();
    // The system tells of a hang-up unasked, and of nothing else here. The thread ends with the
    // command.
    let started = std::thread::Builder::new().spawn(move || {
        let out = std::io::stdout();
        loop {
            let mut watched = [PollFd::new(&out, PollFlags::empty())];
            match poll(&mut watched, None) {
                Ok(_) => break,
                Err(Errno::INTR) => {}
                // It cannot be watched; the next event will tell.
                Err(_) => return,
            }
        }
        // The command may have ended by itself.
        let _ended = tell.send(());
    });
    if started.is_err() || gone.await.is_err() {
        std::future::pending::<()>().await;
    }
}
