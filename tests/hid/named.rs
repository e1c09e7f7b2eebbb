//! A USB scale named in the settings.

use std::fs;

use panbell::mass::Unit;
use panbell::settings::{Folders, Form, Settings};

fn read(bench: &str, own: bool) -> Result<Form, String> {
    let home = tempfile::tempdir().unwrap();
    let folders = Folders::under(home.path());
    let text = format!("[[bench]]\nport = \"/dev/hidraw0\"\ndivision = \"0.01 g\"\n{bench}");
    fs::write(&folders.settings, text).unwrap();
    if own {
        let file = include_str!("../../config/balances/signed-fixed.toml");
        fs::create_dir(&folders.balances).unwrap();
        fs::write(folders.balances.join("usb-scale.toml"), file).unwrap();
    }
    let settings = Settings::read(&folders).map_err(|wrong| wrong.first().to_string())?;
    let bench = settings.benches.into_iter().next().unwrap();
    assert_eq!(bench.port.path.to_str(), Some("/dev/hidraw0"));
    Ok(bench.form)
}

#[test]
fn a_scale_needs_no_file_and_may_say_whose_tael() {
    let form = |tael| Ok(Form::Reports { tael });
    assert_eq!(read("balance = \"usb-scale\"", false), form(None));
    for unit in Unit::all() {
        let text = format!("balance = \"usb-scale\"\ntael = \"{unit}\"");
        let read = read(&text, false);
        if unit.symbol().starts_with("tael") {
            assert_eq!(read, form(Some(unit)));
        } else {
            let told = read.unwrap_err();
            assert!(told.contains("tael-hk-gold"), "{unit}: {told}");
        }
    }
}

#[test]
fn a_file_of_ones_own_of_that_name_goes_before() {
    let own = read("balance = \"usb-scale\"", true);
    assert!(matches!(own, Ok(Form::Lines { .. })), "{own:?}");
}

#[test]
fn whose_tael_is_not_asked_of_a_balance_with_lines() {
    let told = read("balance = \"signed-fixed\"\ntael = \"tael-tw\"", false).unwrap_err();
    assert!(
        told.contains("this balance sends lines") && told.contains("[units]"),
        "{told}"
    );
}
