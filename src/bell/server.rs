//! Who shows notices on this desktop: what that service can, and when it is another one.
//!
//! Promises: a service that was started anew is noticed, and asked anew what it can; no wait
//! without a limit. Leaves to others: showing. Where nothing of this can be known, the least is
//! supposed, and notices are still shown.

use std::future::poll_fn;
use std::pin::Pin;

use futures_core::Stream;
use tokio::time::timeout;
use zbus::message::Type;
use zbus::{Connection, MatchRule, Message, MessageStream};

use super::limits;

/// The name, and the interface, of the service (Desktop Notifications Specification 1.2,
/// freedesktop.org, chapter "D-BUS Protocol").
const NAME: &str = "org.freedesktop.Notifications";
const PATH: &str = "/org/freedesktop/Notifications";
const BUS: &str = "org.freedesktop.DBus";

/// What the service can, by its own word. The least by default.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[allow(clippy::struct_excessive_bools)] // each is a word of the service, and none rules out another
pub(super) struct Can {
    /// It answered what it can.
    pub(super) told: bool,
    /// It shows buttons (`actions`).
    pub(super) actions: bool,
    /// It reads markup in the text (`body-markup`).
    pub(super) markup: bool,
    /// It shows the hint `value` as a bar. No word of the specification says so; services that do
    /// have one of their own extensions for notices that are replaced often.
    pub(super) value: bool,
}

impl Can {
    fn of(words: &[String]) -> Self {
        let has = |word: &str| words.iter().any(|it| it == word);
        Self {
            told: true,
            actions: has("actions"),
            markup: has("body-markup"),
            value: has("value")
                || has("x-dunst-stack-tag")
                || has("x-canonical-private-synchronous"),
        }
    }
}

/// What became of the service.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Change {
    /// It went away, and the notices with it.
    Gone,
    /// Another one took its place, or came where none was.
    Came,
    /// The bus itself went away.
    NoBus,
}

/// A connection of its own that watches who has the name.
pub(super) struct Server {
    bus: Connection,
    owners: MessageStream,
    can: Can,
}

impl Server {
    /// Begins to watch; none where there is no bus, which the notice itself will tell.
    pub(super) async fn watch() -> Option<Self> {
        timeout(limits::ANSWER, async {
            let bus = Connection::session().await.ok()?;
            let rule = MatchRule::builder()
                .msg_type(Type::Signal)
                .sender(BUS)
                .interface(BUS)
                .member("NameOwnerChanged")
                .arg(0, NAME)
                .build()
                .ok()?;
            let owners = MessageStream::for_match_rule(rule, &bus, None).await.ok()?;
            Some(Self {
                bus,
                owners,
                can: Can::default(),
            })
        })
        .await
        .ok()
        .flatten()
    }

    /// What the service can; asked once of each, and the least while it does not answer.
    pub(super) async fn can(&mut self) -> Can {
        if !self.can.told
            && let Ok(Some(can)) = timeout(limits::ANSWER, self.ask()).await
        {
            self.can = can;
        }
        self.can
    }

    async fn ask(&self) -> Option<Can> {
        let call = self
            .bus
            .call_method(Some(NAME), PATH, Some(NAME), "GetCapabilities", &());
        let words: Vec<String> = call.await.ok()?.body().deserialize().ok()?;
        Some(Can::of(&words))
    }

    /// Waits for a change. Cancelling loses nothing.
    pub(super) async fn change(&mut self) -> Change {
        loop {
            let next = poll_fn(|context| Pin::new(&mut self.owners).poll_next(context)).await;
            let change = match next {
                None => return Change::NoBus,
                Some(Ok(message)) => owner(&message),
                Some(Err(_)) => None,
            };
            if let Some(change) = change {
                self.can = Can::default();
                return change;
            }
        }
    }
}

fn owner(message: &Message) -> Option<Change> {
    let body = message.body();
    let (name, _, new): (&str, &str, &str) = body.deserialize().ok()?;
    (name == NAME).then_some(if new.is_empty() {
        Change::Gone
    } else {
        Change::Came
    })
}
