//! Hexadecimal numbers in lines: counters, checks, and counts of a balance that sends no decimals.
//!
//! Promises: only what stands in the same place of lines of one build, in one width, and never is
//! anything but hexadecimal digits, is called so. Leaves to others: what they mean.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::balance::layout::Digits;

/// Lines of one build, and different texts among them, that show a code.
const FEWEST: usize = 5;
/// The fewest digits of a count; fewer are a check or a flag.
pub(super) const SHORTEST_COUNT: usize = 3;
/// The most pieces of a line that are looked at.
const MOST_PIECES: usize = 24;

/// Where codes stand in each line. `counts`: they are looked for as the counts of a mass, so a few
/// lines, and digits alone, are enough.
pub(super) fn codes(lines: &[&[u8]], counts: bool) -> Vec<Vec<Range<usize>>> {
    let cut: Vec<Vec<Range<usize>>> = lines.iter().map(|line| pieces(line)).collect();
    let mut builds: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, pieces) in cut.iter().enumerate() {
        builds.entry(pieces.len()).or_default().push(at);
    }
    let mut out = vec![Vec::new(); lines.len()];
    for (count, members) in builds {
        if count > MOST_PIECES {
            continue;
        }
        for place in 0..count {
            let text = |at: &usize| -> &[u8] {
                let piece = cut.get(*at).and_then(|pieces| pieces.get(place));
                let line = lines.get(*at);
                piece
                    .and_then(|piece| line?.get(piece.clone()))
                    .unwrap_or_default()
            };
            let Some(width) = width(&members, text, counts) else {
                continue;
            };
            for at in &members {
                let piece = cut.get(*at).and_then(|pieces| pieces.get(place));
                if let (Some(piece), Some(out)) = (piece, out.get_mut(*at))
                    && is_code(text(at), width)
                {
                    out.push(piece.clone());
                }
            }
        }
    }
    out
}

/// The width of a code that stands in one place of these lines.
fn width<'a>(members: &[usize], text: impl Fn(&usize) -> &'a [u8], counts: bool) -> Option<usize> {
    let mut widths: BTreeMap<usize, usize> = BTreeMap::new();
    for at in members {
        *widths.entry(text(at).len()).or_default() += 1;
    }
    let (width, _) = widths.into_iter().max_by_key(|(_, count)| *count)?;
    let all: Vec<&[u8]> = members
        .iter()
        .map(&text)
        .filter(|text| is_code(text, width))
        .collect();
    let different: BTreeSet<&[u8]> = all.iter().copied().collect();
    let any = |is: fn(&u8) -> bool| all.iter().any(|text| text.iter().any(is));
    let count = counts && width >= SHORTEST_COUNT && different.len() >= 2;
    let code = width >= 2
        && different.len() >= FEWEST
        && any(u8::is_ascii_alphabetic)
        && any(u8::is_ascii_digit);
    let enough = count || code;
    let one_case = !(any(u8::is_ascii_uppercase) && any(u8::is_ascii_lowercase));
    (enough && one_case && all.len() * 10 >= members.len() * 9).then_some(width)
}

fn is_code(text: &[u8], width: usize) -> bool {
    text.len() == width && width <= Digits::MOST_OF_COUNT && text.iter().all(u8::is_ascii_hexdigit)
}

/// The stretches between blanks and marks that keep fields apart.
fn pieces(line: &[u8]) -> Vec<Range<usize>> {
    let is_edge = |byte: &u8| !byte.is_ascii() || b" \t,;|<>\"'*#=:[]{}()+-".contains(byte);
    let mut out = Vec::new();
    let mut from = 0;
    for part in line.split(is_edge) {
        if !part.is_empty() {
            out.push(from..from + part.len());
        }
        from += part.len() + 1;
    }
    out
}
