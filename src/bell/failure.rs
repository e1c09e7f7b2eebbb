//! Why a notice was not shown: told apart by what follows from it, and put into words for the
//! person. Decides nothing about trying again.

use super::limits;
use crate::trouble::Trouble;

/// Why a notice was not shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Failure {
    /// No session bus.
    NoBus(String),
    /// A bus, and nobody on it who shows notices.
    NoServer(String),
    /// No answer within the limit.
    Silent,
    /// An answer, and it was no.
    Refused(String),
    /// The call itself broke down.
    Broke,
}

impl Failure {
    /// The library keeps its error to itself but for the words, so the words must do: those of a
    /// bus begin with the error's name, and these are the names for a service that is not there.
    pub(super) fn of(words: &str) -> Self {
        const ABSENT: [&str; 5] = [
            "ServiceUnknown",
            "NameHasNoOwner",
            "Spawn.",
            "NoReply",
            "TimedOut",
        ];
        match words.strip_prefix("org.freedesktop.DBus.Error.") {
            Some(error) if ABSENT.iter().any(|name| error.starts_with(name)) => {
                Self::NoServer(words.into())
            }
            Some(_) => Self::Refused(words.into()),
            None if words.starts_with("org.") => Self::Refused(words.into()),
            None => Self::NoBus(words.into()),
        }
    }

    /// Whether the notices are gone with their numbers. Another service may give the same
    /// numbers to the notices of others, and those are not ours to replace.
    pub(super) fn forgets(&self) -> bool {
        matches!(self, Self::NoBus(_) | Self::NoServer(_))
    }

    /// The same, in words for the person.
    pub(super) fn trouble(self) -> Trouble {
        const MEANS: &str =
            "Weighing and recording go on, but no notice tells you where the pan stands.";
        const MEND: &str = "Keep the page or the terminal in view";
        let (code, happened, mend) = match self {
            Self::NoBus(why) => (
                "bell-no-bus",
                format!("The bus of the desktop session cannot be reached ({why})."),
                format!("{MEND}, or start panbell from within the desktop session."),
            ),
            Self::NoServer(why) => (
                "bell-no-server",
                format!("Nothing on this desktop shows notices ({why})."),
                format!("{MEND}, or start the desktop's notification service."),
            ),
            Self::Silent => (
                "bell-silent",
                format!(
                    "The desktop's notification service did not answer within {} seconds.",
                    limits::ANSWER.as_secs()
                ),
                format!("{MEND}; if it lasts, start the notification service anew."),
            ),
            Self::Refused(why) => (
                "bell-refused",
                format!("The desktop's notification service refused a notice ({why})."),
                format!("{MEND}; panbell tries again by itself."),
            ),
            Self::Broke => (
                "bell-broke",
                "A notice could not be made ready because of a fault in this program.".into(),
                format!("{MEND}, and report the fault."),
            ),
        };
        Trouble::new(code, happened, MEANS, mend).passing()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use super::*;

    #[test]
    fn the_words_of_an_error_are_told_apart() {
        let absent = "org.freedesktop.DBus.Error.ServiceUnknown: not provided";
        assert_eq!(Failure::of(absent), Failure::NoServer(absent.into()));
        let no = "org.freedesktop.Notifications.Error.ExcessNotificationGeneration: slow down";
        assert_eq!(Failure::of(no), Failure::Refused(no.into()));
        let bus = "failed to connect to `unix:path=/nowhere`: I/O error: No such file";
        assert_eq!(Failure::of(bus), Failure::NoBus(bus.into()));
    }
}
