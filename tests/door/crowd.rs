//! Many who hang on, send a byte a second, or never read: the bench, the commands and, after a
//! while, the page do not notice.

use std::io::Write as _;
use std::net::TcpStream;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::page::{Door, alone, desk};
use crate::support::http;

/// More than are let in at once over TCP.
const MANY: usize = 200;

#[test]
fn a_crowd_on_tcp_delays_neither_bench_nor_commands_and_the_page_comes_through() {
    let desk = desk();
    let door = Door::of(&desk.home);
    desk.open("T-1", &[]);
    let alone = desk.time_of_lot("3.00");
    let memory = desk.service.memory();
    let mut crowd: Vec<TcpStream> = (0..MANY)
        .map(|_| TcpStream::connect(door.at).unwrap())
        .collect();
    for (stream, at) in crowd.iter_mut().zip(0..) {
        // A third says nothing, a third half a line, a third half an order.
        let text = match at % 3 {
            0 => String::new(),
            1 => "GET / HT".to_owned(),
            _ => format!(
                "POST /v1/bench/-/order HTTP/1.1\r\n{}\r\n{}\r\n{}\r\ncontent-type: application/json\r\ncontent-length: 50\r\n\r\n{{",
                door.host(),
                door.bearer(),
                door.origin()
            ),
        };
        stream.write_all(text.as_bytes()).unwrap();
    }
    // Some go on, a byte at a time, far too slowly.
    let going = Arc::new(AtomicBool::new(true));
    let mut slow: Vec<TcpStream> = crowd[..30]
        .iter()
        .map(|stream| stream.try_clone().unwrap())
        .collect();
    let still = Arc::clone(&going);
    let dripping = std::thread::spawn(move || {
        while still.load(Ordering::Relaxed) {
            for stream in &mut slow {
                stream.write_all(b"x").ok();
            }
            std::thread::sleep(Duration::from_millis(500));
        }
    });
    let began = Instant::now();
    assert_eq!(
        http::get(&desk.home.socket(), "/v1/benches")
            .unwrap()
            .status,
        200
    );
    assert!(
        began.elapsed() < Duration::from_secs(2),
        "{:?}",
        began.elapsed()
    );
    let with = desk.time_of_lot("4.00");
    assert!(
        with < alone * 3 + Duration::from_secs(2),
        "{with:?}, alone {alone:?}"
    );
    assert!(
        began.elapsed() < Duration::from_secs(9),
        "the crowd was there all the while: {:?}",
        began.elapsed()
    );
    // Those who do not come to the point have to go, and the page is reached.
    let reply = door.get("/v1/benches");
    assert_eq!(reply.status, 200, "{reply:?}");
    assert!(
        began.elapsed() < Duration::from_secs(28),
        "{:?}",
        began.elapsed()
    );
    going.store(false, Ordering::Relaxed);
    dripping.join().unwrap();
    let grown = desk.service.memory().saturating_sub(memory);
    assert!(grown < 8 * 1024, "memory grew by {grown} KiB");
    assert_eq!(desk.home.masses("T-1"), ["3.00 g", "4.00 g"]);
}

#[test]
fn followers_on_tcp_that_never_read_cost_neither_time_nor_memory() {
    let desk = desk();
    let door = Door::of(&desk.home);
    desk.open("T-1", &[]);
    let alone = desk.time_of_lot("3.00");
    let memory = desk.service.memory();
    let deaf: Vec<TcpStream> = (0..20)
        .map(|_| {
            let mut stream = TcpStream::connect(door.at).unwrap();
            let (token, host) = (&door.token, door.host());
            write!(
                stream,
                "GET /v1/bench/-/events?token={token} HTTP/1.1\r\n{host}\r\n\r\n"
            )
            .unwrap();
            stream
        })
        .collect();
    desk.follower.readings(desk.follower.mark(), 300);
    let with = desk.time_of_lot("4.00");
    assert!(
        with < alone * 3 + Duration::from_secs(2),
        "{with:?}, alone {alone:?}"
    );
    let grown = desk.service.memory().saturating_sub(memory);
    assert!(grown < 5 * 1024, "memory grew by {grown} KiB");
    drop(deaf);
}

/// How long the page's person waits for the bench.
fn let_in(door: &Door) -> Duration {
    let began = Instant::now();
    let reply = door.get("/v1/benches");
    assert_eq!(reply.status, 200, "{reply:?}");
    began.elapsed()
}

/// Whether the other side has hung up.
fn is_hung_up(stream: &mut TcpStream) -> bool {
    stream.set_nonblocking(true).unwrap();
    let sent = stream.write_all(b"x");
    sent.is_err_and(|error| error.kind() != std::io::ErrorKind::WouldBlock)
}

#[test]
fn the_page_comes_in_at_once_past_six_hundred_who_say_nothing() {
    let (service, home) = alone();
    let door = Door::of(&home);
    let free = let_in(&door);
    let _idle: Vec<TcpStream> = (0..600)
        .map(|_| TcpStream::connect(door.at).unwrap())
        .collect();
    let first = let_in(&door);
    // Those who are there already let it in again and again.
    let mut again: Vec<Duration> = (0..20).map(|_| let_in(&door)).collect();
    again.sort();
    println!(
        "let in after {free:?} alone, {first:?} behind 600 idle connections, then {:?} (the slowest of 20 {:?})",
        again[10], again[19]
    );
    assert!(first < Duration::from_secs(4), "{first:?}");
    assert!(again[19] < Duration::from_secs(2), "{again:?}");
    drop(service);
}

#[test]
fn who_asks_and_never_reads_keeps_nobody_out_and_is_hung_up_on() {
    let desk = desk();
    let door = Door::of(&desk.home);
    desk.open("T-1", &[]);
    let alone = desk.time_of_lot("3.00");
    let memory = desk.service.memory();
    // A person's page is open all the while, and stays so.
    let mut open = TcpStream::connect(door.at).unwrap();
    let (token, host) = (&door.token, door.host());
    write!(
        open,
        "GET /v1/bench/-/events?token={token} HTTP/1.1\r\n{host}\r\n\r\n"
    )
    .unwrap();
    open.set_read_timeout(Some(Duration::from_secs(20)))
        .unwrap();
    let reading = std::thread::spawn(move || {
        let (mut part, mut all) = ([0; 4096], 0);
        while let Ok(count @ 1..) = std::io::Read::read(&mut open, &mut part) {
            all += count;
        }
        all
    });
    let began = Instant::now();
    let request = format!("GET /v1/benches HTTP/1.1\r\n{host}\r\n\r\n").repeat(200);
    let mut deaf: Vec<TcpStream> = (0..130)
        .map(|_| {
            let stream = TcpStream::connect(door.at).unwrap();
            stream.set_nonblocking(true).unwrap();
            stream
        })
        .collect();
    let mut first = None;
    let mut left = deaf.len();
    while left > 0 {
        let in_time = began.elapsed() < Duration::from_secs(40);
        assert!(in_time, "{left} were never hung up on");
        for stream in &mut deaf {
            // As much as is taken.
            while stream.write(request.as_bytes()).is_ok() {}
        }
        first.get_or_insert_with(|| let_in(&door));
        std::thread::sleep(Duration::from_millis(200));
        left = deaf
            .iter_mut()
            .filter_map(|it| (!is_hung_up(it)).then_some(()))
            .count();
    }
    println!(
        "let in after {:?} past 130 who never read; the last of them hung up on after {:?}",
        first.unwrap(),
        began.elapsed()
    );
    assert!(first.unwrap() < Duration::from_secs(4), "{first:?}");
    let with = desk.time_of_lot("4.00");
    assert!(
        with < alone * 3 + Duration::from_secs(2),
        "{with:?}, alone {alone:?}"
    );
    let grown = desk.service.memory().saturating_sub(memory);
    println!("memory grew by {grown} KiB");
    assert!(grown < 8 * 1024, "memory grew by {grown} KiB");
    drop(desk);
    assert!(
        reading.join().unwrap() > 10_000,
        "the open page was cut off"
    );
}
