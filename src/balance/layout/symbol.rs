//! The symbols of a balance file, and the bytes that stand in a line for them.
//!
//! Promises: any bytes can be written as a symbol, and come back the same; a symbol that is plain
//! text is written as it is. Leaves to others: what a symbol means.

use std::fmt::Write as _;

/// The bytes of a symbol: its text, in which `\xNN` is one byte where no text could stand for it:
/// from 80 on, or a backslash (5C).
pub fn symbol_bytes(symbol: &str) -> Vec<u8> {
    let mut rest = symbol.as_bytes();
    let mut out = Vec::with_capacity(rest.len());
    while let Some((first, behind)) = rest.split_first() {
        if let Some((byte, behind)) = written_out(rest) {
            out.push(byte);
            rest = behind;
        } else {
            out.push(*first);
            rest = behind;
        }
    }
    out
}

/// The symbol that stands for these bytes.
pub fn symbol_of(bytes: &[u8]) -> String {
    if let Ok(text) = std::str::from_utf8(bytes)
        && text.trim() == text
        && symbol_bytes(text) == bytes
    {
        return text.to_owned();
    }
    let mut out = String::new();
    for (at, byte) in bytes.iter().enumerate() {
        let begins = *byte == b'\\' && bytes.get(at + 1) == Some(&b'x');
        if *byte >= 0x80 || begins {
            // Writing to a string cannot fail.
            let _written = write!(out, "\\x{byte:02X}");
        } else {
            out.push(char::from(*byte));
        }
    }
    out
}

/// A byte that is written out at the beginning, and what follows it.
fn written_out(text: &[u8]) -> Option<(u8, &[u8])> {
    let [b'\\', b'x', high, low, rest @ ..] = text else {
        return None;
    };
    let digit = |byte: &u8| char::from(*byte).to_digit(16);
    let byte = u8::try_from(digit(high)? * 16 + digit(low)?).ok()?;
    (byte >= 0x80 || byte == b'\\').then_some((byte, rest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn text_stays_and_other_bytes_are_written_out() {
        for (bytes, symbol) in [
            (&b"g"[..], "g"),
            ("\u{433}".as_bytes(), "\u{433}"),
            (b"\xE3", r"\xE3"),
            (b"g\xB0", r"g\xB0"),
            (b"\xA0g", r"\xA0g"),
            ("\u{a0}g".as_bytes(), r"\xC2\xA0g"),
            (br"\x41", r"\x41"),
            (br"\xE3", r"\x5CxE3"),
        ] {
            assert_eq!(symbol_of(bytes), symbol);
            assert_eq!(symbol_bytes(symbol), bytes, "{symbol}");
        }
    }

    proptest! {
        #[test]
        fn any_bytes_come_back(bytes in proptest::collection::vec(prop_oneof![any::<u8>(), Just(b'\\'), Just(b'x'), Just(b'8')], 0..20)) {
            prop_assert_eq!(symbol_bytes(&symbol_of(&bytes)), bytes);
        }
    }
}
