//! The real program: the service as a process with its log, and one command at a time.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing, missing_docs)]

use std::fs;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

use super::follower::LIMIT;
use super::home::Home;

/// The program under test.
pub const PANBELL: &str = env!("CARGO_BIN_EXE_panbell");

/// A running service. Killed when dropped.
pub struct Service {
    pub child: Child,
    pub log: PathBuf,
    socket: PathBuf,
}

impl Service {
    /// Starts the service of a home; returns when its socket answers. No bus is in reach.
    pub fn start(home: &Home) -> Self {
        let mut service = Self::spawn(home, command(home.path()));
        service.until_ready();
        service
    }

    /// Starts it by this command, its log beside the settings; does not wait for it.
    pub fn spawn(home: &Home, mut command: Command) -> Self {
        let log = home.path().join("service.log");
        let file = fs::File::options()
            .create(true)
            .append(true)
            .open(&log)
            .unwrap();
        let child = command
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(file)
            .spawn()
            .unwrap();
        Self {
            child,
            log,
            socket: home.socket(),
        }
    }

    /// Waits until the socket answers.
    pub fn until_ready(&mut self) {
        let until = Instant::now() + LIMIT;
        while UnixStream::connect(&self.socket).is_err() {
            if let Some(status) = self.child.try_wait().unwrap() {
                panic!("the service ended with {status}: {}", self.log());
            }
            assert!(Instant::now() < until, "no socket: {}", self.log());
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    /// Everything that it has said so far.
    pub fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// Waits until the log holds these words.
    pub fn until_logged(&self, words: &str) {
        let until = Instant::now() + LIMIT;
        while !self.log().contains(words) {
            assert!(
                Instant::now() < until,
                "\"{words}\" was never logged: {}",
                self.log()
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    pub fn is_running(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    /// Sends a signal.
    pub fn signal(&self, signal: Signal) {
        let pid = Pid::from_raw(i32::try_from(self.pid()).unwrap()).unwrap();
        kill_process(pid, signal).unwrap();
    }

    /// Ends it without any warning.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Waits for its end; gives its status and how long it took.
    pub fn wait(&mut self, limit: Duration) -> (ExitStatus, Duration) {
        let began = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return (status, began.elapsed());
            }
            assert!(
                began.elapsed() < limit,
                "it did not end in {limit:?}: {}",
                self.log()
            );
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// Stops it as a service manager would; it must end well.
    pub fn stop(&mut self) -> Duration {
        self.signal(Signal::TERM);
        let (status, took) = self.wait(LIMIT);
        assert_eq!(status.code(), Some(0), "{}", self.log());
        took
    }

    /// The descriptors that it has open.
    pub fn descriptors(&self) -> usize {
        fs::read_dir(format!("/proc/{}/fd", self.pid()))
            .unwrap()
            .count()
    }

    /// Processor time that it has used.
    pub fn cpu(&self) -> Duration {
        let stat = fs::read_to_string(format!("/proc/{}/stat", self.pid())).unwrap();
        let after = stat.rsplit_once(") ").unwrap().1;
        let ticks = |at: usize| -> u64 { after.split(' ').nth(at).unwrap().parse().unwrap() };
        // utime and stime are fields 14 and 15 (proc(5)), in hundredths of a second on Linux.
        Duration::from_millis(10 * (ticks(11) + ticks(12)))
    }

    /// How often its loop went to sleep so far, which is how often it woke.
    pub fn wakes(&self) -> u64 {
        let status = fs::read_to_string(format!("/proc/{}/status", self.pid())).unwrap();
        let line = status
            .lines()
            .find_map(|line| line.strip_prefix("voluntary_ctxt_switches:"));
        line.unwrap().trim().parse().unwrap()
    }

    /// Memory that it holds, in KiB.
    pub fn memory(&self) -> u64 {
        let status = fs::read_to_string(format!("/proc/{}/status", self.pid())).unwrap();
        let line = status.lines().find(|line| line.starts_with("VmRSS:"));
        let number = line.unwrap().split_whitespace().nth(1).unwrap();
        number.parse().unwrap()
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// `panbell --home HOME run`, far from this machine's own desktop and service manager.
pub fn command(home: &Path) -> Command {
    let mut command = plain(home);
    command.arg("run");
    command
}

/// `panbell --home HOME`, the rest to come.
pub fn plain(home: &Path) -> Command {
    let mut command = Command::new(PANBELL);
    command.arg("--home").arg(home);
    cut_off(&mut command, home);
    command
}

/// Takes away what would let a test reach this machine's desktop or service manager.
pub fn cut_off(command: &mut Command, home: &Path) {
    command
        .env(
            "DBUS_SESSION_BUS_ADDRESS",
            format!("unix:path={}/no-bus", home.display()),
        )
        .env_remove("NOTIFY_SOCKET")
        .env_remove("WATCHDOG_USEC")
        .env_remove("WATCHDOG_PID")
        .env_remove("JOURNAL_STREAM");
}

/// Says, past the test runner which keeps the words of tests that pass, that a real part is
/// missing here.
pub fn loud(text: &str) {
    let mut err = std::io::stderr().lock();
    std::io::Write::write_all(&mut err, format!("LOUD: {text}\n").as_bytes()).ok();
}

/// A process that does not outlive its test.
pub struct KilledOnDrop(pub Child);

impl Drop for KilledOnDrop {
    fn drop(&mut self) {
        self.0.kill().ok();
        self.0.wait().ok();
    }
}

/// How a command ended, and what it said.
#[derive(Debug)]
pub struct Said {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Said {
    /// Asserts this exit code; gives what was said on standard output.
    pub fn ends(self, code: i32) -> String {
        assert_eq!(self.code, code, "{self:?}");
        self.out
    }

    /// Asserts that it could not, and that standard error holds these words.
    pub fn is_refused_with(&self, words: &str) {
        assert_eq!(self.code, 1, "{self:?}");
        assert!(self.err.contains(words), "{words}: {self:?}");
        assert!(self.err.lines().count() >= 3, "{self:?}");
    }

    /// Asserts that it was refused in three sentences on standard error, of which the first holds
    /// these words.
    pub fn is_refused(&self, words: &str) {
        assert_eq!(self.code, 1, "{self:?}");
        assert_eq!(self.out, "", "{self:?}");
        // What may be ordered instead stands below.
        let next = |line: &&str| line.starts_with("Next: panbell ");
        let lines: Vec<&str> = self.err.lines().filter(|line| !next(line)).collect();
        assert_eq!(lines.len(), 3, "{self:?}");
        assert!(lines[0].contains(words), "{words}: {self:?}");
        for line in lines {
            assert!(line.ends_with(['.', '?']) && line.len() > 10, "{self:?}");
        }
    }
}

/// Runs a command to its end, within the limit.
pub fn run(command: &mut Command) -> Said {
    let child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let pid = Pid::from_raw(i32::try_from(child.id()).unwrap()).unwrap();
    let (done, is_done) = std::sync::mpsc::channel();
    std::thread::spawn(move || done.send(child.wait_with_output()));
    let Ok(output) = is_done.recv_timeout(Duration::from_secs(90)) else {
        kill_process(pid, Signal::KILL).ok();
        panic!("{command:?} did not end");
    };
    said(output.unwrap())
}

fn said(output: Output) -> Said {
    Said {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}
