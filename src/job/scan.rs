//! The scan of a job file: how far it is whole, and what is wrong where it is not.
//!
//! Promises: a pure look at bytes that tells three cases apart: clean, a torn last line, damage. A
//! changed byte is never called clean, and bytes of a torn line never become a record. Leaves to
//! others: what the events mean (only `n` and `chain` are read), and all writing.
//!
//! One thing no scan can see: a file cut exactly at a line end is a valid shorter file. A closed
//! job is safe from it, since its last line is then no longer `close`; for an open job the last
//! link known elsewhere (the page, a statement, a backup) is the only witness.

use std::ops::Range;

use serde::Deserialize;

use super::chain::{self, ChainLink};

/// What a scan found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scan {
    /// How many bytes from the start are whole, fitting lines.
    pub good_len: usize,
    /// Where those lines stand, in order, without their line ends.
    pub lines: Vec<Range<usize>>,
    /// The link of the last of them; [`ChainLink::FIRST`] when there is none.
    pub last: ChainLink,
    /// What follows them.
    pub verdict: Verdict,
}

impl Scan {
    /// The number of the last whole line; 0 when there is none.
    pub fn n(&self) -> u64 {
        self.lines.len() as u64
    }
}

/// What follows the whole lines of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing: the file is whole. So is an empty one.
    Clean,
    /// A last line without its end, from this byte on. It was never confirmed to anyone: power or
    /// process went while it was written. It may be followed by bytes of zero, as after a power
    /// cut.
    TornTail {
        /// Where it starts; the same as [`Scan::good_len`].
        at: usize,
    },
    /// A line that does not fit, which no interrupted write explains.
    Damaged {
        /// Its number, counted from 1.
        line: u64,
        /// What does not fit.
        why: Damage,
    },
}

/// Why a line does not fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Damage {
    /// It is not UTF-8 text.
    NotText,
    /// It does not end with a `chain` key of 64 lower-case hexadecimal characters.
    NoChain,
    /// It is not a JSON object, has no whole number `n`, or has `n` or `chain` twice.
    NotJson,
    /// Its number is another one.
    OutOfOrder {
        /// The number it carries.
        found: u64,
    },
    /// Its link is not the one of the line before and its own bytes.
    ChainBreaks,
    /// It is whole and fits, but something other than a line end follows.
    NoLineEnd,
}

impl Damage {
    /// What is wrong, as part of a sentence about the line.
    pub fn words(self) -> String {
        match self {
            Self::NotText => "it is not readable text".into(),
            Self::NoChain => "it does not end with its chain link".into(),
            Self::NotJson => "it is not a record of a job".into(),
            Self::OutOfOrder { found } => {
                format!("it carries number {found}, so lines are missing, doubled or moved")
            }
            Self::ChainBreaks => "its chain link does not fit, so it was changed, \
                                  or a line before it was"
                .into(),
            Self::NoLineEnd => "its line end was overwritten".into(),
        }
    }
}

/// Scans the bytes of a job file from the start, up to the first thing that does not fit.
pub fn scan(bytes: &[u8]) -> Scan {
    let mut scan = Scan {
        good_len: 0,
        lines: Vec::new(),
        last: ChainLink::FIRST,
        verdict: Verdict::Clean,
    };
    for piece in bytes.split_inclusive(|byte| *byte == b'\n') {
        let n = scan.n() + 1;
        let Some(line) = piece.strip_suffix(b"\n") else {
            scan.verdict = if end_was_overwritten(piece, n, &scan.last) {
                Verdict::Damaged {
                    line: n,
                    why: Damage::NoLineEnd,
                }
            } else {
                Verdict::TornTail { at: scan.good_len }
            };
            break;
        };
        match check_line(line, n, &scan.last) {
            Ok(chain) => scan.last = chain,
            Err(why) => {
                scan.verdict = Verdict::Damaged { line: n, why };
                break;
            }
        }
        scan.lines.push(scan.good_len..scan.good_len + line.len());
        scan.good_len += piece.len();
    }
    scan
}

/// The two keys that a scan reads. serde refuses either of them twice.
#[derive(Deserialize)]
struct Keys {
    n: u64,
    #[serde(rename = "chain")]
    _chain: String,
}

/// Checks one line (without its line end) that should be number `n`, and gives its link.
pub fn check_line(line: &[u8], n: u64, previous: &ChainLink) -> Result<ChainLink, Damage> {
    let text = std::str::from_utf8(line).map_err(|_| Damage::NotText)?;
    // A line end inside a record would be space between keys to a JSON reader.
    if line.contains(&b'\n') {
        return Err(Damage::NotJson);
    }
    let (head, found) = chain::unseal(line).ok_or(Damage::NoChain)?;
    let keys: Keys = serde_json::from_str(text).map_err(|_| Damage::NotJson)?;
    if keys.n != n {
        return Err(Damage::OutOfOrder { found: keys.n });
    }
    if previous.after(head) != found {
        return Err(Damage::ChainBreaks);
    }
    Ok(found)
}

/// Whether a last line without end is a whole record with something else after it.
///
/// A record and its line end are written in one go, so an interrupted write leaves part of a
/// record, or all of it and nothing (or zeros) behind it. Anything else there was put there later;
/// to cut it off would cut off a record that was confirmed.
fn end_was_overwritten(tail: &[u8], n: u64, previous: &ChainLink) -> bool {
    // Only the first candidate is tried: a record of ours holds no other, and a crafted file
    // must not cost a hash a byte.
    let end = tail
        .windows(2)
        .enumerate()
        .filter(|(_, pair)| pair == b"\"}")
        .map(|(at, _)| at + 2)
        .find(|end| tail.get(..*end).and_then(chain::unseal).is_some());
    let Some((record, rest)) = end.and_then(|end| tail.split_at_checked(end)) else {
        return false;
    };
    rest.iter().any(|byte| *byte != 0) && check_line(record, n, previous).is_ok()
}

/// The last line (without its line end) of a file, from its last bytes; nothing when they do not
/// end with a line end, as in a torn or empty file.
///
/// When no line end stands before it, the line is given from the first byte on: the caller knows
/// whether that is the start of the file.
pub fn last_line(bytes_of_tail: &[u8]) -> Option<&[u8]> {
    let whole = bytes_of_tail.strip_suffix(b"\n")?;
    whole.rsplit(|byte| *byte == b'\n').next()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod tests {
    use super::*;
    use crate::job::seal;

    fn file(bodies: &[&str]) -> Vec<u8> {
        let mut last = ChainLink::FIRST;
        let mut text = String::new();
        for body in bodies {
            let (line, next) = seal(&last, body);
            text.push_str(&line);
            last = next;
        }
        text.into_bytes()
    }

    fn verdict(bytes: &[u8]) -> Verdict {
        scan(bytes).verdict
    }

    fn damaged(line: u64, why: Damage) -> Verdict {
        Verdict::Damaged { line, why }
    }

    #[test]
    fn whole_files_are_clean() {
        let empty = scan(b"");
        assert_eq!((empty.verdict, empty.n()), (Verdict::Clean, 0));
        assert_eq!(empty.last, ChainLink::FIRST);

        let bytes = file(&[r#"{"n":1,"a":"ü"}"#, r#"{"n":2,"a":[{}]}"#]);
        let found = scan(&bytes);
        assert_eq!(found.verdict, Verdict::Clean);
        assert_eq!(found.good_len, bytes.len());
        assert_eq!(found.n(), 2);
        assert!(bytes[found.lines[1].clone()].starts_with(b"{\"n\":2,"));
        assert!(bytes[found.lines[1].clone()].ends_with(b"\"}"));
    }

    #[test]
    fn each_kind_of_damage_is_named() {
        let one = file(&[r#"{"n":1,"a":1}"#]);
        let with = |bodies: &[&str]| verdict(&file(bodies));
        assert_eq!(
            with(&[r#"{"n":2}"#]),
            damaged(1, Damage::OutOfOrder { found: 2 })
        );
        assert_eq!(
            with(&[r#"{"n":1}"#, r#"{"n":1}"#]),
            damaged(2, Damage::OutOfOrder { found: 1 })
        );
        for body in [
            r#"{"m":1}"#,
            r#"{"n":"1"}"#,
            r#"{"n":1.0}"#,
            r#"{"n":-1}"#,
            r#"{"n":1,"n":1}"#,
            r#"{"n":1,"chain":""}"#,
            r#"{"n":1,"a":}"#,
            "[1}",
            "{}",
            "",
        ] {
            assert_eq!(with(&[body]), damaged(1, Damage::NotJson), "{body}");
        }
        let mut text = one.clone();
        text[9] = 0xff;
        assert_eq!(verdict(&text), damaged(1, Damage::NotText));
        assert_eq!(verdict(b"\n"), damaged(1, Damage::NoChain));
        assert_eq!(verdict(b"{\"n\":1}\n"), damaged(1, Damage::NoChain));
        let other = String::from_utf8(one.clone()).unwrap();
        let changed = other.replace("\"a\":1", "\"a\":2");
        assert_eq!(verdict(changed.as_bytes()), damaged(1, Damage::ChainBreaks));
        let dos = other.replace('\n', "\r\n");
        assert_eq!(verdict(dos.as_bytes()), damaged(1, Damage::NoChain));
    }

    #[test]
    fn a_torn_tail_is_told_from_an_overwritten_line_end() {
        let bytes = file(&[r#"{"n":1}"#, r#"{"n":2}"#]);
        let first = scan(&bytes).lines[0].end + 1;
        let whole = bytes.len() - 1;
        for cut in first + 1..=whole {
            let mut torn = bytes[..cut].to_vec();
            assert_eq!(verdict(&torn), Verdict::TornTail { at: first }, "{cut}");
            torn.extend([0; 512]);
            assert_eq!(verdict(&torn), Verdict::TornTail { at: first }, "{cut}");
        }
        assert_eq!(verdict(&bytes[..first]), Verdict::Clean);
        let mut over = bytes.clone();
        over[whole] = b'*';
        assert_eq!(verdict(&over), damaged(2, Damage::NoLineEnd));
        let mut over = bytes;
        over[first - 1] = b' ';
        over.pop();
        assert_eq!(verdict(&over), damaged(1, Damage::NoLineEnd));
    }

    #[test]
    fn the_last_line_is_found_in_a_tail() {
        assert_eq!(last_line(b""), None);
        assert_eq!(last_line(b"a\nb"), None);
        assert_eq!(last_line(b"a\nb\0"), None);
        assert_eq!(last_line(b"a\nbc\n"), Some(&b"bc"[..]));
        assert_eq!(last_line(b"bc\n"), Some(&b"bc"[..]));
        assert_eq!(last_line(b"\n"), Some(&b""[..]));
    }
}
