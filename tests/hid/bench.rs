//! The real program reads a scale: captures, holds, unplugging, and what is kept of the reports.

use std::path::Path;
use std::time::{Duration, Instant};

use panbell::job::Raw;
use serde_json::Value;

use crate::plug::{Scale, report};
use crate::support::follower::{Follower, LIMIT};
use crate::support::home::{self, Home};
use crate::support::http;
use crate::support::service::{self, Service};

const BENCH: &str = "left";

struct Bench {
    home: Home,
    service: Service,
    follower: Follower,
}

impl Bench {
    fn start(port: &Path, further: &str) -> Self {
        let home = Home::new();
        let text = home::bench(BENCH, port, "usb-scale");
        let text = text.replace("\"0.01 g\"\n", &format!("\"0.001 g\"\n{further}"));
        home.settings(&format!("{}{text}", home::NO_DESKTOP));
        let service = Service::start(&home);
        let follower = Follower::start(&home.socket(), BENCH);
        Self {
            home,
            service,
            follower,
        }
    }

    fn until(&self, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let until = Instant::now() + LIMIT;
        loop {
            let reply = http::get(&self.home.socket(), &format!("/v1/bench/{BENCH}")).unwrap();
            let view = reply.json();
            if wanted(&view) {
                return view;
            }
            assert!(
                Instant::now() < until,
                "never {what}: {view:#}\n{}",
                self.service.log()
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    fn holds(&self, cause: &str, words: &str) {
        let view = self.until(&format!("held for {cause}: {words}"), |view| {
            view["hold"]["cause"] == cause && view["hold"]["why"].as_str().unwrap().contains(words)
        });
        assert!(
            view["sentence"].as_str().unwrap().starts_with("Hold:"),
            "{view:#}"
        );
    }

    fn goes_on(&self) {
        self.until("without a hold", |view| view["hold"].is_null());
    }

    fn ok(&self, words: &[&str]) {
        service::run(service::plain(self.home.path()).args(words)).ends(0);
    }

    fn lot(&self) {
        self.ok(&["lot", "916", "fire-assay"]);
        self.until("the weighing may begin", |view| {
            view["pan"]["net"].is_string() && view["weighing"].is_object()
        });
    }
}

/// One scale's story; `again` plugs it in once more under the same port.
fn story(scale: Scale, again: impl FnOnce() -> Scale) {
    let bench = Bench::start(&scale.port, "");
    bench.until("the scale talks", |view| {
        view["link"] == "talking"
            && view["pan"]["shown"] == "0.000 g"
            && view["pan"]["steady"] == true
    });
    bench.ok(&["open", "T-1", "--target", "18k", "--colour", "yellow"]);
    bench.lot();

    // In motion: shown, and not taken, however long it lasts.
    let mark = bench.follower.mark();
    scale.send(report(3, 2, 12_345));
    bench.until("shown in motion", |view| {
        view["pan"]["shown"] == "12.345 g" && view["pan"]["status"] == "in motion"
    });
    bench.follower.readings(mark, 30);
    assert!(bench.home.captures("T-1").is_empty());
    scale.rest(12_345);
    bench.follower.bell(mark, "recorded");
    let captured = bench.home.captures("T-1").remove(0);
    assert_eq!(captured.mass.to_string(), "12.345 g");
    assert_eq!(captured.raw, Raw::RawHex("030402fd3930".to_owned()));
    scale.rest(0);
    bench.until("empty", |view| {
        view["pan"]["shown"] == "0.000 g" && view["pan"]["steady"] == true
    });

    // What the scale says of itself, in words; what it is past its limit is no mass.
    bench.lot();
    for (status, words) in [
        (1, "a fault"),
        (5, "under zero"),
        (6, "over its limit"),
        (7, "to be calibrated"),
        (8, "to be zeroed again"),
    ] {
        scale.send(report(status, 2, 5_000));
        bench.holds("balance", words);
        scale.rest(0);
        bench.goes_on();
    }
    // The unit key: grams to carats, to taels of nobody knows where, to a reserved one.
    for (unit, words) in [(4, "carats"), (5, "nothing says the size of")] {
        scale.send(report(4, unit, 5_000));
        bench.holds("unit", words);
        scale.rest(0);
        bench.goes_on();
    }
    assert_eq!(bench.home.masses("T-1"), ["12.345 g"]);

    // Reserved statuses are no readings; after some of them the link counts as garbled.
    scale.send(report(9, 2, 5_000));
    let view = bench.until("garbled", |view| view["link"] == "garbled");
    let mend = view["hold"]["mend"].as_str().unwrap();
    assert!(mend.contains("USB scale off and on"), "{mend}");
    assert!(!mend.contains("speed"), "{mend}");
    scale.rest(0);
    bench.goes_on();

    // One that sends on a change only is told apart from one that is off by putting something on.
    scale.silent();
    bench.holds("link", "says nothing");
    let view = bench.until("silent", |view| view["link"] == "silent");
    let mend = view["hold"]["mend"].as_str().unwrap();
    assert!(mend.contains("put something on the pan"), "{mend}");
    scale.rest(0);
    bench.goes_on();

    // The plug.
    drop(scale);
    bench.until("absent", |view| view["link"] == "absent");
    let scale = again();
    bench.until("it talks again", |view| view["link"] == "talking");
    bench.goes_on();
    let mark = bench.follower.mark();
    scale.rest(7_000);
    bench.follower.bell(mark, "recorded");
    assert_eq!(bench.home.masses("T-1"), ["12.345 g", "7.000 g"]);
    service::run(service::plain(bench.home.path()).arg("verify")).ends(0);
}

#[test]
fn the_story_of_a_scale_at_a_pipe() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scale");
    story(Scale::pipe(&path), || Scale::pipe(&path));
}

#[test]
fn the_story_of_a_scale_at_a_hidraw_device() {
    let Some(mut scale) = Scale::uhid() else {
        service::loud(
            "no /dev/uhid here, so no real hidraw device was read; tests/vm-hid does it in a virtual machine",
        );
        return;
    };
    // The number may be another after the next plugging in: a name that stays, as udev makes.
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("scale");
    std::os::unix::fs::symlink(&scale.port, &name).unwrap();
    scale.port.clone_from(&name);
    story(scale, || {
        let scale = Scale::uhid().unwrap();
        std::fs::remove_file(&name).unwrap();
        std::os::unix::fs::symlink(&scale.port, &name).unwrap();
        scale
    });
}

#[test]
fn taels_are_weighed_when_it_is_said_whose() {
    let folder = tempfile::tempdir().unwrap();
    let scale = Scale::pipe(&folder.path().join("scale"));
    scale.send(report(2, 5, 0));
    let home = Bench::start(&scale.port, "tael = \"tael-hk\"\n");
    home.holds("unit", "Hong Kong taels");
    drop(home);
    let home = Home::new();
    let text = home::bench(BENCH, &scale.port, "usb-scale");
    let text = text.replace("\"0.01 g\"\n", "\"0.001 tael-hk\"\ntael = \"tael-hk\"\n");
    home.settings(&format!("{}{text}", home::NO_DESKTOP));
    let service = Service::start(&home);
    let follower = Follower::start(&home.socket(), BENCH);
    let bench = Bench {
        home,
        service,
        follower,
    };
    bench.until("agreed", |view| view["pan"]["unit"] == "agreed");
    bench.ok(&["open", "T-1", "--target", "18k", "--colour", "yellow"]);
    bench.lot();
    let mark = bench.follower.mark();
    scale.send(report(4, 5, 250));
    bench.follower.bell(mark, "recorded");
    assert_eq!(bench.home.masses("T-1"), ["0.250 tael-hk"]);
}

#[test]
fn a_scale_that_may_not_be_opened_tells_which_rule_is_missing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scale");
    let scale = Scale::pipe(&path);
    let home = Home::new();
    home.settings(&format!(
        "{}{}",
        home::NO_DESKTOP,
        home::bench(BENCH, &path, "usb-scale")
    ));
    let mut command = service::command(home.path());
    let open = |path: &Path, mode| {
        let mode = std::os::unix::fs::PermissionsExt::from_mode(mode);
        std::fs::set_permissions(path, mode).unwrap();
    };
    open(&path, 0);
    if rustix::process::geteuid().is_root() {
        // Root may open anything.
        let mut ordinary = std::process::Command::new("setpriv");
        ordinary.args(["--reuid=65534", "--regid=65534", "--clear-groups"]);
        ordinary.arg(command.get_program()).args(command.get_args());
        service::cut_off(&mut ordinary, home.path());
        command = ordinary;
        open(folder.path(), 0o755);
        open(home.path(), 0o777);
    }
    let mut service = Service::spawn(&home, command);
    service.until_ready();
    service.until_logged("part for USB scales");
    service.until_logged("may not be opened by");
    drop(scale);
}
