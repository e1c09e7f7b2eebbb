//! One ear on an open port: what comes, when it paused, and what the person was doing then.
//!
//! Promises: bounded memory; every wait has an end; a request is only sent when there is one, and
//! only after an answer or its time-out. Leaves to others: which port, and what the bytes mean.

use std::path::PathBuf;
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use crate::balance::AskSpec;
use crate::balance::learn::{Capture, Phase};
use crate::port::{OpenPort, PortSettings};
use crate::trouble::Trouble;

/// A silence that is kept as a pause: longer than an adapter collects bytes.
const PAUSE: Duration = Duration::from_millis(20);
/// The most that is kept; a minute of the fastest balance is less.
const MOST_BYTES: usize = 1 << 20;
/// How long an answer may take.
pub(super) const ANSWER: Duration = Duration::from_secs(1);
/// The least time between two requests.
const EVERY: Duration = Duration::from_millis(200);

/// An ear on a port.
pub(super) struct Ear {
    port: OpenPort,
    path: PathBuf,
    capture: Capture,
    last: Instant,
    request: Option<Vec<u8>>,
    asked: Option<Instant>,
    answered: bool,
}

impl Ear {
    pub(super) fn open(settings: &PortSettings) -> Result<Self, Trouble> {
        let port = OpenPort::open(settings).map_err(|cause| cause.with_holder().trouble())?;
        Ok(Self {
            port,
            path: settings.path.clone(),
            capture: Capture::default(),
            last: Instant::now(),
            request: None,
            asked: None,
            answered: true,
        })
    }

    /// From now on it is asked with this.
    pub(super) fn ask_with(&mut self, request: Option<Vec<u8>>) {
        self.request = request;
        self.asked = None;
        self.answered = true;
    }

    /// How it is asked, as a balance file says it.
    pub(super) fn ask_spec(&self) -> Option<AskSpec> {
        self.request.clone().map(|send| AskSpec {
            send,
            every: EVERY,
            timeout: ANSWER,
            tare: None,
            zero: None,
        })
    }

    pub(super) fn heard(&self) -> &[u8] {
        &self.capture.bytes
    }

    /// Everything that was heard, and when.
    pub(super) fn capture(&self) -> &Capture {
        &self.capture
    }

    /// Forgets what was heard.
    pub(super) fn forget(&mut self) {
        self.capture = Capture::default();
    }

    pub(super) fn into_capture(self) -> Capture {
        self.capture
    }

    /// What comes from now on is of this phase.
    pub(super) fn phase(&mut self, phase: Phase) {
        self.capture.phases.push((self.capture.bytes.len(), phase));
    }

    /// Listens for so long.
    pub(super) async fn listen(&mut self, time: Duration) -> Result<(), Trouble> {
        self.until(Instant::now() + time, |_| false).await
    }

    /// Listens until what was heard is enough, at most so long.
    pub(super) async fn until(
        &mut self,
        end: Instant,
        enough: impl Fn(&[u8]) -> bool,
    ) -> Result<(), Trouble> {
        while Instant::now() < end && !enough(&self.capture.bytes) {
            self.step(end).await?;
        }
        Ok(())
    }

    /// Takes in what comes next, or asks; returns at the moment given at the latest. Cancelling
    /// it loses nothing but a request that was being sent.
    pub(super) async fn step(&mut self, end: Instant) -> Result<(), Trouble> {
        let due = self.request.as_ref().map(|_| match self.asked {
            None => Instant::now(),
            Some(asked) if self.answered => asked + EVERY,
            Some(asked) => asked + ANSWER,
        });
        let wake = due.map_or(end, |due| due.min(end));
        let mut buffer = [0; 1024];
        tokio::select! {
            biased;
            read = self.port.read(&mut buffer) => match read {
                Ok(count) if count > 0 => self.take(buffer.get(..count).unwrap_or_default()),
                Ok(_) => return Err(self.gone("it went away")),
                Err(error) => return Err(self.gone(&format!("reading failed: {error}"))),
            },
            () = sleep_until(wake) => {
                if due.is_some_and(|due| due <= Instant::now()) {
                    self.ask().await?;
                }
            }
        }
        Ok(())
    }

    async fn ask(&mut self) -> Result<(), Trouble> {
        let Some(request) = self.request.clone() else {
            return Ok(());
        };
        self.asked = Some(Instant::now());
        self.answered = false;
        let sent = self.port.write_all(&request, ANSWER).await;
        sent.map_err(|error| self.gone(&format!("asking it failed: {error}")))
    }

    fn take(&mut self, bytes: &[u8]) {
        let silence = self.last.elapsed();
        let at = self.capture.bytes.len();
        if silence >= PAUSE && at > 0 {
            self.capture.pauses.push((at, silence));
        }
        self.last = Instant::now();
        self.answered = true;
        let room = MOST_BYTES.saturating_sub(at);
        self.capture.bytes.extend(bytes.iter().take(room));
    }

    fn gone(&self, why: &str) -> Trouble {
        Trouble::new(
            "port-gone",
            format!(
                "The balance on {} cannot be heard any more: {why}.",
                self.path.display()
            ),
            "How it speaks was not learned, and nothing was saved.",
            "See that its cable is in and it is switched on, and begin again.",
        )
    }
}
