//! What comes from outside: numbers as people type them, text that hides or commands, files that
//! are none, folders that are not ours alone, and a reader who goes away.

use std::fs::{self, Permissions};
use std::io::{BufRead as _, BufReader};
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _, symlink};
use std::path::Path;
use std::process::{ChildStdout, Stdio};
use std::time::Instant;

use rustix::fs::{CWD, FileType, Mode, mknodat};

use crate::support::desk::{BENCH, Desk, g};
use crate::support::follower::LIMIT;
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::service::{KilledOnDrop, Service, command, plain, run};
use crate::support::wire::RawWire;

fn fifo(path: &Path) {
    mknodat(CWD, path, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).unwrap();
}

// --- Numbers -----------------------------------------------------------------------------------

#[test]
fn a_decimal_comma_is_taken_by_commands_and_over_http_and_files_keep_points() {
    let mut desk = Desk::new();
    desk.ok(&[
        "open",
        "T-1",
        "--target",
        "750,5",
        "--colour",
        "yellow",
        "--add",
        "fine-silver=1,5",
        "--add",
        "fine-copper=2.5",
    ]);
    desk.lot("916,5", "declared:1,5", "20.00");
    let order = |body: &str| http::order(&desk.home.socket(), BENCH, body).unwrap();
    let taken = order(r#"{"order":"plan","add":[{"metal":"fine-silver","share":"0,5"}]}"#);
    assert_eq!(taken.status, 200, "{taken:?}");
    order(r#"{"order":"plan","add":[{"metal":"fine-silver","share":"1,000"}]}"#)
        .is_refused(422, "share-unreadable");
    let said = order(r#"{"order":"plan","add":[{"metal":"fine-silver","share":"1,000"}]}"#);
    for reading in ["(1.000)", "(1000)"] {
        assert!(said.body.contains(reading), "{}", said.body);
    }
    let said = order(r#"{"order":"check-weight","weight":"1,234 g F2"}"#);
    for reading in ["(1.234)", "(1234)"] {
        assert!(
            said.status == 422 && said.body.contains(reading),
            "{said:?}"
        );
    }
    let taken = order(r#"{"order":"check-weight","weight":"20,00 g F2"}"#);
    assert_eq!(taken.status, 200, "{taken:?}");
    desk.service.stop();
    let file = fs::read_to_string(desk.home.job_path("T-1")).unwrap();
    for words in ["\"750.5 ppt\"", "\"916.5 ppt\"", "\"1.5\"", "\"0.5\""] {
        assert!(file.contains(words), "{words}: {file}");
    }
    assert!(!file.contains("750,5") && !file.contains("916,5"), "{file}");
}

// --- Text --------------------------------------------------------------------------------------

/// None of the characters that command a terminal, turn the order of writing or hide.
fn is_plain(text: &str) -> bool {
    !text.chars().any(|c| {
        (c.is_control() && c != '\n')
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
    })
}

#[test]
fn what_was_typed_is_told_back_harmless() {
    let home = Home::new();
    for words in [
        &["--home", "/nowhere\u{1b}[31m", "run"][..],
        &["reckon", "--lot", "\u{1b}]0;title\u{7}", "--to", "585"],
        &["reckon", "--lot", "12\u{202e}g@585", "--to", "585"],
        &["lot", "\u{9b}31m585", "--bogus\u{1b}[2J"],
        &["\u{1b}[31mopen"],
        &["simulate", "--layout", "x\u{1b}[31m\u{200b}"],
        &["verify", "no\u{1b}[31m\u{feff}.jsonl"],
        &["find", "--seconds", "\u{1b}[31m"],
    ] {
        for json in [false, true] {
            let mut command = plain(home.path());
            command.args(words);
            if json {
                command.arg("--json");
            }
            let said = run(&mut command);
            assert_ne!(said.code, 0, "{said:?}");
            assert!(is_plain(&said.out) && is_plain(&said.err), "{said:?}");
            assert!(!said.out.is_empty() || !said.err.is_empty());
        }
    }
}

#[test]
fn a_ticket_that_hides_something_or_is_the_books_own_name_is_refused() {
    let mut desk = Desk::new();
    let open = |ticket: &str| desk.say(&["open", ticket, "--target", "18k", "--colour", "yellow"]);
    for ticket in [
        "K-1\u{200b}",
        "K\u{202e}24",
        "K-\u{1b}[1m1",
        "\u{feff}K-1",
        "K\u{2028}1",
    ] {
        let said = open(ticket);
        assert!(is_plain(&said.err), "{said:?}");
        said.is_refused("holds a character that shows nothing");
    }
    for ticket in ["Check-Weights", "CHECK-WEIGHTS", "check-Weights"] {
        open(ticket).is_refused("cannot be the name of a job");
    }
    assert_eq!(open("check-weights").code, 1);
    let book = fs::read_dir(desk.home.path().join("book")).unwrap();
    let files: Vec<_> = book.map(|file| file.unwrap().file_name()).collect();
    assert_eq!(files, [".lock"]);
    // What stands beside the ticket keeps its letters, and loses what hides.
    let body = "{\"order\":\"open\",\"ticket\":\"K-1\",\"client\":\"ring\u{202e}, \u{5e9}\u{5dc}\",\"target\":\"18k\",\"colour\":\"yellow\",\"use\":\"any\"}";
    assert_eq!(
        http::order(&desk.home.socket(), BENCH, body)
            .unwrap()
            .status,
        200
    );
    desk.lot("916", "fire-assay", "5.00");
    desk.service.stop();
    let file = fs::read_to_string(desk.home.job_path("K-1")).unwrap();
    assert!(file.contains("ring , \u{5e9}\u{5dc}"), "{file}");
}

#[test]
fn a_log_on_a_terminal_begins_with_its_first_line_and_holds_no_token() {
    let home = Home::new();
    let terminal = RawWire::new(&home.path().join("terminal"));
    let bench = home::bench("left", &home.port("left"), "signed-fixed");
    let page = "[page]\nat = \"127.0.0.1:0\"\n";
    home.settings(&format!("{}{page}{bench}", home::NO_DESKTOP));
    let end = fs::File::options()
        .write(true)
        .open(&terminal.port)
        .unwrap();
    let mut service = command(home.path());
    let service = service
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(end);
    let mut service = KilledOnDrop(service.spawn().unwrap());
    let (until, mut log) = (Instant::now() + LIMIT, String::new());
    while !log.contains("panbell is ready") {
        log.push_str(&String::from_utf8_lossy(&terminal.hear()));
        assert!(Instant::now() < until, "{log}");
        assert!(service.0.try_wait().unwrap().is_none(), "{log}");
    }
    let first = log.lines().next().unwrap();
    assert!(first.contains(" INFO "), "{log}");
    let page = run(plain(home.path()).args(["page"])).ends(0);
    let (_, token) = page.trim().split_once("#token=").unwrap();
    log.push_str(&String::from_utf8_lossy(&terminal.hear()));
    assert!(
        log.contains("the bench's page is at http://127.0.0.1:"),
        "{log}"
    );
    assert!(!log.contains(token) && !log.contains('\u{1b}'), "{log}");
}

// --- Files -------------------------------------------------------------------------------------

#[test]
fn what_is_no_file_is_refused_at_once() {
    let home = Home::new();
    let pipe = home.path().join("pipe");
    fifo(&pipe);
    let pipe = pipe.display().to_string();
    let folder = home.path().display().to_string();
    for path in [&*pipe, "/dev/zero", &*folder] {
        run(plain(home.path()).args(["verify", path])).is_refused("not an ordinary file");
        let words = ["simulate", "--layout", "status-first", "--script", path];
        run(plain(home.path()).args(words)).is_refused("not an ordinary file");
    }
    let large = home.path().join("large");
    fs::File::create(&large).unwrap().set_len(65 << 20).unwrap();
    let large = large.display().to_string();
    run(plain(home.path()).args(["verify", &large])).is_refused("larger than 64 MiB");
    let words = ["simulate", "--layout", "status-first", "--script", &large];
    run(plain(home.path()).args(words)).is_refused("larger than 1 MiB");
    let text = home.path().join("odd");
    fs::write(&text, b"put 5 g\n\xff\xfe").unwrap();
    let text = text.display().to_string();
    let words = ["simulate", "--layout", "status-first", "--script", &text];
    run(plain(home.path()).args(words)).is_refused("not text in UTF-8");
}

#[test]
fn a_lock_file_that_is_none_stops_the_start_and_makes_nothing() {
    let home = Home::new();
    home.settings(&home::bench("left", &home.port("left"), "signed-fixed"));
    let runtime = home.path().join("run");
    fs::create_dir(&runtime).unwrap();
    let lock = runtime.join("panbell.lock");
    let refused = |words: &str| run(&mut command(home.path())).is_refused_with(words);
    symlink(home.path().join("elsewhere"), &lock).unwrap();
    refused("Locking the runtime folder");
    assert!(!home.path().join("elsewhere").exists());
    fs::remove_file(&lock).unwrap();
    fifo(&lock);
    refused("not an ordinary file");
    fs::remove_file(&lock).unwrap();
    for mode in [0o777, 0o770, 0o702] {
        fs::set_permissions(&runtime, Permissions::from_mode(mode)).unwrap();
        refused("Others can write in the runtime folder");
        assert_eq!(fs::metadata(&runtime).unwrap().mode() & 0o777, mode);
        assert!(!runtime.join("panbell.sock").exists() && !lock.exists());
    }
    // What others can only read is no hindrance; a lock file of an earlier version is closed.
    fs::set_permissions(&runtime, Permissions::from_mode(0o755)).unwrap();
    fs::write(&lock, "").unwrap();
    fs::set_permissions(&lock, Permissions::from_mode(0o644)).unwrap();
    let mut service = Service::start(&home);
    assert_eq!(fs::metadata(&lock).unwrap().mode() & 0o777, 0o600);
    service.stop();
}

// --- Followers ---------------------------------------------------------------------------------

/// `panbell follow` of a home, with what it prints.
fn follow(home: &Home, words: &[&str]) -> (KilledOnDrop, BufReader<ChildStdout>) {
    let mut command = plain(home.path());
    command.arg("follow").args(words).stdin(Stdio::null());
    let mut child = KilledOnDrop(command.stdout(Stdio::piped()).spawn().unwrap());
    let out = BufReader::new(child.0.stdout.take().unwrap());
    (child, out)
}

#[test]
fn following_ends_with_its_reader_though_nothing_happens() {
    let home = Home::new();
    // A balance that never says anything.
    let _wire = RawWire::new(&home.port("left"));
    let bench = home::bench("left", &home.port("left"), "signed-fixed");
    home.settings(&format!("{}{bench}", home::NO_DESKTOP));
    let _service = Service::start(&home);
    for words in [&["--line"][..], &["--json"]] {
        let (mut child, mut out) = follow(&home, words);
        let mut first = String::new();
        out.read_line(&mut first).unwrap();
        assert!(!first.is_empty());
        drop(out);
        let until = Instant::now() + LIMIT;
        let code = loop {
            if let Some(status) = child.0.try_wait().unwrap() {
                break status.code();
            }
            assert!(Instant::now() < until, "it went on without a reader");
            std::thread::sleep(std::time::Duration::from_millis(5));
        };
        assert_eq!(code, Some(0));
    }
    // With a reader it goes on.
    let (mut child, mut out) = follow(&home, &["--line"]);
    out.read_line(&mut String::new()).unwrap();
    assert!(child.0.try_wait().unwrap().is_none());
}

#[test]
fn following_tells_of_what_was_withdrawn() {
    let mut desk = Desk::new();
    desk.open("T-1", &[]);
    desk.lot("916", "fire-assay", "5.00");
    let (child, out) = follow(&desk.home, &["--line"]);
    let (tell, told) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        for line in out.lines().map_while(Result::ok) {
            if tell.send(line).is_err() {
                return;
            }
        }
    });
    let first = told.recv_timeout(LIMIT).unwrap();
    assert!(!first.contains("Withdrawn"), "{first}");
    desk.ok(&["withdraw"]);
    let until = Instant::now() + LIMIT;
    loop {
        let left = until.saturating_duration_since(Instant::now());
        let line = told.recv_timeout(left).expect("it was never said");
        if line.starts_with("Withdrawn: lot of 916 \u{2030} by fire-assay, 5.00 g;") {
            break;
        }
    }
    desk.put(g("1.00"));
    drop(child);
    desk.service.stop();
}

#[test]
fn a_terminal_shows_no_reading_of_a_service_that_stands_still() {
    let desk = Desk::new();
    let (_child, out) = follow(&desk.home, &["--line"]);
    // Read beside the test, so that a line that never comes is a failure and no wait.
    let (tell, lines) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        out.lines()
            .map_while(Result::ok)
            .all(|it| tell.send(it).is_ok())
    });
    let until = |wanted: &str| {
        let until = Instant::now() + LIMIT;
        let mut last = String::new();
        loop {
            let left = until.saturating_duration_since(Instant::now());
            match lines.recv_timeout(left) {
                Ok(line) if line.contains(wanted) => return line,
                Ok(line) => last = line,
                Err(error) => panic!("no {wanted:?} after {last:?}: {error}"),
            }
        }
    };
    until("0.00 g shown");
    desk.service.signal(rustix::process::Signal::STOP);
    let covered = until("Nothing was heard of the service");
    assert!(covered.contains("no reading"), "{covered}");
    desk.service.signal(rustix::process::Signal::CONT);
    until("0.00 g shown");
}
