//! What a stretch of bytes sounds like: nothing, rubble, text, or a balance.
//!
//! Promises: bounded, total on any bytes; a check bit that was read as the top bit of each byte is
//! seen through. A guess for looking around, not for weighing: what a line says is a layout's to
//! tell. Leaves to others: at which speed the bytes were read, and for how long.

/// The longest line that still looks like a weighing, and the most numbers in it: navigation
/// receivers and meters send longer ones with more.
const LONGEST_LINE: usize = 48;
const MOST_NUMBERS: usize = 3;

/// The check bit that was read as the top bit of each byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CheckBit {
    /// None: eight bits as sent.
    None,
    /// Seven bits, and the eighth makes the ones even in number.
    Even,
    /// Seven bits, and the eighth makes the ones odd in number.
    Odd,
}

/// What a stretch of bytes sounds like.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sound {
    /// Nothing came.
    Silent,
    /// Bytes that are no text, as at a wrong speed.
    Garbled,
    /// Text, and no weighings.
    Text,
    /// Short lines with a number in them.
    Weighings {
        /// The last whole one, without its end.
        line: Vec<u8>,
        /// How many there were.
        lines: usize,
        /// The check bit.
        check: CheckBit,
    },
}

/// Judges what was heard from the opening of a port on.
pub fn sound(bytes: &[u8]) -> Sound {
    if bytes.is_empty() {
        return Sound::Silent;
    }
    if is_text(bytes) {
        return lines(bytes, CheckBit::None);
    }
    let stripped: Vec<u8> = bytes.iter().map(|byte| byte & 0x7f).collect();
    let ones_are = |rest: u32| bytes.iter().all(|byte| byte.count_ones() % 2 == rest);
    let check = match (ones_are(0), ones_are(1)) {
        (true, _) => CheckBit::Even,
        (_, true) => CheckBit::Odd,
        _ => return Sound::Garbled,
    };
    if is_text(&stripped) {
        lines(&stripped, check)
    } else {
        Sound::Garbled
    }
}

/// Nearly all of it prints; a click at the opening is let pass.
fn is_text(bytes: &[u8]) -> bool {
    let odd = bytes.iter().filter(|byte| !prints(**byte)).count();
    odd.saturating_sub(letters(bytes)) * 20 <= bytes.len()
}

/// Bytes beyond ASCII that are letters: the same few again and again, as the symbol of a unit is,
/// and no more than a quarter of all. At a wrong speed they are many and of many kinds; with a
/// check bit the marks round a line have it, too.
pub(super) fn letters(bytes: &[u8]) -> usize {
    let mut runs: Vec<&[u8]> = bytes
        .split(u8::is_ascii)
        .filter(|run| !run.is_empty())
        .collect();
    let all: usize = runs.iter().map(|run| run.len()).sum();
    let often = runs.len();
    runs.sort_unstable();
    runs.dedup();
    let checked = runs
        .iter()
        .any(|run| matches!(run.last(), Some(0x8d | 0x8a | 0x83)) || run.first() == Some(&0x82));
    let few = all * 4 <= bytes.len() && runs.len() * 3 <= often && runs.len() <= 4;
    if few && !checked { all } else { 0 }
}

/// What prints, blanks, line ends, and the marks that stand around a line (ASCII 2 and 3).
fn prints(byte: u8) -> bool {
    matches!(byte, b' '..=b'~' | b'\t' | b'\r' | b'\n' | 2 | 3)
}

fn lines(bytes: &[u8], check: CheckBit) -> Sound {
    let ended = bytes.ends_with(b"\n") || bytes.ends_with(b"\r") || bytes.ends_with(&[3]);
    let mut all: Vec<&[u8]> = bytes
        .split(|byte| matches!(byte, b'\r' | b'\n' | 2 | 3))
        .filter(|line| !line.trim_ascii().is_empty())
        .collect();
    if !ended {
        all.pop();
    }
    // Before the first line end there may be half a line.
    let whole = match all.split_first() {
        Some((_, rest)) if !rest.is_empty() => rest,
        _ => all.as_slice(),
    };
    let weighings: Vec<&&[u8]> = whole.iter().filter(|line| may_weigh(line)).collect();
    match weighings.last() {
        Some(last) if weighings.len() * 2 >= whole.len() => Sound::Weighings {
            line: last.to_vec(),
            lines: weighings.len(),
            check,
        },
        _ => Sound::Text,
    }
}

fn may_weigh(line: &[u8]) -> bool {
    let is_mark = |byte: &u8| matches!(byte, b'.' | b',');
    // Marks stand in a number, and between numbers in a list: each further one counts as another.
    let numbers: usize = line
        .split(|byte| !byte.is_ascii_digit() && !is_mark(byte))
        .filter(|part| part.iter().any(u8::is_ascii_digit))
        .map(|part| part.iter().filter(|byte| is_mark(byte)).count().max(1))
        .sum();
    line.len() <= LONGEST_LINE
        && (1..=MOST_NUMBERS).contains(&numbers)
        // What is beyond ASCII was told to be letters before, or is a click.
        && line.iter().all(|byte| prints(*byte) || *byte >= 0x80)
        && line.iter().filter(|byte| !prints(**byte)).count() * 4 <= line.len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn with_check_bit(text: &[u8], odd: u32) -> Vec<u8> {
        let bit = |byte: &u8| byte | u8::from(byte.count_ones() % 2 != odd) << 7;
        text.iter().map(bit).collect()
    }

    #[test]
    fn balances_are_told_from_what_else_talks() {
        let balance = b"2.34 g\r\nstable   12.34 g\r\nmoving   12.35 g\r\nstab";
        let heard = |check| Sound::Weighings {
            line: b"moving   12.35 g".to_vec(),
            lines: 2,
            check,
        };
        assert_eq!(sound(balance), heard(CheckBit::None));
        assert_eq!(sound(&with_check_bit(balance, 0)), heard(CheckBit::Even));
        assert_eq!(sound(&with_check_bit(balance, 1)), heard(CheckBit::Odd));
        assert!(matches!(
            sound(b"\x02N;12,34;g;1\x03\x02N;12,34;g;1\x03"),
            Sound::Weighings { lines: 1, .. }
        ));
        assert!(matches!(sound(b"+ 1.00 g\r\n"), Sound::Weighings { .. }));
        assert_eq!(sound(b""), Sound::Silent);
        // A unit in other letters, as text and as a byte of an old code page.
        for symbol in ["\u{433}".as_bytes(), b"\xe3"] {
            let line = [b"   12.34 ", symbol, b"\r\n"].concat();
            assert!(matches!(
                sound(&line.repeat(5)),
                Sound::Weighings {
                    lines: 4,
                    check: CheckBit::None,
                    ..
                }
            ));
        }
        // Few of these bytes have their check bit set, but the end of the line has.
        let checked = b"00000.00\xe7\x8d\n".repeat(5);
        assert!(matches!(
            sound(&checked),
            Sound::Weighings {
                check: CheckBit::Even,
                ..
            }
        ));
        assert_eq!(sound(&[0xf8, 0, 0x80, 0xfe, 0x7f, 0xe0]), Sound::Garbled);
        for text in [
            &b"login: \r\nPassword: "[..],
            b"$AB,123519,4807.038,N,01131.000,E,1,08\r\n$AB,123519,4807.038,N,01131.000,E,1,08\r\n",
            b"1234",
            b"ready\r\nready\r\nready\r\n1\r\n",
        ] {
            assert_eq!(sound(text), Sound::Text, "{}", text.escape_ascii());
        }
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
            let _any = sound(&bytes);
        }
    }
}
