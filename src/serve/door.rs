//! The door between the interface and a bench: bounded queues, and nothing shared.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot};

use super::front::PageView;
use super::live::Live;
use super::recipes::RecipesView;
use super::view::BenchView;
use crate::balance::Key;
use crate::job::{BenchRules, Done, Job, Order, Terms, recipes};
use crate::settings::Settings;
use crate::trouble::Trouble;

/// What a client wants of a bench.
#[derive(Debug)]
pub enum Ask {
    /// An order, answered when it is carried out or refused.
    Order(Order, Terms, oneshot::Sender<Result<Done, Trouble>>),
    /// A key of the balance, answered when its bytes were sent or refused.
    Press(Key, oneshot::Sender<Result<Done, Trouble>>),
    /// The open job, and what the bench goes by.
    Job(oneshot::Sender<Option<(Job, Arc<BenchRules>)>>),
    /// The whole state, now, and the number of the last event that it holds already.
    View(oneshot::Sender<(u64, BenchView)>),
}

/// The interface's side of one bench.
#[derive(Debug, Clone)]
pub struct Door {
    /// The bench.
    pub name: String,
    asks: mpsc::Sender<Ask>,
    /// What its followers hear.
    pub(super) live: Live,
}

/// Orders that may wait for one bench.
const ASKS: usize = 16;
/// How long an order may take: a slow disk takes its time, a stuck one must not hold the client.
const LIMIT: Duration = Duration::from_secs(15);

impl Door {
    /// A door, with the bench's two ends of it.
    pub fn new(name: &str) -> (Self, mpsc::Receiver<Ask>, Live) {
        let (asks, inbox) = mpsc::channel(ASKS);
        let live = Live::new();
        (
            Self {
                name: name.to_owned(),
                asks,
                live: live.clone(),
            },
            inbox,
            live,
        )
    }

    /// Gives an order and waits for its answer, at most fifteen seconds.
    pub async fn order(&self, order: Order, terms: Terms) -> Result<Done, Trouble> {
        let (reply, answer) = oneshot::channel();
        self.ask(Ask::Order(order, terms, reply), answer)
            .await
            .and_then(|answer| answer)
    }

    /// Presses a key of the balance.
    pub async fn press(&self, key: Key) -> Result<Done, Trouble> {
        let (reply, answer) = oneshot::channel();
        self.ask(Ask::Press(key, reply), answer)
            .await
            .and_then(|answer| answer)
    }

    /// The whole state.
    pub async fn view(&self) -> Result<BenchView, Trouble> {
        Ok(self.view_and_number().await?.1)
    }

    /// The whole state, and the number of the last event that it holds already.
    pub(super) async fn view_and_number(&self) -> Result<(u64, BenchView), Trouble> {
        let (reply, answer) = oneshot::channel();
        self.ask(Ask::View(reply), answer).await
    }

    /// The recipes for the open job. They are reckoned beside the bench, which goes on meanwhile.
    pub async fn recipes(&self) -> Result<RecipesView, Trouble> {
        let (reply, answer) = oneshot::channel();
        let (job, rules) = self.ask(Ask::Job(reply), answer).await?.ok_or_else(|| {
            Trouble::new(
                "no-job",
                format!("No job is open on bench {}.", self.name),
                "There is nothing to make a recipe for.",
                "Open a ticket.",
            )
        })?;
        let reckoned =
            tokio::task::spawn_blocking(move || RecipesView::of(&job, &recipes(&job, &rules)));
        reckoned.await.map_err(|_| {
            Trouble::new(
                "recipes-failed",
                "The recipes could not be reckoned.",
                "Nothing was changed.",
                "Name the metals yourself.",
            )
        })
    }

    async fn ask<T>(&self, ask: Ask, answer: oneshot::Receiver<T>) -> Result<T, Trouble> {
        let slow = |what: &str| {
            Trouble::new(
                "bench-slow",
                format!("Bench {} {what}.", self.name),
                "Whether the order was carried out is not known here; what is recorded stands in the job file.",
                "Look with panbell follow, then give the order again if it was not.",
            )
            .passing()
        };
        if self.asks.try_send(ask).is_err() {
            return Err(slow("has too many orders waiting, or is stopping"));
        }
        match tokio::time::timeout(LIMIT, answer).await {
            Ok(Ok(answer)) => Ok(answer),
            Ok(Err(_)) => Err(slow("stopped before it answered")),
            Err(_) => Err(slow("did not answer in time")),
        }
    }
}

/// Every bench of a service, with what the interface needs to understand an order.
#[derive(Debug)]
pub struct House {
    /// The settings.
    pub settings: Arc<Settings>,
    /// One door a bench, in the order of the settings.
    pub doors: Vec<Door>,
    /// Where the page is to be found.
    pub page: PageView,
}

impl House {
    /// The door of the bench named, or the only one.
    pub fn door(&self, name: Option<&str>) -> Result<&Door, Trouble> {
        let known = || {
            self.doors
                .iter()
                .map(|door| door.name.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        };
        match (name, self.doors.as_slice()) {
            (Some(name), doors) => doors.iter().find(|door| door.name == name).ok_or_else(|| {
                Trouble::new(
                    "bench-unknown",
                    format!("There is no bench \"{name}\"."),
                    "Nothing was changed.",
                    format!("The benches are: {}.", known()),
                )
            }),
            (None, [only]) => Ok(only),
            (None, _) => Err(Trouble::new(
                "bench-unnamed",
                "There are several benches, and none was named.",
                "Nothing was changed.",
                format!(
                    "Name one: --bench {}.",
                    known().replace(", ", " or --bench ")
                ),
            )),
        }
    }
}
