//! The interface against its own description, by programs that know only that.

use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};

use crate::page::{Door, alone, desk, settings};
use crate::python;
use crate::support::desk::{Desk, g, mass};
use crate::support::http;
use crate::support::service::{self, command};

#[test]
fn what_followers_hear_in_a_whole_job_fits_the_description() {
    let desk = desk();
    desk.open("T-1", &["fine-silver", "fine-copper=2"]);
    desk.lot("916", "fire-assay", "20.00");
    desk.lot("750", "stamp", "3.00");
    desk.add_at_aim(&[]);
    desk.empty();
    desk.add_at_aim(&[]);
    desk.empty();
    desk.ok(&["button"]);
    desk.ready();
    let mark = desk.follower.mark();
    desk.place(crate::support::desk::g("26.00"));
    desk.follower.bell(mark, "recorded");
    desk.empty();
    desk.say(&["assay", "751.2", "fire-assay"]);
    let view = desk.until("the assay stands", |view| view["job"]["assay"].is_object());
    let reply = http::get(&desk.home.socket(), "/v1/openapi.json").unwrap();
    let mut cases = vec![json!({"document": reply.json()})];
    cases.push(json!({"event": "state", "data": view}));
    for (event, data) in desk.follower.since(0) {
        cases.push(json!({"event": event, "data": data}));
    }
    let said = python::check("events_check.py", &cases);
    for (event, least) in [("states", 10), ("readings", 50), ("bells", 5)] {
        let fit = python::count(&said, &format!("{event} that fit:"));
        assert!(fit >= least, "{said}");
    }
}

#[test]
fn whatever_is_sent_nothing_fails_and_every_answer_is_as_described() {
    let (mut service, home) = alone();
    let door = Door::of(&home);
    let python = python::python();
    let folder = home.path().join("tried");
    std::fs::create_dir(&folder).unwrap();
    let document = door.get("/v1/openapi.json");
    std::fs::write(folder.join("openapi.json"), &document.body).unwrap();
    let mut trying = Command::new(python.with_file_name("schemathesis"));
    let config = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/python/schemathesis.toml"
    );
    trying
        .current_dir(&folder)
        .args(["--config-file", config, "run"])
        .arg("openapi.json")
        .args(["--url", &format!("http://{}", door.at)])
        .args(["--header", &format!("Authorization: Bearer {}", door.token)])
        .args(["--header", &format!("Origin: http://{}", door.at)])
        // A stream has no end; what it tells is held against the description above.
        .args(["--exclude-path-regex", "events$"])
        .args([
            "--max-time",
            "25",
            "--request-timeout",
            "20",
            "--seed",
            "7726",
        ])
        .args(["--report", "ndjson", "--report-ndjson-path", "said.ndjson"])
        .env("NO_COLOR", "1");
    let began = std::time::Instant::now();
    let said = service::run(&mut trying);
    assert_eq!(said.code, 0, "{}\n{}", said.out, said.err);
    let line = said.out.lines().find(|line| line.contains(" generated,"));
    let tried = line.and_then(|line| line.split_whitespace().next()?.parse::<u32>().ok());
    let tried = tried.unwrap_or_else(|| panic!("it does not say how much it tried: {}", said.out));
    // Every address but that of the stream.
    let addresses = document.json()["paths"].as_object().unwrap().len() - 1;
    assert!(
        said.out.contains(&format!("Tested: {addresses}\n")),
        "{}",
        said.out
    );
    assert!(tried > 100, "{}", said.out);
    println!("{tried} requests in {:?}", began.elapsed());
    assert!(began.elapsed() < Duration::from_secs(80));
    assert!(service.is_running(), "{}", service.log());
    let bench: Value = door.get("/v1/bench/-").json();
    assert_eq!(bench["bench"], "left");
    service.stop();
}

/// Whoever tries the interface begins with what its description shows: over TCP, on the shelf that is
/// shipped.
#[test]
fn every_example_of_the_description_can_be_played_on_the_shipped_shelf() {
    let desk = Desk::set(|home| {
        let shelf = concat!(env!("CARGO_MANIFEST_DIR"), "/config/shelf.toml");
        std::fs::copy(shelf, home.path().join("shelf.toml")).unwrap();
        home.settings(&settings(home, "127.0.0.1:0"));
        command(home.path())
    });
    let door = Door::of(&desk.home);
    let origin = door.origin();
    let document = door.get("/v1/openapi.json").json();
    let mut played = Vec::new();
    for (path, ways) in document["paths"].as_object().unwrap() {
        let body = &ways["post"]["requestBody"]["content"]["application/json"];
        for (name, example) in body["examples"].as_object().into_iter().flatten() {
            // The address itself by the example of its part.
            let given = ways["post"]["parameters"].as_array().unwrap();
            let part = given.iter().find(|part| part["name"] == "name").unwrap();
            let path = path.replace("{name}", part["example"].as_str().unwrap());
            let lines = [
                &*door.host(),
                &door.bearer(),
                &origin,
                "content-type: application/json",
            ];
            let body = example["value"].to_string();
            let mut reply = door.ask(&format!("POST {path}"), &lines, &body);
            if reply.status == 409 {
                // What stands against it is asked once.
                reply = door.ask(&format!("POST {path}"), &lines, &body);
            }
            // Nothing lies on the pan that could be taken.
            let expected = if example["value"]["order"] == "take" {
                409
            } else {
                200
            };
            assert_eq!(reply.status, expected, "{name}: {}", reply.body);
            played.push(name.clone());
            // What the hands do then.
            let weighing = desk.view()["weighing"].clone();
            if weighing.is_null() {
                continue;
            }
            let mark = desk.follower.mark();
            let view = desk.ready();
            let load = match view["weighing"]["aim"].as_str() {
                Some(aim) => mass(aim),
                None => g("20.00"),
            };
            desk.put(load);
            desk.follower.bell(mark, "recorded");
            desk.empty();
        }
    }
    assert!(played.len() >= 6, "{played:?}");
}
