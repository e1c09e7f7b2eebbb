//! A balance file written out.
//!
//! Promises: what is written is read back equal, whatever the form and the symbols hold. Leaves to
//! others: where it is kept, and whether it is a good one.

use std::fmt::Write as _;

use super::{BalanceFile, text};
use crate::balance::{Check, CheckAs, CheckAt, CheckSum, Covers, Digits, End, Kind, Sign, Start};
use crate::mass::Status;
use crate::port::Flow;

impl BalanceFile {
    /// The file as text; [`BalanceFile::parse`] reads it back equal.
    pub fn to_toml(&self) -> String {
        let mut out = String::from("# A balance file.\n\n");
        let layout = &self.layout;
        put(&mut out, "says", &quoted(&self.says));
        out.push_str("\n[port]\n");
        put(&mut out, "speed", &self.speed.to_string());
        put(&mut out, "framing", &quoted(&self.framing.to_string()));
        let flow = match self.flow {
            Flow::None => "none",
            Flow::Software => "software",
            Flow::Hardware => "hardware",
        };
        put(&mut out, "flow", &quoted(flow));
        if let Some(dtr) = self.dtr {
            put(&mut out, "dtr", &dtr.to_string());
        }
        out.push_str("\n[line]\n");
        put(&mut out, "form", &literal(&layout.line));
        put(&mut out, "decimal", &mark(layout.decimal));
        if let Some(thousands) = layout.thousands {
            put(&mut out, "thousands", &mark(thousands));
        }
        if let Some(decimals) = layout.decimals {
            put(&mut out, "decimals", &decimals.to_string());
        }
        if layout.digits != Digits::Plain {
            put(
                &mut out,
                "digits",
                &quoted(word(&Digits::WORDS, layout.digits)),
            );
        }
        if let Some(factor) = layout.factor {
            put(&mut out, "factor", &quoted(&factor.to_string()));
        }
        if layout.minus_unproven {
            put(&mut out, "minus", &quoted("not proven"));
        }
        self.put_frame(&mut out);
        if !layout.skip.is_empty() {
            let forms: Vec<String> = layout.skip.iter().map(|form| literal(form)).collect();
            put(&mut out, "skip", &format!("[{}]", forms.join(", ")));
        }
        if layout.takes != Kind::Net {
            put(&mut out, "takes", &quoted(word(&Kind::WORDS, layout.takes)));
        }
        let units = layout
            .units
            .iter()
            .map(|(known, unit)| (known, unit.symbol()));
        // A table without an entry says that no symbol is known, which is not the same as no group.
        if layout.units.is_empty() && layout.line.contains("<unit>") {
            out.push_str("\n[units]\n");
        }
        put_symbols(&mut out, "units", units);
        let signs = layout.signs.iter();
        let signs = signs.map(|(known, sign)| (known, word(&Sign::WORDS, *sign)));
        put_symbols(&mut out, "sign", signs);
        let statuses = layout.statuses.iter();
        let statuses = statuses.map(|(known, status)| (known, word(&Status::WORDS, *status)));
        put_symbols(&mut out, "status", statuses);
        let kinds = layout.kinds.iter();
        let kinds = kinds.map(|(known, kind)| (known, word(&Kind::WORDS, *kind)));
        put_symbols(&mut out, "kind", kinds);
        if let Some(ask) = &self.ask {
            let request = |bytes: &[u8]| format!("'{}'", text::of_bytes(bytes));
            out.push_str("\n[ask]\n");
            put(&mut out, "send", &request(&ask.send));
            put(&mut out, "every", &quoted(&text::of_time(ask.every)));
            put(&mut out, "timeout", &quoted(&text::of_time(ask.timeout)));
            for (key, bytes) in [("tare", &ask.tare), ("zero", &ask.zero)] {
                if let Some(bytes) = bytes {
                    put(&mut out, key, &request(bytes));
                }
            }
        }
        out
    }

    fn put_frame(&self, out: &mut String) {
        match self.frame.ends {
            End::Line => {}
            End::Etx => put(out, "ends", "\"etx\""),
            End::Gap(gap) => {
                let gap = format!("gap {}", text::of_time(gap));
                put(out, "ends", &quoted(&gap));
            }
        }
        if self.frame.starts == Start::Stx {
            put(out, "starts", "\"stx\"");
        }
        if let Some(Check {
            how,
            at,
            written,
            covers,
        }) = self.frame.check
        {
            put(out, "check", &quoted(word(&CheckSum::WORDS, how)));
            put(out, "check_at", &quoted(word(&CheckAt::WORDS, at)));
            put(out, "check_as", &quoted(word(&CheckAs::WORDS, written)));
            put(out, "check_covers", &quoted(word(&Covers::WORDS, covers)));
        }
    }
}

fn put(out: &mut String, key: &str, value: &str) {
    // Writing to a string cannot fail.
    let _written = writeln!(out, "{key} = {value}");
}

fn put_symbols<'a>(
    out: &mut String,
    table: &str,
    symbols: impl ExactSizeIterator<Item = (&'a String, &'a str)>,
) {
    if symbols.len() == 0 {
        return;
    }
    let _written = write!(out, "\n[{table}]\n");
    for (symbol, meaning) in symbols {
        put(out, &quoted(symbol), &quoted(meaning));
    }
}

/// The word of one of a list of words.
fn word<T: Copy + PartialEq>(words: &[(&'static str, T)], meant: T) -> &'static str {
    words
        .iter()
        .find(|(_, value)| *value == meant)
        .map_or("", |(word, _)| word)
}

fn mark(byte: u8) -> String {
    quoted(&char::from(byte).to_string())
}

/// A text between apostrophes, where a backslash is itself; in quotes where that cannot be.
fn literal(text: &str) -> String {
    if text.contains('\'') || text.chars().any(char::is_control) {
        quoted(text)
    } else {
        format!("'{text}'")
    }
}

/// A text in quotes, with what TOML wants escaped.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for sign in text.chars() {
        match sign {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            sign if sign.is_control() => {
                let _written = write!(out, "\\u{:04X}", u32::from(sign));
            }
            sign => out.push(sign),
        }
    }
    out.push('"');
    out
}
