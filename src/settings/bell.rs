//! `[bell]`: by which ways the bells reach the person.
//!
//! Promises: what is not written is as quiet as can be: notices, and neither sound nor speech.
//! Leaves to others: ringing.

use std::path::PathBuf;

use super::number::{VOLUME, count};
use super::section::{Known, Section};

/// How a bell reaches the person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BellSettings {
    /// By desktop notification.
    pub desktop: bool,
    /// By sound, if so.
    pub sound: Option<SoundSettings>,
    /// By speech.
    pub speech: bool,
}

/// How the sound is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SoundSettings {
    /// From 0, silent, to 100, full scale.
    pub volume: u32,
    /// Where the same is written as a WAV file, in place of the sound server.
    pub file: Option<PathBuf>,
}

impl Default for BellSettings {
    fn default() -> Self {
        Self {
            desktop: true,
            sound: None,
            speech: false,
        }
    }
}

pub(super) const BELL: Known = Known {
    table: "[bell]",
    keys: &[
        ("desktop", "true"),
        ("sound", "\"off\""),
        (VOLUME.key, "50"),
        ("sound_file", "\"/path/to/bell.wav\""),
        ("speech", "false"),
    ],
};

/// The settings of the bells; none, and said so, when they cannot be used.
pub(super) fn bell(section: &Section<'_>) -> Option<BellSettings> {
    let usual = BellSettings::default();
    let truth = |key: &str, usual: bool| {
        if section.has(key) {
            section.truth(key)
        } else {
            Some(usual)
        }
    };
    let (desktop, speech) = (
        truth("desktop", usual.desktop),
        truth("speech", usual.speech),
    );
    let sound = if section.has("sound") {
        section.text("sound").and_then(|text| match text.value {
            "on" => Some(true),
            "off" => Some(false),
            _ => {
                section.refuse(
                    "sound",
                    "The sound is on or off.",
                    "Write sound = \"on\" or sound = \"off\".",
                );
                None
            }
        })
    } else {
        Some(false)
    };
    let volume = section.number(&VOLUME).map(count);
    let file = if section.has("sound_file") {
        section.text("sound_file").and_then(|text| {
            let path = PathBuf::from(text.value);
            if path.is_absolute() {
                return Some(Some(path));
            }
            section.refuse(
                "sound_file",
                "From where a service runs is not for a person to know, so the path begins with /.",
                "",
            );
            None
        })
    } else {
        Some(None)
    };
    let (volume, file) = (volume?, file?);
    Some(BellSettings {
        desktop: desktop?,
        sound: sound?.then_some(SoundSettings { volume, file }),
        speech: speech?,
    })
}
