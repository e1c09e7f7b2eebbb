//! The shipped laws of marks: the finenesses that each lists, and how well each list is known.

use super::*;
use panbell::metal::law::Known;
use panbell::metal::{Judged, MarkLaw};
use panbell::settings::{Folders, read_laws};

fn law(key: &str) -> MarkLaw {
    let home = tempfile::tempdir().unwrap();
    let laws = read_laws(&Folders::under(home.path())).unwrap();
    laws.into_iter().find(|law| law.key == key).expect(key)
}

#[test]
fn each_law_lists_the_finenesses_of_its_text() {
    use Known::{Definition, Memory, Read, SecondHand};
    for (key, known, marks) in [
        // Hallmarking Act 1973, Schedule 2, as in force in 1991 (read); as later amended (from memory).
        ("uk", Read, &["375", "585", "750", "916.6"][..]),
        ("uk", Memory, &["916", "990", "999"]),
        // Hallmarking Convention, 1972, annex (from memory).
        ("vienna", Memory, &["375", "585", "750", "916", "999"]),
        // Finnish safety authority, guidance on precious metal articles (read).
        ("finland", Read, &["375", "585", "750"]),
        // ISO 9202, list of finenesses of an earlier edition (from memory).
        (
            "iso-9202",
            Memory,
            &[
                "333", "375", "417", "585", "750", "800", "833", "875", "916", "958", "990", "999",
            ],
        ),
        // IS 1417, fourth revision, 2016: grades from 1 January 2017 (read).
        ("india", Read, &["22K916", "18K750", "14K585"]),
        // Encyclopaedic lists of customary stamps (second hand), and the karats by definition.
        (
            "none",
            SecondHand,
            &[
                "333", "375", "417", "500", "585", "625", "750", "833", "875", "916", "958", "990",
                "995", "999",
            ],
        ),
        (
            "none",
            Definition,
            &[
                "8K", "9K", "10K", "12K", "14K", "15K", "18K", "20K", "21K", "22K", "23K",
            ],
        ),
    ] {
        let law = law(key);
        let mut found: Vec<&str> = law
            .marks
            .iter()
            .filter(|mark| mark.source.known == known)
            .map(|mark| mark.text.as_str())
            .collect();
        let mut listed = marks.to_vec();
        found.sort_unstable();
        listed.sort_unstable();
        assert_eq!(found, listed, "{key}, {known}");
    }
}

/// What a mark reads is what it promises: per mille by the figure, karat by k/24, and an Indian grade by
/// the figure behind its K (IS 1417: 22K916 is 916).
#[test]
fn a_mark_promises_what_it_reads() {
    let mut read = 0;
    for key in [
        "none",
        "iso-9202",
        "us-15-usc-295",
        "us-1906",
        "uk",
        "vienna",
        "finland",
        "india",
    ] {
        for mark in law(key).marks {
            let promised = match mark.text.split_once('K') {
                None => f(&mark.text),
                Some((karat, "")) => f(&format!("{karat}k")),
                Some((_, figure)) => f(figure),
            };
            assert_eq!(mark.fineness, promised, "{key}: {}", mark.text);
            read += 1;
        }
    }
    assert!(read > 60, "{read} marks read");
}

/// Lowest finenesses that may be sold as gold: Finland 375 (guidance of the safety authority, read); a
/// state of the Hallmarking Convention keeps its own minimum, so none is named there.
#[test]
fn what_is_below_the_least_carries_no_mark() {
    assert_eq!(law("finland").least, Some(f("375")));
    assert_eq!(law("vienna").least, None);
    let struck = |fineness| {
        law("finland")
            .marks_for(f(fineness), Judged::WithoutSolder)
            .len()
    };
    assert_eq!((struck("374.9999"), struck("375")), (0, 1));
}
