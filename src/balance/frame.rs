//! How a line is framed on the wire: where it begins, what ends it, and the byte that checks it.
//!
//! Promises: a check is computed over exactly the bytes that the frame says, and a frame that
//! contradicts itself is refused with why. Leaves to others: cutting a stream by it (`split`).

use std::time::Duration;

/// STX, the byte before the text of a frame (ISO/IEC 646).
pub(super) const STX: u8 = 0x02;
/// ETX, the byte after it.
pub(super) const ETX: u8 = 0x03;

/// How lines are framed. The default: anything between CR, LF or both, without a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FrameSpec {
    /// What begins a line.
    pub starts: Start,
    /// What ends it.
    pub ends: End,
    /// What checks it, if anything does.
    pub check: Option<Check>,
}

/// What begins a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Start {
    /// It begins where the one before ended.
    #[default]
    Anywhere,
    /// The byte 0x02; what comes before it belongs to no line.
    Stx,
}

/// What ends a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum End {
    /// CR, LF or both.
    #[default]
    Line,
    /// The byte 0x03; CR and LF before it, or before the next line, are dropped.
    Etx,
    /// So long a pause.
    Gap(Duration),
}

/// A check of a line against damage on the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Check {
    /// How it is reckoned.
    pub how: CheckSum,
    /// Where it stands.
    pub at: CheckAt,
    /// How it is written.
    pub written: CheckAs,
    /// Which bytes it covers beside those between start and end.
    pub covers: Covers,
}

/// How a check is reckoned over its bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CheckSum {
    /// All of them exclusive-ored (the longitudinal check).
    Xor,
    /// Their sum modulo 256.
    Sum,
    /// What makes the sum with it zero modulo 256.
    ZeroSum,
}

/// Where a check stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CheckAt {
    /// Right after the end byte.
    AfterEnd,
    /// Right before the end.
    BeforeEnd,
}

/// How a check is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CheckAs {
    /// As one byte, whatever it is.
    Byte,
    /// As two hexadecimal digits, large or small.
    Hex,
}

/// Which bytes a check covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Covers {
    /// Those between start and end.
    #[default]
    Payload,
    /// The start byte with them.
    WithStart,
    /// The end byte with them.
    WithEnd,
    /// Both with them.
    WithBoth,
}

impl Start {
    /// Every one with its word.
    pub const WORDS: [(&'static str, Self); 1] = [("stx", Self::Stx)];
}

impl CheckSum {
    /// Every one with its word.
    pub const WORDS: [(&'static str, Self); 3] = [
        ("xor", Self::Xor),
        ("sum", Self::Sum),
        ("zero-sum", Self::ZeroSum),
    ];

    /// The check of these bytes.
    pub fn of(self, bytes: impl Iterator<Item = u8>) -> u8 {
        match self {
            Self::Xor => bytes.fold(0, |sum, byte| sum ^ byte),
            Self::Sum => bytes.fold(0, u8::wrapping_add),
            Self::ZeroSum => bytes.fold(0, u8::wrapping_sub),
        }
    }
}

impl CheckAt {
    /// Every one with its word.
    pub const WORDS: [(&'static str, Self); 2] = [
        ("after-end", Self::AfterEnd),
        ("before-end", Self::BeforeEnd),
    ];
}

impl CheckAs {
    /// Every one with its word.
    pub const WORDS: [(&'static str, Self); 2] = [("byte", Self::Byte), ("hex", Self::Hex)];

    /// Bytes that it takes on the wire.
    pub(super) fn width(self) -> usize {
        match self {
            Self::Byte => 1,
            Self::Hex => 2,
        }
    }

    /// The check that is written there; none where there is none.
    pub(super) fn read(self, written: &[u8]) -> Option<u8> {
        let digit = |byte: u8| char::from(byte).to_digit(16);
        match (self, written) {
            (Self::Byte, [byte]) => Some(*byte),
            (Self::Hex, [high, low]) => u8::try_from(digit(*high)? * 16 + digit(*low)?).ok(),
            _ => None,
        }
    }

    /// A check as it is written.
    pub fn write(self, check: u8) -> Vec<u8> {
        match self {
            Self::Byte => vec![check],
            Self::Hex => format!("{check:02X}").into_bytes(),
        }
    }
}

impl Covers {
    /// Every one with its word.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("payload", Self::Payload),
        ("with-start", Self::WithStart),
        ("with-end", Self::WithEnd),
        ("with-both", Self::WithBoth),
    ];

    fn start(self) -> bool {
        matches!(self, Self::WithStart | Self::WithBoth)
    }

    fn end(self) -> bool {
        matches!(self, Self::WithEnd | Self::WithBoth)
    }
}

impl Check {
    /// The check of a payload.
    pub fn of(self, payload: &[u8]) -> u8 {
        let start = self.covers.start().then_some(STX);
        let end = self.covers.end().then_some(ETX);
        let bytes = start.into_iter().chain(payload.iter().copied()).chain(end);
        self.how.of(bytes)
    }
}

impl FrameSpec {
    /// The shortest pause that can end a line: adapters hand on what they heard every 16 ms.
    pub const SHORTEST_GAP: Duration = Duration::from_millis(20);
    /// The longest.
    pub const LONGEST_GAP: Duration = Duration::from_secs(2);

    /// What contradicts itself in it, if anything does, as the rest of "its frame cannot be: ...".
    pub fn contradiction(&self) -> Option<&'static str> {
        if let End::Gap(gap) = self.ends
            && !(Self::SHORTEST_GAP..=Self::LONGEST_GAP).contains(&gap)
        {
            return Some("the pause that ends a line must be from 20 ms to 2 s");
        }
        let check = self.check?;
        if check.at == CheckAt::AfterEnd && self.ends != End::Etx {
            Some("a check can stand after the end only where a line ends with ETX")
        } else if check.covers.end() && self.ends != End::Etx {
            Some("a check can cover the end only where a line ends with ETX")
        } else if check.covers.start() && self.starts != Start::Stx {
            Some("a check can cover the start only where a line starts with STX")
        } else {
            None
        }
    }

    /// Whether it is nothing but CR and LF.
    pub(super) fn is_plain(&self) -> bool {
        *self == Self::default()
    }

    /// A payload framed as it stands on the wire; what a pause ends has no end.
    pub fn wrap(&self, payload: &[u8]) -> Vec<u8> {
        let mut out = Vec::with_capacity(payload.len() + 6);
        if self.starts == Start::Stx {
            out.push(STX);
        }
        out.extend_from_slice(payload);
        let check = self
            .check
            .map(|check| (check.at, check.written.write(check.of(payload))));
        if let Some((CheckAt::BeforeEnd, written)) = &check {
            out.extend_from_slice(written);
        }
        match self.ends {
            End::Line => out.extend_from_slice(b"\r\n"),
            End::Etx => out.push(ETX),
            End::Gap(_) => {}
        }
        if let Some((CheckAt::AfterEnd, written)) = &check {
            out.extend_from_slice(written);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn checks_are_reckoned_over_what_they_cover() {
        let check = |how, covers| {
            let check = Check {
                how,
                at: CheckAt::AfterEnd,
                written: CheckAs::Byte,
                covers,
            };
            check.of(b"AB")
        };
        // A is 0x41, B is 0x42.
        assert_eq!(check(CheckSum::Xor, Covers::Payload), 0x03);
        assert_eq!(check(CheckSum::Xor, Covers::WithEnd), 0x00);
        assert_eq!(check(CheckSum::Xor, Covers::WithStart), 0x01);
        assert_eq!(check(CheckSum::Xor, Covers::WithBoth), 0x02);
        assert_eq!(check(CheckSum::Sum, Covers::Payload), 0x83);
        assert_eq!(check(CheckSum::ZeroSum, Covers::Payload), 0x7D);
        assert_eq!(CheckAs::Hex.read(b"a7"), Some(0xA7));
        assert_eq!(CheckAs::Hex.read(b"A"), None);
        assert_eq!(CheckAs::Hex.read(b"G0"), None);
        assert_eq!(CheckAs::Hex.write(0x0A), b"0A");
    }

    #[test]
    fn a_frame_that_contradicts_itself_is_told() {
        let check = Check {
            how: CheckSum::Xor,
            at: CheckAt::AfterEnd,
            written: CheckAs::Byte,
            covers: Covers::WithBoth,
        };
        let mut frame = FrameSpec {
            check: Some(check),
            ..FrameSpec::default()
        };
        assert!(frame.contradiction().unwrap_or_default().contains("after"));
        frame.ends = End::Etx;
        assert!(frame.contradiction().unwrap_or_default().contains("start"));
        frame.starts = Start::Stx;
        assert_eq!(frame.contradiction(), None);
        frame.check = None;
        frame.ends = End::Gap(Duration::from_millis(5));
        assert!(frame.contradiction().unwrap_or_default().contains("20 ms"));
    }
}
