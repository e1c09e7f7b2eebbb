//! Bytes that belong to no line: what a wrong speed makes of a balance's lines, or a flood without
//! an end.
//!
//! Promises: a stream without line ends is noticed, however long it goes on and whatever it holds;
//! a few odd bytes, as a plug gives, are not. Leaves to others: lines (`split`), and how many
//! signs make a link garbled (`link`).

use super::Splitter;

/// Bytes that are no text, without a line among them, that no balance has in its lines.
const MOST: u32 = 8;

/// Counts what makes no sense between lines.
#[derive(Debug, Clone, Default)]
pub struct Rubble {
    odd: u32,
    all: usize,
}

impl Rubble {
    /// A line came: whatever was odd before it belongs to it.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// Takes bytes among which no line ended; gives how many times more there were of them than
    /// any line has: of those that are no text, and of all.
    pub fn take(&mut self, bytes: &[u8]) -> u32 {
        let odd = bytes.iter().filter(|byte| !is_text(**byte)).count();
        self.odd = self
            .odd
            .saturating_add(u32::try_from(odd).unwrap_or(u32::MAX));
        self.all = self.all.saturating_add(bytes.len());
        let times = self.odd / MOST;
        let long = u32::try_from(self.all / Splitter::LONGEST).unwrap_or(u32::MAX);
        self.odd %= MOST;
        self.all %= Splitter::LONGEST;
        times.max(long)
    }
}

/// What prints, blanks, line ends, and the marks that stand around a line (ASCII 2 and 3).
fn is_text(byte: u8) -> bool {
    matches!(byte, b' '..=b'~' | b'\t' | b'\r' | b'\n' | 2 | 3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stream_without_lines_is_noticed_and_a_click_is_not() {
        let mut rubble = Rubble::default();
        assert_eq!(rubble.take(&[0xff, 0, 0x80]), 0);
        assert_eq!(rubble.take(b"stable   12.34 g\r\n\x02\x03"), 0);
        rubble.clear();
        assert_eq!(rubble.take(&[0xfe; 7]), 0);
        assert_eq!(rubble.take(&[0]), 1);
        assert_eq!(rubble.take(&[0xc3; 80]), 10);
    }

    #[test]
    fn digits_that_never_end_are_noticed_and_a_long_line_is_not() {
        let mut rubble = Rubble::default();
        assert_eq!(rubble.take(&[b'7'; Splitter::LONGEST - 1]), 0);
        rubble.clear();
        let times: u32 = (0..100).map(|_| rubble.take(&[b'7'; 64])).sum();
        assert_eq!(times, 25);
    }
}
