//! Many who begin a handshake and go on slowly or not at all: neither the bench nor the page of
//! this computer notices, and a device comes through, also from an address that a stranger has too, and
//! also when its own connections of before are dead.

use std::io::{BufRead as _, BufReader, ErrorKind, Read as _, Write as _};
use std::net::{Ipv4Addr, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::device::{Device, LIMIT, alone, desk, json_of, reached};
use crate::support::http;

/// More than are let in at once.
const MANY: usize = 150;

/// What one address may have of them.
const OF_ONE: usize = 24;

/// The head of a handshake record that promises 512 bytes, and of the hello in it (RFC 8446, 4 and
/// 5.1).
const HELLO: [u8; 9] = [0x16, 3, 1, 2, 0, 1, 0, 1, 0xfc];

/// An address of the loopback network that is nobody's.
fn stranger(at: usize) -> Ipv4Addr {
    Ipv4Addr::new(127, 0, 0, u8::try_from(at).unwrap())
}

/// Whether the other side still has this connection; waits for that as long as `patience`.
fn is_held(stream: &mut TcpStream, patience: Duration) -> bool {
    stream.set_read_timeout(Some(patience)).unwrap();
    match stream.read(&mut [0]) {
        Ok(0) => false,
        Ok(_) => panic!("nothing was asked"),
        Err(error) => match error.kind() {
            ErrorKind::WouldBlock | ErrorKind::TimedOut => true,
            ErrorKind::ConnectionReset => false,
            _ => panic!("{error}"),
        },
    }
}

#[test]
fn one_stranger_takes_its_share_of_the_places_and_no_more() {
    let (_service, home) = alone();
    let device = Device::paired(&home, "tablet").coming_from(stranger(3));
    let mut crowd: Vec<TcpStream> = (0..MANY)
        .map(|_| reached(device.at, stranger(2)).unwrap())
        .collect();
    let reply = device.get("/v1/benches");
    assert_eq!(reply.status, 200, "{reply:?}");
    // So many are waited for, and all others were hung up on.
    let soon = Duration::from_millis(1);
    let until = Instant::now() + Duration::from_secs(4);
    loop {
        let held = crowd
            .iter_mut()
            .filter_map(|it| is_held(it, soon).then_some(()))
            .count();
        if held <= OF_ONE {
            break;
        }
        assert!(Instant::now() < until, "{held} are held");
    }
    // When those are gone, it may come again.
    drop(crowd);
    let until = Instant::now() + LIMIT;
    let again = device.coming_from(stranger(2));
    while again.connect().is_err() {
        assert!(Instant::now() < until, "it is never let in again");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn slow_handshakes_delay_neither_bench_nor_commands_nor_the_page_here() {
    let desk = desk();
    let device = Device::paired(&desk.home, "tablet");
    desk.open("T-1", &[]);
    let alone = desk.time_of_lot("3.00");
    let memory = desk.service.memory();
    let began = Instant::now();
    let mut crowd: Vec<TcpStream> = (0..MANY)
        .map(|at| reached(device.at, stranger(2 + at / OF_ONE)).unwrap())
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
    let asked = Instant::now();
    let reply = device.get("/v1/bench/-");
    assert_eq!(reply.status, 200, "{reply:?}");
    println!(
        "let in {:?} after it asked, past {MANY} slow handshakes",
        asked.elapsed()
    );
    assert!(
        asked.elapsed() < Duration::from_secs(4),
        "{:?}",
        asked.elapsed()
    );
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

/// A tablet behind the same address as a stranger that takes every place of it, over and over.
#[test]
fn a_stranger_at_the_same_address_keeps_no_tablet_out() {
    let (_service, home) = alone();
    let tablet = Device::paired(&home, "tablet").coming_from(stranger(3));
    let (going, at) = (Arc::new(AtomicBool::new(true)), tablet.at);
    let still = Arc::clone(&going);
    let other = std::thread::spawn(move || {
        let mut taken: Vec<TcpStream> = Vec::new();
        let mut times = 0;
        while still.load(Ordering::Relaxed) {
            let soon = Duration::from_millis(1);
            taken.retain_mut(|it| is_held(it, soon));
            while taken.len() < OF_ONE + 4 {
                taken.push(reached(at, stranger(3)).unwrap());
                times += 1;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        times
    });
    let (mut let_in, mut slowest) = (0, Duration::ZERO);
    std::thread::sleep(Duration::from_millis(500));
    for _ in 0..37 {
        let began = Instant::now();
        // A browser comes again when it was hung up on.
        let again = (0..3).any(|_| {
            tablet
                .try_get("/v1/benches")
                .is_ok_and(|it| it.status == 200)
        });
        let_in += u32::from(again);
        // As a person looks, not all at once.
        std::thread::sleep(Duration::from_millis(40));
        slowest = slowest.max(began.elapsed());
    }
    going.store(false, Ordering::Relaxed);
    let times = other.join().unwrap();
    println!(
        "{let_in} of 37 requests came through, the slowest in {slowest:?}, past {times} connections of the stranger"
    );
    assert_eq!(let_in, 37);
}

/// What a link that was cut leaves behind: streams that look alive and are not.
#[test]
fn a_device_whose_streams_are_dead_comes_in_again_and_again() {
    let (_service, home) = alone();
    let tablet = Device::paired(&home, "tablet").coming_from(stranger(3));
    let phone = Device::paired(&home, "phone").coming_from(stranger(3));
    let dead: Vec<_> = (0..2 * OF_ONE).map(|_| tablet.events()).collect();
    let began = Instant::now();
    for _ in 0..10 {
        assert_eq!(tablet.get("/v1/benches").status, 200);
        assert_eq!(phone.get("/v1/benches").status, 200);
    }
    let mut stream = BufReader::new(tablet.events());
    let mut line = String::new();
    while !line.starts_with("event: state") {
        line.clear();
        assert_ne!(stream.read_line(&mut line).unwrap(), 0, "it ended early");
    }
    println!(
        "a device with {} dead streams is let in, ten times, in {:?}",
        dead.len(),
        began.elapsed()
    );
    assert!(began.elapsed() < Duration::from_secs(8));
    drop(dead);
}
