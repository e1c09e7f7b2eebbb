//! The page's doors: TCP on loopback at the address of the settings, and what the page's addresses
//! are.
//!
//! Promises: a door that cannot be opened is told and keeps nothing else from starting; the address
//! told is the one that is really listened on. Leaves to others: who is let through (`gate`).

use std::io;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

use axum::Router;
use serde::{Deserialize, Serialize};
use tokio::net::{TcpListener, TcpStream};

use super::beyond::{Beyond, BeyondView};
use super::gate::Gate;
use super::listen::Entrance;
use super::orders::RefusalBody;
use super::secret;
use super::wire::{self, Patient, Wire};
use crate::settings::{Folders, PageSettings};
use crate::trouble::Trouble;

/// The file of the page's token in the state folder.
const TOKEN: &str = "page-token";

/// Where the bench's page is to be found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct PageView {
    /// open, off or failed.
    pub state: String,
    /// Its whole address, with the token that lets a browser in.
    pub address: Option<String>,
    /// Why it is not open.
    pub trouble: Option<RefusalBody>,
    /// Where paired devices find it; none unless the settings say so.
    pub beyond: Option<BeyondView>,
}

impl PageView {
    /// The same for a device, which is not to have the token: it could be used after the device
    /// is forgotten.
    pub(super) fn without_token(&self) -> Self {
        let bare = |address: &String| address.split('#').next().map(str::to_owned);
        Self {
            address: self.address.as_ref().and_then(bare),
            ..self.clone()
        }
    }
}

/// The page's door, open or not.
#[derive(Debug)]
pub struct Front {
    open: Option<(TcpListener, Gate)>,
    view: PageView,
    beyond: Beyond,
}

impl Front {
    /// Opens it as the settings say, and says in the log how that went.
    pub fn open(settings: &PageSettings, folders: &Folders) -> Self {
        let (open, mut view) = Self::open_loopback(settings.at, folders);
        let beyond = Beyond::open(settings.beyond.as_ref(), folders);
        view.beyond = beyond.view();
        Self { open, view, beyond }
    }

    fn open_loopback(
        at: Option<SocketAddr>,
        folders: &Folders,
    ) -> (Option<(TcpListener, Gate)>, PageView) {
        let Some(at) = at else {
            return (None, seen("off", None, None));
        };
        match Self::listen(at, folders) {
            Ok((open, address)) => {
                tell(&address);
                (Some(open), seen("open", Some(address), None))
            }
            Err(trouble) => {
                tracing::error!("{}: {trouble}", trouble.code);
                (None, seen("failed", None, Some(&trouble)))
            }
        }
    }

    fn listen(at: SocketAddr, folders: &Folders) -> Result<((TcpListener, Gate), String), Trouble> {
        let token =
            secret::kept(&folders.state, TOKEN).map_err(|error| token_failed(folders, &error))?;
        let listener = wire::listen(at).map_err(|error| not_opened(at, &error))?;
        let at = listener
            .local_addr()
            .map_err(|error| not_opened(at, &error))?;
        // After the #, where no browser sends it on by itself.
        let address = format!("http://{at}/#token={token}");
        Ok(((listener, Gate::loopback(at, &token)), address))
    }

    /// Where the page is to be found.
    pub fn view(&self) -> &PageView {
        &self.view
    }

    /// The door for paired devices.
    pub(super) fn beyond(&self) -> &Beyond {
        &self.beyond
    }

    /// The routes behind the gate.
    pub(super) fn guarded(&self, routes: Router) -> Router {
        match &self.open {
            Some((_, gate)) => gate.before(routes),
            None => Router::new(),
        }
    }
}

impl Entrance for Front {
    type Client = TcpStream;
    type Stream = Patient<TcpStream>;

    /// Nobody ever comes when the door is shut.
    async fn next(&self) -> io::Result<(TcpStream, Option<IpAddr>)> {
        let Some((listener, _)) = &self.open else {
            return std::future::pending().await;
        };
        let (client, _) = listener.accept().await?;
        // All who come here are on this computer, and say from where as they like.
        Ok((client, None))
    }

    async fn secured(client: TcpStream, wire: Arc<Wire>) -> io::Result<Self::Stream> {
        wire::tune(&client)?;
        Ok(Patient::new(client, &wire))
    }
}

fn seen(state: &str, address: Option<String>, trouble: Option<&Trouble>) -> PageView {
    PageView {
        state: state.to_owned(),
        address,
        trouble: trouble.map(RefusalBody::from),
        beyond: None,
    }
}

/// Says where it is, without the token: a log is read by others and kept, also one on a terminal.
fn tell(whole: &str) {
    let address = whole.split_once('#').map_or(whole, |(bare, _)| bare);
    tracing::info!("the bench's page is at {address} (panbell page prints the whole address)");
}

fn not_opened(at: SocketAddr, error: &io::Error) -> Trouble {
    let (code, happened, mend) = match error.kind() {
        io::ErrorKind::AddrInUse => (
            "page-port-taken",
            format!("The bench's page cannot be served at {at}: another program is there already."),
            "End that program or write another port in the settings ([page] at), then start panbell again.",
        ),
        io::ErrorKind::PermissionDenied => (
            "page-port-refused",
            format!(
                "The bench's page cannot be served at {at}: the system does not let you use that port."
            ),
            "Write a port above 1023 in the settings ([page] at), then start panbell again.",
        ),
        _ => (
            "page-failed",
            format!("The bench's page cannot be served at {at}: {error}."),
            "Write an address of this computer in the settings ([page] at), such as 127.0.0.1:7726, then start panbell again.",
        ),
    };
    Trouble::new(code, happened, WITHOUT, mend)
}

fn token_failed(folders: &Folders, error: &io::Error) -> Trouble {
    Trouble::new(
        "page-token-failed",
        format!(
            "The token of the bench's page cannot be kept in {}: {error}.",
            folders.state.display()
        ),
        WITHOUT,
        "See that the folder can be written by you, then start panbell again.",
    )
}

const WITHOUT: &str =
    "The bench weighs and rings without its page, and takes orders from the commands.";
