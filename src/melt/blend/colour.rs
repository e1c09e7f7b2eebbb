//! A colour asked for, as what can be asked of a blend.
//!
//! Promises: the rules of colour (`metal`) are asked, not repeated. Leaves to others: whether the
//! blend that is found has the colour.

use rust_decimal::Decimal;

use super::Limit;
use crate::mass::Mass;
use crate::metal::{Colour, Composition, Element, Fineness, Metal, colour};
use crate::trouble::Trouble;

/// One way to a colour.
#[derive(Debug, Clone, Default)]
pub struct ColourWay {
    /// Bounds on silver in silver and copper together.
    pub silver_share: Option<(Decimal, Decimal)>,
    /// What must be in it besides.
    pub limit: Option<Limit>,
    /// Whether metals of the shelf are left aside that hold more than gold, silver and copper:
    /// zinc pales more than its mass lets on.
    pub only_plain: bool,
}

/// As much palladium or nickel as surely whitens, in per mille: the rule for the family.
pub const WHITENS: i64 = 100;

/// The ways to a colour in gold of this fineness, best first.
pub fn colour_ways(wish: Colour, gold: Fineness) -> Result<Vec<ColourWay>, Trouble> {
    if wish == Colour::White {
        // Palladium first: nickel sensitises skin.
        let whitened = |element| ColourWay {
            limit: Some(Limit::AtLeast(element, Decimal::from(WHITENS))),
            ..ColourWay::default()
        };
        return Ok(vec![whitened(Element::Pd), whitened(Element::Ni)]);
    }
    let Some(range) = range(wish, gold) else {
        let others: Vec<&str> = Colour::WORDS
            .iter()
            .filter(|(_, other)| *other == Colour::White || self::range(*other, gold).is_some())
            .map(|(word, _)| *word)
            .collect();
        return Err(Trouble::new(
            "colour-not-had",
            format!("No mix of silver and copper makes gold of {gold} {wish}."),
            "Nothing is planned.",
            format!(
                "At this fineness ask for one of: {}; or leave the colour out.",
                others.join(", ")
            ),
        ));
    };
    // Where any share will do there is nothing to ask for.
    let everything = range == (Decimal::ZERO, Decimal::ONE);
    let plain = ColourWay {
        silver_share: (!everything).then_some(range),
        ..ColourWay::default()
    };
    Ok(vec![
        plain.clone(),
        ColourWay {
            only_plain: true,
            ..plain
        },
    ])
}

/// The widest run of silver shares, in hundredths, at which gold of this fineness with silver and
/// copper alone has the colour.
fn range(wish: Colour, gold: Fineness) -> Option<(Decimal, Decimal)> {
    let has = |percent: i64| {
        let share = Decimal::new(percent, 2);
        let rest = Fineness::pure().three_thousandths() - gold.three_thousandths();
        let part = |element, part: Decimal| {
            let metal = Composition::stated(&[(element, Decimal::ONE_THOUSAND)]).ok()?;
            Some((Mass::from_grams(part)?, metal))
        };
        let parts = [
            part(Element::Au, gold.three_thousandths())?,
            part(Element::Ag, rest * share)?,
            part(Element::Cu, rest * (Decimal::ONE - share))?,
        ];
        let made_of = Composition::mixed(parts.iter().map(|(mass, metal)| (*mass, metal)))?;
        colour::answers(&made_of, wish)
    };
    let mut best: Option<(i64, i64)> = None;
    let mut from = None;
    for percent in 0..=101 {
        if percent <= 100 && has(percent) == Some(true) {
            from = from.or(Some(percent));
        } else if let Some(first) = from.take() {
            let run = (first, percent - 1);
            if best.is_none_or(|(low, high)| run.1 - run.0 > high - low) {
                best = Some(run);
            }
        }
    }
    best.map(|(low, high)| (Decimal::new(low, 2), Decimal::new(high, 2)))
        .map(|(low, high)| (low.normalize(), high.normalize()))
}

impl ColourWay {
    /// Whether a metal of the shelf may be taken this way.
    pub fn may(&self, metal: &Metal) -> bool {
        !self.only_plain || is_plain(metal)
    }

    /// How well what was made this way answers the colour, the best first; `None` where it surely
    /// does.
    pub fn falls_short(&self, made_of: &Composition, wish: Colour) -> Option<u8> {
        match colour::answers(made_of, wish) {
            Some(true) => None,
            // It cannot be told: then at least nothing is added that would draw it away.
            None if self.only_plain => Some(0),
            None => Some(1),
            Some(false) => Some(2),
        }
    }
}

/// Whether all that is known of a metal is gold, silver and copper.
fn is_plain(metal: &Metal) -> bool {
    Element::all()
        .filter(|element| !matches!(element, Element::Au | Element::Ag | Element::Cu))
        .all(|element| metal.composition.three_thousandths(element).is_zero())
}
