//! The routes, and the unix socket that they are served on.
//!
//! `GET /v1/benches`, `GET /v1/bench/NAME`, `GET /v1/bench/NAME/events` (server-sent events),
//! `POST /v1/bench/NAME/order`. In place of NAME, `-` is the only bench.

use std::fs::File;
use std::os::unix::fs::{DirBuilderExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use axum::extract::rejection::JsonRejection;
use axum::extract::{DefaultBodyLimit, FromRequest as _, Path as Named, Request, State};
use axum::http::StatusCode;
use axum::response::sse::Sse;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use tokio::net::UnixListener;
use tokio::sync::{Semaphore, watch};

use super::door::{Door, House};
use super::orders::{OrderBody, RefusalBody, ReplyBody};
use super::stream::Follower;
use super::view::BenchView;
use crate::trouble::Trouble;

/// The name of the socket in the runtime folder.
pub const SOCKET: &str = "panbell.sock";
/// The file whose lock says that a service is alone with the socket.
const LOCK: &str = "panbell.lock";
/// An order is small; what is larger is none.
const LARGEST_BODY: usize = 64 * 1024;
/// Clients that may be connected at once; further ones wait to be let in.
const MOST_CLIENTS: usize = 512;
/// How long a client may take to send a request, or to send another one: a command takes
/// milliseconds.
const PATIENCE: Duration = Duration::from_secs(10);
/// How long open connections may take to end at a stop, once their streams were ended.
const DRAIN: Duration = Duration::from_secs(2);

/// The interface, listening. The socket is taken away when this is dropped.
#[derive(Debug)]
pub struct Served {
    listener: Option<UnixListener>,
    socket: PathBuf,
    _alone: File,
}

/// Listens on the unix socket in the runtime folder, mode 0600.
///
/// A locked file beside it says who is alone with the socket, so that one left behind by a killed
/// service is taken over and that of a running one is not.
pub fn listen(runtime: &Path) -> Result<Served, Trouble> {
    let failed = |what: &str, error: &std::io::Error| {
        Trouble::new(
            "socket-failed",
            format!("{what} {} failed: {error}.", runtime.display()),
            "No order could reach the bench, so the service does not start; job files are untouched.",
            "See that the folder can be written by you, or give another with --home.",
        )
    };
    std::fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(runtime)
        .map_err(|error| failed("Making the runtime folder", &error))?;
    let alone = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(runtime.join(LOCK))
        .map_err(|error| failed("Locking the runtime folder", &error))?;
    alone.try_lock().map_err(|_| {
        Trouble::new(
            "service-running",
            format!(
                "A panbell service is running already with the socket in {}.",
                runtime.display()
            ),
            "It goes on; this one does not start.",
            "Use the running one, or stop it first.",
        )
    })?;
    let socket = runtime.join(SOCKET);
    match std::fs::remove_file(&socket) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            return Err(failed("Taking over the old socket in", &error));
        }
        _ => {}
    }
    let listener =
        UnixListener::bind(&socket).map_err(|error| failed("Making the socket in", &error))?;
    std::fs::set_permissions(&socket, std::fs::Permissions::from_mode(0o600))
        .map_err(|error| failed("Guarding the socket in", &error))?;
    Ok(Served {
        listener: Some(listener),
        socket,
        _alone: alone,
    })
}

impl Served {
    /// Serves until told to stop; then ends every stream, and gives open connections two seconds.
    pub async fn run(mut self, house: Arc<House>, mut stopping: watch::Receiver<bool>) {
        let Some(listener) = self.listener.take() else {
            return;
        };
        let service = TowerToHyperService::new(routes(house, stopping.clone()));
        let mut http = http1::Builder::new();
        http.timer(TokioTimer::new()).header_read_timeout(PATIENCE);
        let open = GracefulShutdown::new();
        let room = Arc::new(Semaphore::new(MOST_CLIENTS));
        loop {
            let next = async {
                let place = Arc::clone(&room).acquire_owned().await;
                (listener.accept().await, place)
            };
            let (stream, place) = tokio::select! {
                () = async { drop(stopping.wait_for(|stopping| *stopping).await) } => break,
                (accepted, place) = next => match accepted {
                    Ok((stream, _)) => (stream, place),
                    Err(error) => {
                        // Out of descriptors, most likely: others have to close theirs first.
                        tracing::warn!(%error, "a client could not be let in");
                        tokio::time::sleep(Duration::from_millis(100)).await;
                        continue;
                    }
                },
            };
            let serving = open.watch(http.serve_connection(TokioIo::new(stream), service.clone()));
            tokio::spawn(async move {
                if let Err(error) = serving.await {
                    tracing::debug!(%error, "a client went away");
                }
                drop(place);
            });
        }
        if tokio::time::timeout(DRAIN, open.shutdown()).await.is_err() {
            tracing::debug!("connections were still open at the stop");
        }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_file(&self.socket) {
            tracing::debug!(%error, "the socket was gone already");
        }
    }
}

#[derive(Clone)]
struct Shared {
    house: Arc<House>,
    stopping: watch::Receiver<bool>,
}

fn routes(house: Arc<House>, stopping: watch::Receiver<bool>) -> Router {
    Router::new()
        .route("/v1/benches", get(benches))
        .route("/v1/bench/{name}", get(bench))
        .route("/v1/bench/{name}/events", get(events))
        .route("/v1/bench/{name}/order", post(order))
        .fallback(nothing_here)
        .method_not_allowed_fallback(other_method)
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .with_state(Shared { house, stopping })
}

/// A trouble as an answer.
struct Refused(StatusCode, Trouble);

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        (self.0, Json(RefusalBody::from(&self.1))).into_response()
    }
}

impl From<Trouble> for Refused {
    fn from(trouble: Trouble) -> Self {
        let status = match trouble.code {
            "bench-unknown" | "bench-unnamed" => StatusCode::NOT_FOUND,
            "bench-slow" => StatusCode::SERVICE_UNAVAILABLE,
            _ => StatusCode::CONFLICT,
        };
        Self(status, trouble)
    }
}

fn door<'a>(shared: &'a Shared, name: &str) -> Result<&'a Door, Refused> {
    Ok(shared.house.door((name != "-").then_some(name))?)
}

async fn benches(State(shared): State<Shared>) -> Result<Json<Vec<BenchView>>, Refused> {
    let mut views = Vec::with_capacity(shared.house.doors.len());
    for door in &shared.house.doors {
        views.push(door.view().await?);
    }
    Ok(Json(views))
}

async fn bench(
    State(shared): State<Shared>,
    Named(name): Named<String>,
) -> Result<Json<BenchView>, Refused> {
    Ok(Json(door(&shared, &name)?.view().await?))
}

async fn events(
    State(shared): State<Shared>,
    Named(name): Named<String>,
) -> Result<impl IntoResponse, Refused> {
    Ok(Sse::new(Follower::start(
        door(&shared, &name)?.clone(),
        shared.stopping.clone(),
    )))
}

async fn order(
    State(shared): State<Shared>,
    Named(name): Named<String>,
    request: Request,
) -> Result<Json<ReplyBody>, Refused> {
    let door = door(&shared, &name)?;
    let body = tokio::time::timeout(PATIENCE, Json::<OrderBody>::from_request(request, &shared));
    let body = body.await.map_err(|_| {
        let trouble = Trouble::new(
            "order-unfinished",
            "The order did not arrive whole within ten seconds.",
            "Nothing was changed.",
            "Send it again.",
        );
        Refused(StatusCode::REQUEST_TIMEOUT, trouble)
    })?;
    let Json(body) = body
        .map_err(|rejection: JsonRejection| rejection)
        .map_err(|rejection| {
            let trouble = Trouble::new(
                "order-unreadable",
                format!(
                    "The order cannot be read: {}.",
                    rejection.body_text().trim_end_matches('.')
                ),
                "Nothing was changed.",
                "Send JSON such as {\"order\":\"take\"} with content type application/json.",
            );
            Refused(rejection.status(), trouble)
        })?;
    if let Some(key) = body.key() {
        return Ok(Json(door.press(key).await?.into()));
    }
    let unclear = |trouble| Refused(StatusCode::UNPROCESSABLE_ENTITY, trouble);
    let order = body
        .into_order(&shared.house, &door.name)
        .map_err(unclear)?;
    Ok(Json(door.order(order).await?.into()))
}

async fn other_method() -> Refused {
    Refused(
        StatusCode::METHOD_NOT_ALLOWED,
        Trouble::new(
            "other-method",
            "This address does not take that method.",
            "Nothing was changed.",
            "Orders are given by POST, everything else is read by GET.",
        ),
    )
}

async fn nothing_here() -> Refused {
    Refused(
        StatusCode::NOT_FOUND,
        Trouble::new(
            "no-such-route",
            "There is nothing at this address.",
            "Nothing was changed.",
            "See /v1/benches.",
        ),
    )
}
