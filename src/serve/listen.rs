//! Listening: the unix socket that the commands use, and the page's doors on TCP.
//!
//! Promises: whoever connects, however many and however slow, has a bound and a limit of time, for
//! what it sends and for what it takes; those on TCP never take a place from those on the socket, nor
//! those of other devices from those of this computer, nor strangers from those who may come in.
//! Leaves to others: what is answered.

use std::fs::File;
use std::io;
use std::net::IpAddr;
use std::os::unix::fs::{DirBuilderExt as _, MetadataExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::watch;
use tokio::time::Instant;

use super::door::House;
use super::front::Front;
use super::http::{PATIENCE, Shared, Way, routes};
use super::places::{Bounds, Came, Place, Places};
use super::wire::{Patient, Wire};
use crate::book::open_lock_file;
use crate::trouble::Trouble;

/// The name of the socket in the runtime folder.
pub const SOCKET: &str = "panbell.sock";
/// The file whose lock says that a service is alone with the socket.
const LOCK: &str = "panbell.lock";
/// On the socket, where only the user himself connects: further ones wait to be let in.
const ON_SOCKET: Bounds = Bounds {
    strangers: 512,
    of_network: 512,
    known: 0,
    of_owner: 0,
    grace: None,
};
/// On loopback. Any user of the computer can connect there, and must keep neither the commands out nor
/// the page: one who has not shown the token makes room for the next.
const ON_LOOPBACK: Bounds = Bounds {
    strangers: 128,
    of_network: 128,
    known: 96,
    of_owner: 96,
    grace: Some(Duration::from_millis(50)),
};
/// Beyond loopback, where anybody in the network can connect. Strangers are fewer, since each of them
/// costs a handshake; a browser needs six places and as many when it is started anew.
const BEYOND: Bounds = Bounds {
    strangers: 96,
    of_network: 24,
    known: 128,
    of_owner: 12,
    grace: Some(Duration::from_secs(1)),
};
/// Bytes that are held of what a client sends and does not end, and of what it is sent.
const HELD: usize = 16 * 1024;
/// How long the first word on TLS may take until both sides have the keys. It is four messages, and
/// who is not let in yet may take a place for so long only.
const HANDSHAKE: Duration = Duration::from_secs(5);
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
    is_ours_alone(runtime)?;
    let alone = open_lock_file(&runtime.join(LOCK))
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

/// Whoever can write in the runtime folder can put a socket of their own in the place of ours, and
/// be told every order; what was put there already is not mended away.
fn is_ours_alone(runtime: &Path) -> Result<(), Trouble> {
    let folder = runtime.display();
    let refused = |happened: String, mend: String| {
        let means = "The orders could be read, or the bench be played, by others; so the service does not start. Job files are untouched.";
        Trouble::new("runtime-open", happened, means, mend)
    };
    let meta = std::fs::metadata(runtime).map_err(|error| {
        refused(
            format!("The runtime folder {folder} cannot be looked at: {error}."),
            "See that it belongs to you, or give another with --home.".to_owned(),
        )
    })?;
    if meta.uid() != rustix::process::geteuid().as_raw() {
        return Err(refused(
            format!("The runtime folder {folder} belongs to somebody else."),
            "Run panbell as its owner, or give another with --home.".to_owned(),
        ));
    }
    let mode = meta.mode() & 0o777;
    if mode & 0o022 != 0 {
        return Err(refused(
            format!("Others can write in the runtime folder {folder} (mode {mode:04o})."),
            format!("See that nothing of others lies in it, then: chmod 700 {folder}"),
        ));
    }
    Ok(())
}

impl Served {
    /// Serves until told to stop; then ends every stream, and gives open connections two seconds.
    pub async fn run(mut self, front: Front, house: Arc<House>, stopping: watch::Receiver<bool>) {
        let Some(listener) = self.listener.take() else {
            return;
        };
        let open = GracefulShutdown::new();
        let beyond = front.beyond();
        let routes = |from| {
            let shared = Shared::new(&house, &stopping, beyond.pairing(), from);
            routes(shared)
        };
        let on_socket = routes(Way::Socket);
        let on_tcp = front.guarded(routes(Way::Loopback));
        let on_tls = beyond.guarded(routes(Way::Beyond));
        let socket = Host::new(on_socket, ON_SOCKET, &open, stopping.clone());
        let tcp = Host::new(on_tcp, ON_LOOPBACK, &open, stopping.clone());
        let tls = Host::new(on_tls, BEYOND, &open, stopping.clone());
        tokio::join!(
            socket.welcome(&listener),
            tcp.welcome(&front),
            tls.welcome(beyond)
        );
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

    /// The next one who comes, and from where, if that is counted.
    fn next(&self) -> impl Future<Output = io::Result<(Self::Client, Option<IpAddr>)>> + Send;

    /// What comes before the first word.
    fn secured(
        client: Self::Client,
        wire: Arc<Wire>,
    ) -> impl Future<Output = io::Result<Self::Stream>> + Send + 'static;
}

impl Entrance for UnixListener {
    type Client = UnixStream;
    type Stream = Patient<UnixStream>;

    async fn next(&self) -> io::Result<(UnixStream, Option<IpAddr>)> {
        Ok((self.accept().await?.0, None))
    }

    async fn secured(client: UnixStream, wire: Arc<Wire>) -> io::Result<Self::Stream> {
        Ok(Patient::new(client, &wire))
    }
}

/// What is known of the connection that a request came over.
#[derive(Debug, Clone)]
pub(super) struct Connection {
    /// Its place, to be admitted to.
    pub(super) place: Arc<Place>,
    /// Its bytes.
    pub(super) wire: Arc<Wire>,
}

/// What lets clients in at one entrance.
struct Host<'a> {
    service: TowerToHyperService<Router>,
    http: http1::Builder,
    places: Places,
    open: &'a GracefulShutdown,
    stopping: watch::Receiver<bool>,
}

impl<'a> Host<'a> {
    fn new(
        routes: Router,
        bounds: Bounds,
        open: &'a GracefulShutdown,
        stopping: watch::Receiver<bool>,
    ) -> Self {
        let mut http = http1::Builder::new();
        http.timer(TokioTimer::new())
            .header_read_timeout(PATIENCE)
            .max_buf_size(HELD);
        Self {
            service: TowerToHyperService::new(routes),
            http,
            places: Places::new(bounds),
            open,
            stopping,
        }
    }

    /// Lets one after another in, until told to stop.
    async fn welcome<E: Entrance>(&self, entrance: &E) {
        let mut stopping = self.stopping.clone();
        tokio::select! {
            () = async { drop(stopping.wait_for(|stopping| *stopping).await) } => {}
            () = self.welcome_all(entrance) => {}
        }
    }

    async fn welcome_all<E: Entrance>(&self, entrance: &E) {
        loop {
            let (client, from) = match entrance.next().await {
                Ok(came) => came,
                Err(error) => {
                    // Out of descriptors, most likely: others have to close theirs first.
                    tracing::warn!(%error, "a client could not be let in");
                    tokio::time::sleep(Duration::from_millis(100)).await;
                    continue;
                }
            };
            let place = self.place(from).await;
            self.serve::<E>(client, place);
        }
    }

    /// A place for one who came.
    async fn place(&self, from: Option<IpAddr>) -> Place {
        loop {
            match self.places.take(from, Instant::now()) {
                Came::In(place) => return place,
                Came::Later(at) => self.places.again(at).await,
            }
        }
    }

    fn serve<E: Entrance>(&self, client: E::Client, place: Place) {
        let connection = Connection {
            place: Arc::new(place),
            wire: Arc::default(),
        };
        let wire = Arc::clone(&connection.wire);
        let secured = tokio::time::timeout(HANDSHAKE, E::secured(client, wire));
        let mut stopping = self.stopping.clone();
        // One who has not said a word yet is not waited for at a stop.
        let secured = async move {
            tokio::select! {
                _ = stopping.wait_for(|stopping| *stopping) => Err(io::Error::other("stopping")),
                secured = secured => secured.map_err(|_| io::Error::other("it took too long to begin"))?,
            }
        };
        let (http, service) = (self.http.clone(), self.service.clone());
        let (watcher, place) = (self.open.watcher(), Arc::clone(&connection.place));
        tokio::spawn(async move {
            tokio::select! {
                () = answer(secured, http, service, watcher, connection) => {}
                () = place.lost() => tracing::debug!("a client made room for another"),
            }
        });
    }
}

/// Answers one client until it goes away.
async fn answer<S: AsyncRead + AsyncWrite + Unpin + Send + 'static>(
    secured: impl Future<Output = io::Result<S>>,
    http: http1::Builder,
    routes: TowerToHyperService<Router>,
    watcher: Watcher,
    connection: Connection,
) {
    let service = service_fn(move |request: Request<Incoming>| {
        let body = |body| Body::new(connection.wire.watch(body));
        let mut request = request.map(body);
        request.extensions_mut().insert(connection.clone());
        routes.call(request)
    });
    let served = async {
        let stream = secured.await.map_err(|error| error.to_string())?;
        let serving = http.serve_connection(TokioIo::new(stream), service);
        let served = watcher.watch(serving).await;
        served.map_err(|error| error.to_string())
    };
    if let Err(error) = served.await {
        tracing::debug!(error, "a client went away");
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_file(&self.socket) {
            tracing::debug!(%error, "the socket was gone already");
        }
    }
}
