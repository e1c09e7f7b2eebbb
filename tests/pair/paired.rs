//! A device that is paired: what it may, until it is forgotten.

use std::fs;
use std::io::{BufRead as _, BufReader};
use std::os::unix::fs::PermissionsExt as _;
use std::time::{Duration, Instant};

use crate::device::{Device, JSON, ORDER, alone, code, cookie, desk, json_of};
use crate::support::desk::{BENCH, g};
use crate::support::service::{Service, plain, run};

#[test]
fn the_right_code_lets_a_device_in_once_and_its_secret_is_nowhere() {
    let (mut service, home) = alone();
    let device = Device::new(&home);
    let code = code(&home);
    assert!(
        code.len() == 8 && code.bytes().all(|b| b.is_ascii_digit()),
        "{code}"
    );
    let typed = format!("{} {}", &code[..4], &code[4..]);
    let reply = device.enter(&typed, " tablet ");
    assert_eq!(reply.status, 200, "{reply:?}");
    assert_eq!(reply.json()["name"], "tablet");
    let line = reply
        .head
        .lines()
        .find(|line| line.starts_with("set-cookie"));
    let line = line.unwrap();
    for word in [
        "__Host-",
        "HttpOnly",
        "Secure",
        "SameSite=Strict",
        "Path=/",
        "Max-Age=",
    ] {
        assert!(line.contains(word), "{word}: {line}");
    }
    assert!(!line.contains("Domain"), "{line}");
    let first = cookie(&reply);
    let (_, secret) = first.split_once('=').unwrap();
    assert!(secret.len() * 4 >= 256, "{secret}");

    device.enter(&code, "phone").is_refused(403, "code-wrong");
    let kept = home.path().join("state/page-devices.json");
    let mode = |path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(kept.clone()), 0o600);
    let text = fs::read_to_string(kept).unwrap();
    assert!(text.contains("tablet") && !text.contains(secret), "{text}");
    let log = service.log();
    assert!(log.contains("a device was paired"), "{log}");
    assert!(!log.contains(secret) && !log.contains(&code), "{log}");
    service.stop();
}

#[test]
fn a_paired_device_sees_the_bench_gives_orders_and_stays_after_a_new_start() {
    let (mut service, home) = alone();
    let device = Device::paired(&home, "tablet");
    for path in ["/", "/bench/left"] {
        let reply = device.get(path);
        assert_eq!(reply.status, 200, "{reply:?}");
        assert!(reply.body.contains("<title>panbell</title>"), "{reply:?}");
    }
    assert_eq!(device.get("/v1/bench/-").json()["bench"], BENCH);
    assert_eq!(device.order(ORDER).status, 200);
    assert_eq!(device.get("/v1/bench/-").json()["job"]["ticket"], "T-9");
    // The token of the loopback page would outlive the device.
    let page = device.get("/v1/page").json();
    assert!(page["address"].as_str().unwrap().ends_with('/'), "{page}");
    assert!(!page.to_string().contains("token="), "{page}");

    let list = json_of(&home, &["pair", "--list"]);
    assert_eq!(list.as_array().unwrap().len(), 1);
    assert_eq!(list[0]["name"], "tablet");
    service.stop();
    let _service = Service::start(&home);
    let port = Device::new(&home).at.port();
    // The port is another one in these tests; the cookie is for the host.
    let again = device.moved_to(port);
    assert_eq!(again.get("/v1/bench/-").status, 200);
}

#[test]
fn a_page_of_another_site_can_order_nothing_by_a_paired_device() {
    let (_service, home) = alone();
    let device = Device::paired(&home, "tablet");
    let (host, sent, port) = (device.host(), device.cookie(), device.at.port());
    let order = format!("POST /v1/bench/{BENCH}/order");
    // The cookie is right in all of these: it is not what they are refused for.
    for line in [
        "origin: https://example.com".to_owned(),
        "origin: https://bench.local".to_owned(),
        format!("origin: http://bench.local:{port}"),
        format!("origin: https://127.0.0.1:{port}"),
        format!("origin: https://bench.local:{port}.example.com"),
        "origin: null".to_owned(),
        format!("{}\r\nsec-fetch-site: cross-site", device.origin()),
        "x: no origin".to_owned(),
    ] {
        let reply = device.ask(&order, &[&host, &sent, &line, JSON], ORDER);
        reply.is_refused(403, "origin-strange");
        if line.contains("origin:") {
            let reply = device.ask("GET /v1/benches", &[&host, &sent, &line], "");
            reply.is_refused(403, "origin-strange");
        }
    }
    for kind in ["text/plain", "application/x-www-form-urlencoded"] {
        let kind = format!("content-type: {kind}");
        let reply = device.ask(&order, &[&host, &sent, &device.origin(), &kind], ORDER);
        reply.is_refused(415, "order-unreadable");
    }
    assert!(device.get("/v1/bench/-").json()["job"].is_null());
    assert_eq!(device.order(ORDER).status, 200, "the good one does it");
}

#[test]
fn a_device_may_neither_pair_nor_forget_others() {
    let (_service, home) = alone();
    let device = Device::paired(&home, "tablet");
    let (host, sent, origin) = (device.host(), device.cookie(), device.origin());
    let lines = [&host, &sent, &origin, JSON];
    for (first, body) in [
        ("POST /v1/pair", "{}"),
        ("GET /v1/devices", ""),
        ("POST /v1/devices/forget", r#"{"device":"all"}"#),
    ] {
        device
            .ask(first, &lines, body)
            .is_refused(403, "pair-elsewhere");
    }
    assert_eq!(
        json_of(&home, &["pair", "--list"])
            .as_array()
            .unwrap()
            .len(),
        1
    );
}

#[test]
fn forgetting_ends_what_a_device_has_open_and_shuts_it_out() {
    let desk = desk();
    let (tablet, phone) = (
        Device::paired(&desk.home, "tablet"),
        Device::paired(&desk.home, "phone"),
    );
    // At fifty lines a second there is always something to tell.
    let mut streams = [&tablet, &phone].map(|device| BufReader::new(device.events()));
    let mut line = String::new();
    for stream in &mut streams {
        while !line.starts_with("event: reading") {
            line.clear();
            assert_ne!(stream.read_line(&mut line).unwrap(), 0, "it ended early");
        }
        line.clear();
    }
    let [mut of_tablet, mut of_phone] = streams;
    desk.say(&["pair", "--forget", "fridge"])
        .is_refused("No device is called \"fridge\"");
    let began = Instant::now();
    let said = desk.ok(&["pair", "--forget", "tablet"]);
    assert_eq!(said.trim_end(), "Forgotten: tablet.");
    // The last chunk of a body is one of no bytes (RFC 9112, 7.1).
    while line.trim_end() != "0" {
        line.clear();
        of_tablet.read_line(&mut line).expect("an end");
        assert!(
            began.elapsed() < Duration::from_secs(5),
            "it went on: {line}"
        );
    }
    tablet.get("/v1/bench/-").is_refused(403, "not-paired");
    tablet.order(ORDER).is_refused(403, "not-paired");
    // The other one goes on, live.
    desk.place(g("3.00"));
    while !line.contains("3.00 g") {
        line.clear();
        assert_ne!(of_phone.read_line(&mut line).unwrap(), 0, "it ended too");
    }
    assert_eq!(
        desk.ok(&["pair", "--forget", "all"]).trim_end(),
        "Forgotten: phone."
    );
    phone.get("/v1/bench/-").is_refused(403, "not-paired");
    assert_eq!(
        desk.ok(&["pair", "--list"]).trim_end(),
        "No device is paired."
    );
    let kept = fs::read_to_string(desk.home.path().join("state/page-devices.json")).unwrap();
    assert_eq!(kept.trim(), "[]");
}

#[test]
fn names_are_told_apart_and_a_taken_one_costs_no_code() {
    let (_service, home) = alone();
    let tablet = Device::paired(&home, "tablet");
    let shown = code(&home);
    tablet
        .enter(&shown, "tablet")
        .is_refused(409, "device-name-taken");
    for odd in ["", "  ", "all", "a\nb", &"x".repeat(41)] {
        tablet.enter(&shown, odd).is_refused(422, "device-name");
    }
    assert_eq!(tablet.enter(&shown, "phone").status, 200);
    // A command that is typed wrong shows no code.
    run(plain(home.path()).args(["pair", "--bench", "right"])).is_refused("no bench \"right\"");
    let said = run(plain(home.path()).args(["pair", "--bench", BENCH])).ends(0);
    assert!(said.contains("/bench/left"), "{said}");
    run(plain(home.path()).args(["pair", "--list", "--forget", "x"])).ends(2);
}
