//! Who may come in over TCP: any program of any user can connect to a loopback port, and any web
//! site can make a browser do so.
//!
//! Promises: a request for another name than ours (as after a DNS answer that was changed under a
//! browser's feet) is refused; so is one that a page of another site makes; and everything but the
//! page's own files needs the token. An order must say that it comes from our own page. Leaves to
//! others: the routes.

use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::Arc;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderName};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse as _, Response};

use super::http::{Refused, guarded};
use super::page;
use super::secret::Seal;
use crate::trouble::Trouble;

/// What is held against every request.
#[derive(Debug, Clone)]
pub(super) struct Gate {
    /// `host:port`, as a browser writes it for us.
    hosts: Arc<[String]>,
    token: Seal,
}

/// Where a browser says from what page a request comes (W3C Fetch Metadata).
const SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

impl Gate {
    /// The gate of an address that is listened on.
    pub(super) fn new(at: SocketAddr, token: &str) -> Self {
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
            token: Seal::of(token),
        }
    }

    /// These routes behind the gate.
    pub(super) fn before(&self, routes: Router) -> Router {
        routes.layer(from_fn_with_state(self.clone(), check))
    }

    fn admits(&self, request: &Request) -> Result<(), Refused> {
        let (headers, uri) = (request.headers(), request.uri());
        let host = self.host(headers)?;
        // An address that is given whole counts more than the Host (RFC 9112, 3.2.2).
        if uri.authority().is_some_and(|it| it.as_str() != host) {
            return Err(other_host());
        }
        let reads = matches!(*request.method(), Method::GET | Method::HEAD);
        if reads && page::is_page(uri.path()) {
            return Ok(());
        }
        from_our_page(headers, host, reads)?;
        let in_query = (reads && uri.path().ends_with("/events"))
            .then(|| uri.query().and_then(token_in))
            .flatten();
        let token = bearer(headers).or(in_query);
        if token.is_some_and(|token| self.token.fits(token)) {
            Ok(())
        } else {
            Err(no_token(token.is_some()))
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
            .ok_or_else(other_host)
    }
}

async fn check(State(gate): State<Gate>, request: Request, next: Next) -> Response {
    match gate.admits(&request) {
        Ok(()) => next.run(request).await,
        Err(refused) => {
            let status = refused.0;
            let mut response = refused.into_response();
            if status == StatusCode::UNAUTHORIZED {
                let scheme = HeaderValue::from_static("Bearer");
                response
                    .headers_mut()
                    .insert(header::WWW_AUTHENTICATE, scheme);
            }
            guarded(response).await
        }
    }
}

/// A request that a browser makes for a page of another site is refused, and an order must say
/// that it comes from ours.
fn from_our_page(headers: &HeaderMap, host: &str, reads: bool) -> Result<(), Refused> {
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
        origin.and_then(|origin| origin.strip_prefix("http://")) == Some(host)
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

fn other_host() -> Refused {
    refused(
        StatusCode::MISDIRECTED_REQUEST,
        "host-strange",
        "The request is for an address that is not that of the bench's page.",
        "Open the page by the address that panbell page prints.",
    )
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

fn refused(status: StatusCode, code: &'static str, happened: &str, mend: &str) -> Refused {
    let nothing = "Nothing was changed, and nothing is shown.";
    Refused(status, Trouble::new(code, happened, nothing, mend))
}
