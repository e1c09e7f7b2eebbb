//! Many who begin a handshake and go on slowly or not at all: neither the bench nor the page of
//! this computer notices, and after a while a device comes through.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use crate::device::{Device, desk, json_of};
use crate::support::http;

/// More than are let in at once.
const MANY: usize = 150;

/// The head of a handshake record that promises 512 bytes, and of the hello in it (RFC 8446, 4 and
/// 5.1).
const HELLO: [u8; 9] = [0x16, 3, 1, 2, 0, 1, 0, 1, 0xfc];

#[test]
fn slow_handshakes_delay_neither_bench_nor_commands_nor_the_page_here() {
    let desk = desk();
    let device = Device::paired(&desk.home, "tablet");
    desk.open("T-1", &[]);
    let alone = desk.time_of_lot("3.00");
    let memory = desk.service.memory();
    let began = Instant::now();
    let mut crowd: Vec<TcpStream> = (0..MANY)
        .map(|_| TcpStream::connect(device.at).unwrap())
        .collect();
    for (stream, at) in crowd.iter_mut().zip(0..) {
        // A third says nothing, a third a byte, a third half a hello.
        let sent: &[u8] = match at % 3 {
            0 => &[],
            1 => &HELLO[..1],
            _ => &HELLO,
        };
        stream.write_all(sent).unwrap();
    }
    let reply = http::get(&desk.home.socket(), "/v1/benches").unwrap();
    assert_eq!(reply.status, 200);
    let page = json_of(&desk.home, &["page"]);
    let (address, _) = page["address"].as_str().unwrap().split_once("/#").unwrap();
    let at = address.strip_prefix("http://").unwrap();
    let index = format!("GET / HTTP/1.1\r\nhost: {at}\r\nconnection: close\r\n\r\n");
    let reply = http::raw_tcp(at.parse().unwrap(), index.as_bytes()).unwrap();
    assert_eq!(reply.status, 200);
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
    // Those who do not come to the point have to go.
    let reply = device.get("/v1/bench/-");
    assert_eq!(reply.status, 200, "{reply:?}");
    let took = began.elapsed();
    assert!(
        took > Duration::from_secs(8),
        "all places were taken: {took:?}"
    );
    assert!(took < Duration::from_secs(35), "{took:?}");
    let grown = desk.service.memory().saturating_sub(memory);
    assert!(grown < 8 * 1024, "memory grew by {grown} KiB");
    assert_eq!(desk.home.masses("T-1"), ["3.00 g", "4.00 g"]);
}

#[test]
fn a_stop_waits_for_no_handshake_and_ends_the_streams_of_devices() {
    let mut desk = desk();
    let device = Device::paired(&desk.home, "tablet");
    let mut stream = BufReader::new(device.events());
    let mut line = String::new();
    while !line.starts_with("event: reading") {
        line.clear();
        assert_ne!(stream.read_line(&mut line).unwrap(), 0, "it ended early");
    }
    let mut half = TcpStream::connect(device.at).unwrap();
    half.write_all(&HELLO).unwrap();
    let took = desk.service.stop();
    // Open connections have two seconds.
    assert!(took < Duration::from_millis(1800), "{took:?}");
    while line.trim_end() != "0" {
        line.clear();
        assert_ne!(stream.read_line(&mut line).unwrap(), 0, "it broke off");
    }
    assert!(
        TcpStream::connect(device.at).is_err(),
        "nobody listens there"
    );
}
