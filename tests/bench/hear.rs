//! Where numbered lines arrive: a thread that only reads, and notes each number and its moment.

use std::collections::BTreeMap;
use std::io::Read;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// How long anything may take that is waited for here.
pub(crate) const PATIENCE: Duration = Duration::from_secs(20);

/// What a thread hears from a stream of lines.
pub(crate) struct Heard {
    arrived: Receiver<(usize, Instant)>,
}

impl Heard {
    /// Reads until the stream ends. The moment of a line is the one at which the read that
    /// completed it came back, before it is looked at.
    pub(crate) fn from(
        mut stream: impl Read + Send + 'static,
        number: impl Fn(&str) -> Option<usize> + Send + 'static,
    ) -> Self {
        let (tell, arrived) = channel();
        std::thread::spawn(move || {
            let mut buffer = vec![0; 64 * 1024];
            let mut rest = Vec::new();
            while let Ok(count @ 1..) = stream.read(&mut buffer) {
                let at = Instant::now();
                rest.extend_from_slice(&buffer[..count]);
                let Some(end) = rest.iter().rposition(|byte| *byte == b'\n') else {
                    continue;
                };
                let whole: Vec<u8> = rest.drain(..=end).collect();
                for line in String::from_utf8_lossy(&whole).lines() {
                    if let Some(number) = number(line)
                        && tell.send((number, at)).is_err()
                    {
                        return;
                    }
                }
            }
        });
        Self { arrived }
    }

    /// Waits until a line of this number or a later one has arrived; gives all that came by then.
    pub(crate) fn until(&self, last: usize) -> BTreeMap<usize, Instant> {
        let deadline = Instant::now() + PATIENCE;
        let mut all = BTreeMap::new();
        while !all.contains_key(&last) {
            let left = deadline.saturating_duration_since(Instant::now());
            let Ok((number, at)) = self.arrived.recv_timeout(left) else {
                return all;
            };
            all.entry(number).or_insert(at);
        }
        all
    }

    /// Forgets what has arrived.
    pub(crate) fn forget(&self) {
        while self.arrived.try_recv().is_ok() {}
    }
}

/// The moment in steps of a steady rate, so that a late one does not make the next ones late.
pub(crate) struct Beat {
    next: Instant,
    every: Duration,
}

impl Beat {
    pub(crate) fn new(every: Duration) -> Self {
        Self {
            next: Instant::now(),
            every,
        }
    }

    pub(crate) fn wait(&mut self) {
        self.next += self.every;
        std::thread::sleep(self.next.saturating_duration_since(Instant::now()));
    }
}
