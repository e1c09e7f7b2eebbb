//! A number as a person types it: with a point or with a decimal comma.
//!
//! Promises: exact decimals; a comma that could be the mark between thousands is refused with both
//! readings, and never guessed at. Leaves to others: what is counted, and its bounds. What the
//! program writes has points.

use std::fmt;

use rust_decimal::Decimal;

/// Digits that a number from a file or a person may have in all.
const MOST_DIGITS: usize = 12;

/// Why a text is no number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoNumber {
    /// It is not plain digits with at most one point or comma.
    Odd,
    /// Its comma could be a decimal comma or the mark between thousands.
    Either {
        /// The number with a decimal comma.
        decimal: Decimal,
        /// The number with thousands marked.
        thousands: Decimal,
    },
}

impl fmt::Display for NoNumber {
    /// What is wrong, to go on with behind a colon: `its number is ...`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Odd => f.write_str(
                "its number is not plain digits with at most one point or decimal comma",
            ),
            Self::Either { decimal, thousands } => write!(
                f,
                "its comma can be a decimal comma ({decimal}) or the mark between thousands ({thousands}); write {decimal} with a point, or {thousands} without a mark"
            ),
        }
    }
}

/// A number as typed: plain digits with at most one point or comma between them, and a sign. A
/// comma with one to three digits before it, of which the first is no nought, and three behind it
/// can mean two numbers, and is refused.
///
/// # Errors
/// Why it is none.
pub fn typed_number(text: &str) -> Result<Decimal, NoNumber> {
    let (decimal, thousands) = both(text).ok_or(NoNumber::Odd)?;
    match thousands {
        None => Ok(decimal),
        Some(thousands) => Err(NoNumber::Either { decimal, thousands }),
    }
}

/// The same where no number above `most` can be meant, so that the mark between thousands is none
/// if the number were larger with it. Whether it is within is left to the caller.
///
/// # Errors
/// Why it is none.
pub fn typed_number_to(text: &str, most: Decimal) -> Result<Decimal, NoNumber> {
    match typed_number(text) {
        Err(NoNumber::Either { decimal, thousands }) if thousands.abs() > most => Ok(decimal),
        other => other,
    }
}

/// The parts of a typed list between its commas; a comma between two digits is a decimal comma and
/// parts nothing.
pub fn typed_list(text: &str) -> impl Iterator<Item = &str> {
    let mut before = false;
    let mut behind = text.chars();
    text.split(move |c: char| {
        behind.next();
        let parts = c == ',' && !(before && behind.clone().next().is_some_and(is_digit));
        before = is_digit(c);
        parts
    })
}

fn is_digit(c: char) -> bool {
    c.is_ascii_digit()
}

/// The number with its mark as the decimal one, and, where that can be, as one between thousands.
fn both(text: &str) -> Option<(Decimal, Option<Decimal>)> {
    let bare = text.strip_prefix(['+', '-']).unwrap_or(text);
    let is_mark = |c: char| c == '.' || c == ',';
    let shape_is_plain = bare.chars().all(|c| is_digit(c) || is_mark(c))
        && bare.chars().filter(|c| is_mark(*c)).count() <= 1
        && bare.starts_with(is_digit)
        && bare.ends_with(is_digit);
    let count = bare
        .trim_start_matches('0')
        .chars()
        .filter(|c| is_digit(*c))
        .count();
    if !shape_is_plain || count > MOST_DIGITS {
        return None;
    }
    let decimal = Decimal::from_str_exact(&text.replace(',', ".")).ok()?;
    let thousands = match bare.split_once(',') {
        Some((before, after))
            if after.len() == 3 && before.len() <= 3 && !before.starts_with('0') =>
        {
            Some(Decimal::from_str_exact(&text.replace(',', "")).ok()?)
        }
        _ => None,
    };
    Some((decimal, thousands))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_decimal_comma_is_taken_where_it_can_be_nothing_else() {
        for (text, want) in [
            ("750,5", "750.5"),
            ("18,42", "18.42"),
            ("-0,05", "-0.05"),
            ("+1,0", "1.0"),
            ("0,750", "0.750"),
            ("1234,567", "1234.567"),
            ("12,3450", "12.3450"),
            ("1.234", "1.234"),
            ("24", "24"),
        ] {
            let found = typed_number(text).map(|number| number.to_string());
            assert_eq!(found, Ok(want.to_owned()), "{text}");
        }
    }

    #[test]
    fn a_comma_that_can_mark_thousands_is_refused_with_both_readings() {
        for (text, decimal, thousands) in [
            ("1,234", "1.234", "1234"),
            ("-12,345", "-12.345", "-12345"),
            ("583,333", "583.333", "583333"),
        ] {
            let no = typed_number(text).unwrap_err();
            let said = no.to_string();
            assert!(said.contains(&format!("({decimal})")), "{said}");
            assert!(said.contains(&format!("({thousands})")), "{said}");
        }
        // Of a thousand at most, it can be no thousands mark.
        let most = Decimal::ONE_THOUSAND;
        assert_eq!(
            typed_number_to("583,333", most),
            Ok(Decimal::new(583_333, 3))
        );
        assert!(typed_number_to("1,000", Decimal::from(5000)).is_err());
    }

    #[test]
    fn a_list_is_parted_where_its_commas_are_no_decimal_ones() {
        for (text, want) in [
            ("zinc=50,5,copper=3", &["zinc=50,5", "copper=3"][..]),
            ("zinc,cadmium", &["zinc", "cadmium"]),
            ("zinc=5, copper=1,5", &["zinc=5", " copper=1,5"]),
            (",1,", &["", "1", ""]),
            ("", &[""]),
        ] {
            assert_eq!(typed_list(text).collect::<Vec<_>>(), want, "{text}");
        }
    }

    #[test]
    fn anything_else_is_no_number() {
        for text in [
            "",
            ",",
            ".",
            "5,",
            ",5",
            "1,2,3",
            "1.234,5",
            "1,234.5",
            "1 234",
            "1e3",
            "--1",
            "1234567890123",
            "\u{0661}",
            "0x10",
            "1'234",
        ] {
            assert_eq!(typed_number(text), Err(NoNumber::Odd), "{text}");
        }
    }

    proptest! {
        #[test]
        fn comma_and_point_give_the_same_or_are_told_apart(whole in 0_u32..2_000_000, behind in "[0-9]{1,4}") {
            let point = typed_number(&format!("{whole}.{behind}")).unwrap();
            match typed_number(&format!("{whole},{behind}")) {
                Ok(comma) => prop_assert_eq!(comma, point),
                Err(NoNumber::Either { decimal, .. }) => {
                    prop_assert_eq!(decimal, point);
                    prop_assert!(behind.len() == 3 && (1..1000).contains(&whole));
                }
                Err(NoNumber::Odd) => prop_assert!(false),
            }
        }

        #[test]
        fn no_text_panics(text in ".{0,20}") {
            let _either = typed_number(&text);
        }
    }
}
