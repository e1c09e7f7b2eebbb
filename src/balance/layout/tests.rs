//! Layouts read, as their spec says and not otherwise.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

use rust_decimal::Decimal;

use super::*;
use proptest::prelude::*;

fn layout() -> Layout {
    Layout::compile(&LayoutSpec {
        line: r"(?<status>[a-z]*) *(?<sign>[+-]?) *(?<value>[0-9.,eE]*) *(?<unit>\S*)".to_owned(),
        units: vec![("g".to_owned(), Unit::Gram), ("ct".to_owned(), Unit::Carat)],
        statuses: vec![
            ("moving".to_owned(), Status::InMotion),
            ("stable".to_owned(), Status::Stable),
        ],
        ..LayoutSpec::default()
    })
    .unwrap()
}

fn weighed(line: &[u8]) -> String {
    match layout().read(line).unwrap() {
        Reading {
            shown: Shown::Weighed(mass),
            status,
        } => format!("{} {mass}", status.word()),
        other => format!("{other:?}"),
    }
}

#[test]
fn value_unit_and_status_are_taken_as_they_stand() {
    assert_eq!(weighed(b"stable 12.460 g"), "stable 12.460 g");
    assert_eq!(weighed(b"moving - 0.10 ct"), "in motion -0.10 ct");
    assert_eq!(weighed(b"odd 00012.3 g"), "unsaid 12.3 g");
}

#[test]
fn a_unit_is_never_supposed() {
    assert!(matches!(
        layout().read(b"stable 1.00").unwrap().shown,
        Shown::UnitUnstated(_)
    ));
    assert!(matches!(
        layout().read(b"stable 1.00 gr").unwrap().shown,
        Shown::UnitUnknown(_)
    ));
    assert!(matches!(
        layout().read(b"stable 1.00 g\xb0").unwrap().shown,
        Shown::UnitUnknown(_)
    ));
}

#[test]
fn odd_numbers_are_not_understood() {
    for line in [
        &b"stable 1e3 g"[..],
        b"stable 1.2.3 g",
        b"stable 1,2 g",
        b"stable 1234567890123 g",
        b"stable . g",
        b"stable 999999999999 g",
        b"stable 5. g",
    ] {
        assert_eq!(
            layout().read(line),
            Err(NoReading::OddNumber),
            "{}",
            line.escape_ascii()
        );
    }
    assert_eq!(
        layout().read(b"stable 1.0 g extra words"),
        Err(NoReading::OtherForm)
    );
    assert_eq!(layout().read(b"stable").unwrap().shown, Shown::Nothing);
}

#[test]
fn a_layout_that_cannot_be_used_says_why() {
    let spec = |line: &str| LayoutSpec {
        line: line.to_owned(),
        ..LayoutSpec::default()
    };
    for (line, word) in [
        ("(", "cannot be read"),
        ("(?<mass>.*)", "\"mass\""),
        ("[0-9]+", "no group named value"),
    ] {
        assert!(
            Layout::compile(&spec(line))
                .unwrap_err()
                .happened
                .contains(word),
            "{line}"
        );
    }
}

proptest! {
    #[test]
    fn no_line_panics(line in proptest::collection::vec(any::<u8>(), 0..300)) {
        let _either = layout().read(&line);
    }

    #[test]
    fn digits_survive_exactly(mantissa in -9_999_999_i64..=9_999_999, scale in 2u32..=6) {
        let number = Decimal::new(mantissa, scale);
        let line = format!("stable {number} g");
        let Shown::Weighed(mass) = layout().read(line.as_bytes()).unwrap().shown else {
            return Err(TestCaseError::fail("not weighed"));
        };
        prop_assert_eq!(mass.digits().to_string(), if mantissa == 0 { number.abs().to_string() } else { number.to_string() });
    }
}
