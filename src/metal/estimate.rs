//! How well a stated fineness is known: a value and a standard uncertainty from what it rests on.
//!
//! Promises: the value is exact, the uncertainty a decimal to some 28 digits; what is supposed for
//! want of a figure says so. Leaves to others: the figures of the rules, which stand in
//! `config/basis.toml` with their sources, and what the uncertainty does to a melt.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;

use super::{Basis, Fineness};
use crate::mass::{NoNumber, fixed, typed_number_to};
use crate::trouble::Trouble;

/// 1/sqrt(12): the standard deviation of a rectangular distribution of width one (JCGM 100:2008,
/// 4.3.7).
fn rectangular() -> Decimal {
    // 0.288 675 134 594 812 882 254 574 390 3
    Decimal::from_i128_with_scale(2_886_751_345_948_128_822_545_743_903, 28)
}

/// The largest standard uncertainty that may be stated, in per mille: above it nothing is known.
const MOST: i64 = 200;

/// What sort of goods a stamp stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Goods {
    /// Of today's law, without solder.
    #[default]
    Plain,
    /// Of today's law, melted with its solder.
    Soldered,
    /// Of older law, without solder.
    Old,
    /// Of older law, melted with its solder.
    OldSoldered,
}

impl Goods {
    /// Every sort with the word that orders use.
    pub const WORDS: [(&'static str, Self); 4] = [
        ("plain", Self::Plain),
        ("soldered", Self::Soldered),
        ("old", Self::Old),
        ("old-soldered", Self::OldSoldered),
    ];

    fn words(self) -> &'static str {
        match self {
            Self::Plain => "goods without solder",
            Self::Soldered => "goods with their solder",
            Self::Old => "old goods without solder",
            Self::OldSoldered => "old goods with their solder",
        }
    }
}

/// A figure of the rules and where it comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    /// For a stamp, the span below the mark in which the metal may lie; for every other basis, a
    /// standard uncertainty. Held exactly like a fineness.
    pub span: Fineness,
    /// The law, text or custom it comes from.
    pub source: String,
}

impl Rule {
    fn ppt(&self) -> Decimal {
        self.span.three_thousandths() / Decimal::from(3)
    }
}

/// How far each basis may be believed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BasisRules {
    /// Stamp, today's law, without solder: how far below the mark the metal may be.
    pub stamp: Rule,
    /// Stamp, today's law, with solder.
    pub stamp_soldered: Rule,
    /// Stamp, older law, without solder.
    pub stamp_old: Rule,
    /// Stamp, older law, with solder.
    pub stamp_old_soldered: Rule,
    /// Touchstone: standard uncertainty.
    pub touchstone: Rule,
    /// X-ray fluorescence: standard uncertainty.
    pub xrf: Rule,
    /// Fire assay: standard uncertainty.
    pub fire_assay: Rule,
    /// Declared without a figure: the standard uncertainty that is supposed.
    pub declared: Rule,
}

impl BasisRules {
    fn stamp(&self, goods: Goods) -> &Rule {
        match goods {
            Goods::Plain => &self.stamp,
            Goods::Soldered => &self.stamp_soldered,
            Goods::Old => &self.stamp_old,
            Goods::OldSoldered => &self.stamp_old_soldered,
        }
    }
}

/// A fineness as well as it is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Estimate {
    /// The best value.
    pub fineness: Fineness,
    /// Its standard uncertainty, in per mille.
    pub u: Decimal,
    /// What both rest on, one sentence.
    pub says: String,
}

impl fmt::Display for Estimate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, u {} ‰", self.fineness, fixed(self.u, 2))
    }
}

/// A fineness as it was stated: `750:xrf`, `875:stamp`, `14k:stamp:old`, `752:declared:1.0`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stated {
    /// The fineness.
    pub fineness: Fineness,
    /// What it rests on.
    pub basis: Basis,
    /// For a stamp, what it stands on.
    pub goods: Goods,
    /// Its standard uncertainty in per mille, when one was stated.
    pub u: Option<Decimal>,
}

impl Stated {
    /// A fineness and its basis, and nothing more said.
    pub fn new(fineness: Fineness, basis: Basis) -> Self {
        Self {
            fineness,
            basis,
            goods: Goods::Plain,
            u: None,
        }
    }

    /// The best value and its standard uncertainty. A stamp is believed to lie anywhere between
    /// the mark less what its law allows and the mark, so its value is the middle; an uncertainty
    /// that was stated goes before every rule.
    pub fn estimate(&self, rules: &BasisRules) -> Estimate {
        if let Some(u) = self.u {
            return Estimate {
                fineness: self.fineness,
                u,
                says: format!("{} with its own standard uncertainty.", self.words()),
            };
        }
        let rule = match self.basis {
            Basis::Stamp => return self.stamp(rules.stamp(self.goods)),
            Basis::Touchstone => &rules.touchstone,
            Basis::Xrf => &rules.xrf,
            Basis::FireAssay => &rules.fire_assay,
            Basis::Declared => &rules.declared,
        };
        let u = rule.ppt();
        let shown = fixed(u, 2).normalize();
        let says = match self.basis {
            Basis::Declared => format!(
                "Declared, and nothing said of how well it is known: a standard uncertainty of {shown} per mille is supposed ({}).",
                rule.source
            ),
            _ => format!(
                "{}: standard uncertainty {shown} per mille ({}).",
                self.words(),
                rule.source
            ),
        };
        Estimate {
            fineness: self.fineness,
            u,
            says,
        }
    }

    fn stamp(&self, rule: &Rule) -> Estimate {
        let least = self.fineness.below(rule.span);
        let width = self.fineness.three_thousandths() - least.three_thousandths();
        Estimate {
            fineness: self.fineness.middle(least),
            u: width / Decimal::from(3) * rectangular(),
            says: format!(
                "A stamp on {}: anywhere from {least} to {} ({}).",
                self.goods.words(),
                self.fineness,
                rule.source
            ),
        }
    }

    fn words(&self) -> &'static str {
        match self.basis {
            Basis::Stamp => "A stamp",
            Basis::Touchstone => "By touchstone",
            Basis::Xrf => "By X-ray fluorescence",
            Basis::FireAssay => "By fire assay",
            Basis::Declared => "Declared",
        }
    }
}

impl fmt::Display for Stated {
    /// As it is read: `752 ppt:declared:1.0`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.fineness.stated_text(), self.basis)?;
        let goods = Goods::WORDS.iter().find(|(_, goods)| *goods == self.goods);
        match (self.u, goods) {
            (Some(u), _) => write!(f, ":{u}"),
            (None, Some((word, goods))) if *goods != Goods::Plain => write!(f, ":{word}"),
            _ => Ok(()),
        }
    }
}

impl FromStr for Stated {
    type Err = Trouble;

    /// Reads a fineness and its basis, and behind them a standard uncertainty in per mille, or
    /// for a stamp what goods it stands on.
    fn from_str(text: &str) -> Result<Self, Trouble> {
        let mut parts = text.split(':').map(str::trim);
        let fineness = parts.next().unwrap_or_default().parse()?;
        let basis = parts
            .next()
            .ok_or_else(|| trouble(text, "it does not say what the fineness rests on"))?
            .parse()?;
        let mut stated = Self::new(fineness, basis);
        let last = parts.next();
        if parts.next().is_some() {
            return Err(trouble(text, "it has more than three parts"));
        }
        let Some(last) = last else { return Ok(stated) };
        let goods = Goods::WORDS.iter().find(|(word, _)| *word == last);
        if let (Basis::Stamp, Some((_, goods))) = (basis, goods) {
            stated.goods = *goods;
            return Ok(stated);
        }
        let number = last.strip_suffix("ppt").or_else(|| last.strip_suffix('‰'));
        let most = Decimal::from(MOST);
        let u = match typed_number_to(number.unwrap_or(last).trim(), most) {
            Ok(u) if u > Decimal::ZERO && u <= most => u,
            Err(no @ NoNumber::Either { .. }) => return Err(trouble(text, &no.to_string())),
            Ok(_) | Err(NoNumber::Odd) => {
                let why = format!(
                    "\"{last}\" is no standard uncertainty above 0 and up to {MOST} per mille"
                );
                return Err(trouble(text, &why));
            }
        };
        stated.u = Some(u);
        Ok(stated)
    }
}

fn trouble(text: &str, why: &str) -> Trouble {
    Trouble::new(
        "estimate-unreadable",
        format!("\"{text}\" cannot be used: {why}."),
        "Nothing is reckoned from it.",
        "Write the fineness and its basis as in 750:xrf, with a standard uncertainty in per mille as in 752:declared:1.0, or for a stamp on old or soldered goods as in 14k:stamp:old or 585:stamp:soldered.",
    )
}
