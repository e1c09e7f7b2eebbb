//! `panbell verify`: check job files against their chain.

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::output::Output;
use super::{Common, Ended};
use crate::book::{BookView, FILE_LIMIT, JobName};
use crate::job::{Verdict, scan};
use crate::settings::read_ordinary;
use crate::trouble::Trouble;

/// Check job files against their chain.
#[derive(Debug, Args)]
pub(super) struct Verify {
    /// Job files; all of the book if none is named
    files: Vec<PathBuf>,
}

#[derive(Serialize)]
struct Checked {
    file: String,
    verdict: &'static str,
    records: u64,
    line: Option<u64>,
    chain: Option<String>,
}

impl Verify {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let files = if self.files.is_empty() {
            let book = BookView::of(&common.reading_folders()?.book);
            let jobs = book.jobs()?;
            let checks = book.path(&JobName::check_weights());
            let mut files: Vec<PathBuf> = jobs.iter().map(|job| book.path(job)).collect();
            files.extend(checks.exists().then_some(checks));
            files
        } else {
            self.files.clone()
        };
        self::files(&files, output)
    }
}

/// Checks these files; a warning when one is not clean.
pub(super) fn files(files: &[PathBuf], output: &Output) -> Result<Ended, Trouble> {
    let mut ended = Ended::Done;
    for file in files {
        let bytes = read_ordinary(file, FILE_LIMIT).map_err(|error| {
            Trouble::new(
                "file-unreadable",
                format!("{} cannot be read: {error}.", file.display()),
                "It is not checked.",
                "Name a job file of the book.",
            )
        })?;
        let (text, checked) = judge(&file.display().to_string(), &bytes);
        if checked.verdict != "clean" {
            ended = Ended::Warning;
        }
        output.say(&text, &checked);
    }
    Ok(ended)
}

fn judge(file: &str, bytes: &[u8]) -> (String, Checked) {
    let scan = scan(bytes);
    let (verdict, line, words) = match &scan.verdict {
        Verdict::Clean => (
            "clean",
            None,
            format!("{} records, every one in its place", scan.n()),
        ),
        Verdict::TornTail { at } => (
            "torn-tail",
            None,
            format!(
                "half a record at the end, from byte {at}: its writing was cut off, or the file was cut; the {} before it are whole",
                scan.n()
            ),
        ),
        Verdict::Damaged { line, why } => (
            "damaged",
            Some(*line),
            format!(
                "damaged at line {line}: {}; the {} records before it are whole",
                why.words(),
                scan.n()
            ),
        ),
    };
    let chain = (scan.verdict == Verdict::Clean).then(|| scan.last.to_string());
    let last = chain
        .as_ref()
        .map(|chain| format!(" Last link {chain}."))
        .unwrap_or_default();
    let text = format!("{file}: {words}.{last}");
    (
        text,
        Checked {
            file: file.to_owned(),
            verdict,
            records: scan.n(),
            line,
            chain,
        },
    )
}
