//! Bytes to lines, with a bounded buffer.
//!
//! A line ends at CR, LF or both; empty lines are nothing. What is longer than a line can be is
//! dropped up to the next line end and reported once, so that a wrong speed or a stuck sender
//! costs neither memory nor a false line. Reads may cut a line anywhere.

/// What comes out of the splitter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Piece<'a> {
    /// A whole line without its end.
    Line(&'a [u8]),
    /// More bytes than a line can have came without a line end.
    TooLong,
}

/// Cuts a stream of bytes into lines.
#[derive(Debug, Clone)]
pub struct Splitter {
    buffer: Vec<u8>,
    /// Bytes are being dropped up to the next line end.
    dropping: bool,
}

impl Splitter {
    /// The longest line, in bytes. Balances send 10 to 40 for a weighing.
    pub const LONGEST: usize = 256;

    /// A splitter for a stream entered in the middle: what comes before the first line end is
    /// dropped, since its beginning was not heard.
    pub fn mid_stream() -> Self {
        Self {
            buffer: Vec::with_capacity(Self::LONGEST),
            dropping: true,
        }
    }

    /// A splitter for a stream known to begin with a line: the wire was quiet before it.
    pub fn at_line_start() -> Self {
        Self {
            buffer: Vec::with_capacity(Self::LONGEST),
            dropping: false,
        }
    }

    /// Takes bytes as they came and hands on each piece that they complete, in order.
    pub fn push(&mut self, bytes: &[u8], mut each: impl FnMut(Piece<'_>)) {
        for part in bytes.split_inclusive(|byte| is_end(*byte)) {
            let (part, ended) = match part.split_last() {
                Some((last, before)) if is_end(*last) => (before, true),
                _ => (part, false),
            };
            if !self.dropping {
                if self.buffer.len() + part.len() > Self::LONGEST {
                    self.buffer.clear();
                    self.dropping = true;
                    each(Piece::TooLong);
                } else if ended && self.buffer.is_empty() {
                    // The common case: a whole line in one read, handed on without a copy.
                    if !part.is_empty() {
                        each(Piece::Line(part));
                    }
                    continue;
                } else {
                    self.buffer.extend_from_slice(part);
                }
            }
            if ended {
                if !self.dropping && !self.buffer.is_empty() {
                    each(Piece::Line(&self.buffer));
                }
                self.buffer.clear();
                self.dropping = false;
            }
        }
    }
}

fn is_end(byte: u8) -> bool {
    byte == b'\r' || byte == b'\n'
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lines(splitter: &mut Splitter, chunks: &[&[u8]]) -> Vec<String> {
        let mut out = Vec::new();
        for chunk in chunks {
            splitter.push(chunk, |piece| {
                out.push(match piece {
                    Piece::Line(line) => String::from_utf8_lossy(line).into_owned(),
                    Piece::TooLong => "<too long>".to_owned(),
                });
            });
        }
        out
    }

    #[test]
    fn any_line_end_and_any_cut_give_the_same_lines() {
        let text = b"art\r\n 1.0 g\r\n\r\n2.0 g\n3.0 g\r4.0 g\r\n5";
        for size in 1..text.len() {
            let chunks: Vec<&[u8]> = text.chunks(size).collect();
            let found = lines(&mut Splitter::mid_stream(), &chunks);
            assert_eq!(
                found,
                [" 1.0 g", "2.0 g", "3.0 g", "4.0 g"],
                "chunks of {size}"
            );
        }
        assert_eq!(
            lines(&mut Splitter::at_line_start(), &[b"1.0 g\n"]),
            ["1.0 g"]
        );
    }

    #[test]
    fn too_long_is_said_once_and_the_next_line_is_whole() {
        let long = [b'7'; 3 * Splitter::LONGEST];
        let found = lines(
            &mut Splitter::at_line_start(),
            &[&long, &long, b"\n1.0 g\n"],
        );
        assert_eq!(found, ["<too long>", "1.0 g"]);
        let exact = [b'7'; Splitter::LONGEST];
        assert_eq!(
            lines(&mut Splitter::at_line_start(), &[&exact, b"\n"])[0].len(),
            Splitter::LONGEST
        );
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_grow_or_panic(bytes in proptest::collection::vec(any::<u8>(), 0..4000), size in 1usize..300) {
            let mut splitter = Splitter::mid_stream();
            for chunk in bytes.chunks(size) {
                splitter.push(chunk, |piece| if let Piece::Line(line) = piece {
                    assert!(!line.is_empty() && line.len() <= Splitter::LONGEST);
                    assert!(!line.iter().any(|b| is_end(*b)));
                });
                prop_assert!(splitter.buffer.capacity() <= Splitter::LONGEST);
            }
        }
    }
}
