//! The live stream over TCP: its ids, going on after being cut off, and its end.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::page::{Door, alone, desk};
use crate::support::desk::{BENCH, g};
use crate::support::follower::LIMIT;

/// One event as it came.
#[derive(Debug, Clone)]
struct Heard {
    event: String,
    id: String,
    data: Value,
}

/// A stream, read line by line.
struct Stream {
    lines: BufReader<TcpStream>,
    retry: Option<String>,
}

impl Stream {
    /// As a browser's `EventSource` opens it: the token in the address.
    fn open(door: &Door, after: Option<&str>) -> Self {
        let mut stream = TcpStream::connect(door.at).unwrap();
        stream.set_read_timeout(Some(LIMIT)).unwrap();
        let after = after.map_or_else(String::new, |id| format!("last-event-id: {id}\r\n"));
        write!(
            stream,
            "GET /v1/bench/{BENCH}/events?token={} HTTP/1.1\r\n{}\r\nsec-fetch-site: same-origin\r\n{after}\r\n",
            door.token,
            door.host()
        )
        .unwrap();
        let mut stream = Self {
            lines: BufReader::new(stream),
            retry: None,
        };
        let mut head = String::new();
        loop {
            match stream.line().expect("an answer") {
                line if line.is_empty() => break,
                line => head.push_str(&(line.to_lowercase() + "\n")),
            }
        }
        assert!(head.starts_with("http/1.1 200"), "{head}");
        assert!(head.contains("content-type: text/event-stream"), "{head}");
        stream
    }

    /// The next line; none at the end.
    fn line(&mut self) -> Option<String> {
        let mut line = String::new();
        match self.lines.read_line(&mut line).expect("in time") {
            0 => None,
            _ => Some(line.trim_end().to_owned()),
        }
    }

    /// The next event. The sizes of chunks stand on lines of their own and are no fields.
    fn next(&mut self) -> Option<Heard> {
        let (mut event, mut id, mut data) = (None, None, None);
        loop {
            let line = self.line()?;
            match line.split_once(": ") {
                Some(("event", text)) => event = Some(text.to_owned()),
                Some(("id", text)) => id = Some(text.to_owned()),
                Some(("data", text)) => data = Some(serde_json::from_str(text).unwrap()),
                Some(("retry", text)) => self.retry = Some(text.to_owned()),
                _ if line.is_empty() && event.is_some() => {
                    return Some(Heard {
                        event: event?,
                        id: id.expect("every event has an id"),
                        data: data.expect("every event has data"),
                    });
                }
                _ => {}
            }
        }
    }

    /// The first event of which it holds, and all before it.
    fn until(&mut self, what: &str, wanted: impl Fn(&Heard) -> bool) -> Vec<Heard> {
        let end = Instant::now() + LIMIT;
        let mut all = Vec::new();
        loop {
            assert!(Instant::now() < end, "{what} never came: {all:?}");
            all.push(self.next().expect("the stream goes on"));
            if all.last().is_some_and(&wanted) {
                return all;
            }
        }
    }
}

fn number(id: &str) -> u64 {
    id.split_once('.').unwrap().1.parse().unwrap()
}

fn run(id: &str) -> &str {
    id.split_once('.').unwrap().0
}

fn is_bell(heard: &Heard, bell: &str) -> bool {
    heard.event == "bell" && heard.data["bell"] == bell
}

#[test]
fn ids_count_up_and_one_who_was_cut_off_goes_on_where_it_was() {
    let desk = desk();
    let door = Door::of(&desk.home);
    let mut stream = Stream::open(&door, None);
    let all = stream.until("readings", |heard| {
        heard.event == "reading" && heard.data["unit"] == "agreed"
    });
    assert_eq!(all[0].event, "state", "the whole state comes first");
    let retry: u64 = stream.retry.as_deref().unwrap().parse().unwrap();
    assert!((500..=10_000).contains(&retry), "{retry}");
    for pair in all.windows(2) {
        assert_eq!(run(&pair[0].id), run(&pair[1].id));
        assert_eq!(number(&pair[0].id) + 1, number(&pair[1].id), "{all:?}");
    }
    // Cut off, and a lot is recorded meanwhile.
    let last = all.last().unwrap().id.clone();
    drop(stream);
    desk.open("T-1", &[]);
    desk.lot("916", "fire-assay", "5.00");
    let mut stream = Stream::open(&door, Some(&last));
    let missed = stream.until("the bell", |heard| is_bell(heard, "recorded"));
    for pair in missed.windows(2) {
        assert!(number(&pair[0].id) < number(&pair[1].id), "{missed:?}");
    }
    assert!(number(&missed[0].id) > number(&last));
    // An old reading is not shown as if it were a new one, and the state is there at the end.
    assert!(
        missed.iter().all(|heard| heard.event != "reading"),
        "{missed:?}"
    );
    let rest = stream.until("the lot in a state", |heard| {
        heard.event == "state" && heard.data["job"]["weighed"][0]["mass"] == "5.00 g"
    });
    // From there on it is live again, without a gap.
    let live = stream.until("two live readings", |heard| heard.event == "reading");
    assert!(number(&live[0].id) > number(&rest.last().unwrap().id));
}

#[test]
fn one_that_names_what_is_gone_or_never_was_gets_the_whole_state() {
    let mut desk = desk();
    let door = Door::of(&desk.home);
    let first = Stream::open(&door, None).next().unwrap();
    let here = run(&first.id);
    for odd in [
        format!("{here}.999999999"),
        format!("{here}."),
        format!("{here}.-1"),
        "0000000000000000.1".to_owned(),
        "1".to_owned(),
        "x".repeat(2000),
    ] {
        let next = Stream::open(&door, Some(&odd)).next().unwrap();
        assert_eq!(next.event, "state", "{odd}");
        assert!(next.data["pan"].is_object());
    }
    // Another run of the service counts anew, so an id of the last run means nothing in it.
    let last = Stream::open(&door, None)
        .until("a reading", |heard| heard.event == "reading")
        .pop()
        .unwrap();
    desk.service.stop();
    desk.start_again();
    let door = Door::of(&desk.home);
    let next = Stream::open(&door, Some(&last.id)).next().unwrap();
    assert_eq!(next.event, "state");
    assert_ne!(run(&next.id), run(&last.id));
}

#[test]
fn more_missed_than_is_kept_is_the_whole_state() {
    let desk = desk();
    let door = Door::of(&desk.home);
    let last = Stream::open(&door, None).next().unwrap();
    // At fifty lines a second this is six seconds; what is kept is less.
    desk.follower.readings(desk.follower.mark(), 300);
    let mut stream = Stream::open(&door, Some(&last.id));
    let next = stream.next().unwrap();
    assert_eq!(next.event, "state");
    assert!(number(&next.id) >= number(&last.id) + 300);
}

#[test]
fn a_beat_a_second_says_how_old_the_last_reading_is() {
    // Where nothing is ever read, and where there is much to tell.
    let (_service, home) = alone();
    let desk = desk();
    for (home, talks) in [(&home, false), (&desk.home, true)] {
        let mut stream = Stream::open(&Door::of(home), None);
        let mut beats: Vec<(u64, Option<u64>)> = Vec::new();
        let began = Instant::now();
        while beats.len() < 4 {
            let heard = stream.next().expect("the stream goes on");
            if heard.event == "beat" {
                let data = heard.data;
                beats.push((data["t"].as_u64().unwrap(), data["age"].as_u64()));
            }
            assert!(began.elapsed() < LIMIT, "{beats:?}");
        }
        for pair in beats.windows(2) {
            let apart = pair[1].0 - pair[0].0;
            assert!((900..3000).contains(&apart), "{beats:?}");
        }
        for (_, age) in &beats {
            assert_eq!(age.is_some(), talks, "{beats:?}");
            assert!(age.is_none_or(|age| age < 2000), "{beats:?}");
        }
    }
    // A balance that falls silent is told of by the age, beat by beat.
    desk.balance.unplug().unwrap();
    let mut stream = Stream::open(&Door::of(&desk.home), None);
    stream.until("an old reading", |heard| {
        heard.event == "beat" && heard.data["age"].as_u64() > Some(3000)
    });
}

#[test]
fn every_event_says_when_it_was_so_and_a_view_how_old_its_reading_is() {
    let desk = desk();
    let door = Door::of(&desk.home);
    let mut stream = Stream::open(&door, None);
    desk.open("T-1", &[]);
    desk.lot("916", "fire-assay", "5.00");
    let all = stream.until("the bell", |heard| is_bell(heard, "recorded"));
    let times: Vec<u64> = all
        .iter()
        .map(|it| it.data["t"].as_u64().unwrap())
        .collect();
    assert!(times.is_sorted(), "{all:?}");
    for heard in all.iter().filter(|it| it.event == "reading") {
        assert!(heard.data["age_ms"].as_u64().unwrap() < 1000, "{heard:?}");
    }
    let view = desk.view();
    assert!(view["t"].as_u64().unwrap() >= *times.last().unwrap());
    let age = view["pan"]["age_ms"].as_u64();
    assert!(age.is_some_and(|age| age < 3000), "{view}");
    // Without a reading that is current there is no age of it either.
    desk.balance.unplug().unwrap();
    let view = desk.until("the link is lost", |view| view["link"] == "absent");
    assert!(
        view["pan"]["shown"].is_null() && view["pan"]["age_ms"].is_null(),
        "{view}"
    );
}

/// On a link that is too slow for all that is told, what comes is what is so.
#[test]
fn a_slow_client_hears_what_is_so_and_never_falls_behind() {
    use std::io::Read as _;
    let desk = desk();
    let door = Door::of(&desk.home);
    desk.open("T-1", &[]);
    let socket = socket2::Socket::new(socket2::Domain::IPV4, socket2::Type::STREAM, None).unwrap();
    // Little room on the client's side, as on a way that is narrow all along.
    socket.set_recv_buffer_size(4096).unwrap();
    socket.connect(&door.at.into()).unwrap();
    let mut stream = TcpStream::from(socket);
    stream.set_read_timeout(Some(LIMIT)).unwrap();
    write!(
        stream,
        "GET /v1/bench/{BENCH}/events?token={} HTTP/1.1\r\n{}\r\n\r\n",
        door.token,
        door.host()
    )
    .unwrap();
    let (began, mut text, mut part) = (Instant::now(), String::new(), [0; 512]);
    let (mut ages, mut bells) = (Vec::new(), 0);
    let mut rung = 0;
    while began.elapsed() < Duration::from_secs(12) {
        // Some 10 kB a second, of the 30 and more that fifty readings a second are.
        std::thread::sleep(Duration::from_millis(50));
        let count = stream.read(&mut part).unwrap();
        assert_ne!(count, 0, "it was hung up on");
        text.push_str(&String::from_utf8_lossy(&part[..count]));
        // A bell now and then, of which none may be missing.
        if began.elapsed() > Duration::from_secs(2 + rung) && rung < 4 {
            desk.lot("916", "fire-assay", "5.00");
            rung += 1;
        }
        let heard = desk.follower.since(desk.follower.mark().saturating_sub(1));
        let now = heard.last().and_then(|(_, data)| data["t"].as_u64());
        while let Some((block, rest)) = text.split_once("\n\n") {
            let data = block.lines().find_map(|line| line.strip_prefix("data: "));
            let data = data.and_then(|data| serde_json::from_str::<Value>(data).ok());
            bells += u64::from(block.contains("event: bell") && block.contains("\"recorded\""));
            if let (Some(then), Some(now)) = (data.and_then(|it| it["t"].as_u64()), now) {
                ages.push(now.saturating_sub(then));
            }
            text = rest.to_owned();
        }
    }
    let heard = ages.len();
    let told = desk.follower.mark();
    let last = *ages[heard / 2..].iter().max().unwrap();
    ages.sort_unstable();
    println!(
        "{heard} of {told} events in 12 s, their age {} ms in the median, {} ms at most",
        ages[heard / 2],
        ages[heard - 1]
    );
    assert!(last < 3000, "it falls behind: {ages:?}");
    assert!(bells >= 3, "{bells} bells of {rung}");
}

#[test]
fn a_stop_ends_every_stream() {
    let mut desk = desk();
    let door = Door::of(&desk.home);
    let mut streams: Vec<Stream> = (0..5).map(|_| Stream::open(&door, None)).collect();
    let _mute = TcpStream::connect(door.at).unwrap();
    desk.place(g("3.00"));
    for stream in &mut streams {
        stream.until("the load", |heard| heard.data["shown"] == "3.00 g");
    }
    let took = desk.service.stop();
    assert!(took < Duration::from_secs(3), "{took:?}");
    for stream in &mut streams {
        while stream.next().is_some() {}
    }
    assert!(TcpStream::connect(door.at).is_err(), "nobody listens there");
}
