//! The door for paired devices: TLS at the address of the settings, and nothing unless they say so.
//!
//! Promises: not a word is spoken without encryption but that it is needed; one that cannot be
//! opened is told and keeps nothing else from starting. Leaves to others: who is let through
//! (`gate`), and the bounds and the limit of time for all who come (`listen`).

use std::io;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

use axum::Router;
use rustls::ServerConfig;
use serde::{Deserialize, Serialize};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

use super::certificate;
use super::gate::Gate;
use super::listen::Entrance;
use super::orders::RefusalBody;
use super::pairing::Pairing;
use super::wire::{self, Patient, Wire};
use crate::settings::{BeyondSettings, Folders};
use crate::trouble::Trouble;

/// Where paired devices find the page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct BeyondView {
    /// open or failed.
    pub state: String,
    /// Its address under each name.
    pub addresses: Vec<String>,
    /// SHA-256 of the certificate that a device must see there.
    pub fingerprint: Option<String>,
    /// Why it is not open.
    pub trouble: Option<RefusalBody>,
}

/// The door, open or not.
#[derive(Debug)]
pub(super) struct Beyond {
    open: Option<Open>,
    view: Option<BeyondView>,
}

#[derive(Debug)]
struct Open {
    listener: TcpListener,
    tls: Arc<ServerConfig>,
    gate: Gate,
    pairing: Arc<Pairing>,
}

impl Beyond {
    /// Opens it as the settings say, and says in the log how that went.
    pub(super) fn open(settings: Option<&BeyondSettings>, folders: &Folders) -> Self {
        let Some(settings) = settings else {
            return Self {
                open: None,
                view: None,
            };
        };
        match Self::listen(settings, folders) {
            Ok(open) => open,
            Err(trouble) => {
                tracing::error!("{}: {trouble}", trouble.code);
                let view = BeyondView {
                    state: "failed".to_owned(),
                    addresses: Vec::new(),
                    fingerprint: None,
                    trouble: Some(RefusalBody::from(&trouble)),
                };
                Self {
                    open: None,
                    view: Some(view),
                }
            }
        }
    }

    fn listen(settings: &BeyondSettings, folders: &Folders) -> Result<Self, Trouble> {
        let unkept = |error: io::Error| not_kept(folders, &error);
        let identity = certificate::kept(&folders.state, &settings.names).map_err(unkept)?;
        let unopened = |error: io::Error| not_opened(settings.at, &error);
        let listener = wire::listen(settings.at).map_err(unopened)?;
        let port = listener.local_addr().map_err(unopened)?.port();
        let hosts: Vec<String> = settings.names.iter().map(|name| host(name, port)).collect();
        let address = |host: &String| format!("https://{host}/");
        let addresses: Vec<String> = hosts.iter().map(address).collect();
        let fingerprint = identity.fingerprint;
        tracing::info!(
            "paired devices find the bench's page at {}; fingerprint of its certificate{}: {fingerprint}",
            addresses.join(" "),
            if identity.is_new {
                ", made just now"
            } else {
                ""
            }
        );
        let pairing = Pairing::open(&folders.state, addresses.clone(), fingerprint.clone());
        let pairing = Arc::new(pairing.map_err(unkept)?);
        Ok(Self {
            open: Some(Open {
                listener,
                tls: identity.tls,
                gate: Gate::beyond(hosts, Arc::clone(&pairing)),
                pairing,
            }),
            view: Some(BeyondView {
                state: "open".to_owned(),
                addresses,
                fingerprint: Some(fingerprint),
                trouble: None,
            }),
        })
    }

    /// Where the page is to be found; none when nothing listens beyond loopback.
    pub(super) fn view(&self) -> Option<BeyondView> {
        self.view.clone()
    }

    /// What pairs devices, when it is open.
    pub(super) fn pairing(&self) -> Option<Arc<Pairing>> {
        self.open.as_ref().map(|open| Arc::clone(&open.pairing))
    }

    /// The routes behind the gate.
    pub(super) fn guarded(&self, routes: Router) -> Router {
        match &self.open {
            Some(open) => open.gate.before(routes),
            None => Router::new(),
        }
    }
}

impl Entrance for Beyond {
    type Client = (TcpStream, Arc<ServerConfig>);
    type Stream = TlsStream<Patient<TcpStream>>;

    /// Nobody ever comes when the door is shut.
    async fn next(&self) -> io::Result<(Self::Client, Option<IpAddr>)> {
        let Some(open) = &self.open else {
            return std::future::pending().await;
        };
        let (client, from) = open.listener.accept().await?;
        Ok(((client, Arc::clone(&open.tls)), Some(from.ip())))
    }

    async fn secured((client, tls): Self::Client, wire: Arc<Wire>) -> io::Result<Self::Stream> {
        wire::tune(&client)?;
        let mut first = [0];
        // A TLS handshake begins with this byte (RFC 8446, 5.1), and no request of http does.
        if client.peek(&mut first).await? == 1 && first != [0x16] {
            return Err(refused_plain(client).await);
        }
        TlsAcceptor::from(tls)
            .accept(Patient::new(client, &wire))
            .await
    }
}

/// What a browser shows to one who left out the `s` of https.
async fn refused_plain(mut client: TcpStream) -> io::Error {
    const TEXT: &str = "This address is encrypted. Nothing was changed, and nothing is shown. \
        Write https:// before it.\n";
    let answer = format!(
        "HTTP/1.1 400 Bad Request\r\ncontent-type: text/plain; charset=utf-8\r\n\
         content-length: {}\r\nconnection: close\r\n\r\n{TEXT}",
        TEXT.len()
    );
    // What was sent is taken first: a connection that is closed with bytes unread is cut off, and
    // the answer with it.
    let mut sent = [0; 4096];
    let told = async {
        let _how_much = client.read(&mut sent).await?;
        client.write_all(answer.as_bytes()).await?;
        client.shutdown().await
    };
    match told.await {
        Ok(()) => io::Error::other("it spoke without encryption"),
        Err(error) => error,
    }
}

/// As a browser writes it.
fn host(name: &str, port: u16) -> String {
    let name = match name.parse() {
        Ok(std::net::Ipv6Addr { .. }) => format!("[{name}]"),
        Err(_) => name.to_owned(),
    };
    match port {
        443 => name,
        _ => format!("{name}:{port}"),
    }
}

const WITHOUT: &str = "No other device can reach the bench, which weighs and rings as always and takes orders from the commands.";

fn not_opened(at: SocketAddr, error: &io::Error) -> Trouble {
    let (code, happened, mend) = match error.kind() {
        io::ErrorKind::AddrInUse => (
            "beyond-port-taken",
            format!(
                "The page for other devices cannot be served at {at}: another program is there already."
            ),
            "End that program or write another port in the settings ([page] beyond_at), then start panbell again.",
        ),
        io::ErrorKind::PermissionDenied => (
            "beyond-port-refused",
            format!(
                "The page for other devices cannot be served at {at}: the system does not let you use that port."
            ),
            "Write a port above 1023 in the settings ([page] beyond_at), then start panbell again.",
        ),
        _ => (
            "beyond-failed",
            format!("The page for other devices cannot be served at {at}: {error}."),
            "Write an address that this computer has now in the settings ([page] beyond_at), or [::]:7727, then start panbell again.",
        ),
    };
    Trouble::new(code, happened, WITHOUT, mend)
}

fn not_kept(folders: &Folders, error: &io::Error) -> Trouble {
    Trouble::new(
        "beyond-not-kept",
        format!(
            "The certificate or the devices of the page cannot be kept in {}: {error}.",
            folders.state.display()
        ),
        WITHOUT,
        "See that the folder can be written by you, then start panbell again.",
    )
}
