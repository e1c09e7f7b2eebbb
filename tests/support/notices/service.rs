//! The notification service behind [`super::NoticeServer`]: written against the bus itself, one
//! request at a time and in order, as the services of desktops are.

use std::collections::{BTreeSet, HashMap, VecDeque};
use std::future::poll_fn;
use std::sync::mpsc as std_mpsc;
use std::sync::{Condvar, Mutex};
use std::time::Instant;

use futures_core::Stream;
use tokio::sync::mpsc;
use zbus::message::Type;
use zbus::{Connection, Message, MessageStream, OwnedVariant, Variant};

use super::Notice;

const NAME: &str = "org.freedesktop.Notifications";
const PATH: &str = "/org/freedesktop/Notifications";

/// How the service behaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mood {
    /// Shows and answers.
    Well,
    /// Reads requests and leaves them lying, until it is well again.
    Hanging,
    /// Answers every request with an error.
    Refusing,
}

pub(super) enum Order {
    Mood(Mood),
    Forget,
    PutAway(u32, std_mpsc::Sender<()>),
    Press(u32, String),
    Connected(String, std_mpsc::Sender<bool>),
    Stop,
}

#[derive(Default)]
pub(super) struct Log {
    pub(super) shown: Vec<Notice>,
    pub(super) asked: usize,
}

#[derive(Default)]
pub(super) struct Shared {
    pub(super) log: Mutex<Log>,
    pub(super) news: Condvar,
}

/// The service itself: one request at a time, in order.
struct Service<'a> {
    bus: Connection,
    shared: &'a Shared,
    mood: Mood,
    lying: VecDeque<Message>,
    /// The numbers of the notices that stand.
    standing: BTreeSet<u32>,
    last: u32,
    can: Vec<String>,
    /// Who asked last for each notice: some services tell only them of a press.
    asked_by: HashMap<u32, String>,
}

/// Serves until told to stop; says on `ready` when it can be called.
pub(super) async fn serve(
    address: &str,
    can: Vec<String>,
    shared: &Shared,
    mut orders: mpsc::UnboundedReceiver<Order>,
    ready: &std_mpsc::Sender<()>,
) {
    let bus = zbus::connection::Builder::address(address)
        .build()
        .await
        .unwrap();
    let mut calls = MessageStream::from(&bus);
    bus.request_name(NAME).await.unwrap();
    let mut service = Service {
        bus,
        shared,
        mood: Mood::Well,
        lying: VecDeque::new(),
        standing: BTreeSet::new(),
        last: 0,
        can,
        asked_by: HashMap::new(),
    };
    ready.send(()).unwrap();
    loop {
        tokio::select! {
            biased;
            order = orders.recv() => match order {
                None | Some(Order::Stop) => return,
                Some(order) => service.obey(order).await,
            },
            call = poll_fn(|cx| Pin::new(&mut calls).poll_next(cx)) => {
                if let Some(Ok(call)) = call {
                    service.receive(call).await;
                } else {
                    // The bus is gone; stay until told to stop, as a stuck service does.
                    while !matches!(orders.recv().await, None | Some(Order::Stop)) {}
                    return;
                }
            }
        }
    }
}

impl Service<'_> {
    async fn obey(&mut self, order: Order) {
        match order {
            Order::Mood(mood) => {
                self.mood = mood;
                while self.mood != Mood::Hanging
                    && let Some(call) = self.lying.pop_front()
                {
                    self.answer(&call).await;
                }
            }
            Order::Forget => self.lying.clear(),
            Order::PutAway(id, done) => {
                assert!(self.standing.remove(&id), "no notice {id} stands");
                self.bus
                    .emit_signal(None::<&str>, PATH, NAME, "NotificationClosed", &(id, 2_u32))
                    .await
                    .unwrap();
                done.send(()).ok();
            }
            Order::Press(id, key) => {
                let to = self.asked_by.get(&id).map(String::as_str);
                self.bus
                    .emit_signal(to, PATH, NAME, "ActionInvoked", &(id, key))
                    .await
                    .unwrap();
            }
            Order::Connected(sender, answer) => {
                let reply = self
                    .bus
                    .call_method(
                        Some("org.freedesktop.DBus"),
                        "/org/freedesktop/DBus",
                        Some("org.freedesktop.DBus"),
                        "NameHasOwner",
                        &sender,
                    )
                    .await
                    .unwrap();
                answer.send(reply.body().deserialize().unwrap()).ok();
            }
            Order::Stop => {}
        }
    }

    async fn receive(&mut self, call: Message) {
        let header = call.header();
        let is_ours = header.message_type() == Type::MethodCall
            && header.interface().is_some_and(|name| name == NAME);
        if !is_ours {
            return;
        }
        if header.member().is_some_and(|name| name == "Notify") {
            self.shared.log.lock().unwrap().asked += 1;
            self.shared.news.notify_all();
        }
        if self.mood == Mood::Hanging {
            self.lying.push_back(call);
        } else {
            self.answer(&call).await;
        }
    }

    async fn answer(&mut self, call: &Message) {
        let header = call.header();
        let member = header.member().map(ToString::to_string).unwrap_or_default();
        // A caller that has gone meanwhile is not an error.
        match member.as_str() {
            _ if self.mood == Mood::Refusing => {
                let name = "org.freedesktop.Notifications.Error.ExcessNotificationGeneration";
                self.bus.reply_error(&header, name, &"slow down").await.ok();
            }
            "Notify" => {
                let id = self.notify(call);
                self.bus.reply(&header, &id).await.ok();
            }
            "CloseNotification" => {
                let id: u32 = call.body().deserialize().unwrap();
                self.standing.remove(&id);
                self.bus.reply(&header, &()).await.ok();
            }
            "GetCapabilities" => {
                self.bus.reply(&header, &self.can).await.ok();
            }
            "GetServerInformation" => {
                let who = ("test service", "tests", "1", "1.2");
                self.bus.reply(&header, &who).await.ok();
            }
            _ => {
                let name = "org.freedesktop.DBus.Error.UnknownMethod";
                self.bus.reply_error(&header, name, &"").await.ok();
            }
        }
    }

    /// Keeps a number only if that notice still stands, as services do.
    fn notify(&mut self, call: &Message) -> u32 {
        type Hints = HashMap<String, OwnedVariant>;
        type Request = (String, u32, String, String, String, Vec<String>, Hints, i32);
        let request: Request = call.body().deserialize().unwrap();
        let (app_name, replaces_id, icon, summary, body, actions, hints, expire_timeout) = request;
        let text = |name: &str| match hints.get(name).map(|value| &**value) {
            Some(Variant::Str(text)) => Some(text.to_string()),
            _ => None,
        };
        let urgency = match hints.get("urgency").map(|value| &**value) {
            Some(Variant::U8(urgency)) => Some(*urgency),
            _ => None,
        };
        let id = if self.standing.contains(&replaces_id) {
            replaces_id
        } else {
            self.last += 1;
            self.last
        };
        self.standing.insert(id);
        let sender = call.header().sender().map(ToString::to_string);
        self.asked_by.insert(id, sender.clone().unwrap_or_default());
        let flag = |name: &str| {
            matches!(
                hints.get(name).map(|value| &**value),
                Some(Variant::Bool(true))
            )
        };
        let value = match hints.get("value").map(|value| &**value) {
            Some(Variant::I32(value)) => Some(*value),
            _ => None,
        };
        let notice = Notice {
            id,
            replaces_id,
            app_name,
            icon,
            summary,
            body,
            actions,
            urgency,
            sound_name: text("sound-name"),
            category: text("category"),
            desktop_entry: text("desktop-entry"),
            value,
            is_quiet: flag("suppress-sound"),
            at: Instant::now(),
            hints: hints.keys().cloned().collect(),
            expire_timeout,
            sender: sender.unwrap_or_default(),
        };
        self.shared.log.lock().unwrap().shown.push(notice);
        self.shared.news.notify_all();
        id
    }
}
