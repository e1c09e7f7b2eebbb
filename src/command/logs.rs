//! Where the log goes: to the journal when systemd started the service, else to standard error.

use std::io::IsTerminal as _;

use tracing::level_filters::LevelFilter;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;

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
    let ansi = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let layer = tracing_subscriber::fmt::layer()
        .with_writer(std::io::stderr)
        .with_ansi(ansi)
        .with_target(verbose > 0);
    base.with(layer).init();
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
