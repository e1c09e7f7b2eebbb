//! Runs the program and reads its answer.

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rust_decimal::Decimal;
use serde_json::Value;

/// The longest that an answer may take, on a machine that is busy with everything else.
const LIMIT: Duration = Duration::from_mins(1);

/// What the program said, and how it ended.
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// Runs `panbell --home HOME reckon ...`.
pub(crate) fn said(home: &Path, arguments: &[&str]) -> Said {
    let child = Command::new(env!("CARGO_BIN_EXE_panbell"))
        .arg("--home")
        .arg(home)
        .arg("reckon")
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    ended(child, arguments)
}

/// Its answers are far smaller than a pipe holds, so it can be waited for before they are read.
fn ended(mut child: Child, arguments: &[&str]) -> Said {
    let end = Instant::now() + LIMIT;
    while child.try_wait().unwrap().is_none() {
        if Instant::now() > end {
            child.kill().unwrap();
            child.wait().unwrap();
            panic!("reckon {arguments:?} took longer than {LIMIT:?}");
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    let output = child.wait_with_output().unwrap();
    Said {
        code: output.status.code().expect("it ended by itself"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// An answer in JSON with how it ended.
pub(crate) struct Answer {
    pub(crate) code: i32,
    pub(crate) json: Value,
}

/// Asks in an empty home. The options are one text, split at blanks outside of `'...'`.
pub(crate) fn ask(options: &str) -> Answer {
    let home = tempfile::tempdir().unwrap();
    ask_at(home.path(), options)
}

/// Asks with the sample shelf that is shipped.
pub(crate) fn ask_with_shelf(options: &str) -> Answer {
    let home = tempfile::tempdir().unwrap();
    let shelf = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/shelf.toml");
    std::fs::copy(shelf, home.path().join("shelf.toml")).unwrap();
    ask_at(home.path(), options)
}

/// Asks with the settings of a home.
pub(crate) fn ask_at(home: &Path, options: &str) -> Answer {
    let mut arguments = words(options);
    arguments.push("--json");
    let said = said(home, &arguments);
    assert_eq!(said.err, "", "reckon {options}");
    let json = serde_json::from_str(&said.out)
        .unwrap_or_else(|why| panic!("reckon {options}: {why}: {}", said.out));
    Answer {
        code: said.code,
        json,
    }
}

/// The words of a text, split at blanks; what stands between single quotes is one word.
pub(crate) fn words(text: &str) -> Vec<&str> {
    let mut words = Vec::new();
    for (at, part) in text.split('\'').enumerate() {
        if at % 2 == 0 {
            words.extend(part.split_whitespace());
        } else {
            words.push(part);
        }
    }
    words
}

impl Answer {
    /// The text under a path of keys (`add/0/aim_g`).
    pub(crate) fn text(&self, path: &str) -> &str {
        let value = self.json.pointer(&format!("/{path}"));
        value
            .and_then(Value::as_str)
            .unwrap_or_else(|| panic!("no text at {path}: {}", self.json))
    }

    /// The exact number under a path of keys. Every number is a decimal string.
    pub(crate) fn number(&self, path: &str) -> Decimal {
        self.text(path).parse().unwrap()
    }

    /// The edges of the window of an addition.
    pub(crate) fn window(&self, at: usize) -> [&str; 2] {
        [0, 1].map(|edge| self.text(&format!("add/{at}/window_g/{edge}")))
    }

    /// How many additions there are.
    pub(crate) fn additions(&self) -> usize {
        self.json["add"].as_array().unwrap().len()
    }

    /// The marks listed.
    pub(crate) fn marks(&self) -> Vec<&str> {
        let marks = self.json["marks"].as_array().unwrap();
        marks.iter().map(|mark| mark.as_str().unwrap()).collect()
    }

    /// Everything that is said against the answer, in one text.
    pub(crate) fn warnings(&self) -> String {
        let all = self.json["warnings"].as_array().unwrap();
        let all: Vec<&str> = all.iter().map(|said| said.as_str().unwrap()).collect();
        all.join("\n")
    }

    /// The trouble that was answered in place of anything else: code, and all that it says.
    pub(crate) fn refused(&self) -> (&str, String) {
        assert_eq!(self.code, 1, "{}", self.json);
        let all = ["happened", "means", "mend"].map(|key| self.text(key));
        (self.text("code"), all.join(" "))
    }

    /// An answer that nothing stands against.
    pub(crate) fn fine(self) -> Self {
        assert_eq!(self.code, 0, "{}", self.json);
        self
    }
}

/// Fails unless a number lies within the rounding of the one that was printed.
pub(crate) fn near(found: Decimal, printed: &str, within: &str) {
    let (printed, within): (Decimal, Decimal) = (printed.parse().unwrap(), within.parse().unwrap());
    assert!(
        (found - printed).abs() <= within,
        "{found} found, {printed} printed, {within} allowed"
    );
}
