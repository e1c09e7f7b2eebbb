//! Pieces, by their measures.

use serde_json::Value;

use super::{answer, near, no_naked_number, reckon, refused_as};

const DENSITY_15: [&str; 2] = ["--density", "15"];

#[test]
fn every_shape_gives_its_volume_and_mass() {
    for (shape, volume, piece, arguments) in [
        (
            "sheet",
            "800.000",
            "12.00",
            "sheet --length 50 --width 20mm --thick 0.8",
        ),
        (
            "round-wire",
            "314.159",
            "4.72",
            "wire --diameter 2 --length 100",
        ),
        (
            "square-wire",
            "400.000",
            "6.00",
            "wire --side 2 --length 100",
        ),
        (
            "tube",
            "549.779",
            "8.25",
            "tube --outer 4 --wall 0.5 --length 100",
        ),
        (
            "tube",
            "549.779",
            "8.25",
            "tube --outer 4 --inner 3 --length 100",
        ),
        // Pi times the middle, 18.5, times the section.
        (
            "ring",
            "348.717",
            "5.24",
            "ring --diameter 17 --width 4 --thick 1.5",
        ),
        ("casting", "1000.000", "15.00", "wax --mass 0.95g"),
        (
            "casting",
            "1000.000",
            "15.00",
            "wax --mass 1g --wax-density 1.0",
        ),
    ] {
        let words: Vec<&str> = std::iter::once("piece")
            .chain(arguments.split(' '))
            .collect();
        let found = answer(0, &[&words[..], &DENSITY_15].concat());
        no_naked_number(&found);
        assert_eq!(found["shape"], shape);
        assert_eq!(found["volume_mm3"], volume, "{arguments}");
        assert_eq!(found["piece_g"], piece, "{arguments}");
        assert_eq!(found["make_g"], piece, "{arguments}");
    }
}

#[test]
fn a_ring_says_what_to_make_where_to_cut_and_what_to_type_next() {
    let ring = [
        "piece",
        "ring",
        "--size",
        "54",
        "--width",
        "4",
        "--thick",
        "1.5",
        "--alloy",
        "Au 750 Ag 125 Cu 125",
        "--filing",
        "10",
        "--sprue",
        "5 %",
        "--pieces",
        "2",
    ];
    let found = answer(0, &ring);
    // (54 + 1.5 pi) x 4 x 1.5 mm3 of 15.452 g/cm3: 5.443 g; twice 6.26 g with 15 per cent.
    assert_eq!(found["piece_g"], "5.45");
    assert_eq!(found["make"], "12.52 g");
    assert_eq!(found["strip_mm"], "58.71");
    let then = "panbell reckon --make \"12.52 g\" --to 750 --lot MASS@FINENESS";
    assert_eq!(found["then"], then);
    let notes = found["warnings"].to_string();
    assert!(
        notes.contains("1 in 100") && notes.contains("melt loses"),
        "{notes}"
    );
    assert!(!notes.contains("No allowance"), "{notes}");
    reckon(&ring)
        .ended(0)
        .has("Ring band of size 54 (54 mm around inside), 4 mm wide and 1.5 mm thick:")
        .has("for 2 of them, with 5 % for sprue and 10 % for filing")
        .has("Cut the strip 58.71 mm long")
        .has(then);
    // The line that follows is one that is taken, once the client's lot stands in it.
    let next = [
        "--make", "12.52 g", "--to", "750", "--lot", "20g@916", "--with", "copper",
    ];
    let makes = answer(0, &next);
    near(&makes["total_g"], "12.52", "0.05");
}

#[test]
fn alloys_come_from_the_shelf_or_by_their_density_and_the_division_is_the_balances() {
    let wire = ["piece", "wire", "--side", "2", "--length", "100"];
    let of = |more: &[&str]| answer(0, &[&wire[..], more].concat());
    // Silver holds no gold to reckon with.
    let silver = of(&["--alloy", "fine-silver"]);
    assert_eq!(silver["make_g"], "4.20");
    assert_eq!(silver["then"], Value::Null);
    let plain = of(&["--density", "15 g/cm3"]);
    assert_eq!(
        plain["then"],
        "panbell reckon --make \"6.00 g\" --to KARAT|FINENESS --lot MASS@FINENESS"
    );
    let carats = of(&["--density", "15", "--division", "0.05 ct"]);
    assert_eq!(
        (&carats["make"], &carats["make_g"]),
        (&"30.00 ct".into(), &"6.00".into())
    );
    let karat = of(&["--alloy", "Au 583.3333 Ag 300 Cu 116.6667"]);
    assert!(karat["then"].as_str().unwrap().contains("--to 583.3333 "));
}

#[test]
fn pieces_that_cannot_be_are_told() {
    let tube = ["piece", "tube", "--outer", "4", "--length", "10"];
    let wire = ["piece", "wire", "--length", "10", "--side"];
    let with = |start: &[&'static str], more: &[&'static str]| [start, more].concat();
    for (code, said, arguments) in [
        (
            "piece-unreckoned",
            "cannot have a bore",
            with(&tube, &["--wall", "2", "--density", "15"]),
        ),
        (
            "length-unreadable",
            "\"2cm\"",
            with(&wire, &["2cm", "--density", "15"]),
        ),
        (
            "length-unreadable",
            "above 0",
            with(&wire, &["0", "--density", "15"]),
        ),
        (
            "density-unreadable",
            "\"0\" is no density",
            with(&wire, &["2", "--density", "0"]),
        ),
        (
            "density-unreadable",
            "\"15400\"",
            with(&wire, &["2", "--density", "15400"]),
        ),
        (
            "alloy-unknown",
            "Of 250 ‰",
            with(&wire, &["2", "--alloy", "750"]),
        ),
        (
            "alloy-unknown",
            "--density",
            with(&wire, &["2", "--alloy", "Au 750 Ag 125"]),
        ),
        (
            "metal-unknown",
            "fine-silver",
            with(&wire, &["2", "--alloy", "electrum"]),
        ),
        (
            "number-unreadable",
            "number of pieces",
            with(&wire, &["2", "--density", "15", "--pieces", "0"]),
        ),
        (
            "number-unreadable",
            "from 0 to 1000",
            with(&wire, &["2", "--density", "15", "--filing", "ten"]),
        ),
        (
            "piece-unreckoned",
            "any bench balance",
            with(&wire, &["100", "--density", "15", "--pieces", "1000"]),
        ),
    ] {
        refused_as(code, said, &arguments);
    }
    // Wrong usage: no shape, no metal, two ways at once.
    reckon(&["piece"]).ended(2);
    reckon(&with(&wire, &["2"])).ended(2);
    reckon(&with(
        &wire,
        &["2", "--density", "15", "--alloy", "Au 750 Cu 250"],
    ))
    .ended(2);
    reckon(&with(&tube, &["--density", "15"])).ended(2);
}
