//! The pretend balance: a real pseudo-terminal with a thread behind it that weighs and talks.
//!
//! Promises: it behaves as a bench balance does (settles, waits with its tare, converts exactly,
//! talks on whether or not anyone listens), every order is carried out when its call returns,
//! and nothing here waits without a limit. Leaves to others: believing it; no reading of it may
//! ever be mistaken for one of a real balance, so whoever starts it says so.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, SyncSender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use super::framing::Framing;
use super::instrument::{Answer, Instrument, Order};
use super::physics::{Nature, Showing};
use super::pty::Wire;
use super::shapes::Shape;
use crate::mass::{Mass, Unit};
use crate::trouble::Trouble;

/// How long an order may take. The thread answers within a step; this is for a stalled machine.
const ORDER_LIMIT: Duration = Duration::from_secs(5);

/// When a pretend balance sends a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Pace {
    /// All the time, so many lines a second (at most 100; a slow wire gives fewer).
    LinesPerSecond(u32),
    /// When it hears these bytes.
    WhenAsked(Vec<u8>),
    /// Never.
    Silent,
}

/// How a pretend balance is made.
#[derive(Debug, Clone)]
pub struct PretendSettings {
    /// The stable name of its port: a link that is made, and remade at each plugging in.
    pub link: PathBuf,
    /// What kind of balance it is.
    pub nature: Nature,
    /// How it writes a line.
    pub shape: Shape,
    /// When it writes one.
    pub pace: Pace,
    /// Bits a second of its wire.
    pub speed: u32,
}

/// Writes what is shown as the bytes of a line, or of several.
pub type Writer = Box<dyn FnMut(&Showing) -> Vec<u8> + Send>;

/// The handle of a running pretend balance. Dropping it unplugs and ends it.
#[derive(Debug)]
pub struct Pretend {
    name: PathBuf,
    orders: Option<SyncSender<(Order, Answer)>>,
    thread: Option<JoinHandle<()>>,
}

impl Pretend {
    /// Plugs in a pretend balance.
    ///
    /// # Errors
    /// When the pseudo-terminal or the link cannot be made.
    pub fn start(settings: PretendSettings) -> Result<Self, Trouble> {
        Self::start_writing(
            Some(settings.link),
            settings.nature,
            Box::new(settings.shape),
            settings.pace,
            settings.speed,
        )
    }

    /// The same with any way of writing lines, and with a stable name only if one is given.
    ///
    /// # Errors
    /// When the pseudo-terminal or the link cannot be made.
    pub fn start_writing(
        link: Option<PathBuf>,
        nature: Nature,
        write: Writer,
        pace: Pace,
        speed: u32,
    ) -> Result<Self, Trouble> {
        let wanted = link.clone().unwrap_or_else(|| PathBuf::from("/dev/pts"));
        let failed = |error: &io::Error| trouble(&wanted, error);
        let wire = Wire::plug(link.as_deref()).map_err(|error| failed(&error))?;
        let name = link.clone().unwrap_or_else(|| wire.port().to_owned());
        let (orders, inbox) = mpsc::sync_channel(16);
        let thread = thread::Builder::new()
            .name("pretend-balance".to_owned())
            .spawn(move || Instrument::new(link, nature, write, (pace, speed), wire).run(&inbox))
            .map_err(|error| failed(&error))?;
        Ok(Self {
            name,
            orders: Some(orders),
            thread: Some(thread),
        })
    }

    /// The stable name of its port; without one, the port that it began with.
    pub fn link(&self) -> &Path {
        &self.name
    }

    /// The port itself as it is now, if it is plugged in.
    pub fn port(&self) -> Result<Option<PathBuf>, Trouble> {
        self.ask(Order::Port)
    }

    /// Puts this load on the pan at once, in place of what lies there.
    pub fn place(&self, load: Mass) -> Result<(), Trouble> {
        self.order(Order::Place(load))
    }

    /// Trickles metal until the pan holds this load.
    pub fn trickle(&self, to: Mass, over: Duration) -> Result<(), Trouble> {
        self.order(Order::Trickle(to, over))
    }

    /// Presses the unit key until this unit shows.
    pub fn press_unit(&self, unit: Unit) -> Result<(), Trouble> {
        self.order(Order::Unit(unit))
    }

    /// Presses the tare key; the display goes to zero once the pan is at rest.
    pub fn press_tare(&self) -> Result<(), Trouble> {
        self.order(Order::Tare)
    }

    /// From now on a shown value strays by no more than this.
    pub fn set_noise(&self, bound: Mass) -> Result<(), Trouble> {
        self.order(Order::Noise(bound))
    }

    /// From now on the zero wanders by this much in this time.
    pub fn set_drift(&self, by: Mass, over: Duration) -> Result<(), Trouble> {
        self.order(Order::Drift(by, over))
    }

    /// Changes when it sends a line.
    pub fn set_pace(&self, pace: Pace) -> Result<(), Trouble> {
        self.order(Order::Pace(pace))
    }

    /// From now on a port that is set to another speed or framing hears what a wire would give it;
    /// `None` for one that hears everything, as a pseudo-terminal does by itself.
    pub fn set_wired(&self, framing: Option<Framing>) -> Result<(), Trouble> {
        self.order(Order::Wired(framing))
    }

    /// Sends these bytes at once, between its own lines.
    pub fn say(&self, bytes: impl Into<Vec<u8>>) -> Result<(), Trouble> {
        self.order(Order::Say(bytes.into()))
    }

    /// Pulls the plug: whoever has the port open sees it hang up, and the name goes.
    pub fn unplug(&self) -> Result<(), Trouble> {
        self.order(Order::Unplug)
    }

    /// Puts the plug back: a new port behind the same name. The pan is as it was.
    pub fn plug(&self) -> Result<(), Trouble> {
        self.order(Order::Plug)
    }

    fn order(&self, order: Order) -> Result<(), Trouble> {
        self.ask(order).map(drop)
    }

    fn ask(&self, order: Order) -> Result<Option<PathBuf>, Trouble> {
        let stalled = || io::Error::from(io::ErrorKind::TimedOut);
        let (answer, done) = mpsc::sync_channel(1);
        let sent = self
            .orders
            .as_ref()
            .is_some_and(|orders| orders.try_send((order, answer)).is_ok());
        let outcome = if sent {
            done.recv_timeout(ORDER_LIMIT)
                .unwrap_or_else(|_| Err(stalled()))
        } else {
            Err(stalled())
        };
        outcome.map_err(|error| trouble(&self.name, &error))
    }
}

impl Drop for Pretend {
    fn drop(&mut self) {
        self.orders = None;
        if let Some(thread) = self.thread.take() {
            // It ends within a step; a panic over there is no reason for one here.
            drop(thread.join());
        }
    }
}

fn trouble(link: &Path, error: &io::Error) -> Trouble {
    Trouble::new(
        "pretend-failed",
        format!(
            "The pretend balance at {} could not go on: {error}.",
            link.display()
        ),
        "Nothing real is touched: no balance and no job.",
        "Choose another name for its port, in a folder of your own, and start it again.",
    )
}
