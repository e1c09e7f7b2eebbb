//! The baseline that a person would write in a minute: a few lines of Python that print each line.

use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};

use crate::wire::Wire;

const SCRIPT: &str = "\
import sys, serial
port = serial.Serial(sys.argv[1], 9600)
print('open', flush=True)
while True:
    print(port.readline().decode().strip(), flush=True)
";

/// A Python that has pyserial.
pub(crate) struct Logger {
    pub(crate) python: PathBuf,
}

impl Logger {
    /// Makes a virtual environment below the target folder, once. None, said aloud, if it cannot.
    pub(crate) fn prepare() -> Option<Self> {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("figures-python");
        let python = folder.join("bin/python3");
        let logger = Self { python };
        if logger.works() {
            return Some(logger);
        }
        let quietly = |command: &mut Command| {
            let command = command.stdout(Stdio::null()).stderr(Stdio::null());
            command.status().is_ok_and(|status| status.success())
        };
        let made = quietly(Command::new("python3").args(["-m", "venv"]).arg(&folder))
            && quietly(
                Command::new(&logger.python).args(["-m", "pip", "install", "--quiet", "pyserial"]),
            );
        if made && logger.works() {
            return Some(logger);
        }
        println!("LOUD: pyserial could not be installed here, so its baseline is missing below");
        None
    }

    fn works(&self) -> bool {
        self.import().status().is_ok_and(|status| status.success())
    }

    /// The smallest Python that could read a port: it is there, and ends.
    pub(crate) fn import(&self) -> Command {
        let mut command = Command::new(&self.python);
        command
            .args(["-c", "import serial"])
            .stdin(Stdio::null())
            .stderr(Stdio::null());
        command
    }

    /// Starts logging; waits until the port is open.
    pub(crate) fn start(&self, wire: &Wire) -> Logging {
        use std::io::Read as _;
        let mut child = Command::new(&self.python)
            .args(["-c", SCRIPT])
            .arg(&wire.other)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut printed = child.stdout.take().unwrap();
        let mut open = [0; 5];
        printed.read_exact(&mut open).unwrap();
        assert_eq!(&open, b"open\n");
        Logging {
            child,
            printed: Some(printed),
        }
    }
}

/// A running logger. Dropping it ends it.
pub(crate) struct Logging {
    child: Child,
    printed: Option<ChildStdout>,
}

impl Logging {
    /// The least that a process can do with a line: hand it on as it is.
    pub(crate) fn cat(wire: &Wire) -> (Self, ChildStdout) {
        let mut child = Command::new("cat")
            .arg(&wire.other)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let printed = child.stdout.take().unwrap();
        let logging = Self {
            child,
            printed: None,
        };
        (logging, printed)
    }

    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// What it prints, once.
    pub(crate) fn printed(&mut self) -> ChildStdout {
        self.printed.take().unwrap()
    }
}

impl Drop for Logging {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
