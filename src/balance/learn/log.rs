//! A log of lines as people keep them, turned back into bytes.
//!
//! Promises: bytes that are already raw stay as they are; in a log that writes control bytes out
//! (`<STX>`, `\x02`, `\r`) they become bytes, and the line ends of the log itself do not count
//! where the balance's own are written out. Leaves to others: what the bytes mean.

/// Names of control bytes as logs write them.
const NAMES: [(&str, u8); 8] = [
    ("<STX>", 0x02),
    ("<ETX>", 0x03),
    ("<CR>", b'\r'),
    ("<LF>", b'\n'),
    (r"\r", b'\r'),
    (r"\n", b'\n'),
    ("<ENQ>", 0x05),
    ("<NUL>", 0x00),
];

/// The bytes that a log tells of.
pub fn bytes_of_log(log: &[u8]) -> Vec<u8> {
    let log = log.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(log);
    let (mut out, mut named, mut ends) = (Vec::with_capacity(log.len()), 0_usize, false);
    let mut at = 0;
    while let Some(rest) = log.get(at..).filter(|rest| !rest.is_empty()) {
        if let Some((byte, width)) = written_out(rest) {
            out.push(byte);
            named += 1;
            ends |= matches!(byte, b'\r' | b'\n' | 0x03);
            at += width;
        } else {
            out.extend(rest.first());
            at += 1;
        }
    }
    let lines = log
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.trim_ascii().is_empty())
        .count();
    // A single one may be part of a line; a log that writes them out does it in most lines.
    if named * 2 < lines || named == 0 {
        return log.to_vec();
    }
    if ends { without_log_ends(log) } else { out }
}

/// The same without the line ends of the log itself.
fn without_log_ends(log: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(log.len());
    let mut at = 0;
    while let Some(rest) = log.get(at..).filter(|rest| !rest.is_empty()) {
        match (written_out(rest), rest.first()) {
            (Some((byte, width)), _) => {
                out.push(byte);
                at += width;
            }
            (None, Some(b'\r' | b'\n')) => at += 1,
            (None, other) => {
                out.extend(other);
                at += 1;
            }
        }
    }
    out
}

fn written_out(rest: &[u8]) -> Option<(u8, usize)> {
    if let [b'\\', b'x', high, low, ..] = rest {
        let digit = |byte: &u8| char::from(*byte).to_digit(16);
        let byte = digit(high)? * 16 + digit(low)?;
        return u8::try_from(byte).ok().map(|byte| (byte, 4));
    }
    let found = NAMES
        .iter()
        .find(|(name, _)| rest.starts_with(name.as_bytes()));
    found.map(|(name, byte)| (*byte, name.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn control_bytes_written_out_become_bytes_and_others_stay() {
        for (log, want) in [
            (
                "<STX>1.0 g<ETX>\n<STX>2.0 g<ETX>\n",
                &b"\x021.0 g\x03\x022.0 g\x03"[..],
            ),
            (
                "\\x021.0 g\\r\\n\n\\x022.0 g\\r\\n\n",
                b"\x021.0 g\r\n\x022.0 g\r\n",
            ),
            ("1.0 g\n2.0 g\n", b"1.0 g\n2.0 g\n"),
            ("a\\b 1.0\n2.0\n3.0\n", b"a\\b 1.0\n2.0\n3.0\n"),
            ("<STX>1.0\n<STX>2.0\n", b"\x021.0\n\x022.0\n"),
        ] {
            assert_eq!(bytes_of_log(log.as_bytes()), want, "{log}");
        }
    }
}
