//! Pairing: a device of the shop is let in by a code that the bench shows.
//!
//! Promises: what opens the bench is on disk before it is handed out; a device that goes away in
//! the middle leaves nothing half done; nobody who waits for the disk here keeps a bench waiting.
//! Leaves to others: when a code is good (`code`), who asks and from where (`http`, `gate`).

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::http::StatusCode;
use jiff::{Timestamp, Unit};
use serde::{Deserialize, Serialize};
use tokio::time::Instant;

use super::code::{Codes, GOOD_FOR, Tried};
use super::devices::{self, Device, DeviceView, Devices, Leave};
use super::http::{PATIENCE, Refused};
use super::secret::{Seal, random};
use crate::trouble::{Trouble, is_harmful};

/// The cookie of a paired device. Browsers take one of this prefix only from an encrypted page, for
/// exactly its host and all of its addresses (RFC 6265bis, 4.1.3.2).
pub(super) const COOKIE: &str = "__Host-panbell";
/// For how many seconds a browser keeps it: 400 days are the most (RFC 6265bis, 5.5).
const KEPT_FOR: u32 = 400 * 24 * 60 * 60;
/// Bytes of a device's secret: 256 bits.
const LONG: usize = 32;
/// The longest name of a device, in characters.
const LONGEST_NAME: usize = 40;
/// The name that means every device when one is to be forgotten.
const ALL: &str = "all";

/// A code that pairs one device.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct CodeView {
    /// Eight digits.
    pub code: String,
    /// How many seconds it is good.
    pub seconds: u64,
    /// Where the device finds the page.
    pub addresses: Vec<String>,
    /// SHA-256 of the certificate that the device must see there.
    pub fingerprint: String,
}

/// What a device sends to be paired.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct EnterBody {
    /// The code that the bench shows; spaces do not count.
    pub(super) code: String,
    /// What the device is to be called, at most 40 characters.
    pub(super) name: String,
}

/// Which device is to be forgotten.
#[derive(Debug, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct ForgetBody {
    /// Its name, or all.
    pub device: String,
}

/// Which devices were forgotten.
#[derive(Debug, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ForgottenView {
    /// Their names.
    pub forgotten: Vec<String>,
}

/// What pairs devices, and knows those that are paired.
#[derive(Debug)]
pub(super) struct Pairing {
    folder: PathBuf,
    addresses: Vec<String>,
    fingerprint: String,
    codes: Mutex<Codes>,
    devices: Devices,
    /// Held by whoever changes the file of devices: one after another.
    turn: tokio::sync::Mutex<()>,
}

impl Pairing {
    /// With the devices that the state folder holds.
    pub(super) fn open(
        folder: &Path,
        addresses: Vec<String>,
        fingerprint: String,
    ) -> io::Result<Self> {
        Ok(Self {
            folder: folder.to_owned(),
            addresses,
            fingerprint,
            codes: Mutex::default(),
            devices: Devices::read(folder)?,
            turn: tokio::sync::Mutex::default(),
        })
    }

    fn codes(&self) -> MutexGuard<'_, Codes> {
        // Nothing that is done under the lock leaves it half changed.
        self.codes.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Shows a new code.
    pub(super) fn show(&self) -> CodeView {
        let code = self.codes().show(Instant::now());
        tracing::info!("a code to pair a device is shown");
        CodeView {
            code,
            seconds: GOOD_FOR.as_secs(),
            addresses: self.addresses.clone(),
            fingerprint: self.fingerprint.clone(),
        }
    }

    /// Every device that is paired.
    pub(super) fn devices(&self) -> Vec<DeviceView> {
        self.devices.views()
    }

    /// The device that the `Cookie` of a request names, as what ends when it is forgotten.
    pub(super) fn holder(&self, cookies: &str) -> Option<Leave> {
        let mut cookies = cookies
            .split(';')
            .filter_map(|one| one.trim().split_once('='));
        let (_, secret) = cookies.find(|(name, _)| *name == COOKIE)?;
        self.devices.holder(secret)
    }

    /// Pairs a device that shows the code; gives it with its `Set-Cookie`.
    pub(super) async fn enter(
        self: &Arc<Self>,
        body: EnterBody,
    ) -> Result<(DeviceView, String), Refused> {
        let name = named(&body.name)?;
        let this = Arc::clone(self);
        whole(async move { this.entered(name, &body.code).await }).await
    }

    async fn entered(&self, name: String, code: &str) -> Result<(DeviceView, String), Refused> {
        let _turn = self.turn.lock().await;
        {
            let mut codes = self.codes();
            tried(&codes.attempt(code, Instant::now()))?;
            let known = self.devices.views();
            if known.iter().any(|device| device.name == name) {
                return Err(name_taken(&name));
            }
            if known.len() >= devices::MOST {
                return Err(too_many_devices());
            }
            codes.use_up();
        }
        let secret = random::<LONG>();
        let now = Timestamp::now();
        let paired_at = now.round(Unit::Second).unwrap_or(now).to_string();
        let view = DeviceView { name, paired_at };
        let device = Device::new(view.clone(), Seal::of(&secret));
        let bytes = self.devices.written(Some(&device));
        self.write(bytes).await.map_err(|error| not_kept(&error))?;
        self.devices.add(device);
        tracing::info!(device = view.name, "a device was paired");
        let cookie = format!(
            "{COOKIE}={secret}; Path=/; Max-Age={KEPT_FOR}; Secure; HttpOnly; SameSite=Strict"
        );
        Ok((view, cookie))
    }

    /// Forgets a device, or all.
    pub(super) async fn forget(
        self: &Arc<Self>,
        body: ForgetBody,
    ) -> Result<ForgottenView, Refused> {
        let this = Arc::clone(self);
        whole(async move { this.forgotten(&body.device).await }).await
    }

    async fn forgotten(&self, name: &str) -> Result<ForgottenView, Refused> {
        // At once, whatever the disk does.
        let mut forgotten = self
            .devices
            .forget(|device| name == ALL || device.name == name);
        // One that is being paired just now comes first, and is then forgotten too.
        let _turn = self.turn.lock().await;
        forgotten.extend(
            self.devices
                .forget(|device| name == ALL || device.name == name),
        );
        if forgotten.is_empty() && name != ALL {
            return Err(self.unknown(name));
        }
        self.write(self.devices.written(None))
            .await
            .map_err(|error| still_in_file(&error))?;
        for device in &forgotten {
            tracing::info!(device, "a device was forgotten");
        }
        Ok(ForgottenView { forgotten })
    }

    /// Writes beside the loop.
    async fn write(&self, bytes: io::Result<Vec<u8>>) -> io::Result<()> {
        let (folder, bytes) = (self.folder.clone(), bytes?);
        tokio::task::spawn_blocking(move || devices::write(&folder, &bytes))
            .await
            .map_err(io::Error::other)?
    }

    fn unknown(&self, name: &str) -> Refused {
        let known = self.devices.views();
        let known: Vec<&str> = known.iter().map(|device| device.name.as_str()).collect();
        let mend = if known.is_empty() {
            "No device is paired.".to_owned()
        } else {
            format!("Paired are: {}.", known.join(", "))
        };
        let happened = format!("No device is called \"{name}\".");
        let trouble = Trouble::new("device-unknown", happened, "Nothing was changed.", mend);
        Refused(StatusCode::NOT_FOUND, trouble)
    }
}

/// Does something to its end, even if the one who asked for it goes away, and waits for it no
/// longer than for anything else.
async fn whole<T: Send + 'static>(
    work: impl Future<Output = Result<T, Refused>> + Send + 'static,
) -> Result<T, Refused> {
    match tokio::time::timeout(PATIENCE, tokio::spawn(work)).await {
        Ok(Ok(done)) => done,
        _ => Err(Refused(
            StatusCode::SERVICE_UNAVAILABLE,
            Trouble::new(
                "pair-slow",
                "The list of devices could not be written in time.",
                "Whether that was done is not known here; the bench goes on.",
                "Look with panbell pair --list, then do it again.",
            )
            .passing(),
        )),
    }
}

/// The name of a device as it is kept.
fn named(typed: &str) -> Result<String, Refused> {
    let name = typed.trim();
    let plain = (1..=LONGEST_NAME).contains(&name.chars().count())
        && !name.chars().any(is_harmful)
        && name != ALL;
    if plain {
        return Ok(name.to_owned());
    }
    Err(Refused(
        StatusCode::UNPROCESSABLE_ENTITY,
        Trouble::new(
            "device-name",
            "That cannot be the name of a device.",
            NOT_PAIRED,
            "Type one of at most 40 characters, such as \"tablet\"; \"all\" means every device.",
        ),
    ))
}

const NOT_PAIRED: &str = "The device is not paired; nothing was changed.";

fn tried(tried: &Tried) -> Result<(), Refused> {
    let (status, code, happened, mend) = match tried {
        Tried::Right => return Ok(()),
        Tried::Wrong => (
            StatusCode::FORBIDDEN,
            "code-wrong",
            "That is not the code of the bench, or it is not good any more.".to_owned(),
            "Type the eight digits again; for a new code: panbell pair, at the bench.",
        ),
        Tried::Void => {
            tracing::warn!("the code to pair a device is void after five wrong ones");
            (
                StatusCode::FORBIDDEN,
                "code-void",
                "That was the fifth wrong code, so the right one is void too.".to_owned(),
                "Wait a minute and have a new code shown: panbell pair, at the bench. If it was not you, somebody else in the network is guessing.",
            )
        }
        Tried::TooMany(wait) => (
            StatusCode::TOO_MANY_REQUESTS,
            "code-too-many",
            format!(
                "There were five wrong codes within a minute; the next is looked at in {} s.",
                wait.as_secs() + 1
            ),
            "Wait so long, then type the code again, or have a new one shown.",
        ),
    };
    let trouble = Trouble::new(code, happened, NOT_PAIRED, mend);
    Err(Refused(status, trouble))
}

fn name_taken(name: &str) -> Refused {
    let happened = format!("There is a device called \"{name}\" already.");
    Refused(
        StatusCode::CONFLICT,
        Trouble::new(
            "device-name-taken",
            happened,
            "The device is not paired yet; the code is still good.",
            "Type another name, or forget the other at the bench: panbell pair --forget NAME.",
        ),
    )
}

fn too_many_devices() -> Refused {
    Refused(
        StatusCode::CONFLICT,
        Trouble::new(
            "devices-full",
            format!(
                "{} devices are paired, the most that can be.",
                devices::MOST
            ),
            "The device is not paired; the code is still good.",
            "Forget one at the bench: panbell pair --forget NAME.",
        ),
    )
}

fn not_kept(error: &io::Error) -> Refused {
    tracing::error!(%error, "the list of devices could not be written");
    Refused(
        StatusCode::CONFLICT,
        Trouble::new(
            "pair-not-kept",
            "The list of devices could not be written at the bench.",
            "The device is not paired, and the code is used up.",
            "See that there is room on the disk, then have a new code shown: panbell pair.",
        ),
    )
}

fn still_in_file(error: &io::Error) -> Refused {
    tracing::error!(%error, "the list of devices could not be written");
    Refused(
        StatusCode::CONFLICT,
        Trouble::new(
            "forget-not-kept",
            format!("The list of devices could not be written: {error}."),
            "The device is shut out now, but would be let in again after the next start.",
            "See that there is room on the disk, then forget it again before panbell stops.",
        ),
    )
}

/// Why there is nothing to pair with.
pub(super) fn off() -> Refused {
    Refused(
        StatusCode::CONFLICT,
        Trouble::new(
            "pair-off",
            "No other device can reach the bench: nothing listens beyond this computer.",
            "The bench works without; no device is let in.",
            "For a device, write beyond_loopback = true and names into [page] of the settings and start panbell again; if they are there, panbell page says what went wrong.",
        ),
    )
}
