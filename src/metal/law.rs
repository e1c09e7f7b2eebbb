//! Marking law as data: which marks a fineness may carry, and how low a mark may lawfully be.
//!
//! Promises: exact comparison in three-thousandths, so that 14 karat and 585 are told apart; no
//! tolerance that the law at hand does not give. Leaves to others: the figures themselves, which
//! stand in `config/law.toml` with their sources. It advises; the law where a piece is sold, and
//! the assay office there, decide.

use std::fmt;

use rust_decimal::Decimal;

use super::Fineness;

/// How well a figure of a law is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Known {
    /// Read in the text of the law or on its official page.
    Read,
    /// Read in a text that restates it.
    SecondHand,
    /// From memory; look it up before relying on it.
    Memory,
    /// Worked out from definitions.
    Definition,
    /// A choice of this program.
    Ours,
}

impl Known {
    /// Every grade with the word that files use.
    pub const WORDS: [(&'static str, Self); 5] = [
        ("read", Self::Read),
        ("second-hand", Self::SecondHand),
        ("memory", Self::Memory),
        ("definition", Self::Definition),
        ("ours", Self::Ours),
    ];
}

impl fmt::Display for Known {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Read => "read in the text itself",
            Self::SecondHand => "read at second hand",
            Self::Memory => "from memory, to be looked up",
            Self::Definition => "by definition",
            Self::Ours => "a choice of this program",
        })
    }
}

/// Where figures come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Law, section, or the kind of text.
    pub text: String,
    /// The date of that text, as it is commonly given.
    pub date: String,
    /// How well it is known.
    pub known: Known,
}

/// A mark and the fineness that it promises.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// As it is struck: `585`, `14K`.
    pub text: String,
    /// What it promises.
    pub fineness: Fineness,
    /// Where it stands.
    pub source: Source,
}

/// How far below its mark a piece may be. Each is a span, held exactly like a fineness: half a
/// karat is one as well as three per mille.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Minus {
    /// A part free of solder.
    pub without_solder: Fineness,
    /// The whole article, solder and all, assayed as one piece.
    pub with_solder: Fineness,
    /// Watchcases and flatware, with solder or without.
    pub watchcase_or_flatware: Fineness,
}

impl Minus {
    /// No tolerance at all.
    pub const NONE: Self = Self {
        without_solder: Fineness::NONE,
        with_solder: Fineness::NONE,
        watchcase_or_flatware: Fineness::NONE,
    };
}

/// What is judged against a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Judged {
    /// A part free of solder; a button out of the melt is one.
    WithoutSolder,
    /// A whole article with its solder, assayed as one piece.
    WithSolder,
    /// A watchcase or flatware, with solder or without.
    WatchcaseOrFlatware,
}

/// How a karat designation stands to the word "gold" in a description.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Wording {
    /// Directly before the word, at least as prominent.
    KaratBefore,
    /// Anywhere else, or less prominent.
    KaratElsewhere,
    /// No designation: the bare word.
    Bare,
}

/// A law of marks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MarkLaw {
    /// The short name that settings use.
    pub key: String,
    /// The name for people.
    pub name: String,
    /// The marks that it knows, in the order of the file.
    pub marks: Vec<Mark>,
    /// What it allows below a mark.
    pub minus: Minus,
    /// The least fineness that may be sold as gold, where it says one.
    pub least: Option<Fineness>,
    /// Whether it asks for the karat before the word "gold"; where it says nothing, false.
    pub karat_before_gold: bool,
    /// What else the goldsmith should know, in sentences.
    pub notes: String,
    /// Where its tolerance comes from.
    pub source: Source,
}

/// Said with every answer that rests on a law of marks.
pub const DEFERS: &str = "This is advice from figures, not law: what is in force where the piece is sold, and the assay office there, decide.";

impl MarkLaw {
    /// The lowest fineness that may lawfully carry a mark of this fineness.
    pub fn lowest(&self, marked: Fineness, judged: Judged) -> Fineness {
        let span = match judged {
            Judged::WithoutSolder => self.minus.without_solder,
            Judged::WithSolder => self.minus.with_solder,
            Judged::WatchcaseOrFlatware => self.minus.watchcase_or_flatware,
        };
        marked.below(span)
    }

    /// The mark that reads so, in any letter case.
    pub fn mark(&self, text: &str) -> Option<&Mark> {
        self.marks
            .iter()
            .find(|mark| mark.text.eq_ignore_ascii_case(text.trim()))
    }

    /// Every mark that metal of this fineness may carry, the highest first; a mark that
    /// understates is among them. None when it may not be sold as gold at all.
    pub fn marks_for(&self, fineness: Fineness, judged: Judged) -> Vec<&Mark> {
        if self.least.is_some_and(|least| fineness < least) {
            return Vec::new();
        }
        let mut marks: Vec<&Mark> = self
            .marks
            .iter()
            .filter(|mark| fineness >= self.lowest(mark.fineness, judged))
            .collect();
        // Marks of one fineness stay in the order of the file.
        marks.sort_by_key(|mark| std::cmp::Reverse(mark.fineness));
        marks
    }

    /// By how many per mille a fineness falls short of a mark; none when it may carry it.
    pub fn short_by(&self, mark: &Mark, fineness: Fineness, judged: Judged) -> Option<Decimal> {
        let lowest = self.lowest(mark.fineness, judged);
        (fineness < lowest)
            .then(|| (lowest.three_thousandths() - fineness.three_thousandths()) / Decimal::from(3))
    }

    /// Whether metal may be described so with the word "gold"; none when the law at hand says
    /// nothing of words.
    pub fn may_say_gold(&self, fineness: Fineness, wording: Wording) -> Option<bool> {
        self.karat_before_gold.then(|| match wording {
            Wording::KaratBefore => true,
            Wording::KaratElsewhere | Wording::Bare => {
                fineness >= self.lowest(Fineness::pure(), Judged::WithoutSolder)
            }
        })
    }

    /// In a sentence: which marks metal of this fineness may carry.
    pub fn told(&self, fineness: Fineness, judged: Judged) -> String {
        let marks = self.marks_for(fineness, judged);
        let best = marks.first().map(|mark| mark.fineness);
        // One fineness may have two marks, as 750 and 18K.
        let (best, lower): (Vec<&Mark>, Vec<&Mark>) = marks
            .into_iter()
            .partition(|mark| Some(mark.fineness) == best);
        let texts = |marks: Vec<&Mark>, between: &str| {
            let texts: Vec<&str> = marks.iter().map(|mark| mark.text.as_str()).collect();
            texts.join(between)
        };
        let may = format!("By {}, {fineness} may carry", self.name);
        match (best.is_empty(), lower.is_empty()) {
            (true, _) => format!("{may} no mark. {DEFERS}"),
            (false, true) => format!("{may} {}. {DEFERS}", texts(best, " or ")),
            (false, false) => format!(
                "{may} {}, and lower ones that understate it: {}. {DEFERS}",
                texts(best, " or "),
                texts(lower, ", ")
            ),
        }
    }
}
