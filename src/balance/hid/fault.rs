//! Why a descriptor makes no scale that can be read, and how that is told.

use crate::trouble::Trouble;

/// What is wrong with a report descriptor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DescriptorFault {
    /// There is none, or an empty one.
    Missing,
    /// It is longer than any may be.
    TooLong,
    /// It breaks the rules of such descriptors; which one.
    Broken(&'static str),
    /// Nothing in it is of the Weighing Devices page.
    NotAScale,
    /// It is a scale's, and its reports lack these parts of a weighing.
    Lacks(Vec<&'static str>),
}

const MEANS: &str = "Nothing can be read from it, so nothing is weighed; what was recorded stays.";

impl DescriptorFault {
    /// The trouble in words for the person at the bench.
    pub fn trouble(&self) -> Trouble {
        match self {
            Self::Missing => Trouble::new(
                "scale-undescribed",
                "The USB device does not say what its reports look like.",
                MEANS,
                "Pull it out and put it back; if it stays so, it is no USB scale by the standard.",
            ),
            Self::TooLong => Self::Broken("it is longer than any may be").trouble(),
            Self::Broken(how) => Trouble::new(
                "scale-odd-description",
                format!("What the USB device says of its reports cannot be read: {how}."),
                MEANS,
                "Pull it out and put it back; if it stays so, use the balance's serial port, if it has one.",
            ),
            Self::NotAScale => Trouble::new(
                "not-a-scale",
                "The USB device does not call itself a scale.",
                MEANS,
                "Put the scale's port into the settings; devices that are a keyboard, a mouse or of a kind of their own cannot be read as one.",
            ),
            Self::Lacks(parts) => Trouble::new(
                "scale-lacks",
                format!(
                    "The USB scale does not say by the standard where in its reports its {} stand.",
                    parts.join(", ")
                ),
                "A mass would have to be guessed, so nothing is read from it; what was recorded stays.",
                "Use the balance's serial port, if it has one.",
            ),
        }
    }
}
