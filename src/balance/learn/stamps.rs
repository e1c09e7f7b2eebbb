//! Time stamps that a program which kept a log wrote before every line.
//!
//! Promises: only what stands before nearly every line, has one build and never goes back is a
//! stamp; it is left out only where no balance writes so, or where the person says whose it is; the
//! blanks of the line itself stay. Leaves to others: whether the bytes are a log at all.

use std::ops::Range;

use super::roles::shown;
use crate::balance::layout::LayoutSpec;
use crate::trouble::Trouble;

/// Whose the stamps are, as the person says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Whose {
    /// The program's that kept the log.
    Log,
    /// The balance's own.
    Balance,
}

/// What was found before the lines of a log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamps {
    example: Vec<u8>,
    /// Whether they were left out, and what the person said of them.
    left_out: bool,
    said: Option<Whose>,
    /// Blanks behind the stamps that may be the log's or the line's.
    blanks: usize,
}

/// The fewest lines that show that something goes up from line to line.
const FEWEST: usize = 3;

/// A stamp at the beginning of a line.
struct Stamp {
    /// Its digits as zeros and its marks as they are.
    build: Vec<u8>,
    /// Larger is later.
    at: u128,
    end: usize,
    sure: bool,
    /// The step by which it would go up if it were a number that counts; 0 if it cannot be one.
    step: u128,
}

/// Looks for stamps in a log and takes out those that are the log's; gives what is left.
///
/// # Errors
/// When the person says that there are stamps of the log, and there are none.
pub fn without_stamps(
    log: &[u8],
    said: Option<Whose>,
) -> Result<(Vec<u8>, Option<Stamps>), Trouble> {
    let lines: Vec<Range<usize>> = lines(log);
    let text = |line: &Range<usize>| log.get(line.clone()).unwrap_or_default();
    let found: Vec<(&Range<usize>, Stamp)> = lines
        .iter()
        .filter_map(|line| Some((line, stamp(text(line))?)))
        .collect();
    let none = || match said {
        Some(Whose::Log) => Err(no_stamps()),
        _ => Ok((log.to_vec(), None)),
    };
    let Some((first, sample)) = found.first() else {
        return none();
    };
    let alike = found.iter().all(|(_, stamp)| stamp.build == sample.build);
    let steps: Vec<u128> = found
        .windows(2)
        .filter_map(|pair| pair.last()?.1.at.checked_sub(pair.first()?.1.at))
        .collect();
    // Midnight goes back once, where only the time is written.
    let backward = found.len() - 1 - steps.len();
    let behind = |(line, stamp): &(&Range<usize>, Stamp)| {
        text(line)
            .get(stamp.end..)
            .is_some_and(|rest| !rest.trim_ascii().is_empty())
    };
    let bare = found.iter().filter(|it| !behind(it)).count();
    // A line of noise among them has none.
    let most = found.len() * 10 >= lines.len() * 9 && found.len() >= FEWEST;
    let moves = steps.iter().any(|step| *step > 0);
    // A clock stands still for some lines; a number that does is no time.
    let goes_up = (moves || sample.step == 0) && backward <= usize::from(dateless(&sample.build));
    if !alike || !most || bare * 2 > found.len() || !goes_up {
        return none();
    }
    // A number that counts goes up by one, or stands for the lines of one weighing.
    let counts = sample.step > 0 && steps.iter().all(|step| *step <= sample.step);
    let before_start = found.iter().all(|(line, stamp)| {
        let rest = text(line)
            .get(stamp.end..)
            .unwrap_or_default()
            .trim_ascii_start();
        rest.first() == Some(&2) || rest.starts_with(b"<STX>") || rest.starts_with(br"\x02")
    });
    let sure = moves && (sample.sure && !counts || before_start);
    let left_out = match said {
        Some(whose) => whose == Whose::Log,
        None => sure,
    };
    let example = text(first).get(..sample.end).unwrap_or_default().to_vec();
    let mut stamps = Stamps {
        example,
        left_out,
        said,
        blanks: 0,
    };
    if !left_out {
        return Ok((log.to_vec(), Some(stamps)));
    }
    let cuts = found.iter().map(|(line, stamp)| (line.start, stamp.end));
    let cuts: Vec<(usize, usize)> = cuts
        .map(|(start, end)| {
            let rest = log.get(start + end..).unwrap_or_default();
            (start, start + end + separator(rest))
        })
        .collect();
    stamps.blanks = shared_blanks(log, &cuts);
    let mut out = Vec::with_capacity(log.len());
    let mut at = 0;
    for (from, to) in cuts {
        out.extend_from_slice(log.get(at..from).unwrap_or_default());
        at = to + stamps.blanks;
    }
    out.extend_from_slice(log.get(at..).unwrap_or_default());
    Ok((out, Some(stamps)))
}

impl Stamps {
    /// Whether they were left out.
    pub fn left_out(&self) -> bool {
        self.left_out
    }

    /// Whether it is open whose they are.
    pub fn is_open(&self) -> bool {
        !self.left_out && self.said.is_none()
    }

    /// What is to be said of them, if anything is open.
    pub fn told(&self) -> Option<String> {
        let example = shown(&self.example);
        Some(match (self.left_out, self.said) {
            (true, None) => format!(
                "Before every line stands a time, as {example}, written as a program that keeps a log writes it: it was left out. If the balance sends it itself, say so with --stamps balance."
            ),
            (true, Some(_)) if self.blanks > 0 => format!(
                "Blanks between the times of the log and its lines are taken for the log's; the form reads a line with them, too ({example})."
            ),
            (false, None) => format!(
                "Before every line stands a date, a time or a number that goes up, as {example}. A balance can send such a thing itself, and a program that keeps a log can write it, so a form with it and one without it are possible; this one has it, and a balance that does not send it would not be read. Say which: --stamps log if the program wrote it, --stamps balance if the balance sends it."
            ),
            _ => return None,
        })
    }

    /// Lets a form read its lines also with the blanks of which it is open whose they are.
    pub fn loosen(&self, layout: &mut LayoutSpec) {
        if self.blanks > 0 {
            for form in std::iter::once(&mut layout.line).chain(&mut layout.skip) {
                *form = format!(" {{0,{}}}(?:{form})", self.blanks);
            }
        }
    }
}

/// Where the lines of a log stand; empty ones are none.
fn lines(log: &[u8]) -> Vec<Range<usize>> {
    let mut out = Vec::new();
    let mut at = 0;
    for line in log.split(|byte| matches!(byte, b'\r' | b'\n')) {
        if !line.trim_ascii().is_empty() {
            out.push(at..at + line.len());
        }
        at += line.len() + 1;
    }
    out
}

/// What stands between a stamp and the line: one blank, or one mark and one blank behind it.
fn separator(rest: &[u8]) -> usize {
    match rest {
        [b',' | b';' | b'|' | b':' | b'>' | b'-', b' ', ..] => 2,
        [b' ', b'|' | b'>', b' ', ..] => 3,
        [b' ' | b'\t' | b',' | b';' | b'|', ..] => 1,
        _ => 0,
    }
}

/// Blanks that stand before every line where all lines begin at one place with what is no digit:
/// there they fill up nothing, and may be the log's. Where numbers begin at other places, blanks are
/// the line's.
fn shared_blanks(log: &[u8], cuts: &[(usize, usize)]) -> usize {
    let begins = |(_, to): &(usize, usize)| {
        let rest = log.get(*to..).unwrap_or_default();
        let blanks = rest.iter().take_while(|byte| **byte == b' ').count();
        let first = rest.get(blanks).copied().unwrap_or(b'0');
        (blanks, first.is_ascii_digit())
    };
    let mut all = cuts.iter().map(begins);
    match all.next() {
        Some((blanks, false)) if all.all(|it| it == (blanks, false)) => blanks,
        _ => 0,
    }
}

/// The stamp that a line begins with, up to its last sign.
fn stamp(line: &[u8]) -> Option<Stamp> {
    let close = match line.first()? {
        b'[' => Some(b']'),
        b'(' => Some(b')'),
        _ => None,
    };
    let mut read = Reader {
        line,
        at: usize::from(close.is_some()),
        value: 0,
    };
    let (sure, step) = match read.date_and_time() {
        Some(sure) => (sure, 0),
        None => (true, read.seconds()?),
    };
    if let Some(close) = close {
        read.mark(&[close])?;
    } else if !separated(read.rest()) {
        return None;
    }
    let end = read.at;
    let mut build: Vec<u8> = Vec::new();
    let mut in_fraction = false;
    for byte in line.get(..end)? {
        let digit = byte.is_ascii_digit();
        // A fraction can be written without the zeros at its end.
        if !(digit && in_fraction && build.last() == Some(&b'0')) {
            build.push(if digit { b'0' } else { *byte });
        }
        in_fraction = if digit {
            in_fraction
        } else {
            matches!(byte, b'.' | b',')
        };
    }
    Some(Stamp {
        build,
        at: read.value,
        end,
        sure,
        step,
    })
}

/// Whether something ends here.
fn separated(rest: &[u8]) -> bool {
    rest.first()
        .is_none_or(|byte| matches!(byte, b' ' | b'\t' | b',' | b';' | b'|'))
        || matches!(rest, [b':' | b'>' | b'-', b' ', ..])
}

/// Whether a build has a time and no date: fields of two digits at its beginning.
fn dateless(build: &[u8]) -> bool {
    let build = build
        .strip_prefix(b"[")
        .or(build.strip_prefix(b"("))
        .unwrap_or(build);
    build.starts_with(b"00:00")
}

/// Reads the parts of a stamp; `value` is what was read, in the order of time.
struct Reader<'a> {
    line: &'a [u8],
    at: usize,
    value: u128,
}

impl Reader<'_> {
    fn rest(&self) -> &[u8] {
        self.line.get(self.at..).unwrap_or_default()
    }

    fn mark(&mut self, marks: &[u8]) -> Option<u8> {
        let mark = self
            .rest()
            .first()
            .copied()
            .filter(|byte| marks.contains(byte))?;
        self.at += 1;
        Some(mark)
    }

    /// So many digits, and no more.
    fn digits(&mut self, width: usize) -> Option<u128> {
        let rest = self.rest();
        let count = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
        let text = std::str::from_utf8(rest.get(..width).filter(|_| count == width)?).ok()?;
        let number = text.parse().ok();
        self.at += width;
        number
    }

    /// A date, a time, or both; whether it is written as no balance does: to the thousandth of a
    /// second, or with its time zone.
    fn date_and_time(&mut self) -> Option<bool> {
        let begin = self.at;
        let day = self.date();
        if day.is_none() {
            self.at = begin;
        }
        let after_day = self.at;
        let time = if day.is_none() || self.mark(b" T_").is_some() {
            self.time()
        } else {
            None
        };
        let Some((time, fine)) = time else {
            // A date alone.
            self.at = after_day;
            self.value = day? * 100_000 * 1_000_000_000;
            return Some(false);
        };
        self.value = day.unwrap_or(0) * 100_000 * 1_000_000_000 + time;
        Some(self.zone() || fine)
    }

    /// A time of day in billionths of a second, its seconds may be left out; whether it is fine.
    fn time(&mut self) -> Option<(u128, bool)> {
        let hour = self.digits(2).filter(|hour| *hour < 24)?;
        self.mark(b":")?;
        let minute = self.digits(2).filter(|minute| *minute < 60)?;
        let minutes = (hour * 60 + minute) * 60_000_000_000;
        if self.mark(b":").is_none() {
            return Some((minutes, false));
        }
        let second = self.digits(2).filter(|second| *second <= 60)?;
        let (fraction, width) = self.fraction();
        Some((minutes + second * 1_000_000_000 + fraction, width >= 3))
    }

    /// A day, as a number that is larger for later ones.
    fn date(&mut self) -> Option<u128> {
        let begin = self.at;
        if let Some(year) = self.digits(4) {
            let mark = self.mark(b"-/.")?;
            let month = self.digits(2)?;
            self.mark(&[mark])?;
            let day = self.digits(2)?;
            return Self::day(year, month, day);
        }
        self.at = begin;
        let day = self.digits(2)?;
        let mark = self.mark(b"-/.")?;
        let month = self.digits(2)?;
        self.mark(&[mark])?;
        let year = self.digits(4)?;
        Self::day(year, month, day).or_else(|| Self::day(year, day, month))
    }

    fn day(year: u128, month: u128, day: u128) -> Option<u128> {
        let is_day = (1970..2100).contains(&year) && (1..=12).contains(&month);
        (is_day && (1..=31).contains(&day)).then_some((year * 12 + month) * 31 + day)
    }

    /// Billionths of a second behind a point or comma, and with how many digits.
    fn fraction(&mut self) -> (u128, usize) {
        let [b'.' | b',', digits @ ..] = self.rest() else {
            return (0, 0);
        };
        let width = digits
            .iter()
            .take_while(|byte| byte.is_ascii_digit())
            .count();
        if !(1..=9).contains(&width) {
            return (0, 0);
        }
        let number = digits.iter().take(width).chain([b'0'; 9].iter());
        let fraction = number
            .take(9)
            .fold(0, |sum, digit| sum * 10 + u128::from(digit - b'0'));
        self.at += 1 + width;
        (fraction, width)
    }

    /// `Z`, `+01:00`.
    fn zone(&mut self) -> bool {
        let begin = self.at;
        if self.mark(b"Z").is_some() {
            return true;
        }
        let read = self.mark(b"+-").is_some()
            && self.digits(2).is_some()
            && self.mark(b":").is_some()
            && self.digits(2).is_some();
        if !read {
            self.at = begin;
        }
        read
    }

    /// Seconds or thousandths of a second since 1970, from 2001 to 2039, and the step of their last
    /// digit; 0 with a fraction, since nothing that counts has one.
    fn seconds(&mut self) -> Option<u128> {
        const SECOND: u128 = 1_000_000_000;
        let step = if let Some(seconds) = self.digits(10) {
            let (fraction, width) = self.fraction();
            self.value = seconds * SECOND + fraction;
            if width == 0 { SECOND } else { 0 }
        } else {
            self.value = self.digits(13)? * (SECOND / 1000);
            SECOND / 1000
        };
        (SECOND..2_200_000_000)
            .contains(&(self.value / SECOND))
            .then_some(step)
    }
}

fn no_stamps() -> Trouble {
    Trouble::new(
        "learn-stamps",
        "No time stamp of one build that goes up stands before the lines of this log.",
        "Nothing was learned, since it is not clear what is to be left out.",
        "Leave --stamps out, or look whether the log is of one program and one day.",
    )
}
