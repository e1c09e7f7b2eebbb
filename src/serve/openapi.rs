//! The interface described for other programs: an `OpenAPI` 3.1 document.
//!
//! Promises: it names every route, order and field as they are; the test below makes it anew from
//! the types and holds the two against each other. Leaves to others: everything that it describes.

use axum::http::header;
use axum::response::IntoResponse;

/// The document. Made by `UPDATE=1 cargo test --lib openapi`.
const DOCUMENT: &str = include_str!("openapi.json");

/// Gives the document.
pub(super) async fn document() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "application/json")], DOCUMENT)
}

#[cfg(test)]
#[path = "openapi/made.rs"]
mod made;
