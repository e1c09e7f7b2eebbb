//! Holds: why nothing is captured, since when, and whether the person has been told.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::mass::Moment;

/// What a hold is about. The order is that of urgency: the first is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// The unit of what the balance shows.
    Unit,
    /// The disk with the job file.
    Disk,
    /// The link to the balance.
    Link,
    /// What the balance says of itself.
    Balance,
    /// What happened on the pan.
    Pan,
}

impl Cause {
    /// Every cause, most urgent first.
    pub const ALL: [Self; 5] = [Self::Unit, Self::Disk, Self::Link, Self::Balance, Self::Pan];

    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Unit => "unit",
            Self::Disk => "disk",
            Self::Link => "link",
            Self::Balance => "balance",
            Self::Pan => "pan",
        }
    }
}

/// One hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hold {
    /// What it is about.
    pub cause: Cause,
    /// One sentence that says why.
    pub why: String,
    /// One sentence that says what to do.
    pub mend: String,
    since: Moment,
    patience: Duration,
    told: bool,
    /// Told at least once, be it in other words: then its end is told too.
    announced: bool,
    /// The words in which it was told last: the same words again are no news.
    said: String,
}

impl Hold {
    /// Whether the person has been told of it.
    pub fn is_announced(&self) -> bool {
        self.announced
    }
}

/// The holds of a bench, at most one of each cause.
#[derive(Debug, Clone, Default)]
pub struct Holds(Vec<Hold>);

impl Holds {
    /// Whether anything holds the bench.
    pub fn any(&self) -> bool {
        !self.0.is_empty()
    }

    /// Whether this cause does.
    pub fn has(&self, cause: Cause) -> bool {
        self.0.iter().any(|hold| hold.cause == cause)
    }

    /// The most urgent one.
    pub fn first(&self) -> Option<&Hold> {
        self.0.first()
    }

    /// Every one, the most urgent first.
    pub fn all(&self) -> impl Iterator<Item = &Hold> {
        self.0.iter()
    }

    /// The most urgent one that the person has been told of. One that has only begun may be gone
    /// before it is worth a word.
    pub fn told(&self) -> Option<&Hold> {
        self.0.iter().find(|hold| hold.announced)
    }

    /// Whether the person has been told of any that still stands.
    pub fn any_announced(&self) -> bool {
        self.0.iter().any(|hold| hold.announced)
    }

    /// Begins a hold, or gives a lasting one other words. It holds from now on; the person is
    /// told when it has lasted for `patience`, so that a lifted dish does not cry out.
    pub(super) fn begin(
        &mut self,
        cause: Cause,
        why: String,
        mend: String,
        patience: Duration,
        at: Moment,
    ) {
        match self.0.iter_mut().find(|hold| hold.cause == cause) {
            Some(hold) if hold.why == why => {}
            Some(hold) => {
                // Other words for the same cause are news, and are told when they last.
                *hold = Hold {
                    told: hold.said == why,
                    cause,
                    why,
                    mend,
                    since: at,
                    patience,
                    announced: hold.announced,
                    said: std::mem::take(&mut hold.said),
                };
            }
            None => {
                self.0.push(Hold {
                    cause,
                    why,
                    mend,
                    since: at,
                    patience,
                    told: false,
                    announced: false,
                    said: String::new(),
                });
                self.0
                    .sort_by_key(|hold| Cause::ALL.iter().position(|cause| *cause == hold.cause));
            }
        }
    }

    /// Ends a hold; says whether the person had been told of it.
    pub(super) fn end(&mut self, cause: Cause) -> Option<bool> {
        let at = self.0.iter().position(|hold| hold.cause == cause)?;
        Some(self.0.remove(at).announced)
    }

    /// The next hold that has lasted long enough to be told; it counts as told from now on.
    pub(super) fn due(&mut self, at: Moment) -> Option<Hold> {
        let hold = self
            .0
            .iter_mut()
            .find(|hold| !hold.told && at.since(hold.since) >= hold.patience)?;
        hold.told = true;
        hold.announced = true;
        hold.said.clone_from(&hold.why);
        Some(hold.clone())
    }

    /// When the next one is due.
    pub(super) fn wake_at(&self) -> Option<Moment> {
        self.0
            .iter()
            .filter(|hold| !hold.told)
            .map(|hold| hold.since.plus(hold.patience))
            .min()
    }
}
