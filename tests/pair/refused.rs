//! Who is not let in: no cookie, a wrong code, another name, no encryption, nothing listening.

use std::fs;
use std::net::TcpStream;
use std::path::Path;

use crate::device::{Device, JSON, NAME, ORDER, alone, code, json_of, other_than, settings};
use crate::support::desk::BENCH;
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::service::{Service, loud, plain, run};

#[test]
fn without_the_cookie_of_a_paired_device_nothing_is_shown_and_nothing_done() {
    let (_service, home) = alone();
    let device = Device::new(&home);
    let (host, origin) = (device.host(), device.origin());
    let page = json_of(&home, &["page"]);
    let (_, token) = page["address"]
        .as_str()
        .unwrap()
        .split_once("token=")
        .unwrap();
    let order = format!("POST /v1/bench/{BENCH}/order");
    let stream = format!("GET /v1/bench/{BENCH}/events");
    let with_token = format!("{stream}?token={token}");
    let keys = [
        "x: nothing".to_owned(),
        // What lets one in on loopback does not here.
        format!("authorization: Bearer {token}"),
        format!("cookie: __Host-panbell={token}"),
        "cookie: __Host-panbell=".to_owned(),
        format!("cookie: __Host-panbell={}", "0".repeat(64)),
        "cookie: ;;=;__Host-panbell".to_owned(),
    ];
    for key in &keys {
        for first in [
            "GET /v1/benches",
            "GET /v1/bench/-",
            "GET /v1/page",
            "GET /v1/openapi.json",
            "GET /v1/devices",
            "GET /v1/pair/enter",
            "GET /v1/nothing",
            "HEAD /v1/nothing",
            "POST /v1/pair",
            "POST /v1/pair/enter/",
            "POST /v1/devices/forget",
            "POST /",
            &stream,
            &with_token,
            &order,
        ] {
            let body = if first.starts_with("POST") { ORDER } else { "" };
            let reply = device.ask(first, &[&host, &origin, JSON, key], body);
            if first.starts_with("HEAD") {
                assert_eq!((reply.status, &*reply.body), (403, ""));
            } else {
                reply.is_refused(403, "not-paired");
            }
        }
        for (path, to) in [
            ("/", "/page/pair.html"),
            ("/bench/left", "/page/pair.html#/bench/left"),
            ("/bench/%0d%0aset-cookie:x", "/page/pair.html"),
        ] {
            let reply = device.ask(&format!("GET {path}"), &[&host, key], "");
            assert_eq!(reply.status, 303, "{reply:?}");
            let wanted = format!("location: {to}");
            assert!(reply.head.lines().any(|line| line == wanted), "{reply:?}");
            assert!(reply.head.contains("no-store"), "{reply:?}");
        }
    }
    // The page on which it is paired is one file, that nothing of it may be lost.
    let reply = device.ask("GET /page/pair.html", &[&host], "");
    assert_eq!(reply.status, 200, "{reply:?}");
    assert!(reply.head.contains("text/html"), "{reply:?}");
    assert!(
        reply.head.contains("script-src 'self' 'sha256-"),
        "{reply:?}"
    );
    for part in ["<script src", "<link"] {
        assert!(!reply.body.contains(part), "{reply:?}");
    }
    let reply = http::get(&home.socket(), "/v1/bench/-").unwrap();
    assert!(reply.json()["job"].is_null(), "nothing was done: {reply:?}");
}

#[test]
fn five_wrong_codes_make_it_void_and_the_next_waits_for_its_minute() {
    let (service, home) = alone();
    let device = Device::new(&home);
    // As long as no code is shown nobody uses up any try.
    for _ in 0..8 {
        device.enter("12345678", "x").is_refused(403, "code-wrong");
    }
    let shown = code(&home);
    let wrong = other_than(&shown);
    for odd in [wrong.as_str(), "", &shown[..7], &format!("{shown}0")] {
        device.enter(odd, "x").is_refused(403, "code-wrong");
    }
    device.enter(&wrong, "x").is_refused(403, "code-void");
    device.enter(&shown, "x").is_refused(403, "code-wrong");
    service.until_logged("void after five wrong ones");
    // Another code, another device, even the right one: not within the minute.
    let next = code(&home);
    let other = Device::new(&home);
    other.enter(&next, "x").is_refused(429, "code-too-many");
    assert_eq!(json_of(&home, &["pair", "--list"]), serde_json::json!([]));
}

#[test]
fn a_code_that_a_foreign_page_or_a_form_sends_is_not_looked_at() {
    let (_service, home) = alone();
    let device = Device::new(&home);
    let shown = code(&home);
    let body = format!("{{\"code\":\"{shown}\",\"name\":\"x\"}}");
    let (host, origin) = (device.host(), device.origin());
    let enter = |lines: &[&str]| device.ask("POST /v1/pair/enter", lines, &body);
    enter(&[&host, JSON]).is_refused(403, "origin-strange");
    enter(&[&host, JSON, "origin: https://example.com"]).is_refused(403, "origin-strange");
    enter(&[&host, &origin, "content-type: text/plain"]).is_refused(415, "order-unreadable");
    enter(&["host: example.com", &origin, JSON]).is_refused(421, "host-strange");
    let port = device.at.port();
    for name in [
        "example.com",
        "localhost",
        "bench.local.example.com",
        "[::1]",
        "127.0.0.2",
    ] {
        let host = format!("host: {name}:{port}");
        let reply = device.ask("GET /page/pair.html", &[&host], "");
        reply.is_refused(421, "host-strange");
    }
    for name in ["bench.local", "127.0.0.1"] {
        let host = format!("Host: {name}:{port}");
        assert_eq!(device.ask("GET /page/pair.html", &[&host], "").status, 200);
    }
    // On loopback and on the socket no device is let in either.
    let reply = http::request(
        &home.socket(),
        "POST",
        "/v1/pair/enter",
        "application/json",
        &body,
    );
    reply.unwrap().is_refused(403, "pair-elsewhere");
    assert_eq!(device.enter(&shown, "x").status, 200, "it was not used up");
}

#[test]
fn plain_http_is_told_to_be_encrypted_and_gets_nothing() {
    let (mut service, home) = alone();
    let device = Device::paired(&home, "tablet");
    for first in ["GET / HTTP/1.1", "POST /v1/bench/-/order HTTP/1.1"] {
        let text = format!(
            "{first}\r\n{}\r\n{}\r\n{}\r\n{JSON}\r\ncontent-length: {}\r\n\r\n{ORDER}",
            device.host(),
            device.cookie(),
            device.origin(),
            ORDER.len()
        );
        let reply = http::raw_tcp(device.at, text.as_bytes()).unwrap();
        assert_eq!(reply.status, 400, "{reply:?}");
        assert!(reply.body.contains("https://"), "{reply:?}");
    }
    // What begins like TLS and is none is hung up on.
    let garbage = [0x16; 600];
    http::raw_tcp(device.at, &garbage).unwrap_err();
    assert!(service.is_running());
    assert!(device.get("/v1/bench/-").json()["job"].is_null());
}

#[test]
fn nothing_listens_beyond_loopback_unless_the_settings_say_so() {
    let home = Home::new();
    let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
    let page =
        "[page]\nat = \"127.0.0.1:0\"\nbeyond_at = \"0.0.0.0:0\"\nnames = [\"bench.local\"]\n";
    home.settings(&format!("{}{page}{bench}", home::NO_DESKTOP));
    let mut service = Service::start(&home);
    let said = run(plain(home.path()).arg("page")).ends(0);
    assert_eq!(said.lines().count(), 1, "{said}");
    assert_eq!(listens(service.pid()), ["0100007F"]);
    for words in [
        &["pair"][..],
        &["pair", "--list"],
        &["pair", "--forget", "all"],
    ] {
        let said = run(plain(home.path()).args(words));
        said.is_refused("nothing listens beyond this computer");
    }
    service.stop();
    assert!(!home.path().join("state/page-certificate.json").exists());

    let page = page.replace("[page]\n", "[page]\nbeyond_loopback = true\n");
    home.settings(&format!("{}{page}{bench}", home::NO_DESKTOP));
    let service = Service::start(&home);
    let said = run(plain(home.path()).arg("page")).ends(0);
    assert!(said.contains("https://bench.local:"), "{said}");
    assert!(said.contains("SHA-256"), "{said}");
    assert_eq!(listens(service.pid()), ["00000000", "0100007F"]);
}

/// The IPv4 addresses on which a process listens, as the kernel writes them.
fn listens(pid: u32) -> Vec<String> {
    let folder = format!("/proc/{pid}/fd");
    let links = fs::read_dir(folder).unwrap();
    let open: Vec<String> = links
        .filter_map(|link| fs::read_link(link.unwrap().path()).ok())
        .filter_map(|to| {
            Some(
                to.to_str()?
                    .strip_prefix("socket:[")?
                    .trim_end_matches(']')
                    .to_owned(),
            )
        })
        .collect();
    let table = fs::read_to_string(Path::new("/proc/net/tcp")).unwrap();
    let six = fs::read_to_string("/proc/net/tcp6").unwrap_or_default();
    let mut found: Vec<String> = table
        .lines()
        .chain(six.lines())
        .map(|line| line.split_whitespace().collect::<Vec<_>>())
        // Local address, state (0A is listening) and inode (proc(5)).
        .filter(|words| words.len() > 9 && words[3] == "0A" && open.contains(&words[9].to_owned()))
        .map(|words| words[1].split(':').next().unwrap().to_owned())
        .collect();
    found.sort();
    found
}

#[test]
fn a_door_that_cannot_be_opened_is_said_and_the_rest_works() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let at = taken.local_addr().unwrap().to_string();
    let home = Home::new();
    let text = settings(&home).replace(
        "beyond_at = \"127.0.0.1:0\"",
        &format!("beyond_at = \"{at}\""),
    );
    home.settings(&text);
    let service = Service::start(&home);
    service.until_logged("beyond-port-taken");
    // The page of this computer is there: done, but a warning stands.
    let said = run(plain(home.path()).arg("page")).ends(3);
    assert!(said.contains("another program is there already"), "{said}");
    let address = said.lines().last().unwrap();
    let (at, _) = address
        .strip_prefix("http://")
        .unwrap()
        .split_once('/')
        .unwrap();
    assert!(TcpStream::connect(at).is_ok());
    run(plain(home.path()).arg("pair")).is_refused("nothing listens beyond this computer");
}

/// A device that knows the bench by a name that it has no more is told its names by a page.
#[test]
fn a_browser_at_another_name_is_shown_the_right_ones() {
    let (_service, home) = alone();
    let device = Device::paired(&home, "tablet");
    let strange = format!("host: workshop.example:{}", device.at.port());
    let reply = device.ask("GET /", &[&strange, "accept: text/html,*/*;q=0.8"], "");
    assert_eq!(reply.status, 421, "{reply:?}");
    assert!(reply.head.contains("content-type: text/html"), "{reply:?}");
    let address = format!("<a href=\"https://{NAME}:{}/\">", device.at.port());
    assert!(reply.body.contains(&address), "{reply:?}");
    device
        .ask("GET /v1/benches", &[&strange], "")
        .is_refused(421, "host-strange");
}

/// By default every network of this computer is listened on, of IPv6 as of IPv4.
#[test]
fn all_networks_are_those_of_ipv4_and_of_ipv6() {
    let home = Home::new();
    let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
    let page = "[page]\nat = \"off\"\nbeyond_loopback = true\nbeyond_at = \"[::]:0\"\nnames = [\"127.0.0.1\", \"::1\"]\n";
    home.settings(&format!("{}{page}{bench}", home::NO_DESKTOP));
    let _service = Service::start(&home);
    let port = Device::new(&home).at.port();
    let plain = format!("GET / HTTP/1.1\r\nhost: [::1]:{port}\r\n\r\n");
    let mut tried = 0;
    for at in [format!("127.0.0.1:{port}"), format!("[::1]:{port}")] {
        if at.starts_with('[') && std::net::TcpListener::bind("[::1]:0").is_err() {
            loud("this system has no IPv6, so the door was tried on IPv4 alone");
            continue;
        }
        let reply = http::raw_tcp(at.parse().unwrap(), plain.as_bytes()).unwrap();
        assert!(
            reply.body.contains("This address is encrypted"),
            "{reply:?}"
        );
        tried += 1;
    }
    assert!(tried > 0);
}
