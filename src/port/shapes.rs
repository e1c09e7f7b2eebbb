//! The line shapes that a pretend balance can speak.
//!
//! Promises: each is named after its shape, and a display is written the way that the shipped
//! line layout of the same name reads it. Leaves to others: when a line is sent.

use rust_decimal::Decimal;

use super::physics::Showing;
use crate::balance::{Check, CheckAs, CheckAt, CheckSum, Covers, End, FrameSpec, Start};

/// Writes a display as the bytes of one line, its end included.
pub type Shape = fn(&Showing) -> Vec<u8>;

/// Every shape with its name.
pub const SHAPES: [(&str, Shape); 13] = [
    ("signed-fixed", signed_fixed),
    ("status-first", status_first),
    ("comma-fields", comma_fields),
    ("value-only", value_only),
    ("unit-at-rest", unit_at_rest),
    ("zero-filled", zero_filled),
    ("stx-check", stx_check),
    ("last-in-brackets", last_in_brackets),
    ("net-gross-tare", net_gross_tare),
    ("headed-block", headed_block),
    ("grouped-digits", grouped_digits),
    ("pause-ended", pause_ended),
    ("asked", asked),
];

/// The shape of a name.
pub fn shape(name: &str) -> Option<Shape> {
    SHAPES
        .iter()
        .find(|(known, _)| *known == name)
        .map(|(_, shape)| *shape)
}

/// `+/     12.345/g    /`: sign, eleven places for the value, the unit. Says nothing of steadiness.
fn signed_fixed(showing: &Showing) -> Vec<u8> {
    let (sign, value) = apart(showing, '+');
    format!("{sign}/{value:>11}/{}/\r\n", unit(showing)).into_bytes()
}

/// The sign, and the digits without it.
fn apart(showing: &Showing, plus: char) -> (char, String) {
    let sign = if showing.digits < Decimal::ZERO {
        '-'
    } else {
        plus
    };
    (sign, showing.digits.abs().to_string())
}

/// The unit on its five places; a longer symbol takes what it needs.
fn unit(showing: &Showing) -> String {
    format!("{:<5}", showing.unit.symbol())
}

/// One of two marks: at rest, or in motion.
fn rest(showing: &Showing, at_rest: char, moving: char) -> char {
    if showing.moving { moving } else { at_rest }
}

/// `stable   12.34 g` or `moving   12.34 g`: the word comes first. Seven places for the value, or
/// thirteen where that is too little.
pub fn status_first(showing: &Showing) -> Vec<u8> {
    let word = if showing.moving { "moving" } else { "stable" };
    let value = showing.digits.to_string();
    let places = if value.len() > 7 { 13 } else { 7 };
    format!("{word} {value:>places$} {}\r\n", showing.unit).into_bytes()
}

/// `&;      12,34;g;#`: fields with a decimal comma; the last is `#` at rest and `~` in motion.
fn comma_fields(showing: &Showing) -> Vec<u8> {
    let value = showing.digits.to_string().replace('.', ",");
    let mark = rest(showing, '#', '~');
    format!("&;{value:>11};{};{mark}\r\n", showing.unit).into_bytes()
}

/// `<       12.345>`: thirteen places for the value; no unit, nothing of steadiness.
fn value_only(showing: &Showing) -> Vec<u8> {
    format!("<{:>13}>\r\n", showing.digits.to_string()).into_bytes()
}

/// `       12.34|g    |` at rest, `       12.34|~~~~~|` in motion: no unit while the pan moves.
fn unit_at_rest(showing: &Showing) -> Vec<u8> {
    let unit = if showing.moving {
        "~~~~~".to_owned()
    } else {
        unit(showing)
    };
    format!("{:>12}|{unit}|\r\n", showing.digits.to_string()).into_bytes()
}

/// `+000000012.34:g    :V`: zeros in front, a letter behind; ends with CR alone.
fn zero_filled(showing: &Showing) -> Vec<u8> {
    let (sign, value) = apart(showing, '+');
    let letter = rest(showing, 'V', 'Y');
    format!("{sign}{value:0>12}:{}:{letter}\r", unit(showing)).into_bytes()
}

/// STX, `#      12.34|g    `, ETX, and the exclusive-or of all after the STX.
fn stx_check(showing: &Showing) -> Vec<u8> {
    let frame = FrameSpec {
        starts: Start::Stx,
        ends: End::Etx,
        check: Some(Check {
            how: CheckSum::Xor,
            at: CheckAt::AfterEnd,
            written: CheckAs::Byte,
            covers: Covers::WithEnd,
        }),
    };
    frame.wrap(marked(showing).as_bytes())
}

/// `#      12.34|g    ` at rest, `~      12.34|g    ` in motion.
fn marked(showing: &Showing) -> String {
    let mark = rest(showing, '#', '~');
    let value = showing.digits.to_string();
    format!("{mark}{value:>11}|{}", unit(showing))
}

/// `=      12.3[4]g    `, with `!` in front in motion: the last digit in brackets.
fn last_in_brackets(showing: &Showing) -> Vec<u8> {
    let mut value = showing.digits.to_string();
    let last = value.pop().unwrap_or('0');
    let mark = rest(showing, '=', '!');
    format!("{mark}{value:>10}[{last}]{}\r\n", unit(showing)).into_bytes()
}

/// Three lines: `all@+      12.34@g    `, the same with `dish` and nothing taken off, and with `load`.
fn net_gross_tare(showing: &Showing) -> Vec<u8> {
    let (sign, value) = apart(showing, '+');
    let zero = Decimal::new(0, showing.digits.scale()).to_string();
    let line = |kind, sign, value| format!("{kind}@{sign}{value:>11}@{}\r\n", unit(showing));
    let (gross, tare) = (line("all", sign, &value), line("dish", '+', &zero));
    format!("{gross}{tare}{}", line("load", sign, &value)).into_bytes()
}

/// A day, a number, and `Weighed        12.34=g    `, each on a line.
fn headed_block(showing: &Showing) -> Vec<u8> {
    let value = showing.digits.to_string();
    format!(
        "Day 2000-01-01\r\nSlip 12\r\nWeighed{value:>13}={}\r\n\r\n",
        unit(showing)
    )
    .into_bytes()
}

/// `*        1'234,5;g    `: a decimal comma, thousands apart, a star at rest; ends with LF alone.
fn grouped_digits(showing: &Showing) -> Vec<u8> {
    let (sign, value) = apart(showing, ' ');
    let whole = value.find('.').unwrap_or(value.len());
    let mut text = sign.to_string();
    for (at, digit) in value.chars().enumerate() {
        if at > 0 && at < whole && (whole - at) % 3 == 0 {
            text.push('\'');
        }
        text.push(if digit == '.' { ',' } else { digit });
    }
    let mark = rest(showing, '*', '~');
    format!("{mark}{text:>15};{}\n", unit(showing)).into_bytes()
}

/// `       12.34^g    ` and nothing that ends it.
fn pause_ended(showing: &Showing) -> Vec<u8> {
    format!("{:>12}^{}", showing.digits.to_string(), unit(showing)).into_bytes()
}

/// `#      12.34|g    ` at rest, `~` in front in motion; meant to be sent when asked.
fn asked(showing: &Showing) -> Vec<u8> {
    format!("{}\r\n", marked(showing)).into_bytes()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Unit;

    fn line(name: &str, digits: &str, unit: Unit, moving: bool) -> String {
        let showing = Showing {
            digits: digits.parse().unwrap(),
            unit,
            moving,
        };
        String::from_utf8(shape(name).unwrap()(&showing)).unwrap()
    }

    /// Shape, display, and the line that it gives.
    const LINES: &[(&str, &str, Unit, bool, &str)] = &[
        (
            "signed-fixed",
            "12.345",
            Unit::Gram,
            true,
            "+/     12.345/g    /\r\n",
        ),
        (
            "signed-fixed",
            "-0.01",
            Unit::Pennyweight,
            false,
            "-/       0.01/dwt  /\r\n",
        ),
        (
            "status-first",
            "12.34",
            Unit::Gram,
            false,
            "stable   12.34 g\r\n",
        ),
        (
            "status-first",
            "-3.10",
            Unit::Carat,
            true,
            "moving   -3.10 ct\r\n",
        ),
        (
            "status-first",
            "-10000.12",
            Unit::Gram,
            false,
            "stable     -10000.12 g\r\n",
        ),
        (
            "comma-fields",
            "12.34",
            Unit::Gram,
            false,
            "&;      12,34;g;#\r\n",
        ),
        (
            "comma-fields",
            "-0.05",
            Unit::Carat,
            true,
            "&;      -0,05;ct;~\r\n",
        ),
        (
            "value-only",
            "-0.05",
            Unit::Gram,
            true,
            "<        -0.05>\r\n",
        ),
        (
            "unit-at-rest",
            "12.34",
            Unit::Gram,
            true,
            "       12.34|~~~~~|\r\n",
        ),
        (
            "unit-at-rest",
            "12.34",
            Unit::Gram,
            false,
            "       12.34|g    |\r\n",
        ),
        (
            "zero-filled",
            "-12.34",
            Unit::Carat,
            false,
            "-000000012.34:ct   :V\r",
        ),
        (
            "stx-check",
            "1.2",
            Unit::Gram,
            false,
            "\u{2}#        1.2|g    \u{3}\u{16}",
        ),
        (
            "last-in-brackets",
            "12.34",
            Unit::Gram,
            true,
            "!      12.3[4]g    \r\n",
        ),
        (
            "net-gross-tare",
            "-1.0",
            Unit::Gram,
            false,
            "all@-        1.0@g    \r\ndish@+        0.0@g    \r\nload@-        1.0@g    \r\n",
        ),
        (
            "headed-block",
            "12.34",
            Unit::Gram,
            false,
            "Day 2000-01-01\r\nSlip 12\r\nWeighed        12.34=g    \r\n\r\n",
        ),
        (
            "grouped-digits",
            "-1234567.8",
            Unit::Gram,
            false,
            "*   -1'234'567,8;g    \n",
        ),
        (
            "pause-ended",
            "12.34",
            Unit::Gram,
            false,
            "       12.34^g    ",
        ),
        ("asked", "-0.10", Unit::Gram, true, "~      -0.10|g    \r\n"),
    ];

    #[test]
    fn each_shape_is_as_its_layout_reads_it() {
        for (name, digits, unit, moving, want) in LINES {
            assert_eq!(line(name, digits, *unit, *moving), *want);
        }
        assert!(shape("unheard-of").is_none());
    }
}
