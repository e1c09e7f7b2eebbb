//! Captured bytes cut into lines: what ends them, what begins them, what checks them.
//!
//! Promises: a check is only concluded when it comes out for several different lines; total on any
//! bytes; bounded. Leaves to others: what stands in a line. The same cutting in service is done by
//! the splitter, from the frame that is concluded here.

use std::time::Duration;

use crate::balance::frame::{Check, CheckAs, CheckAt, CheckSum, Covers, End, FrameSpec, Start};

const STX: u8 = 0x02;
const ETX: u8 = 0x03;
/// The longest line that is looked at.
const LONGEST: usize = 256;
/// The pause that is written down when lines end with none but a pause, and none was measured.
const USUAL_PAUSE: Duration = Duration::from_millis(40);

/// A line as captured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Frame {
    /// What stands between start, check and end.
    pub(super) line: Vec<u8>,
    /// Where it began in the capture.
    pub(super) at: usize,
    /// Whether its beginning and end were both heard.
    pub(super) whole: bool,
}

/// The lines of a capture, and how they are framed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Cut {
    pub(super) spec: FrameSpec,
    pub(super) frames: Vec<Frame>,
    /// Frames whose check did not come out.
    pub(super) failed: usize,
    /// The pause between lines was not measured, only supposed.
    pub(super) supposed: bool,
}

/// Cuts a capture; `pauses` are the offsets at which nothing came for so long.
pub(super) fn cut(bytes: &[u8], pauses: &[(usize, Duration)]) -> Cut {
    let count = |wanted: u8| bytes.split(|byte| *byte == wanted).count() - 1;
    let (starts, stops) = (count(STX), count(ETX));
    let ends = bytes
        .split(|byte| is_end(*byte))
        .filter(|part| !part.is_empty())
        .count()
        .saturating_sub(1);
    if stops >= 2 && stops * 2 >= starts && starts >= 2 {
        return between_marks(bytes);
    }
    if ends >= 2 || pauses.is_empty() && ends >= 1 {
        return by_line_ends(bytes, starts * 2 > ends && starts >= 2);
    }
    by_pauses(bytes, pauses)
}

fn is_end(byte: u8) -> bool {
    byte == b'\r' || byte == b'\n'
}

/// STX, text, ETX; what stands between ETX and the next STX may be a check.
fn between_marks(bytes: &[u8]) -> Cut {
    let mut raw: Vec<(usize, &[u8], &[u8])> = Vec::new();
    let mut at = 0;
    while let Some(start) = find(bytes, at, |byte| byte == STX) {
        let Some(stop) = find(bytes, start + 1, |byte| byte == ETX || byte == STX) else {
            break;
        };
        if bytes.get(stop) == Some(&STX) {
            at = stop;
            continue;
        }
        // A check byte can be any byte, so at least one is passed before the next STX is looked for.
        let next = find(bytes, stop + 2, |byte| byte == STX).unwrap_or(bytes.len());
        let next = if bytes.get(stop + 1) == Some(&STX)
            && next > stop + 3
            && check_is_no_start(bytes, stop)
        {
            stop + 1
        } else {
            next
        };
        let text = bytes.get(start + 1..stop).unwrap_or_default();
        let after = bytes.get(stop + 1..next).unwrap_or_default();
        if text.len() <= LONGEST {
            raw.push((start, text, after));
        }
        at = next;
    }
    let (start, end) = (Start::Stx, End::Etx);
    let mut best = None;
    for how in [CheckSum::Xor, CheckSum::Sum, CheckSum::ZeroSum] {
        for covers in [
            Covers::Payload,
            Covers::WithEnd,
            Covers::WithStart,
            Covers::WithBoth,
        ] {
            for at in [CheckAt::AfterEnd, CheckAt::BeforeEnd] {
                for written in [CheckAs::Byte, CheckAs::Hex] {
                    let check = Check {
                        how,
                        at,
                        written,
                        covers,
                    };
                    let lines: Vec<_> =
                        raw.iter().map(|raw| checked(raw.1, raw.2, check)).collect();
                    consider(&mut best, check, &lines);
                }
            }
        }
    }
    let check = best.map(|(check, _)| check);
    let mut failed = 0;
    let mut frames = Vec::new();
    for (at, text, after) in &raw {
        let line = match check {
            None => Some(*text),
            Some(check) => checked(text, after, check),
        };
        match line {
            Some(line) => frames.push(Frame {
                line: trim_ends(line).to_vec(),
                at: *at,
                whole: true,
            }),
            None => failed += 1,
        }
    }
    Cut {
        spec: FrameSpec {
            starts: start,
            ends: end,
            check,
        },
        frames,
        failed,
        supposed: false,
    }
}

/// Whether an STX right behind an ETX begins a line: it is followed by a text up to an ETX and not
/// by another STX.
fn check_is_no_start(bytes: &[u8], stop: usize) -> bool {
    find(bytes, stop + 2, |byte| byte == STX || byte == ETX)
        .is_some_and(|next| bytes.get(next) == Some(&ETX))
}

fn by_line_ends(bytes: &[u8], stx: bool) -> Cut {
    let mut raw: Vec<(usize, &[u8], bool)> = Vec::new();
    let mut at = 0;
    let ended = bytes.last().copied().is_some_and(is_end);
    for part in bytes.split(|byte| is_end(*byte)) {
        let from = at;
        at += part.len() + 1;
        let last = at > bytes.len();
        let start = part.iter().rposition(|byte| *byte == STX).filter(|_| stx);
        let (line, whole) = match start {
            Some(start) => (part.get(start + 1..).unwrap_or_default(), true),
            None => (part, from > 0 && !stx),
        };
        if !line.is_empty() && line.len() <= LONGEST {
            raw.push((from, line, whole && (!last || ended)));
        }
    }
    let mut best = None;
    let covers: &[Covers] = if stx {
        &[Covers::Payload, Covers::WithStart]
    } else {
        &[Covers::Payload]
    };
    for how in [CheckSum::Xor, CheckSum::Sum, CheckSum::ZeroSum] {
        for covers in covers {
            for written in [CheckAs::Byte, CheckAs::Hex] {
                let check = Check {
                    how,
                    at: CheckAt::BeforeEnd,
                    written,
                    covers: *covers,
                };
                let whole = raw.iter().filter(|raw| raw.2);
                let lines: Vec<_> = whole.map(|raw| checked(raw.1, &[], check)).collect();
                consider(&mut best, check, &lines);
            }
        }
    }
    let check = best.map(|(check, _)| check);
    let mut failed = 0;
    let mut frames = Vec::new();
    for (at, text, whole) in raw {
        match check.map_or(Some(text), |check| checked(text, &[], check)) {
            Some(line) => frames.push(Frame {
                line: line.to_vec(),
                at,
                whole,
            }),
            None => failed += usize::from(whole),
        }
    }
    let starts = if stx { Start::Stx } else { Start::Anywhere };
    Cut {
        spec: FrameSpec {
            starts,
            ends: End::Line,
            check,
        },
        frames,
        failed,
        supposed: false,
    }
}

/// No end is sent: a pause ends a line, or, in a log that has no pauses, the same length does.
fn by_pauses(bytes: &[u8], pauses: &[(usize, Duration)]) -> Cut {
    let (edges, pause) = if pauses.len() >= 2 {
        let mut edges: Vec<usize> = pauses.iter().map(|pause| pause.0).collect();
        edges.dedup();
        let shortest = pauses
            .iter()
            .map(|pause| pause.1)
            .min()
            .unwrap_or(USUAL_PAUSE);
        (edges, Some(shortest / 2))
    } else {
        (periods(bytes), None)
    };
    let mut frames = Vec::new();
    let mut from = 0;
    for (place, edge) in edges.iter().copied().chain([bytes.len()]).enumerate() {
        let line = bytes.get(from..edge).unwrap_or_default();
        if !line.is_empty() && line.len() <= LONGEST {
            frames.push(Frame {
                line: trim_ends(line).to_vec(),
                at: from,
                whole: place > 0 && place < edges.len(),
            });
        }
        from = edge.max(from);
    }
    let gap = pause
        .unwrap_or(USUAL_PAUSE)
        .clamp(FrameSpec::SHORTEST_GAP, FrameSpec::LONGEST_GAP);
    // Whole tens of milliseconds: what a person would write.
    let tens = u64::try_from(gap.as_millis())
        .unwrap_or(0)
        .div_euclid(10)
        .max(2)
        * 10;
    Cut {
        spec: FrameSpec {
            ends: End::Gap(Duration::from_millis(tens)),
            ..FrameSpec::default()
        },
        frames,
        failed: 0,
        supposed: pause.is_none(),
    }
}

/// The edges of lines of one length: the shortest period at which digits stand over digits, and
/// letters and marks over themselves, cut where the widest blank or the first letter or sign is.
fn periods(bytes: &[u8]) -> Vec<usize> {
    let class = |byte: u8| match byte {
        b'0'..=b'9' | b' ' => b'0',
        b'+' | b'-' => b'+',
        byte if byte.is_ascii_alphabetic() => b'a',
        other => other,
    };
    let sample: Vec<u8> = bytes.iter().take(4096).map(|byte| class(*byte)).collect();
    let period = (4..=64.min(sample.len() / 3)).find(|period| {
        let pairs = sample.iter().zip(sample.iter().skip(*period));
        let (all, same) = pairs.fold((0, 0), |(all, same), (one, other)| {
            (all + 1, same + usize::from(one == other))
        });
        same * 100 >= all * 98
    });
    let Some(period) = period else {
        return Vec::new();
    };
    // A line begins with a sign, else behind the letters that end one.
    let is_start = |at: usize| {
        let here = sample.get(at).copied();
        let before = at.checked_sub(1).and_then(|at| sample.get(at)).copied();
        here == Some(b'+') || before == Some(b'a') && here == Some(b'0')
    };
    let first = (1..=period).find(|at| sample.get(*at) == Some(&b'+'));
    let first = match first.or_else(|| (1..=period).find(|at| is_start(*at))) {
        // A whole number of lines was kept, so the first begins it.
        _ if bytes.len().is_multiple_of(period) => period,
        Some(first) => first,
        None => period,
    };
    (first..bytes.len()).step_by(period).collect()
}

fn find(bytes: &[u8], from: usize, is: impl Fn(u8) -> bool) -> Option<usize> {
    let rest = bytes.get(from..)?;
    rest.iter().position(|byte| is(*byte)).map(|at| from + at)
}

fn trim_ends(mut line: &[u8]) -> &[u8] {
    while let Some((last, rest)) = line.split_last() {
        if !is_end(*last) {
            break;
        }
        line = rest;
    }
    while let Some((first, rest)) = line.split_first() {
        if !is_end(*first) {
            break;
        }
        line = rest;
    }
    line
}

/// The line inside a frame whose check comes out.
fn checked<'a>(text: &'a [u8], after: &[u8], check: Check) -> Option<&'a [u8]> {
    let width = match check.written {
        CheckAs::Byte => 1,
        CheckAs::Hex => 2,
    };
    let (line, written) = match check.at {
        CheckAt::AfterEnd => (text, after.get(..width)?),
        CheckAt::BeforeEnd => text.split_at_checked(text.len().checked_sub(width)?)?,
    };
    let told = check.of(line);
    let fits = match (check.written, written) {
        (CheckAs::Byte, [byte]) => *byte == told,
        (CheckAs::Hex, [_, _]) => written.eq_ignore_ascii_case(&check.written.write(told)),
        _ => false,
    };
    (fits && !line.is_empty()).then_some(line)
}

/// Keeps the check that comes out for the most lines: at least three different ones, and three
/// quarters of all.
fn consider(best: &mut Option<(Check, usize)>, check: Check, lines: &[Option<&[u8]>]) {
    let good: Vec<&[u8]> = lines.iter().copied().flatten().collect();
    let mut different = good.clone();
    different.sort_unstable();
    different.dedup();
    let enough = different.len() >= 3 && good.len() * 4 >= lines.len() * 3;
    if enough && best.is_none_or(|(_, most)| good.len() > most) {
        *best = Some((check, good.len()));
    }
}
