//! Text from outside, made harmless for terminals, notices, logs and sheets.
//!
//! Promises: what comes out holds no character that commands a terminal, turns the order of
//! writing, or cannot be seen; each such one is written out as `\u{202e}`, so nothing is hidden.
//! Text without any comes out as it is. Leaves to others: markup, and how long a text may be.

use std::borrow::Cow;
use std::fmt::Write as _;

/// Whether a character is one that shows nothing and changes how other things show: controls (C0,
/// DEL, C1), the marks of line and paragraph, the controls of the direction of writing, and what has
/// no width (Unicode Standard, "Special Areas and Format Characters" and "Default Ignorable").
pub fn is_harmful(c: char) -> bool {
    matches!(c,
        '\0'..='\u{1f}' | '\u{7f}'..='\u{9f}'
        | '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}'
        | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{feff}' | '\u{ffa0}'
        | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
}

/// One line of text.
pub fn harmless(text: &str) -> Cow<'_, str> {
    written_out(text, is_harmful)
}

/// Text of several lines: the ends of lines and tabs stay.
pub fn harmless_lines(text: &str) -> Cow<'_, str> {
    written_out(text, |c| is_harmful(c) && c != '\n' && c != '\t')
}

/// JSON text, which stays what it says: every such character becomes an escape of JSON.
pub fn harmless_json(text: &str) -> Cow<'_, str> {
    // Between the tokens of one line of JSON there is none of them.
    if !text.chars().any(is_harmful) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if is_harmful(c) {
            let mut units = [0; 2];
            for unit in c.encode_utf16(&mut units) {
                // Writing to a string cannot fail.
                let _written = write!(out, "\\u{unit:04x}");
            }
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

fn written_out(text: &str, is_it: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.chars().any(&is_it) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if is_it(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_commands_turns_or_hides_is_written_out_and_nothing_else() {
        for (text, want) in [
            ("K 1042/b, M\u{fc}ller \u{2030} \u{5e9}\u{5dc}", None),
            ("\u{645}\u{631}\u{62d}\u{628}\u{627} \u{1f48d}", None),
            ("\x1b[31mred", Some("\\u{1b}[31mred")),
            ("a\u{9b}31m", Some("a\\u{9b}31m")),
            ("18\u{202e}k57", Some("18\\u{202e}k57")),
            ("a\u{2066}b\u{2069}", Some("a\\u{2066}b\\u{2069}")),
            ("K-1\u{200b}", Some("K-1\\u{200b}")),
            ("\u{feff}K-1\u{7f}", Some("\\u{feff}K-1\\u{7f}")),
            ("a\u{2028}b\r\n\tc", Some("a\\u{2028}b\\u{d}\\u{a}\\u{9}c")),
        ] {
            assert_eq!(harmless(text), want.unwrap_or(text));
        }
        assert_eq!(
            harmless_lines("a\r\n\tb\u{202a}\n"),
            "a\\u{d}\n\tb\\u{202a}\n"
        );
    }

    proptest! {
        #[test]
        fn nothing_harmful_comes_out_and_json_stays_what_it_was(text in ".{0,40}", harm in "[\u{0}-\u{9f}\u{200b}-\u{206f}\u{e0000}-\u{e007f}]{0,6}") {
            let text = format!("{text}{harm}");
            prop_assert!(!harmless(&text).chars().any(is_harmful));
            prop_assert!(!harmless_lines(&text).chars().any(|c| is_harmful(c) && c != '\n' && c != '\t'));
            let json = serde_json::to_string(&text).unwrap();
            let plain = harmless_json(&json);
            prop_assert!(!plain.chars().any(is_harmful));
            prop_assert_eq!(serde_json::from_str::<String>(&plain).unwrap(), text);
        }
    }
}
