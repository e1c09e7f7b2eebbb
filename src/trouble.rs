//! A trouble told to the person at the bench.
//!
//! Every error that can reach a person is one of these: what happened, what it means for the
//! melt, what to do, and whether it can pass by itself. The rooms keep their own typed causes as
//! long as they decide on them, and turn them into a [`Trouble`] where they are shown.

use std::fmt;

/// What happened, what it means for the melt, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// A short stable word for programs, in kebab case (`port-busy`).
    pub code: &'static str,
    /// What happened, one sentence.
    pub happened: String,
    /// What it means for the melt, one sentence.
    pub means: String,
    /// What to do now, one sentence.
    pub mend: String,
    /// Whether it can pass without a hand: a cable put back, a port let go.
    pub passes: bool,
    /// The word with which the same order is carried out all the same, where only a yes is wanted.
    pub confirm: Option<Box<str>>,
}

impl Trouble {
    /// A trouble that needs a hand.
    pub fn new(
        code: &'static str,
        happened: impl Into<String>,
        means: impl Into<String>,
        mend: impl Into<String>,
    ) -> Self {
        Self {
            code,
            happened: happened.into(),
            means: means.into(),
            mend: mend.into(),
            passes: false,
            confirm: None,
        }
    }

    /// The same trouble, marked as one that can pass by itself.
    #[must_use]
    pub fn passing(mut self) -> Self {
        self.passes = true;
        self
    }

    /// The same trouble, as a question that this word says yes to.
    #[must_use]
    pub fn asking(mut self, confirm: impl fmt::Display) -> Self {
        self.confirm = Some(confirm.to_string().into());
        self
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} {}", self.happened, self.means, self.mend)
    }
}

impl std::error::Error for Trouble {}
