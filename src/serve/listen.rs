//! Listening: the unix socket that the commands use, and the page's door on TCP.
//!
//! Promises: whoever connects, however many and however slow, has a bound and a limit of time, and
//! those on TCP never take a place from those on the socket. Leaves to others: what is answered.

use std::fs::File;
use std::io;
use std::os::unix::fs::{DirBuilderExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::{Semaphore, watch};

use super::door::House;
use super::front::Front;
use super::http::{PATIENCE, routes};
use crate::trouble::Trouble;

/// The name of the socket in the runtime folder.
pub const SOCKET: &str = "panbell.sock";
/// The file whose lock says that a service is alone with the socket.
const LOCK: &str = "panbell.lock";
/// Clients that may be connected to the socket at once; further ones wait to be let in.
const MOST_CLIENTS: usize = 512;
/// The same on TCP. Counted by themselves: any user of the computer can connect there, and must
/// not keep the commands out.
const MOST_VISITORS: usize = 128;
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
    pub async fn run(mut self, front: Front, house: Arc<House>, stopping: watch::Receiver<bool>) {
        let Some(listener) = self.listener.take() else {
            return;
        };
        let open = GracefulShutdown::new();
        let routes = routes(house, stopping.clone());
        let on_tcp = front.guarded(routes.clone());
        let mut socket = Host::new(routes, MOST_CLIENTS, &open, stopping.clone());
        let mut tcp = Host::new(on_tcp, MOST_VISITORS, &open, stopping.clone());
        tokio::join!(socket.welcome(&listener), tcp.welcome(&front));
        if tokio::time::timeout(DRAIN, open.shutdown()).await.is_err() {
            tracing::debug!("connections were still open at the stop");
        }
    }
}

/// Where clients come in.
pub(super) trait Entrance: Sync {
    /// One who came.
    type Client: Send + 'static;
    /// What is spoken with them over.
    type Stream: AsyncRead + AsyncWrite + Unpin + Send + 'static;

    /// The next one who comes.
    fn next(&self) -> impl Future<Output = io::Result<Self::Client>> + Send;

    /// What comes before the first word.
    fn secured(
        client: Self::Client,
    ) -> impl Future<Output = io::Result<Self::Stream>> + Send + 'static;
}

impl Entrance for UnixListener {
    type Client = UnixStream;
    type Stream = UnixStream;

    async fn next(&self) -> io::Result<UnixStream> {
        Ok(self.accept().await?.0)
    }

    async fn secured(client: UnixStream) -> io::Result<UnixStream> {
        Ok(client)
    }
}

/// What lets clients in at one entrance.
struct Host<'a> {
    service: TowerToHyperService<Router>,
    http: http1::Builder,
    room: Arc<Semaphore>,
    open: &'a GracefulShutdown,
    stopping: watch::Receiver<bool>,
}

impl<'a> Host<'a> {
    fn new(
        routes: Router,
        most: usize,
        open: &'a GracefulShutdown,
        stopping: watch::Receiver<bool>,
    ) -> Self {
        let mut http = http1::Builder::new();
        http.timer(TokioTimer::new()).header_read_timeout(PATIENCE);
        Self {
            service: TowerToHyperService::new(routes),
            http,
            room: Arc::new(Semaphore::new(most)),
            open,
            stopping,
        }
    }

    /// Lets one after another in, until told to stop.
    async fn welcome<E: Entrance>(&mut self, entrance: &E) {
        loop {
            let next = async {
                let place = Arc::clone(&self.room).acquire_owned().await;
                (entrance.next().await, place)
            };
            let (client, place) = tokio::select! {
                () = async { drop(self.stopping.wait_for(|stopping| *stopping).await) } => return,
                (accepted, place) = next => match accepted {
                    Ok(client) => (client, place),
                    Err(error) => {
                        // Out of descriptors, most likely: others have to close theirs first.
                        tracing::warn!(%error, "a client could not be let in");
                        tokio::time::sleep(Duration::from_millis(100)).await;
                        continue;
                    }
                },
            };
            let secured = E::secured(client);
            let (http, service, watcher) =
                (self.http.clone(), self.service.clone(), self.open.watcher());
            tokio::spawn(async move {
                if let Err(error) = answer(secured, &http, service, watcher).await {
                    tracing::debug!(error, "a client went away");
                }
                drop(place);
            });
        }
    }
}

/// Answers one client until it goes away.
async fn answer<S: AsyncRead + AsyncWrite + Unpin + Send + 'static>(
    secured: impl Future<Output = io::Result<S>>,
    http: &http1::Builder,
    service: TowerToHyperService<Router>,
    watcher: Watcher,
) -> Result<(), String> {
    let stream = tokio::time::timeout(PATIENCE, secured)
        .await
        .map_err(|_| "it took too long to begin".to_owned())?
        .map_err(|error| error.to_string())?;
    let serving = http.serve_connection(TokioIo::new(stream), service);
    let served = watcher.watch(serving).await;
    served.map_err(|error| error.to_string())
}

impl Drop for Served {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_file(&self.socket) {
            tracing::debug!(%error, "the socket was gone already");
        }
    }
}
