//! A bench with its page's door open, and what `panbell page` says of it.

use std::net::{SocketAddr, TcpListener};
use std::os::unix::fs::PermissionsExt as _;

use crate::support::desk::{BENCH, Desk};
use crate::support::home::{self, Home};
use crate::support::http::{self, Reply};
use crate::support::service::{self, Service, plain, run};

/// Where the page is, and what lets one in.
pub(crate) struct Door {
    pub(crate) at: SocketAddr,
    pub(crate) token: String,
}

/// Settings with the page at an address.
pub(crate) fn settings(home: &Home, at: &str) -> String {
    let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
    format!("[bell]\ndesktop = false\n[page]\nat = \"{at}\"\n{bench}")
}

/// A desk whose page is served on a port that was free.
pub(crate) fn desk() -> Desk {
    Desk::set(|home| {
        home.settings(&settings(home, "127.0.0.1:0"));
        service::command(home.path())
    })
}

/// A service with its page and no balance.
pub(crate) fn alone() -> (Service, Home) {
    let home = Home::new();
    home.settings(&settings(&home, "127.0.0.1:0"));
    let service = Service::start(&home);
    (service, home)
}

impl Door {
    /// As `panbell page` tells it.
    pub(crate) fn of(home: &Home) -> Self {
        let said = run(plain(home.path()).arg("page")).ends(0);
        let (at, token) = said.trim_end().split_once("/#token=").unwrap();
        Self {
            at: at.strip_prefix("http://").unwrap().parse().unwrap(),
            token: token.to_owned(),
        }
    }

    /// One request of these lines, with a body.
    pub(crate) fn ask(&self, first: &str, lines: &[&str], body: &str) -> Reply {
        let mut text = format!("{first} HTTP/1.1\r\nconnection: close\r\n");
        for line in lines {
            text.push_str(line);
            text.push_str("\r\n");
        }
        if !body.is_empty() {
            text += "content-length: ";
            text += &body.len().to_string();
            text += "\r\n";
        }
        text.push_str("\r\n");
        text.push_str(body);
        http::raw_tcp(self.at, text.as_bytes()).unwrap()
    }

    pub(crate) fn host(&self) -> String {
        format!("host: {}", self.at)
    }

    pub(crate) fn origin(&self) -> String {
        format!("origin: http://{}", self.at)
    }

    pub(crate) fn bearer(&self) -> String {
        format!("authorization: Bearer {}", self.token)
    }

    /// Gets something with the token.
    pub(crate) fn get(&self, path: &str) -> Reply {
        self.ask(&format!("GET {path}"), &[&self.host(), &self.bearer()], "")
    }

    /// Gives an order as the page does.
    pub(crate) fn order(&self, body: &str) -> Reply {
        let lines = [
            &self.host(),
            &self.bearer(),
            &self.origin(),
            "sec-fetch-site: same-origin",
            "content-type: application/json",
        ];
        self.ask(&format!("POST /v1/bench/{BENCH}/order"), &lines, body)
    }
}

#[test]
fn the_token_is_kept_for_its_owner_alone_and_is_in_no_log() {
    let (mut service, home) = alone();
    let door = Door::of(&home);
    assert!(door.at.ip().is_loopback());
    assert!(door.token.len() * 4 >= 128, "{}", door.token);
    let kept = home.path().join("state/page-token");
    let mode = |path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(kept.clone()), 0o600);
    assert_eq!(mode(home.path().join("state")), 0o700);
    let said = run(plain(home.path()).args(["page", "--json"])).ends(0);
    let said: serde_json::Value = serde_json::from_str(&said).unwrap();
    assert_eq!(said["state"], "open");
    assert_eq!(
        said["address"],
        format!("http://{}/#token={}", door.at, door.token)
    );
    service.stop();
    assert!(service.log().contains(&format!("http://{}/", door.at)));
    assert!(!service.log().contains(&door.token), "{}", service.log());

    let mut service = Service::start(&home);
    assert_eq!(
        Door::of(&home).token,
        door.token,
        "a page that is open stays so"
    );
    service.stop();
    std::fs::set_permissions(&kept, std::fs::Permissions::from_mode(0o644)).unwrap();
    let _service = Service::start(&home);
    let after = Door::of(&home);
    assert_ne!(after.token, door.token, "others could have read it");
    assert_eq!(after.get("/v1/benches").status, 200);
}

#[test]
fn the_shelf_tells_stock_and_price_where_the_shop_does() {
    let home = Home::new();
    home.settings(&settings(&home, "127.0.0.1:0"));
    let told = "[[metal]]\nkey = \"grain\"\nname = \"silver grain\"\nmade_of = \"Ag 999\"\n\
        stock = \"250.00 g\"\nprice_per_gram = \"1.10 EUR\"\n\
        [[metal]]\nkey = \"copper\"\nmade_of = \"Cu 1000\"\n";
    std::fs::write(home.path().join("shelf.toml"), told).unwrap();
    let _service = Service::start(&home);
    let reply = Door::of(&home).get("/v1/shelf");
    assert_eq!(reply.status, 200, "{reply:?}");
    let wanted = serde_json::json!([
        {"metal": "grain", "name": "silver grain", "made_of": "Ag 999 unknown 1",
         "stock": "250.00 g", "price_per_gram": "1.10", "currency": "EUR"},
        {"metal": "copper", "name": "copper", "made_of": "Cu 1000",
         "stock": null, "price_per_gram": null, "currency": null},
    ]);
    assert_eq!(reply.json(), wanted);
}

#[test]
fn a_port_that_is_taken_leaves_the_bench_working_and_is_said() {
    let other = TcpListener::bind("127.0.0.1:0").unwrap();
    let at = other.local_addr().unwrap().to_string();
    let desk = Desk::set(|home| {
        home.settings(&settings(home, &at));
        service::command(home.path())
    });
    let said = desk.say(&["page"]);
    said.is_refused(&format!("{at}: another program is there"));
    desk.service.until_logged("page-port-taken");
    let said = desk.say(&["page", "--json"]).ends(1);
    assert!(said.contains("\"code\":\"page-port-taken\""), "{said}");
    desk.open("T-1", &[]);
    desk.lot("916", "fire-assay", "5.00");
    assert_eq!(desk.home.masses("T-1"), ["5.00 g"]);
}

#[test]
fn a_page_that_is_off_or_cannot_keep_its_token_is_said() {
    let home = Home::new();
    home.settings(&settings(&home, "off"));
    run(plain(home.path()).arg("page")).is_refused("No panbell service answers");
    let mut service = Service::start(&home);
    run(plain(home.path()).arg("page")).is_refused("page is off");
    service.stop();
    home.settings(&settings(&home, "127.0.0.1:0"));
    std::fs::write(home.path().join("state"), "no folder").unwrap();
    let _service = Service::start(&home);
    run(plain(home.path()).arg("page")).is_refused("cannot be kept");
}
