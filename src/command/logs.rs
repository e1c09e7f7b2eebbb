//! Where the log goes: to the journal when systemd started the service, else to standard error.

use std::io::{self, Write};

use tracing::level_filters::LevelFilter;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;

use crate::trouble::harmless_lines;

/// Starts the log; `verbose` is how often `-v` was given.
pub(super) fn start(verbose: u8) {
    let level = match verbose {
        0 => LevelFilter::INFO,
        1 => LevelFilter::DEBUG,
        _ => LevelFilter::TRACE,
    };
    let base = tracing_subscriber::registry().with(level);
    if is_journal()
        && let Ok(journal) = tracing_journald::layer()
    {
        return base
            .with(journal.with_syslog_identifier("panbell".to_owned()))
            .init();
    }
    let layer = tracing_subscriber::fmt::layer()
        .with_writer(|| Harmless(std::io::stderr()))
        .with_target(verbose > 0);
    base.with(layer).init();
}

/// Writes the log without what commands, turns or hides text: devices and clients are named in it.
struct Harmless<W>(W);

impl<W: Write> Write for Harmless<W> {
    fn write(&mut self, event: &[u8]) -> io::Result<usize> {
        let text = String::from_utf8_lossy(event);
        self.0.write_all(harmless_lines(&text).as_bytes())?;
        Ok(event.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// Whether standard error is the journal's stream: its device and inode stand in the variable
/// (systemd.exec(5), `JOURNAL_STREAM`).
fn is_journal() -> bool {
    let Ok(stream) = std::env::var("JOURNAL_STREAM") else {
        return false;
    };
    rustix::fs::fstat(std::io::stderr())
        .is_ok_and(|stat| stream == format!("{}:{}", stat.st_dev, stat.st_ino))
}
