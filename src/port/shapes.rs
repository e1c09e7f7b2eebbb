//! The line shapes that a pretend balance can speak.
//!
//! Promises: each is named after its shape, and a display is written the way that the shipped
//! line layout of the same name reads it. Leaves to others: when a line is sent.

use rust_decimal::Decimal;

use super::physics::Showing;

/// Writes a display as the bytes of one line, its end included.
pub type Shape = fn(&Showing) -> Vec<u8>;

/// Every shape with its name.
pub const SHAPES: [(&str, Shape); 3] = [
    ("signed-fixed", signed_fixed),
    ("status-first", status_first),
    ("comma-fields", comma_fields),
];

/// The shape of a name.
pub fn shape(name: &str) -> Option<Shape> {
    SHAPES
        .iter()
        .find(|(known, _)| *known == name)
        .map(|(_, shape)| *shape)
}

/// `+   12.345 g   `: sign, nine places for the value, a blank, four for the unit. Says nothing
/// of steadiness.
pub fn signed_fixed(showing: &Showing) -> Vec<u8> {
    let sign = if showing.digits < Decimal::ZERO {
        '-'
    } else {
        '+'
    };
    let value = showing.digits.abs().to_string();
    format!("{sign}{value:>9} {:<4}\r\n", showing.unit.symbol()).into_bytes()
}

/// `stable   12.34 g` or `moving   12.34 g`: the word comes first.
pub fn status_first(showing: &Showing) -> Vec<u8> {
    let word = if showing.moving { "moving" } else { "stable" };
    let value = showing.digits.to_string();
    format!("{word} {value:>7} {}\r\n", showing.unit).into_bytes()
}

/// `N;12,34;g;1`: fields with a decimal comma; the last is 1 at rest and 0 in motion.
pub fn comma_fields(showing: &Showing) -> Vec<u8> {
    let value = showing.digits.to_string().replace('.', ",");
    let rest = u8::from(!showing.moving);
    format!("N;{value};{};{rest}\r\n", showing.unit).into_bytes()
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

    #[test]
    fn each_shape_is_as_its_layout_reads_it() {
        for (name, digits, unit, moving, want) in [
            (
                "signed-fixed",
                "12.345",
                Unit::Gram,
                true,
                "+   12.345 g   \r\n",
            ),
            (
                "signed-fixed",
                "-0.01",
                Unit::Pennyweight,
                false,
                "-     0.01 dwt \r\n",
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
                "stable -10000.12 g\r\n",
            ),
            (
                "comma-fields",
                "12.34",
                Unit::Gram,
                false,
                "N;12,34;g;1\r\n",
            ),
            (
                "comma-fields",
                "-0.05",
                Unit::Carat,
                true,
                "N;-0,05;ct;0\r\n",
            ),
        ] {
            assert_eq!(line(name, digits, unit, moving), want);
        }
        assert!(shape("unheard-of").is_none());
    }
}
