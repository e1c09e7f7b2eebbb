//! Texts of a balance file that stand for bytes and for times.
//!
//! Promises: what is written is read back the same; what cannot be meant is refused with why.
//! Leaves to others: which key it belongs to.

use std::fmt::Write as _;
use std::time::Duration;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;

use crate::mass::typed_number;

/// Reads `W\r\n` or `\x05`: plain characters, and bytes as `\r`, `\n`, `\t`, `\\` and `\xNN`.
pub(super) fn bytes(text: &str) -> Result<Vec<u8>, String> {
    let mut out = Vec::new();
    let mut rest = text.chars();
    while let Some(sign) = rest.next() {
        if sign != '\\' {
            let byte = u8::try_from(sign).ok().filter(u8::is_ascii);
            out.push(byte.ok_or(format!(
                "\"{sign}\" is more than one byte; write the bytes as \\xNN"
            ))?);
            continue;
        }
        out.push(match rest.next() {
            Some('r') => b'\r',
            Some('n') => b'\n',
            Some('t') => b'\t',
            Some('\\') => b'\\',
            Some('x') => {
                let digit = |sign: Option<char>| sign.and_then(|sign| sign.to_digit(16));
                digit(rest.next())
                    .zip(digit(rest.next()))
                    .and_then(|(high, low)| u8::try_from(high * 16 + low).ok())
                    .ok_or("two hexadecimal digits must follow \\x")?
            }
            _ => return Err("a \\ must be followed by r, n, t, \\ or xNN".to_owned()),
        });
    }
    Ok(out)
}

/// Bytes as they are written in a text.
pub(super) fn of_bytes(bytes: &[u8]) -> String {
    let mut out = String::new();
    for byte in bytes {
        match byte {
            b'\r' => out.push_str("\\r"),
            b'\n' => out.push_str("\\n"),
            b'\t' => out.push_str("\\t"),
            b'\\' => out.push_str("\\\\"),
            // An apostrophe would end the TOML text.
            b' '..=b'~' if *byte != b'\'' => out.push(char::from(*byte)),
            // Writing to a string cannot fail.
            _ => {
                let _written = write!(out, "\\x{byte:02X}");
            }
        }
    }
    out
}

/// Reads `200 ms` or `1.5 s`, down to the millisecond.
pub(super) fn time(text: &str) -> Option<Duration> {
    let (number, thousandths) = match text.strip_suffix("ms") {
        Some(number) => (number, 1),
        None => (text.strip_suffix('s')?, 1000),
    };
    let number = typed_number(number.trim()).ok()?;
    let milliseconds = number * Decimal::from(thousandths);
    (milliseconds.fract().is_zero())
        .then(|| milliseconds.to_u64().map(Duration::from_millis))
        .flatten()
}

/// A time as it is written in a text.
pub(super) fn of_time(time: Duration) -> String {
    if time.subsec_millis() == 0 && time.as_secs() > 0 {
        format!("{} s", time.as_secs())
    } else {
        format!("{} ms", time.as_millis())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn times_are_plain() {
        let ms = |text| time(text).map(|time| time.as_millis());
        assert_eq!(ms("200 ms"), Some(200));
        assert_eq!(ms("1.5 s"), Some(1500));
        assert_eq!(ms("1s"), Some(1000));
        for odd in ["", "1", "s", "-1 s", "1 m", "0.0005 s", "1e3 ms", "1.5 ms"] {
            assert_eq!(ms(odd), None, "{odd}");
        }
    }

    #[test]
    fn bytes_are_plain_or_told() {
        assert_eq!(
            bytes("brilvo\\r\\n\\x05 \\\\").unwrap(),
            b"brilvo\r\n\x05 \\"
        );
        assert_eq!(
            bytes("brilvo\r\n").unwrap(),
            b"brilvo\r\n",
            "as TOML itself reads it"
        );
        for (odd, why) in [
            ("\\", "followed by"),
            ("\\q", "followed by"),
            ("\\x4", "digits"),
            ("é", "xNN"),
        ] {
            assert!(bytes(odd).unwrap_err().contains(why), "{odd}");
        }
    }

    proptest! {
        #[test]
        fn written_bytes_and_times_are_read_back(raw in proptest::collection::vec(any::<u8>(), 0..40), ms in 0u64..100_000) {
            prop_assert_eq!(bytes(&of_bytes(&raw)).unwrap(), raw);
            let span = Duration::from_millis(ms);
            prop_assert_eq!(time(&of_time(span)), Some(span));
        }
    }
}
