//! A file of settings as text, and where in it something stands.
//!
//! Promises: a file is read whole or not at all; only one that is really not there counts as
//! absent; every reason is told. Leaves to others: what the text means.

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use rustix::fs::OFlags;

use super::trouble::{self, SettingsTrouble};

/// The largest file of settings; anything larger is something else by mistake.
const LARGEST: u64 = 1 << 20;
/// The most characters of a file that a message repeats.
const MOST_QUOTED: usize = 60;

/// The text of a file, and what the file is called.
#[derive(Debug, Clone)]
pub(super) struct Source {
    pub(super) name: String,
    pub(super) text: String,
}

impl Source {
    /// A text that is part of the program.
    pub(super) fn shipped(name: &str, text: &str) -> Self {
        Self {
            name: format!("the shipped {name}.toml"),
            text: text.to_owned(),
        }
    }

    /// Reads a file; none when there is none.
    pub(super) fn read(path: &Path) -> Result<Option<Self>, SettingsTrouble> {
        let failed = |error: io::Error| trouble::unreadable(path, &error);
        let bytes = match read_ordinary(path, LARGEST) {
            Ok(bytes) => bytes,
            // A link that leads nowhere is there: somebody meant a file by it.
            Err(error) if error.kind() == io::ErrorKind::NotFound && !path.is_symlink() => {
                return Ok(None);
            }
            Err(error) => return Err(failed(error).into()),
        };
        let text = String::from_utf8(bytes).map_err(|error| {
            let good = error.utf8_error().valid_up_to();
            let before = error.as_bytes().get(..good).unwrap_or_default();
            let line = before.split(|byte| *byte == b'\n').count();
            failed(io::Error::other(format!(
                "line {line} is not text in UTF-8"
            )))
        })?;
        Ok(Some(Self {
            name: path.display().to_string(),
            text,
        }))
    }

    /// Line and column of an offset, both counted from 1, the column in characters.
    pub(super) fn place(&self, at: usize) -> (usize, usize) {
        let before = self.text.get(..at).unwrap_or(&self.text);
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or_default();
        (line, column.chars().count() + 1)
    }

    /// `Line 7 of FILE`.
    pub(super) fn line_of(&self, at: usize) -> String {
        format!("Line {} of {}", self.place(at).0, self.name)
    }

    /// The line around an offset.
    pub(super) fn whole_line(&self, at: usize) -> String {
        let (before, after) = self.text.split_at_checked(at).unwrap_or_default();
        let from = before.rfind('\n').map_or(0, |end| end + 1);
        let to = after.find('\n').unwrap_or(after.len()) + at;
        self.quoted(from..to)
    }

    /// The text of a range, its first line, cut to what a sentence can hold.
    pub(super) fn quoted(&self, range: std::ops::Range<usize>) -> String {
        let text = self.text.get(range).unwrap_or_default();
        let first = text.lines().next().unwrap_or_default().trim();
        let mut short: String = first.chars().take(MOST_QUOTED).collect();
        if short.len() < first.len() || text.trim().lines().count() > 1 {
            short.push_str(" ...");
        }
        short
    }
}

/// All bytes of an ordinary file of at most so many; never waits for a writer, nor reads on for
/// ever.
///
/// # Errors
/// What the system says, or that it is no ordinary file, or larger.
pub fn read_ordinary(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        let mebibytes = most / (1 << 20);
        return Err(io::Error::other(format!(
            "it is larger than {mebibytes} MiB, which no such file is"
        )));
    }
    Ok(bytes)
}

/// Opens an ordinary file. Not blocking, since a pipe would wait for a writer.
fn open(path: &Path) -> io::Result<File> {
    let flags = OFlags::NONBLOCK | OFlags::NOCTTY;
    let file = OpenOptions::new()
        .read(true)
        .custom_flags(flags.bits().cast_signed())
        .open(path)?;
    if file.metadata()?.is_file() {
        Ok(file)
    } else {
        Err(io::Error::other("it is not an ordinary file"))
    }
}
