//! A follower of a bench's event stream, on a thread of its own, and what it has heard.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing, missing_docs)]

use std::io::{Read as _, Write as _};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::sync::{Arc, Condvar, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use serde_json::Value;

/// Far more than anything here takes, even on a busy machine.
pub const LIMIT: Duration = Duration::from_secs(30);

#[derive(Default)]
struct Heard {
    events: Vec<(String, Value)>,
    ended: bool,
}

type Shared = Arc<(Mutex<Heard>, Condvar)>;

/// Follows a bench until it is dropped or the service ends the stream.
pub struct Follower {
    heard: Shared,
    stream: UnixStream,
    thread: Option<JoinHandle<()>>,
}

impl Follower {
    /// Follows from now on; returns when the first state was heard.
    pub fn start(socket: &Path, bench: &str) -> Self {
        let follower = Self::at_once(socket, bench);
        follower.wait(0, "the first state", |event, _| event == "state");
        follower
    }

    /// The same, and returns at once.
    pub fn at_once(socket: &Path, bench: &str) -> Self {
        let stream = ask(socket, bench);
        let heard = Shared::default();
        let (ours, theirs) = (Arc::clone(&heard), stream.try_clone().unwrap());
        let thread = std::thread::spawn(move || {
            read(theirs, &ours);
            ours.0.lock().unwrap().ended = true;
            ours.1.notify_all();
        });
        Self {
            heard,
            stream,
            thread: Some(thread),
        }
    }

    /// How many events were heard.
    pub fn mark(&self) -> usize {
        self.heard.0.lock().unwrap().events.len()
    }

    /// Everything heard from a mark on.
    pub fn since(&self, mark: usize) -> Vec<(String, Value)> {
        self.heard.0.lock().unwrap().events[mark..].to_vec()
    }

    /// The bells heard from a mark on.
    pub fn bells_since(&self, mark: usize) -> Vec<String> {
        let events = self.since(mark).into_iter();
        events
            .filter(|(event, _)| event == "bell")
            .map(|(_, data)| data["bell"].as_str().unwrap().to_owned())
            .collect()
    }

    /// Waits for the first event from a mark on of which `is_it` holds.
    pub fn wait(&self, mark: usize, what: &str, is_it: impl Fn(&str, &Value) -> bool) -> Value {
        let until = Instant::now() + LIMIT;
        let mut heard = self.heard.0.lock().unwrap();
        let mut at = mark;
        loop {
            while let Some((event, data)) = heard.events.get(at) {
                if is_it(event, data) {
                    return data.clone();
                }
                at += 1;
            }
            let left = until.saturating_duration_since(Instant::now());
            assert!(
                !left.is_zero() && !heard.ended,
                "waited in vain for {what}; the last heard: {:#?}",
                heard.events.iter().rev().take(4).collect::<Vec<_>>()
            );
            heard = self.heard.1.wait_timeout(heard, left).unwrap().0;
        }
    }

    /// Waits for a bell from a mark on; gives its data.
    pub fn bell(&self, mark: usize, bell: &str) -> Value {
        self.wait(mark, &format!("the bell {bell}"), |event, data| {
            event == "bell" && data["bell"] == bell
        })
    }

    /// Waits until so many readings were heard from a mark on.
    pub fn readings(&self, mark: usize, number: usize) {
        let left = std::cell::Cell::new(number);
        self.wait(mark, &format!("{number} readings"), |event, _| {
            if event == "reading" {
                left.set(left.get() - 1);
            }
            left.get() == 0
        });
    }

    /// Waits until the service has ended the stream.
    pub fn wait_end(&self, limit: Duration) -> bool {
        let until = Instant::now() + limit;
        let mut heard = self.heard.0.lock().unwrap();
        while !heard.ended {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return false;
            }
            heard = self.heard.1.wait_timeout(heard, left).unwrap().0;
        }
        true
    }
}

impl Drop for Follower {
    fn drop(&mut self) {
        self.stream.shutdown(std::net::Shutdown::Both).ok();
        if let Some(thread) = self.thread.take() {
            thread.join().ok();
        }
    }
}

/// Asks for the stream of a bench; the answer is not read.
pub fn ask(socket: &Path, bench: &str) -> UnixStream {
    let mut stream = UnixStream::connect(socket).unwrap();
    stream.set_write_timeout(Some(LIMIT)).unwrap();
    write!(
        stream,
        "GET /v1/bench/{bench}/events HTTP/1.1\r\nhost: panbell\r\n\r\n"
    )
    .unwrap();
    stream
}

/// Reads head, chunks and events. A killed service ends it anywhere.
fn read(mut stream: UnixStream, heard: &Shared) {
    let (mut wire, mut text) = (Vec::new(), Vec::new());
    let (mut bytes, mut in_body) = ([0; 8192], false);
    loop {
        match stream.read(&mut bytes) {
            Ok(0) | Err(_) => return,
            Ok(count) => wire.extend_from_slice(&bytes[..count]),
        }
        if !in_body {
            let Some(end) = find(&wire, b"\r\n\r\n") else {
                continue;
            };
            let opening = String::from_utf8_lossy(&wire[..end]).to_lowercase();
            assert!(opening.starts_with("http/1.1 200"), "{opening}");
            assert!(opening.contains("transfer-encoding: chunked"), "{opening}");
            assert!(
                opening.contains("content-type: text/event-stream"),
                "{opening}"
            );
            wire.drain(..end + 4);
            in_body = true;
        }
        while let Some(end) = find(&wire, b"\r\n") {
            let size = std::str::from_utf8(&wire[..end]).unwrap();
            let size = usize::from_str_radix(size, 16).unwrap();
            if wire.len() < end + 2 + size + 2 {
                break;
            }
            text.extend_from_slice(&wire[end + 2..end + 2 + size]);
            wire.drain(..end + 2 + size + 2);
        }
        while let Some(end) = find(&text, b"\n\n") {
            let block = String::from_utf8(text.drain(..end + 2).collect()).unwrap();
            let field = |name: &str| block.lines().find_map(|line| line.strip_prefix(name));
            let (Some(event), Some(data)) = (field("event: "), field("data: ")) else {
                continue;
            };
            let data = serde_json::from_str(data).expect("data is JSON on one line");
            let mut heard = heard.0.lock().unwrap();
            heard.events.push((event.to_owned(), data));
        }
        heard.1.notify_all();
    }
}

fn find(bytes: &[u8], what: &[u8]) -> Option<usize> {
    bytes.windows(what.len()).position(|part| part == what)
}
