//! The chain of a job file: every line carries a fingerprint of itself and of all lines before it.
//!
//! Promises: a line that was changed, removed, put in or moved no longer fits, and anyone can see
//! that with standard tools, without this program. Leaves to others: reading a whole file
//! ([`scan`](super::scan())), writing one, and what the events mean. It guards against damage and
//! quiet corrections, not against someone who writes the whole file anew: for that, keep the last
//! link of a closed job elsewhere, for instance on the client's statement.
//!
//! A line is `{"n":1,"at":"...","event":"...", ... ,"chain":"<link>"}`. Its link is the lower-case
//! hexadecimal SHA-256 of the link of the line before (64 zeros for the first), as 64 characters,
//! followed by the bytes of this line up to, not including, `,"chain":`. By hand:
//!
//! ```sh
//! printf '%s%s' "$PREVIOUS_LINK" '{"n":1,"at":"2026-01-05T09:12:44.120Z","event":"open"' | sha256sum
//! ```

use std::fmt::{self, Write as _};

use sha2::{Digest as _, Sha256};

/// What stands between a line's own keys and its link.
const KEY: &str = ",\"chain\":\"";
/// What stands after the link.
const END: &str = "\"}";
/// Characters of a link.
const HEX: usize = 64;

/// The link of one line: a SHA-256, shown as 64 lower-case hexadecimal characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ChainLink([u8; 32]);

impl ChainLink {
    /// What stands before the first line: 64 zeros.
    pub const FIRST: Self = Self([0; 32]);

    /// A link as it stands in a file: 64 lower-case hexadecimal characters, nothing else.
    pub fn parse(text: &[u8]) -> Option<Self> {
        if text.len() != HEX {
            return None;
        }
        let mut link = [0; 32];
        for (byte, pair) in link.iter_mut().zip(text.chunks_exact(2)) {
            for digit in pair {
                *byte = (*byte << 4) | nibble(*digit)?;
            }
        }
        Some(Self(link))
    }

    /// The link of a line, from the link before it and the line's bytes before `,"chain":`.
    #[must_use]
    pub fn after(&self, head: &[u8]) -> Self {
        let digest = Sha256::new()
            .chain_update(self.to_string())
            .chain_update(head)
            .finalize();
        Self(digest.into())
    }
}

impl fmt::Display for ChainLink {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for byte in self.0 {
            write!(f, "{byte:02x}")?;
        }
        Ok(())
    }
}

/// The value of one lower-case hexadecimal digit. Upper case is refused: a file has one spelling.
fn nibble(digit: u8) -> Option<u8> {
    match digit {
        b'0'..=b'9' => Some(digit - b'0'),
        b'a'..=b'f' => Some(digit - b'a' + 10),
        _ => None,
    }
}

/// Seals a record: gives the line with its link and its line end, and the link for the next one.
///
/// `body` is the text of a JSON object on one line, with at least one key and without `chain`.
/// Other text gives a line that [`check_line`](super::check_line) refuses.
pub fn seal(previous: &ChainLink, body: &str) -> (String, ChainLink) {
    let head = body.strip_suffix('}').unwrap_or(body);
    let chain = previous.after(head.as_bytes());
    let mut line = String::with_capacity(head.len() + KEY.len() + HEX + END.len() + 1);
    line.push_str(head);
    line.push_str(KEY);
    // Writing into a String cannot fail.
    line.write_fmt(format_args!("{chain}")).unwrap_or_default();
    line.push_str(END);
    line.push('\n');
    (line, chain)
}

/// Takes a line (without its line end) apart: the bytes that were hashed, and the link it carries.
///
/// The link is looked for only where it must stand, at the very end, so text inside a record that
/// looks like a link is never taken for one.
pub fn unseal(line: &[u8]) -> Option<(&[u8], ChainLink)> {
    let at = line.len().checked_sub(KEY.len() + HEX + END.len())?;
    let (head, seal) = line.split_at_checked(at)?;
    let hex = seal
        .strip_prefix(KEY.as_bytes())?
        .strip_suffix(END.as_bytes())?;
    Some((head, ChainLink::parse(hex)?))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_link_is_shown_and_read_alike() {
        assert_eq!(ChainLink::FIRST.to_string(), "0".repeat(64));
        let link = ChainLink::FIRST.after(b"x");
        assert_eq!(ChainLink::parse(link.to_string().as_bytes()), Some(link));
        assert_eq!(
            ChainLink::parse(link.to_string().to_uppercase().as_bytes()),
            None
        );
        assert_eq!(ChainLink::parse(&[b'0'; 63]), None);
        assert_eq!(ChainLink::parse(&[b'0'; 65]), None);
    }

    #[test]
    fn the_link_is_the_one_that_sha256sum_gives() {
        // Computed once with the sha256sum of the GNU core utilities.
        let (line, chain) = seal(&ChainLink::FIRST, r#"{"n":1,"event":"open"}"#);
        assert_eq!(
            chain.to_string(),
            "7bd3dc741080654c100280892d0076352578d13a5e2db32bd71f28891e73c302"
        );
        assert_eq!(
            line,
            format!("{{\"n\":1,\"event\":\"open\",\"chain\":\"{chain}\"}}\n")
        );
    }

    #[test]
    fn only_the_end_of_a_line_is_taken_for_its_link() {
        let trick = format!(r#"{{"n":1,"note":",\"chain\":\"{}\"}}"}}"#, "0".repeat(64));
        let (line, chain) = seal(&ChainLink::FIRST, &trick);
        let line = line.trim_end().as_bytes();
        let (head, found) = unseal(line).unwrap();
        assert_eq!(found, chain);
        assert_eq!(ChainLink::FIRST.after(head), chain);
        assert_eq!(unseal(trick.as_bytes()), None);
        assert_eq!(unseal(b""), None);
        assert_eq!(unseal(&[b'}'; 75]), None);
    }
}
