//! The thread behind a pretend balance: time, orders, and lines on the wire.
//!
//! Promises: a line is written when a real wire of that speed would have delivered it, every order
//! is answered, and it ends with its handle. Leaves to others: what is felt and shown
//! (`physics`), how it is written (`shapes`), the pseudo-terminal (`pty`).

use std::io;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender};
use std::time::{Duration, Instant};

use super::framing::Framing;
use super::physics::{Nature, Physics};
use super::pretend::{Pace, Writer};
use super::pty::Wire;
use super::uart;
use crate::mass::{Mass, Unit};

/// How often the wire is listened to.
const LISTEN_EVERY: Duration = Duration::from_millis(10);
/// Bits that a character takes on the pretend wire.
const BITS_PER_CHARACTER: u32 = 10;

/// What a handle asks of the thread.
pub(super) enum Order {
    Place(Mass),
    Trickle(Mass, Duration),
    Unit(Unit),
    Tare,
    Noise(Mass),
    Drift(Mass, Duration),
    Pace(Pace),
    Say(Vec<u8>),
    Wired(Option<Framing>),
    Unplug,
    Plug,
    Port,
}

/// Where the outcome of an order goes: the port as it is then, if it is plugged in.
pub(super) type Answer = SyncSender<io::Result<Option<PathBuf>>>;

/// The balance itself, as the thread has it.
pub(super) struct Instrument {
    link: Option<PathBuf>,
    write: Writer,
    pace: Pace,
    speed: u32,
    /// The framing of a wire that is heard only at its own speed.
    wired: Option<Framing>,
    physics: Physics,
    wire: Option<Wire>,
    felt_at: Instant,
    next_line: Instant,
    on_the_wire: Option<(Instant, Vec<u8>)>,
    heard: Vec<u8>,
}

impl Instrument {
    /// Switched on, with an empty pan.
    pub(super) fn new(
        link: Option<PathBuf>,
        nature: Nature,
        write: Writer,
        (pace, speed): (Pace, u32),
        wire: Wire,
    ) -> Self {
        let now = Instant::now();
        Self {
            physics: Physics::new(nature),
            link,
            write,
            pace,
            speed,
            wired: None,
            wire: Some(wire),
            felt_at: now,
            next_line: now,
            on_the_wire: None,
            heard: Vec::new(),
        }
    }

    /// Weighs, talks and obeys until the handle is gone.
    pub(super) fn run(&mut self, inbox: &Receiver<(Order, Answer)>) {
        loop {
            let now = Instant::now();
            self.tick(now);
            let wait = self.next_moment(now).saturating_duration_since(now);
            match inbox.recv_timeout(wait) {
                Ok((order, answer)) => {
                    self.feel(Instant::now());
                    let outcome = self.carry_out(order);
                    // Nobody waiting for the answer is fine.
                    drop(answer.try_send(outcome));
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    /// The earliest moment at which there is something to do.
    fn next_moment(&self, now: Instant) -> Instant {
        let mut next = now + LISTEN_EVERY;
        match &self.on_the_wire {
            Some((at, _)) => next = next.min(*at),
            None if matches!(self.pace, Pace::LinesPerSecond(_)) => {
                next = next.min(self.next_line);
            }
            None => {}
        }
        next
    }

    fn tick(&mut self, now: Instant) {
        self.feel(now);
        if let Some((_, line)) = self.on_the_wire.take_if(|(at, _)| *at <= now) {
            self.send(&line);
        }
        let asked = self.listen();
        if self.on_the_wire.is_some() {
            return;
        }
        let due = match self.pace {
            Pace::LinesPerSecond(rate) => {
                let due = now >= self.next_line;
                if due {
                    // A late line does not make the next ones hurry.
                    let every = Duration::from_secs(1) / rate.clamp(1, 100);
                    self.next_line = (self.next_line + every).max(now);
                }
                due
            }
            Pace::WhenAsked(_) => asked,
            Pace::Silent => false,
        };
        if due {
            let line = (self.write)(&self.physics.show());
            let bits = u32::try_from(line.len())
                .unwrap_or(u32::MAX)
                .saturating_mul(BITS_PER_CHARACTER);
            let time = Duration::from_secs(1) * bits / self.speed.max(1);
            self.on_the_wire = Some((now + time, line));
        }
    }

    fn feel(&mut self, now: Instant) {
        self.physics
            .advance(now.saturating_duration_since(self.felt_at));
        self.felt_at = now;
    }

    /// Takes in what the other side sent; whether the asking words were among it.
    fn listen(&mut self) -> bool {
        let Some(wire) = &self.wire else { return false };
        let fresh = wire.hear();
        let Pace::WhenAsked(words) = &self.pace else {
            self.heard.clear();
            return false;
        };
        self.heard.extend(fresh);
        let asked = !words.is_empty()
            && self
                .heard
                .windows(words.len())
                .any(|heard| heard == words.as_slice());
        // Only a beginning of the words is worth keeping.
        let keep = if asked {
            0
        } else {
            words.len().saturating_sub(1)
        };
        let surplus = self.heard.len().saturating_sub(keep);
        self.heard.drain(..surplus);
        asked
    }

    fn send(&self, bytes: &[u8]) {
        let Some(wire) = &self.wire else { return };
        match (self.wired, wire.speed()) {
            (Some(framing), Some(set)) => {
                wire.send(&uart::heard(bytes, (self.speed, framing), set));
            }
            _ => wire.send(bytes),
        }
    }

    fn carry_out(&mut self, order: Order) -> io::Result<Option<PathBuf>> {
        match order {
            Order::Place(load) => self.physics.place(load),
            Order::Trickle(to, over) => self.physics.trickle(to, over),
            Order::Unit(unit) => self.physics.press_unit(unit),
            Order::Tare => self.physics.press_tare(),
            Order::Noise(bound) => self.physics.set_noise(bound),
            Order::Drift(by, over) => self.physics.set_drift(by, over),
            Order::Pace(pace) => {
                self.pace = pace;
                self.next_line = Instant::now();
            }
            Order::Say(bytes) => self.send(&bytes),
            Order::Wired(framing) => self.wired = framing,
            Order::Unplug => {
                self.wire = None;
                self.on_the_wire = None;
            }
            Order::Plug => {
                if self.wire.is_none() {
                    self.wire = Some(Wire::plug(self.link.as_deref())?);
                }
            }
            Order::Port => {}
        }
        Ok(self.wire.as_ref().map(|wire| wire.port().to_owned()))
    }
}
