//! `panbell find`: the real program on folder trees as the kernel makes them, on real
//! pseudo-terminals, as another user, and on this machine.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

#[path = "support/python.rs"]
mod python;
#[path = "support/mod.rs"]
mod support;

use std::fs;
use std::os::fd::OwnedFd;
use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use panbell::mass::{Mass, Unit};
use panbell::port::{LayoutWriter, Nature, Pace, Pretend};
use panbell::settings::{BalanceFile, Folders};
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use serde_json::{Value, json};
use support::home::{self, Home};
use support::service::{PANBELL, Said, loud, plain, run};

/// A pseudo-terminal whose other end nobody has ever opened.
struct Untouched {
    end: OwnedFd,
    port: PathBuf,
}

impl Untouched {
    fn new() -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let end = rustix::pty::openpt(flags).unwrap();
        rustix::pty::grantpt(&end).unwrap();
        rustix::pty::unlockpt(&end).unwrap();
        rustix::io::ioctl_fionbio(&end, true).unwrap();
        let name = rustix::pty::ptsname(&end, Vec::new()).unwrap();
        let port = PathBuf::from(name.into_string().unwrap());
        Self { end, port }
    }

    /// Whether the other end has been opened since, and what was sent from there: the kernel tells
    /// an end that was closed (EIO) from one that was never opened (nothing to read).
    fn was_opened(&self) -> bool {
        let mut bytes = [0; 512];
        match rustix::io::read(&self.end, &mut bytes) {
            Err(Errno::AGAIN) => false,
            Err(Errno::IO) => true,
            other => panic!("{other:?}: {}", bytes.escape_ascii()),
        }
    }
}

/// A tree with sys, dev, proc and run in it, as the kernel and its services make them.
struct Tree(tempfile::TempDir);

impl Tree {
    fn new() -> Self {
        let tree = Self(tempfile::tempdir().unwrap());
        for folder in ["sys/class/tty", "dev/serial/by-id", "proc", "run/udev/data"] {
            fs::create_dir_all(tree.at(folder)).unwrap();
        }
        // What every machine has and nobody wants to see.
        for name in ["tty", "tty0", "console", "ptmx"] {
            tree.write(&format!("sys/class/tty/{name}/dev"), "5:0\n");
        }
        tree
    }

    fn at(&self, path: &str) -> PathBuf {
        self.0.path().join(path)
    }

    fn write(&self, path: &str, bytes: impl AsRef<[u8]>) {
        let path = self.at(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }

    fn link(&self, path: &str, target: impl AsRef<Path>) {
        let path = self.at(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        symlink(target, path).unwrap();
    }

    /// A driver and the link of a device to it.
    fn driver(&self, device: &str, bus: &str, name: &str) {
        let folder = self.at(&format!("sys/bus/{bus}/drivers/{name}"));
        fs::create_dir_all(&folder).unwrap();
        self.link(&format!("{device}/driver"), folder);
    }

    /// A USB adapter in this socket; its files as given.
    fn usb(&self, place: &str, files: &[(&str, &str)]) -> String {
        let device = format!("sys/devices/pci0/usb1/{place}");
        self.write(&format!("{device}/idVendor"), "1209\n");
        for (file, text) in files {
            self.write(&format!("{device}/{file}"), format!("{text}\n"));
        }
        self.driver(&device, "usb", "usb");
        device
    }

    /// A port of this name below a device, with this pseudo-terminal as its node.
    fn port(&self, device: &str, name: &str, number: &str, node: &Path) {
        let class = format!("{device}/tty/{name}");
        self.write(&format!("{class}/dev"), format!("{number}\n"));
        self.link(&format!("{class}/device"), self.at(device));
        self.link(&format!("sys/class/tty/{name}"), self.at(&class));
        self.link(&format!("dev/{name}"), node);
    }

    /// A USB serial adapter with one port, as usb-serial drivers make it.
    fn adapter(&self, place: &str, name: &str, serial: &str, node: &Path) {
        let files = [
            ("manufacturer", "Workshop"),
            ("product", "Serial Adapter"),
            ("serial", serial),
        ];
        let device = self.usb(place, &files);
        let port = format!("{device}/{place}:1.0/{name}");
        self.driver(&format!("{device}/{place}:1.0"), "usb", "some_serial");
        self.driver(&port, "usb-serial", "some_serial");
        self.port(&port, name, "188:0", node);
    }

    fn process(&self, pid: u32, name: &str, open: &[&Path]) {
        self.write(&format!("proc/{pid}/comm"), format!("{name}\n"));
        for (number, target) in open.iter().enumerate() {
            self.link(&format!("proc/{pid}/fd/{number}"), target);
        }
    }

    fn find(&self, home: &Home, words: &[&str]) -> Said {
        let mut command = plain(home.path());
        command.arg("find").arg("--root").arg(self.0.path());
        run(command.args(words))
    }

    /// What it finds as JSON; it must end so.
    fn json(&self, home: &Home, words: &[&str], code: i32) -> Value {
        let said = self.find(home, &[words, &["--json"]].concat());
        serde_json::from_str(&said.ends(code)).unwrap()
    }
}

fn codes(found: &Value) -> Vec<&str> {
    let all = found["troubles"].as_array().unwrap().iter();
    all.map(|trouble| trouble["code"].as_str().unwrap())
        .collect()
}

// --- What there is -----------------------------------------------------------------------------

#[test]
fn ports_are_told_with_adapter_driver_and_the_name_that_stays() {
    let (home, tree) = (Home::new(), Tree::new());
    let ptys = [(); 4].map(|()| Untouched::new());
    tree.adapter("1-10", "ttyUSB10", "A10", &ptys[0].port);
    tree.adapter("1-2", "ttyUSB2", "A2", &ptys[1].port);
    tree.link(
        "dev/serial/by-id/usb-Workshop_A2-if00-port0",
        "../../ttyUSB2",
    );
    tree.link("dev/serial/by-path/pci-usb-2", "../../ttyUSB2");
    tree.link("dev/serial/by-id/usb-gone-if00", "../../ttyUSB7");
    // A port of its own on USB, named once; it calls itself something odd.
    let device = tree.usb(
        "1-3",
        &[
            ("manufacturer", "Works"),
            ("product", "Works \u{1b}[31m\u{202e}Bal\u{200b}ance"),
        ],
    );
    tree.driver(&format!("{device}/1-3:1.0"), "usb", "some_acm");
    tree.port(
        &format!("{device}/1-3:1.0"),
        "ttyACM0",
        "166:0",
        &ptys[2].port,
    );
    // Built in: the serial core stands between the port and its driver. One has no chip.
    tree.driver("sys/devices/pnp0/00:00", "pnp", "some_uart");
    tree.driver("sys/devices/pnp0/00:00/00:00:0", "serial-base", "ctrl");
    let device = "sys/devices/pnp0/00:00/00:00:0/00:00:0.0";
    tree.driver(device, "serial-base", "port");
    tree.port(device, "ttyS0", "4:64", &ptys[3].port);
    tree.write(&format!("{device}/tty/ttyS0/type"), "4\n");
    tree.port(device, "ttyS1", "4:65", &ptys[3].port);
    tree.write(&format!("{device}/tty/ttyS1/type"), "0\n");

    let found = tree.json(&home, &[], 0);
    let dev = tree.at("dev").display().to_string();
    let row = |port: &Value| {
        let text = |key: &str| port[key].as_str().unwrap_or("-").replace(&dev, "");
        format!(
            "{} {} [{}] {} {} {}",
            text("port"),
            text("kind"),
            text("adapter"),
            text("serial"),
            text("driver"),
            text("state")
        )
    };
    let rows: Vec<String> = found["ports"].as_array().unwrap().iter().map(row).collect();
    assert_eq!(
        rows,
        [
            "/ttyACM0 usb [Works [31mBalance] - some_acm free",
            "/ttyS0 built-in [-] - some_uart free",
            "/ttyUSB2 usb [Workshop Serial Adapter] A2 some_serial free",
            "/ttyUSB10 usb [Workshop Serial Adapter] A10 some_serial free",
        ]
    );
    let stable = format!("{:?}", found["ports"][2]["stable"]).replace(&dev, "");
    let first = stable
        .find("/serial/by-id/usb-Workshop_A2-if00-port0")
        .unwrap();
    assert!(first < stable.find("/serial/by-path/pci-usb-2").unwrap());
    assert_eq!(found["ports"][3]["stable"], json!([]));
    let text = tree.find(&home, &[]).ends(0);
    assert!(
        text.contains("name that stays: ") && text.contains("no name that stays"),
        "{text}"
    );
    for pty in &ptys {
        assert!(!pty.was_opened(), "looking opens nothing");
    }
}

#[test]
fn who_holds_a_port_and_which_services_run_is_told() {
    let (home, tree) = (Home::new(), Tree::new());
    let pty = Untouched::new();
    tree.adapter("1-1", "ttyUSB0", "A1", &pty.port);
    tree.process(4711, "sketch", &[Path::new("/dev/null"), &pty.port]);
    tree.process(
        4712,
        "other",
        &[Path::new("/dev/null"), Path::new("socket:[7]")],
    );
    let found = tree.json(&home, &[], 0);
    assert_eq!(found["ports"][0]["state"], "taken");
    assert_eq!(
        found["ports"][0]["holders"],
        json!([{"pid": 4711, "name": "sketch"}])
    );
    let text = tree.find(&home, &["--listen", "--seconds", "0.2"]).ends(0);
    assert!(text.contains("open in sketch (process 4711)"), "{text}");
    assert!(!pty.was_opened(), "a port that somebody has is left alone");

    // A modem service that may come to it; then one that was told to keep off; then one in it.
    fs::remove_dir_all(tree.at("proc/4711")).unwrap();
    tree.process(812, "ModemManager", &[]);
    let found = tree.json(&home, &[], 3);
    assert_eq!(codes(&found), ["modem-service"]);
    assert_eq!(
        found["services"],
        json!([{"service": "modem service", "pid": 812}])
    );
    tree.write(
        "run/udev/data/c188:0",
        "S:panbell/A1\nE:ID_MM_DEVICE_IGNORE=1\nG:uaccess\n",
    );
    let found = tree.json(&home, &[], 0);
    assert_eq!(
        (&found["ports"][0]["seat"], &found["ports"][0]["no_modem"]),
        (&json!(true), &json!(true))
    );
    tree.process(812, "ModemManager", &[]);
    tree.link("proc/812/fd/9", &pty.port);
    let found = tree.json(&home, &[], 3);
    assert_eq!(codes(&found), ["held-by-modem-service"]);
    assert_eq!(found["troubles"][0]["passes"], true);
}

#[test]
fn an_adapter_taken_by_a_braille_service_is_told_though_it_has_no_port() {
    let (home, tree) = (Home::new(), Tree::new());
    let files = [
        ("product", "Serial Adapter"),
        ("busnum", "1"),
        ("devnum", "4"),
    ];
    let device = tree.usb("1-5", &files);
    let interface = format!("{device}/1-5:1.0");
    tree.write(&format!("{interface}/bInterfaceClass"), "ff\n");
    tree.driver(&interface, "usb", "usbfs");
    tree.link("sys/bus/usb/devices/1-5", tree.at(&device));
    tree.link("sys/bus/usb/devices/1-5:1.0", tree.at(&interface));
    // A camera driven by a program is nobody's trouble.
    let camera = tree.usb("1-6", &[("product", "Camera")]);
    tree.write(&format!("{camera}/1-6:1.0/bInterfaceClass"), "06\n");
    tree.driver(&format!("{camera}/1-6:1.0"), "usb", "usbfs");
    tree.link(
        "sys/bus/usb/devices/1-6:1.0",
        tree.at(&format!("{camera}/1-6:1.0")),
    );
    tree.process(633, "brltty", &[]);
    // Its open files are hidden from an ordinary user.
    let found = tree.json(&home, &[], 3);
    assert_eq!(codes(&found), ["held-by-braille-service"]);
    assert_eq!(found["taken_adapters"].as_array().unwrap().len(), 1);
    let text = tree.find(&home, &[]).ends(3);
    assert!(
        text.contains("USB adapter Serial Adapter, at 1-5"),
        "{text}"
    );
    assert!(text.contains("braille service (process 633)"), "{text}");
}

/// A scale of the weighing page: status, unit, scaling and weight in one report (by the rules of
/// HID 1.11, section 6.2.2).
const SCALE: [u8; 77] = [
    0x05, 0x8D, 0x09, 0x01, 0xA1, 0x01, 0x09, 0x32, 0xA1, 0x02, // scales, data report
    0x09, 0x70, 0xA1, 0x02, 0x19, 0x71, 0x29, 0x78, 0x15, 1, 0x25, 8, 0x75, 8, 0x95, 1, 0x81, 0x00,
    0xC0, // status
    0x09, 0x50, 0xA1, 0x02, 0x19, 0x51, 0x29, 0x5C, 0x15, 1, 0x25, 12, 0x75, 8, 0x95, 1, 0x81,
    0x00, 0xC0, // unit
    0x09, 0x41, 0x15, 0x81, 0x25, 0x7F, 0x75, 8, 0x95, 1, 0x81, 0x02, // scaling
    0x09, 0x40, 0x15, 0, 0x27, 0xFF, 0xFF, 0, 0, 0x75, 16, 0x95, 1, 0x81, 0x02, // weight
    0xC0, 0xC0,
];

#[test]
fn usb_scales_are_told_from_keyboards() {
    let (home, tree) = (Home::new(), Tree::new());
    for (name, called, descriptor) in [
        ("hidraw0", "Keys", &[0x05, 0x01, 0x09, 0x06, 0xA1, 0x01][..]),
        ("hidraw1", "Workshop Scale", &SCALE),
    ] {
        let device = format!("sys/class/hidraw/{name}/device");
        tree.write(&format!("{device}/report_descriptor"), descriptor);
        tree.write(
            &format!("{device}/uevent"),
            format!("DRIVER=x\nHID_NAME={called}\n"),
        );
        tree.write(&format!("dev/{name}"), "");
    }
    let found = tree.json(&home, &[], 0);
    let node = tree.at("dev/hidraw1").display().to_string();
    assert_eq!(
        found["scales"],
        json!([{"node": node, "name": "Workshop Scale", "readable": true}])
    );
}

#[test]
fn nothing_at_all_is_said_with_what_to_do() {
    let (home, tree) = (Home::new(), Tree::new());
    assert_eq!(codes(&tree.json(&home, &[], 3)), ["no-port"]);
    let empty = tempfile::tempdir().unwrap();
    let mut command = plain(home.path());
    let said = run(command.args(["find", "--root"]).arg(empty.path())).ends(3);
    assert!(
        said.contains("No serial port and no USB scale is here."),
        "{said}"
    );
    // A folder that is not there is no machine without ports.
    let gone = empty.path().join("gone");
    let mut command = plain(home.path());
    run(command.args(["find", "--root"]).arg(&gone)).is_refused("gone that was to be looked into");
    // A node that is not there, as in a container, and one that is something else.
    tree.adapter("1-1", "ttyUSB0", "A1", Path::new("/nowhere"));
    tree.adapter("1-2", "ttyUSB1", "A2", Path::new("/dev/null"));
    assert_eq!(
        codes(&tree.json(&home, &[], 3)),
        ["port-absent", "port-not-serial"]
    );
    for words in [["--seconds", "1"], ["--seconds", "x"]] {
        tree.find(&home, &words).ends(2);
    }
}

#[test]
fn another_user_is_told_whose_group_the_port_is() {
    if !rustix::process::geteuid().is_root() {
        loud("not root: nobody else can be tried here, so permissions were not looked at");
        return;
    }
    let pty = Untouched::new();
    fs::set_permissions(&pty.port, fs::Permissions::from_mode(0o660)).unwrap();
    std::os::unix::fs::chown(&pty.port, Some(0), Some(5)).unwrap();
    // Where an ordinary user may run it.
    let folder = tempfile::tempdir_in("/tmp").unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let program = folder.path().join("panbell");
    assert!(
        Command::new("cp")
            .arg(PANBELL)
            .arg(&program)
            .status()
            .unwrap()
            .success()
    );
    let mut command = Command::new("setpriv");
    command.args(["--reuid=65534", "--regid=65534", "--clear-groups", "--"]);
    command.arg(&program).arg("--home").arg(folder.path());
    let said = run(command.args(["find", "--json", "--listen"]).arg(&pty.port));
    let found: Value = serde_json::from_str(&said.ends(3)).unwrap();
    assert_eq!(found["ports"][0]["state"], "no-permission");
    assert_eq!(found["ports"][0]["heard"], Value::Null);
    let trouble = &found["troubles"][0];
    assert!(
        trouble["happened"]
            .as_str()
            .unwrap()
            .contains("the group tty"),
        "{trouble}"
    );
    assert!(
        trouble["mend"]
            .as_str()
            .unwrap()
            .contains("usermod -aG tty"),
        "{trouble}"
    );
}

// --- Listening ---------------------------------------------------------------------------------

/// A balance that shows 12.46 g; each byte of its lines goes through `wire`.
fn balance(layout: &str, home: &Home, wire: fn(u8) -> u8) -> Pretend {
    let file = BalanceFile::find(layout, &Folders::under(home.path())).unwrap();
    let mut writer = LayoutWriter::new(&file.layout, file.frame, Unit::Gram, 2).unwrap();
    let nature = Nature {
        division: "0.01 g".parse().unwrap(),
        settling: Duration::ZERO,
        noise: Mass::ZERO,
        seed: 1,
    };
    let write = Box::new(move |showing: &_| {
        let line = writer.write(showing).unwrap();
        line.into_iter().map(wire).collect()
    });
    let balance =
        Pretend::start_writing(None, nature, write, Pace::LinesPerSecond(50), 57_600).unwrap();
    balance.place(support::desk::g("12.46")).unwrap();
    balance
}

/// With a check bit that makes the ones even, as a port reads it that is set for eight bits.
fn even(byte: u8) -> u8 {
    byte | u8::from(byte.count_ones() % 2 == 1) << 7
}

#[test]
fn what_talks_like_a_balance_is_heard_and_nothing_is_sent() {
    let (home, tree) = (Home::new(), Tree::new());
    let plain_one = balance("status-first", &home, |byte| byte);
    let seven_bits = balance("comma-fields", &home, even);
    let garbled = balance("status-first", &home, |byte| (byte << 3 | 0x84) & !1);
    let silent = Untouched::new();
    let odd = balance("status-first", &home, |byte| {
        if byte == b'g' { b'?' } else { byte }
    });
    for (number, node) in [
        plain_one.link(),
        seven_bits.link(),
        garbled.link(),
        &silent.port,
        odd.link(),
    ]
    .into_iter()
    .enumerate()
    {
        tree.adapter(
            &format!("1-{number}"),
            &format!("ttyUSB{number}"),
            "A",
            node,
        );
    }
    // The balances are played by this test, but no process of the tree has them open.
    let found = tree.json(&home, &["--listen", "--seconds", "0.4"], 0);
    let heard = |at: usize| found["ports"][at]["heard"].clone();
    assert_eq!(
        heard(0),
        json!({"sound": "balance", "speed": 9600, "framing": "8N1", "line": heard(0)["line"],
            "layouts": ["status-first"]})
    );
    assert!(
        heard(0)["line"].as_str().unwrap().ends_with("12.46 g"),
        "{found:#}"
    );
    assert_eq!(heard(1)["framing"], "7E1");
    assert_eq!(
        (&heard(1)["line"], &heard(1)["layouts"]),
        (&json!("&;      12,46;g;#"), &json!(["comma-fields"]))
    );
    assert_eq!(heard(2)["sound"], "garbled");
    assert_eq!(heard(3)["sound"], "silent");
    assert!(
        silent.was_opened(),
        "it was listened to, and nothing was sent to it"
    );
    // Nothing reads a unit of "?", but as a line it is one: shown as an unknown unit.
    assert_eq!(heard(4)["sound"], "balance");
    let text = tree.find(&home, &["--listen", "--seconds", "0.4"]).ends(0);
    for piece in [
        "talks like a balance at 9600 8N1: \"stable   12.46 g\"",
        "its lines are read by: status-first",
        "says nothing",
        "no text at any usual speed",
    ] {
        assert!(text.contains(piece), "{piece}: {text}");
    }
}

#[test]
fn a_port_of_a_bench_is_not_touched_by_any_of_its_names() {
    let (home, tree) = (Home::new(), Tree::new());
    let pty = Untouched::new();
    tree.adapter("1-1", "ttyUSB0", "A1", &pty.port);
    let stable = tree.at("dev/serial/by-id/usb-A1");
    tree.link("dev/serial/by-id/usb-A1", "../../ttyUSB0");
    home.settings(&home::bench("left", &stable, "status-first"));
    let words = ["--listen", "--seconds", "0.2"];
    let found = tree.json(&home, &words, 0);
    assert_eq!(
        (&found["ports"][0]["state"], &found["ports"][0]["bench"]),
        (&json!("bench"), &json!("left"))
    );
    let named = pty.port.display().to_string();
    tree.json(&home, &[&words[..], &[&named]].concat(), 0);
    assert!(!pty.was_opened());
    // Settings that cannot be read name who knows what: nothing is listened to.
    home.settings("[[bench]]\nprot = 1\n");
    let said = tree.find(&home, &words);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(!pty.was_opened());
    // The same without settings is listened to: the check above could have failed.
    fs::remove_file(home.path().join("panbell.toml")).unwrap();
    let found = tree.json(&home, &[&words[..], &[&named]].concat(), 0);
    assert_eq!(found["ports"][0]["kind"], "pseudo-terminal");
    assert!(pty.was_opened());
}

// --- This machine ------------------------------------------------------------------------------

#[test]
fn this_machines_own_ports_are_those_that_pyserial_lists() {
    let home = Home::new();
    let said = run(plain(home.path()).args(["find", "--json"]));
    assert!([0, 3].contains(&said.code), "{said:?}");
    let found: Value = serde_json::from_str(&said.out).unwrap();
    let ours: Vec<&str> = found["ports"]
        .as_array()
        .unwrap()
        .iter()
        .map(|port| port["port"].as_str().unwrap())
        .collect();
    let list =
        "from serial.tools.list_ports import comports\nfor port in comports(): print(port.device)";
    let output = Command::new(python::python())
        .args(["-c", list])
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    let theirs = String::from_utf8(output.stdout).unwrap();
    println!("ours {ours:?}, pyserial's {theirs:?}");
    for port in theirs.lines() {
        let name = port.trim_start_matches("/dev/");
        let kind = fs::read_to_string(format!("/sys/class/tty/{name}/type")).unwrap_or_default();
        assert!(
            ours.contains(&port) || kind.trim() == "0",
            "{port}: {ours:?}"
        );
    }
    if theirs.is_empty() && ours.is_empty() {
        loud("this machine has no serial port, so only the trees were looked at");
    }
}
