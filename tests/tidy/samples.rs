//! Small bad samples that each rule must find, and good ones that it must let pass.

use super::{
    Faults, MOST_LINES, Rule, UNSAFE_IN, begins_with_its_promise,
    carat_is_a_mass_and_karat_a_fineness, core_counts_exactly, core_is_pure, is_not_too_long,
    no_decision_hangs_on_a_code, nothing_is_left_undone, rooms_name_only_those_above,
    unsafe_only_where_listed,
};

/// The samples that a rule must find at fault, and those that it must let pass.
fn shown(rule: Rule, bad: &[(&str, &str)], good: &[(&str, &str)]) {
    for (path, text) in bad {
        assert!(!rule(path, text).is_empty(), "not found in {path}: {text}");
    }
    for (path, text) in good {
        assert_eq!(rule(path, text), Faults::new(), "{path}: {text}");
    }
}

#[test]
fn a_room_that_names_one_below_is_found() {
    shown(
        rooms_name_only_those_above,
        &[
            ("src/mass/unit.rs", "use crate::metal::Fineness;"),
            ("src/melt/mix.rs", "use crate::{mass::Mass, job};"),
            (
                "src/melt/mix.rs",
                "use crate::{mass::{Mass, Unit}, job::{self, Job}};",
            ),
            ("src/job/step.rs", "fn f() { crate::book::write() }"),
            ("src/book/mod.rs", "use super::bench::Loop;"),
            ("src/book/file.rs", "use super::super::serve;"),
            ("src/trouble.rs", "use crate::mass::Mass;"),
            (
                "src/cellar/mod.rs",
                "//! A room that the house does not have.",
            ),
        ],
        &[
            (
                "src/melt/mix.rs",
                "use crate::{mass::Mass, metal::Fineness, trouble::Trouble};",
            ),
            (
                "src/job/step.rs",
                "use super::bell::Ring; use crate::melt::{Mix, Window};",
            ),
            (
                "src/melt/mix.rs",
                "// crate::job does that\nconst S: &str = \"crate::job\";",
            ),
            (
                "src/melt/mix.rs",
                "/* crate::book /* nested */ crate::job */ const C: char = '\"'; // crate::job",
            ),
            (
                "src/melt/mix.rs",
                "const S: &str = r#\"say \"crate::job\" \"#; fn f<'a>(x: &'a str) {}",
            ),
            ("src/main.rs", "fn main() { panbell::command::run() }"),
        ],
    );
}

#[test]
fn the_world_in_the_core_is_found() {
    shown(
        core_is_pure,
        &[
            ("src/job/step.rs", "use std::time::{Duration, Instant};"),
            ("src/job/step.rs", "let t = std::time::SystemTime::now();"),
            (
                "src/job/step.rs",
                "use std::time; fn f() { time::Instant::now(); }",
            ),
            ("src/job/step.rs", "use std::time::*;"),
            ("src/job/step.rs", "use std::{fmt, fs};"),
            ("src/job/step.rs", "use std::{fmt, net::{TcpStream}};"),
            ("src/mass/unit.rs", "std::process::abort()"),
            ("src/mass/unit.rs", "use std::thread;"),
            ("src/mass/unit.rs", "std::env::var(\"HOME\")"),
            ("src/mass/unit.rs", "#[tokio::test] fn f() {}"),
            ("src/mass/unit.rs", "tracing::info!(\"x\");"),
            ("src/mass/unit.rs", "use jiff::Timestamp;"),
            ("src/mass/unit.rs", "use rustix::fs;"),
            ("src/balance/pan.rs", "fn f() { println!(\"x\"); }"),
            ("src/balance/pan.rs", "fn f() { eprint!(\"x\"); }"),
            ("src/balance/pan.rs", "async fn f() {}"),
            ("src/trouble.rs", "use std::fs;"),
        ],
        &[
            (
                "src/job/step.rs",
                "use std::time::Duration; use std::fmt::{self, Write as _};",
            ),
            (
                "src/job/step.rs",
                "// std::fs is for the book; println! too\nlet s = \"tokio::spawn\";",
            ),
            (
                "src/job/step.rs",
                "use std::fmt; impl fmt::Display for X {}",
            ),
            (
                "src/port/serial.rs",
                "use std::{fs, time::Instant}; fn f() { println!(\"x\") }",
            ),
        ],
    );
}

#[test]
fn binary_floating_point_in_the_core_is_found() {
    shown(
        core_counts_exactly,
        &[
            ("src/melt/mix.rs", "fn f(x: f64) {}"),
            ("src/melt/mix.rs", "let y = x as f32;"),
            ("src/melt/mix.rs", "let y = 1.5;"),
            ("src/melt/mix.rs", "let y = 1e3;"),
            ("src/melt/mix.rs", "let y = 2_f64;"),
            ("src/balance/pan.rs", "time.as_secs_f64()"),
        ],
        &[
            (
                "src/melt/mix.rs",
                "let y = x.0.1 + pair.1; for i in 0..10 {} let h = 0xe5; 1..=2",
            ),
            (
                "src/melt/mix.rs",
                "let s = \"1.5\"; // 1.5 and f64\nlet c = '1';",
            ),
            ("src/melt/mix.rs", "5.max(3) + 1_000_i64"),
            ("src/bell/mod.rs", "let volume = 0.5_f64;"),
        ],
    );
}

#[test]
fn the_look_of_a_file_is_held() {
    shown(
        begins_with_its_promise,
        &[
            ("src/a.rs", "use std::fmt;\n//! Late."),
            ("src/a.rs", "//!\n//! Empty first."),
            ("src/a.rs", ""),
        ],
        &[("src/a.rs", "//! Says what it is.\n")],
    );
    shown(
        is_not_too_long,
        &[("src/a.rs", &"x\n".repeat(MOST_LINES + 1))],
        &[("src/a.rs", &"x\n".repeat(MOST_LINES))],
    );
    shown(
        unsafe_only_where_listed,
        &[("src/book/file.rs", "fn f() { unsafe { g() } }")],
        &[
            (
                "src/book/file.rs",
                "#![deny(unsafe_code)] // unsafe\nconst S: &str = \"unsafe\";",
            ),
            (UNSAFE_IN[0], "unsafe { g() }"),
        ],
    );
    shown(
        nothing_is_left_undone,
        &[
            ("src/a.rs", concat!("// TO", "DO: later")),
            ("src/a.rs", concat!("// FIX", "ME")),
            ("src/a.rs", concat!("fn f() { to", "do!() }")),
            ("src/a.rs", concat!("fn f() { unimple", "mented!(\"x\") }")),
        ],
        &[("src/a.rs", "// What is still to do is said to the person.")],
    );
}

#[test]
fn carat_and_karat_in_each_others_place_are_found() {
    shown(
        carat_is_a_mass_and_karat_a_fineness,
        &[
            ("src/a.rs", "let s = \"The fineness is 18 carat.\";"),
            ("src/a.rs", "let s = \"Gold of 14 carats\";"),
            ("src/a.rs", "let s = \"585 ‰, 14 carat\";"),
            ("src/a.rs", "let s = \"The pan weighs 2.5 karat.\";"),
            ("src/a.rs", "let s = r\"a karat is 0.2 g \";"),
        ],
        &[
            (
                "src/a.rs",
                "let s = \"carats\"; let t = \"18 karat is 750 per mille\";",
            ),
            (
                "src/a.rs",
                "let s = \"karat is a fineness, the carat of 0.2 g a mass\";",
            ),
            (
                "src/a.rs",
                "// the fineness in carat, as old books say\nlet s = \"x\";",
            ),
        ],
    );
}

#[test]
fn a_decision_by_a_code_is_found() {
    shown(
        no_decision_hangs_on_a_code,
        &[
            ("src/bench/line.rs", "if last.code == \"port-gone\" {}"),
            ("src/bench/line.rs", "if wrong.first().code != BUSY {}"),
            (
                "src/job/words.rs",
                "matches!(it.code(), \"zinc\" | \"lead\")",
            ),
        ],
        &[
            ("src/bench/line.rs", "let code = trouble.code; tell(code);"),
            (
                "src/bench/line.rs",
                "mod tests { if wrong.code == \"busy\" {} }",
            ),
            ("tests/bell.rs", "if wrong.code == \"busy\" {}"),
        ],
    );
}
