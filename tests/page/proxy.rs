//! A line between browser and service that does what lines do: it delays, stalls, is cut, lets only so much through,
//! loses an answer after the question was delivered, drops a file.

use std::collections::VecDeque;
use std::io::{Read as _, Write as _};
use std::net::{Ipv4Addr, Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use crate::stage::{Stage, address};

/// The whole address of the page through a line, with its token.
pub(crate) fn address_by(stage: &Stage, proxy: &Proxy) -> String {
    address(&stage.desk.home).replace(&stage.at().to_string(), &proxy.at.to_string())
}

/// How the line is now.
#[allow(clippy::struct_excessive_bools)] // each may be so by itself
#[derive(Debug, Clone, Default)]
struct Manner {
    /// Nothing goes through, and nobody is told.
    is_stalled: bool,
    /// Nothing comes back on connections that carry a stream; what goes to the service goes.
    is_stream_stalled: bool,
    /// New connections are refused, and old ones were ended.
    is_cut: bool,
    /// Each way takes so long.
    delay: Duration,
    /// So many bytes a second come back; none for as many as come.
    rate: Option<usize>,
    /// How many answers to orders are lost: the order goes through, and the connection is reset.
    lost_answers: usize,
    /// How many requests for this path are dropped, or their answers cut off, or not given.
    dropped: Option<(String, usize)>,
    halved: Option<(String, usize)>,
    held_back: Option<(String, usize)>,
    /// Connections that were made since the line was last cut.
    epoch: u64,
    is_over: bool,
}

#[derive(Default)]
struct Shared {
    manner: Mutex<Manner>,
    turned: Condvar,
    seen: Mutex<Vec<String>>,
}

/// A line to one address, at an address of its own.
pub(crate) struct Proxy {
    pub(crate) at: SocketAddr,
    shared: Arc<Shared>,
}

impl Proxy {
    pub(crate) fn start(to: SocketAddr) -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let at = listener.local_addr().unwrap();
        let shared = Arc::new(Shared::default());
        let own = Arc::clone(&shared);
        thread::spawn(move || {
            for client in listener.incoming() {
                let Ok(client) = client else { continue };
                if own.look(|it| it.is_over) {
                    return;
                }
                if own.look(|it| it.is_cut) {
                    reset(&client);
                    continue;
                }
                let own = Arc::clone(&own);
                thread::spawn(move || own.carry(client, to, at));
            }
        });
        Self { at, shared }
    }

    /// Nothing goes through any more, either way, and nobody is told.
    pub(crate) fn stall(&self) {
        self.shared.turn(|it| it.is_stalled = true);
    }

    /// The same of event streams alone, those that are open.
    pub(crate) fn stall_streams(&self) {
        self.shared.turn(|it| it.is_stream_stalled = true);
    }

    /// Everything is ended, and refused from now on.
    pub(crate) fn cut(&self) {
        self.shared.turn(|it| {
            it.is_cut = true;
            it.epoch += 1;
        });
    }

    /// All goes through again, what was held back too.
    pub(crate) fn open(&self) {
        self.shared.turn(|it| {
            *it = Manner {
                epoch: it.epoch,
                ..Manner::default()
            };
        });
    }

    pub(crate) fn slow(&self, delay: Duration, rate: Option<usize>) {
        self.shared.turn(|it| (it.delay, it.rate) = (delay, rate));
    }

    /// The next answers to orders are lost on their way.
    pub(crate) fn lose_answers(&self, count: usize) {
        self.shared.turn(|it| it.lost_answers = count);
    }

    /// The next requests for this path are lost.
    pub(crate) fn drop_requests(&self, path: &str, count: usize) {
        let path = path.to_owned();
        self.shared.turn(|it| it.dropped = Some((path, count)));
    }

    /// The next answers to requests for this path are cut off in the middle.
    pub(crate) fn halve(&self, path: &str, count: usize) {
        let path = path.to_owned();
        self.shared.turn(|it| it.halved = Some((path, count)));
    }

    /// The next answer to a request for this path never comes.
    pub(crate) fn hold_back(&self, path: &str) {
        let path = path.to_owned();
        self.shared.turn(|it| it.held_back = Some((path, 1)));
    }

    /// The first lines of all requests so far.
    pub(crate) fn seen(&self) -> Vec<String> {
        self.shared.seen.lock().unwrap().clone()
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.shared.turn(|it| {
            it.is_over = true;
            it.epoch += 1;
        });
        // Wakes who listens.
        TcpStream::connect(self.at).ok();
    }
}

/// What a request is to the line.
enum Fate {
    Through,
    Dropped,
    AnswerLost,
    AnswerHalved,
    HeldBack,
}

impl Shared {
    fn look<T>(&self, what: impl FnOnce(&Manner) -> T) -> T {
        what(&self.manner.lock().unwrap())
    }

    fn turn(&self, how: impl FnOnce(&mut Manner)) {
        how(&mut self.manner.lock().unwrap());
        self.turned.notify_all();
    }

    /// Waits until something may pass; says whether the connection still stands.
    fn passes(&self, epoch: u64, is_stream: impl Fn() -> bool, is_back: bool) -> bool {
        let mut manner = self.manner.lock().unwrap();
        loop {
            if manner.epoch != epoch || manner.is_over {
                return false;
            }
            let holds = manner.is_stalled || (is_back && manner.is_stream_stalled && is_stream());
            if !holds {
                return true;
            }
            manner = self.turned.wait(manner).unwrap();
        }
    }

    fn fate(&self, request: &str) -> Fate {
        let first = request.lines().next().unwrap_or_default().to_owned();
        self.seen.lock().unwrap().push(first.clone());
        let mut manner = self.manner.lock().unwrap();
        let is_one_of = |some: &mut Option<(String, usize)>| {
            let Some((path, count)) = some else {
                return false;
            };
            let is_it = *count > 0 && first.contains(&format!(" {path}"));
            *count -= usize::from(is_it);
            is_it
        };
        if is_one_of(&mut manner.dropped) {
            return Fate::Dropped;
        }
        if is_one_of(&mut manner.halved) {
            return Fate::AnswerHalved;
        }
        if is_one_of(&mut manner.held_back) {
            return Fate::HeldBack;
        }
        if first.starts_with("POST ") && first.contains("/order") && manner.lost_answers > 0 {
            manner.lost_answers -= 1;
            return Fate::AnswerLost;
        }
        Fate::Through
    }

    fn carry(self: Arc<Self>, mut client: TcpStream, to: SocketAddr, at: SocketAddr) {
        let epoch = self.look(|it| it.epoch);
        let Ok(mut service) = TcpStream::connect(to) else {
            return;
        };
        let is_stream = Arc::new(Mutex::new(false));
        let (back, mut to_client) = (service.try_clone().unwrap(), client.try_clone().unwrap());
        let (own, kind) = (Arc::clone(&self), Arc::clone(&is_stream));
        let has_ended = Arc::new(AtomicBool::new(false));
        let ended = Arc::clone(&has_ended);
        let answers = thread::spawn(move || {
            own.answers(back, &mut to_client, epoch, &|| *kind.lock().unwrap());
            ended.store(true, Ordering::Relaxed);
        });
        let mut is_reset = false;
        client
            .set_read_timeout(Some(Duration::from_millis(50)))
            .ok();
        let mut waiting = Vec::new();
        let mut part = [0; 16_384];
        'line: loop {
            match client.read(&mut part) {
                Ok(0) => break,
                Ok(count) => waiting.extend_from_slice(&part[..count]),
                Err(error) if is_pause(&error) => {
                    let is_over = self.look(|it| it.epoch != epoch || it.is_over);
                    if is_over || has_ended.load(Ordering::Relaxed) {
                        break;
                    }
                    continue;
                }
                Err(_) => break,
            }
            while let Some(request) = taken(&mut waiting) {
                let text = String::from_utf8_lossy(&request).into_owned();
                *is_stream.lock().unwrap() = text.contains("/events");
                let fate = self.fate(&text);
                if matches!(fate, Fate::Dropped) {
                    is_reset = true;
                    break 'line;
                }
                thread::sleep(self.look(|it| it.delay));
                if !self.passes(epoch, || false, false) {
                    break 'line;
                }
                // The service must see its own address, as a browser would name it.
                let text = text.replace(&at.to_string(), &to.to_string());
                if matches!(fate, Fate::HeldBack) {
                    continue;
                }
                if matches!(fate, Fate::AnswerLost | Fate::AnswerHalved) {
                    // The order is delivered and carried out; the answer never comes, or not whole.
                    let mut other = TcpStream::connect(to).unwrap();
                    other.write_all(text.as_bytes()).unwrap();
                    let count = other.read(&mut part).unwrap_or(0);
                    if matches!(fate, Fate::AnswerHalved) {
                        client.write_all(&part[..count / 2]).ok();
                        // What was written is to arrive before the end does.
                        thread::sleep(Duration::from_millis(100));
                    }
                    is_reset = true;
                    break 'line;
                }
                if service.write_all(text.as_bytes()).is_err() {
                    break 'line;
                }
            }
        }
        service.shutdown(Shutdown::Both).ok();
        answers.join().ok();
        if is_reset || self.look(|it| it.epoch != epoch) {
            reset(&client);
        } else {
            client.shutdown(Shutdown::Both).ok();
        }
    }

    /// What comes back, with its delay, at its rate. What waits in the line is bounded only by the line.
    fn answers(
        &self,
        mut service: TcpStream,
        client: &mut TcpStream,
        epoch: u64,
        is_stream: &dyn Fn() -> bool,
    ) {
        service
            .set_read_timeout(Some(Duration::from_millis(20)))
            .ok();
        let mut waiting: VecDeque<(Instant, Vec<u8>)> = VecDeque::new();
        let mut part = [0; 16_384];
        loop {
            match service.read(&mut part) {
                Ok(0) => break,
                Ok(count) => waiting.push_back((Instant::now(), part[..count].to_vec())),
                Err(error) if is_pause(&error) => {}
                Err(_) => break,
            }
            while let Some((came, bytes)) = waiting.front() {
                let (delay, rate) = self.look(|it| (it.delay, it.rate));
                if came.elapsed() < delay {
                    break;
                }
                if !self.passes(epoch, is_stream, true) {
                    return;
                }
                let count = rate.map_or(bytes.len(), |rate| bytes.len().min(rate / 20 + 1));
                if client.write_all(&bytes[..count]).is_err() {
                    return;
                }
                if count == bytes.len() {
                    waiting.pop_front();
                } else if let Some((_, bytes)) = waiting.front_mut() {
                    bytes.drain(..count);
                }
                if rate.is_some() {
                    thread::sleep(Duration::from_millis(50));
                }
            }
            if self.look(|it| it.epoch != epoch || it.is_over) {
                return;
            }
        }
        for (_, bytes) in waiting {
            client.write_all(&bytes).ok();
        }
    }
}

fn is_pause(error: &std::io::Error) -> bool {
    matches!(
        error.kind(),
        std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut
    )
}

/// Makes the end of a connection one as by a router that knows nothing of it.
fn reset(stream: &TcpStream) {
    rustix::net::sockopt::set_socket_linger(stream, Some(Duration::ZERO)).ok();
}

/// The first whole request of what came.
fn taken(bytes: &mut Vec<u8>) -> Option<Vec<u8>> {
    let end = bytes.windows(4).position(|it| it == b"\r\n\r\n")? + 4;
    let head = String::from_utf8_lossy(&bytes[..end]).to_lowercase();
    let length = head
        .lines()
        .find_map(|line| line.strip_prefix("content-length:"))
        .map_or(0, |length| length.trim().parse().unwrap());
    (bytes.len() >= end + length).then(|| bytes.drain(..end + length).collect())
}
