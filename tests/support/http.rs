//! HTTP on the unix socket and on TCP, byte for byte, without a client library.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing, missing_docs)]

use std::io::{self, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::time::Duration;

use serde_json::Value;

/// Longer than the service takes for anything.
const LIMIT: Duration = Duration::from_secs(30);

/// An answer.
#[derive(Debug)]
pub struct Reply {
    /// The status.
    pub status: u16,
    /// The head, as it came.
    pub head: String,
    /// The body, as it came.
    pub body: String,
}

impl Reply {
    /// The body as JSON.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    /// Asserts that it is a refusal in three sentences, with this status and code.
    pub fn is_refused(&self, status: u16, code: &str) {
        assert_eq!(self.status, status, "{self:?}");
        let body = self.json();
        assert_eq!(body["code"], code, "{self:?}");
        for part in ["happened", "means", "mend"] {
            assert!(body[part].as_str().unwrap().len() > 5, "{self:?}");
        }
    }
}

/// Sends these bytes and reads to the end of the connection.
pub fn raw(socket: &Path, bytes: &[u8]) -> io::Result<Reply> {
    let stream = UnixStream::connect(socket)?;
    stream.set_read_timeout(Some(LIMIT))?;
    stream.set_write_timeout(Some(LIMIT))?;
    say(stream, bytes)
}

/// The same over TCP.
pub fn raw_tcp(at: SocketAddr, bytes: &[u8]) -> io::Result<Reply> {
    let stream = TcpStream::connect_timeout(&at, LIMIT)?;
    stream.set_read_timeout(Some(LIMIT))?;
    stream.set_write_timeout(Some(LIMIT))?;
    say(stream, bytes)
}

/// Sends these bytes and reads to the end.
pub fn say(mut stream: impl Read + Write, bytes: &[u8]) -> io::Result<Reply> {
    // A service that refuses early may hang up before it has read all.
    let sent = stream.write_all(bytes);
    let mut text = Vec::new();
    let mut part = [0; 4096];
    loop {
        match stream.read(&mut part) {
            Ok(0) => break,
            Ok(count) => text.extend_from_slice(&part[..count]),
            Err(_) if !text.is_empty() => break,
            Err(error) => return Err(sent.err().unwrap_or(error)),
        }
    }
    let text = String::from_utf8_lossy(&text).into_owned();
    let (head, body) = text
        .split_once("\r\n\r\n")
        .ok_or_else(|| io::Error::other(format!("no answer: {text:?}")))?;
    let status = head.split(' ').nth(1).and_then(|word| word.parse().ok());
    Ok(Reply {
        status: status.unwrap_or(0),
        head: head.to_owned(),
        body: body.to_owned(),
    })
}

/// One request with a body.
pub fn request(
    socket: &Path,
    method: &str,
    path: &str,
    kind: &str,
    body: &str,
) -> io::Result<Reply> {
    let length = body.len();
    let head = format!(
        "{method} {path} HTTP/1.1\r\nhost: panbell\r\nconnection: close\r\ncontent-type: {kind}\r\ncontent-length: {length}\r\n\r\n{body}"
    );
    raw(socket, head.as_bytes())
}

/// Gets a page.
pub fn get(socket: &Path, path: &str) -> io::Result<Reply> {
    request(socket, "GET", path, "text/plain", "")
}

/// Gives an order as JSON.
pub fn order(socket: &Path, bench: &str, body: &str) -> io::Result<Reply> {
    let path = format!("/v1/bench/{bench}/order");
    request(socket, "POST", &path, "application/json", body)
}
