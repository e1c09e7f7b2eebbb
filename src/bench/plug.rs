//! What a balance is plugged into: a serial port, or the hidraw device of a USB scale.
//!
//! Leaves to others: when to open it, and what comes of it.

use std::io;
use std::path::Path;
use std::sync::Arc;

use crate::balance::hid::ScaleLayout;
use crate::port::{OpenPort, PortSettings, PortTrouble, ScalePort, ScaleTrouble};

/// An open port.
pub(super) enum Plug {
    Serial(OpenPort),
    Scale(ScalePort),
}

impl Plug {
    /// Opens it; may take its time. `look`: whether to look for who holds a port that is busy.
    pub(super) fn open(
        settings: &PortSettings,
        is_scale: bool,
        look: bool,
    ) -> Result<Self, ScaleTrouble> {
        if is_scale {
            return ScalePort::open(&settings.path).map(Self::Scale);
        }
        let port = OpenPort::open(settings).map(Self::Serial);
        port.map_err(|cause| {
            ScaleTrouble::Port(if look {
                PortTrouble::with_holder(cause)
            } else {
                cause
            })
        })
    }

    /// Says in the log what was opened.
    pub(super) fn log(&self, path: &Path) {
        let port = path.display();
        match self {
            Self::Scale(scale) => {
                tracing::info!(%port, described = %scale.layout(), "scale opened");
            }
            Self::Serial(serial) => {
                tracing::info!(%port, "port opened");
                if serial
                    .kept_framing()
                    .is_ok_and(|kept| kept != serial.asked_framing())
                {
                    tracing::warn!(asked = %serial.asked_framing(), %port,
                        "the port did not keep its framing; a pseudo-terminal never does");
                }
            }
        }
    }

    pub(super) async fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Serial(port) => port.read(buf).await,
            Self::Scale(port) => port.read(buf).await,
        }
    }

    /// Sends a short request without waiting; whether it was taken whole. Nothing is sent to a
    /// USB scale.
    pub(super) fn send_now(&mut self, bytes: &[u8]) -> io::Result<bool> {
        match self {
            Self::Serial(port) => port.send_now(bytes),
            Self::Scale(_) => Ok(false),
        }
    }

    /// Takes back what was sent and has not left yet.
    pub(super) fn take_back(&mut self) -> io::Result<()> {
        match self {
            Self::Serial(port) => port.take_back(),
            Self::Scale(_) => Ok(()),
        }
    }

    /// Whether bytes have come that were not read yet.
    pub(super) fn is_waiting(&self) -> bool {
        match self {
            Self::Serial(port) => port.is_waiting(),
            Self::Scale(port) => port.is_waiting(),
        }
    }

    /// What a USB scale says of its reports.
    pub(super) fn scale(&self) -> Option<Arc<ScaleLayout>> {
        match self {
            Self::Serial(_) => None,
            Self::Scale(port) => Some(Arc::clone(port.layout())),
        }
    }
}
