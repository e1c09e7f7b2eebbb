//! Settings from the outside, with real files: what is found, what is read, and the full text of
//! every kind of error.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use panbell::balance::{Layout, LinkLimits, PanRules, SteadyRule};
use panbell::mass::{Division, Shown, Unit};
use panbell::port::{Flow, Framing, PortSettings, SHAPES, Showing};
use panbell::settings::{
    BalanceFile, Environment, Folders, Form, SHIPPED_BALANCES, SHORTEST, Settings, SettingsTrouble,
};
use proptest::prelude::*;

/// What every trouble with a setting means.
const MEANS: &str = "No bench starts with settings that are not clear, so nothing is weighed; what was recorded stays.";

const SAMPLE: &str = include_str!("../config/panbell.toml");
const SAMPLE_SHELF: &str = include_str!("../config/shelf.toml");

/// A home of its own for one test.
struct Home {
    dir: tempfile::TempDir,
    folders: Folders,
}

impl Home {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let folders = Folders::under(dir.path());
        fs::create_dir(&folders.balances).unwrap();
        Self { dir, folders }
    }

    fn with(settings: &str) -> Self {
        let home = Self::new();
        fs::write(&home.folders.settings, settings).unwrap();
        home
    }

    fn read(&self) -> Result<Settings, SettingsTrouble> {
        Settings::read(&self.folders)
    }

    fn own_balance(&self, name: &str, text: &str) {
        fs::write(self.folders.balances.join(format!("{name}.toml")), text).unwrap();
    }

    /// Every trouble as `code`, what happened, what it means, the mend; the folder written `HOME`.
    fn wrong(&self) -> Vec<[String; 4]> {
        let plain = |text: &str| text.replace(&*self.dir.path().to_string_lossy(), "HOME");
        self.read()
            .expect_err("settings that are wrong")
            .all()
            .inspect(|trouble| assert!(!trouble.passes))
            .map(|trouble| {
                [
                    plain(trouble.code),
                    plain(&trouble.happened),
                    plain(&trouble.means),
                    plain(&trouble.mend),
                ]
            })
            .collect()
    }
}

/// Asserts that exactly these are wrong: code, what happened, the mend.
fn check_wrong(home: &Home, expected: &[[&str; 3]]) {
    let wrong = home.wrong();
    for ([code, happened, means, mend], [want_code, want_happened, want_mend]) in
        wrong.iter().zip(expected)
    {
        assert_eq!(happened, want_happened);
        assert_eq!(mend, want_mend);
        assert_eq!(code, want_code);
        assert_eq!(means, MEANS);
    }
    assert_eq!(wrong.len(), expected.len(), "{wrong:#?}");
}

fn one_wrong(settings: &str, expected: [&str; 3]) {
    check_wrong(&Home::with(settings), &[expected]);
}

/// The shortest file with further lines.
fn and(further: &str) -> String {
    format!("{SHORTEST}{further}")
}

// --- Folders -----------------------------------------------------------------------------------

#[test]
fn folders_follow_the_environment_and_whole_paths_only() {
    let run = tempfile::tempdir().unwrap();
    let mut environment = Environment {
        home: Some("/home/anna".into()),
        config_home: Some("/etc/anna".into()),
        data_home: Some("/data".into()),
        state_home: Some("/state".into()),
        runtime_dir: Some("/run/anna".into()),
        run_user: run.path().to_owned(),
    };
    let folders = Folders::of_user(&environment).unwrap();
    assert_eq!(
        folders.settings,
        Path::new("/etc/anna/panbell/panbell.toml")
    );
    assert_eq!(folders.balances, Path::new("/etc/anna/panbell/balances"));
    assert_eq!(folders.shelf, Path::new("/etc/anna/panbell/shelf.toml"));
    assert_eq!(folders.book, Path::new("/data/panbell/book"));
    assert_eq!(folders.state, Path::new("/state/panbell"));
    assert_eq!(folders.runtime, Path::new("/run/anna/panbell"));
    assert_eq!(
        folders.socket(),
        Path::new("/run/anna/panbell/panbell.sock")
    );

    environment.config_home = Some(PathBuf::new());
    environment.data_home = Some("data".into());
    environment.state_home = None;
    environment.runtime_dir = None;
    let folders = Folders::of_user(&environment).unwrap();
    let config = Path::new("/home/anna/.config/panbell");
    assert_eq!(folders.settings, config.join("panbell.toml"));
    assert_eq!(
        folders.book,
        Path::new("/home/anna/.local/share/panbell/book")
    );
    assert_eq!(folders.state, Path::new("/home/anna/.local/state/panbell"));
    assert_eq!(folders.runtime, run.path().join("panbell"));
}

#[test]
fn a_folder_that_is_not_known_says_what_to_do() {
    let mut environment = Environment {
        home: Some("/home/anna".into()),
        run_user: "/nowhere/at/all".into(),
        ..Environment::default()
    };
    assert_eq!(
        Folders::of_user(&environment).unwrap_err().to_string(),
        "XDG_RUNTIME_DIR names no folder, and /nowhere/at/all is not there. It is not known where the settings, the book and the socket lie, so nothing is weighed. Run it in a login session of your own (not after su or sudo), set XDG_RUNTIME_DIR, or give a folder with --home DIR."
    );
    environment.home = None;
    environment.runtime_dir = Some("/run/anna".into());
    assert_eq!(
        Folders::of_user(&environment).unwrap_err().to_string(),
        "Neither XDG_CONFIG_HOME nor HOME names a folder. It is not known where the settings, the book and the socket lie, so nothing is weighed. Set HOME to your home folder, or give a folder with --home DIR."
    );
}

#[test]
fn one_folder_can_hold_everything() {
    let home = Path::new("/some/home");
    let folders = Folders::under(home);
    assert_eq!(folders.settings, home.join("panbell.toml"));
    assert_eq!(folders.balances, home.join("balances"));
    assert_eq!(folders.shelf, home.join("shelf.toml"));
    assert_eq!(folders.book, home.join("book"));
    assert_eq!(folders.state, home.join("state"));
    assert_eq!(folders.socket(), home.join("run/panbell.sock"));
}

#[test]
fn this_process_has_an_environment() {
    let environment = Environment::of_this_process();
    let home = std::env::var_os("HOME").map(PathBuf::from);
    assert_eq!(environment.home, home);
    assert!(environment.run_user.starts_with("/run/user"));
}

// --- What is read ------------------------------------------------------------------------------

/// The sample with the # taken away from its settings, not from its comments.
fn sample() -> String {
    let lines = SAMPLE.lines().map(|line| match line.strip_prefix('#') {
        Some(bare) if !bare.starts_with(' ') => bare,
        _ => line,
    });
    lines.flat_map(|line| [line, "\n"]).collect()
}

#[test]
fn the_sample_is_the_same_as_the_defaults() {
    let written = Home::with(&sample()).read().unwrap();
    let defaults = Home::with(SHORTEST).read().unwrap();
    assert_eq!(written.give_away, defaults.give_away);
    assert_eq!(written.minus_tolerance, defaults.minus_tolerance);
    assert_eq!(written.bell, defaults.bell);
    assert_eq!(written.page, defaults.page);
    let [written, defaults] = [&written.benches, &defaults.benches].map(|benches| {
        assert_eq!(benches.len(), 1);
        &benches[0]
    });
    assert_eq!(written.name, defaults.name);
    assert_eq!(written.port, defaults.port);
    assert_eq!(written.form, defaults.form);
    assert_eq!(written.rules.name, defaults.rules.name);
    assert_eq!(written.rules.pan, defaults.rules.pan);
    assert_eq!(written.rules.dwell, defaults.rules.dwell);
    assert_eq!(written.rules.link, defaults.rules.link);
}

#[test]
fn the_defaults_are_these() {
    let settings = Home::with(SHORTEST).read().unwrap();
    assert_eq!(settings.give_away.to_string(), "5 ppt");
    assert_eq!(settings.minus_tolerance.to_string(), "0 ppt");
    assert!(settings.bell.desktop && !settings.bell.speech);
    assert_eq!(settings.bell.sound, None);
    assert_eq!(settings.page.at, Some("127.0.0.1:7726".parse().unwrap()));
    assert_eq!(
        settings.page.beyond, None,
        "nothing listens beyond loopback"
    );
    assert!(settings.shelf.metals().is_empty());
    let bench = &settings.benches[0];
    assert_eq!(bench.name, "bench");
    assert_eq!(
        bench.port,
        PortSettings::new("/dev/serial/by-id/NAME", 9600, Framing::EIGHT_NONE_ONE)
    );
    let division: Division = "0.01 g".parse().unwrap();
    assert_eq!(
        bench.rules.pan,
        PanRules {
            division,
            steady: SteadyRule {
                span: division.mass(),
                time: Duration::from_secs(1),
            },
            tolerance: division.mass().times(3),
            least_load: division.mass().times(10),
        }
    );
    assert_eq!(bench.rules.dwell, Duration::from_secs(2));
    let silence = Duration::from_secs(3);
    assert_eq!(bench.rules.link, LinkLimits { silence });
}

#[test]
fn every_setting_changes_what_it_says() {
    let home = Home::with(
        r#"
        [window]
        give_away = "2.5 ‰"
        [mark]
        minus_tolerance = "3ppt"
        [bell]
        desktop = false
        sound = "on"
        volume = 7
        sound_file = "/path/to/x.wav"
        speech = true
        [page]
        at = "off"
        [[bench]]
        name = "left"
        port = "/dev/left"
        balance = "signed-fixed"
        division = "0.05 ct"
        steady = { span_divisions = 0, seconds = 0.125 }
        [[bench]]
        name = "right-2"
        port = "/dev/right"
        balance = "comma-fields"
        division = "0.01 dwt"
        [bench.pan]
        dwell_seconds = 4
        tolerance_divisions = 1
        least_load_divisions = 2
        [bench.link]
        silence_seconds = 0.5
        "#,
    );
    fs::write(&home.folders.shelf, SAMPLE_SHELF).unwrap();
    let settings = home.read().unwrap();
    let target = "18k".parse().unwrap();
    let demand = settings.demand(target);
    assert_eq!(demand.target, target);
    assert_eq!(demand.lowest, "747".parse().unwrap());
    assert_eq!(demand.highest, "752.5".parse().unwrap());
    let sound = settings.bell.sound.as_ref().unwrap();
    assert_eq!(sound.volume, 7);
    assert_eq!(sound.file.as_deref(), Some(Path::new("/path/to/x.wav")));
    assert!(!settings.bell.desktop && settings.bell.speech);
    assert_eq!(settings.page.at, None);
    let [left, right] = &settings.benches[..] else {
        panic!("two benches")
    };
    assert_eq!((&*left.name, &*right.name), ("left", "right-2"));
    assert_eq!(left.rules.pan.division.to_string(), "0.05 ct");
    assert!(!left.rules.pan.steady.span.is_positive());
    assert_eq!(left.rules.pan.steady.time, Duration::from_millis(125));
    assert_eq!(left.rules.dwell, Duration::from_secs(2), "its own default");
    assert_eq!(right.port.path, Path::new("/dev/right"));
    assert!(matches!(&right.form, Form::Lines { layout, .. } if layout.decimal == b','));
    let division = right.rules.pan.division;
    assert_eq!(right.rules.pan.tolerance, division.mass());
    assert_eq!(right.rules.pan.least_load, division.mass().times(2));
    assert_eq!(right.rules.dwell, Duration::from_secs(4));
    assert_eq!(right.rules.link.silence, Duration::from_millis(500));
    assert_eq!(right.rules.shelf.metals(), settings.shelf.metals());
    assert_eq!(settings.folders, home.folders);
}

#[test]
fn the_sample_shelf_is_read_with_its_finenesses() {
    let home = Home::with(SHORTEST);
    fs::write(&home.folders.shelf, SAMPLE_SHELF).unwrap();
    let shelf = home.read().unwrap().shelf;
    let metals: Vec<_> = shelf.metals().iter().map(|metal| &*metal.key).collect();
    assert_eq!(
        metals,
        [
            "fine-gold",
            "casting-grain",
            "old-bars",
            "fine-silver",
            "copper",
            "zinc",
            "tallow-yellow",
            "lamp-yellow",
            "brick-red",
            "quince-rose",
            "moss-green",
            "snow-white",
            "hail-white",
            "bench-22"
        ]
    );
    let gold = |key: &str| shelf.find(key).unwrap().gold.stated_text();
    assert_eq!(gold("fine-gold"), "999.9 ppt");
    assert_eq!(gold("tallow-yellow"), "0 ppt");
    assert_eq!(gold("bench-22"), "22 k");
    assert_eq!(shelf.find("brick-red").unwrap().name, "brick red");
}

#[test]
fn files_of_other_editors_are_read_the_same() {
    let windows = format!("\u{feff}{}", SHORTEST.replace('\n', "\r\n"));
    let settings = Home::with(&windows).read().unwrap();
    assert_eq!(settings.benches.len(), 1);
}

// --- Balance files -----------------------------------------------------------------------------

fn shipped(name: &str) -> BalanceFile {
    BalanceFile::find(name, &Home::new().folders).unwrap()
}

#[test]
fn a_line_that_lost_a_character_is_not_another_mass() {
    let mut layout = Layout::compile(&shipped("signed-fixed").layout).unwrap();
    for unit in [Unit::Gram, Unit::TroyOunce, Unit::Grain] {
        let showing = Showing {
            digits: "112.345".parse().unwrap(),
            unit,
            moving: false,
        };
        let whole = SHAPES[0].1(&showing);
        let whole = whole.strip_suffix(b"\r\n").unwrap();
        let mass = layout.read(whole).unwrap().indication().unwrap();
        for lost in 0..whole.len() {
            let mut line = whole.to_vec();
            line.remove(lost);
            if let Ok(reading) = layout.read(&line) {
                // Only a symbol of five letters can lose one and keep its four places.
                assert_ne!(reading.indication(), Some(mass));
                assert!(matches!(reading.shown, Shown::UnitUnknown(_)), "{lost}");
            }
        }
    }
    let mut layout = Layout::compile(&shipped("status-first").layout).unwrap();
    assert!(layout.read(b"error    12.34 g").is_err(), "no weighing");
}

#[test]
fn shipped_files_say_how_the_port_is_set_up() {
    for (name, _) in SHIPPED_BALANCES {
        let file = shipped(name);
        assert!(file.says.ends_with('.'), "{name}");
        assert_eq!((file.speed, file.flow, file.dtr), (9600, Flow::None, None));
        assert_eq!(file.framing, Framing::EIGHT_NONE_ONE);
        let units = if name == "value-only" {
            0
        } else {
            Unit::all().count()
        };
        assert_eq!(file.layout.units.len(), units, "{name}");
    }
}

const OWN: &str = r#"
says = "A value alone."
port = { speed = 2400, framing = "7E1", flow = "hardware", dtr = false }
[line]
form = '(?<value>[0-9.]+) ?(?<unit>\S*)'
decimal = "."
[units]
"gr" = "grain"
"#;

#[test]
fn a_balance_file_of_ones_own_is_found_by_name_and_by_path() {
    let home = Home::new();
    home.own_balance("own", OWN);
    let file = BalanceFile::find("own", &home.folders).unwrap();
    assert_eq!(
        file,
        BalanceFile::find("balances/own.toml", &home.folders).unwrap()
    );
    let whole = home.folders.balances.join("own.toml");
    assert_eq!(
        file,
        BalanceFile::find(whole.to_str().unwrap(), &home.folders).unwrap()
    );
    assert_eq!(
        file.port("/dev/x"),
        PortSettings {
            flow: Flow::Hardware,
            dtr: Some(false),
            ..PortSettings::new("/dev/x", 2400, "7E1".parse().unwrap())
        }
    );
    let reading = Layout::compile(&file.layout)
        .unwrap()
        .read(b"24.0 gr")
        .unwrap();
    assert_eq!(reading.indication().unwrap().to_string(), "24.0 grain");

    home.own_balance("signed-fixed", OWN);
    assert_eq!(
        file,
        BalanceFile::find("signed-fixed", &home.folders).unwrap()
    );
    home.own_balance("signed-fixed", "says = \"broken\"");
    fs::write(&home.folders.settings, SHORTEST).unwrap();
    let wrong = home.wrong();
    assert_eq!(
        wrong[0][1], "HOME/balances/signed-fixed.toml has no port.",
        "never passed over for the shipped one"
    );
}

#[test]
fn what_is_wrong_in_a_balance_file_is_told_with_its_lines_and_once() {
    let home = Home::with(
        "[[bench]]\nname = 'a'\nport = '/dev/a'\nbalance = 'own'\ndivision = '0.01 g'\n\
         [[bench]]\nname = 'b'\nport = '/dev/b'\nbalance = 'own'\ndivision = '0.01 g'\n",
    );
    home.own_balance(
        "own",
        r#"says = "x"
[port]
speed = 960
framing = "8N3"
flow = "xon"
[line]
form = '(?<value>[0-9.]+'
decimal = ","
[units]
"g" = "gr"
" ct" = "ct"
"ct " = "ct"
"" = "g"
[status]
"E" = "falt"
"M" = 1
"#,
    );
    let all = "in motion, stable, stable at zero, under zero, over limit, requires calibration, requires re-zeroing, fault";
    check_wrong(
        &home,
        &[
            [
                "settings-value",
                "Line 3 of HOME/balances/own.toml reads speed = 960. No balance speaks at that speed.",
                "Known are 300, 600, 1200, 2400, 4800, 9600, 14400, 19200, 38400, 57600, 115200, 230400; the balance's manual or menu says which.",
            ],
            [
                "settings-value",
                "Line 4 of HOME/balances/own.toml reads framing = \"8N3\". \"8N3\" is not a framing that is known.",
                "Write data bits 7 or 8, parity N, E or O, and stop bits 1 or 2, as in 8N1 or 7E1; the balance's manual or menu says which.",
            ],
            [
                "settings-value",
                "Line 5 of HOME/balances/own.toml reads flow = \"xon\". That is not known here.",
                "Known are \"none\", \"software\", \"hardware\".",
            ],
            [
                "settings-value",
                "Line 7 of HOME/balances/own.toml reads form = '(?<value>[0-9.]+'. It cannot be read: unclosed group.",
                "Mend the form; a group is written (?<value>...), and known groups are value, fine, sign, close, unit, status, kind.",
            ],
            [
                "settings-value",
                "Line 10 of HOME/balances/own.toml: \"gr\" is not a unit that can be taken without doubt.",
                "Use another symbol: \"gr\" could be grams or grains; write g or grain.",
            ],
            [
                "settings-value",
                "Line 12 of HOME/balances/own.toml: the symbol of a unit \"ct\" stands here twice.",
                "Keep one of the two.",
            ],
            [
                "settings-value",
                "Line 13 of HOME/balances/own.toml: the symbol of a unit is empty.",
                "Write it as it stands in the line.",
            ],
            [
                "settings-value",
                "Line 15 of HOME/balances/own.toml: \"falt\" is not a status of a balance.",
                &format!("The nearest known one is \"fault\". Known are {all}."),
            ],
            [
                "settings-wrong-kind",
                "Line 16 of HOME/balances/own.toml gives the symbol of a status \"M\" no text.",
                "Write both sides in quotes.",
            ],
        ],
    );
}

const SIGNED: &str = r#"
says = "A sign in words, about the digits, behind the unit; digits from behind; counts."
port = { speed = 9600, framing = "8N1" }
[line]
form = 'FORM'
decimal = "."
"#;

#[test]
fn a_balance_file_says_how_a_sign_and_the_digits_are_written() {
    let read = |form: &str, more: &str, line: &[u8]| {
        let text = SIGNED.replace("FORM", form) + more;
        let file = BalanceFile::parse("own", &text).unwrap();
        assert_eq!(
            BalanceFile::parse("own", &file.to_toml()).unwrap(),
            file,
            "{text}"
        );
        let reading = Layout::compile(&file.layout).unwrap().read(line);
        reading.map(|reading| match reading.shown {
            Shown::UnitUnstated(digits) => digits.to_string(),
            Shown::SignUnproven(digits) => format!("{digits}?"),
            other => format!("{other:?}"),
        })
    };
    let words = "[sign]\nP = 'plus'\nN = 'minus'\n'\\xE2\\x88\\x92' = 'minus'\n";
    let letters = "(?<sign>[A-Z]| |\\xE2\\x88\\x92) *(?<value>[0-9.]+)";
    let about = "(?<sign>[(]?)(?<value>[0-9.]+)(?<close>[)]?)";
    let brackets = "[sign]\n'' = 'plus'\n'()' = 'minus'\n";
    let behind = "(?<value>[0-9.]+) ?(?<sign>[+-]?)";
    let back = "=(?<value>[0-9.+-]+)";
    let count = "(?<value>[+-]?[0-9A-F]{4})";
    for (form, more, line, want) in [
        (letters, words, &b"P 12.34"[..], "12.34"),
        (letters, words, b"N 12.34", "-12.34"),
        (letters, words, b"\xE2\x88\x92 12.34", "-12.34"),
        (letters, words, b"X 12.34", "12.34?"),
        (letters, words, b"  12.34", "12.34?"),
        (about, brackets, b"12.34", "12.34"),
        (about, brackets, b"(12.34)", "-12.34"),
        // Half a bracket is no sign that is known.
        (about, brackets, b"(12.34", "12.34?"),
        (about, brackets, b"12.34)", "12.34?"),
        (behind, "", b"12.34-", "-12.34"),
        (behind, "", b"12.34 +", "12.34"),
        (back, "digits = 'last first'\n", b"=43.21", "12.34"),
        (back, "digits = 'last first'\n", b"=43.21-", "-12.34"),
        (back, "digits = 'last first'\n", b"=-43.21", "-12.34"),
        (
            count,
            "digits = 'hexadecimal'\nfactor = '0.01'\n",
            b"04D2",
            "12.34",
        ),
        (
            count,
            "digits = 'hexadecimal'\nfactor = '0.01'\n",
            b"0000",
            "0.00",
        ),
        (
            count,
            "digits = 'hexadecimal'\nfactor = '0.01'\n",
            b"FB2E",
            "643.02",
        ),
        (
            count,
            "digits = 'hexadecimal'\nfactor = '0.01'\n",
            b"-04D2",
            "-12.34",
        ),
        (
            count,
            "digits = \"hexadecimal, two's complement\"\nfactor = '0.005'\n",
            b"FB2E",
            "-6.170",
        ),
        (behind, "minus = 'not proven'\n", b"12.34", "12.34?"),
        (behind, "minus = 'proven'\n", b"12.34", "12.34"),
    ] {
        let what = line.escape_ascii();
        assert_eq!(
            read(form, more, line).as_deref(),
            Ok(want),
            "{form} {more} {what}"
        );
    }
    for (form, more, why) in [
        (behind, "digits = 'hexadecimal'\n", "belong together"),
        (behind, "factor = '0.01'\n", "belong together"),
        (
            count,
            "digits = 'hexadecimal'\nfactor = '0'\n",
            "what a count can be worth",
        ),
        (count, "digits = 'octal'\n", "not known here"),
        (behind, "minus = 'maybe'\n", "not known here"),
        ("(?<value>[0-9.]+)", words, "has no group sign"),
        (about, "", "no [sign] with a group sign"),
        (letters, "[sign]\nP = 'up'\n", "is not a sign"),
    ] {
        let wrong = BalanceFile::parse("own", &(SIGNED.replace("FORM", form) + more));
        assert!(
            wrong.unwrap_err().to_string().contains(why),
            "{form} {more} {why}"
        );
    }
}

#[test]
fn a_form_and_its_tables_must_fit() {
    let home = Home::with(&SHORTEST.replace("signed-fixed", "own"));
    let head = "says = 'x'\nport = { speed = 9600, framing = '8N1' }\n";
    for (form, tables, happened, mend) in [
        (
            "(?<value>.*) (?<unit>.*)",
            "",
            "It has a group unit, and there is no [units] that says what is found there.",
            "Add [units] with every symbol that the balance sends.",
        ),
        (
            "(?<value>.*)",
            "[status]\nM = 'in motion'\n",
            "It has no group status, so [status] would never be looked at.",
            "Name the part of the line as (?<status>...), or take [status] out.",
        ),
        (
            "(?<mass>.*)",
            "",
            "The line layout cannot be used: its line pattern names a group \"mass\"; known are value, fine, sign, close, unit, status, kind.",
            "Mend the form; a group is written (?<value>...), and known groups are value, fine, sign, close, unit, status, kind.",
        ),
    ] {
        let line = format!("[line]\nform = '{form}'\ndecimal = '.'\n");
        home.own_balance("own", &format!("{head}{line}{tables}"));
        let place = format!("Line 4 of HOME/balances/own.toml reads form = '{form}'.");
        check_wrong(
            &home,
            &[["settings-value", &format!("{place} {happened}"), mend]],
        );
    }
}

#[test]
fn a_balance_that_is_not_known_lists_the_known_ones_and_the_nearest() {
    let home = Home::with(&SHORTEST.replace("signed-fixed", "statusfirst"));
    home.own_balance("corner", OWN);
    check_wrong(
        &home,
        &[[
            "settings-value",
            "Line 3 of HOME/panbell.toml reads balance = \"statusfirst\". There is no balance file \"statusfirst\", neither shipped nor in HOME/balances.",
            "The nearest known one is \"status-first\". Known are signed-fixed, status-first, comma-fields, value-only, unit-at-rest, zero-filled, stx-check, last-in-brackets, net-gross-tare, headed-block, grouped-digits, pause-ended, asked, usb-scale, corner.",
        ]],
    );
    let home = Home::with(&SHORTEST.replace("signed-fixed", "balances/gone.toml"));
    check_wrong(
        &home,
        &[[
            "settings-value",
            "Line 3 of HOME/panbell.toml reads balance = \"balances/gone.toml\". There is no balance file HOME/balances/gone.toml.",
            "Correct the path, or name a shipped balance file without a slash.",
        ]],
    );
}

// --- Errors, each in full ----------------------------------------------------------------------

#[test]
fn a_missing_file_prints_the_shortest_that_works() {
    let lines = "[[bench]]\nport = \"/dev/serial/by-id/NAME\"\nbalance = \"signed-fixed\"\ndivision = \"0.01 g\"\n";
    assert_eq!(SHORTEST, lines);
    assert_eq!(
        Home::new().wrong(),
        [[
            "settings-missing",
            "There is no settings file HOME/panbell.toml.",
            "It is not known where the balance is, so no bench starts and nothing is weighed.",
            &format!(
                "Make it with these lines, and your balance's port in place of NAME:\n\n{lines}"
            ),
        ]]
    );
    for none in ["", "[bell]\ndesktop = true\n", "bench = []\n"] {
        assert_eq!(
            Home::with(none).wrong(),
            [[
                "settings-no-bench",
                "HOME/panbell.toml names no bench.",
                "There is no balance to read, so nothing is weighed.",
                &format!("Add these lines, and your balance's port in place of NAME:\n\n{lines}"),
            ]]
        );
    }
}

#[test]
fn a_slip_in_the_syntax_is_told_with_line_and_column() {
    let mend = "Look there for a quote, bracket or equals sign that is missing or too much; text, masses and finenesses stand in quotes, as in division = \"0.01 g\".";
    for (text, happened) in [
        (
            "[[bench]]\ndivision = 0.01 g\n",
            "Line 2 of HOME/panbell.toml cannot be read at column 12, in division = 0.01 g: string values must be quoted, expected literal string.",
        ),
        (
            "[bell]\ndesktop = true\ndesktop = true\n",
            "Line 3 of HOME/panbell.toml cannot be read at column 1, in desktop = true: duplicate key.",
        ),
        (
            "[[bench]\n",
            "Line 1 of HOME/panbell.toml cannot be read at column 9, in [[bench]: unclosed array table, expected `]`.",
        ),
    ] {
        one_wrong(text, ["settings-syntax", happened, mend]);
    }
}

#[test]
fn an_unknown_key_is_told_with_the_nearest_known_one() {
    check_wrong(
        &Home::with(
            "[windw]\n[window]\ngive_awy = '5 ppt'\n[[bench]]\nport = '/dev/x'\nbalance = 'signed-fixed'\ndivison = '0.01 g'\nzzz = 1\n",
        ),
        &[
            [
                "settings-unknown-key",
                "Line 1 of HOME/panbell.toml has \"windw\", which is not known in the settings.",
                "The nearest known one is \"window\". Known in the settings are window, mark, bell, page, bench.",
            ],
            [
                "settings-unknown-key",
                "Line 3 of HOME/panbell.toml has \"give_awy\", which is not known in [window].",
                "The nearest known one is \"give_away\". Known in [window] are give_away, give_away_cost, risk.",
            ],
            [
                "settings-unknown-key",
                "Line 7 of HOME/panbell.toml has \"divison\", which is not known in [[bench]].",
                "The nearest known one is \"division\". Known in [[bench]] are name, port, balance, tael, division, repeatability, class, calibration_u, check_weight, steady, pan, link.",
            ],
            [
                "settings-unknown-key",
                "Line 8 of HOME/panbell.toml has \"zzz\", which is not known in [[bench]].",
                "Known in [[bench]] are name, port, balance, tael, division, repeatability, class, calibration_u, check_weight, steady, pan, link.",
            ],
        ],
    );
}

#[test]
fn a_key_that_must_be_there_is_missed() {
    one_wrong(
        "\n[[bench]]\nport = '/dev/x'\nbalance = 'signed-fixed'\n",
        [
            "settings-key-missing",
            "[[bench]] at line 2 of HOME/panbell.toml has no division.",
            "Add it, as in division = \"0.01 g\".",
        ],
    );
    one_wrong(
        &format!(
            "{SHORTEST}[[bench]]\nname = 'b'\nport = '/dev/b'\nbalance = 'signed-fixed'\ndivision = '0.01 g'\n"
        ),
        [
            "settings-key-missing",
            "[[bench]] at line 1 of HOME/panbell.toml has no name.",
            "Add it, as in name = \"left\".",
        ],
    );
}

#[test]
fn a_value_of_a_wrong_kind_is_told_with_how_it_is_written() {
    for (text, happened, mend) in [
        (
            SHORTEST.replace("\"0.01 g\"", "0.01"),
            "Line 4 of HOME/panbell.toml reads division = 0.01. That is a number; text in quotes belongs there.",
            "Write it as in division = \"0.01 g\".",
        ),
        (
            and("[window]\ngive_away = 5\n"),
            "Line 6 of HOME/panbell.toml reads give_away = 5. That is a number; text in quotes belongs there.",
            "Write it as in give_away = \"5 ppt\".",
        ),
        (
            and("[bell]\ndesktop = \"yes\"\n"),
            "Line 6 of HOME/panbell.toml reads desktop = \"yes\". That is a text in quotes; true or false belongs there, without quotes.",
            "Write it as in desktop = true.",
        ),
        (
            and("[bench.steady]\nseconds = \"1.0\"\n"),
            "Line 6 of HOME/panbell.toml reads seconds = \"1.0\". That is a text in quotes; a number in plain digits belongs there, without quotes.",
            "Write it as in seconds = 1.0.",
        ),
        (
            and("[bench.steady]\nseconds = inf\n"),
            "Line 6 of HOME/panbell.toml reads seconds = inf. That is a number; a number in plain digits belongs there, without quotes.",
            "Write it as in seconds = 1.0.",
        ),
        (
            and("pan = 3\n"),
            "Line 5 of HOME/panbell.toml reads pan = 3. That is a number; a table belongs there.",
            "Write it as in pan = { dwell_seconds = 2.0 }.",
        ),
        (
            "[bench]\nport = '/dev/x'\n".to_owned(),
            "Line 1 of HOME/panbell.toml reads bench = { ... }. That is a table; a list of tables belongs there.",
            "Write it as in bench = [{ port = \"/dev/serial/by-id/NAME\", balance = \"signed-fixed\", division = \"0.01 g\" }].",
        ),
    ] {
        one_wrong(&text, ["settings-wrong-kind", happened, mend]);
    }
}

#[test]
fn a_number_out_of_bounds_is_told_with_its_bounds_and_default() {
    let mend = |usual: &str| {
        format!("Write a number inside these bounds, or take the line out; the default is {usual}.")
    };
    for (line, bounds, usual) in [
        (
            "[window]\ngive_away = \"0 ppt\"",
            "from 0.1 to 100 ppt, with at most 4 decimals",
            "5",
        ),
        (
            "[window]\ngive_away = \"1.00001 ppt\"",
            "from 0.1 to 100 ppt, with at most 4 decimals",
            "5",
        ),
        (
            "[mark]\nminus_tolerance = \"-1 ppt\"",
            "from 0 to 20 ppt, with at most 4 decimals",
            "0",
        ),
        (
            "[bench.steady]\nspan_divisions = 1.5",
            "from 0 to 20 divisions, without decimals",
            "1",
        ),
        (
            "[bench.steady]\nseconds = 0",
            "from 0.1 to 30 seconds, with at most 3 decimals",
            "1",
        ),
        (
            "[bench.steady]\nseconds = 0.1001",
            "from 0.1 to 30 seconds, with at most 3 decimals",
            "1",
        ),
        (
            "[bench.pan]\ndwell_seconds = 61",
            "from 0.5 to 60 seconds, with at most 3 decimals",
            "2",
        ),
        (
            "[bench.pan]\ntolerance_divisions = 0",
            "from 1 to 100 divisions, without decimals",
            "3",
        ),
        (
            "[bench.pan]\nleast_load_divisions = 10_001",
            "from 2 to 10000 divisions, without decimals",
            "10",
        ),
        (
            "[bench.link]\nsilence_seconds = -3.0",
            "from 0.5 to 60 seconds, with at most 3 decimals",
            "3",
        ),
    ] {
        let (_, setting) = line.split_once('\n').unwrap();
        one_wrong(
            &and(line),
            [
                "settings-out-of-bounds",
                &format!("Line 6 of HOME/panbell.toml reads {setting}. It must be {bounds}."),
                &mend(usual),
            ],
        );
    }
    // The bounds themselves are inside.
    for line in [
        "[window]\ngive_away = \"0.1 ppt\"",
        "[window]\ngive_away = \"100 ppt\"",
        "[mark]\nminus_tolerance = \"20 ppt\"",
        "[bench.steady]\nspan_divisions = 20\nseconds = 0.1",
        "[bench.pan]\nleast_load_divisions = 10_000\ntolerance_divisions = 100",
        "[bench.link]\nsilence_seconds = 60.000",
    ] {
        Home::with(&and(line)).read().expect(line);
    }
}

#[test]
fn a_value_that_cannot_be_used_says_why() {
    for (text, happened, mend) in [
        (
            SHORTEST.replace("0.01 g", "0.01"),
            "Line 4 of HOME/panbell.toml reads division = \"0.01\". \"0.01\" is not a mass: it has no unit.",
            "Write the unit with it, as in 12.46 g.",
        ),
        (
            SHORTEST.replace("0.01 g", "0.01 gr"),
            "Line 4 of HOME/panbell.toml reads division = \"0.01 gr\". \"gr\" is not a unit that can be taken without doubt.",
            "Use another symbol: \"gr\" could be grams or grains; write g or grain.",
        ),
        (
            SHORTEST.replace("0.01 g", "0.00 g"),
            "Line 4 of HOME/panbell.toml reads division = \"0.00 g\". A division of 0.00 g is no division.",
            "Give the step of the balance's last digit, as in 0.01 g.",
        ),
        (
            SHORTEST.replace("0.01 g", "1 kg"),
            "Line 4 of HOME/panbell.toml reads division = \"1 kg\". No balance for this work has so large a division.",
            "Write the step of the balance's last digit, at most 10 g, with its unit.",
        ),
        (
            SHORTEST.replace("/dev/serial", "serial"),
            "Line 2 of HOME/panbell.toml reads port = \"serial/by-id/NAME\". That is not the whole path of a port.",
            "Write it from the first slash, best one of the names under /dev/serial/by-id, which stay the same.",
        ),
        (
            and("name = \"my bench\"\n"),
            "Line 5 of HOME/panbell.toml reads name = \"my bench\". That is no short name.",
            "Use letters from A to Z, digits and -, at most 32 of them, and begin with a letter or digit.",
        ),
        (
            and("[window]\ngive_away = \"5 %\"\n"),
            "Line 6 of HOME/panbell.toml reads give_away = \"5 %\". That is not a share of gold: it does not end with ppt, parts per thousand.",
            "Write it as in give_away = \"5 ppt\".",
        ),
        (
            and("[mark]\nminus_tolerance = \"1,5,0 ppt\"\n"),
            "Line 6 of HOME/panbell.toml reads minus_tolerance = \"1,5,0 ppt\". That is not a share of gold: its number is not plain digits with at most one point or decimal comma.",
            "Write it as in minus_tolerance = \"0 ppt\".",
        ),
        (
            and("calibration_u = \"0 g\"\n"),
            "Line 5 of HOME/panbell.toml reads calibration_u = \"0 g\". No calibration is without any uncertainty.",
            "Write the standard uncertainty that its certificate states for the loads weighed (half of what it states with k = 2), with its unit, or leave it out.",
        ),
        (
            and("[bench.pan]\ntolerance_divisions = 10\n"),
            "Line 6 of HOME/panbell.toml reads tolerance_divisions = 10. With a tolerance of 10 divisions and a least load of 10, an empty pan could count as a load.",
            "Keep least_load_divisions above tolerance_divisions; change tolerance_divisions or least_load_divisions.",
        ),
    ] {
        one_wrong(&text, ["settings-value", happened, mend]);
    }
}

/// The balance's own error is kept apart from each weighing's: class II, e 0.01 g, may be off by 0.01 g
/// in service, evenly.
#[test]
fn what_is_known_of_a_balance_makes_the_doubt_of_its_weighings() {
    let doubt = |further: &str| {
        let home = Home::with(&and(further));
        let settings = home.read().unwrap();
        let doubt = settings.benches[0].rules.u_mass();
        [doubt.to_decimal(), doubt.common_to_decimal()]
            .map(|grams| grams.round_dp(5).normalize().to_string())
    };
    assert_eq!(doubt(""), ["0.00408", "0"]);
    assert_eq!(doubt("repeatability = \"0.005 g\"\n"), ["0.00645", "0"]);
    assert_eq!(doubt("class = \"II\"\n"), ["0.00408", "0.00577"]);
    assert_eq!(doubt("calibration_u = \"4 mg\"\n"), ["0.00408", "0.004"]);
    let both = "class = \"II\"\ncalibration_u = \"0.004 g\"\n";
    assert_eq!(doubt(both), ["0.00408", "0.00702"]);
}

#[test]
fn two_benches_share_neither_name_nor_port() {
    let bench = |name: &str, port: &str| {
        format!(
            "[[bench]]\nname = '{name}'\nport = '{port}'\nbalance = 'signed-fixed'\ndivision = '0.01 g'\n"
        )
    };
    one_wrong(
        &(bench("left", "/dev/a") + &bench("LEFT", "/dev/b")),
        [
            "settings-value",
            "Line 7 of HOME/panbell.toml reads name = 'LEFT'. A bench further up has that name already.",
            "Give each bench a name of its own.",
        ],
    );
    one_wrong(
        &(bench("left", "/dev/a") + &bench("right", "/dev/a")),
        [
            "settings-value",
            "Line 8 of HOME/panbell.toml reads port = '/dev/a'. A bench further up reads that port already.",
            "Give each bench a port of its own.",
        ],
    );
}

#[test]
fn what_is_wrong_on_the_shelf_is_told_with_its_lines() {
    let home = Home::with(SHORTEST);
    fs::write(
        &home.folders.shelf,
        "[[metal]]\nkey = 'a b'\ngold = '18'\n\
         [[metal]]\nkey = 'red'\ngold = 585\n\
         [[metal]]\nkey = 'white'\ngold = '0 ppt'\nsilver = '500 ppt'\n\
         [[metal]]\nkey = 'White'\ngold = '0 ppt'\nname = ' '\n\
         [[metal]]\nkey = '18k'\ngold = '18k'\n[[metal]]\n",
    )
    .unwrap();
    check_wrong(
        &home,
        &[
            [
                "settings-value",
                "Line 2 of HOME/shelf.toml reads key = 'a b'. That is no short name.",
                "Use letters from A to Z, digits and -, at most 32 of them, and begin with a letter or digit.",
            ],
            [
                "settings-value",
                "Line 3 of HOME/shelf.toml reads gold = '18'. \"18\" is not a fineness: a bare number is per mille, and so few would be hardly any gold.",
                "Write per mille as 585, karat as 14k, and so little gold, if it is meant, as 58.5 ppt.",
            ],
            [
                "settings-wrong-kind",
                "Line 6 of HOME/shelf.toml reads gold = 585. That is a number; text in quotes belongs there.",
                "Write it as in gold = \"999.9 ppt\".",
            ],
            [
                "settings-unknown-key",
                "Line 10 of HOME/shelf.toml has \"silver\", which is not known in [[metal]].",
                "Known in [[metal]] are key, name, gold, made_of, karats, uses, stock, price_per_gram.",
            ],
            [
                "settings-value",
                "Line 12 of HOME/shelf.toml reads key = 'White'. A metal further up has that key already, so an order could mean either.",
                "Give each metal a key of its own.",
            ],
            [
                "settings-value",
                "Line 14 of HOME/shelf.toml reads name = ' '. That cannot be a name for people.",
                "Write 1 to 60 characters on one line.",
            ],
            [
                "settings-value",
                "Line 16 of HOME/shelf.toml reads key = '18k'. An order that begins with a digit names a fineness.",
                "Begin the key with a letter.",
            ],
            [
                "settings-key-missing",
                "[[metal]] at line 18 of HOME/shelf.toml has no key.",
                "Add it, as in key = \"fine-gold\".",
            ],
            [
                "settings-key-missing",
                "[[metal]] at line 18 of HOME/shelf.toml has no gold.",
                "Add it, as in gold = \"999.9 ppt\".",
            ],
        ],
    );
}

#[test]
fn all_of_it_can_be_told_as_one() {
    let home = Home::with(&and("[bell]\ndesktop = 1\nsound = 1\npage = 1\n"));
    let wrong = home.read().unwrap_err();
    assert_eq!(wrong.all().count(), 3);
    assert_eq!(wrong.to_string().matches("\n\n").count(), 2);
    let first = wrong.first().clone();
    let one: panbell::trouble::Trouble = wrong.into();
    assert_eq!(one.happened, first.happened);
    assert_eq!(one.mend, format!("{} 2 more things are wrong.", first.mend));
}

#[test]
fn a_page_that_others_could_reach_is_refused() {
    let page = |text: &str| {
        let home = Home::with(&and(&format!("[page]\n{text}\n")));
        home.read().map(|settings| settings.page)
    };
    for (at, port) in [
        ("127.0.0.1:0", 0),
        ("127.9.9.9:80", 80),
        ("[::1]:7000", 7000),
    ] {
        let read = page(&format!("at = \"{at}\"")).unwrap();
        assert_eq!(read.at.unwrap().port(), port);
    }
    for at in [
        "0.0.0.0:7726",
        "192.168.1.4:7726",
        "[::]:7726",
        "[fe80::1]:7726",
        "[::ffff:127.0.0.1]:7726",
    ] {
        one_wrong(
            &and(&format!("[page]\nat = \"{at}\"\n")),
            [
                "settings-value",
                &format!(
                    "Line 6 of HOME/panbell.toml reads at = \"{at}\". Others on the network could reach the bench there, and listen in."
                ),
                "Write an address of this computer alone, such as at = \"127.0.0.1:7726\"; for other devices, write beyond_loopback = true and their address as beyond_at.",
            ],
        );
    }
    for at in [
        "",
        "on",
        "7726",
        "localhost:7726",
        "127.0.0.1",
        "127.0.0.1:99999",
    ] {
        one_wrong(
            &and(&format!("[page]\nat = \"{at}\"\n")),
            [
                "settings-value",
                &format!(
                    "Line 6 of HOME/panbell.toml reads at = \"{at}\". That is no address with a port."
                ),
                "Write at = \"127.0.0.1:7726\", or at = \"off\" for no page.",
            ],
        );
    }
}

#[test]
fn nothing_listens_beyond_loopback_unless_it_is_said_in_as_many_words() {
    let page = |text: &str| {
        let home = Home::with(&and(&format!("[page]\n{text}\n")));
        home.read().map(|settings| settings.page.beyond)
    };
    for text in [
        "beyond_at = \"0.0.0.0:7727\"\nnames = [\"bench.local\"]",
        "beyond_loopback = false\nbeyond_at = \"192.168.1.4:7727\"\nnames = [\"bench.local\"]",
    ] {
        assert_eq!(page(text).unwrap(), None, "{text}");
    }
    let named =
        "beyond_loopback = true\nnames = [\"Bench.LOCAL\", \"192.168.1.4\", \"bench.local\"]";
    let beyond = page(named).unwrap().unwrap();
    // Every network of IPv4 and of IPv6 alike: a device may know the bench by either.
    assert_eq!(beyond.at, "[::]:7727".parse().unwrap());
    assert_eq!(beyond.names, ["bench.local", "192.168.1.4"]);
    let own = page("beyond_loopback = true\nbeyond_at = \"[fd00::2]:80\"").unwrap();
    assert_eq!(own.unwrap().names, ["fd00::2"]);
    let wrong = |text: &str, words: &str| {
        let wrong = page(text).unwrap_err();
        let one = wrong.first();
        assert_eq!(wrong.all().count(), 1, "{text}: {wrong}");
        assert!(one.happened.contains(words), "{text}: {wrong}");
    };
    wrong("beyond_loopback = true", "No name is listed");
    wrong(
        "beyond_at = \"bench.local:7727\"",
        "That is no address with a port",
    );
    for name in [
        "",
        "bench.local:7727",
        "https://bench.local",
        "bench local",
        "*.local",
        "-a",
        "a..b",
        "192.168.1",
        "0.0.0.0",
        "::",
        "[fd00::2]",
        "b\u{e4}nk",
    ] {
        let text = format!("beyond_loopback = true\nnames = [\"{name}\"]");
        wrong(&text, "is no host name and no address");
    }
    let many: Vec<String> = (0..17).map(|n| format!("\"b{n}\"")).collect();
    wrong(
        &format!("beyond_loopback = true\nnames = [{}]", many.join(", ")),
        "more than 16 names",
    );
}

// --- Files that cannot be read -----------------------------------------------------------------

#[test]
fn a_file_that_cannot_be_read_is_never_taken_for_none() {
    let mend = "See that it is an ordinary text file and that you may read it; nothing is put in its place.";
    let check = |home: &Home, happened: &str| {
        check_wrong(home, &[["settings-unreadable", happened, mend]]);
    };

    let home = Home::new();
    fs::create_dir(&home.folders.settings).unwrap();
    check(
        &home,
        "The file HOME/panbell.toml could not be read: it is not an ordinary file.",
    );

    let home = Home::with(SHORTEST);
    std::os::unix::fs::symlink("gone", &home.folders.shelf).unwrap();
    check(
        &home,
        "The file HOME/shelf.toml could not be read: No such file or directory (os error 2).",
    );

    let home = Home::with(SHORTEST);
    fs::write(&home.folders.shelf, b"# fine\n# gr\xfcn\n").unwrap();
    check(
        &home,
        "The file HOME/shelf.toml could not be read: line 2 is not text in UTF-8.",
    );

    let home = Home::with(SHORTEST);
    fs::write(&home.folders.shelf, "#".repeat(1 << 21)).unwrap();
    check(
        &home,
        "The file HOME/shelf.toml could not be read: it is larger than 1 MiB, which no such file is.",
    );

    let home = Home::with(SHORTEST);
    fs::create_dir(home.folders.balances.join("signed-fixed.toml")).unwrap();
    check(
        &home,
        "The file HOME/balances/signed-fixed.toml could not be read: it is not an ordinary file.",
    );
}

#[test]
fn a_pipe_in_place_of_a_file_is_not_waited_for() {
    let home = Home::with(SHORTEST);
    rustix::fs::mknodat(
        rustix::fs::CWD,
        &home.folders.shelf,
        rustix::fs::FileType::Fifo,
        rustix::fs::Mode::RUSR | rustix::fs::Mode::WUSR,
        0,
    )
    .unwrap();
    let folders = home.folders.clone();
    let (done, wait) = mpsc::channel();
    std::thread::spawn(move || done.send(Settings::read(&folders).map(drop)));
    let wrong = wait
        .recv_timeout(Duration::from_secs(20))
        .expect("no waiting for a writer")
        .unwrap_err();
    assert_eq!(wrong.first().code, "settings-unreadable");
}

#[test]
fn brackets_without_end_are_refused_and_not_followed() {
    for deep in [
        "a = ".to_owned() + &"[".repeat(500_000),
        "a = ".to_owned() + &"{b=".repeat(200_000),
    ] {
        let wrong = Home::with(&deep).wrong();
        assert_eq!(wrong[0][0], "settings-syntax");
        assert!(wrong[0][1].len() < 300, "{}", wrong[0][1]);
    }
}

// --- Anything ----------------------------------------------------------------------------------

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// A file that was damaged anywhere is read or refused, and refused with a place or a reason.
    #[test]
    fn a_damaged_file_is_read_or_refused(
        from in any::<prop::sample::Index>(),
        length in 0usize..12,
        put in "[\\[\\]{}=\"'.,#a-z0-9 \n\u{e9}\u{2030}-]{0,6}",
    ) {
        let text = sample();
        let starts: Vec<usize> = text.char_indices().map(|(start, _)| start).collect();
        let first = from.index(starts.len());
        let begin = starts[first];
        let end = starts.get(first + length).copied().unwrap_or(text.len());
        let home = Home::with(&format!("{}{put}{}", &text[..begin], &text[end..]));
        match home.read() {
            Ok(settings) => prop_assert!(!settings.benches.is_empty()),
            Err(wrong) => for trouble in wrong.all() {
                prop_assert!(trouble.happened.contains("panbell.toml"), "{trouble}");
                prop_assert!(!trouble.mend.is_empty());
            },
        }
    }
}
