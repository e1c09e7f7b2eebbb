//! A job file read back is the job: records through their text, chain, scan and text again.

use panbell::job::{ChainLink, Job, Record, Verdict, scan, seal};
use panbell::mass::Indication;
use panbell::metal::Fineness;
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::exact::{demand, division, fineness, metal};
use super::hand::{play, script};
use super::several::opened;
use super::{Count, runner};

/// The file of these records, as the book would write it.
fn written(records: &[Record]) -> String {
    let mut last = ChainLink::FIRST;
    let mut file = String::new();
    for (n, record) in (1..).zip(records) {
        let body = record.body().expect("a record has a text");
        assert!(!body.contains('\n'), "a record is one line");
        let at = "2026-01-05T09:12:44.120Z";
        let (line, next) = seal(&last, &format!(r#"{{"n":{n},"at":"{at}",{body}}}"#));
        file.push_str(&line);
        last = next;
    }
    file
}

/// The records of a file, as they stand in it.
fn read(file: &str) -> Vec<Record> {
    let found = scan(file.as_bytes());
    assert_eq!(found.verdict, Verdict::Clean);
    let line = |range: std::ops::Range<usize>| {
        Record::from_line(&file.as_bytes()[range])
            .unwrap_or_else(|trouble| panic!("what was written is not read: {trouble}"))
    };
    found.lines.into_iter().map(line).collect()
}

fn job_of(records: Vec<Record>) -> Job {
    Job::replay((1..).zip(records)).expect("a job")
}

#[test]
fn the_file_of_a_job_gives_the_job() {
    let (files, records) = (Count::default(), Count::default());
    runner(300)
        .run(&script(division(), 60), |(division, dish, acts)| {
            let bench = play(division, dish, &acts);
            if bench.file().is_empty() {
                return Ok(());
            }
            let again = read(&written(bench.file()));
            prop_assert_eq!(&again[..], bench.file());
            prop_assert_eq!(job_of(again), job_of(bench.file().to_vec()));
            files.add(1);
            records.add(u32::try_from(bench.file().len()).unwrap());
            Ok(())
        })
        .unwrap();
    assert!(files.get() >= 150, "only {} files", files.get());
    assert!(records.get() >= 1500, "only {} records", records.get());
}

#[test]
fn whatever_is_asked_for_reads_back_as_it_was_asked() {
    let metals = proptest::collection::vec((metal(), 1_i64..1000), 0..4);
    let texts = (any::<String>(), any::<String>());
    let cases = (demand(), division(), metals, texts);
    runner(2000)
        .run(&cases, |(demand, division, metals, (ticket, client))| {
            let mut opening = opened(demand, division, &metals);
            (opening.ticket, opening.client) = (ticket, client);
            let records = [Record::Open(opening)];
            prop_assert_eq!(&read(&written(&records))[..], &records[..]);
            Ok(())
        })
        .unwrap();
}

#[test]
fn a_fineness_and_a_mass_read_back_as_written() {
    let away = prop_oneof![-4000_i64..4000, -40_000_000_i64..40_000_000];
    let cases = (fineness(), away, any::<i32>(), 0_u32..=7, division());
    runner(4000)
        .run(&cases, |(fineness, away, digits, places, division)| {
            let away = Decimal::new(away, 4);
            let moved = if away.is_sign_negative() {
                fineness.less(-away)
            } else {
                fineness.plus(away)
            };
            for fineness in [fineness, moved] {
                let text = fineness.stated_text();
                let read = text.parse::<Fineness>();
                prop_assert_eq!(read.as_ref(), Ok(&fineness), "{}", text);
            }
            let digits = Decimal::new(i64::from(digits), places);
            if let Some(mass) = Indication::new(digits, division.unit()) {
                prop_assert_eq!(mass.to_string().parse::<Indication>(), Ok(mass));
            }
            Ok(())
        })
        .unwrap();
}
