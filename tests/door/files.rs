//! The page's own files, as a browser gets them.

use crate::page::{Door, alone};

#[test]
fn the_page_is_given_without_token_and_tells_a_browser_to_go_nowhere_else() {
    let (_service, home) = alone();
    let door = Door::of(&home);
    let host = door.host();
    let get = |path: &str, lines: &[&str]| {
        let lines = [&[host.as_str()], lines].concat();
        door.ask(path, &lines, "")
    };
    let whole = get("GET /", &[]);
    for path in ["/", "/bench/left", "/bench/any%20name", "/page/index.html"] {
        let reply = get(&format!("GET {path}"), &[]);
        assert_eq!((reply.status, &reply.body), (200, &whole.body), "{path}");
        let head = reply.head.to_lowercase();
        for line in [
            "content-type: text/html; charset=utf-8",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
            "cache-control: no-cache",
            "x-frame-options: deny",
            "cross-origin-resource-policy: same-origin",
        ] {
            assert!(head.contains(line), "{line}: {head}");
        }
        let policy = head.split("content-security-policy: ").nth(1).unwrap();
        let policy = policy.lines().next().unwrap();
        for part in [
            "default-src 'none'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
        ] {
            assert!(policy.contains(part), "{part}: {policy}");
        }
        // A hash is written in letters that may spell anything.
        let words: Vec<&str> = policy
            .split(' ')
            .filter(|word| !word.starts_with("'sha256-"))
            .collect();
        for part in ["unsafe", "http", "*", "//"] {
            assert!(!words.join(" ").contains(part), "{part}: {policy}");
        }
        let bare = get(&format!("HEAD {path}"), &[]);
        assert_eq!((bare.status, &*bare.body), (200, ""));
    }
    assert!(!whole.body.contains(&door.token));
}

#[test]
fn a_file_that_the_browser_has_is_not_sent_again() {
    let (_service, home) = alone();
    let door = Door::of(&home);
    let host = door.host();
    let whole = door.ask("GET /", &[&host], "");
    let head = whole.head.to_lowercase();
    let tag = head.split("etag: ").nth(1).unwrap().lines().next().unwrap();
    for known in [tag.to_owned(), format!("\"other\", {tag}")] {
        let reply = door.ask("GET /", &[&host, &format!("if-none-match: {known}")], "");
        assert_eq!((reply.status, &*reply.body), (304, ""), "{reply:?}");
        assert!(reply.head.to_lowercase().contains(tag));
    }
    let reply = door.ask("GET /", &[&host, "if-none-match: \"other\""], "");
    assert_eq!((reply.status, reply.body), (200, whole.body));
}

#[test]
fn only_the_files_that_are_in_the_program_are_given() {
    let (_service, home) = alone();
    let door = Door::of(&home);
    for path in [
        "/page/nothing.html",
        "/page/..%2f..%2fpanbell.toml",
        "/page/%2e%2e/state/page-token",
        "/page/../state/page-token",
        "/page/%ff",
        "/page/",
        "/page/a/b",
        "/bench/a/b",
    ] {
        let reply = door.ask(&format!("GET {path}"), &[&door.host()], "");
        reply.is_refused(404, "no-such-route");
    }
}
