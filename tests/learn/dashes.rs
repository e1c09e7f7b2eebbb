//! Dashes that are no minus sign: a status of dashes behind the unit, or beside the value.

use panbell::balance::Layout;
use panbell::mass::{Shown, Status};
use panbell::settings::BalanceFile;

use super::logs::{Written, learned, plain_log, rests};

#[test]
fn a_status_of_dashes_is_no_minus_sign() {
    let word: Written = |shown| {
        let rests = rests(shown);
        format!("{shown:>8} g {}\r\n", if rests { "STB" } else { "---" })
    };
    let glued: Written = |shown| {
        let rests = rests(shown);
        format!("W {shown:>8}g {}\r\n", if rests { "OK" } else { "--" })
    };
    let missing: Written = |shown| {
        let rests = rests(shown);
        format!("W {shown:>8}g{}\r\n", if rests { "" } else { " --" })
    };
    let single: Written = |shown| {
        let rests = rests(shown);
        format!("{shown:>8} g{}\r\n", if rests { "" } else { " -" })
    };
    for written in [word, glued, missing, single] {
        let log = plain_log(written);
        let (code, said, file) = learned("dashes.log", &log);
        let file = file.unwrap_or_else(|| panic!("{said}"));
        assert_eq!(code, 0, "{file}\n{said}");
        let spec = BalanceFile::parse("own", &file).unwrap().layout;
        let mut layout = Layout::compile(&spec).unwrap();
        let live = written("30.00");
        let live = live.trim_end();
        for line in log.lines().chain([live]) {
            let reading = layout.read(line.trim_end().as_bytes());
            let Ok(reading) = reading else {
                panic!("{line}: {reading:?}\n{file}\n{said}");
            };
            let Shown::Weighed(mass) = reading.shown else {
                panic!("{line}: {reading:?}\n{file}\n{said}");
            };
            let is_below = mass.digits().is_sign_negative() && !mass.digits().is_zero();
            let bare = line.trim_start_matches(['W', ' ']);
            assert_eq!(is_below, bare.starts_with('-'), "{line}\n{file}\n{said}");
            if line.trim_end().ends_with('-') {
                assert_eq!(reading.status, Status::InMotion, "{line}\n{file}\n{said}");
            }
        }
    }
}
