//! What is wrong from outside: ports, bytes, settings, orders, HTTP. Each is told clearly; the
//! service stays up, and what was recorded stays.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::time::{Duration, Instant};

use crate::support::desk::{BENCH, Desk, g, pretend};
use crate::support::follower::Follower;
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::service::{self, Service, command, plain, run};
use crate::support::wire::RawWire;

/// A home whose only bench reads this port.
fn home_with(prepare: impl FnOnce(&Home)) -> Home {
    let home = Home::new();
    prepare(&home);
    let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
    home.settings(&format!("{}{bench}", home::NO_DESKTOP));
    home
}

fn open(home: &Home) -> String {
    let words = ["open", "T-1", "--target", "750", "--colour", "red"];
    run(plain(home.path()).args(words)).ends(3)
}

#[test]
fn a_port_that_is_not_there_or_no_port_is_told_and_taken_up_when_it_comes() {
    let home = home_with(|_| {});
    let mut service = Service::start(&home);
    service.until_logged("port-absent");
    let said = open(&home);
    assert!(said.contains("is not there"), "{said}");
    fs::write(home.port(BENCH), "no port").unwrap();
    service.until_logged("is an ordinary file, not a serial port");
    fs::remove_file(home.port(BENCH)).unwrap();
    let absent = || service.log().matches("port-absent").count();
    let until = Instant::now() + Duration::from_secs(20);
    while absent() < 2 {
        assert!(Instant::now() < until, "{}", service.log());
        std::thread::sleep(Duration::from_millis(10));
    }
    // Tried many times more, and told no more.
    std::thread::sleep(Duration::from_secs(1));
    assert_eq!(absent(), 2, "{}", service.log());
    let _balance = pretend(&home.port(BENCH), 50);
    let follower = Follower::start(&home.socket(), BENCH);
    follower.wait(0, "readings", |event, data| {
        event == "reading" && data["unit"] == "agreed"
    });
    service.stop();
}

#[test]
fn a_port_of_another_program_is_told_with_its_name() {
    let home = home_with(|_| {});
    let _balance = pretend(&home.port(BENCH), 50);
    let mut holder = std::process::Command::new("flock");
    holder
        .args(["--exclusive", "--no-fork"])
        .arg(home.port(BENCH).canonicalize().unwrap())
        .args(["sleep", "60"]);
    let holder = service::KilledOnDrop(holder.spawn().expect("flock is part of util-linux"));
    let until = Instant::now() + Duration::from_secs(20);
    let name = format!("/proc/{}/comm", holder.0.id());
    while fs::read_to_string(&name).unwrap().trim() != "sleep" {
        assert!(Instant::now() < until, "the other program did not start");
        std::thread::sleep(Duration::from_millis(10));
    }
    let mut service = Service::start(&home);
    let words = format!("sleep (process {})", holder.0.id());
    service.until_logged(&words);
    let said = open(&home);
    assert!(
        said.contains("Another program has the port") && said.contains(&words),
        "{said}"
    );
    drop(holder);
    service.until_logged("port opened");
    service.stop();
}

/// Starts the service as one who may not open just anything, which root may.
fn by_an_ordinary_user(home: &Home) -> std::process::Command {
    if !rustix::process::geteuid().is_root() {
        return service::command(home.path());
    }
    for path in [
        home.path().to_owned(),
        home.path().join("panbell.toml"),
        home.path().join("shelf.toml"),
    ] {
        std::os::unix::fs::chown(path, Some(65_534), Some(65_534)).unwrap();
    }
    // The user must be able to reach the program, wherever it was built.
    let program = home.path().join("program");
    fs::copy(service::PANBELL, &program).unwrap();
    fs::set_permissions(&program, fs::Permissions::from_mode(0o755)).unwrap();
    let mut setpriv = std::process::Command::new("setpriv");
    setpriv
        .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
        .arg(program)
        .arg("--home")
        .arg(home.path())
        .arg("run");
    service::cut_off(&mut setpriv, home.path());
    setpriv
}

#[test]
fn a_book_that_cannot_be_written_any_more_is_told_at_the_start() {
    let home = home_with(|_| {});
    let book = home.path().join("book");
    fs::create_dir(&book).unwrap();
    // Left by a service that could write there.
    fs::write(book.join(".lock"), "").unwrap();
    let mut command = by_an_ordinary_user(&home);
    for (path, mode) in [(book.join(".lock"), 0o666), (book.clone(), 0o555)] {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    }
    let said = run(&mut command);
    let words = format!(
        "The book in {} could not be opened for writing",
        book.display()
    );
    said.is_refused_with(&words);
    assert!(!said.err.contains("panbell is ready"), "{said:?}");
}

#[test]
fn a_port_without_permission_is_told_with_owner_and_mode() {
    let home = home_with(|_| {});
    let wire = RawWire::new(&home.port(BENCH));
    fs::set_permissions(&wire.port, fs::Permissions::from_mode(0o000)).unwrap();
    let mut service = Service::spawn(&home, by_an_ordinary_user(&home));
    service.until_ready();
    service.until_logged("port-no-permission");
    let log = service.log();
    assert!(
        log.contains("with mode 0000") && log.contains("may not be opened by"),
        "{log}"
    );
    let said = open(&home);
    assert!(said.contains("may not be opened by"), "{said}");
    service.stop();
}

#[test]
fn bytes_that_are_no_weighing_are_never_a_mass() {
    let home = home_with(|_| {});
    let wire = RawWire::new(&home.port(BENCH));
    let mut service = Service::start(&home);
    service.until_logged("port opened");
    let follower = Follower::start(&home.socket(), BENCH);
    let good = |line: &str, number: usize| {
        for _ in 0..number {
            let mark = follower.mark();
            wire.send(format!("{line}\r\n").as_bytes());
            follower.wait(mark, line, |event, _| event == "reading");
            std::thread::sleep(Duration::from_millis(20));
        }
    };
    wire.send(b"\r\n");
    good("stable    0.00 g", 3);
    let words = ["open", "T-1", "--target", "750", "--colour", "red"];
    run(plain(home.path()).args(words)).ends(0);
    run(plain(home.path()).args(["lot", "916", "fire-assay"])).ends(0);
    good("stable    0.00 g", 20);

    let odd: [&[u8]; 14] = [
        b"stable   1.0e3 g",
        b"stable 1234567890123 g",
        b"stable 0.12345678901 g",
        b"stable   14.8.6 g",
        b"stable   14,86 g",
        b"stable   14.86 g trailing",
        b"stable   14.86 g\xff\xfe",
        b"stabl\xe9   14.86 g",
        b"\x00\x00\x00\x00\x00",
        b"stable   NaN g",
        b"stable   inf g",
        b"stable   0x10 g",
        b"stable   -     g",
        &[b'7'; 5000],
    ];
    for line in odd {
        let mark = follower.mark();
        let shown = |data: &serde_json::Value| data["shown"].as_str().unwrap_or("").to_owned();
        for _ in 0..25 {
            wire.send(line);
            wire.send(b"\r\n\r\n\n");
            std::thread::sleep(Duration::from_millis(2));
        }
        // A symbol that no file knows is a reading, in conflict; nothing else here is one.
        follower.wait(mark, &line.escape_ascii().to_string(), |event, data| {
            (event == "state" && data["link"] == "garbled")
                || (event == "reading" && data["unit"] == "conflict")
        });
        for (event, data) in follower.since(mark) {
            if event == "reading" {
                assert!(shown(&data).ends_with("(unknown unit)"), "{data}");
            }
        }
        good("stable    0.00 g", 4);
    }
    // What a wrong speed or framing makes of a line: bits shifted, check bits left in.
    let mark = follower.mark();
    for shift in 0..40_u8 {
        let noise: Vec<u8> = b"stable   14.86 g\r\n"
            .iter()
            .map(|byte| byte.rotate_left(u32::from(shift % 7) + 1) | 0x80)
            .collect();
        wire.send(&noise);
    }
    wire.send(b"\r\n");
    good("stable    0.00 g", 20);
    assert!(
        follower
            .bells_since(mark)
            .iter()
            .all(|bell| bell != "recorded")
    );
    good("stable   -5.00 g", 30);
    assert!(home.masses("T-1").is_empty());
    // After all that a real load is taken as ever.
    good("stable    0.00 g", 20);
    let mark = follower.mark();
    good("stable   14.86 g", 30);
    follower.bell(mark, "recorded");
    assert_eq!(home.masses("T-1"), ["14.86 g"]);
    service.stop();
}

#[test]
fn settings_that_are_wrong_are_told_with_file_line_and_the_nearest_key() {
    let home = Home::new();
    run(&mut command(home.path())).is_refused_with("There is no settings file");
    let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
    home.settings(&bench.replace("dwell_seconds", "dwel_seconds"));
    let said = run(&mut command(home.path()));
    said.is_refused_with("panbell.toml");
    assert!(
        said.err.starts_with("Line 9 of ")
            && said.err.contains("nearest known one is \"dwell_seconds\""),
        "{said:?}"
    );
    home.settings(&bench.replace("port =", "prot ="));
    run(&mut command(home.path())).is_refused_with("port");
    home.settings("[[bench]\n");
    run(&mut command(home.path())).is_refused_with("ine 1");
    fs::write(home.path().join("panbell.toml"), [0xff, 0xfe, 0x00]).unwrap();
    run(&mut command(home.path())).is_refused_with("panbell.toml");
    assert!(!home.path().join("book").exists(), "nothing was begun");
}

#[test]
fn a_second_service_on_the_same_home_does_not_start_and_the_first_goes_on() {
    let mut desk = Desk::new();
    desk.open("T-1", &[]);
    let said = run(&mut command(desk.home.path()));
    assert_eq!(said.code, 1, "{said:?}");
    assert!(
        said.err.contains("another") || said.err.contains("already"),
        "{said:?}"
    );
    assert!(desk.service.is_running() && desk.home.socket().exists());
    desk.lot("916", "fire-assay", "5.00");
    assert_eq!(desk.home.masses("T-1"), ["5.00 g"]);
}

#[test]
fn http_that_is_nonsense_is_refused_and_harms_nothing() {
    let mut desk = Desk::new();
    desk.open("T-1", &[]);
    desk.lot("916", "fire-assay", "5.00");
    let socket = desk.home.socket();
    let order = |body: &str| http::order(&socket, BENCH, body).unwrap();
    order("{").is_refused(400, "order-unreadable");
    order("[1,2]").is_refused(422, "order-unreadable");
    order("").is_refused(400, "order-unreadable");
    order("\u{0}\u{ffff}").is_refused(400, "order-unreadable");
    order(r#"{"order":"melt"}"#).is_refused(422, "order-unreadable");
    order(r#"{"order":"take","now":true}"#).is_refused(422, "order-unreadable");
    order(r#"{"order":"lot","fineness":750,"basis":"fire-assay"}"#)
        .is_refused(422, "order-unreadable");
    order(r#"{"order":"lot","fineness":"-750","basis":"fire-assay"}"#)
        .is_refused(422, "fineness-unreadable");
    order(&"[".repeat(60_000)).is_refused(422, "order-unreadable");
    let huge = format!(
        r#"{{"order":"lot","fineness":"750","basis":"fire-assay","note":"{}"}}"#,
        "n".repeat(100_000)
    );
    order(&huge).is_refused(413, "order-unreadable");
    let long = format!(
        r#"{{"order":"lot","fineness":"750","basis":"fire-assay","note":"{}"}}"#,
        "n".repeat(201)
    );
    order(&long).is_refused(422, "text-too-long");
    let path = format!("/v1/bench/{BENCH}/order");
    let plain_text = http::request(&socket, "POST", &path, "text/plain", r#"{"order":"take"}"#);
    plain_text.unwrap().is_refused(415, "order-unreadable");
    http::get(&socket, "/v1/bench/right")
        .unwrap()
        .is_refused(404, "bench-unknown");
    http::order(&socket, "right", r#"{"order":"take"}"#)
        .unwrap()
        .is_refused(404, "bench-unknown");
    http::get(&socket, "/v1/bench/right/events")
        .unwrap()
        .is_refused(404, "bench-unknown");
    http::get(&socket, "/v2/everything")
        .unwrap()
        .is_refused(404, "no-such-route");
    http::get(&socket, "/v1/bench/%2e%2e%2f")
        .unwrap()
        .is_refused(404, "bench-unknown");
    assert_eq!(http::get(&socket, &path).unwrap().status, 405);
    let endless = vec![b'A'; 1_000_000];
    for bytes in [
        &b"\xff\xfe\x00\r\n\r\n"[..],
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        &endless,
    ] {
        // An answer or a hang-up, but an end in either case.
        if let Ok(reply) = http::raw(&socket, bytes) {
            assert!((400..600).contains(&reply.status), "{reply:?}");
        }
    }
    // An order that is never sent to its end holds nothing up.
    let mut half = std::os::unix::net::UnixStream::connect(&socket).unwrap();
    std::io::Write::write_all(&mut half, b"POST /v1/bench/-/order HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ncontent-length: 50\r\n\r\n{").unwrap();
    assert!(desk.service.is_running());
    desk.lot("916", "fire-assay", "6.00");
    assert_eq!(desk.home.masses("T-1"), ["5.00 g", "6.00 g"]);
    drop(half);
    desk.place(g("1.00"));
    desk.verify();
}

/// Half a first line, or zeros, as a power cut leaves them, do not block a ticket in silence.
#[test]
fn a_ticket_whose_file_holds_no_record_is_opened_and_the_file_set_aside() {
    let mut desk = Desk::new();
    desk.service.stop();
    let half: &[u8] = br#"{"n":1,"at":"2026-01-05T09:12:44.123Z","event":"open","format"#;
    for (ticket, left) in [("T-1", half), ("T-2", &[0; 4096])] {
        std::fs::write(desk.home.job_path(ticket), left).unwrap();
    }
    desk.start_again();
    desk.service.until_logged("holds no whole record");
    for ticket in ["T-1", "T-2"] {
        let words = ["open", ticket, "--target", "18k", "--colour", "yellow"];
        let said = desk.say(&words).ends(3);
        assert!(said.contains("set aside in the book as"), "{said}");
        desk.lot("916", "fire-assay", "5.00");
        assert_eq!(desk.home.masses(ticket), ["5.00 g"]);
        let mark = desk.view()["actions"].clone();
        let close = mark
            .as_array()
            .unwrap()
            .iter()
            .find(|it| it["action"] == "close");
        let confirm = close
            .and_then(|it| it["confirm"].as_str())
            .map(str::to_owned);
        let confirm = confirm.as_deref().unwrap_or("00000000");
        desk.say(&["close", "--confirm", confirm]).ends(3);
    }
    let book = std::fs::read_dir(desk.home.path().join("book")).unwrap();
    let aside = book.filter(|it| {
        let name = it.as_ref().unwrap().file_name();
        name.to_string_lossy().contains(".torn-")
    });
    assert_eq!(aside.count(), 2);
    desk.verify();
}

/// The most memory that a process ever held, in KiB.
fn most_memory(pid: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let number = line.unwrap().split_whitespace().nth(1).unwrap();
    number.parse().unwrap()
}

/// A job file of the largest size that is read, in the way of a ticket, is not read at all on the loop
/// that every bench shares.
#[test]
fn a_huge_file_in_the_way_of_a_ticket_is_not_read() {
    let desk = Desk::new();
    let huge = std::fs::File::create(desk.home.job_path("T-9")).unwrap();
    huge.set_len(64 << 20).unwrap();
    let memory = most_memory(desk.service.pid());
    for _ in 0..5 {
        desk.say(&["open", "T-9", "--target", "18k", "--colour", "yellow"])
            .is_refused("already has a job T-9");
    }
    let grown = most_memory(desk.service.pid()) - memory;
    println!("memory grew by {grown} KiB");
    assert!(grown < 8 * 1024, "memory grew by {grown} KiB");
}
