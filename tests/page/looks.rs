//! How it looks: what a tool that checks accessibility finds, light and dark, enlarged, from right to left, without
//! motion, on paper; several benches; and where the tip of the beam stands.

use std::process::Command;
use std::sync::OnceLock;

use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

use crate::driver::{Browser, PHONE, TABLET, ZOOMED};
use crate::python::python;
use crate::stage::{Stage, address, is_within_width};
use crate::support::desk::{Desk, g, mass, pretend};
use crate::support::home;
use crate::support::service;

/// The Python package that axe-core (MPL-2.0) comes in, and the digest of the script in it. It is not kept here.
const PACKAGE: &str = "axe-playwright-python==0.1.8";
const SCRIPT: &str = "axe_playwright_python/axe.min.js";
const DIGEST: &str = "84494fec757e4710dc751c8d7a636e457f4532f08f85c86dc9070133fbff53bc";

/// axe-core, fetched once and kept under target/.
fn axe() -> &'static str {
    static AXE: OnceLock<String> = OnceLock::new();
    AXE.get_or_init(|| {
        let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("axe");
        let script = folder.join(SCRIPT);
        if !script.exists() {
            let run = |words: &[&str]| {
                let said = Command::new(python())
                    .args(words)
                    .arg(&folder)
                    .output()
                    .unwrap();
                assert!(
                    said.status.success(),
                    "{words:?}: {}",
                    String::from_utf8_lossy(&said.stderr)
                );
            };
            run(&[
                "-m",
                "pip",
                "download",
                "--quiet",
                "--no-deps",
                "--only-binary",
                ":all:",
                PACKAGE,
                "-d",
            ]);
            let wheel = std::fs::read_dir(&folder)
                .unwrap()
                .map(|entry| entry.unwrap().path());
            let wheel = wheel
                .filter(|path| path.extension().is_some_and(|it| it == "whl"))
                .last()
                .unwrap();
            run(&["-m", "zipfile", "-e", wheel.to_str().unwrap()]);
        }
        let text = std::fs::read_to_string(script).unwrap();
        let digest = Sha256::digest(text.as_bytes());
        let digest: Vec<String> = digest.iter().map(|byte| format!("{byte:02x}")).collect();
        let digest = digest.concat();
        assert_eq!(digest, DIGEST, "axe-core is another one than it was");
        text
    })
}

/// What is wrong with what is shown: rules of WCAG 2.2 up to AA, and good practice.
fn faults(page: &Browser) -> Value {
    page.run(axe(), Value::Null);
    page.wait_for(
        "const found = await axe.run(document, { resultTypes: ['violations'] }); \
         return found.violations.map((it) => `${it.id}: ${it.help}: ${it.nodes.map((node) => `${node.html.slice(0, 120)} ${node.failureSummary}`).slice(0, 3).join(' | ')}`)",
        Value::Null,
    )
}

fn without_fault(page: &Browser, what: &str) {
    for scheme in ["light", "dark"] {
        page.prefers(&[("prefers-color-scheme", scheme)]);
        let faults = faults(page);
        assert_eq!(faults, json!([]), "{what}, {scheme}");
    }
    page.prefers(&[]);
}

#[test]
fn nothing_is_found_wrong_for_those_who_see_hear_or_move_otherwise() {
    let stage = Stage::patient();
    let page = &stage.page;
    without_fault(page, "no ticket");
    stage.take_up("open");
    stage.until_sheet("A new ticket");
    without_fault(page, "A new ticket");
    page.click("dialog[open] .foot button");
    let [lower, aim, upper] = stage.adding().map(|edge| mass(&edge));
    for (what, load) in [
        ("under", lower - g("0.30")),
        ("over", upper + g("0.03")),
        ("within", aim),
    ] {
        stage.desk.place(load);
        let side = "return document.querySelector('.beam').dataset.side === arguments[0]";
        page.until(what, side, &what.into());
        stage.until_still();
        without_fault(page, what);
    }
    stage.take_up("take");
    stage.take_up("plan");
    stage.until_sheet("What to add");
    without_fault(page, "What to add");
    page.click("dialog[open] .foot button");
    page.click("#set");
    stage.until_sheet("Settings of this device");
    page.picture("60-settings");
    without_fault(page, "settings");
    page.click("dialog[open] .foot button");
    stage.desk.balance.unplug().unwrap();
    page.until(
        "it holds",
        "return !document.getElementById('cover').hidden",
        &Value::Null,
    );
    without_fault(page, "hold");
}

#[test]
fn the_tip_stands_below_the_slot_in_it_or_above_it() {
    let stage = Stage::patient();
    let page = &stage.page;
    let [lower, aim, upper] = stage.adding().map(|edge| mass(&edge));
    let last = g("0.01");
    let mut heights = Vec::new();
    for (load, side) in [
        (lower - g("0.50"), "under"),
        (lower - last, "under"),
        (lower, "within"),
        (upper, "within"),
        (upper + last, "over"),
        (upper + g("0.50"), "over"),
    ] {
        stage.desk.place(load);
        page.until(
            side,
            "return document.querySelector('.beam').dataset.side === arguments[0]",
            &side.into(),
        );
        let shows = crate::support::desk::shown(load);
        stage.until_net(&shows);
        let (tip, top, foot) = stage.beam();
        match side {
            "under" => assert!(tip > foot + 3.0, "{shows}: {tip} {foot}"),
            "over" => assert!(tip < top - 3.0, "{shows}: {tip} {top}"),
            _ => assert!(tip > top && tip < foot, "{shows}: {tip} {top} {foot}"),
        }
        heights.push(tip);
        page.picture(&format!("18-{side}"));
    }
    assert!(
        heights.is_sorted_by(|lower, higher| lower > higher),
        "{heights:?}"
    );
    assert!(aim > lower);
}

#[test]
fn enlarged_dark_from_right_to_left_and_without_motion() {
    let stage = Stage::set();
    let page = &stage.page;
    let [lower, ..] = stage.adding();
    stage.desk.put(mass(&lower) - g("0.03"));
    stage.until_net(&crate::support::desk::shown(mass(&lower) - g("0.03")));
    for (screen, name) in [(TABLET, "tablet"), (ZOOMED, "zoomed"), (PHONE, "phone")] {
        page.screen(screen);
        is_within_width(page);
        for scheme in ["light", "dark"] {
            page.prefers(&[("prefers-color-scheme", scheme)]);
            stage.picture(&format!("70-{name}-{scheme}"));
        }
        page.run("document.documentElement.dir = 'rtl'", Value::Null);
        is_within_width(page);
        stage.picture(&format!("71-{name}-rtl"));
        page.run("document.documentElement.dir = 'ltr'", Value::Null);
    }
    page.screen(TABLET);
    // The switch of the page counts more than what the device prefers.
    page.prefers(&[
        ("prefers-color-scheme", "dark"),
        ("prefers-reduced-motion", "reduce"),
    ]);
    let paper = "return getComputedStyle(document.body).backgroundColor";
    let dark = page.run(paper, Value::Null);
    page.click("#set");
    stage.until_sheet("Settings of this device");
    stage.choose("Paper");
    assert_ne!(page.run(paper, Value::Null), dark);
    page.click("dialog[open] .foot button");
    // Without motion the beam is where it belongs in the very picture that shows the mass.
    page.run(
        "window.moves = 0; new MutationObserver((all) => { window.moves += all.length; }).observe(document.querySelector('.arm'), { attributes: true, attributeFilter: ['transform'] })",
        Value::Null,
    );
    stage.desk.place(mass(&lower) - g("0.40"));
    stage.until_net(&crate::support::desk::shown(mass(&lower) - g("0.40")));
    stage.until_still();
    let moves = page
        .run("return window.moves", Value::Null)
        .as_u64()
        .unwrap();
    // One for each reading on the way, and none in between: a hand would take thirty pictures or more.
    assert!((1..=30).contains(&moves), "{moves}");
    stage.no_complaints();
}

#[test]
fn several_benches_are_seen_at_once() {
    let desk = Desk::set(|home| {
        let benches = ["left", "right"]
            .map(|name| home::bench(name, &home.port(name), "status-first"))
            .concat();
        home.settings(&format!(
            "[bell]\ndesktop = false\n[page]\nat = \"127.0.0.1:0\"\n{benches}"
        ));
        service::command(home.path())
    });
    let right = pretend(&desk.home.port("right"), 20);
    let page = Browser::start();
    page.go(&address(&desk.home));
    desk.place(g("3.21"));
    right.place(g("6.54")).unwrap();
    page.until(
        "both are shown",
        "const text = document.getElementById('bench-list').innerText; return text.includes('3.21 g') && text.includes('6.54 g')",
        &Value::Null,
    );
    without_fault(&page, "overview");
    page.picture("80-overview");
    page.click("#bench-list li:last-child a");
    page.until(
        "the bench is shown",
        "return document.getElementById('net')?.textContent === '6.54 g'",
        &Value::Null,
    );
    assert_eq!(
        page.run("return location.pathname", Value::Null),
        "/bench/right"
    );
}
