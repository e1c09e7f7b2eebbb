//! Bytes to lines, with a bounded buffer.
//!
//! A line ends at CR, LF or both, or as its frame says; empty lines are nothing. What is longer
//! than a line can be is dropped up to the next line end and reported once, so that a wrong speed
//! or a stuck sender costs neither memory nor a false line. A frame that fails its check is
//! reported as damaged and is no line. Reads may cut a line anywhere.

use super::frame::{CheckAt, End, FrameSpec, STX, Start};
use crate::mass::Moment;

/// What comes out of the splitter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Piece<'a> {
    /// A whole line without its frame.
    Line(&'a [u8]),
    /// More bytes than a line can have came without a line end.
    TooLong,
    /// A frame that failed its check, or that another one cut short. It is dropped.
    Damaged,
}

/// Cuts a stream of bytes into lines.
#[derive(Debug, Clone)]
pub struct Splitter {
    frame: FrameSpec,
    buffer: Vec<u8>,
    place: Place,
}

/// Where in the stream it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    /// Before a beginning that is known; bytes are dropped.
    Lost,
    /// The same, and so many bytes of a check belong to the end that was just found.
    Passing(usize),
    /// Inside a line, or where one begins.
    Inside,
    /// Behind an end byte, with so many bytes of the check in the buffer behind the line.
    Checking(usize),
}

impl Splitter {
    /// The longest line, in bytes. Balances send 10 to 40 for a weighing.
    pub const LONGEST: usize = 256;

    /// A splitter for a stream entered in the middle: what comes before the first line end is
    /// dropped, since its beginning was not heard.
    pub fn mid_stream() -> Self {
        Self::at(Place::Lost)
    }

    /// A splitter for a stream known to begin with a line: the wire was quiet before it.
    pub fn at_line_start() -> Self {
        Self::at(Place::Inside)
    }

    fn at(place: Place) -> Self {
        Self {
            frame: FrameSpec::default(),
            buffer: Vec::with_capacity(Self::LONGEST),
            place,
        }
    }

    /// The same for lines in frames of this kind.
    #[must_use]
    pub fn framed(mut self, frame: FrameSpec) -> Self {
        if frame.starts == Start::Stx {
            self.place = Place::Lost;
        }
        self.frame = frame;
        self
    }

    /// Takes bytes as they came and hands on each piece that they complete, in order.
    pub fn push(&mut self, bytes: &[u8], mut each: impl FnMut(Piece<'_>)) {
        if self.frame.is_plain() {
            self.push_plain(bytes, each);
        } else {
            for byte in bytes {
                self.take(*byte, &mut each);
            }
        }
    }

    /// When a pause that began at the last byte, heard at this moment, ends the line; none where
    /// pauses end none, or there is nothing to end.
    pub fn pause_due(&self, last_heard: Moment) -> Option<Moment> {
        match self.frame.ends {
            End::Gap(gap) => {
                let lost = self.place == Place::Lost && !self.starts_known();
                (lost || !self.buffer.is_empty()).then(|| last_heard.plus(gap))
            }
            _ => None,
        }
    }

    /// The pause has lasted, and nothing came meanwhile: hands on the line that it ends. Of a
    /// frame that no pause ends, nothing.
    pub fn paused(&mut self, mut each: impl FnMut(Piece<'_>)) {
        if matches!(self.frame.ends, End::Gap(_)) {
            if self.place == Place::Inside {
                self.finish(&mut each);
            } else if self.frame.starts == Start::Anywhere {
                self.place = Place::Inside;
            }
        }
    }

    fn push_plain(&mut self, bytes: &[u8], mut each: impl FnMut(Piece<'_>)) {
        for part in bytes.split_inclusive(|byte| is_end(*byte)) {
            let (part, ended) = match part.split_last() {
                Some((last, before)) if is_end(*last) => (before, true),
                _ => (part, false),
            };
            if self.place == Place::Inside {
                if self.buffer.len() + part.len() > Self::LONGEST {
                    self.too_long(&mut each);
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
                if self.place == Place::Inside && !self.buffer.is_empty() {
                    each(Piece::Line(&self.buffer));
                }
                self.buffer.clear();
                self.place = Place::Inside;
            }
        }
    }

    /// One byte of a framed stream.
    fn take(&mut self, byte: u8, each: &mut impl FnMut(Piece<'_>)) {
        let starts = self.frame.starts == Start::Stx && byte == STX;
        match self.place {
            Place::Lost if starts => self.place = Place::Inside,
            Place::Lost if self.frame.starts == Start::Anywhere && self.is_end(byte) => {
                self.place = match self.check_behind() {
                    0 => Place::Inside,
                    width => Place::Passing(width),
                };
            }
            Place::Lost => {}
            Place::Passing(1) => self.place = Place::Inside,
            Place::Passing(more) => self.place = Place::Passing(more - 1),
            Place::Checking(had) => {
                // The longest line and its check have room together.
                self.buffer.push(byte);
                self.place = Place::Checking(had + 1);
                if had + 1 >= self.check_behind() {
                    self.finish(each);
                }
            }
            Place::Inside if starts => {
                // The end of the frame before was lost.
                if !self.buffer.trim_ascii().is_empty() {
                    each(Piece::Damaged);
                }
                self.buffer.clear();
            }
            Place::Inside if self.is_end(byte) => match self.check_behind() {
                0 => self.finish(each),
                _ => self.place = Place::Checking(0),
            },
            // Between two frames.
            Place::Inside if self.buffer.is_empty() && is_end(byte) && !self.starts_known() => {}
            Place::Inside if self.buffer.len() >= Self::LONGEST - 2 => self.too_long(each),
            Place::Inside => self.buffer.push(byte),
        }
    }

    fn starts_known(&self) -> bool {
        self.frame.starts == Start::Stx
    }

    /// Hands on what is in the buffer, if its check holds; the next line may begin.
    fn finish(&mut self, each: &mut impl FnMut(Piece<'_>)) {
        let line = match self.frame.check {
            None => Some(self.buffer.as_slice()),
            Some(check) => {
                let cut = self.buffer.len().checked_sub(check.written.width());
                let parts = cut.and_then(|cut| self.buffer.split_at_checked(cut));
                parts.and_then(|(line, written)| {
                    (check.written.read(written) == Some(check.of(line))).then_some(line)
                })
            }
        };
        match line.map(without_ends) {
            Some([]) => {}
            Some(line) => each(Piece::Line(line)),
            // An end right behind an end is no frame.
            None if self.buffer.is_empty() => {}
            None => each(Piece::Damaged),
        }
        self.buffer.clear();
        self.place = if self.starts_known() {
            Place::Lost
        } else {
            Place::Inside
        };
    }

    fn too_long(&mut self, each: &mut impl FnMut(Piece<'_>)) {
        self.buffer.clear();
        self.place = Place::Lost;
        each(Piece::TooLong);
    }

    fn is_end(&self, byte: u8) -> bool {
        match self.frame.ends {
            End::Line => is_end(byte),
            End::Etx => byte == super::frame::ETX,
            End::Gap(_) => false,
        }
    }

    /// Bytes of a check that follow an end byte.
    fn check_behind(&self) -> usize {
        match self.frame.check {
            Some(check) if check.at == CheckAt::AfterEnd => check.written.width(),
            _ => 0,
        }
    }
}

fn is_end(byte: u8) -> bool {
    byte == b'\r' || byte == b'\n'
}

/// CR and LF on either side of a text belong to no line.
fn without_ends(mut line: &[u8]) -> &[u8] {
    while let [rest @ .., last] = line
        && is_end(*last)
    {
        line = rest;
    }
    while let [first, rest @ ..] = line
        && is_end(*first)
    {
        line = rest;
    }
    line
}

#[cfg(test)]
mod tests;
