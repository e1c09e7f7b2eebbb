//! What balances may be off by, and the least that they may weigh, against the tables that say so.

use super::*;
use panbell::mass::{Class, least_net};
use panbell::metal::Stated;
use panbell::settings::{Folders, read_basis};

fn division(text: &str) -> Division {
    text.parse().unwrap()
}

/// OIML R 76-1, table 6 (read): error allowed at verification, in e, up to and including each load in e.
/// In service it is twice that (second hand).
#[test]
fn the_table_of_errors_allowed() {
    for (class, half, one, most) in [
        (Class::Special, 50_000, 200_000, 1_000_000),
        (Class::High, 5_000, 20_000, 100_000),
        (Class::Medium, 500, 2_000, 10_000),
        (Class::Ordinary, 50, 200, 1_000),
    ] {
        for e in ["0.001 g", "0.01 g", "0.05 ct"] {
            let e = division(e);
            for (load, halves) in [
                (0, 1),
                (half, 1),
                (half + 1, 2),
                (one, 2),
                (one + 1, 3),
                (most, 3),
            ] {
                let allowed = class.error_at_verification(e, e.mass().times(load));
                assert_eq!(
                    allowed + allowed,
                    e.mass().times(halves),
                    "{class}, {load} x {e}"
                );
                let served = class.error_in_service(e, e.mass().times(load));
                assert_eq!(served, e.mass().times(halves), "{class}, {load} x {e}");
            }
        }
    }
}

/// The same worked out for bench balances, the table's figures for e and load beside.
#[test]
fn errors_allowed_at_the_bench() {
    for (class, e, load, allowed) in [
        (Class::High, "0.01 g", "60 g", "0.010 g"),      // 6 000 e
        (Class::Special, "0.001 g", "150 g", "0.001 g"), // 150 000 e
        (Class::High, "0.01 g", "310 g", "0.015 g"),     // 31 000 e
        (Class::High, "0.01 g", "50 g", "0.005 g"),      // 5 000 e, the step itself
        (Class::High, "0.01 g", "50.01 g", "0.010 g"),
    ] {
        let found = class.error_at_verification(division(e), m(load));
        assert_eq!(found, m(allowed), "{class}, {load}");
    }
}

/// OIML R 76-1, table 3 (read): the least load, in e.
#[test]
fn the_table_of_least_loads() {
    for (class, e, least) in [
        (Class::Special, "0.001 g", "0.1 g"),
        (Class::Special, "0.01 g", "1 g"),
        (Class::High, "0.001 g", "0.02 g"),
        (Class::High, "0.01 g", "0.2 g"),
        (Class::High, "0.05 g", "1 g"),
        (Class::High, "0.1 g", "5 g"), // from 0.1 g on it is 50 e
        (Class::High, "0.5 g", "25 g"),
        (Class::Medium, "0.1 g", "2 g"),
        (Class::Medium, "2 g", "40 g"),
        (Class::Medium, "5 g", "100 g"),
        (Class::Ordinary, "5 g", "50 g"),
    ] {
        assert_eq!(class.least_load(division(e)), m(least), "{class}, {e}");
    }
}

/// USP chapter 41 (text of 2019, read; 0.41 d and its 820 d second hand): twice the standard deviation is
/// at most 0.10 per cent of the smallest mass, and counts as 0.41 d at least.
#[test]
fn the_smallest_mass_by_repeatability() {
    for (d, s, least) in [
        ("0.1 mg", Some("0.15 mg"), "0.30000 g"),
        ("0.1 mg", Some("0.2 mg"), "400 mg"),
        ("0.1 mg", Some("0.02 mg"), "82 mg"),
        ("1 mg", None, "820 mg"),
        ("1 mg", Some("0 mg"), "820 mg"),
        // On either side of 0.41 d.
        ("1 mg", Some("0.41 mg"), "820 mg"),
        ("1 mg", Some("0.42 mg"), "840 mg"),
        ("0.01 g", None, "8.2 g"),
    ] {
        assert_eq!(least_net(division(d), s.map(m)), m(least), "{d}, s {s:?}");
    }
    let (s, least) = (m("0.7 mg"), least_net(division("1 mg"), Some(m("0.7 mg"))));
    assert_eq!(s.grams() * d("2") / least.grams(), d("0.001"));
}

/// JCGM 100:2008, 4.3.7, with the limits of EA-4/02, example S2, as a data listing restates it: 15 and 10
/// to both sides, rectangular, are 8.66 and 5.77. A stamp lies in such a span, here of 30 and 20.
#[test]
fn a_span_known_only_by_its_limits() {
    for (span, half, u) in [("30 ppt", "15", "8.66"), ("20 ppt", "10", "5.77")] {
        let home = tempfile::tempdir().unwrap();
        let rule = format!("[stamp]\nminus = \"{span}\"\n");
        std::fs::write(home.path().join("basis.toml"), rule).unwrap();
        let rules = read_basis(&Folders::under(home.path())).unwrap();
        let estimate = "750:stamp".parse::<Stated>().unwrap().estimate(&rules);
        near(estimate.u, u, "0.01");
        assert_eq!(estimate.fineness, f("750").less(d(half)), "the middle");
    }
}
