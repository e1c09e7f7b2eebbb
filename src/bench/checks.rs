//! The book of check weights: one file for all benches, in the form of a job file.
//!
//! Promises: a weighing is on disk before it is told; benches that append at once wait for each
//! other and not for anything else. Leaves to others: what a weighing says.

use std::collections::BTreeMap;
use std::time::Duration;

use jiff::Timestamp;
use tokio::sync::Mutex;

use crate::book::{BookView, JobName, Synced, Writer};
use crate::job::{CheckEntry, Checked, LastCheck, Verdict, scan};
use crate::trouble::Trouble;

/// The book of check weights as the benches append to it.
pub(super) struct Checks {
    writer: Writer,
    /// The number of the last entry, once the file is open.
    last: Mutex<Option<u64>>,
}

impl Checks {
    pub(super) fn new(writer: Writer) -> Self {
        Self {
            writer,
            last: Mutex::new(None),
        }
    }

    /// Appends and syncs; gives the number of the entry.
    pub(super) async fn append(
        &self,
        bench: String,
        checked: Box<Checked>,
    ) -> Result<(u64, Box<Checked>), Trouble> {
        let entry = CheckEntry::CheckWeight {
            bench,
            checked: (*checked).clone(),
        };
        let body = entry.body()?;
        let name = JobName::check_weights();
        let mut last = self.last.lock().await;
        let after = match *last {
            Some(n) => n,
            None => self.open(&name).await?,
        };
        *last = Some(after);
        let recorded = self.writer.append(&name, after, body, Synced::Now).await?;
        *last = Some(recorded.n);
        Ok((recorded.n, checked))
    }

    async fn open(&self, name: &JobName) -> Result<u64, Trouble> {
        let is_there = self.writer.book().path(name).exists();
        let opened = if is_there {
            self.writer.resume(name).await
        } else {
            self.writer.create(name).await
        }?;
        if let Some(torn) = &opened.torn {
            tracing::warn!(aside = %torn.path.display(), bytes = torn.bytes,
                "half an entry stood at the end of the book of check weights; it was never announced, and is set aside");
        }
        Ok(opened.scan.n())
    }
}

/// The last check weight of every bench. What cannot be read is said in the log, and counts as
/// never weighed.
pub(super) fn last_checks(book: &BookView) -> BTreeMap<String, LastCheck> {
    #[derive(serde::Deserialize)]
    struct Line {
        at: String,
        #[serde(flatten)]
        entry: CheckEntry,
    }
    let name = JobName::check_weights();
    if !book.path(&name).exists() {
        return BTreeMap::new();
    }
    let bytes = match book.read(&name) {
        Ok(bytes) => bytes,
        Err(trouble) => {
            tracing::error!("{trouble}");
            return BTreeMap::new();
        }
    };
    let scan = scan(&bytes);
    if let Verdict::Damaged { line, why } = &scan.verdict {
        tracing::error!(
            line,
            "the book of check weights is damaged: {}",
            why.words()
        );
    }
    let now = Timestamp::now();
    let lines = scan.lines.iter().filter_map(|line| bytes.get(line.clone()));
    let mut last = BTreeMap::new();
    for line in lines {
        let read = serde_json::from_slice::<Line>(line).ok();
        let read = read.and_then(|line| Some((line.at.parse::<Timestamp>().ok()?, line.entry)));
        let Some((at, CheckEntry::CheckWeight { bench, checked })) = read else {
            tracing::error!(line = %line.escape_ascii(), "an entry of the book of check weights cannot be read");
            continue;
        };
        let age = Duration::try_from(now.duration_since(at)).unwrap_or_default();
        last.insert(bench, LastCheck { checked, age });
    }
    last
}
