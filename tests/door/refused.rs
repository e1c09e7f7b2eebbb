//! Who is not let in over TCP, each with a request that differs from a good one in that alone.

use crate::page::{Door, alone, desk};
use crate::support::desk::BENCH;
use crate::support::http;

const ORDER: &str = r#"{"order":"open","ticket":"T-1","target":"18k","colour":"yellow"}"#;
const JSON: &str = "content-type: application/json";

#[test]
fn the_page_can_do_all_that_the_socket_can() {
    let desk = desk();
    let door = Door::of(&desk.home);
    for path in ["/v1/benches", "/v1/bench/-", "/v1/page", "/v1/openapi.json"] {
        let (here, there) = (
            door.get(path),
            http::get(&desk.home.socket(), path).unwrap(),
        );
        assert_eq!((here.status, there.status), (200, 200), "{path}: {here:?}");
        let keys = |reply: &http::Reply| match reply.json() {
            serde_json::Value::Object(map) => map.keys().cloned().collect::<Vec<_>>(),
            other => vec![format!("{} of a list", other.as_array().unwrap().len())],
        };
        assert_eq!(keys(&here), keys(&there), "{path}");
    }
    assert_eq!(door.order(ORDER).status, 200);
    assert_eq!(desk.view()["job"]["ticket"], "T-1");
    door.order(r#"{"order":"melt"}"#)
        .is_refused(422, "order-unreadable");
    door.get("/v1/bench/right").is_refused(404, "bench-unknown");
    door.get("/v1/nothing").is_refused(404, "no-such-route");
    door.get(&format!("/v1/bench/{BENCH}/order"))
        .is_refused(405, "other-method");
}

#[test]
fn another_host_or_none_is_refused() {
    let (_service, home) = alone();
    let door = Door::of(&home);
    let (bearer, port) = (door.bearer(), door.at.port());
    for path in [
        "/",
        "/page/index.html",
        "/bench/left",
        "/v1/benches",
        "/v1/nothing",
    ] {
        let with = |lines: &[&str]| {
            let lines = [lines, &[bearer.as_str()]].concat();
            door.ask(&format!("GET {path}"), &lines, "")
        };
        with(&[]).is_refused(400, "host-missing");
        let ours = door.host();
        with(&[&ours, &ours]).is_refused(400, "host-missing");
        for host in [
            "example.com".to_owned(),
            format!("example.com:{port}"),
            "localhost".to_owned(),
            "127.0.0.1".to_owned(),
            format!("127.0.0.1:{}", port ^ 1),
            format!("localhost:{port}.example.com"),
            format!("localhost.example.com:{port}"),
            format!("127.0.0.1:{port}@example.com"),
            format!("a@127.0.0.1:{port}"),
            format!("127.0.0.2:{port}"),
            format!("0.0.0.0:{port}"),
            format!("127.1:{port}"),
            format!("127.0.0.1:0{port}"),
            format!("localhost.:{port}"),
            String::new(),
        ] {
            with(&[&format!("host: {host}")]).is_refused(421, "host-strange");
        }
        // As a proxy is asked: what is given whole counts more than the Host.
        let whole = door.ask(
            &format!("GET http://example.com{path}"),
            &[&ours, &bearer],
            "",
        );
        whole.is_refused(421, "host-strange");
    }
    for host in ["127.0.0.1", "localhost", "[::1]"] {
        let host = format!("Host: {host}:{port}");
        assert_eq!(door.ask("GET /", &[&host], "").status, 200);
        let reply = door.ask("GET /v1/benches", &[&host, &bearer], "");
        assert_eq!(reply.status, 200, "{host}");
    }
}

#[test]
fn everything_but_the_pages_own_files_needs_the_token() {
    let (_service, home) = alone();
    let door = Door::of(&home);
    let (host, origin) = (door.host(), door.origin());
    let order = format!("POST /v1/bench/{BENCH}/order");
    let events = format!("GET /v1/bench/{BENCH}/events");
    let firsts = [
        "GET /v1/benches",
        "GET /v1/bench/-",
        "GET /v1/page",
        "GET /v1/openapi.json",
        "GET /v1/nothing",
        "GET /nothing",
        "GET /page",
        "GET /v1/bench/..%2f..%2fpage/index.html",
        "HEAD /v1/benches",
        "POST /",
        "POST /page/index.html",
        "OPTIONS /v1/benches",
        "DELETE /v1/bench/-",
        &events,
        &order,
    ];
    for first in firsts {
        let head = first.starts_with("HEAD");
        let refused = |lines: &[&str], code: &str| {
            let lines = [&[host.as_str(), origin.as_str(), JSON], lines].concat();
            let body = if first.starts_with("POST") { ORDER } else { "" };
            let reply = door.ask(first, &lines, body);
            for line in ["www-authenticate: Bearer", "cache-control: no-store"] {
                assert!(reply.head.contains(line), "{line}: {reply:?}");
            }
            if head {
                assert_eq!((reply.status, &*reply.body), (401, ""));
            } else {
                reply.is_refused(401, code);
            }
        };
        refused(&[], "token-missing");
        refused(&["authorization: Basic YTpi"], "token-missing");
        refused(&["authorization: Bearer"], "token-missing");
        refused(&["authorization: Bearer "], "token-missing");
        refused(&["authorization: Bearer x"], "token-wrong");
        let half = &door.token[..32];
        refused(&[&format!("authorization: Bearer {half}")], "token-wrong");
        let twice = door.token.repeat(2);
        refused(&[&format!("authorization: Bearer {twice}")], "token-wrong");
        let upper = door.token.to_uppercase();
        refused(&[&format!("authorization: Bearer {upper}")], "token-wrong");
        refused(&[&format!("cookie: token={}", door.token)], "token-missing");
    }
    // Only a stream takes it from the address, and only to be read.
    for first in ["GET /v1/benches", "GET /v1/page", order.as_str()] {
        let first = format!("{first}?token={}", door.token);
        door.ask(&first, &[&host, &origin], "")
            .is_refused(401, "token-missing");
    }
    let wrong = format!("{events}?token={}0", door.token);
    door.ask(&wrong, &[&host], "")
        .is_refused(401, "token-wrong");
    let reply = http::get(&home.socket(), "/v1/bench/-").unwrap();
    assert!(reply.json()["job"].is_null(), "nothing was done: {reply:?}");
}

#[test]
fn a_page_of_another_site_can_order_nothing_and_read_nothing() {
    let (_service, home) = alone();
    let door = Door::of(&home);
    let (host, bearer, port) = (door.host(), door.bearer(), door.at.port());
    let order = format!("POST /v1/bench/{BENCH}/order");
    // The token is right in all of these: it is not what they are refused for.
    for line in [
        "origin: http://example.com".to_owned(),
        format!("origin: http://example.com:{port}"),
        format!("origin: https://127.0.0.1:{port}"),
        format!("origin: http://localhost:{port}"),
        "origin: http://127.0.0.1".to_owned(),
        format!("origin: http://127.0.0.1:{port}.example.com"),
        format!("origin: http://127.0.0.1:{port}/"),
        format!("origin: {}", door.at),
        "origin: null".to_owned(),
        "origin: ".to_owned(),
        format!("{}\r\norigin: http://example.com", door.origin()),
        "sec-fetch-site: cross-site".to_owned(),
        "sec-fetch-site: same-site".to_owned(),
    ] {
        let mut lines = vec![host.as_str(), &bearer, &line];
        for first in ["GET /v1/benches", "GET /v1/bench/-/events"] {
            door.ask(first, &lines, "")
                .is_refused(403, "origin-strange");
        }
        lines.push(JSON);
        let ours = door.origin();
        if line.starts_with("sec") {
            lines.push(&ours);
        }
        let reply = door.ask(&order, &lines, ORDER);
        reply.is_refused(403, "origin-strange");
        assert!(
            !reply.head.to_lowercase().contains("access-control"),
            "{reply:?}"
        );
    }
    let without = door.ask(&order, &[&host, &bearer, JSON], ORDER);
    without.is_refused(403, "origin-strange");
    // What a form of any site can send, with everything else as it should be.
    for kind in [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
    ] {
        let kind = format!("content-type: {kind}");
        let reply = door.ask(&order, &[&host, &bearer, &door.origin(), &kind], ORDER);
        reply.is_refused(415, "order-unreadable");
    }
    let reply = http::get(&home.socket(), "/v1/bench/-").unwrap();
    assert!(reply.json()["job"].is_null(), "nothing was done: {reply:?}");
    assert_eq!(door.order(ORDER).status, 200, "the good one does it");
}

/// A client that sends all of a large body before it reads hears why it is refused, and no broken pipe.
#[test]
fn who_is_refused_early_hears_it_however_much_it_sends() {
    use std::io::{Read as _, Write as _};
    let (_service, home) = alone();
    let door = Door::of(&home);
    let (host, bearer, origin) = (door.host(), door.bearer(), door.origin());
    let body = vec![b'x'; 3 << 20];
    let cases: [(&str, &[&str], &str); 5] = [
        ("/v1/nothing", &[&bearer], "404"),
        ("/v1/bench/none/order", &[&bearer], "404"),
        ("/v1/bench/-/order", &[], "401"),
        ("/v1/bench/-/order", &[&bearer], "413"),
        ("/v1/pair/enter", &[&bearer], "403"),
    ];
    for (path, lines, status) in cases {
        for _ in 0..20 {
            let mut stream = std::net::TcpStream::connect(door.at).unwrap();
            let lines = lines.join("\r\n");
            let gap = if lines.is_empty() { "" } else { "\r\n" };
            write!(
                stream,
                "POST {path} HTTP/1.1\r\n{host}\r\n{origin}\r\n{JSON}\r\n{lines}{gap}content-length: {}\r\n\r\n",
                body.len()
            )
            .unwrap();
            stream.write_all(&body).expect("it takes all that is sent");
            stream.shutdown(std::net::Shutdown::Write).unwrap();
            let mut said = String::new();
            stream.read_to_string(&mut said).expect("and answers");
            assert!(said.starts_with(&format!("HTTP/1.1 {status} ")), "{said}");
            assert!(said.trim_end().ends_with('}'), "{said}");
        }
    }
}

/// A person who came by another name is told which are right, in a page and not in JSON.
#[test]
fn a_browser_at_another_name_is_shown_the_right_ones() {
    let (_service, home) = alone();
    let door = Door::of(&home);
    let accept = "accept: text/html,application/xhtml+xml,*/*;q=0.8";
    let port = door.at.port();
    for path in ["/", "/bench/left", "/page/index.html", "/v1/benches"] {
        let strange = format!("host: bench.example:{port}");
        let reply = door.ask(&format!("GET {path}"), &[&strange, accept], "");
        assert_eq!(reply.status, 421, "{reply:?}");
        for head in ["content-type: text/html", "default-src 'none'", "no-store"] {
            assert!(reply.head.to_lowercase().contains(head), "{reply:?}");
        }
        let address = format!("<a href=\"http://127.0.0.1:{port}/\">");
        assert!(reply.body.contains(&address), "{reply:?}");
        assert!(!reply.body.contains("<script"), "{reply:?}");
        assert!(!reply.body.contains(&door.token), "{reply:?}");
        // A program is told in the form that it knows, with the right names too.
        let reply = door.ask(&format!("GET {path}"), &[&strange], "");
        reply.is_refused(421, "host-strange");
        let mend = reply.json()["mend"].as_str().unwrap().to_owned();
        assert!(
            mend.contains(&format!("http://127.0.0.1:{port}/")),
            "{mend}"
        );
    }
}
