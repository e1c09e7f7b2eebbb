//! A home folder of a test's own: settings, shelf, and the job files as the library reads them.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing, missing_docs)]

use std::fs;
use std::path::{Path, PathBuf};

use panbell::job::{Captured, Job, Record, Scan, Verdict, scan};

/// The metals that the tests add.
pub const SHELF: &str = "\
[[metal]]\nkey = \"fine-gold\"\nname = \"fine gold\"\ngold = \"999.9 ppt\"\n\
[[metal]]\nkey = \"fine-silver\"\nname = \"fine silver\"\ngold = \"0 ppt\"\n\
[[metal]]\nkey = \"fine-copper\"\nname = \"fine copper\"\ngold = \"0 ppt\"\n";

/// A folder for `--home`, taken away when dropped.
pub struct Home {
    folder: tempfile::TempDir,
}

impl Home {
    /// An empty one with a shelf.
    pub fn new() -> Self {
        let home = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        fs::write(home.path().join("shelf.toml"), SHELF).unwrap();
        home
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// The stable name of a bench's port.
    pub fn port(&self, bench: &str) -> PathBuf {
        self.path().join(format!("port-{bench}"))
    }

    /// The socket of its service.
    pub fn socket(&self) -> PathBuf {
        self.path().join("run/panbell.sock")
    }

    /// Writes the settings file. Without a word about the page there is none: its usual port may be
    /// that of another test, or of the panbell of whoever runs this.
    pub fn settings(&self, text: &str) {
        let page = if text.contains("[page]") {
            ""
        } else {
            "\n[page]\nat = \"off\"\n"
        };
        fs::write(self.path().join("panbell.toml"), format!("{text}{page}")).unwrap();
    }

    /// Adds a balance file of the test's own.
    pub fn balance_file(&self, name: &str, text: &str) {
        let folder = self.path().join("balances");
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join(format!("{name}.toml")), text).unwrap();
    }

    /// Where a job's file is.
    pub fn job_path(&self, job: &str) -> PathBuf {
        self.path().join("book").join(format!("{job}.jsonl"))
    }

    /// A job's file and its scan.
    pub fn scan(&self, job: &str) -> (Vec<u8>, Scan) {
        let bytes = fs::read(self.job_path(job)).unwrap();
        let scan = scan(&bytes);
        (bytes, scan)
    }

    /// Every record of a job whose file must be clean, and must replay.
    pub fn records(&self, job: &str) -> Vec<(u64, Record)> {
        let (bytes, scan) = self.scan(job);
        assert_eq!(scan.verdict, Verdict::Clean, "{job}");
        let records = records(&bytes, &scan);
        Job::replay(records.clone()).expect("a clean file replays");
        records
    }

    /// The job that its clean file tells.
    pub fn job(&self, job: &str) -> Job {
        Job::replay(self.records(job)).unwrap()
    }

    /// The captures of a job whose file must be clean, in order.
    pub fn captures(&self, job: &str) -> Vec<Captured> {
        let records = self.records(job).into_iter();
        records
            .filter_map(|(_, record)| match record {
                Record::Capture(captured) => Some(captured),
                _ => None,
            })
            .collect()
    }

    /// The masses captured, in order.
    pub fn masses(&self, job: &str) -> Vec<String> {
        let captures = self.captures(job).into_iter();
        captures.map(|it| it.mass.to_string()).collect()
    }
}

/// The whole records of a file, clean or torn.
pub fn records(bytes: &[u8], scan: &Scan) -> Vec<(u64, Record)> {
    (1..)
        .zip(&scan.lines)
        .map(|(n, line)| (n, Record::from_line(&bytes[line.clone()]).unwrap()))
        .collect()
}

/// The settings of one bench, with times short enough for a test.
pub fn bench(name: &str, port: &Path, balance: &str) -> String {
    let port = port.display();
    format!(
        "[[bench]]\nname = \"{name}\"\nport = \"{port}\"\nbalance = \"{balance}\"\ndivision = \"0.01 g\"\n\
         [bench.steady]\nseconds = 0.25\n[bench.pan]\ndwell_seconds = 0.5\n"
    )
}

/// Settings without notices on the desktop.
pub const NO_DESKTOP: &str = "[bell]\ndesktop = false\n";
