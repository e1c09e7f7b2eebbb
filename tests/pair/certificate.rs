//! The certificate: the one whose fingerprint is printed, for as long as its names are the same,
//! and good enough for other programs.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::process::Command;

use sha2::{Digest as _, Sha256};

use crate::device::{Device, alone, code, json_of, settings};
use crate::support::service::{Service, loud, plain, run};

/// The fingerprint of what the bench shows to who connects.
fn seen(device: &Device) -> String {
    let tls = device.connect().unwrap();
    let certificate = tls.conn.peer_certificates().unwrap()[0].clone();
    let hash: [u8; 32] = Sha256::digest(&certificate).into();
    let pairs: Vec<String> = hash.iter().map(|byte| format!("{byte:02X}")).collect();
    pairs.join(":")
}

#[test]
fn the_fingerprint_that_is_printed_is_that_of_what_a_device_sees() {
    let (mut service, home) = alone();
    let first = seen(&Device::new(&home));
    assert_eq!(json_of(&home, &["page"])["beyond"]["fingerprint"], first);
    assert_eq!(json_of(&home, &["pair"])["fingerprint"], first);
    let said = run(plain(home.path()).arg("page")).ends(0);
    assert!(said.contains(&first), "{said}");
    for file in ["page-certificate.json", "page-devices.json"] {
        let path = home.path().join("state").join(file);
        let mode = |path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        if path.exists() {
            assert_eq!(mode(path), 0o600, "{file}");
        }
    }
    service.stop();
    assert!(service.log().contains(&first), "{}", service.log());

    let mut service = Service::start(&home);
    assert_eq!(
        seen(&Device::new(&home)),
        first,
        "the same after a new start"
    );
    service.stop();
    home.settings(&settings(&home).replace("names = [", "names = [\"tablet.example\", "));
    let _service = Service::start(&home);
    let next = seen(&Device::new(&home));
    assert_ne!(next, first, "another name, another certificate");
    assert_eq!(json_of(&home, &["page"])["beyond"]["fingerprint"], next);
}

#[test]
fn another_program_pairs_and_reads_with_it() {
    let (_service, home) = alone();
    let device = Device::new(&home);
    let port = device.at.port();
    let curl = |words: &[&str]| {
        let mut command = Command::new("curl");
        command
            .args(["-sS", "--max-time", "20", "--noproxy", "*"])
            .args(["--resolve", &format!("bench.local:{port}:127.0.0.1")])
            .args(words);
        command
    };
    if Command::new("curl").arg("--version").output().is_err() {
        loud("no curl here, so no other program has spoken TLS with the bench");
        return;
    }
    let address = format!("https://bench.local:{port}");
    let enter = format!("{address}/v1/pair/enter");
    let pem = home.path().join("state/page-certificate.pem");
    let trusted = ["--cacert", pem.to_str().unwrap()];
    let jar = home.path().join("cookies");
    let kept = [
        "--cookie-jar",
        jar.to_str().unwrap(),
        "--cookie",
        jar.to_str().unwrap(),
    ];
    // Nobody vouches for it, so who was not given it is warned.
    assert_eq!(run(&mut curl(&[&enter])).code, 60);
    let body = format!("{{\"code\":\"{}\",\"name\":\"other\"}}", code(&home));
    let origin = format!("Origin: {address}");
    let words = [
        "-f",
        &enter,
        "-H",
        &origin,
        "-H",
        "content-type: application/json",
        "-d",
        &body,
    ];
    let said = run(curl(&words).args(trusted).args(kept)).ends(0);
    assert!(said.contains("\"name\":\"other\""), "{said}");
    let there = format!("{address}/v1/bench/-");
    let said = run(curl(&["-f", &there]).args(trusted).args(kept)).ends(0);
    assert!(said.contains("\"bench\":\"left\""), "{said}");
    run(curl(&["-f", &there]).args(trusted)).ends(22);
}
