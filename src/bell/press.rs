//! What can be pressed on a notice, and what comes of it.
//!
//! Promises: a press is worth something only on the newest news of its bench, so that what was
//! meant for one weighing never falls upon another. Leaves to others: carrying it out; it becomes
//! an order like every other.

use tokio::sync::oneshot;

use crate::job::BellKind;
use crate::trouble::Trouble;

/// What can be pressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Capture now.
    Take,
    /// Set the last capture aside.
    Withdraw,
    /// Say why the bench holds, and what to do.
    Why,
}

impl Act {
    const ALL: [Self; 3] = [Self::Take, Self::Withdraw, Self::Why];

    /// What makes sense on a notice of a kind.
    pub(super) fn on(kind: BellKind) -> Option<Self> {
        match kind {
            BellKind::Within | BellKind::Over => Some(Self::Take),
            BellKind::Recorded => Some(Self::Withdraw),
            BellKind::Hold => Some(Self::Why),
            _ => None,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Take => "take",
            Self::Withdraw => "withdraw",
            Self::Why => "why",
        }
    }

    /// What stands on the button.
    pub(super) fn label(self) -> &'static str {
        match self {
            Self::Take => "Take",
            Self::Withdraw => "Withdraw",
            Self::Why => "Why",
        }
    }

    /// What went wrong when it was refused, as a few words.
    pub(super) fn not_done(self) -> &'static str {
        match self {
            Self::Take => "Not taken",
            Self::Withdraw => "Not withdrawn",
            Self::Why => "Not known",
        }
    }

    /// The key that the desktop gives back: the word, and which news of all it stood on.
    pub(super) fn key(self, turn: u64) -> String {
        format!("{}-{turn}", self.word())
    }

    /// The reverse; none for a key that is not ours.
    pub(super) fn of_key(key: &str) -> Option<(Self, u64)> {
        let (word, turn) = key.rsplit_once('-')?;
        let act = Self::ALL.into_iter().find(|act| act.word() == word)?;
        Some((act, turn.parse().ok()?))
    }
}

/// A press on a notice, to be carried out.
#[derive(Debug)]
pub struct Press {
    /// The bench of the notice.
    pub bench: String,
    /// What was pressed.
    pub act: Act,
    /// Where what came of it is told.
    pub answer: oneshot::Sender<Result<Told, Trouble>>,
}

/// What came of a press.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// A few words.
    pub title: String,
    /// The whole of it.
    pub text: String,
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_key_says_what_was_pressed_and_on_which_news() {
        for act in Act::ALL {
            assert_eq!(Act::of_key(&act.key(17)), Some((act, 17)));
        }
        for odd in ["", "default", "take", "take-", "take-x", "keep-1", "-1"] {
            assert_eq!(Act::of_key(odd), None, "{odd}");
        }
    }
}
