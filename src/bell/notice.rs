//! What a ring looks and sounds like on a desktop. Promises that no text of a person is read as
//! markup, and a sound of its own for every kind. Shows nothing.

use notify_rust::{Hint, Notification, Timeout, Urgency};

use super::limits;
use super::press::Act;
use super::server::Can;
use crate::job::BellKind;
use crate::trouble::is_harmful;

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

/// Everything that a notice says.
#[derive(Debug, Clone)]
pub(super) struct Content {
    /// The bench that speaks.
    pub(super) bench: String,
    /// How it sounds and looks.
    pub(super) kind: BellKind,
    /// A few words.
    pub(super) title: String,
    /// What came of a press, before the text.
    pub(super) note: String,
    /// The text.
    pub(super) text: String,
    /// The button, and the news that it stands on.
    pub(super) act: Option<(Act, u64)>,
    /// How far the addition is towards its aim, in hundredths.
    pub(super) progress: Option<u8>,
    /// Whether it is only an old one shown anew, which is not to be heard again.
    pub(super) quiet: bool,
    /// Whether it is to be read at leisure.
    pub(super) long: bool,
}

/// The notice of this; `replaces` is the number that the desktop gave to the one before.
pub(super) fn notice(content: &Content, can: Can, replaces: Option<u32>) -> Notification {
    let manner = manner(content.kind);
    let (urgency, stay) = if content.long {
        (Urgency::Normal, Timeout::Milliseconds(limits::STAY_LONG_MS))
    } else if content.kind.is_critical() {
        (Urgency::Critical, Timeout::Never)
    } else {
        (Urgency::Normal, Timeout::Milliseconds(limits::STAY_MS))
    };
    let mut notice = Notification::new();
    notice
        .appname(NAME)
        .summary(&line(&content.title, limits::TITLE))
        .body(&body(content, can))
        .icon(manner.icon)
        .urgency(urgency)
        .timeout(stay)
        .hint(Hint::Category(manner.category.into()))
        .hint(Hint::DesktopEntry(NAME.into()));
    if content.quiet {
        notice.hint(Hint::SuppressSound(true));
    } else {
        notice.hint(Hint::SoundName(manner.sound.into()));
    }
    if let Some(progress) = content.progress {
        notice.hint(Hint::CustomInt("value".into(), i32::from(progress)));
    }
    if can.actions
        && let Some((act, turn)) = content.act
    {
        // What was pressed may be refused, and that is told where the button was.
        notice.hint(Hint::Resident(true));
        notice.action(&act.key(turn), act.label());
    }
    if let Some(number) = replaces {
        notice.id(number);
    }
    notice
}

/// The text, and under it which bench speaks.
fn body(content: &Content, can: Can) -> String {
    let most = if content.long {
        limits::TEXT_LONG
    } else {
        limits::TEXT
    };
    let dress = |text: &str, most: usize| {
        if can.told {
            let text = cut(text, most);
            if can.markup { escaped(&text) } else { text }
        } else {
            plain(text, most)
        }
    };
    let strong = |text: String| {
        if can.markup && !text.is_empty() {
            format!("<b>{text}</b>")
        } else {
            text
        }
    };
    let note = strong(dress(&content.note, most));
    let text = dress(&content.text, most);
    let bench = dress(&content.bench, limits::TITLE).replace('\n', " ");
    let bench = if bench.is_empty() {
        bench
    } else {
        format!("Bench: {}", strong(bench))
    };
    let parts = [note, text, bench];
    let parts: Vec<&str> = parts
        .iter()
        .map(String::as_str)
        .filter(|it| !it.is_empty())
        .collect();
    parts.join("\n")
}

fn line(text: &str, most: usize) -> String {
    plain(text, most).replace('\n', " ")
}

/// Text that means the same on every desktop. Some read markup in it and some show every
/// character as it is; a title is read as markup by some that should not. Three characters make the
/// difference, and each has a stand-in that needs no knowing.
fn plain(text: &str, most: usize) -> String {
    let stand_in = |c| match c {
        '&' => '+',
        '<' => '‹',
        '>' => '›',
        c => c,
    };
    cut(text, most).chars().map(stand_in).collect()
}

/// Text as markup that shows every character as it is.
fn escaped(text: &str) -> String {
    let mut escaped = String::new();
    for c in text.chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            c => escaped.push(c),
        }
    }
    escaped
}

/// Text of a bounded length without characters that command, turn or hide: a NUL cannot travel on
/// the bus at all.
fn cut(text: &str, most: usize) -> String {
    let mut cut: String = text
        .trim()
        .chars()
        .map(|c| if is_harmful(c) && c != '\n' { ' ' } else { c })
        .take(most + 1)
        .collect();
    if cut.chars().count() > most {
        cut = cut.chars().take(most.saturating_sub(1)).collect();
        cut.push('…');
    }
    cut
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
