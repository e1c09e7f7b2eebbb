//! The line to one balance, serial or of a USB scale: the open port, or the next attempt at it.
//!
//! Promises: whatever can take its time (opening, setting up, closing an adapter that is stuck,
//! looking for who holds a port) is done beside the service's loop, so that it delays no other
//! bench; attempts come less and less often; a trouble is said once. Leaves to others: what a loss
//! means for the job, and what the bytes mean.

use std::sync::Arc;
use std::time::Duration;

use tokio::task::{JoinError, JoinHandle, spawn_blocking};
use tokio::time::{Instant, sleep_until};

use super::plug::Plug;
use crate::balance::hid::ScaleLayout;
use crate::balance::{AskSpec, Asking, FrameSpec, Key, Piece, Retry, Rubble, Splitter};
use crate::job::Done;
use crate::mass::Moment;
use crate::port::{DataBits, PortSettings, PortTrouble, ScaleTrouble, check};
use crate::settings::Form;
use crate::trouble::Trouble;

/// The most bytes that are read at once: more than any weighing has, and soon judged, so that a port
/// that floods takes its turn among the others.
pub(super) const MOST_AT_ONCE: usize = 1024;

/// What came over the line.
pub(super) enum Came {
    /// The port was opened.
    Opened,
    /// It could not be, or went away; said once until something else happens.
    Lost(Arc<Trouble>),
    /// Bytes were read into the buffer.
    Bytes(usize),
    /// A pause that ends a line.
    Pause,
    /// An attempt failed as before, or the balance was asked.
    Nothing,
}

/// The line to one balance.
pub(super) struct Line {
    settings: PortSettings,
    /// It sends reports, not lines.
    is_scale: bool,
    port: Option<Plug>,
    opening: Option<JoinHandle<Result<Plug, ScaleTrouble>>>,
    opened: Instant,
    heard: bool,
    retry: Retry,
    retry_at: Instant,
    /// Attempts since the holder of a busy port was last looked for.
    not_looked: u32,
    /// Since when a port that had just come may not be opened.
    denied: Option<Instant>,
    /// Why it was lost last; none while it is open.
    last_loss: Option<Loss>,
    splitter: Splitter,
    rubble: Rubble,
    frame: FrameSpec,
    buffer: Box<[u8; MOST_AT_ONCE]>,
    /// What to send and when, to a balance that must be asked.
    asking: Option<(AskSpec, Asking)>,
    origin: Instant,
    /// When the last byte came, or the port was opened.
    last: Instant,
}

/// Why the line was lost.
#[derive(Debug, PartialEq, Eq)]
enum Loss {
    /// The port hung up.
    Gone,
    /// Reading it failed.
    Failed,
    /// It could not be opened.
    Port(PortTrouble),
    /// It is no scale that can be read.
    Device(Trouble),
}

/// A port that comes is the system's own for a moment, until its rules have given it away.
const GIVEN_AWAY_BY: Duration = Duration::from_secs(2);

/// Attempts at a busy port after which it is looked again who holds it: half a minute.
const LOOK_AGAIN: u32 = 15;

/// A first byte that comes so long after the opening begins a line: no balance pauses so long
/// within one, even at 300 bits a second (33 ms a character).
const QUIET: Duration = Duration::from_millis(200);

impl Line {
    pub(super) fn new(settings: PortSettings, form: &Form) -> Self {
        let (frame, ask) = match form {
            Form::Lines { frame, ask, .. } => (*frame, ask.as_ref()),
            Form::Reports { .. } => (FrameSpec::default(), None),
        };
        let now = Instant::now();
        Self {
            settings,
            is_scale: form.is_scale(),
            port: None,
            opening: None,
            opened: now,
            heard: false,
            retry: Retry::default(),
            retry_at: now,
            not_looked: LOOK_AGAIN,
            denied: None,
            last_loss: None,
            splitter: Splitter::mid_stream().framed(frame),
            rubble: Rubble::default(),
            frame,
            buffer: Box::new([0; MOST_AT_ONCE]),
            asking: ask.map(|ask| (ask.clone(), Asking::new(ask))),
            origin: now,
            last: now,
        }
    }

    /// Waits for the next thing to happen. Cancelling loses nothing.
    pub(super) async fn next(&mut self) -> Came {
        let (pause, ask) = (self.pause_at(), self.ask_at());
        let Some(port) = &mut self.port else {
            if self.opening.is_none() {
                sleep_until(self.retry_at).await;
                // Most attempts end here, while the cable is out: nothing is opened for them.
                if !self.is_scale
                    && let Err(cause) = check(&self.settings.path)
                {
                    return self.refused(&cause);
                }
                self.opening = Some(self.attempt());
            }
            let Some(opening) = &mut self.opening else {
                return Came::Nothing;
            };
            let outcome = opening.await;
            self.opening = None;
            return self.opened(outcome);
        };
        // Biased: what was read ends a pause, and is worth more than another request.
        let read = tokio::select! {
            biased;
            read = port.read(&mut self.buffer[..]) => read,
            () = at(pause) => {
                // On a busy machine a byte may lie there that was not seen yet.
                return if port.is_waiting() { Came::Nothing } else { Came::Pause };
            }
            () = at(ask) => {
                self.ask();
                return Came::Nothing;
            }
        };
        match read {
            Ok(0) => {
                let trouble = Trouble::new(
                    "port-gone",
                    format!("The balance on {} went away.", self.settings.path.display()),
                    "Nothing is read or recorded until it is back; what was recorded stays.",
                    "Put its cable back and see that it is switched on; the bench goes on by itself.",
                );
                self.lost(Loss::Gone, trouble)
            }
            Ok(count) => {
                if !self.heard && self.opened.elapsed() >= QUIET {
                    self.splitter = Splitter::at_line_start().framed(self.frame);
                }
                if !self.heard {
                    self.heard = true;
                    self.retry.succeeded();
                }
                self.last = Instant::now();
                if self.settings.data_bits == DataBits::Seven {
                    // Where the port stayed at eight, the check bit came as the top bit.
                    for byte in self.buffer.iter_mut().take(count) {
                        *byte &= 0x7F;
                    }
                }
                Came::Bytes(count)
            }
            Err(error) => {
                let trouble = Trouble::new(
                    "port-failed",
                    format!("Reading {} failed: {error}.", self.settings.path.display()),
                    "Nothing is read or recorded until it is back; what was recorded stays.",
                    "Pull the adapter and put it back.",
                );
                self.lost(Loss::Failed, trouble)
            }
        }
    }

    /// Whether the port is open.
    pub(super) fn is_open(&self) -> bool {
        self.port.is_some()
    }

    /// Whether more lies there that was not read yet.
    pub(super) fn is_waiting(&self) -> bool {
        self.port.as_ref().is_some_and(Plug::is_waiting)
    }

    /// What the scale that is open says of its reports.
    pub(super) fn scale(&self) -> Option<Arc<ScaleLayout>> {
        self.port.as_ref().and_then(Plug::scale)
    }

    /// Cuts what was read into pieces; of no bytes, what the pause ended. A report is one piece,
    /// whatever bytes are in it.
    pub(super) fn pieces(&mut self, count: Option<usize>, mut each: impl FnMut(Piece<'_>)) {
        match count {
            Some(count) => {
                let bytes = self.buffer.get(..count).unwrap_or_default();
                if self.is_scale {
                    return each(Piece::Line(bytes));
                }
                let mut any = false;
                self.splitter.push(bytes, |piece| {
                    any = true;
                    each(piece);
                });
                if any {
                    self.rubble.clear();
                    return;
                }
                // At a wrong speed a line end may never come, and it is no silence.
                for _ in 0..self.rubble.take(bytes) {
                    each(Piece::TooLong);
                }
            }
            None => {
                self.rubble.clear();
                self.splitter.paused(each);
            }
        }
    }

    /// What came was an answer, if one was waited for.
    pub(super) fn answered(&mut self) {
        let now = self.moment(Instant::now());
        if let Some((_, asking)) = &mut self.asking {
            asking.answered(now);
        }
    }

    /// Presses a key of the balance, as its file says.
    pub(super) fn press(&mut self, key: Key) -> Result<Done, Trouble> {
        let spec = self.asking.as_ref().map(|(spec, _)| spec);
        let Some(words) = spec.and_then(|spec| spec.press(key)) else {
            return Err(Trouble::new(
                "key-unknown",
                format!(
                    "The balance file does not say what presses the {} key.",
                    key.word()
                ),
                "The key was not pressed.",
                format!(
                    "Press it on the balance, or write {} behind [ask] in the balance file.",
                    key.word()
                ),
            ));
        };
        let sent = match &mut self.port {
            Some(port) => port.send_now(words),
            None => Ok(false),
        };
        if let Ok(true) = sent {
            return Ok(Done {
                text: format!(
                    "The {} key was pressed; the display goes to zero once the pan is at rest.",
                    key.word()
                ),
                warning: false,
            });
        }
        Err(Trouble::new(
            "key-not-sent",
            "The port took nothing now.",
            "The key was not pressed.",
            "See what panbell follow says of the balance, then give the order again.",
        )
        .passing())
    }

    fn moment(&self, at: Instant) -> Moment {
        Moment::after_origin(at.saturating_duration_since(self.origin))
    }

    /// When a pause would end a line.
    fn pause_at(&self) -> Option<Instant> {
        let due = self.splitter.pause_due(self.moment(self.last))?;
        Some(self.origin + due.since_origin())
    }

    /// When to ask: not before the wire was quiet for a while, so that the answer is heard from
    /// its beginning.
    fn ask_at(&self) -> Option<Instant> {
        let (_, asking) = self.asking.as_ref()?;
        Some((self.origin + asking.due().since_origin()).max(self.opened + QUIET))
    }

    fn ask(&mut self) {
        let now = self.moment(Instant::now());
        let (Some(port), Some((spec, asking))) = (&mut self.port, &mut self.asking) else {
            return;
        };
        if asking.ask(now) {
            tracing::debug!("the balance did not answer in time");
            // A request that has not even left is not sent twice.
            if let Err(error) = port.take_back() {
                tracing::debug!(%error, "what was not sent could not be taken back");
            }
        }
        match port.send_now(&spec.send) {
            Ok(true) => {}
            Ok(false) => tracing::debug!("the port took no request: it is told to wait"),
            // Reading tells of a port that went away.
            Err(error) => tracing::debug!(%error, "the balance could not be asked"),
        }
    }

    /// One attempt, beside the loop. An adapter that is stuck holds it for seconds.
    fn attempt(&mut self) -> JoinHandle<Result<Plug, ScaleTrouble>> {
        let (settings, is_scale) = (self.settings.clone(), self.is_scale);
        // Who holds it is looked for through every process: not at each attempt.
        let is_busy = matches!(self.last_loss, Some(Loss::Port(PortTrouble::Busy { .. })));
        self.not_looked += 1;
        let look = !is_busy || self.not_looked >= LOOK_AGAIN;
        if look {
            self.not_looked = 0;
        }
        spawn_blocking(move || Plug::open(&settings, is_scale, look))
    }

    fn opened(&mut self, outcome: Result<Result<Plug, ScaleTrouble>, JoinError>) -> Came {
        let outcome = outcome.unwrap_or_else(|error| {
            Err(ScaleTrouble::Port(PortTrouble::Failed {
                path: self.settings.path.clone(),
                text: error.to_string(),
            }))
        });
        match outcome {
            Ok(port) => {
                port.log(&self.settings.path);
                self.port = Some(port);
                self.opened = Instant::now();
                self.heard = false;
                self.last = self.opened;
                self.splitter = Splitter::mid_stream().framed(self.frame);
                self.rubble.clear();
                self.denied = None;
                if let Some((_, asking)) = &mut self.asking {
                    asking.opened();
                }
                self.last_loss = None;
                Came::Opened
            }
            Err(ScaleTrouble::Port(cause)) => self.refused(&cause),
            Err(ScaleTrouble::Device(trouble)) => self.refused_with(trouble),
        }
    }

    fn refused_with(&mut self, trouble: Trouble) -> Came {
        self.retry_at = Instant::now() + self.retry.failed();
        let loss = Loss::Device(trouble.clone());
        if self.last_loss.as_ref() == Some(&loss) {
            return Came::Nothing;
        }
        self.say(loss, trouble)
    }

    fn refused(&mut self, cause: &PortTrouble) -> Came {
        self.retry_at = Instant::now() + self.retry.failed();
        // A port that went away and is not there yet is no news, nor is one that is still busy.
        let is_known = match (&self.last_loss, cause) {
            (Some(Loss::Gone), PortTrouble::Absent { .. }) => true,
            // Who has it is known only where it was looked for.
            (Some(Loss::Port(last)), PortTrouble::Busy { holder: None, .. }) => {
                matches!(last, PortTrouble::Busy { .. })
            }
            (Some(Loss::Port(last)), cause) => last == cause,
            _ => false,
        };
        if is_known {
            return Came::Nothing;
        }
        let had_gone = matches!(
            self.last_loss,
            Some(Loss::Gone | Loss::Port(PortTrouble::Absent { .. }))
        );
        if had_gone && matches!(cause, PortTrouble::NoPermission { .. }) {
            let since = *self.denied.get_or_insert_with(Instant::now);
            if since.elapsed() < GIVEN_AWAY_BY {
                return Came::Nothing;
            }
        }
        self.denied = None;
        self.say(Loss::Port(cause.clone()), cause.trouble())
    }

    /// Closes at once: while a dead descriptor is held, the adapter comes back under another name.
    fn lost(&mut self, loss: Loss, trouble: Trouble) -> Came {
        if let Some(port) = self.port.take() {
            // Beside the loop: closing waits for an adapter that is stuck.
            drop(spawn_blocking(move || drop(port)));
        }
        // One that only comes and goes is tried less and less often too.
        if self.opened.elapsed() >= Retry::LONGEST {
            self.retry.succeeded();
        }
        self.retry_at = Instant::now() + self.retry.failed();
        self.say(loss, trouble)
    }

    fn say(&mut self, loss: Loss, trouble: Trouble) -> Came {
        tracing::warn!(code = trouble.code, "{trouble}");
        self.last_loss = Some(loss);
        Came::Lost(Arc::new(trouble))
    }
}

/// Waits for a moment; for ever, where there is none.
async fn at(moment: Option<Instant>) {
    match moment {
        Some(moment) => sleep_until(moment).await,
        None => std::future::pending().await,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
mod tests {
    use super::*;
    use crate::balance::LayoutSpec;
    use crate::port::{Framing, Holder};

    fn line() -> Line {
        let port = PortSettings::new("/dev/ttyX", 9600, Framing::EIGHT_NONE_ONE);
        Line::new(
            port,
            &Form::Lines {
                frame: FrameSpec::default(),
                layout: LayoutSpec::default(),
                ask: None,
            },
        )
    }

    fn said(came: &Came) -> Option<&'static str> {
        match came {
            Came::Lost(trouble) => Some(trouble.code),
            _ => None,
        }
    }

    fn denied() -> PortTrouble {
        PortTrouble::NoPermission {
            path: "/dev/ttyX".into(),
            owner: "root".to_owned(),
            group: "root".to_owned(),
            mode: 0o600,
            who: "anna".to_owned(),
            listed: false,
        }
    }

    fn busy(pid: Option<u32>) -> PortTrouble {
        PortTrouble::Busy {
            path: "/dev/ttyX".into(),
            holder: pid.map(|pid| Holder {
                pid,
                name: "sketch".to_owned(),
            }),
        }
    }

    fn absent() -> PortTrouble {
        PortTrouble::Absent {
            path: "/dev/ttyX".into(),
        }
    }

    #[test]
    fn a_port_that_has_just_come_is_given_time_to_be_given_away() {
        let mut line = line();
        assert_eq!(said(&line.refused(&absent())), Some("port-absent"));
        assert_eq!(said(&line.refused(&absent())), None);
        assert_eq!(
            said(&line.refused(&denied())),
            None,
            "its rule may not have run yet"
        );
        line.denied = Instant::now().checked_sub(GIVEN_AWAY_BY);
        assert_eq!(said(&line.refused(&denied())), Some("port-no-permission"));
        assert_eq!(said(&line.refused(&denied())), None, "said once");
        // At the start there is nothing to wait for.
        assert_eq!(
            said(&self::line().refused(&denied())),
            Some("port-no-permission")
        );
    }

    #[test]
    fn another_program_is_named_once_and_again_when_it_is_another() {
        let mut line = line();
        assert_eq!(said(&line.refused(&busy(Some(7)))), Some("port-busy"));
        for _ in 0..5 {
            assert_eq!(said(&line.refused(&busy(None))), None);
        }
        assert_eq!(said(&line.refused(&busy(Some(7)))), None);
        assert_eq!(said(&line.refused(&busy(Some(8)))), Some("port-busy"));
        assert_eq!(said(&line.refused(&absent())), Some("port-absent"));
    }

    #[test]
    fn attempts_at_a_port_that_stays_away_become_rare() {
        let mut line = line();
        for _ in 0..10 {
            line.refused(&absent());
        }
        assert!(line.retry_at - Instant::now() > Duration::from_millis(1500));
    }
}
