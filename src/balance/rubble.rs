//! Bytes that are no text and belong to no line: what a wrong speed makes of a balance's lines.
//!
//! Promises: a stream without line ends is noticed by what it holds, however long it goes on;
//! a few odd bytes, as a plug gives, are not. Leaves to others: lines (`split`), and how many
//! signs make a link garbled (`link`).

/// Bytes in a row, without a line among them, that no balance has in its lines.
const MOST: u32 = 8;

/// Counts what makes no sense between lines.
#[derive(Debug, Clone, Default)]
pub struct Rubble {
    count: u32,
}

impl Rubble {
    /// A line came: whatever was odd before it belongs to it.
    pub fn clear(&mut self) {
        self.count = 0;
    }

    /// Takes bytes among which no line ended; gives how many times more there were of them than
    /// any line has.
    pub fn take(&mut self, bytes: &[u8]) -> u32 {
        let odd = bytes.iter().filter(|byte| !is_text(**byte)).count();
        self.count = self
            .count
            .saturating_add(u32::try_from(odd).unwrap_or(u32::MAX));
        let times = self.count / MOST;
        self.count %= MOST;
        times
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
        assert_eq!(rubble.take(&[b'7'; 4000]), 0, "that is a line too long");
    }
}
