//! What a ring looks and sounds like on a desktop. Promises plain text that no desktop reads as
//! markup, and a sound of its own for every kind. Shows nothing.

use notify_rust::{Hint, Notification, Timeout, Urgency};

use super::{Peal, limits};
use crate::job::BellKind;

/// The name under which the desktop knows us, and the name of our desktop entry.
const NAME: &str = "panbell";

/// How a kind of ring sounds and looks.
struct Manner {
    /// A name of the Sound Naming Specification of freedesktop.org, or, like `bell` and
    /// `complete`, the general name above several of its names: the specification has players
    /// fall back from the special to the general. All are sounds of the usual theme, the one
    /// called freedesktop. No two kinds share one: the person listens with the eyes on the pan.
    sound: &'static str,
    /// A category of the Desktop Notifications Specification of freedesktop.org, chapter
    /// "Categories": `device` for what a device tells, `device.error` if it is in trouble.
    category: &'static str,
    /// A name of the Icon Naming Specification of freedesktop.org, chapter "Status".
    icon: &'static str,
}

fn manner(kind: BellKind) -> Manner {
    let (sound, category, icon) = match kind {
        BellKind::Near => ("message-new-instant", "device", "dialog-information"),
        BellKind::Within => ("bell", "device", "dialog-information"),
        BellKind::Over => ("dialog-error", "device", "dialog-error"),
        BellKind::UnderAgain => ("dialog-information", "device", "dialog-information"),
        BellKind::Recorded => ("camera-shutter", "device", "dialog-information"),
        BellKind::Hold => ("dialog-warning", "device.error", "dialog-warning"),
        BellKind::Resumed => ("device-added", "device", "dialog-information"),
        BellKind::Done => ("complete", "device", "dialog-information"),
    };
    Manner {
        sound,
        category,
        icon,
    }
}

/// The notice for a ring; `replaces` is the number that the desktop gave to the bench's last one.
pub(super) fn notice(peal: &Peal, replaces: Option<u32>) -> Notification {
    let manner = manner(peal.ring.kind);
    let (urgency, stay) = if peal.ring.kind.is_critical() {
        (Urgency::Critical, Timeout::Never)
    } else {
        (Urgency::Normal, Timeout::Milliseconds(limits::STAY_MS))
    };
    let mut notice = Notification::new();
    notice
        .appname(NAME)
        .summary(&line(&peal.ring.title, limits::TITLE))
        .body(&body(peal))
        .icon(manner.icon)
        .urgency(urgency)
        .timeout(stay)
        .hint(Hint::Category(manner.category.into()))
        .hint(Hint::DesktopEntry(NAME.into()))
        .hint(Hint::SoundName(manner.sound.into()));
    if let Some(number) = replaces {
        notice.id(number);
    }
    notice
}

/// The text, and under it which bench speaks.
fn body(peal: &Peal) -> String {
    let text = plain(&peal.ring.text, limits::TEXT);
    let bench = line(&peal.bench, limits::TITLE);
    match (text.is_empty(), bench.is_empty()) {
        (_, true) => text,
        (true, false) => format!("Bench: {bench}"),
        (false, false) => format!("{text}\nBench: {bench}"),
    }
}

fn line(text: &str, most: usize) -> String {
    plain(text, most).replace('\n', " ")
}

/// Text that means the same on every desktop. Some read markup in it and some show every
/// character as it is; which it is would have to be asked, and asked again whenever another
/// service takes over. Three characters make the difference, and each has a stand-in that needs
/// no asking. Control characters go too: a NUL cannot travel on the bus at all.
fn plain(text: &str, most: usize) -> String {
    let mut plain: String = text
        .trim()
        .chars()
        .map(|c| match c {
            '&' => '+',
            '<' => '‹',
            '>' => '›',
            '\n' => '\n',
            c if c.is_control() => ' ',
            c => c,
        })
        .take(most + 1)
        .collect();
    if plain.chars().count() > most {
        plain = plain.chars().take(most.saturating_sub(1)).collect();
        plain.push('…');
    }
    plain
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_kind_has_a_sound_of_its_own() {
        let sounds: HashSet<_> = BellKind::ALL.map(|kind| manner(kind).sound).into();
        assert_eq!(sounds.len(), BellKind::ALL.len());
    }

    #[test]
    fn nothing_reads_as_markup_and_nothing_breaks_the_bus() {
        assert_eq!(
            plain(" <b>Gold & silver</b>\0\u{1b}[1m\n< 2 g ", 100),
            "‹b›Gold + silver‹/b›  [1m\n‹ 2 g"
        );
        assert_eq!(line("one\ntwo", 100), "one two");
    }

    #[test]
    fn long_text_is_cut_by_characters_and_says_so() {
        assert_eq!(plain("ääää", 4), "ääää");
        assert_eq!(plain("äääää", 4), "äää…");
        assert_eq!(plain(&"ä".repeat(100_000), 4), "äää…");
    }
}
