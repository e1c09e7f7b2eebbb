//! The page's own files, built into the program.
//!
//! Promises: they name no address outside, and a browser is told to follow none; they hold nothing
//! of the shop, so they need no token. Leaves to others: what is in them.

use std::sync::OnceLock;

use axum::Router;
use axum::extract::Path as Named;
use axum::extract::rejection::PathRejection;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use sha2::{Digest as _, Sha256};

use super::http::{Shared, nothing_here};

/// A file of the page's folder, built in.
macro_rules! file {
    ($name:literal, $kind:expr) => {
        File {
            name: $name,
            kind: $kind,
            bytes: include_bytes!(concat!("page/", $name)),
        }
    };
}

/// Name, kind and bytes of every file. The first is the page itself, at `/` and `/bench/NAME`.
const FILES: [File; 22] = [
    file!("index.html", HTML),
    file!("bench.css", CSS),
    file!("sheets.css", CSS),
    file!("mark.svg", DRAWING),
    file!("main.js", SCRIPT),
    file!("beam.js", SCRIPT),
    file!("dom.js", SCRIPT),
    file!("forms.js", SCRIPT),
    file!("keep.js", SCRIPT),
    file!("keys.js", SCRIPT),
    file!("link.js", SCRIPT),
    file!("overview.js", SCRIPT),
    file!("prefs.js", SCRIPT),
    file!("sheets.js", SCRIPT),
    file!("sound.js", SCRIPT),
    file!("steps.js", SCRIPT),
    file!("strip.js", SCRIPT),
    file!("triangle.js", SCRIPT),
    file!("words.js", SCRIPT),
    file!("pair.html", HTML),
    file!("pair.js", SCRIPT),
    file!("pair.css", CSS),
];

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const DRAWING: &str = "image/svg+xml";

/// Everything from our own address and nothing from elsewhere; in no frame; no form goes anywhere
/// (W3C Content Security Policy Level 3).
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
    font-src 'self'; media-src 'self'; connect-src 'self'; manifest-src 'self'; base-uri 'none'; \
    form-action 'none'; frame-ancestors 'none'";

struct File {
    name: &'static str,
    kind: &'static str,
    bytes: &'static [u8],
}

/// The page's routes.
pub(super) fn routes() -> Router<Shared> {
    Router::new()
        .route("/", get(index))
        .route("/bench/{name}", get(index))
        .route("/page/{file}", get(file))
}

/// Whether an address is one of the page's own.
pub(super) fn is_page(path: &str) -> bool {
    path == "/" || path.starts_with("/bench/") || path.starts_with("/page/")
}

/// Whether an address shows the bench, and not merely a file that it is shown with.
pub(super) fn shows_the_bench(path: &str) -> bool {
    path == "/" || path.starts_with("/bench/")
}

/// Where a device that is not paired is sent, with the bench that it wanted.
pub(super) fn to_pairing(path: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.' | b'/');
    if path != "/" && path.bytes().all(plain) {
        format!("/page/pair.html#{path}")
    } else {
        "/page/pair.html".to_owned()
    }
}

async fn index(headers: HeaderMap) -> Response {
    let [first, ..] = &FILES;
    given(first, 0, &headers)
}

async fn file(name: Result<Named<String>, PathRejection>, headers: HeaderMap) -> Response {
    let found = name.ok().and_then(|Named(name)| {
        let mut files = FILES.iter().zip(0..);
        files.find(|(file, _)| file.name == name)
    });
    match found {
        Some((file, at)) => given(file, at, &headers),
        None => nothing_here().await.into_response(),
    }
}

fn given(file: &File, at: usize, headers: &HeaderMap) -> Response {
    let tag = tags().get(at).map_or("", String::as_str);
    let known = headers
        .get(header::IF_NONE_MATCH)
        .and_then(|known| known.to_str().ok())
        .is_some_and(|known| known.split(',').any(|one| one.trim() == tag));
    let mut response = if known {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        file.bytes.into_response()
    };
    let out = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::CACHE_CONTROL, "no-cache"),
    ] {
        out.insert(name, HeaderValue::from_static(value));
    }
    out.insert(
        "cross-origin-opener-policy",
        HeaderValue::from_static("same-origin"),
    );
    if !known {
        out.insert(header::CONTENT_TYPE, HeaderValue::from_static(file.kind));
    }
    if let Ok(tag) = HeaderValue::from_str(tag) {
        out.insert(header::ETAG, tag);
    }
    response
}

/// The tag of each file: a hash of its bytes, in quotes (RFC 9110, 8.8.3).
fn tags() -> &'static [String; FILES.len()] {
    static TAGS: OnceLock<[String; FILES.len()]> = OnceLock::new();
    TAGS.get_or_init(|| {
        FILES.each_ref().map(|file| {
            let hash: [u8; 32] = Sha256::digest(file.bytes).into();
            let hash = hash
                .iter()
                .take(8)
                .fold(0, |sum, byte| sum << 8 | u64::from(*byte));
            format!("\"{hash:016x}\"")
        })
    })
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing
)]
mod tests {
    use super::*;

    #[test]
    fn the_page_names_no_address_outside() {
        for file in &FILES {
            let text = std::str::from_utf8(file.bytes).unwrap();
            let outside = text.match_indices("://").map(|(at, _)| {
                let from = text.floor_char_boundary(at.saturating_sub(10));
                &text[from..text.floor_char_boundary(at + 40)]
            });
            // The name of a namespace is no address that is gone to.
            let outside: Vec<&str> = outside
                .filter(|it| !it.contains("http://www.w3.org/"))
                .collect();
            assert_eq!(outside, [] as [&str; 0], "{}", file.name);
        }
    }

    #[test]
    fn the_whole_page_is_small_and_every_file_of_its_folder_is_served() {
        let whole: usize = FILES.iter().map(|file| file.bytes.len()).sum();
        assert!(whole < 150_000, "{whole} bytes");
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/serve/page");
        for entry in std::fs::read_dir(folder).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            assert!(FILES.iter().any(|file| file.name == name), "{name}");
        }
    }

    #[test]
    fn every_file_has_its_own_tag_and_the_page_is_the_first() {
        assert_eq!(FILES.first().unwrap().kind, HTML);
        let mut tags = tags().to_vec();
        tags.sort();
        tags.dedup();
        assert_eq!(tags.len(), FILES.len());
    }
}
