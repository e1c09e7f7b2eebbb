//! The real program, running under a folder of its own, and a plain client of its socket.

use std::fs::{self, File};
use std::io::Write as _;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use tempfile::TempDir;

use crate::hear::PATIENCE;
use crate::wire::Wire;

/// A folder with everything in it that a service needs.
pub(crate) struct Home(TempDir);

impl Home {
    /// A bench at the end of this wire, otherwise as the program comes.
    pub(crate) fn new(wire: &Wire) -> Self {
        let home = tempfile::tempdir().unwrap();
        fs::write(
            home.path().join("panbell.toml"),
            settings(&wire.other.display().to_string()),
        )
        .unwrap();
        fs::create_dir(home.path().join("book")).unwrap();
        Self(home)
    }

    /// A bench at the end of each wire: `b0`, `b1`, ...
    pub(crate) fn of_many(wires: &[Wire]) -> Self {
        let home = tempfile::tempdir().unwrap();
        let benches = wires.iter().enumerate().map(|(at, wire)| {
            let settings = bench(&wire.other.display().to_string());
            settings.replace("[[bench]]\n", &format!("[[bench]]\nname = \"b{at}\"\n"))
        });
        fs::write(
            home.path().join("panbell.toml"),
            format!("{NO_PAGE}{}", benches.collect::<String>()),
        )
        .unwrap();
        fs::create_dir(home.path().join("book")).unwrap();
        Self(home)
    }

    /// Puts a job file into the book.
    pub(crate) fn put_job(&self, name: &str, text: &str) {
        let path = self.path().join("book").join(format!("{name}.jsonl"));
        fs::write(path, text).unwrap();
    }

    pub(crate) fn path(&self) -> &Path {
        self.0.path()
    }

    fn socket(&self) -> PathBuf {
        self.path().join("run/panbell.sock")
    }

    /// Starts the service and does not wait for it.
    pub(crate) fn spawn(&self) -> Service<'_> {
        let log = File::create(self.path().join("log")).unwrap();
        let child = Command::new(env!("CARGO_BIN_EXE_panbell"))
            .arg("--home")
            .arg(self.path())
            .arg("run")
            // No bell of a measurement may ring on the desktop of whoever measures.
            .env(
                "DBUS_SESSION_BUS_ADDRESS",
                format!("unix:path={}", self.path().join("no-bus").display()),
            )
            .env_remove("JOURNAL_STREAM")
            .env_remove("NOTIFY_SOCKET")
            .env_remove("WATCHDOG_USEC")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .unwrap();
        Service { home: self, child }
    }

    /// Starts the service and waits until it has opened the port and the wire was quiet for long
    /// enough that the first line counts.
    pub(crate) fn start(&self) -> Service<'_> {
        let service = self.spawn();
        let deadline = Instant::now() + PATIENCE;
        let log = self.path().join("log");
        while !fs::read_to_string(&log).unwrap().contains("port opened") {
            assert!(
                Instant::now() < deadline,
                "the service did not open its port"
            );
            std::thread::sleep(Duration::from_millis(5));
        }
        std::thread::sleep(Duration::from_millis(300));
        service
    }
}

/// Settings of one bench on this port.
pub(crate) fn settings(port: &str) -> String {
    format!("{NO_PAGE}{}", bench(port))
}

const NO_PAGE: &str = "[page]\nat = \"off\"\n";

fn bench(port: &str) -> String {
    format!("[[bench]]\nport = \"{port}\"\nbalance = \"status-first\"\ndivision = \"0.01 g\"\n")
}

/// A running service. Dropping it stops it.
pub(crate) struct Service<'a> {
    home: &'a Home,
    child: Child,
}

impl Service<'_> {
    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// A stream of the bench's events.
    pub(crate) fn follow(&self) -> UnixStream {
        self.follow_bench("-")
    }

    /// A stream of the events of one of several benches.
    pub(crate) fn follow_bench(&self, bench: &str) -> UnixStream {
        let deadline = Instant::now() + PATIENCE;
        let mut stream = loop {
            match UnixStream::connect(self.home.socket()) {
                Ok(stream) => break stream,
                Err(error) => assert!(Instant::now() < deadline, "no socket: {error}"),
            }
            std::thread::sleep(Duration::from_micros(200));
        };
        stream
            .write_all(
                format!("GET /v1/bench/{bench}/events HTTP/1.1\r\nhost: localhost\r\n\r\n")
                    .as_bytes(),
            )
            .unwrap();
        stream
    }
}

/// The number that a `reading` event carries, from its data line.
pub(crate) fn number_of_event(line: &str) -> Option<usize> {
    crate::wire::number_in(line.strip_prefix("data: {\"shown\":\"")?)
}

impl Drop for Service<'_> {
    fn drop(&mut self) {
        let pid = i32::try_from(self.child.id()).ok().and_then(Pid::from_raw);
        kill_process(pid.unwrap(), Signal::TERM).ok();
        let deadline = Instant::now() + PATIENCE;
        while let Ok(None) = self.child.try_wait() {
            if Instant::now() > deadline {
                drop(self.child.kill());
            }
            std::thread::sleep(Duration::from_millis(2));
        }
    }
}
