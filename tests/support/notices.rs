//! A bus and a notification service for tests, both real: a dbus-daemon of the test's own, and on
//! it a service that keeps what it is asked to show and can misbehave on demand. Shares no code
//! with the program. Every wait has a limit.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod service;

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc as std_mpsc;
use std::sync::{Arc, MutexGuard};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use tokio::sync::mpsc;

use service::{Log, Mood, Order, Shared, serve};

/// How long starting and stopping may take on a busy machine.
const PATIENCE: Duration = Duration::from_secs(20);

/// A session bus of the test's own. Nothing can be started through it, nothing else is on it.
pub struct PrivateBus {
    folder: tempfile::TempDir,
    daemon: Option<Child>,
}

impl PrivateBus {
    /// Starts a bus; it ends when this is dropped.
    pub fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut bus = Self {
            folder,
            daemon: None,
        };
        let config = format!(
            "<!DOCTYPE busconfig PUBLIC \"-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN\" \
             \"http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd\">\n\
             <busconfig><type>session</type><listen>{}</listen>\
             <policy context=\"default\"><allow send_destination=\"*\"/><allow receive_sender=\"*\"/>\
             <allow own=\"*\"/></policy>\
             </busconfig>",
            bus.address()
        );
        std::fs::write(bus.config(), config).unwrap();
        bus.start_again();
        bus
    }

    /// What `DBUS_SESSION_BUS_ADDRESS` must say. Stays the same when the bus is stopped and
    /// started again.
    pub fn address(&self) -> String {
        format!("unix:path={}", self.folder.path().join("bus").display())
    }

    fn config(&self) -> PathBuf {
        self.folder.path().join("bus.conf")
    }

    /// Takes the bus away, with every connection on it.
    pub fn stop(&mut self) {
        if let Some(mut daemon) = self.daemon.take() {
            daemon.kill().unwrap();
            daemon.wait().unwrap();
        }
        // A killed daemon leaves its socket, and the next one could not listen there.
        std::fs::remove_file(self.folder.path().join("bus")).ok();
    }

    /// Starts it at the same address.
    pub fn start_again(&mut self) {
        self.stop();
        let mut daemon = Command::new("dbus-daemon")
            .arg(format!("--config-file={}", self.config().display()))
            .args(["--print-address", "--nofork", "--nopidfile", "--nosyslog"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null()) // it remarks on limits it may not raise
            .spawn()
            .expect("dbus-daemon must be installed for this test");
        let printed = daemon.stdout.take().unwrap();
        self.daemon = Some(daemon);
        // The address is printed once the daemon listens.
        let (ready, is_ready) = std_mpsc::channel();
        std::thread::spawn(move || {
            let mut line = String::new();
            let read = BufReader::new(printed).read_line(&mut line);
            ready.send(read.map(|_| line)).ok();
        });
        let line = is_ready
            .recv_timeout(PATIENCE)
            .expect("dbus-daemon printed no address")
            .unwrap();
        assert!(line.starts_with("unix:"), "dbus-daemon printed {line:?}");
    }
}

impl Drop for PrivateBus {
    fn drop(&mut self) {
        if let Some(daemon) = &mut self.daemon {
            daemon.kill().ok();
            daemon.wait().ok();
        }
    }
}

/// A notice as it was asked for, and the number it was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// The number that the service gave it.
    pub id: u32,
    /// The number of the notice to be replaced, 0 for none.
    pub replaces_id: u32,
    pub app_name: String,
    pub icon: String,
    pub summary: String,
    pub body: String,
    /// Pairs of key and label, one after the other.
    pub actions: Vec<String>,
    /// 0 low, 1 normal, 2 critical; `None` if not sent as one byte.
    pub urgency: Option<u8>,
    pub sound_name: Option<String>,
    pub category: Option<String>,
    pub desktop_entry: Option<String>,
    /// How far along, as an int.
    pub value: Option<i32>,
    /// Not to be heard.
    pub is_quiet: bool,
    /// When it was asked for.
    pub at: Instant,
    /// The names of all hints.
    pub hints: BTreeSet<String>,
    /// Milliseconds; -1 as the service likes, 0 never.
    pub expire_timeout: i32,
    /// The connection that asked.
    pub sender: String,
}

/// A notification service on a thread of its own.
pub struct NoticeServer {
    shared: Arc<Shared>,
    orders: mpsc::UnboundedSender<Order>,
    thread: Option<JoinHandle<()>>,
    ended: std_mpsc::Receiver<()>,
}

impl NoticeServer {
    /// Starts the service on `bus` and returns when it can be called. It ends when dropped.
    pub fn start(bus: &PrivateBus) -> Self {
        Self::start_with(bus, &["body", "body-markup", "persistence", "sound"])
    }

    /// The same with what it says that it can.
    pub fn start_with(bus: &PrivateBus, can: &[&str]) -> Self {
        let can = can.iter().map(ToString::to_string).collect();
        let shared = Arc::new(Shared::default());
        let (orders, taken) = mpsc::unbounded_channel();
        let (ready, is_ready) = std_mpsc::channel();
        let (end, ended) = std_mpsc::channel();
        let address = bus.address();
        let log = Arc::clone(&shared);
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .unwrap();
            runtime.block_on(serve(&address, can, &log, taken, &ready));
            drop(runtime);
            end.send(()).ok();
        });
        is_ready
            .recv_timeout(PATIENCE)
            .expect("the notification service did not start");
        Self {
            shared,
            orders,
            thread: Some(thread),
            ended,
        }
    }

    /// Everything shown so far, in order.
    pub fn all(&self) -> Vec<Notice> {
        self.log().shown.clone()
    }

    /// How many requests came, answered or not.
    pub fn asked(&self) -> usize {
        self.log().asked
    }

    /// The first notice, shown or yet to come, of which `is_it` holds.
    pub fn wait_for(&self, is_it: impl Fn(&Notice) -> bool, limit: Duration) -> Option<Notice> {
        self.wait(limit, |log| log.shown.iter().find(|it| is_it(it)).cloned())
    }

    /// Waits until this many requests came; says whether they did.
    pub fn wait_asked(&self, number: usize, limit: Duration) -> bool {
        self.wait(limit, |log| (log.asked >= number).then_some(()))
            .is_some()
    }

    /// From now on requests are left lying.
    pub fn hang(&self) {
        self.orders.send(Order::Mood(Mood::Hanging)).unwrap();
    }

    /// From now on requests are refused.
    pub fn refuse(&self) {
        self.orders.send(Order::Mood(Mood::Refusing)).unwrap();
    }

    /// All is well again: what was left lying is done now, in order.
    pub fn recover(&self) {
        self.orders.send(Order::Mood(Mood::Well)).unwrap();
    }

    /// What was left lying is never answered; all is well from here on.
    pub fn recover_and_forget(&self) {
        self.orders.send(Order::Forget).unwrap();
        self.recover();
    }

    /// The person puts a notice away.
    pub fn put_away(&self, id: u32) {
        let (done, is_done) = std_mpsc::channel();
        self.orders.send(Order::PutAway(id, done)).unwrap();
        is_done.recv_timeout(PATIENCE).unwrap();
    }

    /// The person presses a button of a notice; told to whoever asked for it last.
    pub fn press(&self, id: u32, key: &str) {
        self.orders.send(Order::Press(id, key.into())).unwrap();
    }

    /// Whether this connection is still on the bus.
    pub fn is_connected(&self, sender: &str) -> bool {
        let (answer, answered) = std_mpsc::channel();
        let order = Order::Connected(sender.into(), answer);
        self.orders.send(order).unwrap();
        answered.recv_timeout(PATIENCE).unwrap()
    }

    /// Ends the service, as if it was killed: what was left lying gets an error from the bus.
    pub fn stop(self) {
        drop(self);
    }

    fn log(&self) -> MutexGuard<'_, Log> {
        self.shared.log.lock().unwrap()
    }

    fn wait<T>(&self, limit: Duration, find: impl Fn(&Log) -> Option<T>) -> Option<T> {
        let until = Instant::now() + limit;
        let mut log = self.log();
        loop {
            if let Some(found) = find(&log) {
                return Some(found);
            }
            let left = until.checked_duration_since(Instant::now())?;
            log = self.shared.news.wait_timeout(log, left).unwrap().0;
        }
    }
}

impl Drop for NoticeServer {
    fn drop(&mut self) {
        self.orders.send(Order::Stop).ok();
        if self.ended.recv_timeout(PATIENCE).is_ok()
            && let Some(thread) = self.thread.take()
        {
            thread.join().ok();
        }
    }
}
