//! Ports, on real pseudo-terminals: what is read, what is refused and with which cause, and that
//! a port is given back. The pretend balance over its real wire.

#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]

use std::fs;
use std::future::Future;
use std::os::fd::OwnedFd;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use panbell::mass::{Indication, Mass, Unit};
use panbell::port::{
    Framing, Nature, OpenPort, Pace, PortSettings, PortTrouble, Pretend, PretendSettings, check,
    holders, shape,
};
use rustix::pty::OpenptFlags;
use rustix::termios::{LocalModes, OptionalActions, SpecialCodeIndex};

/// Far more than anything here takes, even on a busy machine.
const LIMIT: Duration = Duration::from_secs(20);

/// Runs a test body in the kind of runtime that the service has, and fails at the limit.
fn run<T>(body: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async { tokio::time::timeout(LIMIT, body).await.expect("in time") })
}

/// A pseudo-terminal as the system makes it: cooked, with echo.
struct Pty {
    end: OwnedFd,
    port: PathBuf,
}

impl Pty {
    fn new() -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let end = rustix::pty::openpt(flags).unwrap();
        rustix::pty::grantpt(&end).unwrap();
        rustix::pty::unlockpt(&end).unwrap();
        let name = rustix::pty::ptsname(&end, Vec::new()).unwrap();
        let port = PathBuf::from(name.into_string().unwrap());
        Self { end, port }
    }

    fn send(&self, mut bytes: &[u8]) {
        while !bytes.is_empty() {
            let count = rustix::io::write(&self.end, bytes).unwrap();
            bytes = &bytes[count..];
        }
    }

    /// What arrived at our end; waits for nothing.
    fn heard(&self) -> Vec<u8> {
        rustix::io::ioctl_fionbio(&self.end, true).unwrap();
        let mut buf = [0; 4096];
        let count = rustix::io::read(&self.end, &mut buf).unwrap_or(0);
        rustix::io::ioctl_fionbio(&self.end, false).unwrap();
        buf[..count].to_vec()
    }

    fn settings(&self) -> PortSettings {
        settings(&self.port)
    }
}

fn settings(path: &Path) -> PortSettings {
    PortSettings::new(path, 9600, Framing::EIGHT_NONE_ONE)
}

/// Opens a port that is about to be free. While another test starts a process, that process holds
/// copies of our descriptors for a moment, so a port just given back may still be locked.
async fn open_soon(settings: &PortSettings) -> OpenPort {
    loop {
        match OpenPort::open(settings) {
            Ok(port) => return port,
            Err(trouble) if trouble.passes() => {
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
            Err(other) => panic!("{}", other.trouble()),
        }
    }
}

/// Reads until a piece is in what came, and gives all that came.
async fn read_until(port: &mut OpenPort, piece: &str) -> String {
    let mut all = Vec::new();
    let mut buf = [0; 512];
    loop {
        let count = port.read(&mut buf).await.unwrap();
        assert_ne!(
            count,
            0,
            "hung up after {:?}",
            String::from_utf8_lossy(&all)
        );
        all.extend_from_slice(&buf[..count]);
        let text = String::from_utf8_lossy(&all).into_owned();
        if text.contains(piece) {
            return text;
        }
    }
}

// --- Reading -----------------------------------------------------------------------------------

#[test]
fn lines_arrive_as_sent_through_a_link_from_a_cooked_terminal() {
    run(async {
        let pty = Pty::new();
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("bench");
        symlink(&pty.port, &link).unwrap();
        let mut port = OpenPort::open(&settings(&link)).unwrap();
        pty.send(b"+   12.345 g   \r\n\x03\x04\x11after\n");
        let text = read_until(&mut port, "after\n").await;
        assert_eq!(text, "+   12.345 g   \r\n\x03\x04\x11after\n");
        assert_eq!(pty.heard(), b"", "nothing is echoed to the balance");
    });
}

#[test]
fn what_was_sent_before_opening_is_not_delivered() {
    run(async {
        let pty = Pty::new();
        // More than the line discipline holds: the rest waits behind it.
        for _ in 0..1000 {
            pty.send(b"stale 99.99 g\r\n");
        }
        let mut port = OpenPort::open(&pty.settings()).unwrap();
        pty.send(b"fresh\r\n");
        assert_eq!(read_until(&mut port, "fresh\r\n").await, "fresh\r\n");
    });
}

#[test]
fn a_hang_up_is_told_at_once_and_stays_told() {
    run(async {
        let pty = Pty::new();
        let mut port = OpenPort::open(&pty.settings()).unwrap();
        assert!(port.is_there());
        let plug = tokio::task::spawn_blocking(move || {
            std::thread::sleep(Duration::from_millis(100));
            drop(pty);
            Instant::now()
        });
        let mut buf = [0; 64];
        assert_eq!(port.read(&mut buf).await.unwrap(), 0);
        let seen = Instant::now();
        let late = seen.saturating_duration_since(plug.await.unwrap());
        assert!(late < Duration::from_secs(2), "{late:?}");
        assert_eq!(port.read(&mut buf).await.unwrap(), 0);
        assert!(!port.is_there());
        let error = port.write_all(b"Q\r\n", LIMIT).await.unwrap_err();
        assert_eq!(error.kind(), std::io::ErrorKind::BrokenPipe);
    });
}

#[test]
fn waiting_for_a_silent_balance_costs_nothing() {
    fn cpu_time() -> Duration {
        let text = fs::read_to_string("/proc/thread-self/schedstat").unwrap();
        Duration::from_nanos(text.split(' ').next().unwrap().parse().unwrap())
    }
    run(async {
        let pty = Pty::new();
        let mut port = OpenPort::open(&pty.settings()).unwrap();
        pty.send(b"one\n");
        read_until(&mut port, "one\n").await;
        let before = cpu_time();
        let mut buf = [0; 64];
        let read = tokio::time::timeout(Duration::from_millis(500), port.read(&mut buf)).await;
        assert!(read.is_err(), "nothing was sent");
        let spent = cpu_time().saturating_sub(before);
        assert!(spent < Duration::from_millis(100), "{spent:?}");
        // A read given up on loses nothing.
        pty.send(b"two\n");
        assert_eq!(read_until(&mut port, "two\n").await, "two\n");
    });
}

#[test]
fn a_terminal_left_with_timed_reads_is_no_hang_up() {
    run(async {
        let pty = Pty::new();
        let other = fs::File::options()
            .read(true)
            .write(true)
            .open(&pty.port)
            .unwrap();
        let mut modes = rustix::termios::tcgetattr(&other).unwrap();
        modes.local_modes -= LocalModes::ICANON;
        modes.special_codes[SpecialCodeIndex::VMIN] = 0;
        modes.special_codes[SpecialCodeIndex::VTIME] = 1;
        rustix::termios::tcsetattr(&other, OptionalActions::Now, &modes).unwrap();
        let mut port = OpenPort::open(&pty.settings()).unwrap();
        let mut buf = [0; 64];
        let read = tokio::time::timeout(Duration::from_millis(300), port.read(&mut buf)).await;
        assert!(read.is_err(), "{read:?}");
    });
}

#[test]
fn words_to_the_balance_arrive_and_a_full_wire_does_not_hold_us() {
    run(async {
        let pty = Pty::new();
        let mut port = OpenPort::open(&pty.settings()).unwrap();
        port.write_all(b"Q\r\n", LIMIT).await.unwrap();
        assert_eq!(pty.heard(), b"Q\r\n");
        let flood = vec![b'x'; 1 << 20];
        let error = port
            .write_all(&flood, Duration::from_millis(200))
            .await
            .unwrap_err();
        assert_eq!(error.kind(), std::io::ErrorKind::TimedOut);
    });
}

#[test]
fn a_framing_that_is_not_kept_is_seen() {
    run(async {
        let pty = Pty::new();
        let mut settings = PortSettings::new(&pty.port, 4800, "7E1".parse().unwrap());
        settings.dtr = Some(true);
        let port = OpenPort::open(&settings).unwrap();
        assert_eq!(port.asked_framing().to_string(), "7E1");
        assert_eq!(port.kept_framing().unwrap().to_string(), "8N1");
    });
}

// --- Causes ------------------------------------------------------------------------------------

#[test]
fn what_is_no_serial_port_is_said_and_not_opened() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        fs::write(&file, "text").unwrap();
        let pipe = folder.path().join("pipe");
        let mode = rustix::fs::Mode::from_raw_mode(0o600);
        rustix::fs::mknodat(rustix::fs::CWD, &pipe, rustix::fs::FileType::Fifo, mode, 0).unwrap();
        for (path, word) in [
            (Path::new("/dev/null"), "another kind of device"),
            (
                Path::new("/dev/tty"),
                "the terminal that the command runs in",
            ),
            (file.as_path(), "an ordinary file"),
            (folder.path(), "a folder"),
            // Opening a pipe for reading would wait for a writer.
            (pipe.as_path(), "a pipe"),
        ] {
            let trouble = OpenPort::open(&settings(path)).unwrap_err();
            assert!(
                matches!(&trouble, PortTrouble::NotASerialPort { what, .. } if *what == word),
                "{trouble:?}"
            );
            assert!(!trouble.passes());
            assert_eq!(check(path).unwrap_err(), trouble);
        }
        assert_eq!(fs::read_to_string(&file).unwrap(), "text");
    });
}

#[test]
fn an_absent_port_is_said_to_be_absent() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        let dangling = folder.path().join("dangling");
        symlink(folder.path().join("nothing"), &dangling).unwrap();
        for path in [folder.path().join("nothing"), dangling] {
            let trouble = OpenPort::open(&settings(&path)).unwrap_err();
            assert_eq!(trouble, PortTrouble::Absent { path: path.clone() });
            let told = trouble.trouble();
            assert!(told.passes && told.happened.contains(path.to_str().unwrap()));
        }
    });
}

#[test]
fn outside_of_a_runtime_it_fails_and_does_not_panic() {
    let pty = Pty::new();
    let trouble = OpenPort::open(&pty.settings()).unwrap_err();
    assert_eq!(trouble.trouble().code, "port-failed");
}

#[test]
fn a_second_opening_here_is_busy_and_names_us() {
    run(async {
        let pty = Pty::new();
        let first = OpenPort::open(&pty.settings()).unwrap();
        let trouble = OpenPort::open(&pty.settings()).unwrap_err().with_holder();
        let PortTrouble::Busy {
            holder: Some(by), ..
        } = &trouble
        else {
            panic!("{trouble:?}");
        };
        assert_eq!(by.pid, std::process::id());
        assert!(trouble.passes());
        assert!(
            trouble
                .trouble()
                .happened
                .starts_with("This panbell already")
        );
        drop(first);
        open_soon(&pty.settings()).await;
    });
}

#[test]
fn a_second_opening_elsewhere_is_busy_and_names_the_holder() {
    run(async {
        let pty = Pty::new();
        let mut port = OpenPort::open(&pty.settings()).unwrap();
        let told = in_another_process(&pty.port, As::Us);
        assert!(told.starts_with("port-busy"), "{told}");
        let me = format!("(process {})", std::process::id());
        assert!(told.contains(&me), "{told}");
        // The refused one changed nothing: the port still reads, and it is still ours alone, also
        // against a program that asks no lock.
        fs::set_permissions(&pty.port, fs::Permissions::from_mode(0o666)).unwrap();
        let told = in_another_process(&pty.port, As::Nobody);
        assert!(told.starts_with("port-busy"), "{told}");
        let told = in_another_process(&pty.port, As::NobodyWithoutALock);
        assert_eq!(told, "EBUSY");
        pty.send(b"still\n");
        assert_eq!(read_until(&mut port, "still\n").await, "still\n");
        // Given back, it can be had by anyone, an ordinary user included.
        drop(port);
        let begin = Instant::now();
        loop {
            let told = in_another_process(&pty.port, As::Nobody);
            if told == "open" {
                break;
            }
            assert!(begin.elapsed() < LIMIT, "{told}");
        }
    });
}

#[test]
fn a_forbidden_port_tells_owner_group_and_what_to_do() {
    let pty = Pty::new();
    fs::set_permissions(&pty.port, fs::Permissions::from_mode(0o000)).unwrap();
    let told = in_another_process(&pty.port, As::Nobody);
    for piece in ["port-no-permission", "mode 0000", "belongs to", "udev rule"] {
        assert!(told.contains(piece), "{piece}: {told}");
    }
    // With a group that may, the group is what is told.
    fs::set_permissions(&pty.port, fs::Permissions::from_mode(0o660)).unwrap();
    if !rustix::process::geteuid().is_root() {
        return; // only root can give it to a group
    }
    let tty = 5;
    std::os::unix::fs::chown(&pty.port, Some(0), Some(tty)).unwrap();
    let told = in_another_process(&pty.port, As::Nobody);
    for piece in [
        "port-no-permission",
        "mode 0660",
        "usermod -aG tty",
        "log out",
    ] {
        assert!(told.contains(piece), "{piece}: {told}");
    }
}

#[test]
fn a_closed_folder_on_the_way_is_named() {
    let pty = Pty::new();
    let folder = tempfile::tempdir().unwrap();
    let closed = folder.path().join("closed");
    fs::create_dir(&closed).unwrap();
    symlink(&pty.port, closed.join("bench")).unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).unwrap();
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o000)).unwrap();
    let told = in_another_process(&closed.join("bench"), As::Nobody);
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o700)).unwrap();
    assert!(told.starts_with("port-no-permission"), "{told}");
    assert!(
        told.contains(&format!("{} belongs", closed.display())),
        "{told}"
    );
}

#[test]
fn the_holders_of_a_port_are_found_without_opening_it() {
    let pty = Pty::new();
    assert_eq!(holders(&pty.port), []);
    let held = fs::File::open(&pty.port).unwrap();
    // More than one while another test starts a process.
    let me = std::process::id();
    let found = holders(&pty.port);
    let ours = found.iter().find(|by| by.pid == me).expect("found");
    assert!(!ours.name.is_empty());
    drop(held);
}

// --- Another process ---------------------------------------------------------------------------

#[derive(Clone, Copy, PartialEq)]
enum As {
    Us,
    Nobody,
    NobodyWithoutALock,
}

const HELPER_PORT: &str = "PANBELL_TEST_PORT";
const HELPER_PLAIN: &str = "PANBELL_TEST_PLAIN";
const MARK: &str = "told: ";

/// Opens a port in another process and gives what it said: `open`, or the trouble.
fn in_another_process(port: &Path, who: As) -> String {
    // Copied to where an ordinary user may run it; by `cp`, since a copy that this process had
    // open for writing could not be started while another test starts a process.
    let folder = tempfile::tempdir_in("/tmp").unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let program = folder.path().join("helper");
    let mut copy = Command::new("cp");
    copy.arg(std::env::current_exe().unwrap()).arg(&program);
    assert!(copy.status().unwrap().success());
    let mut command = if who != As::Us && rustix::process::geteuid().is_root() {
        let mut command = Command::new("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups", "--"]);
        command.arg(&program);
        command
    } else {
        Command::new(&program)
    };
    if who == As::NobodyWithoutALock {
        command.env(HELPER_PLAIN, "yes");
    }
    let output = command
        .args(["--exact", "helper", "--ignored", "--nocapture"])
        .env(HELPER_PORT, port)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    said.lines()
        .find_map(|line| line.split_once(MARK).map(|(_, told)| told.to_owned()))
        .unwrap_or_else(|| panic!("{output:?}"))
}

#[test]
#[ignore = "the other process of the tests above, not a test of its own"]
fn helper() {
    let Some(port) = std::env::var_os(HELPER_PORT) else {
        return;
    };
    // A process without a terminal would get one by opening it, were it not for O_NOCTTY.
    rustix::process::setsid().ok();
    if std::env::var_os(HELPER_PLAIN).is_some() {
        let flags = rustix::fs::OFlags::RDWR | rustix::fs::OFlags::NOCTTY;
        let outcome = rustix::fs::open(Path::new(&port), flags, rustix::fs::Mode::empty());
        match outcome {
            Ok(_port) => println!("{MARK}open"),
            Err(rustix::io::Errno::BUSY) => println!("{MARK}EBUSY"),
            Err(other) => println!("{MARK}{other}"),
        }
        return;
    }
    run(async {
        match OpenPort::open(&settings(Path::new(&port))).map_err(PortTrouble::with_holder) {
            Ok(_port) => {
                let stat = fs::read_to_string("/proc/self/stat").unwrap();
                let behind_name = stat.rsplit_once(')').unwrap().1;
                let terminal = behind_name.split(' ').nth(5).unwrap();
                assert_eq!(terminal, "0", "it has a controlling terminal");
                println!("{MARK}open");
            }
            Err(trouble) => {
                let told = trouble.trouble();
                println!("{MARK}{} {told}", told.code);
            }
        }
    });
}

// --- The pretend balance -----------------------------------------------------------------------

fn mass(text: &str) -> Mass {
    text.parse::<Indication>().unwrap().mass()
}

fn pretend(link: &Path, shape_name: &str, pace: Pace) -> Pretend {
    Pretend::start(PretendSettings {
        link: link.to_owned(),
        nature: Nature {
            division: "0.01 g".parse().unwrap(),
            settling: Duration::from_millis(200),
            noise: Mass::ZERO,
            seed: 1,
        },
        shape: shape(shape_name).unwrap(),
        pace,
        speed: 9600,
    })
    .unwrap()
}

const FAST: Pace = Pace::LinesPerSecond(50);

#[test]
fn the_pretend_balance_speaks_every_shape_and_settles() {
    for (name, at_rest) in [
        ("signed-fixed", "+/      12.34/g    /\r\n"),
        ("status-first", "stable   12.34 g\r\n"),
        ("comma-fields", "&;      12,34;g;#\r\n"),
    ] {
        run(async {
            let folder = tempfile::tempdir().unwrap();
            let balance = pretend(&folder.path().join("bench"), name, FAST);
            let mut port = OpenPort::open(&settings(balance.link())).unwrap();
            balance.place(mass("12.34 g")).unwrap();
            let way = read_until(&mut port, at_rest).await;
            if name == "status-first" {
                assert!(way.contains("moving"), "{way}");
            }
        });
    }
}

#[test]
fn the_pretend_keys_do_what_keys_do() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        let balance = pretend(&folder.path().join("bench"), "status-first", FAST);
        let mut port = OpenPort::open(&settings(balance.link())).unwrap();
        balance.place(mass("12.34 g")).unwrap();
        read_until(&mut port, "stable   12.34 g\r\n").await;
        balance.press_unit(Unit::Carat).unwrap();
        read_until(&mut port, "stable   61.70 ct\r\n").await;
        balance.press_tare().unwrap();
        read_until(&mut port, "stable    0.00 ct\r\n").await;
        balance.press_unit(Unit::Gram).unwrap();
        let over = Duration::from_millis(500);
        balance.trickle(mass("13.34 g"), over).unwrap();
        let way = read_until(&mut port, "stable    1.00 g\r\n").await;
        assert!(way.matches("moving").count() > 5, "{way}");
        balance.say(b"\xff\x00\x80garbage!".to_vec()).unwrap();
        read_until(&mut port, "garbage!").await;
    });
}

#[test]
fn the_pretend_balance_is_unplugged_and_comes_back_under_its_name() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        let balance = pretend(&folder.path().join("bench"), "signed-fixed", FAST);
        balance.place(mass("5.00 g")).unwrap();
        for _ in 0..20 {
            let mut port = open_soon(&settings(balance.link())).await;
            read_until(&mut port, " 5.00/g    /\r\n").await;
            balance.unplug().unwrap();
            let mut buf = [0; 4096];
            while port.read(&mut buf).await.unwrap() != 0 {}
            let trouble = OpenPort::open(&settings(balance.link())).unwrap_err();
            assert!(matches!(trouble, PortTrouble::Absent { .. }), "{trouble:?}");
            balance.plug().unwrap();
        }
        let link = balance.link().to_owned();
        drop(balance);
        assert!(fs::symlink_metadata(link).is_err(), "the name is gone");
    });
}

#[test]
fn the_pretend_balance_survives_that_nobody_reads() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        let balance = pretend(&folder.path().join("bench"), "signed-fixed", Pace::Silent);
        // Far more than a pseudo-terminal holds.
        for _ in 0..64 {
            balance.say(vec![b'x'; 16 * 1024]).unwrap();
        }
        balance.place(mass("7.00 g")).unwrap();
        balance.set_pace(FAST).unwrap();
        let mut port = OpenPort::open(&settings(balance.link())).unwrap();
        let text = read_until(&mut port, " 7.00/g    /\r\n").await;
        assert!(!text.contains("xx"), "the stale flood is cleared");
    });
}

#[test]
fn a_pretend_balance_that_is_asked_answers_once() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        let asked = Pace::WhenAsked(b"brilvo\r\n".to_vec());
        let balance = pretend(&folder.path().join("bench"), "comma-fields", asked);
        let mut port = OpenPort::open(&settings(balance.link())).unwrap();
        for _ in 0..3 {
            port.write_all(b"brilvo\r", LIMIT).await.unwrap();
            port.write_all(b"\n", LIMIT).await.unwrap();
            assert_eq!(read_until(&mut port, "\n").await, "&;       0,00;g;#\r\n");
        }
    });
}

#[test]
fn the_pretend_link_never_replaces_a_file() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bench");
    fs::write(&file, "a job").unwrap();
    let trouble = Pretend::start(PretendSettings {
        link: file.clone(),
        nature: Nature {
            division: "0.01 g".parse().unwrap(),
            settling: Duration::ZERO,
            noise: Mass::ZERO,
            seed: 1,
        },
        shape: shape("signed-fixed").unwrap(),
        pace: Pace::Silent,
        speed: 9600,
    })
    .unwrap_err();
    assert_eq!(trouble.code, "pretend-failed");
    assert_eq!(fs::read_to_string(&file).unwrap(), "a job");
}
