//! The name of a job, which is also the name of its file.
//!
//! Promises: a name is safe as a file name on any disk and in any shell, and never leads out of
//! the book. Leaves to others: whether such a job exists.

use std::fmt;

use crate::trouble::{Trouble, harmless, is_harmful};

/// What a job file's name ends with.
const ENDING: &str = ".jsonl";
/// The name of the book of check weights, which no job may have, in whatever letter case.
const CHECK_WEIGHTS: &str = "check-weights";

/// A job's name: ASCII letters, digits, `-`, `_` and `.`, not starting with `.`, 1 to 80 bytes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct JobName(String);

impl JobName {
    /// The longest name, in bytes. Leaves room in a file name for what is set aside beside it.
    pub const LIMIT: usize = 80;

    /// The book of check weights: a file beside those of the jobs, of the same form.
    pub fn check_weights() -> Self {
        Self(CHECK_WEIGHTS.to_owned())
    }

    /// A name that is already in order.
    pub fn new(name: &str) -> Result<Self, Trouble> {
        let fits = (1..=Self::LIMIT).contains(&name.len())
            && !name.eq_ignore_ascii_case(CHECK_WEIGHTS)
            && !name.starts_with('.')
            && name.chars().all(is_plain);
        if fits {
            Ok(Self(name.to_owned()))
        } else {
            Err(Trouble::new(
                "job-name-unusable",
                format!("{name:?} cannot be the name of a job."),
                "No job was opened or changed.",
                "Use letters from A to Z, digits, '-', '_' and '.', at most 80 of them, \
                 with no '.' at the start.",
            ))
        }
    }

    /// The name for the job of a ticket: every other character becomes `-`, and none of them is
    /// kept at the start. `K 1042/b` gives `K-1042-b`.
    ///
    /// A ticket without any letter or digit, or too long, is refused rather than cut, since two
    /// tickets must not end up as one job.
    pub fn from_ticket(ticket: &str) -> Result<Self, Trouble> {
        let ticket = ticket.trim();
        // Two tickets that look the same must not be two jobs.
        if ticket.chars().any(is_harmful) {
            return Err(Trouble::new(
                "ticket-unusable",
                format!(
                    "The ticket {} holds a character that shows nothing, or that turns or commands what is shown.",
                    harmless(ticket)
                ),
                "The job was not opened.",
                "Type the ticket anew instead of pasting it.",
            ));
        }
        let text: String = ticket
            .chars()
            .map(|c| if is_plain(c) { c } else { '-' })
            .collect();
        let text = text.trim_start_matches(['-', '.']);
        if text.len() <= Self::LIMIT && text.chars().any(|c| c.is_ascii_alphanumeric()) {
            Self::new(text)
        } else {
            let happened = if text.len() > Self::LIMIT {
                let (long, most) = (text.len(), Self::LIMIT);
                format!(
                    "The ticket has {long} characters; {most} are the most for the name of a job file."
                )
            } else {
                "The ticket holds neither a letter from A to Z nor a digit.".to_owned()
            };
            Err(Trouble::new(
                "ticket-unusable",
                happened,
                "The job was not opened.",
                "Give a ticket with at least one letter from A to Z or digit, \
                 and at most 80 characters.",
            ))
        }
    }

    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The name of the job's file in the book.
    pub fn file_name(&self) -> String {
        format!("{}{ENDING}", self.0)
    }

    /// The job that a file belongs to, if it is a job file.
    pub(super) fn of_file(file_name: &str) -> Option<Self> {
        Self::new(file_name.strip_suffix(ENDING)?).ok()
    }
}

impl fmt::Display for JobName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

fn is_plain(c: char) -> bool {
    c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.')
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn tickets_become_names() {
        for (ticket, name) in [
            ("K 1042/b", "K-1042-b"),
            (" A-1 ", "A-1"),
            ("../../etc/passwd", "etc-passwd"),
            (".hidden", "hidden"),
            ("Müller 3", "M-ller-3"),
            ("--help", "help"),
            ("2026.03_7", "2026.03_7"),
        ] {
            assert_eq!(JobName::from_ticket(ticket).unwrap().as_str(), name);
        }
        for ticket in [
            "",
            "  ",
            "///",
            "..",
            "é",
            "K-1\u{200b}2",
            "K\u{202e}24",
            "K\t1",
            "K\x1b[1m",
            &"x".repeat(81),
        ] {
            assert!(JobName::from_ticket(ticket).is_err(), "{ticket}");
        }
        assert!(JobName::from_ticket(&"x".repeat(80)).is_ok());
    }

    #[test]
    fn only_names_in_order_are_names() {
        for name in [
            "",
            ".",
            "..",
            ".a",
            "a/b",
            "a b",
            "a\0",
            "ü",
            "check-weights",
            "Check-WEIGHTS",
            &"x".repeat(81),
        ] {
            assert!(JobName::new(name).is_err(), "{name}");
        }
        let name = JobName::new("a.b").unwrap();
        assert_eq!(JobName::of_file(&name.file_name()), Some(name));
        assert_eq!(JobName::of_file("a.torn-20260105T091244Z"), None);
        assert_eq!(JobName::of_file(".jsonl"), None);
    }
}
