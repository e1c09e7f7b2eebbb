//! The routes, the same for everybody who is let in, and their answers.
//!
//! `GET /v1/benches`, `GET /v1/bench/NAME`, `GET /v1/bench/NAME/events` (server-sent events),
//! `POST /v1/bench/NAME/order`, `GET /v1/shelf`, `GET /v1/page`, `GET /v1/openapi.json`. In place of NAME, `-` is
//! the only bench. On the socket alone: `POST /v1/pair`, `GET /v1/devices`, `POST
//! /v1/devices/forget`; for devices alone: `POST /v1/pair/enter`. Leaves to others: who is let in
//! (`listen`, `gate`), and the page's own files.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::rejection::{JsonRejection, PathRejection};
use axum::extract::{DefaultBodyLimit, FromRequest as _, Path as Named, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::map_response;
use axum::response::sse::Sse;
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};
use axum::{Extension, Json, Router};
use serde::de::DeserializeOwned;
use tokio::sync::watch;

use super::devices::{DeviceView, Leave};
use super::door::{Door, House, NotDone, Refusal, Wish};
use super::front::PageView;
use super::listen::Connection;
use super::openapi;
use super::orders::{OrderRequest, RefusalBody, ReplyBody};
use super::page;
use super::pairing::{self, CodeView, EnterBody, ForgetBody, ForgottenView, Pairing};
use super::recipes::RecipesView;
use super::stream::Follower;
use super::view::{BenchView, MetalView};
use crate::job::Terms;
use crate::trouble::Trouble;

/// An order is small; what is larger is none.
const LARGEST_BODY: usize = 64 * 1024;
/// How long a client may take to send a request, or to send another one: a command takes
/// milliseconds.
pub(super) const PATIENCE: Duration = Duration::from_secs(10);

/// What every route works with.
#[derive(Clone)]
pub(super) struct Shared {
    house: Arc<House>,
    stopping: watch::Receiver<bool>,
    pairing: Option<Arc<Pairing>>,
    from: Way,
}

/// Where a request comes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    /// On the unix socket: the person at the bench.
    Socket,
    /// On loopback, with the token.
    Loopback,
    /// From another device.
    Beyond,
}

impl Shared {
    pub(super) fn new(
        house: &Arc<House>,
        stopping: &watch::Receiver<bool>,
        pairing: Option<Arc<Pairing>>,
        from: Way,
    ) -> Self {
        Self {
            house: Arc::clone(house),
            stopping: stopping.clone(),
            pairing,
            from,
        }
    }

    /// What pairs devices, for those who may ask it that.
    fn pairing(&self, from: Way) -> Result<&Arc<Pairing>, Refused> {
        if self.from != from {
            return Err(elsewhere(from));
        }
        self.pairing.as_ref().ok_or_else(pairing::off)
    }
}

/// Method, address and handler of every route of the interface.
fn table() -> [(&'static str, &'static str, MethodRouter<Shared>); 12] {
    [
        ("get", "/v1/benches", get(benches)),
        ("get", "/v1/bench/{name}", get(bench)),
        ("get", "/v1/bench/{name}/events", get(events)),
        ("get", "/v1/bench/{name}/recipes", get(recipes)),
        ("post", "/v1/bench/{name}/order", post(order)),
        ("get", "/v1/shelf", get(shelf)),
        ("get", "/v1/page", get(the_page)),
        ("post", "/v1/pair", post(show_code)),
        ("post", "/v1/pair/enter", post(enter_code)),
        ("get", "/v1/devices", get(devices)),
        ("post", "/v1/devices/forget", post(forget)),
        ("get", "/v1/openapi.json", get(openapi::document)),
    ]
}

/// Every route as `method address`, for what describes them.
#[cfg(test)]
pub(super) fn addresses() -> impl Iterator<Item = String> {
    let table = table().into_iter();
    table.map(|(method, path, _)| format!("{method} {path}"))
}

/// All routes.
pub(super) fn routes(shared: Shared) -> Router {
    let table = table().into_iter();
    table
        .fold(page::routes(), |routes, (_, path, handler)| {
            routes.route(path, handler)
        })
        .fallback(nothing_here)
        .method_not_allowed_fallback(other_method)
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(map_response(guarded))
        .with_state(shared)
}

/// What a browser must not do with any answer: guess its kind, hand it to another site, keep it.
pub(super) async fn guarded(mut response: Response) -> Response {
    let headers = response.headers_mut();
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS.as_str(), "nosniff"),
        ("cross-origin-resource-policy", "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    let keep = headers.entry(header::CACHE_CONTROL);
    keep.or_insert(HeaderValue::from_static("no-store"));
    response
}

/// A trouble as an answer.
pub(super) struct Refused(pub(super) StatusCode, pub(super) Trouble);

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        (self.0, Json(RefusalBody::from(&self.1))).into_response()
    }
}

impl IntoResponse for NotDone {
    fn into_response(self) -> Response {
        let (status, trouble, bench) = match self {
            Self::Refused(Refusal { trouble, bench }) => (StatusCode::CONFLICT, trouble, bench),
            Self::Never(trouble) => (StatusCode::SERVICE_UNAVAILABLE, trouble, None),
            Self::Unknown(trouble) => (StatusCode::GATEWAY_TIMEOUT, trouble, None),
        };
        let body = RefusalBody {
            bench,
            ..RefusalBody::from(&trouble)
        };
        (status, Json(body)).into_response()
    }
}

/// The name of a bench in an address.
type Bench = Result<Named<String>, PathRejection>;

fn door(shared: &Shared, name: Bench) -> Result<&Door, Refused> {
    // Bytes that are no text name no bench either.
    let name = name.map_or_else(|_| "\u{fffd}".to_owned(), |Named(name)| name);
    let named = (name != "-").then_some(name.as_str());
    let found = shared.house.door(named);
    found.map_err(|trouble| Refused(StatusCode::NOT_FOUND, trouble))
}

async fn benches(State(shared): State<Shared>) -> Result<Json<Vec<BenchView>>, NotDone> {
    let mut views = Vec::with_capacity(shared.house.doors.len());
    for door in &shared.house.doors {
        views.push(door.view().await?);
    }
    Ok(Json(views))
}

async fn bench(State(shared): State<Shared>, name: Bench) -> Result<Json<BenchView>, Response> {
    let door = door(&shared, name).map_err(IntoResponse::into_response)?;
    let view = door.view().await.map_err(IntoResponse::into_response)?;
    Ok(Json(view))
}

async fn recipes(State(shared): State<Shared>, name: Bench) -> Result<Json<RecipesView>, Response> {
    let door = door(&shared, name).map_err(IntoResponse::into_response)?;
    let recipes = door.recipes().await.map_err(IntoResponse::into_response)?;
    Ok(Json(recipes))
}

async fn events(
    State(shared): State<Shared>,
    name: Bench,
    leave: Option<Extension<Leave>>,
    connection: Option<Extension<Connection>>,
    headers: HeaderMap,
) -> Result<impl IntoResponse, Refused> {
    let heard = headers.get("last-event-id").and_then(|id| id.to_str().ok());
    let leave = leave.map(|Extension(leave)| leave);
    let wire = connection.map(|Extension(connection)| connection.wire);
    let door = door(&shared, name)?.clone();
    let follower = Follower::start(door, heard, shared.stopping.clone(), leave, wire);
    Ok(Sse::new(follower))
}

async fn shelf(State(shared): State<Shared>) -> Json<Vec<MetalView>> {
    let metals = shared.house.settings.shelf.metals();
    Json(metals.iter().map(MetalView::of).collect())
}

async fn the_page(State(shared): State<Shared>) -> Json<PageView> {
    Json(match shared.from {
        Way::Beyond => shared.house.page.without_token(),
        Way::Socket | Way::Loopback => shared.house.page.clone(),
    })
}

async fn show_code(State(shared): State<Shared>) -> Result<Json<CodeView>, Refused> {
    Ok(Json(shared.pairing(Way::Socket)?.show()))
}

async fn devices(State(shared): State<Shared>) -> Result<Json<Vec<DeviceView>>, Refused> {
    Ok(Json(shared.pairing(Way::Socket)?.devices()))
}

async fn forget(
    State(shared): State<Shared>,
    request: Request,
) -> Result<Json<ForgottenView>, Refused> {
    let pairing = shared.pairing(Way::Socket)?;
    let body: ForgetBody = arrived(request, &shared).await?;
    Ok(Json(pairing.forget(body).await?))
}

async fn enter_code(
    State(shared): State<Shared>,
    request: Request,
) -> Result<impl IntoResponse, Refused> {
    let pairing = shared.pairing(Way::Beyond)?;
    let body: EnterBody = arrived(request, &shared).await?;
    let (device, cookie) = pairing.enter(body).await?;
    Ok(([(header::SET_COOKIE, cookie)], Json(device)))
}

async fn order(
    State(shared): State<Shared>,
    name: Bench,
    request: Request,
) -> Result<Json<ReplyBody>, Response> {
    let (door, wish, terms) = ordered(&shared, name, request)
        .await
        .map_err(IntoResponse::into_response)?;
    let done = door.order(wish, terms).await;
    Ok(Json(done.map_err(IntoResponse::into_response)?.into()))
}

/// What a request orders of which bench, and on what terms.
async fn ordered(
    shared: &Shared,
    name: Bench,
    request: Request,
) -> Result<(&Door, Wish, Terms), Refused> {
    let door = door(shared, name)?;
    let OrderRequest { order: body, on } = arrived(request, shared).await?;
    let unclear = |trouble| Refused(StatusCode::UNPROCESSABLE_ENTITY, trouble);
    let terms = on.into_terms().map_err(unclear)?;
    let wish = match body.key() {
        Some(key) => Wish::Press(key),
        None => Wish::Order(
            body.into_order(&shared.house, &door.name)
                .map_err(unclear)?,
        ),
    };
    Ok((door, wish, terms))
}

/// The body of a request, as JSON.
async fn arrived<T: DeserializeOwned>(request: Request, shared: &Shared) -> Result<T, Refused> {
    let body = tokio::time::timeout(PATIENCE, Json::<T>::from_request(request, shared));
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
    Ok(body)
}

/// What is for others to ask.
fn elsewhere(from: Way) -> Refused {
    let (happened, mend) = match from {
        Way::Beyond => (
            "A code is entered at the device that is to be paired.",
            "Open the bench's page on that device.",
        ),
        Way::Socket | Way::Loopback => (
            "Devices are paired and forgotten at the bench alone.",
            "At the bench: panbell pair, panbell pair --list, panbell pair --forget NAME.",
        ),
    };
    let trouble = Trouble::new("pair-elsewhere", happened, "Nothing was changed.", mend);
    Refused(StatusCode::FORBIDDEN, trouble)
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

pub(super) async fn nothing_here() -> Refused {
    Refused(
        StatusCode::NOT_FOUND,
        Trouble::new(
            "no-such-route",
            "There is nothing at this address.",
            "Nothing was changed.",
            "See /v1/openapi.json.",
        ),
    )
}
