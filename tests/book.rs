//! The book with real files: chain, recovery, damage, lock, list. What needs a process of its own
//! or a disk that fills up is in `book/disk.rs`.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]

#[path = "book/disk.rs"]
mod disk;

use std::fs;
use std::io::Write as _;
use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use panbell::book::{Answer, AppendTrouble, Book, JobName, Opened, Synced, Writer};
use panbell::job::{self, ChainLink, Verdict, seal};
use proptest::prelude::*;

/// Checks a job file with nothing but standard tools. The same text is in the README.
const VERIFY: &str = r#"
n=0 link=$(printf '%064d' 0)
while IFS= read -r line || [ -n "$line" ]; do
  n=$((n + 1)) body=${line%,\"chain\":*}
  link=$(printf '%s%s' "$link" "$body" | sha256sum | cut -c 1-64)
  [ "$line" = "$body,\"chain\":\"$link\"}" ] || { echo "line $n does not fit"; exit 1; }
done < "$1"
echo "$n lines fit"
"#;

/// Waits for an answer, but not for ever.
fn done<T>(answer: Answer<T>) -> Result<T, AppendTrouble> {
    tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .unwrap()
        .block_on(async {
            tokio::time::timeout(Duration::from_mins(1), answer)
                .await
                .expect("an answer within a minute")
        })
}

/// Says something that is seen even when the test passes.
fn loud(text: &str) {
    // Not `eprintln!`, which the test runner keeps to itself when a test passes.
    let line = format!("\n*** tests/book: {text}\n");
    std::io::stderr().write_all(line.as_bytes()).unwrap();
}

fn name() -> JobName {
    JobName::new("A-1").unwrap()
}

fn writer(folder: &Path) -> Writer {
    Writer::start(Book::open(folder).unwrap()).unwrap()
}

const EVENTS: [&str; 4] = [
    r#""event":"open","ticket":"Ä 1""#,
    r#""event":"lot","mass":"12.46 g","basis":"stamp""#,
    r#""event":"note","text":"a \",\"chain\":\"0000\"} b \\ %s \u0000 end""#,
    r#""event":"capture","mass":"1.00 g""#,
];

/// A book with one job of these four records.
fn sample() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let writer = writer(folder.path());
    let opened = done(writer.create(&name())).unwrap();
    assert_eq!((opened.scan.n(), opened.torn), (0, None));
    for (after, event) in (0..).zip(EVENTS) {
        let recorded = done(writer.append(&name(), after, event.into(), Synced::Now)).unwrap();
        assert_eq!(recorded.n, after + 1);
    }
    let path = writer.book().path(&name());
    (folder, path)
}

fn verify(path: &Path) -> String {
    let out = Command::new("sh")
        .args(["-c", VERIFY, "verify"])
        .arg(path)
        .output()
        .unwrap();
    assert_eq!(out.stderr, b"", "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap().trim().to_owned()
}

/// Opens the job, appends one record, opens it again, and gives what is in it then.
fn go_on(folder: &Path) -> (Opened, Opened) {
    let first = writer(folder);
    let before = done(first.resume(&name())).unwrap();
    let event = r#""event":"after""#.to_owned();
    done(first.append(&name(), before.scan.n(), event, Synced::Now)).unwrap();
    drop(first);
    let again = done(writer(folder).resume(&name())).unwrap();
    assert_eq!(again.scan.n(), before.scan.n() + 1);
    assert!(again.bytes.starts_with(&before.bytes));
    (before, again)
}

#[test]
fn the_readme_prints_the_loop_that_is_tested() {
    assert!(include_str!("../README.md").contains(VERIFY.trim()));
}

#[test]
fn the_chain_is_verified_with_standard_tools() {
    let (_folder, path) = sample();
    assert_eq!(verify(&path), "4 lines fit");
    let text = fs::read_to_string(&path).unwrap();
    let first = text.lines().next().unwrap();
    assert!(first.starts_with(r#"{"n":1,"at":"20"#), "{first}");
    assert!(first.contains(r#"Z","event":"open","ticket":"Ä 1","chain":""#));
    fs::write(&path, text.replace("12.46", "12.64")).unwrap();
    assert_eq!(verify(&path), "line 2 does not fit");
}

#[test]
fn a_tail_torn_at_any_byte_is_set_aside() {
    let (_folder, path) = sample();
    let whole = fs::read(&path).unwrap();
    let scan = job::scan(&whole);
    let start = scan.lines[3].start;
    for cut in start..whole.len() {
        for zeros in [0, 300] {
            if cut == start && zeros == 0 {
                continue;
            }
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("A-1.jsonl");
            let mut tail = whole[start..cut].to_vec();
            tail.resize(tail.len() + zeros, 0);
            fs::write(&path, [&whole[..start], &tail].concat()).unwrap();
            let (before, again) = go_on(folder.path());
            assert_eq!(before.bytes, &whole[..start]);
            assert_eq!(before.scan.verdict, Verdict::Clean);
            let torn = before.torn.expect("it was torn");
            assert_eq!(torn.bytes, tail.len());
            assert_eq!(fs::read(&torn.path).unwrap(), tail);
            let aside = torn.path.file_name().unwrap().to_str().unwrap();
            assert!(aside.starts_with("A-1.torn-20"), "{aside}");
            assert_eq!(again.torn, None);
            assert_eq!(again.lines().count(), 4);
        }
    }
}

/// A file that holds no record blocks no ticket: it is set aside, whole, and the job is begun.
#[test]
fn a_file_without_a_whole_first_line_is_set_aside_for_a_new_job() {
    let (whole, path) = sample();
    let first = fs::read(&path).unwrap();
    let end = first.iter().position(|byte| *byte == b'\n').unwrap();
    drop(whole);
    for left in [
        &first[..1],
        &first[..end / 2],
        &first[..end],
        &[0; 300],
        &vec![0; 20_000],
    ] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("A-1.jsonl");
        fs::write(&path, left).unwrap();
        let writer = writer(folder.path());
        let opened = done(writer.create(&name())).unwrap();
        let torn = opened.torn.expect("it is told");
        assert_eq!(torn.bytes, left.len());
        assert_eq!(fs::read(&torn.path).unwrap(), left);
        done(writer.append(&name(), 0, EVENTS[0].into(), Synced::Now)).unwrap();
        writer.finish().unwrap();
        assert_eq!(job::scan(&fs::read(&path).unwrap()).n(), 1);
    }
    // What holds a record, whole or damaged, or is far too large for half a line, is left alone.
    for kept in [&first[..], b"x\n", &vec![0; 3 << 20]] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("A-1.jsonl");
        fs::write(&path, kept).unwrap();
        let writer = writer(folder.path());
        let refused = done(writer.create(&name())).unwrap_err();
        assert_eq!(refused.trouble().code, "job-exists");
        assert_eq!(fs::read(&path).unwrap(), kept);
        assert_eq!(
            fs::read_dir(folder.path()).unwrap().count(),
            2,
            "and the lock"
        );
    }
}

#[test]
fn damage_is_named_and_not_touched() {
    let (folder, path) = sample();
    let text = fs::read_to_string(&path).unwrap();
    let damaged = text.replace("12.46", "12.64");
    fs::write(&path, &damaged).unwrap();
    let writer = writer(folder.path());
    let trouble = done(writer.resume(&name())).unwrap_err();
    assert!(trouble.is_final());
    assert_eq!(trouble.trouble().code, "job-damaged");
    assert!(
        trouble
            .to_string()
            .starts_with("Line 2 of the file of job A-1 ")
    );
    assert_eq!(fs::read_to_string(&path).unwrap(), damaged);
    // No torn copies either; and a good copy put back is taken without a new start.
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
    fs::write(&path, text).unwrap();
    assert_eq!(done(writer.resume(&name())).unwrap().scan.n(), 4);
}

#[test]
fn every_flipped_bit_is_damage() {
    let (_folder, path) = sample();
    let mut bytes = fs::read(&path).unwrap();
    for at in 0..bytes.len() {
        for bit in 0..8 {
            bytes[at] ^= 1 << bit;
            let verdict = job::scan(&bytes).verdict;
            assert!(
                matches!(verdict, Verdict::Damaged { .. }),
                "{at} {bit} {verdict:?}"
            );
            bytes[at] ^= 1 << bit;
        }
    }
    assert_eq!(job::scan(&bytes).verdict, Verdict::Clean);
}

fn any_file() -> impl Strategy<Value = Vec<u8>> {
    let text = prop_oneof![
        any::<String>(),
        Just(format!(r#"x","chain":"{}"}}"#, "0".repeat(64)))
    ];
    prop::collection::vec(text, 1..8).prop_map(|texts| {
        let mut last = ChainLink::FIRST;
        let mut file = String::new();
        for (n, text) in (1..).zip(texts) {
            let text = serde_json::to_string(&text).unwrap();
            let (line, chain) = seal(&last, &format!(r#"{{"n":{n},"text":{text}}}"#));
            file.push_str(&line);
            last = chain;
        }
        file.into_bytes()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..Default::default() })]

    #[test]
    fn any_truncation_is_found(file in any_file(), at in any::<prop::sample::Index>()) {
        let whole = job::scan(&file);
        prop_assert_eq!(whole.verdict, Verdict::Clean);
        let cut = at.index(file.len());
        let scan = job::scan(&file[..cut]);
        prop_assert!(whole.lines.starts_with(&scan.lines));
        if file[..cut].last().is_none_or(|byte| *byte == b'\n') {
            // The one cut that a scan cannot see, except that it is shorter.
            prop_assert_eq!(scan.verdict, Verdict::Clean);
            prop_assert!(scan.n() < whole.n());
        } else {
            prop_assert_eq!(scan.verdict, Verdict::TornTail { at: scan.good_len });
        }
    }

    #[test]
    fn any_changed_byte_is_found(
        mut file in any_file(),
        at in any::<prop::sample::Index>(),
        to in any::<u8>(),
    ) {
        let whole = job::scan(&file);
        let at = at.index(file.len());
        prop_assume!(file[at] != to);
        file[at] = to;
        let scan = job::scan(&file);
        prop_assert!(scan.verdict != Verdict::Clean);
        prop_assert!(scan.good_len <= at);
        prop_assert!(whole.lines.starts_with(&scan.lines));
    }

    #[test]
    fn no_bytes_upset_a_scan(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let scan = job::scan(&bytes);
        prop_assert!(scan.good_len <= bytes.len());
        prop_assert_eq!(scan.verdict == Verdict::Clean, bytes.is_empty());
    }
}

#[test]
fn a_crafted_tail_costs_little() {
    let bytes = format!(r#","chain":"{}"}}"#, "0".repeat(64)).repeat(50_000);
    let start = Instant::now();
    let scan = job::scan(bytes.as_bytes());
    assert_eq!(scan.verdict, Verdict::TornTail { at: 0 });
    assert!(start.elapsed() < Duration::from_secs(20));
}

#[test]
fn a_book_has_one_writer() {
    let folder = tempfile::tempdir().unwrap();
    let deep = folder.path().join("a/b/book");
    let first = Book::open(&deep).unwrap();
    let mode = fs::metadata(&deep).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o700);
    let trouble = Book::open(&deep).unwrap_err();
    assert_eq!(trouble.code, "book-in-use");
    assert!(
        trouble
            .happened
            .contains(&format!("(process {})", std::process::id()))
    );
    assert!(trouble.happened.contains(deep.to_str().unwrap()));
    drop(first);
    let writer = writer(&deep);
    assert!(Book::open(&deep).is_err());
    let other = writer.clone();
    drop(writer);
    assert!(Book::open(&deep).is_err());
    drop(other);
    Book::open(&deep).unwrap();

    let file = folder.path().join("file");
    fs::write(&file, "").unwrap();
    assert_eq!(Book::open(&file).unwrap_err().code, "book-unusable");
}

#[test]
fn orders_are_answered_and_what_is_answered_is_in_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let writer = writer(folder.path());
    let code = |result: Result<(), AppendTrouble>| result.unwrap_err().trouble().code;
    let add = |after| writer.append(&name(), after, r#""event":"x""#.into(), Synced::Soon);
    assert_eq!(code(done(add(0)).map(drop)), "job-not-open");
    assert_eq!(code(done(writer.close(&name()))), "job-not-open");
    assert_eq!(code(done(writer.resume(&name())).map(drop)), "job-unknown");
    let mut opened = done(writer.create(&name())).unwrap();
    assert_eq!(code(done(writer.create(&name())).map(drop)), "job-open");
    assert_eq!(code(done(writer.resume(&name())).map(drop)), "job-open");

    // Many at once, more than may wait: whatever was refused, no record stands after a lost one.
    let answers: Vec<_> = (0..3000).map(add).collect();
    let results: Vec<_> = answers.into_iter().map(done).collect();
    let kept = results.iter().take_while(|result| result.is_ok()).count();
    assert!(kept > 0);
    for result in &results[kept..] {
        let code = result.as_ref().unwrap_err().trouble().code;
        assert!(
            ["disk-slow", "record-out-of-step"].contains(&code),
            "{code}"
        );
    }
    let recorded = done(add(kept as u64)).unwrap();
    let path = writer.book().path(&name());
    let mode = fs::metadata(&path).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let scan = job::scan(&writer.book().read(&name()).unwrap());
    assert_eq!(scan.verdict, Verdict::Clean);
    assert_eq!((scan.n(), scan.last), (recorded.n, recorded.chain));

    assert!(opened.ended.try_recv().is_err());
    done(writer.close(&name())).unwrap();
    assert_eq!(code(done(writer.create(&name())).map(drop)), "job-exists");
    // Nor one that differs in letter case only.
    let twin = JobName::new(&name().as_str().to_ascii_lowercase()).unwrap();
    assert_ne!(twin, name());
    assert_eq!(code(done(writer.create(&twin)).map(drop)), "job-exists");
    let mut again = done(writer.resume(&name())).unwrap();
    assert_eq!(again.scan.n(), recorded.n);
    fs::remove_file(&path).unwrap();
    let result = done(add(recorded.n)).map(drop);
    assert_eq!(
        again.ended.try_recv().unwrap(),
        *result.as_ref().unwrap_err()
    );
    assert_eq!(code(result), "job-ended");

    writer.finish().unwrap();
    assert_eq!(code(done(add(0)).map(drop)), "book-closed");
}

#[test]
fn the_open_jobs_of_a_large_book_are_found_quickly() {
    let folder = tempfile::tempdir().unwrap();
    let book = Book::open(folder.path()).unwrap();
    let long = format!(r#"{{"n":1,"event":"note","x":"{}"}}"#, "x".repeat(20_000));
    let (long, chain) = seal(&ChainLink::FIRST, &long);
    let close = seal(&chain, r#"{"n":2,"event":"close"}"#).0;
    let trick = seal(
        &chain,
        r#"{"n":2,"event":"note","text":"\"event\":\"close\""}"#,
    )
    .0;
    let long_close = seal(
        &chain,
        &format!(r#"{{"event":"close","x":"{}"}}"#, "x".repeat(9000)),
    )
    .0;
    let put = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    for i in 0..2000 {
        put(&format!("J-{i:04}.jsonl"), &format!("{long}{close}"));
    }
    put("closed-long.jsonl", &format!("{long}{long_close}"));
    put("closed-short.jsonl", &close);
    put("open-empty.jsonl", "");
    put("open-long.jsonl", &long);
    put("open-torn.jsonl", &format!("{long}{close}{{"));
    put("open-torn-end.jsonl", format!("{long}{close}").trim_end());
    put("open-trick.jsonl", &format!("{long}{trick}"));
    put("open-unsealed.jsonl", "{\"event\":\"close\"}\n");
    // None of these is a job.
    put("A.torn-20260101T000000Z", "{");
    put("no job.jsonl", "{");
    fs::create_dir(folder.path().join("folder.jsonl")).unwrap();
    symlink("open-long.jsonl", folder.path().join("link.jsonl")).unwrap();

    let start = Instant::now();
    let open = book.open_jobs().unwrap();
    let took = start.elapsed();
    loud(&format!("open jobs among 2008 found in {took:.1?}"));
    let open: Vec<_> = open.iter().map(JobName::as_str).collect();
    let want = "open-empty open-long open-torn open-torn-end open-trick open-unsealed";
    assert_eq!(open, want.split(' ').collect::<Vec<_>>());
    assert_eq!(book.jobs().unwrap().len(), 2008);
}

#[test]
fn nothing_but_an_ordinary_file_of_bounded_size_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let writer = writer(folder.path());
    let path = writer.book().path(&name());
    let codes = || {
        let read = writer.book().read(&name()).unwrap_err().code;
        let resumed = done(writer.resume(&name())).unwrap_err().trouble().code;
        (read, resumed)
    };
    assert_eq!(codes(), ("job-unknown", "job-unknown"));
    let made = Command::new("mkfifo").arg(&path).status().unwrap();
    assert!(made.success());
    assert_eq!(codes(), ("job-unreadable", "job-not-opened"));
    fs::remove_file(&path).unwrap();
    symlink("/dev/zero", &path).unwrap();
    assert_eq!(codes(), ("job-unreadable", "job-not-opened"));
    fs::remove_file(&path).unwrap();
    let huge = fs::File::create(&path).unwrap();
    huge.set_len(panbell::book::FILE_LIMIT + 1).unwrap();
    assert_eq!(codes(), ("job-too-big", "job-too-big"));
}
