//! Whether bytes look like a balance that is heard at the right speed and framing.
//!
//! Promises: total and pure, so the same for a port, a log and a test; a check bit that arrives as
//! the top bit of each byte is told and taken off. Leaves to others: the loop over the speeds.

use super::token::{Kind, Marks, tokens};
use crate::balance::sound::letters;

/// What the top bit of the bytes says of the framing that the sender uses, heard at eight bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum TopBit {
    /// Never set, or set in bytes that are text: eight bits without a check bit.
    #[default]
    Plain,
    /// The check bit of seven bits with even parity.
    Even,
    /// The check bit of seven bits with odd parity.
    Odd,
    /// Always set: seven bits and a second bit of rest.
    Mark,
}

/// How bytes sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sound {
    /// Bytes heard.
    pub bytes: usize,
    /// Bytes in a thousand that belong into a line of text, after the check bit is off.
    pub printable: usize,
    /// Pieces between line ends, or between STX and ETX.
    pub lines: usize,
    /// Lines in a thousand that have the commonest build.
    pub alike: usize,
    /// What the top bit says.
    pub top_bit: TopBit,
}

impl Sound {
    /// From 0 to 1000: how surely this is a balance at the right speed and framing.
    pub fn score(&self) -> usize {
        if self.bytes < 6 || self.lines == 0 {
            return 0;
        }
        // A few damaged bytes must not hide the right speed; half of them must.
        let text = self.printable.saturating_sub(500) * 2;
        text * (200 + self.alike * 4 / 5) / 1000
    }

    /// Whether that is sure enough to go on with.
    pub fn is_clear(&self) -> bool {
        self.score() >= 700
    }
}

/// How these bytes sound.
pub fn listen(bytes: &[u8]) -> Sound {
    let top_bit = top_bit(bytes);
    let bare = without_top_bit(bytes, top_bit);
    let fits = |byte: &u8| matches!(byte, 0x20..=0x7e | b'\r' | b'\n' | b'\t' | 0x02 | 0x03);
    let good = bare.iter().filter(|byte| fits(byte)).count() + letters(&bare);
    let is_edge = |byte: &u8| matches!(byte, b'\r' | b'\n' | 0x02 | 0x03);
    let has_edge = bare.iter().any(is_edge);
    let mut builds: Vec<Vec<u8>> = bare
        .split(is_edge)
        .filter(|line| line.len() > 2)
        .map(build)
        .collect();
    builds.sort();
    let most = builds
        .chunk_by(|one, other| one == other)
        .map(<[_]>::len)
        .max()
        .unwrap_or(0);
    let lines = if has_edge { builds.len() } else { 0 };
    Sound {
        bytes: bytes.len(),
        printable: good * 1000 / bytes.len().max(1),
        lines,
        alike: most * 1000 / builds.len().max(1),
        top_bit,
    }
}

/// What a line is built of, without its digits and letters.
fn build(line: &[u8]) -> Vec<u8> {
    let [point, ..] = Marks::ALL;
    let mut out: Vec<u8> = Vec::new();
    for token in tokens(line, point) {
        let sign = match token.kind {
            Kind::Number => b'#',
            Kind::Word => b'w',
            Kind::Mark(mark) => mark,
        };
        out.push(sign);
    }
    out
}

/// What the top bit says: the check bit of nearly every byte comes out, or it is always set.
pub fn top_bit(bytes: &[u8]) -> TopBit {
    let all = bytes.len();
    let count = |is: fn(u8) -> bool| bytes.iter().filter(|byte| is(**byte)).count();
    let high = count(|byte| byte >= 0x80);
    if all < 8 || high * 10 < all {
        return TopBit::Plain;
    }
    let nearly = |some: usize| some * 100 >= all * 96;
    if nearly(high) {
        TopBit::Mark
    } else if nearly(count(|byte| byte.count_ones().is_multiple_of(2))) {
        TopBit::Even
    } else if nearly(count(|byte| !byte.count_ones().is_multiple_of(2))) {
        TopBit::Odd
    } else {
        TopBit::Plain
    }
}

/// The bytes without the check bit.
pub fn without_top_bit(bytes: &[u8], top_bit: TopBit) -> Vec<u8> {
    let keep = if top_bit == TopBit::Plain { 0xff } else { 0x7f };
    bytes.iter().map(|byte| byte & keep).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINES: &[u8] = b"+   12.34 g\r\n+   12.35 g\r\n+  112.36 g\r\n";

    fn with_parity(odd: bool) -> Vec<u8> {
        let check = |byte: &u8| byte | (u8::from((byte.count_ones() % 2 == 1) != odd) << 7);
        LINES.iter().map(check).collect()
    }

    #[test]
    fn text_is_clear_and_noise_is_not() {
        assert!(listen(LINES).is_clear());
        let mut seed = 7_u32;
        let noise: Vec<u8> = (0..400)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                seed.to_be_bytes()[0]
            })
            .collect();
        assert!(!listen(&noise).is_clear(), "{:?}", listen(&noise));
        // Heard at half the speed, bits double up; a stuck wire is all zeros.
        assert!(!listen(&[0; 100]).is_clear());
        assert!(!listen(b"").is_clear());
        // A unit in other letters is text; as many bytes of all kinds are none.
        assert!(
            listen("  12.34 \u{433}\r\n  12.35 \u{433}\r\n  2.36 \u{433}\r\n".as_bytes())
                .is_clear()
        );
        assert!(!listen(b"\xf3 \x80 \xfc\n".repeat(20).as_slice()).is_clear());
        assert!(!listen(b"UUUUUUUUUUUUUU").is_clear());
    }

    #[test]
    fn a_check_bit_in_the_top_bit_is_told_and_taken_off() {
        for (odd, want) in [(false, TopBit::Even), (true, TopBit::Odd)] {
            let bytes = with_parity(odd);
            assert_eq!(top_bit(&bytes), want);
            assert_eq!(without_top_bit(&bytes, want), LINES);
            assert!(listen(&bytes).is_clear());
        }
        let marked: Vec<u8> = LINES.iter().map(|byte| byte | 0x80).collect();
        assert_eq!(top_bit(&marked), TopBit::Mark);
        assert_eq!(top_bit(LINES), TopBit::Plain);
    }
}
