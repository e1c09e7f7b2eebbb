//! The devices that were paired, and the file that they are kept in.
//!
//! Promises: of a device's secret only the seal is kept; a device that is forgotten is let in
//! nowhere from then on, and what it has open is told so. Leaves to others: how one is paired.

use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};
use tokio::sync::watch;

use super::secret::{self, Seal};

/// The file in the state folder.
const KEPT: &str = "page-devices.json";
/// The most devices of a bench.
pub(super) const MOST: usize = 32;
/// The largest file that is read: far more than so many devices need.
const LARGEST: u64 = 64 * 1024;

/// A paired device.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct DeviceView {
    /// The name that was typed when it was paired.
    pub name: String,
    /// When that was, RFC 3339, UTC.
    pub paired_at: String,
}

/// A device as it is kept.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    name: String,
    paired_at: String,
    /// SHA-256 of its secret.
    seal: String,
}

/// That a device is let in: ends when it is forgotten.
#[derive(Debug, Clone)]
pub(super) struct Leave {
    /// Which device, by a number of its own while the service runs.
    pub(super) device: u64,
    until: watch::Receiver<()>,
}

impl Leave {
    /// Whether the device is forgotten.
    pub(super) fn is_over(&self) -> bool {
        self.until.has_changed().is_err()
    }
}

/// Comes when the device is forgotten; never for one who is no device.
pub(super) async fn left(leave: Option<Leave>) {
    match leave {
        // Nothing is ever sent, so what comes is the end.
        Some(mut leave) => while leave.until.changed().await.is_ok() {},
        None => std::future::pending().await,
    }
}

/// One that is let in.
#[derive(Debug)]
pub(super) struct Device {
    pub(super) view: DeviceView,
    pub(super) seal: Seal,
    number: u64,
    /// Dropped with the device, which all who hold a `Leave` notice.
    until: watch::Sender<()>,
}

impl Device {
    pub(super) fn new(view: DeviceView, seal: Seal) -> Self {
        static NUMBERS: AtomicU64 = AtomicU64::new(0);
        Self {
            view,
            seal,
            number: NUMBERS.fetch_add(1, Ordering::Relaxed),
            until: watch::Sender::new(()),
        }
    }
}

/// Every device that is let in.
#[derive(Debug, Default)]
pub(super) struct Devices(Mutex<Vec<Device>>);

impl Devices {
    /// Those kept in the state folder. A file that is not ours alone or cannot be understood lets
    /// nobody in.
    pub(super) fn read(folder: &Path) -> io::Result<Self> {
        let path = folder.join(KEPT);
        let Some(bytes) = secret::read_private(&path, LARGEST)? else {
            if path.exists() {
                tracing::warn!(
                    "{} could be read by others, so no device is let in by it; pair them again",
                    path.display()
                );
            }
            return Ok(Self::default());
        };
        let kept: Vec<Kept> = serde_json::from_slice(&bytes).unwrap_or_else(|error| {
            tracing::warn!(
                "{} cannot be read ({error}), so no device is let in by it; pair them again",
                path.display()
            );
            Vec::new()
        });
        let devices = kept.into_iter().filter_map(|kept| {
            let seal = Seal::read(&kept.seal)?;
            let (name, paired_at) = (kept.name, kept.paired_at);
            Some(Device::new(DeviceView { name, paired_at }, seal))
        });
        Ok(Self(Mutex::new(devices.take(MOST).collect())))
    }

    fn all(&self) -> MutexGuard<'_, Vec<Device>> {
        // Nothing that is done under the lock leaves the list half changed.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The device that has this secret, as what ends when it is forgotten.
    pub(super) fn holder(&self, secret: &str) -> Option<Leave> {
        let seal = Seal::of(secret);
        let all = self.all();
        let device = all.iter().find(|device| device.seal == seal)?;
        Some(Leave {
            device: device.number,
            until: device.until.subscribe(),
        })
    }

    /// Every device, the oldest first.
    pub(super) fn views(&self) -> Vec<DeviceView> {
        self.all()
            .iter()
            .map(|device| device.view.clone())
            .collect()
    }

    /// Lets a device in from now on.
    pub(super) fn add(&self, device: Device) {
        self.all().push(device);
    }

    /// Forgets those of which it holds; gives their names.
    pub(super) fn forget(&self, which: impl Fn(&DeviceView) -> bool) -> Vec<String> {
        let mut all = self.all();
        let gone = all.extract_if(.., |device| which(&device.view));
        gone.map(|device| device.view.name).collect()
    }

    /// What is written into the file: all, and one more that is to come.
    pub(super) fn written(&self, more: Option<&Device>) -> io::Result<Vec<u8>> {
        let all = self.all();
        let kept: Vec<Kept> = all
            .iter()
            .chain(more)
            .map(|device| Kept {
                name: device.view.name.clone(),
                paired_at: device.view.paired_at.clone(),
                seal: device.seal.written(),
            })
            .collect();
        Ok(serde_json::to_vec_pretty(&kept)?)
    }
}

/// Puts the file in place of the old one. Waits for the disk.
pub(super) fn write(folder: &Path, bytes: &[u8]) -> io::Result<()> {
    secret::write(folder, KEPT, bytes)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use std::fs;
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    fn device(name: &str) -> Device {
        let (name, paired_at) = (name.to_owned(), "2026-01-02T03:04:05Z".to_owned());
        let seal = Seal::of(&format!("secret of {name}"));
        Device::new(DeviceView { name, paired_at }, seal)
    }

    #[test]
    fn they_are_kept_without_their_secrets_and_a_file_that_others_could_read_lets_nobody_in() {
        let home = tempfile::tempdir().unwrap();
        let devices = Devices::read(home.path()).unwrap();
        devices.add(device("tablet"));
        let other = device("phone");
        write(home.path(), &devices.written(Some(&other)).unwrap()).unwrap();
        let path = home.path().join(KEPT);
        let text = fs::read_to_string(&path).unwrap();
        assert!(!text.contains("secret"), "{text}");
        let mode = |mode| fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
        let read = Devices::read(home.path()).unwrap();
        assert_eq!(read.views().len(), 2);
        assert!(read.holder("secret of phone").is_some());
        assert!(read.holder("secret of").is_none());
        mode(0o640);
        assert_eq!(Devices::read(home.path()).unwrap().views(), []);
        mode(0o600);
        fs::write(&path, "[{").unwrap();
        assert_eq!(Devices::read(home.path()).unwrap().views(), []);
    }

    #[test]
    fn who_is_forgotten_is_told_and_others_are_not() {
        let devices = Devices::default();
        devices.add(device("tablet"));
        devices.add(device("phone"));
        let tablet = devices.holder("secret of tablet").unwrap();
        let phone = devices.holder("secret of phone").unwrap();
        let gone = devices.forget(|view| view.name == "tablet");
        assert_eq!(gone, ["tablet"]);
        assert!(tablet.is_over() && !phone.is_over());
        assert!(devices.holder("secret of tablet").is_none());
        assert_eq!(devices.forget(|_| true), ["phone"]);
    }
}
