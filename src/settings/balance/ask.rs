//! The table `[ask]`: how a balance is asked that does not send of its own accord.
//!
//! Promises: nothing empty, endless or too often is ever to be sent. Leaves to others: when to ask
//! (`balance`) and sending it.

use std::time::Duration;

use super::{ASK, text};
use crate::balance::AskSpec;
use crate::settings::section::Section;

impl Section<'_> {
    /// How the balance is asked, if it must be; the outer `None` when it cannot be read.
    #[allow(clippy::option_option)] // left out, and unreadable, are two things
    pub(super) fn asked(&self) -> Option<Option<AskSpec>> {
        if !self.has("ask") {
            return Some(None);
        }
        let ask = self.table("ask", &ASK);
        ask.need("send");
        let send = ask.request("send");
        let every = ask.time("every", AskSpec::SHORTEST_EVERY);
        let timeout = ask.time("timeout", AskSpec::SHORTEST_TIMEOUT);
        let optional = |key| {
            if ask.has(key) {
                ask.request(key).map(Some)
            } else {
                Some(None)
            }
        };
        let (tare, zero) = (optional("tare"), optional("zero"));
        Some(Some(AskSpec {
            send: send?,
            every: every?,
            timeout: timeout?,
            tare: tare?,
            zero: zero?,
        }))
    }

    /// Bytes to send.
    fn request(&self, key: &str) -> Option<Vec<u8>> {
        let written = self.text(key)?;
        let why = match text::bytes(written.value) {
            Ok(bytes) if bytes.is_empty() => "It is empty.".to_owned(),
            Ok(bytes) if bytes.len() > AskSpec::LONGEST => {
                format!("It is longer than {} bytes.", AskSpec::LONGEST)
            }
            Ok(bytes) => return Some(bytes),
            Err(why) => format!("It cannot be sent: {why}."),
        };
        self.refuse(
            key,
            &why,
            "Write what the balance's manual says, line end included, as in 'brilvo\\r\\n'.",
        );
        None
    }

    fn time(&self, key: &str, least: Duration) -> Option<Duration> {
        self.need(key);
        let written = self.text(key)?;
        let time = text::time(written.value);
        let known = time.filter(|time| (least..=AskSpec::LONGEST_TIME).contains(time));
        if known.is_none() {
            self.refuse(
                key,
                "That is not a time to wait for a balance.",
                &format!(
                    "Write milliseconds or seconds, from {} to {}, as in \"200 ms\".",
                    text::of_time(least),
                    text::of_time(AskSpec::LONGEST_TIME)
                ),
            );
        }
        known
    }
}
