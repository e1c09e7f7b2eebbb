//! How signs are written in the lines of a layout.
//!
//! Promises: every symbol of the layout is tried, alone and filled up to the width of the longest.
//! Leaves to others: whether a line with it is read as it was meant (`writing`).

use crate::balance::{LayoutSpec, Sign, symbol_bytes};

/// How a sign is written where the layout has no symbols of its own for it: before a positive
/// value, before a negative one.
const SIGNS: [(&str, &str); 4] = [("", "-"), ("+", "-"), (" ", "-"), ("+ ", "- ")];

/// A sign, and the part of it that stands behind the digits.
#[derive(Debug, Clone, Default)]
pub(super) struct SignText {
    pub(super) before: Vec<u8>,
    pub(super) behind: Vec<u8>,
}

/// Every way to write a sign in a layout.
pub(super) fn signs(spec: &LayoutSpec) -> Vec<[SignText; 2]> {
    if spec.signs.is_empty() {
        let plain = |text: &str| SignText {
            before: text.as_bytes().to_vec(),
            behind: Vec::new(),
        };
        return SIGNS
            .map(|(plus, minus)| [plain(plus), plain(minus)])
            .to_vec();
    }
    let has_close = spec.line.contains("<close>");
    let of = |wanted: Sign| -> Vec<Vec<u8>> {
        let all = spec.signs.iter().filter(|(_, sign)| *sign == wanted);
        all.map(|(symbol, _)| symbol_bytes(symbol)).collect()
    };
    let longest = spec
        .signs
        .iter()
        .map(|(symbol, _)| symbol_bytes(symbol).len());
    let longest = longest.max().unwrap_or(0);
    let text = |symbol: &[u8], wide: bool| {
        let middle = symbol.len().div_ceil(2);
        let (before, behind) = match symbol.split_at_checked(middle) {
            Some((before, behind)) if has_close => (before, behind),
            _ => (symbol, &b""[..]),
        };
        let mut text = SignText {
            before: before.to_vec(),
            behind: behind.to_vec(),
        };
        if wide && has_close {
            text.before.resize(longest.div_ceil(2), b' ');
            text.behind.resize(longest / 2, b' ');
        } else if wide {
            text.before.resize(longest, b' ');
        }
        text
    };
    let mut out = Vec::new();
    for plus in of(Sign::Plus) {
        for minus in of(Sign::Minus) {
            for wide in [false, true] {
                out.push([text(&plus, wide), text(&minus, wide)]);
            }
        }
    }
    out
}

/// Digits with their sign, filled up to a width: with blanks before the sign, or noughts behind it.
pub(super) fn filled(digits: &str, sign: &[u8], width: usize, zeros: bool) -> Vec<u8> {
    let missing = width.saturating_sub(sign.len() + digits.len());
    let filling = std::iter::repeat_n(if zeros { b'0' } else { b' ' }, missing);
    if zeros {
        sign.iter()
            .copied()
            .chain(filling)
            .chain(digits.bytes())
            .collect()
    } else {
        filling
            .chain(sign.iter().copied())
            .chain(digits.bytes())
            .collect()
    }
}
