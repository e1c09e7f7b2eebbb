//! What commands print: text for people, or JSON, one object a line.

use std::io::{IsTerminal as _, Write as _};

use serde::Serialize;

use crate::serve::RefusalBody;
use crate::trouble::Trouble;

/// Where a command prints.
pub(super) struct Output {
    json: bool,
    out: std::io::Stdout,
}

impl Output {
    pub(super) fn new(json: bool) -> Self {
        Self {
            json,
            out: std::io::stdout(),
        }
    }

    pub(super) fn is_json(&self) -> bool {
        self.json
    }

    /// Prints a result: `text` for people, else `data`.
    pub(super) fn say<T: Serialize>(&self, text: &str, data: &T) {
        if self.json {
            self.line(&serde_json::to_string(data).unwrap_or_default());
        } else {
            self.line(text.trim_end());
        }
    }

    /// Prints one line. A reader that went away is no trouble.
    pub(super) fn line(&self, text: &str) {
        let mut out = self.out.lock();
        let _gone = writeln!(out, "{text}").and_then(|()| out.flush());
    }

    /// Rewrites the current line of a terminal, cut to its width; elsewhere prints a line.
    pub(super) fn rewrite(&self, text: &str) {
        if !self.is_terminal() {
            return self.line(text);
        }
        let width =
            rustix::termios::tcgetwinsize(&self.out).map_or(80, |size| usize::from(size.ws_col));
        let cut: String = text.chars().take(width.max(20) - 1).collect();
        let mut out = self.out.lock();
        let _gone = write!(out, "\r{cut}\x1b[K").and_then(|()| out.flush());
    }

    /// Whether people look at it on a terminal.
    pub(super) fn is_terminal(&self) -> bool {
        self.out.is_terminal()
    }

    /// Prints a line in place of one that is being rewritten.
    pub(super) fn fresh_line(&self, text: &str) {
        if self.is_terminal() {
            let _gone = write!(self.out.lock(), "\r\x1b[K");
        }
        self.line(text);
    }

    /// Prints a trouble, on standard error for people.
    pub(super) fn trouble(&self, trouble: &Trouble) {
        if self.json {
            return self
                .line(&serde_json::to_string(&RefusalBody::from(trouble)).unwrap_or_default());
        }
        let mut err = std::io::stderr().lock();
        let _gone = writeln!(
            err,
            "{}\n{}\n{}",
            trouble.happened, trouble.means, trouble.mend
        );
    }
}
