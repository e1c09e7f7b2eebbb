//! The bells: what a change of state is called, and how urgent it is.

/// A signal to the person, rung once when the state changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BellKind {
    /// The pan comes near the window.
    Near,
    /// The pan is within the window.
    Within,
    /// The pan is over the window.
    Over,
    /// The pan fell under the window again.
    UnderAgain,
    /// A mass is on disk.
    Recorded,
    /// The bench holds.
    Hold,
    /// The bench goes on after a hold.
    Resumed,
    /// The job is closed.
    Done,
}

impl BellKind {
    /// Every kind.
    pub const ALL: [Self; 8] = [
        Self::Near,
        Self::Within,
        Self::Over,
        Self::UnderAgain,
        Self::Recorded,
        Self::Hold,
        Self::Resumed,
        Self::Done,
    ];

    /// A stable word for programs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Near => "near",
            Self::Within => "within",
            Self::Over => "over",
            Self::UnderAgain => "under-again",
            Self::Recorded => "recorded",
            Self::Hold => "hold",
            Self::Resumed => "resumed",
            Self::Done => "done",
        }
    }

    /// Whether the person must not miss it.
    pub fn is_critical(self) -> bool {
        matches!(self, Self::Over | Self::Hold)
    }
}

/// One ring, ready to be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ring {
    /// What it is.
    pub kind: BellKind,
    /// A few words: `Over by 0.12 g`.
    pub title: String,
    /// One or two sentences with the number that matters and what to do.
    pub text: String,
}
