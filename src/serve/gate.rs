//! Who may come in over TCP: any program of any user can connect to a loopback port, and any web
//! site can make a browser do so.
//!
//! Promises: a request for another name than ours (as after a DNS answer that was changed under a
//! browser's feet) is refused; so is one that a page of another site makes; and everything but the
//! page's own files needs the token, or beyond loopback the cookie of a paired device. An order must
//! say that it comes from our own page. Leaves to others: the routes, and how a device is paired.

use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::Arc;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderName};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse as _, Redirect, Response};

use super::devices::{Leave, left};
use super::http::{Refused, guarded};
use super::listen::Connection;
use super::page;
use super::pairing::Pairing;
use super::places::Owner;
use super::secret::Seal;
use crate::trouble::Trouble;

/// What is held against every request.
#[derive(Debug, Clone)]
pub(super) struct Gate {
    /// `host:port`, as a browser writes it for us.
    hosts: Arc<[String]>,
    /// What stands before the host in an `Origin`.
    scheme: &'static str,
    key: Key,
}

/// What lets one in.
#[derive(Debug, Clone)]
enum Key {
    /// The token of the page.
    Token(Seal),
    /// The cookie of a paired device.
    Device(Arc<Pairing>),
}

/// How one is let in.
enum Admitted {
    /// For what needs no key.
    Freely,
    /// With the token.
    Holder,
    /// As a device, until it is forgotten.
    Until(Leave),
    /// As one who may only be paired.
    ToPairing,
}

/// Where a device sends the code.
const ENTER: &str = "/v1/pair/enter";

/// Where a browser says from what page a request comes (W3C Fetch Metadata).
const SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

impl Gate {
    /// The gate of a loopback address that is listened on.
    pub(super) fn loopback(at: SocketAddr, token: &str) -> Self {
        let port = at.port();
        let mut hosts = vec![
            at.to_string(),
            SocketAddr::from((Ipv4Addr::LOCALHOST, port)).to_string(),
            SocketAddr::from((Ipv6Addr::LOCALHOST, port)).to_string(),
            format!("localhost:{port}"),
        ];
        // A browser leaves the usual port of http out.
        let bare: Vec<String> = hosts
            .iter()
            .filter_map(|host| host.strip_suffix(":80").map(str::to_owned))
            .collect();
        hosts.extend(bare);
        Self {
            hosts: hosts.into(),
            scheme: "http://",
            key: Key::Token(Seal::of(token)),
        }
    }

    /// The gate of paired devices, under these names with their port.
    pub(super) fn beyond(hosts: Vec<String>, pairing: Arc<Pairing>) -> Self {
        Self {
            hosts: hosts.into(),
            scheme: "https://",
            key: Key::Device(pairing),
        }
    }

    /// These routes behind the gate.
    pub(super) fn before(&self, routes: Router) -> Router {
        routes.layer(from_fn_with_state(self.clone(), check))
    }

    fn admits(&self, request: &Request) -> Result<Admitted, Refused> {
        let (headers, uri) = (request.headers(), request.uri());
        let host = self.host(headers)?;
        // An address that is given whole counts more than the Host (RFC 9112, 3.2.2).
        if uri.authority().is_some_and(|it| it.as_str() != host) {
            return Err(self.other_host());
        }
        let reads = matches!(*request.method(), Method::GET | Method::HEAD);
        let is_page = reads && page::is_page(uri.path());
        if !is_page {
            from_our_page(headers, (self.scheme, host), reads)?;
        }
        match &self.key {
            Key::Token(_) if is_page => Ok(Admitted::Freely),
            Key::Token(seal) => {
                let in_query = (reads && uri.path().ends_with("/events"))
                    .then(|| uri.query().and_then(token_in))
                    .flatten();
                let token = bearer(headers).or(in_query);
                if token.is_some_and(|token| seal.fits(token)) {
                    Ok(Admitted::Holder)
                } else {
                    Err(no_token(token.is_some()))
                }
            }
            Key::Device(pairing) => {
                let shows = page::shows_the_bench(uri.path());
                // Nor is the first code entered by a device that is paired.
                if (is_page && !shows) || (!reads && uri.path() == ENTER) {
                    return Ok(Admitted::Freely);
                }
                match holder(pairing, headers) {
                    Some(leave) => Ok(Admitted::Until(leave)),
                    None if is_page => Ok(Admitted::ToPairing),
                    None => Err(not_paired()),
                }
            }
        }
    }

    /// The only Host of the request, which must be ours.
    fn host<'a>(&self, headers: &'a HeaderMap) -> Result<&'a str, Refused> {
        let mut all = headers.get_all(header::HOST).iter();
        let (Some(host), None) = (all.next(), all.next()) else {
            return Err(refused(
                StatusCode::BAD_REQUEST,
                "host-missing",
                "The request does not say, or says more than once, which address it is for.",
                "Send exactly one Host header, that of the bench's page.",
            ));
        };
        host.to_str()
            .ok()
            .filter(|host| self.hosts.iter().any(|ours| ours == host))
            .ok_or_else(|| self.other_host())
    }

    /// Where the page is, by each name.
    fn addresses(&self) -> impl Iterator<Item = String> {
        let hosts = self.hosts.iter();
        hosts.map(|host| format!("{}{host}/", self.scheme))
    }

    fn other_host(&self) -> Refused {
        let addresses: Vec<String> = self.addresses().collect();
        refused(
            StatusCode::MISDIRECTED_REQUEST,
            "host-strange",
            "The request is for an address that is not that of the bench's page.",
            &format!(
                "Open the page by its own address: {}.",
                addresses.join(" or ")
            ),
        )
    }

    /// What a person sees who came by another name: which are right.
    fn way_in(&self) -> Response {
        let links = self.addresses().fold(String::new(), |links, address| {
            format!("{links}<li><a href=\"{address}\">{address}</a></li>")
        });
        let whole = match self.key {
            Key::Token(_) => {
                "<p>A browser that has not been here before needs the whole address with its token: run <code>panbell page</code> at the bench.</p>"
            }
            Key::Device(_) => {
                "<p>A device that was paired by another name has to be paired again: run <code>panbell pair</code> at the bench.</p>"
            }
        };
        let text = format!(
            "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\"><title>Another address</title><h1>The bench is not at this address</h1><p>Nothing was changed, and nothing is shown. The bench's page has these addresses and no others:</p><ul>{links}</ul>{whole}</html>"
        );
        let policy =
            "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
        let headers = [
            (header::CONTENT_TYPE, "text/html; charset=utf-8"),
            (header::CONTENT_SECURITY_POLICY, policy),
            (header::REFERRER_POLICY, "no-referrer"),
        ];
        (StatusCode::MISDIRECTED_REQUEST, headers, text).into_response()
    }
}

/// Whether it is a person's browser that asks for a page.
fn wants_page(request: &Request) -> bool {
    let mut accept = request.headers().get_all(header::ACCEPT).iter();
    *request.method() == Method::GET
        && accept.any(|it| it.to_str().is_ok_and(|it| it.contains("text/html")))
}

async fn check(State(gate): State<Gate>, mut request: Request, next: Next) -> Response {
    let wants_page = wants_page(&request);
    let connection = request.extensions().get::<Connection>().cloned();
    let admit = |owner| {
        if let Some(connection) = &connection {
            connection.place.admit(owner);
        }
    };
    let refused = match gate.admits(&request) {
        Ok(Admitted::Freely) => return next.run(request).await,
        Ok(Admitted::Holder) => {
            admit(Owner::Page);
            return next.run(request).await;
        }
        Ok(Admitted::ToPairing) => {
            let to = page::to_pairing(request.uri().path());
            return guarded(Redirect::to(&to).into_response()).await;
        }
        Ok(Admitted::Until(leave)) => {
            admit(Owner::Device(leave.device));
            // For what goes on after the answer has begun.
            request.extensions_mut().insert(leave.clone());
            tokio::select! {
                biased;
                () = left(Some(leave)) => not_paired(),
                response = next.run(request) => return response,
            }
        }
        Err(refused) => refused,
    };
    let status = refused.0;
    if status == StatusCode::MISDIRECTED_REQUEST && wants_page {
        return guarded(gate.way_in()).await;
    }
    let mut response = refused.into_response();
    if status == StatusCode::UNAUTHORIZED {
        let scheme = HeaderValue::from_static("Bearer");
        response
            .headers_mut()
            .insert(header::WWW_AUTHENTICATE, scheme);
    }
    guarded(response).await
}

/// The paired device whose cookie a request has.
fn holder(pairing: &Pairing, headers: &HeaderMap) -> Option<Leave> {
    let mut cookies = headers.get_all(header::COOKIE).iter();
    cookies.find_map(|cookies| pairing.holder(cookies.to_str().ok()?))
}

/// A request that a browser makes for a page of another site is refused, and an order must say
/// that it comes from ours.
fn from_our_page(
    headers: &HeaderMap,
    (scheme, host): (&str, &str),
    reads: bool,
) -> Result<(), Refused> {
    let other = |happened| {
        let mend = "Open the bench's own page: panbell page prints its address.";
        Err(refused(
            StatusCode::FORBIDDEN,
            "origin-strange",
            happened,
            mend,
        ))
    };
    let mut origins = headers.get_all(header::ORIGIN).iter().peekable();
    if !reads && origins.peek().is_none() {
        return other("The order does not say from which page it comes.");
    }
    let ours = |origin: &HeaderValue| {
        let origin = origin.to_str().ok();
        origin.and_then(|origin| origin.strip_prefix(scheme)) == Some(host)
    };
    let site = |site: &HeaderValue| matches!(site.as_bytes(), b"same-origin" | b"none");
    if origins.all(ours) && headers.get_all(SITE).iter().all(site) {
        return Ok(());
    }
    other("The request comes from a page of another address.")
}

fn bearer(headers: &HeaderMap) -> Option<&str> {
    let (scheme, token) = headers
        .get(header::AUTHORIZATION)?
        .to_str()
        .ok()?
        .split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

fn token_in(query: &str) -> Option<&str> {
    query
        .split('&')
        .find_map(|part| part.strip_prefix("token="))
}

fn no_token(wrong: bool) -> Refused {
    refused(
        StatusCode::UNAUTHORIZED,
        if wrong {
            "token-wrong"
        } else {
            "token-missing"
        },
        if wrong {
            "The token is not that of this bench."
        } else {
            "The request has no token."
        },
        "Open the page by the address that panbell page prints.",
    )
}

fn not_paired() -> Refused {
    refused(
        StatusCode::FORBIDDEN,
        "not-paired",
        "This device is not paired with the bench, or was forgotten.",
        "Have a code shown at the bench (panbell pair), and enter it on the page of this address.",
    )
}

fn refused(status: StatusCode, code: &'static str, happened: &str, mend: &str) -> Refused {
    let nothing = "Nothing was changed, and nothing is shown.";
    Refused(status, Trouble::new(code, happened, nothing, mend))
}
