//! The keys of `[line]` that say how a line is framed.
//!
//! Promises: a frame that is read does not contradict itself, and a pause that ends a line is
//! longer than the speed of the port makes between two characters. Leaves to others: cutting.

use std::time::Duration;

use super::text;
use crate::balance::{Check, CheckAs, CheckAt, CheckSum, Covers, End, FrameSpec, Start};
use crate::settings::section::Section;

/// Keys that mean nothing without a check.
const OF_CHECK: [&str; 3] = ["check_at", "check_as", "check_covers"];
/// Character times of silence that are no chance within a line; 11 bits is the longest usual one.
const CHARACTERS: u32 = 2;
const BITS: u32 = 11;

impl Section<'_> {
    /// The frame; none when something is wrong in it, which is told.
    pub(super) fn frame(&self, speed: Option<u32>) -> Option<FrameSpec> {
        let ends = if self.has("ends") {
            self.end(speed)
        } else {
            Some(End::Line)
        };
        let starts = if self.has("starts") {
            self.word("starts", &Start::WORDS)
        } else {
            Some(Start::Anywhere)
        };
        let check = self.check();
        let frame = FrameSpec {
            starts: starts?,
            ends: ends?,
            check: check?,
        };
        if let Some(why) = frame.contradiction() {
            self.refuse(
                if self.has("check") { "check" } else { "ends" },
                &format!("That cannot be: {why}."),
                "Compare it with what the balance's manual says of its frame.",
            );
            return None;
        }
        Some(frame)
    }

    fn end(&self, speed: Option<u32>) -> Option<End> {
        let text = self.text("ends")?;
        let end = match text.value {
            "line" => Some(End::Line),
            "etx" => Some(End::Etx),
            other => other
                .strip_prefix("gap ")
                .and_then(text::time)
                .map(End::Gap),
        };
        if end.is_none() {
            self.refuse(
                "ends",
                "That is not known here.",
                "Known are \"line\", \"etx\", and a pause like \"gap 40 ms\".",
            );
        }
        if let (Some(End::Gap(gap)), Some(speed)) = (end, speed) {
            let least = Duration::from_secs(1) * (CHARACTERS * BITS) / speed.max(1);
            if gap < least {
                self.refuse(
                    "ends",
                    &format!(
                        "At {speed} bits a second a line may pause so long between two characters."
                    ),
                    &format!("Write at least {} ms.", least.as_millis() + 1),
                );
                return None;
            }
        }
        end
    }

    /// The check, if there is one; the outer `None` when it cannot be read.
    #[allow(clippy::option_option)] // left out, and unreadable, are two things
    fn check(&self) -> Option<Option<Check>> {
        // Read even where they mean nothing, so that what is wrong in them is told.
        let at = self.word("check_at", &CheckAt::WORDS);
        let written = self.word("check_as", &CheckAs::WORDS);
        let covers = if self.has("check_covers") {
            self.word("check_covers", &Covers::WORDS)
        } else {
            Some(Covers::Payload)
        };
        if !self.has("check") {
            for key in OF_CHECK {
                self.refuse(
                    key,
                    "It says something of a check, and there is no check.",
                    "Add check, as in check = \"xor\", or take the line out.",
                );
            }
            return Some(None);
        }
        self.need("check_at");
        self.need("check_as");
        let how = self.word("check", &CheckSum::WORDS);
        Some(Some(Check {
            how: how?,
            at: at?,
            written: written?,
            covers: covers?,
        }))
    }
}
