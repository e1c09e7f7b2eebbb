//! Units in letters beyond ASCII, as text and as bytes that are none.

use std::fs;

use panbell::balance::{Layout, Piece, Splitter};
use panbell::mass::Shown;
use panbell::settings::BalanceFile;

use super::logs::{json, plain_log};
use super::support::home::Home;

#[test]
fn a_unit_in_letters_beyond_ascii_is_learned_byte_by_byte() {
    for (name, symbol) in [
        ("two bytes", "\u{433}".as_bytes()),
        ("one byte", &b"\xE3"[..]),
        ("mixed", b"g\xB0"),
    ] {
        for counted in [true, false] {
            let log = plain_log(|shown| {
                if counted {
                    format!("{shown:>9} @\r\n")
                } else {
                    format!("{shown} @\r\n")
                }
            });
            let log: Vec<u8> = log
                .bytes()
                .flat_map(|byte| {
                    if byte == b'@' {
                        symbol.to_vec()
                    } else {
                        vec![byte]
                    }
                })
                .collect();
            let line = log.split(|byte| *byte == b'\r').next().unwrap();
            let home = Home::new();
            let path = home.path().join("foreign.log");
            fs::write(&path, &log).unwrap();
            let from = ["--from", path.to_str().unwrap()];
            let words = [&from[..], &["--weight", "20 g", "--save", "own"]].concat();
            let body = json(&home, &words, 0);
            let what = format!("{name} {counted}: {body:#}");
            assert_eq!(
                (&body["missed"], &body["unit_known"]),
                (&0.into(), &"proven".into()),
                "{what}"
            );
            let text = fs::read_to_string(home.path().join("balances/own.toml")).unwrap();
            let file = BalanceFile::parse("own", &text).unwrap();
            assert_eq!(file.to_toml(), text);
            // As the service hears it.
            let mut layout = Layout::compile(&file.layout).unwrap();
            let mut splitter = Splitter::at_line_start().framed(file.frame);
            let mut masses = Vec::new();
            splitter.push(&[line, b"\r\n"].concat(), |piece| {
                if let Piece::Line(line) = piece {
                    masses.push(layout.read(line).unwrap().indication().unwrap().to_string());
                }
            });
            assert_eq!(masses, ["0.00 g"], "{what}");
            // Another symbol is another unit; without a proof the letters have none.
            let other = [
                line.strip_suffix(symbol).unwrap(),
                &symbol.to_ascii_uppercase(),
                b"\xFF",
            ]
            .concat();
            let shown = layout.read(&other).map(|reading| reading.shown);
            assert!(!matches!(shown, Ok(Shown::Weighed(_))), "{what}: {shown:?}");
            let body = json(&home, &from, 3);
            let what = format!("{name} {counted}: {body:#}");
            assert_eq!(body["missed"], 0, "{what}");
            assert!(
                body["unsettled"]
                    .to_string()
                    .contains("Behind the value stands"),
                "{what}"
            );
            let file = BalanceFile::parse("own", body["file"].as_str().unwrap()).unwrap();
            let shown = Layout::compile(&file.layout)
                .unwrap()
                .read(line)
                .unwrap()
                .shown;
            assert!(matches!(shown, Shown::UnitUnknown(_)), "{what}: {shown:?}");
        }
    }
}
