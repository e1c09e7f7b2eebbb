//! A device in the network: a TLS client that trusts the bench's certificate alone, and writes its
//! requests by hand.

use std::io::{self, Write};
use std::net::{Ipv4Addr, SocketAddr, SocketAddrV4, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};
use rustls_pki_types::pem::PemObject as _;
use rustls_pki_types::{CertificateDer, ServerName};
use serde_json::{Value, json};

use crate::support::desk::{BENCH, Desk};
use crate::support::home::{self, Home};
use crate::support::http::{self, Reply};
use crate::support::service::{self, Service, plain, run};

/// Longer than the service takes for anything.
pub(crate) const LIMIT: Duration = Duration::from_secs(30);
/// The name under which devices know the bench.
pub(crate) const NAME: &str = "bench.local";
/// An order that does something.
pub(crate) const ORDER: &str =
    r#"{"order":"open","ticket":"T-9","target":"18k","colour":"yellow"}"#;
pub(crate) const JSON: &str = "content-type: application/json";

pub(crate) type Tls = StreamOwned<ClientConnection, TcpStream>;

/// Settings with the page for devices on a port that was free, and that of this computer too.
pub(crate) fn settings(home: &Home) -> String {
    let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
    format!(
        "[bell]\ndesktop = false\n[page]\nat = \"127.0.0.1:0\"\nbeyond_loopback = true\n\
         beyond_at = \"127.0.0.1:0\"\nnames = [\"{NAME}\"]\n{bench}"
    )
}

/// A desk that devices can reach.
pub(crate) fn desk() -> Desk {
    Desk::set(|home| {
        home.settings(&settings(home));
        service::command(home.path())
    })
}

/// A service that devices can reach, and no balance.
pub(crate) fn alone() -> (Service, Home) {
    let home = Home::new();
    home.settings(&settings(&home));
    (Service::start(&home), home)
}

/// What a command says as JSON.
pub(crate) fn json_of(home: &Home, words: &[&str]) -> Value {
    let said = run(plain(home.path()).args(words).arg("--json")).ends(0);
    serde_json::from_str(&said).unwrap()
}

/// A code that is shown now.
pub(crate) fn code(home: &Home) -> String {
    let view = json_of(home, &["pair"]);
    view["code"].as_str().unwrap().to_owned()
}

/// A code that is surely not this one.
pub(crate) fn other_than(code: &str) -> String {
    format!("{:08}", (code.parse::<u64>().unwrap() + 1) % 100_000_000)
}

/// A device, paired or not.
pub(crate) struct Device {
    pub(crate) at: SocketAddr,
    /// The address of its own.
    from: Ipv4Addr,
    tls: Arc<ClientConfig>,
    cookie: Option<String>,
}

impl Device {
    /// One that knows the certificate, and is not paired.
    pub(crate) fn new(home: &Home) -> Self {
        let page = json_of(home, &["page"]);
        let addresses = page["beyond"]["addresses"].as_array().unwrap();
        let numbers = addresses
            .iter()
            .find_map(|it| it.as_str()?.strip_prefix("https://127"))
            .unwrap();
        let at = format!("127{}", numbers.trim_end_matches('/'));
        Self {
            at: at.parse().unwrap(),
            from: Ipv4Addr::LOCALHOST,
            tls: trusting(&home.path().join("state/page-certificate.pem")),
            cookie: None,
        }
    }

    /// One that is paired.
    pub(crate) fn paired(home: &Home, name: &str) -> Self {
        let mut device = Self::new(home);
        let reply = device.enter(&code(home), name);
        assert_eq!(reply.status, 200, "{reply:?}");
        device.cookie = Some(cookie(&reply));
        device
    }

    /// The same device where the bench has another port.
    pub(crate) fn moved_to(&self, port: u16) -> Self {
        Self {
            at: SocketAddr::new(self.at.ip(), port),
            from: self.from,
            tls: Arc::clone(&self.tls),
            cookie: self.cookie.clone(),
        }
    }

    /// The same device with another address of its own.
    pub(crate) fn coming_from(&self, from: Ipv4Addr) -> Self {
        Self {
            from,
            ..self.moved_to(self.at.port())
        }
    }

    /// A connection whose handshake is done.
    pub(crate) fn connect(&self) -> io::Result<Tls> {
        let mut socket = reached(self.at, self.from)?;
        socket.set_read_timeout(Some(LIMIT))?;
        socket.set_write_timeout(Some(LIMIT))?;
        let name = ServerName::try_from(NAME).unwrap();
        let mut tls = ClientConnection::new(Arc::clone(&self.tls), name).unwrap();
        while tls.is_handshaking() {
            tls.complete_io(&mut socket)?;
        }
        Ok(StreamOwned::new(tls, socket))
    }

    pub(crate) fn host(&self) -> String {
        format!("host: {NAME}:{}", self.at.port())
    }

    pub(crate) fn origin(&self) -> String {
        format!("origin: https://{NAME}:{}", self.at.port())
    }

    /// The cookie as a browser sends it, among others.
    pub(crate) fn cookie(&self) -> String {
        format!("cookie: a=b; {}; c=d", self.cookie.as_ref().unwrap())
    }

    /// One request of these lines, with a body.
    pub(crate) fn ask(&self, first: &str, lines: &[&str], body: &str) -> Reply {
        let mut text = format!("{first} HTTP/1.1\r\nconnection: close\r\n");
        for line in lines {
            text.push_str(line);
            text.push_str("\r\n");
        }
        let length = body.len();
        if !body.is_empty() {
            text += "content-length: ";
            text += &length.to_string();
            text += "\r\n";
        }
        text.push_str("\r\n");
        text.push_str(body);
        http::say(self.connect().unwrap(), text.as_bytes()).unwrap()
    }

    /// Gets something as a paired device.
    pub(crate) fn get(&self, path: &str) -> Reply {
        self.ask(&format!("GET {path}"), &[&self.host(), &self.cookie()], "")
    }

    /// The same, where it may be hung up on.
    pub(crate) fn try_get(&self, path: &str) -> io::Result<Reply> {
        let text = format!(
            "GET {path} HTTP/1.1\r\nconnection: close\r\n{}\r\n{}\r\n\r\n",
            self.host(),
            self.cookie()
        );
        http::say(self.connect()?, text.as_bytes())
    }

    /// Gives an order as the page of a paired device does.
    pub(crate) fn order(&self, body: &str) -> Reply {
        let lines = [&self.host(), &self.cookie(), &self.origin(), JSON];
        self.ask(&format!("POST /v1/bench/{BENCH}/order"), &lines, body)
    }

    /// Sends a code as the pairing page does.
    pub(crate) fn enter(&self, code: &str, name: &str) -> Reply {
        let body = json!({"code": code, "name": name}).to_string();
        let lines = [
            &self.host(),
            &self.origin(),
            "sec-fetch-site: same-origin",
            JSON,
        ];
        self.ask("POST /v1/pair/enter", &lines, &body)
    }

    /// The stream of the bench, its head not read yet.
    pub(crate) fn events(&self) -> Tls {
        let mut stream = self.connect().unwrap();
        write!(
            stream,
            "GET /v1/bench/{BENCH}/events HTTP/1.1\r\n{}\r\n{}\r\n\r\n",
            self.host(),
            self.cookie()
        )
        .unwrap();
        stream
    }
}

/// A connection from this address of the loopback network.
pub(crate) fn reached(at: SocketAddr, from: Ipv4Addr) -> io::Result<TcpStream> {
    let socket = rustix::net::socket(
        rustix::net::AddressFamily::INET,
        rustix::net::SocketType::STREAM,
        None,
    )?;
    rustix::net::bind(&socket, &SocketAddrV4::new(from, 0))?;
    rustix::net::connect(&socket, &at)?;
    Ok(TcpStream::from(socket))
}

/// A client that trusts one certificate and nothing else.
fn trusting(pem: &Path) -> Arc<ClientConfig> {
    let mut roots = RootCertStore::empty();
    roots
        .add(CertificateDer::from_pem_file(pem).unwrap())
        .unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    Arc::new(config)
}

/// `name=value` of the cookie that an answer sets.
pub(crate) fn cookie(reply: &Reply) -> String {
    let mut lines = reply.head.lines();
    let line = lines.find_map(|line| line.strip_prefix("set-cookie: "));
    line.unwrap().split(';').next().unwrap().to_owned()
}
