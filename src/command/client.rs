//! The commands' side of the HTTP interface, over the unix socket.

use std::path::{Path, PathBuf};
use std::time::Duration;

use http_body_util::{BodyExt as _, Full};
use hyper::body::{Bytes, Incoming};
use hyper::client::conn::http1;
use hyper::{Method, Request, Response, StatusCode};
use hyper_util::rt::TokioIo;
use serde::Serialize;
use serde::de::DeserializeOwned;
use tokio::net::UnixStream;

use super::output::Output;
use super::ways::ways;
use super::{Common, Ended, OnArgs};
use crate::serve::{BenchView, OnBody, OrderBody, OrderRequest, RefusalBody, ReplyBody, SOCKET};
use crate::trouble::Trouble;

/// How long an answer may take; the service itself gives up on an order sooner.
const LIMIT: Duration = Duration::from_secs(20);

/// A way to the running service.
pub(super) struct Client {
    socket: PathBuf,
}

/// Gives one order and prints the answer, and for people what may come next.
pub(super) fn order(
    common: &Common,
    on: &OnArgs,
    output: &Output,
    order: OrderBody,
) -> Result<Ended, Trouble> {
    let client = Client::of(common)?;
    let bench = on.bench.bench.as_deref();
    let request = OrderRequest {
        order,
        on: OnBody {
            id: Some(an_id()),
            ticket: on.ticket.clone(),
            seen: None,
            confirm: on.confirm.clone(),
        },
    };
    let runtime = runtime()?;
    let answer = runtime.block_on(client.order(bench, &request));
    let next = || {
        let view = runtime.block_on(client.bench(bench)).ok()?;
        let ways = ways(&view.actions);
        (!output.is_json() && !ways.is_empty()).then_some(ways)
    };
    match answer {
        Ok(reply) => {
            output.say(&reply.text, &reply);
            if let Some(next) = next() {
                output.line(&next);
            }
            Ok(if reply.warning {
                Ended::Warning
            } else {
                Ended::Done
            })
        }
        Err(mut trouble) => {
            if let Some(word) = trouble.confirm.as_ref().filter(|_| !output.is_json()) {
                trouble.mend = format!(
                    "{} To say yes: the same command with --confirm {word}.",
                    trouble.mend
                );
            } else if let Some(next) = next() {
                trouble.mend = format!("{}\n{next}", trouble.mend);
            }
            Err(trouble)
        }
    }
}

/// An id for an order, as nobody else gives one.
fn an_id() -> String {
    crate::serve::random_id()
}

/// The runtime of a command.
pub(super) fn runtime() -> Result<tokio::runtime::Runtime, Trouble> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| {
            Trouble::new(
                "cannot-start",
                format!("The command cannot start: {error}."),
                "Nothing was changed.",
                "Try again.",
            )
        })
}

impl Client {
    pub(super) fn of(common: &Common) -> Result<Self, Trouble> {
        Ok(Self::at(&common.folders()?.runtime))
    }

    pub(super) fn at(runtime: &Path) -> Self {
        Self {
            socket: runtime.join(SOCKET),
        }
    }

    /// Gives an order.
    pub(super) async fn order(
        &self,
        bench: Option<&str>,
        order: &OrderRequest,
    ) -> Result<ReplyBody, Trouble> {
        self.post(&format!("{}/order", bench_path(bench)), order)
            .await
    }

    /// One bench, whole.
    pub(super) async fn bench(&self, name: Option<&str>) -> Result<BenchView, Trouble> {
        self.get(&bench_path(name)).await
    }

    /// Sends something to an address.
    pub(super) async fn post<T: DeserializeOwned>(
        &self,
        path: &str,
        what: &impl Serialize,
    ) -> Result<T, Trouble> {
        let body = serde_json::to_vec(what).map_err(|error| odd_answer(&error.to_string()))?;
        self.within(self.request(Method::POST, path, body)).await
    }

    /// Asks for what is at an address.
    pub(super) async fn get<T: DeserializeOwned>(&self, path: &str) -> Result<T, Trouble> {
        self.within(self.request(Method::GET, path, Vec::new()))
            .await
    }

    async fn within<T: DeserializeOwned>(
        &self,
        answer: impl Future<Output = Result<Response<Incoming>, Trouble>>,
    ) -> Result<T, Trouble> {
        let whole = async {
            let response = answer.await?;
            let bytes = response
                .into_body()
                .collect()
                .await
                .map_err(|error| odd_answer(&error.to_string()))?
                .to_bytes();
            serde_json::from_slice(&bytes).map_err(|error| odd_answer(&error.to_string()))
        };
        tokio::time::timeout(LIMIT, whole)
            .await
            .unwrap_or_else(|_| Err(odd_answer("none came in time")))
    }

    /// Follows a bench: every event as its name and its JSON.
    pub(super) async fn follow(&self, bench: Option<&str>) -> Result<Events, Trouble> {
        let path = format!("{}/events", bench_path(bench));
        let response = self.request(Method::GET, &path, Vec::new()).await?;
        Ok(Events {
            body: response.into_body(),
            text: Vec::new(),
        })
    }

    async fn request(
        &self,
        method: Method,
        path: &str,
        body: Vec<u8>,
    ) -> Result<Response<Incoming>, Trouble> {
        let stream = UnixStream::connect(&self.socket)
            .await
            .map_err(|error| self.not_running(&error))?;
        let (mut sender, connection) = http1::handshake(TokioIo::new(stream))
            .await
            .map_err(|error| odd_answer(&error.to_string()))?;
        tokio::spawn(async move {
            // The request itself tells of a broken connection.
            drop(connection.await);
        });
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", "panbell")
            .header("content-type", "application/json")
            .body(Full::new(Bytes::from(body)))
            .map_err(|error| odd_answer(&error.to_string()))?;
        let response = sender
            .send_request(request)
            .await
            .map_err(|error| odd_answer(&error.to_string()))?;
        if response.status() == StatusCode::OK {
            return Ok(response);
        }
        let bytes = response
            .into_body()
            .collect()
            .await
            .map_err(|error| odd_answer(&error.to_string()))?
            .to_bytes();
        let refusal: RefusalBody =
            serde_json::from_slice(&bytes).map_err(|error| odd_answer(&error.to_string()))?;
        Err(refusal.into())
    }

    fn not_running(&self, error: &std::io::Error) -> Trouble {
        let (happened, mend) = match error.kind() {
            std::io::ErrorKind::NotFound | std::io::ErrorKind::ConnectionRefused => (
                format!("No panbell service answers at {}.", self.socket.display()),
                "Start it: panbell run, with the same --home if one is given (or systemctl --user start panbell).",
            ),
            std::io::ErrorKind::PermissionDenied => (
                format!(
                    "The socket {} belongs to somebody else.",
                    self.socket.display()
                ),
                "Give orders as the user who runs the service.",
            ),
            _ => (
                format!(
                    "The service at {} cannot be reached: {error}.",
                    self.socket.display()
                ),
                "Try again.",
            ),
        };
        Trouble::new(
            "service-not-running",
            happened,
            "Nothing was changed.",
            mend,
        )
        .passing()
    }
}

fn bench_path(bench: Option<&str>) -> String {
    let name = bench.unwrap_or("-");
    // A name that no bench can have is sent as one that none has, for the service to refuse.
    let plain = !name.is_empty()
        && name
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.'));
    format!("/v1/bench/{}", if plain { name } else { "no-such-name" })
}

fn odd_answer(why: &str) -> Trouble {
    Trouble::new(
        "answer-unreadable",
        format!("The service's answer cannot be read: {why}."),
        "Whether the order was carried out is not known here; what is recorded stands in the job file.",
        "Look with panbell follow.",
    )
}

/// The events of a bench as they come.
pub(super) struct Events {
    body: Incoming,
    text: Vec<u8>,
}

impl Events {
    /// The next event; none when the service ended the stream.
    pub(super) async fn next(&mut self) -> Option<(String, String)> {
        loop {
            if let Some(end) = self.text.windows(2).position(|pair| pair == b"\n\n") {
                let block: Vec<u8> = self.text.drain(..end + 2).collect();
                if let Some(event) = parse(&String::from_utf8_lossy(&block)) {
                    return Some(event);
                }
                continue;
            }
            let frame = self.body.frame().await?.ok()?;
            if let Some(data) = frame.data_ref() {
                self.text.extend_from_slice(data);
            }
        }
    }
}

/// One block of the event stream (WHATWG HTML, server-sent events): ours have one data line.
fn parse(block: &str) -> Option<(String, String)> {
    let field = |name: &str| {
        block
            .lines()
            .find_map(|line| line.strip_prefix(name))
            .map(|rest| rest.strip_prefix(' ').unwrap_or(rest))
    };
    Some((field("event:")?.to_owned(), field("data:")?.to_owned()))
}
