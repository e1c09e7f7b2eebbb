//! The door between the interface and a bench: bounded queues, and nothing shared.
//!
//! Promises: an order whose giver was told that it was not carried out never is, and one that may have
//! been is told so; who only looks never waits for the disk. Leaves to others: what an order does.

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{mpsc, oneshot};

use super::clock::Clock;
use super::front::PageView;
use super::live::Live;
use super::recipes::RecipesView;
use super::turn::{Turn, Waits};
use super::view::BenchView;
use crate::balance::Key;
use crate::job::{BenchRules, Done, Job, Order, Terms, recipes};
use crate::settings::Settings;
use crate::trouble::Trouble;

/// What is wanted of a bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wish {
    /// An order of the job.
    Order(Order),
    /// A key of the balance.
    Press(Key),
}

/// An order as a bench is given it.
#[derive(Debug)]
pub struct Ask {
    /// What is wanted.
    pub wish: Wish,
    /// What it was given on.
    pub terms: Terms,
    /// To be begun before it is carried out.
    pub turn: Turn,
    /// Where it is answered when it was carried out or refused.
    pub reply: oneshot::Sender<Result<Done, Refusal>>,
}

/// What a client wants to see of a bench: answered at once, whatever the disk does.
#[derive(Debug)]
pub enum Look {
    /// The open job, and what the bench goes by.
    Job(oneshot::Sender<Option<(Job, Arc<BenchRules>)>>),
    /// The whole state, now, and the number of the last event that it holds already.
    View(oneshot::Sender<(u64, BenchView)>),
}

/// Why a bench did not do what it was told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Why.
    pub trouble: Trouble,
    /// How it stands, where the order was given on another state.
    pub bench: Option<Box<BenchView>>,
}

/// Why there is no answer of the kind that was wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotDone {
    /// The bench refused.
    Refused(Refusal),
    /// Nothing was done, and nothing will be.
    Never(Trouble),
    /// It may have been carried out, or may yet be.
    Unknown(Trouble),
}

impl NotDone {
    /// What is told.
    pub fn trouble(self) -> Trouble {
        match self {
            Self::Refused(refusal) => refusal.trouble,
            Self::Never(trouble) | Self::Unknown(trouble) => trouble,
        }
    }
}

/// The bench's side of its door.
#[derive(Debug)]
pub struct Inbox {
    /// What is ordered.
    pub asks: mpsc::Receiver<Ask>,
    /// What is looked at.
    pub looks: mpsc::Receiver<Look>,
    /// What its followers hear.
    pub live: Live,
}

/// The interface's side of one bench.
#[derive(Debug, Clone)]
pub struct Door {
    /// The bench.
    pub name: String,
    asks: mpsc::Sender<Ask>,
    looks: mpsc::Sender<Look>,
    /// What its followers hear.
    pub(super) live: Live,
    limit: Duration,
}

/// Orders that may wait for one bench.
const ASKS: usize = 16;
/// How long an order may take: a slow disk takes its time, a stuck one must not hold the client.
pub const LIMIT: Duration = Duration::from_secs(15);

impl Door {
    /// A door, and the bench's side of it. Moments are told by this clock; an order may take as long
    /// as `limit`.
    pub fn new(name: &str, clock: Clock, limit: Duration) -> (Self, Inbox) {
        let (asks, ordered) = mpsc::channel(ASKS);
        let (looks, looked) = mpsc::channel(ASKS);
        let live = Live::new(clock);
        let door = Self {
            name: name.to_owned(),
            asks,
            looks,
            live: live.clone(),
            limit,
        };
        let inbox = Inbox {
            asks: ordered,
            looks: looked,
            live,
        };
        (door, inbox)
    }

    /// Gives an order, or presses a key, and waits for the answer. Dropped before the bench began it,
    /// it is not carried out.
    pub async fn order(&self, wish: Wish, terms: Terms) -> Result<Done, NotDone> {
        let (reply, mut answer) = oneshot::channel();
        let waits = Waits(Turn::default());
        let turn = waits.0.clone();
        let ask = Ask {
            wish,
            terms,
            turn,
            reply,
        };
        if self.asks.try_send(ask).is_err() {
            return Err(self.never("has too many orders waiting, or is stopping"));
        }
        let why = match tokio::time::timeout(self.limit, &mut answer).await {
            Ok(Ok(answer)) => return answer.map_err(NotDone::Refused),
            Ok(Err(_)) => "stopped before it answered",
            Err(_) => "did not answer in time",
        };
        if waits.0.give_up() {
            return Err(self.never(why));
        }
        // It may have been answered in this very moment.
        match answer.try_recv() {
            Ok(answer) => answer.map_err(NotDone::Refused),
            Err(_) => Err(self.unknown(why)),
        }
    }

    /// The whole state.
    pub async fn view(&self) -> Result<BenchView, NotDone> {
        Ok(self.view_and_number().await?.1)
    }

    /// The whole state, and the number of the last event that it holds already.
    pub(super) async fn view_and_number(&self) -> Result<(u64, BenchView), NotDone> {
        let (reply, answer) = oneshot::channel();
        self.look(Look::View(reply), answer).await
    }

    /// The recipes for the open job. They are reckoned beside the bench, which goes on meanwhile.
    pub async fn recipes(&self) -> Result<RecipesView, NotDone> {
        let (reply, answer) = oneshot::channel();
        let refused = |trouble| {
            let bench = None;
            NotDone::Refused(Refusal { trouble, bench })
        };
        let job = self.look(Look::Job(reply), answer).await?;
        let (job, rules) = job.ok_or_else(|| {
            refused(Trouble::new(
                "no-job",
                format!("No job is open on bench {}.", self.name),
                "There is nothing to make a recipe for.",
                "Open a ticket.",
            ))
        })?;
        let reckoned =
            tokio::task::spawn_blocking(move || RecipesView::of(&job, &recipes(&job, &rules)));
        reckoned.await.map_err(|_| {
            refused(Trouble::new(
                "recipes-failed",
                "The recipes could not be reckoned.",
                "Nothing was changed.",
                "Name the metals to add yourself.",
            ))
        })
    }

    /// What was rung last, for a press on it.
    pub fn rung(&self) -> Rung {
        self.live.rung()
    }

    async fn look<T>(&self, look: Look, answer: oneshot::Receiver<T>) -> Result<T, NotDone> {
        let looked = async {
            self.looks.send(look).await.ok()?;
            answer.await.ok()
        };
        let looked = tokio::time::timeout(self.limit, looked).await;
        looked.ok().flatten().ok_or_else(|| {
            NotDone::Never(
                Trouble::new(
                    "bench-slow",
                    format!("Bench {} does not answer, or is stopping.", self.name),
                    "How it stands is not known here; what is recorded stands in the job file.",
                    "Look again.",
                )
                .passing(),
            )
        })
    }

    fn never(&self, why: &str) -> NotDone {
        let trouble = Trouble::new(
            "order-not-carried-out",
            format!("Bench {} {why}.", self.name),
            "The order was not begun, and is not carried out later either.",
            "Look how the bench stands, then give the order again.",
        );
        NotDone::Never(trouble.passing())
    }

    fn unknown(&self, why: &str) -> NotDone {
        let trouble = Trouble::new(
            "order-unknown",
            format!("Bench {} began the order and {why}.", self.name),
            "It may have been carried out, or may be yet: the record of it is still being written.",
            "Look what the bench shows, or send the same order again with the same id, which carries it out once at most; do not give it anew before that is known.",
        );
        NotDone::Unknown(trouble.passing())
    }
}

/// What a bell was about, for a press on its notice.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Rung {
    /// The ticket that was open.
    pub ticket: Option<String>,
    /// The number of the capture that it told of.
    pub capture: Option<u64>,
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

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
mod tests {
    use super::*;

    const SOON: Duration = Duration::from_millis(30);

    fn take() -> (Wish, Terms) {
        (Wish::Order(Order::Take), Terms::default())
    }

    fn done() -> Done {
        Done {
            text: "done".to_owned(),
            warning: false,
        }
    }

    #[tokio::test]
    async fn an_order_that_nobody_began_is_given_up_for_good() {
        let (door, mut inbox) = Door::new("left", Clock::start(), SOON);
        let (wish, terms) = take();
        let told = door.order(wish, terms).await.unwrap_err();
        assert!(matches!(&told, NotDone::Never(why) if why.code == "order-not-carried-out"));
        assert!(!inbox.asks.recv().await.unwrap().turn.begin());
    }

    #[tokio::test]
    async fn an_order_that_was_begun_and_not_answered_is_told_to_be_unknown() {
        let (door, mut inbox) = Door::new("left", Clock::start(), SOON);
        let (wish, terms) = take();
        let held = async {
            let ask = inbox.asks.recv().await.unwrap();
            assert!(ask.turn.begin());
            ask
        };
        let (told, ask) = tokio::join!(door.order(wish, terms), held);
        assert!(matches!(told.unwrap_err(), NotDone::Unknown(why) if why.code == "order-unknown"));
        assert!(ask.reply.send(Ok(done())).is_err(), "nobody waits any more");
    }

    #[tokio::test]
    async fn a_giver_that_hangs_up_before_it_was_begun_takes_it_along() {
        let (door, mut inbox) = Door::new("left", Clock::start(), LIMIT);
        let (wish, terms) = take();
        let gone = tokio::time::timeout(SOON, door.order(wish, terms)).await;
        assert!(gone.is_err());
        assert!(!inbox.asks.recv().await.unwrap().turn.begin());
        // One that was answered is told so, and a bench that is gone begins nothing.
        let (wish, terms) = take();
        let bench = async {
            let ask = inbox.asks.recv().await.unwrap();
            assert!(ask.turn.begin());
            ask.reply.send(Ok(done())).unwrap();
        };
        let (told, ()) = tokio::join!(door.order(wish, terms), bench);
        assert_eq!(told, Ok(done()));
        let (wish, terms) = take();
        let stops = async move { drop(inbox) };
        let (told, ()) = tokio::join!(door.order(wish, terms), stops);
        assert!(matches!(told.unwrap_err(), NotDone::Never(_)));
    }
}
