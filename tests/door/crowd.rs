//! Many who hang on, send a byte a second, or never read: the bench, the commands and, after a
//! while, the page do not notice.

use std::io::Write as _;
use std::net::TcpStream;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::page::{Door, desk};
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
