//! Limits on a share of the finished alloy, each as what a gram of a metal takes of it.
//!
//! Exact: a share of the whole is held in three-thousandths, so that karat and per mille lose
//! nothing.

use rust_decimal::Decimal;

use super::{BlendAsk, Hinder, Limit, UnknownPart};
use crate::metal::{Composition, Element, Fineness};

/// A limit on a share: so much of some parts of a metal in others.
#[derive(Debug, Clone, Copy)]
pub(super) struct Share {
    part: Parts,
    whole: Whole,
    /// Whether it is an upper limit.
    pub(super) is_most: bool,
}

/// What a share is of, and the limit.
#[derive(Debug, Clone, Copy)]
enum Whole {
    /// Of the whole metal; three-thousandths, so that karat and per mille are both exact.
    All(Decimal),
    /// Of some parts; a ratio.
    Of(Parts, Decimal),
}

/// Some of the parts of a metal.
#[derive(Debug, Clone, Copy)]
struct Parts {
    elements: &'static [Element],
    or: Option<Element>,
    unknown: bool,
}

impl Parts {
    /// Its three-thousandths in a metal.
    fn of(self, metal: &Composition) -> Decimal {
        let known = self.elements.iter().copied().chain(self.or);
        let known: Decimal = known.map(|e| metal.three_thousandths(e)).sum();
        if self.unknown {
            known + metal.unknown()
        } else {
            known
        }
    }
}

impl Share {
    /// The share that a limit is about; none for those that are not about one.
    pub(super) fn of(ask: &BlendAsk, hinder: Hinder) -> Option<Self> {
        let counted = ask.unknown == UnknownPart::Counted;
        let one = |element, unknown| Parts {
            elements: &[],
            or: Some(element),
            unknown,
        };
        let parts_per_ppt = Decimal::from(3);
        let base = Parts {
            elements: &[Element::Ag, Element::Cu],
            or: None,
            unknown: counted,
        };
        let (part, whole, is_most) = match hinder {
            Hinder::LowestFineness => (
                one(Element::Au, false),
                Whole::All(ask.lowest.three_thousandths()),
                false,
            ),
            Hinder::HighestFineness => (
                one(Element::Au, false),
                Whole::All(ask.highest.three_thousandths()),
                true,
            ),
            Hinder::Limit(place) => match ask.limits.get(place)? {
                Limit::AtMost(element, ppt) => (
                    one(*element, counted),
                    Whole::All(ppt * parts_per_ppt),
                    true,
                ),
                Limit::AtLeast(element, ppt) => {
                    (one(*element, false), Whole::All(ppt * parts_per_ppt), false)
                }
            },
            Hinder::LeastSilver => (
                one(Element::Ag, false),
                Whole::Of(base, ask.silver_share?.0),
                false,
            ),
            Hinder::MostSilver => (
                one(Element::Ag, counted),
                Whole::Of(base, ask.silver_share?.1),
                true,
            ),
            Hinder::Mass | Hinder::Stock(_) | Hinder::WholeLots => return None,
        };
        Some(Self {
            part,
            whole,
            is_most,
        })
    }

    /// What a gram of a metal takes of the limit; above zero if it goes against it.
    pub(super) fn over(&self, metal: &Composition) -> Decimal {
        let allowed = match self.whole {
            Whole::All(limit) => limit,
            Whole::Of(parts, limit) => parts.of(metal) * limit,
        };
        let over = self.part.of(metal) - allowed;
        if self.is_most { over } else { -over }
    }

    /// The part in a gram of a metal, and what it is a part of, both in three-thousandths.
    pub(super) fn fraction(&self, metal: &Composition) -> (Decimal, Decimal) {
        let whole = match self.whole {
            Whole::All(_) => Fineness::pure().three_thousandths(),
            Whole::Of(parts, _) => parts.of(metal),
        };
        (self.part.of(metal), whole)
    }

    /// What a share of one is called for people: 1000 per mille, or 1 for a ratio.
    pub(super) fn unit(&self) -> Decimal {
        match self.whole {
            Whole::All(_) => Decimal::ONE_THOUSAND,
            Whole::Of(..) => Decimal::ONE,
        }
    }
}
