//! What can be wrong with settings, told to the person at the bench.
//!
//! Promises: everything that is wrong in a run of reading is told, not only the first; each
//! names its file and, inside a file, its line. Leaves to others: finding it.

use std::fmt;
use std::io;
use std::path::Path;

use super::SHORTEST;
use crate::trouble::Trouble;

/// What every one of them means for the work.
pub(super) const MEANS: &str = "No bench starts with settings that are not clear, so nothing is weighed; what was recorded stays.";

/// What is wrong with the settings: one trouble or several, in the order of the files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SettingsTrouble {
    first: Box<Trouble>,
    further: Vec<Trouble>,
    is_unknown_balance: bool,
}

impl SettingsTrouble {
    /// All of these; none when there are none. The same trouble is told once.
    pub(super) fn of(troubles: Vec<Trouble>) -> Option<Self> {
        let mut told: Vec<Trouble> = Vec::new();
        for trouble in troubles {
            if !told.contains(&trouble) {
                told.push(trouble);
            }
        }
        let mut told = told.into_iter();
        let first = told.next()?;
        Some(Self {
            first: Box::new(first),
            further: told.collect(),
            is_unknown_balance: false,
        })
    }

    /// There is no balance file of a name.
    pub(super) fn unknown_balance(trouble: Trouble) -> Self {
        Self {
            is_unknown_balance: true,
            ..Self::from(trouble)
        }
    }

    /// Whether a balance file is meant that is not there at all, and nothing else is wrong.
    pub fn is_unknown_balance(&self) -> bool {
        self.is_unknown_balance
    }

    /// The first.
    pub fn first(&self) -> &Trouble {
        &self.first
    }

    /// Every one, in order.
    pub fn all(&self) -> impl Iterator<Item = &Trouble> {
        std::iter::once(&*self.first).chain(&self.further)
    }
}

impl From<Trouble> for SettingsTrouble {
    fn from(trouble: Trouble) -> Self {
        Self {
            first: Box::new(trouble),
            further: Vec::new(),
            is_unknown_balance: false,
        }
    }
}

impl From<SettingsTrouble> for Trouble {
    /// The first, with the number of the others in its mend.
    fn from(settings: SettingsTrouble) -> Self {
        let mut trouble = *settings.first;
        let further = match settings.further.len() {
            0 => String::new(),
            1 => " One more thing is wrong.".to_owned(),
            n => format!(" {n} more things are wrong."),
        };
        trouble.mend.push_str(&further);
        trouble
    }
}

impl fmt::Display for SettingsTrouble {
    /// Each on a paragraph of its own.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, trouble) in self.all().enumerate() {
            if at > 0 {
                f.write_str("\n\n")?;
            }
            trouble.fmt(f)?;
        }
        Ok(())
    }
}

impl std::error::Error for SettingsTrouble {}

/// There is no settings file.
pub(super) fn missing(path: &Path) -> Trouble {
    Trouble::new(
        "settings-missing",
        format!("There is no settings file {}.", path.display()),
        "It is not known where the balance is, so no bench starts and nothing is weighed.",
        format!(
            "Make it with these lines, and your balance's port in place of NAME:\n\n{SHORTEST}"
        ),
    )
}

/// A file is there and cannot be read.
pub(super) fn unreadable(path: &Path, error: &io::Error) -> Trouble {
    Trouble::new(
        "settings-unreadable",
        format!("The file {} could not be read: {error}.", path.display()),
        MEANS,
        "See that it is an ordinary text file and that you may read it; nothing is put in its place.",
    )
}

/// The settings name no bench.
pub(super) fn no_bench(file: &str) -> Trouble {
    Trouble::new(
        "settings-no-bench",
        format!("{file} names no bench."),
        "There is no balance to read, so nothing is weighed.",
        format!("Add these lines, and your balance's port in place of NAME:\n\n{SHORTEST}"),
    )
}
