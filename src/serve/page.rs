//! The page's own files, built into the program.
//!
//! Promises: they name no address outside, and a browser is told to follow none; they hold nothing
//! of the shop, so they need no token; there are as few of them as will do, and the page itself asks
//! again for one that is lost. Leaves to others: what is in them.

use std::fmt::Write as _;
use std::sync::OnceLock;

use axum::Router;
use axum::extract::Path as Named;
use axum::extract::rejection::PathRejection;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use sha2::{Digest as _, Sha256};

use super::http::{Shared, nothing_here};

/// A file of the page's folder, built in, with its name.
macro_rules! parts {
    ($($name:literal),+ $(,)?) => { [$(($name, include_str!(concat!("page/", $name)))),+] };
}

/// The page, and what stands in it until the rest of it is here.
const PAGE: &str = include_str!("page/index.html");
const BOOT: [(&str, &str); 2] = parts!["boot.css", "boot.js"];
/// The page on which a device is paired.
const PAIR: &str = include_str!("page/pair.html");
/// The modules of the page's program; one names only those before it.
const MODULES: [(&str, &str); 18] = parts![
    "dom.js",
    "words.js",
    "keep.js",
    "keys.js",
    "clock.js",
    "link.js",
    "sound.js",
    "rail.js",
    "deeds.js",
    "beam.js",
    "strip.js",
    "triangle.js",
    "sheets.js",
    "forms.js",
    "tiles.js",
    "prefs.js",
    "overview.js",
    "main.js",
];
const STYLES: [(&str, &str); 2] = parts!["bench.css", "sheets.css"];

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

/// A file as it is given.
struct File {
    name: &'static str,
    kind: &'static str,
    text: String,
    /// A hash of its bytes, in quotes (RFC 9110, 8.8.3).
    tag: String,
    policy: String,
}

/// Every file. The first is the page itself, at `/` and `/bench/NAME`.
fn files() -> &'static [File; 4] {
    static FILES: OnceLock<[File; 4]> = OnceLock::new();
    FILES.get_or_init(|| {
        let program = program(&MODULES);
        let style: String = STYLES.iter().map(|(_, text)| *text).collect();
        let page = BOOT.iter().fold(PAGE.to_owned(), |page, (name, text)| {
            page.replace(&format!("/*{name}*/"), text.trim_end())
        });
        let pages = [
            (policy(&page, &[&program], &[&style]), "index.html", page),
            (policy(PAIR, &[], &[]), "pair.html", PAIR.to_owned()),
        ];
        let [page, pair] = pages.map(|(policy, name, text)| file(name, HTML, text, policy));
        let other = |name, kind, text| file(name, kind, text, policy("", &[], &[]));
        [
            page,
            pair,
            other("bench.js", SCRIPT, program),
            other("bench.css", CSS, style),
        ]
    })
}

fn file(name: &'static str, kind: &'static str, text: String, policy: String) -> File {
    let hash: [u8; 32] = Sha256::digest(text.as_bytes()).into();
    let tag = hash.iter().take(8).fold(String::new(), |mut tag, byte| {
        let _infallible = write!(tag, "{byte:02x}");
        tag
    });
    File {
        name,
        kind,
        text,
        tag: format!("\"{tag}\""),
        policy,
    }
}

/// The modules as one: what they take from each other is there, and what they give is given by the
/// whole. It begins by itself, once in a page.
fn program(modules: &[(&str, &str)]) -> String {
    let mut program = String::from("// The bench's page. Made of the modules in src/serve/page.\n");
    let mut given = Vec::new();
    for (_, text) in modules {
        for line in text.lines() {
            let bare = line.trim_start();
            let is_comment = ["//", "/**", "* ", "*/"]
                .iter()
                .any(|mark| bare.starts_with(mark));
            if bare.is_empty() || is_comment || line.starts_with("import ") {
                continue;
            }
            let own = line.strip_prefix("export ");
            given.extend(own.into_iter().flat_map(declared));
            program.push_str(own.unwrap_or(line));
            program.push('\n');
        }
    }
    let _infallible = write!(
        program,
        "export {{ {} }};\nif (!document.body.dataset.runs) start();\n",
        given.join(", ")
    );
    program
}

/// The names that a line at the outside of a module declares.
fn declared(line: &str) -> Vec<&str> {
    let line = line.strip_prefix("async ").unwrap_or(line);
    let Some((kind, rest)) = line.split_once(' ') else {
        return Vec::new();
    };
    let name_of = |text: &str| text.find(|c: char| !c.is_alphanumeric() && c != '_');
    let name = |text| {
        let text: &str = str::trim(text);
        text.get(..name_of(text).unwrap_or(text.len()))
            .filter(|name| !name.is_empty())
    };
    match kind {
        "function" | "class" => name(rest).into_iter().collect(),
        // One statement may declare several: `const A = 1, B = 2;`.
        "const" | "let" => top_level(rest).into_iter().filter_map(name).collect(),
        _ => Vec::new(),
    }
}

/// A list cut at the commas that stand in no bracket.
fn top_level(text: &str) -> Vec<&str> {
    let (mut depth, mut from, mut parts) = (0_i32, 0, Vec::new());
    for (at, c) in text.char_indices() {
        match c {
            '(' | '[' | '{' => depth += 1,
            ')' | ']' | '}' => depth -= 1,
            ',' if depth == 0 => {
                parts.extend(text.get(from..at));
                from = at + 1;
            }
            _ => {}
        }
    }
    parts.extend(text.get(from..));
    parts
}

/// Everything from our own address and nothing from elsewhere; in no frame; no form goes anywhere; of
/// scripts and styles in a page those that stand in it, and these, by their hashes (W3C Content
/// Security Policy Level 3).
fn policy(page: &str, scripts: &[&str], styles: &[&str]) -> String {
    let allowed = |tag: &str, more: &[&str]| {
        let inline = inline(page, tag);
        let all = inline.iter().chain(more);
        all.fold(String::new(), |mut list, text| {
            let hash = base64(&Sha256::digest(text.as_bytes()));
            let _infallible = write!(list, " 'sha256-{hash}'");
            list
        })
    };
    format!(
        "default-src 'none'; script-src 'self'{}; style-src 'self'{}; img-src 'self' data:; \
         font-src 'self'; media-src 'self'; connect-src 'self'; manifest-src 'self'; base-uri 'none'; \
         form-action 'none'; frame-ancestors 'none'",
        allowed("script", scripts),
        allowed("style", styles),
    )
}

/// What stands in a page's own elements of this kind.
fn inline<'a>(page: &'a str, tag: &str) -> Vec<&'a str> {
    let (open, close) = (format!("<{tag}>"), format!("</{tag}>"));
    let parts = page.split(&*open).skip(1);
    parts
        .filter_map(|part| part.split_once(&*close).map(|(text, _)| text))
        .collect()
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for three in bytes.chunks(3) {
        let sum = (0..3).fold(0_usize, |sum, at| {
            sum << 8 | usize::from(three.get(at).copied().unwrap_or(0))
        });
        for at in 0..4 {
            let letter = LETTERS
                .get(sum >> (18 - 6 * at) & 63)
                .filter(|_| at <= three.len());
            text.push(letter.map_or('=', |letter| char::from(*letter)));
        }
    }
    text
}

/// The page's routes.
pub(super) fn routes() -> Router<Shared> {
    Router::new()
        .route("/", get(index))
        .route("/bench/{name}", get(index))
        .route("/page/{file}", get(named))
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
    let [page, ..] = files();
    given(page, &headers)
}

async fn named(name: Result<Named<String>, PathRejection>, headers: HeaderMap) -> Response {
    let found = name
        .ok()
        .and_then(|Named(name)| files().iter().find(|file| file.name == name));
    match found {
        Some(file) => given(file, &headers),
        None => nothing_here().await.into_response(),
    }
}

fn given(file: &'static File, headers: &HeaderMap) -> Response {
    let known = headers
        .get(header::IF_NONE_MATCH)
        .and_then(|known| known.to_str().ok())
        .is_some_and(|known| known.split(',').any(|one| one.trim() == file.tag));
    let mut response = if known {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        file.text.as_str().into_response()
    };
    let out = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, file.policy.as_str()),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::CACHE_CONTROL, "no-cache"),
        (header::ETAG, &file.tag),
    ] {
        if let Ok(value) = HeaderValue::from_str(value) {
            out.insert(name, value);
        }
    }
    out.insert(
        "cross-origin-opener-policy",
        HeaderValue::from_static("same-origin"),
    );
    if known {
        out.remove(header::CONTENT_TYPE);
    } else {
        out.insert(header::CONTENT_TYPE, HeaderValue::from_static(file.kind));
    }
    response
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
        for file in files() {
            let outside = file.text.match_indices("://").map(|(at, _)| {
                let from = file.text.floor_char_boundary(at.saturating_sub(10));
                &file.text[from..file.text.floor_char_boundary(at + 40)]
            });
            // The name of a namespace is no address that is gone to.
            let outside: Vec<&str> = outside
                .filter(|it| !it.contains("http://www.w3.org/"))
                .collect();
            assert_eq!(outside, [] as [&str; 0], "{}", file.name);
        }
    }

    #[test]
    fn the_whole_page_is_small_and_every_file_of_its_folder_is_in_it() {
        let whole: usize = files().iter().map(|file| file.text.len()).sum();
        assert!(whole < 150_000, "{whole} bytes");
        let parts = MODULES.iter().chain(&STYLES).chain(&BOOT);
        let known: Vec<&str> = parts
            .map(|(name, _)| *name)
            .chain(["index.html", "pair.html"])
            .collect();
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/src/serve/page");
        for entry in std::fs::read_dir(folder).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            assert!(known.contains(&&*name), "{name}");
        }
        let [page, ..] = files();
        for (name, _) in BOOT {
            assert!(!page.text.contains(&format!("/*{name}*/")), "{name}");
        }
    }

    #[test]
    fn every_file_has_its_own_tag_and_the_page_is_the_first() {
        assert_eq!(files()[0].kind, HTML);
        let mut tags = files().each_ref().map(|file| &file.tag);
        tags.sort();
        assert!(tags.windows(2).all(|pair| pair[0] != pair[1]));
    }

    /// In one file the modules share their outermost names, so each is given once; what a module takes
    /// is given by one before it, under the same name.
    #[test]
    fn no_two_modules_declare_one_name_and_each_takes_only_from_those_before_it() {
        let mut declares: Vec<(&str, &str)> = Vec::new();
        let mut gives: Vec<(String, &str)> = Vec::new();
        for (module, text) in MODULES {
            for line in text.lines() {
                if let Some(taken) = line.strip_prefix("import ") {
                    let (names, from) = taken.split_once(" from ").unwrap();
                    let from = from.trim_end_matches(';').trim_matches('"');
                    let from = from.strip_prefix("./").unwrap();
                    let names = names.trim().trim_start_matches('{').trim_end_matches('}');
                    for name in names.split(',').map(str::trim) {
                        let found = gives.contains(&(name.to_owned(), from));
                        assert!(found, "{module} takes {name} of {from}");
                    }
                    continue;
                }
                assert!(!line.contains("import("), "{module}: {line}");
                let own = line.strip_prefix("export ");
                for name in declared(own.unwrap_or(line)) {
                    let other = declares.iter().find(|(known, _)| *known == name);
                    assert_eq!(other, None, "{module} declares {name} too");
                    declares.push((name, module));
                    if own.is_some() {
                        gives.push((name.to_owned(), module));
                    }
                }
            }
        }
        assert!(declares.len() > 100, "{declares:?}");
        assert_eq!(declared("const A = [1, 2], B = f(3, 4);"), ["A", "B"]);
        assert_eq!(declared("async function go(a, b) {"), ["go"]);
        assert_eq!(declared("  const inner = 1;"), [] as [&str; 0]);
    }

    #[test]
    fn what_stands_in_a_page_is_allowed_by_its_hash_and_nothing_else_is() {
        // The example of section 8.3 of the recommendation.
        let said = policy("<script>alert('Hello, world.');</script>", &[], &[]);
        assert!(
            said.contains(
                "script-src 'self' 'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='; "
            ),
            "{said}"
        );
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
        let [page, pair, ..] = files();
        assert_eq!(page.policy.matches("sha256-").count(), 4);
        assert_eq!(pair.policy.matches("sha256-").count(), 2);
        // A script that is told by a hash must be the only one with that tag.
        for file in [page, pair] {
            assert_eq!(file.text.matches("<script").count(), 1, "{}", file.name);
            assert_eq!(file.text.matches("<style").count(), 1, "{}", file.name);
        }
    }
}
