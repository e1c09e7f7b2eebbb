//! Scales to plug in: a pipe with a descriptor beside it, and a device that the kernel makes.
//! A thread sends the report that stands, as a scale does, until it is told another.

use std::fs::{self, File};
use std::io::Write;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rustix::fs::{CWD, Mode, OFlags};

use crate::maker::{USUAL, scale};

/// Report number of the scales here.
pub(crate) const ID: u8 = 3;
const STABLE: u8 = 4;

/// Where the reports go.
enum Wire {
    Pipe { end: OwnedFd, path: PathBuf },
    Uhid(File),
}

/// A scale that is plugged in; unplugged when dropped.
pub(crate) struct Scale {
    now: Arc<Mutex<Option<[u8; 6]>>>,
    /// It is on and sends nothing, as a scale that sends only on a change.
    hushed: Arc<AtomicBool>,
    sender: Option<JoinHandle<()>>,
    pub(crate) port: PathBuf,
}

impl Scale {
    /// A pipe.
    pub(crate) fn pipe(path: &Path) -> Self {
        let mut beside = path.as_os_str().to_owned();
        beside.push(".report_descriptor");
        fs::write(&beside, scale(Some(ID), &USUAL)).unwrap();
        // Made under another name and moved, so that it is never there without a writer.
        let made = path.with_extension("made");
        rustix::fs::mkfifoat(CWD, &made, Mode::RUSR | Mode::WUSR).unwrap();
        let flags = OFlags::RDWR | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let end = rustix::fs::open(&made, flags, Mode::empty()).unwrap();
        fs::rename(&made, path).unwrap();
        let path = path.to_owned();
        Self::start(path.clone(), Wire::Pipe { end, path })
    }

    /// A device of the kernel's own; `None` where the kernel makes none.
    pub(crate) fn uhid() -> Option<Self> {
        let mut file = File::options()
            .read(true)
            .write(true)
            .open("/dev/uhid")
            .ok()?;
        let descriptor = scale(Some(ID), &USUAL);
        // struct uhid_event with uhid_create2_req, linux/uhid.h; 1209:0001 is a number for tests.
        let text = |text: &str, length: usize| {
            let mut bytes = text.as_bytes().to_vec();
            bytes.resize(length, 0);
            bytes
        };
        let unique = format!("pb{}", std::process::id());
        let mut event = 11_u32.to_le_bytes().to_vec();
        event.extend(text("panbell test scale", 128));
        event.extend(text("", 64));
        event.extend(text(&unique, 64));
        event.extend(u16::try_from(descriptor.len()).unwrap().to_le_bytes());
        event.extend(3_u16.to_le_bytes());
        for number in [0x1209_u32, 1, 0x100, 0] {
            event.extend(number.to_le_bytes());
        }
        event.extend(&descriptor);
        event.resize(event.len() + 4096 - descriptor.len(), 0);
        file.write_all(&event).unwrap();
        let until = Instant::now() + Duration::from_secs(20);
        loop {
            let all = panbell::port::hid_scales(Path::new("/sys"));
            let ours = all
                .into_iter()
                .find(|it| it.serial.as_deref() == Some(&unique));
            if let Some(found) = ours.filter(|it| it.node.exists()) {
                assert!(found.described.unwrap().contains("number 3"));
                return Some(Self::start(found.node, Wire::Uhid(file)));
            }
            assert!(Instant::now() < until, "the kernel made no hidraw device");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    fn start(port: PathBuf, mut wire: Wire) -> Self {
        let now = Arc::new(Mutex::new(Some(report(2, 2, 0))));
        let standing = Arc::clone(&now);
        let hushed = Arc::new(AtomicBool::new(false));
        let hush = Arc::clone(&hushed);
        let sender = std::thread::spawn(move || {
            loop {
                let Some(report) = *standing.lock().unwrap() else {
                    break;
                };
                if !hush.load(Ordering::Relaxed) {
                    wire.send(&report);
                }
                // The pace of the scale.
                std::thread::sleep(Duration::from_millis(20));
            }
            wire.unplug();
        });
        Self {
            now,
            hushed,
            sender: Some(sender),
            port,
        }
    }

    /// Sends this report from now on.
    pub(crate) fn send(&self, report: [u8; 6]) {
        *self.now.lock().unwrap() = Some(report);
        self.hushed.store(false, Ordering::Relaxed);
    }

    /// Sends nothing until it is told what.
    pub(crate) fn silent(&self) {
        self.hushed.store(true, Ordering::Relaxed);
    }

    /// Shows this at rest, in thousandths of a gram.
    pub(crate) fn rest(&self, thousandths: u16) {
        let status = if thousandths == 0 { 2 } else { STABLE };
        self.send(report(status, 2, thousandths));
    }
}

impl Drop for Scale {
    fn drop(&mut self) {
        if let Ok(mut now) = self.now.lock() {
            *now = None;
        }
        if let Some(sender) = self.sender.take() {
            sender.join().ok();
        }
    }
}

/// A report with three decimals.
pub(crate) fn report(status: u8, unit: u8, weight: u16) -> [u8; 6] {
    let [low, high] = weight.to_le_bytes();
    [ID, status, unit, 0xFD, low, high]
}

impl Wire {
    fn send(&mut self, report: &[u8]) {
        match self {
            // A pipe that nobody empties is full after a while; a scale does not wait for anybody.
            Self::Pipe { end, .. } => drop(rustix::io::write(end, report)),
            Self::Uhid(file) => {
                let mut event = 12_u32.to_le_bytes().to_vec();
                event.extend(u16::try_from(report.len()).unwrap().to_le_bytes());
                event.extend(report);
                file.write_all(&event).unwrap();
            }
        }
    }

    fn unplug(self) {
        // The end is closed after the name is gone, as a device's node goes with it.
        if let Self::Pipe { path, .. } = &self {
            fs::remove_file(path).ok();
        }
    }
}
