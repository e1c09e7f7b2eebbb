//! The line to one balance, serial or of a USB scale: the open port, or the next attempt at it.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use crate::balance::hid::ScaleLayout;
use crate::balance::{Piece, Retry, Splitter};
use crate::port::{OpenPort, PortSettings, PortTrouble, ScalePort, ScaleTrouble};
use crate::settings::Form;
use crate::trouble::Trouble;

/// What came over the line.
pub(super) enum Came {
    /// The port was opened.
    Opened,
    /// It could not be, or went away; said once until something else happens.
    Lost(Arc<Trouble>),
    /// Bytes were read into the buffer.
    Bytes(usize),
    /// An attempt failed as before.
    Nothing,
}

/// The open port.
enum Port {
    Serial(OpenPort),
    Scale(ScalePort),
}

impl Port {
    async fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Serial(port) => port.read(buf).await,
            Self::Scale(port) => port.read(buf).await,
        }
    }
}

/// The line to one balance.
pub(super) struct Line {
    settings: PortSettings,
    /// It sends reports, not lines.
    is_scale: bool,
    port: Option<Port>,
    opened: Instant,
    heard: bool,
    retry: Retry,
    retry_at: Instant,
    last_trouble: Option<Arc<Trouble>>,
    splitter: Splitter,
    buffer: Box<[u8; 4096]>,
}

/// The code of a port that hung up.
const GONE: &str = "port-gone";

/// The code of a port that another program holds.
const BUSY: &str = "port-busy";

/// A first byte that comes so long after the opening begins a line: no balance pauses so long
/// within one, even at 300 bits a second (33 ms a character).
const QUIET: Duration = Duration::from_millis(200);

impl Line {
    pub(super) fn new(settings: PortSettings, form: &Form) -> Self {
        Self {
            settings,
            is_scale: matches!(form, Form::Reports { .. }),
            port: None,
            opened: Instant::now(),
            heard: false,
            retry: Retry::default(),
            retry_at: Instant::now(),
            last_trouble: None,
            splitter: Splitter::mid_stream(),
            buffer: Box::new([0; 4096]),
        }
    }

    /// Waits for the next thing to happen. Cancelling loses nothing.
    pub(super) async fn next(&mut self) -> Came {
        let Some(port) = &mut self.port else {
            sleep_until(self.retry_at).await;
            return self.open();
        };
        match port.read(&mut self.buffer[..]).await {
            Ok(0) => self.lost(Trouble::new(
                GONE,
                format!("The balance on {} went away.", self.settings.path.display()),
                "Nothing is read or recorded until it is back; what was recorded stays.",
                "Put its cable back and see that it is switched on; the bench goes on by itself.",
            )),
            Ok(count) => {
                if !self.heard && self.opened.elapsed() >= QUIET {
                    self.splitter = Splitter::at_line_start();
                }
                self.heard = true;
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

    /// What the scale that is open says of its reports.
    pub(super) fn scale(&self) -> Option<Arc<ScaleLayout>> {
        match &self.port {
            Some(Port::Scale(port)) => Some(Arc::clone(port.layout())),
            _ => None,
        }
    }

    /// Cuts what was read into pieces. A report is one piece, whatever bytes are in it.
    pub(super) fn pieces(&mut self, count: usize, mut each: impl FnMut(Piece<'_>)) {
        let bytes = self.buffer.get(..count).unwrap_or_default();
        if self.is_scale {
            each(Piece::Line(bytes));
        } else {
            self.splitter.push(bytes, each);
        }
    }

    fn open(&mut self) -> Came {
        if self.is_scale {
            return match ScalePort::open(&self.settings.path) {
                Ok(port) => {
                    tracing::info!(port = %self.settings.path.display(), described = %port.layout(), "scale opened");
                    self.opened(Port::Scale(port))
                }
                Err(ScaleTrouble::Port(cause)) => self.refused(cause),
                Err(ScaleTrouble::Device(trouble)) => self.refused_with(trouble),
            };
        }
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
                self.opened(Port::Serial(port))
            }
            Err(cause) => self.refused(cause),
        }
    }

    fn opened(&mut self, port: Port) -> Came {
        self.port = Some(port);
        self.opened = Instant::now();
        self.heard = false;
        self.splitter = Splitter::mid_stream();
        self.retry.succeeded();
        self.last_trouble = None;
        Came::Opened
    }

    fn refused_with(&mut self, trouble: Trouble) -> Came {
        self.retry_at = Instant::now() + self.retry.failed();
        if self.last_trouble.as_deref() == Some(&trouble) {
            return Came::Nothing;
        }
        self.say(trouble)
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
