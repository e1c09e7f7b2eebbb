//! The book when the disk fills up, the disk does not confirm, the process is killed, or another
//! process holds it. All of it real: the test runs itself again as a process of its own.

use std::fs;
use std::io::{self, BufRead as _, BufReader, Read as _, Write as _};
use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use panbell::book::{AppendTrouble, Book, JobName, Synced};
use panbell::job::{self, Verdict};
use rustix::process::{Resource, Rlimit, setrlimit};

use super::{done, go_on, loud, name, sample, verify, writer};

const DO: &str = "BOOK_TEST_DO";
const FOLDER: &str = "BOOK_TEST_FOLDER";
const LIMIT: &str = "BOOK_TEST_LIMIT";
const SIGXFSZ: i32 = 25;
const SIGKILL: i32 = 9;

/// This test program again, after `before` (a program that runs it, or nothing), doing one thing.
fn again(before: &[&str], what: &str, folder: &Path) -> Command {
    let own = std::env::current_exe().unwrap();
    let mut words: Vec<_> = before.iter().map(Into::into).collect();
    words.push(own.into_os_string());
    let mut command = Command::new(&words[0]);
    command
        .args(&words[1..])
        .args(["--ignored", "--exact", "--nocapture", "disk::child"])
        .env(DO, what)
        .env(FOLDER, folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// Runs it to its end, but not for ever.
fn run(mut command: Command) -> Output {
    let mut child = command.spawn().unwrap();
    let end = Instant::now() + Duration::from_mins(1);
    while child.try_wait().unwrap().is_none() {
        if Instant::now() > end {
            child.kill().unwrap();
            panic!("{command:?} did not end");
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    child.wait_with_output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

fn say(text: &str) {
    // In one go and past the buffer, since the process may be killed next.
    io::stdout()
        .write_all(format!("\n{text}\n").as_bytes())
        .unwrap();
    io::stdout().flush().unwrap();
}

#[test]
#[ignore = "the other side of the tests below, which run it as a process of its own"]
fn child() {
    let Ok(what) = std::env::var(DO) else {
        return loud("disk::child does nothing when it is run by hand");
    };
    let folder = PathBuf::from(std::env::var_os(FOLDER).unwrap());
    match what.as_str() {
        "hold" => {
            let _book = Book::open(&folder).unwrap();
            say("held");
            io::stdin().read_to_end(&mut Vec::new()).unwrap();
        }
        "one" => one_more(&folder),
        "many" => many(&folder),
        "unsure" => unsure(&folder),
        "unconfirmed" => unconfirmed(&folder),
        "full" => full(&folder),
        other => panic!("{other}"),
    }
}

fn one_more(folder: &Path) {
    let writer = writer(folder);
    let n = done(writer.resume(&name())).unwrap().scan.n();
    let none = Rlimit {
        current: Some(0),
        maximum: Some(0),
    };
    setrlimit(Resource::Core, none).unwrap();
    let limit = std::env::var(LIMIT).unwrap().parse().unwrap();
    let limit = Rlimit {
        current: Some(limit),
        maximum: None,
    };
    setrlimit(Resource::Fsize, limit).unwrap();
    let event = r#""event":"capture","mass":"2.00 g""#;
    match done(writer.append(&name(), n, event.into(), Synced::Now)) {
        Ok(recorded) => say(&format!("recorded {}", recorded.n)),
        Err(trouble) => say(&format!("not recorded {trouble:?}")),
    }
}

/// The length of the record that `one_more` appends.
const LINE: usize =
    r#"{"n":5,"at":"2026-01-01T00:00:00.000Z","event":"capture","mass":"2.00 g","chain":""}"#.len()
        + 64
        + 1;

#[test]
fn a_write_cut_off_at_any_byte_with_its_process_leaves_all_that_was_recorded() {
    let (_folder, path) = sample();
    let whole = fs::read(&path).unwrap();
    for part in 0..=LINE {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("A-1.jsonl");
        fs::write(&path, &whole).unwrap();
        let mut command = again(&[], "one", folder.path());
        command.env(LIMIT, (whole.len() + part).to_string());
        let output = run(command);
        let recorded = said(&output).contains("\nrecorded 5\n");
        assert_eq!(recorded, part == LINE, "{part}: {}", said(&output));
        if !recorded {
            assert_eq!(output.status.signal(), Some(SIGXFSZ), "{}", said(&output));
        }
        let left = fs::read(&path).unwrap();
        assert_eq!(left.len(), whole.len() + part);
        let (before, _) = go_on(folder.path());
        assert_eq!(before.scan.n(), if recorded { 5 } else { 4 });
        assert!(before.bytes.starts_with(&whole));
        let torn = before.torn.map_or(0, |torn| torn.bytes);
        assert_eq!(torn, if recorded { 0 } else { part });
    }
}

#[test]
fn a_write_cut_off_at_any_byte_in_a_living_process_is_taken_back() {
    let (_folder, path) = sample();
    let whole = fs::read(&path).unwrap();
    for part in (0..LINE).step_by(9) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("A-1.jsonl");
        fs::write(&path, &whole).unwrap();
        // With this signal ignored, the write fails (EFBIG) and the process lives on.
        let ignore = ["sh", "-c", "trap '' XFSZ; exec \"$0\" \"$@\""];
        let mut command = again(&ignore, "one", folder.path());
        command.env(LIMIT, (whole.len() + part).to_string());
        let output = run(command);
        assert!(output.status.success(), "{}", said(&output));
        assert!(
            said(&output).contains("not recorded Failed("),
            "{}",
            said(&output)
        );
        assert_eq!(fs::read(&path).unwrap(), whole);
    }
}

fn many(folder: &Path) {
    let writer = writer(folder);
    let mut n = done(writer.resume(&name())).unwrap().scan.n();
    loop {
        let event = r#""event":"capture","mass":"2.00 g""#;
        n = done(writer.append(&name(), n, event.into(), Synced::Now))
            .unwrap()
            .n;
        say(&format!("recorded {n}"));
    }
}

#[test]
fn a_killed_process_loses_nothing_that_it_announced() {
    let (folder, path) = sample();
    for round in 0..12_u64 {
        let mut child = again(&[], "many", folder.path()).spawn().unwrap();
        let mut lines = Lines::of(&mut child);
        let first = lines.next_with("recorded ");
        // Different moments of writing, from none to some milliseconds after the first record.
        std::thread::sleep(Duration::from_micros(round * 733));
        child.kill().unwrap();
        assert_eq!(child.wait().unwrap().signal(), Some(SIGKILL));
        let announced = lines.rest().into_iter().chain([first]);
        let announced = announced
            .filter_map(|line| line.strip_prefix("recorded ")?.parse().ok())
            .max()
            .unwrap();
        let (before, _) = go_on(folder.path());
        // The one that was being written may be there too.
        let found = before.scan.n();
        assert!(
            (announced..=announced + 1).contains(&found),
            "{announced} {found}"
        );
    }
    assert!(verify(&path).ends_with(" lines fit"), "{}", verify(&path));
}

#[test]
fn another_process_is_refused_and_told_who_holds_the_book() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = again(&[], "hold", folder.path()).spawn().unwrap();
    let mut lines = Lines::of(&mut child);
    lines.next_with("held");
    let trouble = Book::open(folder.path()).unwrap_err();
    assert_eq!(trouble.code, "book-in-use");
    let pid = format!("(process {})", child.id());
    assert!(trouble.happened.contains(&pid), "{trouble}");
    // However it ends, the lock ends with it.
    child.kill().unwrap();
    child.wait().unwrap();
    Book::open(folder.path()).unwrap();
}

/// Run where the second and every later fdatasync fails; the first is that of the resuming.
fn unsure(folder: &Path) {
    let writer = writer(folder);
    let mut opened = done(writer.resume(&name())).unwrap();
    let event = || r#""event":"note""#.to_owned();
    done(writer.append(&name(), opened.scan.n(), event(), Synced::Soon)).unwrap();
    // Nobody asks: the thread must sync on its own, and tell.
    let waited = Instant::now();
    let told = loop {
        match opened.ended.try_recv() {
            Ok(told) => break told,
            Err(_) if waited.elapsed() < Duration::from_secs(30) => {
                std::thread::sleep(Duration::from_millis(5));
            }
            Err(error) => panic!("{error}"),
        }
    };
    let took = waited.elapsed();
    assert_eq!(told.trouble().code, "record-unsure");
    let append = writer.append(&name(), opened.scan.n() + 1, event(), Synced::Now);
    assert_eq!(done(append).unwrap_err(), told);
    assert_eq!(done(writer.close(&name())).unwrap_err(), told);
    assert_eq!(done(writer.resume(&name())).unwrap_err(), told);
    // Other jobs fail on their own account.
    let other = JobName::new("B").unwrap();
    done(writer.create(&other)).unwrap();
    let unsynced = done(writer.append(&other, 0, event(), Synced::Now)).unwrap_err();
    assert!(matches!(unsynced, AppendTrouble::Final(_)));
    say(&format!("told after {took:.0?}"));
}

/// Run where only the first fdatasync fails, so that a second try would be called good.
fn unconfirmed(folder: &Path) {
    let writer = writer(folder);
    let trouble = done(writer.resume(&name())).unwrap_err();
    assert_eq!(trouble.trouble().code, "record-unsure");
    assert_eq!(done(writer.resume(&name())).unwrap_err(), trouble);
    say("not shown");
}

#[test]
fn a_sync_that_fails_ends_the_file() {
    let works = Command::new("strace")
        .args(["-qq", "-e", "trace=none", "true"])
        .status();
    if !works.is_ok_and(|status| status.success()) {
        return loud(
            "NO REAL FAILED SYNC WAS TRIED: strace is not here or may not trace; \
             src/book/faulty.rs tries a made one",
        );
    }
    let (folder, path) = sample();
    for (when, what, says) in [
        ("2+", "unsure", "\ntold after "),
        ("1", "unconfirmed", "\nnot shown\n"),
    ] {
        let inject = format!("inject=fdatasync:error=EIO:when={when}");
        let strace = ["strace", "-f", "-qq", "-o", "/dev/null", "-e", &inject];
        let output = run(again(&strace, what, folder.path()));
        assert!(output.status.success(), "{}", said(&output));
        assert!(said(&output).contains(says), "{}", said(&output));
    }
    assert_eq!(job::scan(&fs::read(path).unwrap()).n(), 5);
}

/// Run with mounts of its own.
fn full(folder: &Path) {
    let mount = ["-t", "tmpfs", "-o", "size=64k", "tmpfs"];
    let mounted = Command::new("mount").args(mount).arg(folder).status();
    assert!(mounted.unwrap().success(), "mount");
    let ballast = folder.join("ballast");
    fs::write(&ballast, vec![1; 12 * 1024]).unwrap();
    let event = || format!(r#""event":"note","text":"{}""#, "x".repeat(777));
    let first = writer(folder);
    let path = first.book().path(&name());
    done(first.create(&name())).unwrap();
    let mut n = 0;
    let trouble = loop {
        match done(first.append(&name(), n, event(), Synced::Now)) {
            Ok(recorded) => n = recorded.n,
            Err(trouble) => break trouble,
        }
        assert!(n < 100, "it never fills up");
    };
    assert!(matches!(trouble, AppendTrouble::Full(_)), "{trouble:?}");
    assert!(trouble.trouble().passes && trouble.trouble().code == "disk-full");
    assert!(n > 10);
    let scan = job::scan(&fs::read(&path).unwrap());
    assert_eq!((scan.verdict, scan.n()), (Verdict::Clean, n));
    // Still full; then there is room, and it goes on.
    let still = done(first.append(&name(), n, event(), Synced::Now));
    assert_eq!(still.unwrap_err(), trouble);
    fs::remove_file(&ballast).unwrap();
    let recorded = done(first.append(&name(), n, event(), Synced::Now)).unwrap();
    assert_eq!(recorded.n, n + 1);
    assert_eq!(verify(&path), format!("{} lines fit", n + 1));
    drop(first);

    // A torn tail with no room for its copy stays where it is until there is room.
    let whole = fs::read(&path).unwrap();
    let torn = &whole[..whole.len() - 300];
    fs::write(&path, torn).unwrap();
    let mut more = fs::File::create(&ballast).unwrap();
    while more.write_all(&[1; 512]).is_ok() {}
    let second = writer(folder);
    let trouble = done(second.resume(&name())).unwrap_err();
    assert!(matches!(trouble, AppendTrouble::Full(_)), "{trouble:?}");
    assert_eq!(trouble.trouble().code, "job-not-recovered");
    assert_eq!(fs::read(&path).unwrap(), torn);
    fs::remove_file(&ballast).unwrap();
    drop((second, more));
    let (before, _) = go_on(folder);
    assert_eq!((before.scan.n(), before.torn.is_some()), (n, true));
    let names = fs::read_dir(folder).unwrap().count();
    assert_eq!(names, 3, "no half copy is left");
    say("filled");
}

#[test]
fn a_disk_that_fills_up_loses_nothing_and_the_job_goes_on_when_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let root: &[&str] = &["unshare", "--mount"];
    let user: &[&str] = &["unshare", "--user", "--map-root-user", "--mount"];
    let mut refused = String::new();
    for before in [root, user] {
        let may = Command::new(before[0])
            .args(&before[1..])
            .args(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs"])
            .arg(folder.path())
            .output();
        match may {
            Ok(output) if output.status.success() => {
                let output = run(again(before, "full", folder.path()));
                assert!(output.status.success(), "{}", said(&output));
                assert!(said(&output).contains("\nfilled\n"), "{}", said(&output));
                return;
            }
            Ok(output) => refused += &said(&output),
            Err(error) => refused += &error.to_string(),
        }
    }
    loud(&format!(
        "NO REAL DISK WAS FILLED, mounting is refused here ({}); \
         the tests with a file size limit stand in for it",
        refused.trim()
    ));
}

/// The lines that a child says, each waited for with a limit.
struct Lines(std::sync::mpsc::Receiver<String>);

impl Lines {
    fn of(child: &mut Child) -> Self {
        let out = BufReader::new(child.stdout.take().unwrap());
        let (tell, lines) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if tell.send(line).is_err() {
                    break;
                }
            }
        });
        Self(lines)
    }

    fn next_with(&mut self, start: &str) -> String {
        loop {
            let line = self.0.recv_timeout(Duration::from_mins(1));
            let line = line.expect("it says something within a minute");
            if line.starts_with(start) {
                return line;
            }
        }
    }

    /// All further ones, up to the child's end.
    fn rest(self) -> Vec<String> {
        let mut rest = Vec::new();
        while let Ok(line) = self.0.recv_timeout(Duration::from_mins(1)) {
            rest.push(line);
        }
        rest
    }
}
