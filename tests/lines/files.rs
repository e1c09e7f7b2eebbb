//! Balance files written and read back, and what is wrong in their newer keys.

use std::time::Duration;

use panbell::balance::{
    AskSpec, Check, CheckAs, CheckAt, CheckSum, Covers, Digits, End, FrameSpec, Kind, LayoutSpec,
    Sign, Start,
};
use panbell::mass::{Status, Unit};
use panbell::port::{Flow, Framing};
use panbell::settings::{BalanceFile, SHIPPED_BALANCES};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

use super::shipped;

#[test]
fn shipped_files_are_written_back_equal() {
    for (name, _) in SHIPPED_BALANCES {
        let file = shipped(name);
        let text = file.to_toml();
        assert_eq!(BalanceFile::parse(name, &text).expect(&text), file);
    }
}

/// Symbols as a file may hold them: trimmed, each once.
fn symbols<T: Clone + std::fmt::Debug + 'static>(
    meanings: Vec<T>,
    blank: bool,
) -> impl Strategy<Value = Vec<(String, T)>> {
    let symbol = if blank {
        "[!-~]{0,4}"
    } else {
        "[!-~\u{e9}\u{7f}]{1,4}"
    };
    vec((symbol, select(meanings)), 1..6).prop_map(|mut all| {
        all.sort_by(|one, other| one.0.cmp(&other.0));
        all.dedup_by(|one, other| one.0 == other.0);
        all
    })
}

fn frames() -> impl Strategy<Value = FrameSpec> {
    let check = (
        select(CheckSum::WORDS.map(|(_, how)| how).to_vec()),
        select(CheckAt::WORDS.map(|(_, at)| at).to_vec()),
        select(CheckAs::WORDS.map(|(_, written)| written).to_vec()),
        select(Covers::WORDS.map(|(_, covers)| covers).to_vec()),
    );
    let check = check.prop_map(|(how, at, written, covers)| Check {
        how,
        at,
        written,
        covers,
    });
    let gap = (20u64..=2000).prop_map(|ms| End::Gap(Duration::from_millis(ms)));
    let ends = prop_oneof![Just(End::Line), Just(End::Etx), gap];
    let starts = select(vec![Start::Anywhere, Start::Stx]);
    (starts, ends, option::of(check))
        .prop_map(|(starts, ends, check)| FrameSpec {
            starts,
            ends,
            check,
        })
        .prop_filter("contradicts itself", |frame| {
            frame.contradiction().is_none()
        })
}

fn asks() -> impl Strategy<Value = AskSpec> {
    let request = || vec(any::<u8>(), 1..=AskSpec::LONGEST);
    (
        request(),
        20u64..=10_000,
        100u64..=10_000,
        option::of(request()),
        option::of(request()),
    )
        .prop_map(|(send, every, timeout, tare, zero)| AskSpec {
            send,
            every: Duration::from_millis(every),
            timeout: Duration::from_millis(timeout),
            tare,
            zero,
        })
}

fn layouts() -> impl Strategy<Value = LayoutSpec> {
    // What stands between the groups is any text that a pattern can hold, with quotes and lines.
    let between = "[ -~\n\t'\"\u{e9}]{0,12}".prop_map(|text| {
        let mut out = String::new();
        for sign in text.chars() {
            if sign.is_ascii_punctuation() && !"<>'\"".contains(sign) {
                out.push('\\');
            }
            out.push(sign);
        }
        out
    });
    let statuses = Status::WORDS.map(|(_, status)| status).to_vec();
    let kinds = Kind::WORDS.map(|(_, kind)| kind).to_vec();
    (
        (between.clone(), vec(between, 0..4)),
        select(vec![
            (b'.', None),
            (b'.', Some(b',')),
            (b',', Some(b'\'')),
            (b',', Some(b' ')),
        ]),
        option::of(0u32..=7),
        option::of(symbols(Unit::all().collect(), false)),
        option::of(symbols(statuses, true)),
        option::of(symbols(kinds, false)),
        (
            option::of(symbols(vec![Sign::Plus, Sign::Minus], true)),
            select(vec![
                (Digits::Plain, None),
                (Digits::LastFirst, None),
                (Digits::Hexadecimal, Some("0.01")),
                (Digits::HexadecimalSigned, Some("5")),
            ]),
            any::<bool>(),
        ),
        select(vec![Kind::Net, Kind::Gross]),
    )
        .prop_map(
            |(
                (between, skip),
                (decimal, thousands),
                decimals,
                units,
                statuses,
                kinds,
                (signs, (digits, factor), minus_unproven),
                takes,
            )| {
                let mut line = format!("(?<value>[0-9.]+){between}");
                for (group, is_there) in [
                    ("unit", units.is_some()),
                    ("status", statuses.is_some()),
                    ("kind", kinds.is_some()),
                    ("sign", signs.is_some()),
                ] {
                    if is_there {
                        line.extend(["(?<", group, ">.*)"]);
                    }
                }
                LayoutSpec {
                    line,
                    decimal,
                    thousands,
                    decimals,
                    digits,
                    factor: factor.map(|factor| factor.parse().unwrap()),
                    signs: signs.unwrap_or_default(),
                    minus_unproven,
                    skip,
                    units: units.unwrap_or_default(),
                    statuses: statuses.unwrap_or_default(),
                    kinds: kinds.unwrap_or_default(),
                    takes,
                }
            },
        )
}

fn files() -> impl Strategy<Value = BalanceFile> {
    (
        "[ -~\u{e9}\n]{0,40}",
        select(vec![2400u32, 9600, 115_200]),
        select(vec!["8N1", "7E1", "7O2"]),
        select(vec![Flow::None, Flow::Software, Flow::Hardware]),
        option::of(any::<bool>()),
        frames(),
        layouts(),
        option::of(asks()),
    )
        .prop_map(
            |(says, speed, framing, flow, dtr, frame, layout, ask)| BalanceFile {
                says,
                speed,
                framing: framing.parse::<Framing>().unwrap(),
                flow,
                dtr,
                frame,
                layout,
                ask,
            },
        )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_file_is_written_back_equal(file in files()) {
        let text = file.to_toml();
        match BalanceFile::parse("own", &text) {
            Ok(read) => prop_assert_eq!(read, file, "{}", text),
            Err(wrong) => prop_assert!(false, "{}\n{}", wrong, text),
        }
    }
}

#[test]
fn what_is_wrong_in_a_frame_or_in_asking_is_told() {
    let head = "says = 'x'\nport = { speed = 300, framing = '8N1' }\n";
    for (line, tables, words) in [
        (
            "ends = 'cr'",
            "",
            "Known are \"line\", \"etx\", and a pause",
        ),
        ("ends = 'gap 3 s'", "", "from 20 ms to 2 s"),
        ("ends = 'gap 40 ms'", "", "Write at least 74 ms."),
        ("starts = 'soh'", "", "Known are \"stx\"."),
        (
            "check = 'crc'",
            "",
            "Known are \"xor\", \"sum\", \"zero-sum\".",
        ),
        ("check = 'xor'", "", "has no check_at"),
        ("check_at = 'after-end'", "", "there is no check"),
        (
            "check = 'xor'\ncheck_at = 'after-end'\ncheck_as = 'hex'",
            "",
            "only where a line ends with ETX",
        ),
        (
            "ends = 'etx'\ncheck = 'sum'\ncheck_at = 'before-end'\ncheck_as = 'hex'\ncheck_covers = 'with-start'",
            "",
            "only where a line starts with STX",
        ),
        ("thousands = '.'", "", "That is the decimal mark already."),
        (
            "thousands = '_'",
            "",
            "Known are \".\", \",\", \"'\", \" \".",
        ),
        ("decimals = 8", "", "from 0 to 7"),
        ("skip = ['(']", "", "It cannot be read"),
        ("skip = [1]", "", "text in quotes belongs there"),
        ("takes = 'tare'", "", "Known are \"net\", \"gross\"."),
        ("", "[kind]\nN = 'net'", "It has no group kind"),
        ("", "[ask]\nsend = 'brilvo'", "has no every"),
        (
            "",
            "[ask]\nsend = ''\nevery = '1 s'\ntimeout = '1 s'",
            "It is empty.",
        ),
        (
            "",
            "[ask]\nsend = '\\q'\nevery = '1 s'\ntimeout = '1 s'",
            "must be followed by",
        ),
        (
            "",
            "[ask]\nsend = 'brilvo'\nevery = '1 ms'\ntimeout = '1 s'",
            "from 20 ms to 10 s",
        ),
        (
            "",
            "[ask]\nsend = 'brilvo'\nevery = '1 s'\ntimeout = '1 h'",
            "from 100 ms to 10 s",
        ),
    ] {
        let text =
            format!("{head}[line]\nform = '(?<value>.*)'\ndecimal = '.'\n{line}\n{tables}\n");
        let wrong = BalanceFile::parse("own.toml", &text).expect_err(&text);
        assert!(wrong.to_string().contains(words), "{words}: {wrong}");
    }
}
