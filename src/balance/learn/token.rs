//! A line cut into numbers, words and marks, under one way of writing numbers.
//!
//! Promises: total on any bytes; a number keeps where its sign, its digits and its bracket stand;
//! a part of a date, of a time or of a name is not taken for a value. Leaves to others: which
//! number is the mass.

use std::ops::Range;

use rust_decimal::Decimal;

use super::codes::SHORTEST_COUNT;
use super::symbols::{self, glyph_at};
use crate::balance::layout::Digits;

/// How numbers are written: the decimal mark, and the mark between groups of three digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Marks {
    pub(super) decimal: u8,
    pub(super) thousands: Option<u8>,
    pub(super) digits: Digits,
    /// What a count is worth, for digits that are counts.
    pub(super) factor: Option<Decimal>,
}

impl Marks {
    /// Every way that is tried, the plainest first.
    pub(super) const ALL: [Self; 10] = [
        Self::of(b'.', None),
        Self::of(b',', None),
        Self::of(b'.', Some(b',')),
        Self::of(b',', Some(b'.')),
        Self::of(b'.', Some(b'\'')),
        Self::of(b',', Some(b'\'')),
        Self::of(b'.', Some(b' ')),
        Self::of(b',', Some(b' ')),
        Self::turned(b'.'),
        Self::turned(b','),
    ];

    const fn of(decimal: u8, thousands: Option<u8>) -> Self {
        Self {
            decimal,
            thousands,
            digits: Digits::Plain,
            factor: None,
        }
    }

    const fn turned(decimal: u8) -> Self {
        Self {
            digits: Digits::LastFirst,
            ..Self::of(decimal, None)
        }
    }

    /// Counts of so much.
    pub(super) fn counts(digits: Digits, factor: Decimal) -> Self {
        Self {
            digits,
            factor: Some(factor),
            ..Self::of(b'.', None)
        }
    }
}

/// What a token is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Number,
    Word,
    Mark(u8),
}

/// A piece of a line without blanks at its ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Token {
    pub(super) kind: Kind,
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) number: Option<Number>,
}

/// A number as it stands in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Number {
    pub(super) value: Decimal,
    pub(super) decimals: u32,
    /// Where its sign stands.
    pub(super) sign: Option<usize>,
    /// Where its first digit stands.
    pub(super) digits: usize,
    /// Where the bracket opens and closes that marks its last digits.
    pub(super) bracket: Option<(usize, usize)>,
    /// Whether a mark between groups of three digits was seen.
    pub(super) grouped: bool,
    /// Whether it may be a mass: no part of a date or a time, not longer than a display.
    pub(super) plain: bool,
}

impl Number {
    /// No number, for a line that carries no mass.
    pub(super) fn none() -> Self {
        Self {
            value: Decimal::ZERO,
            decimals: 0,
            sign: None,
            digits: 0,
            bracket: None,
            grouped: false,
            plain: false,
        }
    }
}

/// The tokens of a line, in order.
pub(super) fn tokens(line: &[u8], marks: Marks) -> Vec<Token> {
    tokens_with(line, marks, (&[], false))
}

/// The tokens of a line in which these stretches are hexadecimal. `apart`: a plus at the digits is no
/// part of the number, since a minus is something else.
pub(super) fn tokens_with(
    line: &[u8],
    marks: Marks,
    (codes, apart): (&[Range<usize>], bool),
) -> Vec<Token> {
    let mut out = Vec::new();
    let mut at = 0;
    while let Some(byte) = line.get(at) {
        if is_blank(*byte) {
            at += 1;
            continue;
        }
        let code = codes.iter().find(|code| code.start == at);
        let token = code
            .map(|code| code_at(line, code, marks))
            .or_else(|| glyph_token(line, at))
            .or_else(|| dashes_at(line, at))
            .or_else(|| number_at(line, at, marks, apart))
            .or_else(|| word_at(line, at, marks))
            .unwrap_or(Token {
                kind: Kind::Mark(*byte),
                from: at,
                to: at + 1,
                number: None,
            });
        // Never stands still, whatever a token is.
        at = token.to.max(at + 1);
        out.push(token);
    }
    out
}

pub(super) fn is_blank(byte: u8) -> bool {
    byte == b' ' || byte == b'\t'
}

fn is_letter(byte: u8) -> bool {
    byte.is_ascii_alphabetic() || byte >= 0x80 || byte == b'%'
}

fn digit_at(line: &[u8], at: usize) -> bool {
    line.get(at).is_some_and(u8::is_ascii_digit)
}

fn run(line: &[u8], from: usize, is: impl Fn(u8) -> bool) -> usize {
    let rest = line.get(from..).unwrap_or_default();
    from + rest.iter().take_while(|byte| is(**byte)).count()
}

fn digits_from(line: &[u8], from: usize) -> usize {
    run(line, from, |byte| byte.is_ascii_digit())
}

pub(super) fn is_dash(byte: u8) -> bool {
    byte == b'+' || byte == b'-'
}

/// Hexadecimal digits: a mass where they are read as counts, else a number that is none.
fn code_at(line: &[u8], code: &Range<usize>, marks: Marks) -> Token {
    let text = line.get(code.clone()).unwrap_or_default();
    let value = marks
        .factor
        .filter(|_| text.len() >= SHORTEST_COUNT)
        .and_then(|factor| marks.digits.counted(text, factor));
    Token {
        kind: Kind::Number,
        from: code.start,
        to: code.end,
        number: Some(Number {
            value: value.unwrap_or_default(),
            decimals: marks.factor.map_or(0, |factor| factor.scale()),
            digits: code.start,
            plain: value.is_some(),
            ..Number::none()
        }),
    }
}

/// A minus that is no byte of ASCII: a mark of its own.
fn glyph_token(line: &[u8], at: usize) -> Option<Token> {
    let width = glyph_at(line, at)?;
    Some(Token {
        kind: Kind::Mark(b'-'),
        from: at,
        to: at + width,
        number: None,
    })
}

/// Several dashes or plus signs in a row, or one mark several times: a word like any other, and
/// never a sign.
fn dashes_at(line: &[u8], at: usize) -> Option<Token> {
    let first = *line.get(at)?;
    let same = |byte: u8| byte == first && b".*~?!#@=^_$&".contains(&byte);
    let to = run(line, at, is_dash).max(run(line, at, same));
    (to > at + 1).then_some(Token {
        kind: Kind::Word,
        from: at,
        to,
        number: None,
    })
}

fn number_at(line: &[u8], at: usize, marks: Marks, apart: bool) -> Option<Token> {
    let before = at.checked_sub(1).and_then(|at| line.get(at)).copied();
    let ahead = line.get(..at).unwrap_or_default();
    let ahead = ahead.iter().rev().find(|byte| !is_blank(**byte));
    let (sign, start) = match line.get(at)? {
        b'+' | b'-'
            if !apart
                && before.is_none_or(|byte| !byte.is_ascii_digit())
                && ahead.is_none_or(|byte| !is_dash(*byte)) =>
        {
            (Some(at), run(line, at + 1, is_blank))
        }
        _ => (None, at),
    };
    // A value below one may lack its zero.
    let bare = line.get(start) == Some(&marks.decimal)
        && digit_at(line, start + 1)
        && before.is_none_or(|byte| !byte.is_ascii_digit());
    if !digit_at(line, start) && !bare {
        return None;
    }
    // In a date the digits behind a mark are a number of their own.
    let two_before = at.checked_sub(2).and_then(|at| line.get(at));
    let behind = two_before.is_some_and(u8::is_ascii_digit)
        && before.is_some_and(|byte| matches!(byte, b':' | b'/') || byte == marks.decimal);
    let (whole, grouped) = whole_part(line, start, marks.thousands);
    let mut to = whole;
    let mut decimals = 0;
    if !behind && line.get(to) == Some(&marks.decimal) && digit_at(line, to + 1) {
        let end = digits_from(line, to + 1);
        decimals = end - to - 1;
        to = end;
    }
    let joined = |to: usize| {
        let joint = |byte: &u8| matches!(byte, b':' | b'/' | b'-') || *byte == marks.decimal;
        line.get(to).is_some_and(joint) && digit_at(line, to + 1)
    };
    let dated = joined(to);
    // The digits before a mark that is taken for none of a number.
    let cut_off = decimals == 0
        && line.get(to).is_some_and(|byte| matches!(byte, b'.' | b','))
        && digit_at(line, to + 1);
    if dated && bare {
        return None;
    }
    if dated && decimals > 0 {
        (to, decimals) = (whole, 0);
    }
    let bracket = bracket_at(line, to, marks.decimal, decimals > 0);
    let mut text: Vec<u8> = line.get(start..to)?.to_vec();
    if marks.digits == Digits::LastFirst {
        text.reverse();
        decimals = if decimals > 0 { whole - start } else { 0 };
    }
    if let Some((open, close)) = bracket {
        if line.get(to) == Some(&marks.decimal) {
            text.push(marks.decimal);
        }
        let inside = line.get(open + 1..close)?;
        text.extend_from_slice(inside);
        decimals += if decimals > 0 || line.get(to) == Some(&marks.decimal) {
            inside.len()
        } else {
            0
        };
        to = close + 1;
    }
    let value = exact(
        &text,
        marks,
        sign.and_then(|at| line.get(at)) == Some(&b'-'),
    );
    Some(Token {
        kind: Kind::Number,
        from: at,
        to,
        number: Some(Number {
            value: value.unwrap_or_default(),
            decimals: u32::try_from(decimals).unwrap_or(u32::MAX),
            sign,
            digits: start,
            bracket,
            grouped,
            // Where counts are looked for, other numbers are none.
            plain: value.is_some() && !dated && !behind && !cut_off && marks.factor.is_none(),
        }),
    })
}

/// The end of the digits before the decimal mark, and whether they stand in groups of three.
fn whole_part(line: &[u8], start: usize, thousands: Option<u8>) -> (usize, bool) {
    let first = digits_from(line, start);
    // A group in front of others is no nought.
    let may = (1..=3).contains(&(first - start)) && line.get(start) != Some(&b'0');
    let Some(mark) = thousands.filter(|_| may) else {
        return (first, false);
    };
    let mut end = first;
    while line.get(end) == Some(&mark) && digits_from(line, end + 1) == end + 4 {
        end += 4;
    }
    (end, end > first)
}

/// A bracket round the last digits: `12.3[4]`, `12.[3]`, `123(4)`.
fn bracket_at(line: &[u8], to: usize, decimal: u8, fraction: bool) -> Option<(usize, usize)> {
    let open = to + usize::from(!fraction && line.get(to) == Some(&decimal));
    let closing = match line.get(open)? {
        b'[' => b']',
        b'(' => b')',
        _ => return None,
    };
    let close = digits_from(line, open + 1);
    let inside = close - open - 1;
    (line.get(close) == Some(&closing) && (1..=2).contains(&inside)).then_some((open, close))
}

fn exact(text: &[u8], marks: Marks, negative: bool) -> Option<Decimal> {
    let plain: String = text
        .iter()
        .filter(|byte| Some(**byte) != marks.thousands)
        .map(|byte| {
            if *byte == marks.decimal {
                '.'
            } else {
                char::from(*byte)
            }
        })
        .collect();
    let significant = plain.trim_start_matches('0').len();
    let value = Decimal::from_str_exact(&plain)
        .ok()
        .filter(|_| significant <= 13)?;
    Some(if negative { -value } else { value })
}

/// Letters, with a few digits behind them (`S1`), and letters joined by `-`, `.`, `/` or `_`.
fn word_at(line: &[u8], at: usize, marks: Marks) -> Option<Token> {
    if !line.get(at).copied().is_some_and(is_letter) {
        return None;
    }
    let mut to = at;
    loop {
        while line.get(to).copied().is_some_and(is_letter)
            && (to == at || glyph_at(line, to).is_none())
        {
            to += 1;
        }
        let digits = digits_from(line, to);
        let is_value = digits - to >= 3
            || (line.get(digits) == Some(&marks.decimal) && digit_at(line, digits + 1));
        let unit = symbols::plain_unit(line.get(at..to).unwrap_or_default()).is_some();
        if digits > to && !is_value {
            to = digits;
        } else if line.get(to).is_some_and(|byte| b"-./_".contains(byte))
            && line.get(to + 1).copied().is_some_and(is_letter)
            && !(unit && line.get(to) == Some(&b'-'))
        {
            to += 1;
        } else {
            break;
        }
    }
    Some(Token {
        kind: Kind::Word,
        from: at,
        to,
        number: None,
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn cut(line: &str, marks: Marks) -> Vec<&str> {
        let found = tokens(line.as_bytes(), marks);
        found
            .iter()
            .map(|token| &line[token.from..token.to])
            .collect()
    }

    #[test]
    fn numbers_words_and_marks_are_told_apart() {
        let [point, comma, grouped, ..] = Marks::ALL;
        assert_eq!(
            cut("RS,QX,+  12.34,g", point),
            ["RS", ",", "QX", ",", "+  12.34", ",", "g"]
        );
        assert_eq!(
            cut("N;-0,05;ct;0", comma),
            ["N", ";", "-0,05", ";", "ct", ";", "0"]
        );
        assert_eq!(cut("1,234.5[6]g?", grouped), ["1,234.5[6]", "g", "?"]);
        assert_eq!(cut("G0012.34g S1", point), ["G", "0012.34", "g", "S1"]);
        assert_eq!(
            cut("25.11.2026 12:31", point),
            ["25", ".", "11", ".", "2026", "12", ":", "31"]
        );
        let numbers = tokens(b"25.11.2026 3.5", point);
        let plain = |at: usize| numbers[at].number.unwrap().plain;
        assert!(!plain(0) && !plain(2) && !plain(4) && plain(5));
        let bracket = tokens(b"- 12.3[4]", point)[0].number.unwrap();
        assert_eq!(
            (bracket.value.to_string(), bracket.decimals),
            ("-12.34".to_owned(), 2)
        );
        assert_eq!(
            tokens(b"12.[3]", point)[0]
                .number
                .unwrap()
                .value
                .to_string(),
            "12.3"
        );
    }

    proptest! {
        #[test]
        fn tokens_stand_in_order_and_cover_all_but_blanks(line in proptest::collection::vec(any::<u8>(), 0..200)) {
            for marks in Marks::ALL {
                let mut at = 0;
                for token in tokens(&line, marks) {
                    prop_assert!(token.from >= at && token.to > token.from && token.to <= line.len());
                    prop_assert!(line[at..token.from].iter().all(|byte| is_blank(*byte)));
                    at = token.to;
                }
                prop_assert!(line[at..].iter().all(|byte| is_blank(*byte)));
            }
        }
    }
}
