//! What commands print: text for people, or JSON, one object a line.

use std::cell::RefCell;
use std::io::{IsTerminal as _, Write as _};

use serde::Serialize;

use crate::serve::RefusalBody;
use crate::trouble::{Trouble, harmless, harmless_json, harmless_lines};

/// Where a command prints.
pub(super) struct Output {
    json: bool,
    out: std::io::Stdout,
    /// The block of lines that stands above the cursor, and the size that it was drawn for.
    block: RefCell<Block>,
}

#[derive(Default)]
struct Block {
    lines: Vec<String>,
    room: Option<(usize, usize)>,
}

impl Output {
    pub(super) fn new(json: bool) -> Self {
        Self {
            json,
            out: std::io::stdout(),
            block: RefCell::default(),
        }
    }

    pub(super) fn is_json(&self) -> bool {
        self.json
    }

    /// Prints a result: `text` for people, else `data`.
    pub(super) fn say<T: Serialize>(&self, text: &str, data: &T) {
        if self.json {
            self.json_line(&serde_json::to_string(data).unwrap_or_default());
        } else {
            self.line(text.trim_end());
        }
    }

    /// Prints one line, or several. A reader that went away is no trouble.
    pub(super) fn line(&self, text: &str) {
        self.print(&harmless_lines(text));
    }

    /// Prints one line of JSON.
    pub(super) fn json_line(&self, json: &str) {
        self.print(&harmless_json(json));
    }

    /// Prints what is harmless already, and an end of line.
    fn print(&self, text: &str) {
        let mut out = self.out.lock();
        let _gone = writeln!(out, "{text}").and_then(|()| out.flush());
    }

    /// Rewrites the current line of a terminal, cut to its width; elsewhere prints a line.
    pub(super) fn rewrite(&self, text: &str) {
        let Some(width) = self.width() else {
            return self.line(text);
        };
        let cut: String = harmless(text).chars().take(width - 1).collect();
        let mut out = self.out.lock();
        let _gone = write!(out, "\r{cut}\x1b[K").and_then(|()| out.flush());
    }

    /// The width of the terminal that people look at; none where there is no terminal.
    fn width(&self) -> Option<usize> {
        let size =
            || rustix::termios::tcgetwinsize(&self.out).map_or(80, |size| usize::from(size.ws_col));
        self.is_terminal().then(|| size().max(40))
    }

    /// Whether people look at it on a terminal.
    pub(super) fn is_terminal(&self) -> bool {
        self.out.is_terminal()
    }

    /// Columns and rows of the terminal that people look at; none where there is no terminal.
    pub(super) fn room(&self) -> Option<(usize, usize)> {
        let size = rustix::termios::tcgetwinsize(&self.out).ok()?;
        let known = size.ws_col > 0 && size.ws_row > 0;
        (known && self.is_terminal()).then(|| (size.ws_col.into(), size.ws_row.into()))
    }

    /// Draws a block of lines in place of the one before. A window of another size is drawn anew
    /// from its top, since nobody knows how the old lines were broken.
    pub(super) fn block(&self, lines: &[String]) {
        let room = self.room();
        let mut block = self.block.borrow_mut();
        if block.lines == lines && block.room == room {
            return;
        }
        let start = match block.lines.len() {
            0 => "\r\x1b[J".to_owned(),
            _ if block.room != room => "\x1b[H\x1b[2J".to_owned(),
            count => format!("\r\x1b[{count}A\x1b[J"),
        };
        let drawn: Vec<_> = lines.iter().map(|line| harmless(line)).collect();
        let mut out = self.out.lock();
        let _gone = write!(out, "{start}{}\r\n", drawn.join("\r\n")).and_then(|()| out.flush());
        (block.lines, block.room) = (lines.to_vec(), room);
    }

    /// Prints a line above where the next block will stand.
    pub(super) fn above(&self, text: &str) {
        let drawn = std::mem::take(&mut self.block.borrow_mut().lines).len();
        if drawn > 0 {
            let _gone = write!(self.out.lock(), "\r\x1b[{drawn}A\x1b[J");
        }
        self.fresh_line(text, 2);
    }

    /// Prints a line in place of one that is being rewritten; on a terminal it is broken between
    /// words, and what follows stands `indent` columns in.
    pub(super) fn fresh_line(&self, text: &str, indent: usize) {
        let Some(width) = self.width() else {
            return self.line(text);
        };
        let _gone = write!(self.out.lock(), "\r\x1b[K");
        self.line(&broken(text, width, indent));
    }

    /// Prints a trouble, on standard error for people.
    pub(super) fn trouble(&self, trouble: &Trouble) {
        if self.json {
            let refusal = RefusalBody::from(trouble);
            return self.json_line(&serde_json::to_string(&refusal).unwrap_or_default());
        }
        let text = format!("{}\n{}\n{}", trouble.happened, trouble.means, trouble.mend);
        let mut err = std::io::stderr().lock();
        let _gone = writeln!(err, "{}", harmless_lines(&text));
    }
}

/// Breaks a line between words.
fn broken(text: &str, width: usize, indent: usize) -> String {
    let (mut out, mut column) = (String::new(), 0);
    for word in text.split_inclusive(' ') {
        let long = word.trim_end().chars().count();
        if column > indent && column + long > width {
            out.truncate(out.trim_end().len());
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', indent));
            column = indent;
        }
        out.push_str(word);
        column += word.chars().count();
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_between_words_and_stand_in() {
        assert_eq!(
            broken("0:01  bell   one two three", 20, 13),
            "0:01  bell   one two\n             three"
        );
        assert_eq!(broken("short", 20, 13), "short");
    }
}
