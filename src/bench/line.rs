//! The line to one balance: the open port, or the next attempt at it.

use std::sync::Arc;
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use crate::balance::{AskSpec, Asking, FrameSpec, Key, Piece, Retry, Splitter};
use crate::job::Done;
use crate::mass::Moment;
use crate::port::{DataBits, OpenPort, PortSettings, PortTrouble};
use crate::trouble::Trouble;

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
    port: Option<OpenPort>,
    opened: Instant,
    heard: bool,
    retry: Retry,
    retry_at: Instant,
    last_trouble: Option<Arc<Trouble>>,
    splitter: Splitter,
    frame: FrameSpec,
    buffer: Box<[u8; 4096]>,
    /// What to send and when, to a balance that must be asked.
    asking: Option<(AskSpec, Asking)>,
    origin: Instant,
    /// When the last byte came, or the port was opened.
    last: Instant,
}

/// The code of a port that hung up.
const GONE: &str = "port-gone";

/// The code of a port that another program holds.
const BUSY: &str = "port-busy";

/// A first byte that comes so long after the opening begins a line: no balance pauses so long
/// within one, even at 300 bits a second (33 ms a character).
const QUIET: Duration = Duration::from_millis(200);

impl Line {
    pub(super) fn new(settings: PortSettings, frame: FrameSpec, ask: Option<&AskSpec>) -> Self {
        let now = Instant::now();
        Self {
            settings,
            port: None,
            opened: now,
            heard: false,
            retry: Retry::default(),
            retry_at: now,
            last_trouble: None,
            splitter: Splitter::mid_stream().framed(frame),
            frame,
            buffer: Box::new([0; 4096]),
            asking: ask.map(|ask| (ask.clone(), Asking::new(ask))),
            origin: now,
            last: now,
        }
    }

    /// Waits for the next thing to happen. Cancelling loses nothing.
    pub(super) async fn next(&mut self) -> Came {
        let (pause, ask) = (self.pause_at(), self.ask_at());
        let Some(port) = &mut self.port else {
            sleep_until(self.retry_at).await;
            return self.open();
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
            Ok(0) => self.lost(Trouble::new(
                GONE,
                format!("The balance on {} went away.", self.settings.path.display()),
                "Nothing is read or recorded until it is back; what was recorded stays.",
                "Put its cable back and see that it is switched on; the bench goes on by itself.",
            )),
            Ok(count) => {
                if !self.heard && self.opened.elapsed() >= QUIET {
                    self.splitter = Splitter::at_line_start().framed(self.frame);
                }
                self.heard = true;
                self.last = Instant::now();
                if self.settings.data_bits == DataBits::Seven {
                    // Where the port stayed at eight, the check bit came as the top bit.
                    for byte in self.buffer.iter_mut().take(count) {
                        *byte &= 0x7F;
                    }
                }
                Came::Bytes(count)
            }
            Err(error) => self.lost(Trouble::new(
                "port-failed",
                format!("Reading {} failed: {error}.", self.settings.path.display()),
                "Nothing is read or recorded until it is back; what was recorded stays.",
                "Pull the adapter and put it back.",
            )),
        }
    }

    /// Cuts what was read into pieces; of no bytes, what the pause ended.
    pub(super) fn pieces(&mut self, count: Option<usize>, each: impl FnMut(Piece<'_>)) {
        match count {
            Some(count) => {
                let bytes = self.buffer.get(..count).unwrap_or_default();
                self.splitter.push(bytes, each);
            }
            None => self.splitter.paused(each),
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

    fn open(&mut self) -> Came {
        match OpenPort::open(&self.settings) {
            Ok(port) => {
                tracing::info!(port = %self.settings.path.display(), "port opened");
                if port
                    .kept_framing()
                    .is_ok_and(|kept| kept != port.asked_framing())
                {
                    tracing::warn!(asked = %port.asked_framing(), port = %self.settings.path.display(),
                        "the port did not keep its framing; a pseudo-terminal never does");
                }
                self.port = Some(port);
                self.opened = Instant::now();
                self.heard = false;
                self.last = self.opened;
                self.splitter = Splitter::mid_stream().framed(self.frame);
                if let Some((_, asking)) = &mut self.asking {
                    asking.opened();
                }
                self.retry.succeeded();
                self.last_trouble = None;
                Came::Opened
            }
            Err(cause) => self.refused(cause),
        }
    }

    fn refused(&mut self, cause: PortTrouble) -> Came {
        self.retry_at = Instant::now() + self.retry.failed();
        // A port that went away and is not there yet is no news, nor is one that is still busy.
        let known = |last: &Trouble| match &cause {
            PortTrouble::Absent { .. } => last.code == GONE || *last == cause.trouble(),
            PortTrouble::Busy { .. } => last.code == BUSY,
            _ => *last == cause.trouble(),
        };
        if self.last_trouble.as_deref().is_some_and(known) {
            return Came::Nothing;
        }
        self.say(cause.with_holder().trouble())
    }

    /// Closes at once: while a dead descriptor is held, the adapter comes back under another name.
    fn lost(&mut self, trouble: Trouble) -> Came {
        self.port = None;
        self.retry_at = Instant::now() + self.retry.failed();
        self.say(trouble)
    }

    fn say(&mut self, trouble: Trouble) -> Came {
        tracing::warn!(code = trouble.code, "{trouble}");
        let trouble = Arc::new(trouble);
        self.last_trouble = Some(Arc::clone(&trouble));
        Came::Lost(trouble)
    }
}

/// Waits for a moment; for ever, where there is none.
async fn at(moment: Option<Instant>) {
    match moment {
        Some(moment) => sleep_until(moment).await,
        None => std::future::pending().await,
    }
}
