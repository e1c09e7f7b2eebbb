//! Signs in letters, words, other bytes and other places: the real program learns them from a log, or
//! says what is missing, and never takes a minus for a plus.

use panbell::balance::Layout;
use panbell::mass::{Shown, Status};
use panbell::settings::BalanceFile;
use rust_decimal::Decimal;

use super::logs::{learned, plain_log, rests};

/// What a plain log shows, taken apart: below zero or not, the bare digits, at rest or not.
struct Seen<'a> {
    below: bool,
    bare: &'a str,
    rests: bool,
}

type Written = fn(&Seen<'_>) -> String;

fn seen(shown: &str) -> Seen<'_> {
    Seen {
        below: shown.starts_with('-'),
        bare: shown.trim_start_matches('-'),
        rests: rests(shown),
    }
}

fn letter(seen: &Seen<'_>) -> char {
    if seen.below { 'N' } else { 'P' }
}

fn dash(seen: &Seen<'_>) -> &'static str {
    if seen.below { "-" } else { "+" }
}

const SHAPES: [(&str, Written); 17] = [
    ("a letter", |s| {
        let word = if s.rests { 'S' } else { 'D' };
        format!("{} {:>7} g {word}", letter(s), s.bare)
    }),
    ("three bytes", |s| {
        let minus = if s.below { "\u{2212}" } else { "" };
        format!("{minus}{} g", s.bare)
    }),
    ("behind the unit", |s| format!("{} g{}", s.bare, dash(s))),
    ("behind the value", |s| format!("{}{} g", s.bare, dash(s))),
    ("behind the value, when below", |s| {
        format!("{}{} g", s.bare, if s.below { "-" } else { "" })
    }),
    ("words", |s| {
        let word = if s.below { "MINUS" } else { "PLUS" };
        format!("{word:<5} {:>7} g", s.bare)
    }),
    ("a word when below", |s| {
        let word = if s.below { "NEG " } else { "" };
        format!("{word}{} g", s.bare)
    }),
    ("round brackets", |s| {
        if s.below {
            format!("({}) g", s.bare)
        } else {
            format!("{} g", s.bare)
        }
    }),
    ("in the status", |s| {
        let word = match (s.below, s.rests) {
            (false, true) => "ST",
            (false, false) => "US",
            (true, true) => "NS",
            (true, false) => "NU",
        };
        format!("{word} {:>8} g", s.bare)
    }),
    ("points in motion", |s| {
        format!(
            "{}{} g {}",
            dash(s),
            s.bare,
            if s.rests { "OK" } else { ".." }
        )
    }),
    ("a mark for a letter", |s| {
        format!(
            "{} {}{} g",
            if s.rests { "S" } else { "~" },
            dash(s),
            s.bare
        )
    }),
    ("stars for a word", |s| {
        format!(
            "{}{} g {}",
            dash(s),
            s.bare,
            if s.rests { "OK" } else { "**" }
        )
    }),
    ("a colon before the digits", |s| {
        format!("g:{}{}", if s.below { "-" } else { "" }, s.bare)
    }),
    ("a letter and a colon", |s| {
        format!("W:{}{} g", if s.below { "-" } else { "" }, s.bare)
    }),
    ("quotes and a colon", |s| {
        let minus = if s.below { "-" } else { "" };
        format!(
            "{{\"w\":{minus}{},\"u\":\"g\",\"s\":{}}}",
            s.bare,
            u8::from(s.rests)
        )
    }),
    ("from behind", |s| {
        let back: String = format!("{:0>7}", s.bare).chars().rev().collect();
        format!("={back}{}", if s.below { "-" } else { "+" })
    }),
    ("counts", |s| {
        let count: i32 = s.bare.replace('.', "").parse().unwrap();
        let count = if s.below { 0x1_0000 - count } else { count };
        format!("#{count:04X} {}", if s.rests { 'S' } else { 'D' })
    }),
];

#[test]
fn a_sign_is_learned_wherever_and_however_it_stands() {
    for (name, write) in SHAPES {
        let log = plain_log(|shown| format!("{}\r\n", write(&seen(shown))));
        let (code, said, file) = learned("signed.log", &log);
        let file = file.unwrap_or_else(|| panic!("{name}: {said}"));
        assert_eq!(code, 0, "{name}: {said}");
        let spec = BalanceFile::parse("own", &file).unwrap().layout;
        let mut layout = Layout::compile(&spec).unwrap();
        for shown in [
            "0.00", "4.31", "18.02", "20.00", "-3.39", "-16.24", "-20.00", "7.65", "-12.34",
        ] {
            let seen = seen(shown);
            let line = write(&seen);
            let reading = layout.read(line.as_bytes());
            let reading = reading.unwrap_or_else(|why| panic!("{name}: {line} {why:?}\n{file}"));
            let digits = match reading.shown {
                Shown::Weighed(mass) => mass.digits(),
                Shown::UnitUnstated(digits) => digits,
                _ => panic!("{name}: {line} {reading:?}\n{file}"),
            };
            let want: Decimal = shown.parse().unwrap();
            assert_eq!(
                (digits, digits.scale()),
                (want, 2),
                "{name}: {line}\n{file}"
            );
            let rest = matches!(reading.status, Status::Stable | Status::StableAtZero);
            assert!(seen.rests || !rest, "{name}: {line} {reading:?}\n{file}");
        }
    }
}

#[test]
fn a_minus_that_was_not_heard_is_not_proven() {
    for (name, write) in SHAPES {
        // Up to the lifting of the weight, and nothing trembles.
        let log = plain_log(|shown| format!("{}\r\n", write(&seen(shown))));
        let log: String = log.split_inclusive('\n').take(50).collect();
        let (code, said, file) = learned("unheard.log", &log);
        assert_ne!(code, 0, "{name}: {said}");
        let Some(file) = file else { continue };
        assert!(file.contains("minus = \"not proven\""), "{name}: {file}");
        assert!(
            said.contains("press the balance's own tare key"),
            "{name}: {said}"
        );
        let spec = BalanceFile::parse("own", &file).unwrap().layout;
        let mut layout = Layout::compile(&spec).unwrap();
        for shown in ["0.00", "20.00", "-12.34"] {
            if let Ok(reading) = layout.read(write(&seen(shown)).as_bytes()) {
                let unproven = matches!(reading.shown, Shown::SignUnproven(_));
                assert!(unproven, "{name}: {reading:?}");
            }
        }
    }
}

#[test]
fn a_letter_near_zero_alone_proves_no_sign() {
    // It trembles below zero, where the letter may as well say that it is near zero.
    let log = plain_log(|shown| format!("P {shown:>7} g\r\n"));
    let log: String = log
        .split_inclusive('\n')
        .take(50)
        .enumerate()
        .map(|(at, line)| {
            if at % 5 == 3 && line.contains(" 0.00") {
                "N    0.01 g\r\n".to_owned()
            } else {
                line.to_owned()
            }
        })
        .collect();
    let (code, said, file) = learned("near.log", &log);
    assert_eq!(code, 3, "{said}");
    assert!(file.unwrap().contains("minus = \"not proven\""), "{said}");
    assert!(said.contains("minus"), "{said}");
}

#[test]
fn a_hexadecimal_counter_is_no_mass_and_grows() {
    let log = plain_log(|shown| format!("{shown:>9} g\r\n"));
    let counted = |from: usize, log: &str| -> String {
        let lines = log.split_inclusive('\n').enumerate();
        let line = |(at, line): (usize, &str)| format!("{:04X} {line}", from + at * 23);
        lines.map(line).collect::<Vec<String>>().concat()
    };
    let (code, said, file) = learned("counter.log", &counted(0x0A1F, &log));
    assert_eq!(code, 0, "{said}");
    let file = BalanceFile::parse("own", &file.unwrap()).unwrap();
    let mut layout = Layout::compile(&file.layout).unwrap();
    for line in counted(0xC000, &log).lines() {
        let reading = layout.read(line.as_bytes());
        assert!(
            reading.is_ok_and(|it| it.indication().is_some()),
            "{line}: {said}"
        );
    }
}

#[test]
fn lines_with_a_number_that_are_not_read_are_told() {
    let log = plain_log(|shown| {
        if rests(shown) {
            format!("{shown:>9} g\r\n")
        } else {
            format!("? / {shown} / moving / {shown} /\r\n")
        }
    });
    // The weight is put on again and again, so that there are many of both.
    let (code, said, _) = learned("unread.log", &log.repeat(4));
    assert_eq!(code, 3, "{said}");
    assert!(said.contains("hold a number and are not read"), "{said}");
}

#[test]
fn a_value_that_is_probably_not_the_mass_has_no_unit() {
    let log = plain_log(|shown| {
        let tenth: Decimal = shown.parse::<Decimal>().unwrap() / Decimal::TEN;
        format!("{tenth:>9.3} g\r\n")
    });
    let (code, said, file) = learned("tenth.log", &log);
    assert_eq!(code, 3, "{said}");
    let spec = BalanceFile::parse("own", &file.unwrap()).unwrap().layout;
    assert_eq!(spec.units, [], "{said}");
    let reading = Layout::compile(&spec).unwrap().read(b"    2.000 ct");
    assert!(
        matches!(reading.unwrap().shown, Shown::UnitUnknown(_)),
        "{said}"
    );
}
