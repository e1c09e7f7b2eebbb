//! What stands in the way of a blend: the limits by name, which of them contradict each other, how
//! near each can be met, and all of that in words.

use rust_decimal::{Decimal, RoundingStrategy};

use super::program::{Found, Program, Row};
use super::share::Share;
use super::table::Table;
use super::{BlendAsk, Goal, Limit, NoBlend, UnknownPart};
use crate::mass::{Mass, fixed};
use crate::metal::{Composition, Fineness};
use crate::trouble::Trouble;

/// A limit that can stand in the way of a blend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Hinder {
    /// The lowest fineness; the nearest is the highest fineness that can be had, per mille.
    LowestFineness,
    /// The highest fineness; the nearest is the lowest that can be had, per mille.
    HighestFineness,
    /// The limit at this place of [`BlendAsk::limits`]; the nearest is in per mille.
    Limit(usize),
    /// The lower bound of the colour; the nearest is a share, Ag/(Ag+Cu).
    LeastSilver,
    /// The upper bound of the colour; the nearest is a share, Ag/(Ag+Cu).
    MostSilver,
    /// The finished mass; the nearest is in grams.
    Mass,
    /// The stock of the metal at this place of the shelf; the nearest is how many grams of it are
    /// needed.
    Stock(usize),
    /// That the lots are used whole; the nearest is how many grams of them can be used.
    WholeLots,
}

impl Hinder {
    /// Every limit of what was asked.
    pub(super) fn of(ask: &BlendAsk) -> Vec<Self> {
        let mut hinders = vec![Self::LowestFineness, Self::HighestFineness];
        hinders.extend((0..ask.limits.len()).map(Self::Limit));
        if ask.silver_share.is_some() {
            hinders.extend([Self::LeastSilver, Self::MostSilver]);
        }
        if ask.mass.is_some() {
            hinders.push(Self::Mass);
        }
        let stocked = ask.shelf.iter().enumerate();
        hinders.extend(
            stocked
                .filter(|(_, on)| on.stock.is_some())
                .map(|(place, _)| Self::Stock(place)),
        );
        if ask.goal == Goal::Cheapest && !ask.lots.is_empty() {
            hinders.push(Self::WholeLots);
        }
        hinders
    }

    /// What it asks, in words that follow on "that": `that zinc is at most 60 ‰`.
    fn words(self, ask: &BlendAsk) -> String {
        match self {
            Self::LowestFineness => format!("the fineness is at least {}", ask.lowest),
            Self::HighestFineness => format!("the fineness is at most {}", ask.highest),
            Self::Limit(place) => match ask.limits.get(place) {
                Some(Limit::AtMost(element, ppt)) if ppt.is_zero() => {
                    format!("there is no {}", element.name())
                }
                Some(Limit::AtMost(element, ppt)) => {
                    format!("{} is at most {} ‰", element.name(), ppt.normalize())
                }
                Some(Limit::AtLeast(element, ppt)) => {
                    format!("{} is at least {} ‰", element.name(), ppt.normalize())
                }
                None => "a limit is met".to_owned(),
            },
            Self::LeastSilver | Self::MostSilver => {
                let (low, high) = ask.silver_share.unwrap_or_default();
                let (side, share) = if self == Self::LeastSilver {
                    ("least", low)
                } else {
                    ("most", high)
                };
                format!(
                    "the colour has at {side} {} parts of silver in 100 of silver and copper",
                    per_cent(share)
                )
            }
            Self::Mass => {
                let mass = ask.mass.unwrap_or_default();
                format!("the melt weighs {}", ask.division.show(mass))
            }
            Self::Stock(place) => match ask.shelf.get(place) {
                Some(on) => format!(
                    "there is only {} of {}",
                    ask.division.show(on.stock.unwrap_or_default()),
                    on.name
                ),
                None => "a stock lasts".to_owned(),
            },
            Self::WholeLots => "all lots are used whole".to_owned(),
        }
    }

    /// How near it can be met, in words: rounded to what can surely be had, and with as many digits
    /// as tell it from the limit. A limit that is missed by less than that says so.
    fn nearest_words(self, ask: &BlendAsk, nearest: Decimal) -> String {
        let shown = |grams: Decimal| {
            // What is needed is rounded up, what can be had down.
            let is_more = match self {
                Self::Mass => ask.mass.is_some_and(|mass| grams > mass.grams()),
                Self::Stock(_) => true,
                _ => false,
            };
            let mass = Mass::computed(grams);
            let division = ask.division;
            division.show(if is_more {
                division.ceil(mass)
            } else {
                division.floor(mass)
            })
        };
        let least = |number: Decimal, limit: Decimal, what: &str| match apart(number, limit, true) {
            Some(number) => format!("no less than {number} {what} can be had"),
            None => format!("a trace more than {} {what} would do", limit.normalize()),
        };
        let most = |number: Decimal, limit: Decimal, what: &str| match apart(number, limit, false) {
            Some(number) if number.is_zero() => {
                let of = what.rsplit(' ').next().unwrap_or(what);
                format!("no {of} at all can be had")
            }
            Some(number) => format!("no more than {number} {what} can be had"),
            None => format!("a trace less than {} {what} would do", limit.normalize()),
        };
        let ppt = |fineness: Fineness| fineness.to_per_mille(4);
        let (low, high) = ask.silver_share.unwrap_or_default();
        let parts = Decimal::ONE_HUNDRED;
        match self {
            Self::LowestFineness => most(nearest, ppt(ask.lowest), "‰ of gold"),
            Self::HighestFineness => least(nearest, ppt(ask.highest), "‰ of gold"),
            Self::Limit(place) => match ask.limits.get(place) {
                Some(Limit::AtLeast(element, ppt)) => {
                    most(nearest, *ppt, &format!("‰ of {}", element.name()))
                }
                Some(Limit::AtMost(element, ppt)) => {
                    least(nearest, *ppt, &format!("‰ of {}", element.name()))
                }
                None => String::new(),
            },
            Self::LeastSilver => most(nearest * parts, low * parts, "parts of silver"),
            Self::MostSilver => least(nearest * parts, high * parts, "parts of silver"),
            Self::Mass => format!("the nearest is {}", shown(nearest)),
            Self::Stock(_) => format!("{} would be needed", shown(nearest)),
            Self::WholeLots => format!("{} of them can be used", shown(nearest)),
        }
    }
}

/// A number with one decimal, or as many more as tell it from the limit and show it to a hundredth of
/// itself, rounded to the side that can be had; `None` where six decimals do not tell it from the limit.
fn apart(number: Decimal, limit: Decimal, up: bool) -> Option<Decimal> {
    let how = if up {
        RoundingStrategy::ToPositiveInfinity
    } else {
        RoundingStrategy::ToNegativeInfinity
    };
    let is_beyond = |told: Decimal| if up { told > limit } else { told < limit };
    // The search counts in binary: what six decimals do not show is not there.
    let number = number.round_dp(6);
    let is_told = |told: &Decimal| {
        let is_near = (told - number).abs() * Decimal::ONE_HUNDRED <= number.abs();
        is_near && is_beyond(*told)
    };
    if !is_beyond(number) {
        return None;
    }
    (1..=6)
        .map(|decimals| number.round_dp_with_strategy(decimals, how))
        .find(is_told)
        .map(|told| fixed(told, told.normalize().scale().max(1)))
}

fn per_cent(share: Decimal) -> Decimal {
    fixed(share * Decimal::ONE_HUNDRED, 1).normalize()
}

/// Which limits are in the way of a blend that has been found infeasible.
pub(super) fn hindered(ask: &BlendAsk) -> NoBlend {
    let all = Hinder::of(ask);
    // Every metal may be used here: prices never make a blend infeasible.
    let is_infeasible = |dropped: &[Hinder]| {
        let table = Table::without(ask, dropped);
        let nothing = vec![Decimal::ZERO; table.columns.len()];
        match table.program(0, &[]).least(&nothing) {
            Found::Best(_) => Some(false),
            Found::Infeasible => Some(true),
            Found::Unknown => None,
        }
    };
    // Leave limits out one by one for as long as the rest still contradict each other.
    let mut dropped = Vec::new();
    let mut together = Vec::new();
    for hinder in &all {
        dropped.push(*hinder);
        if is_infeasible(&dropped) != Some(true) {
            dropped.pop();
            together.push(*hinder);
        }
    }
    if together.is_empty() || is_infeasible(&[]) != Some(true) {
        return NoBlend::NoAnswer;
    }
    // Only a limit of that contradiction can undo it alone.
    let alone = together
        .iter()
        .filter(|hinder| is_infeasible(&[**hinder]) == Some(false))
        .map(|hinder| (*hinder, nearest(ask, *hinder)))
        .collect();
    NoBlend::Hindered { alone, together }
}

/// How near a limit can be met when all others are; see [`Hinder`] for the unit.
fn nearest(ask: &BlendAsk, hinder: Hinder) -> Option<Decimal> {
    let table = Table::without(ask, &[hinder]);
    if let Some(share) = Share::of(ask, hinder) {
        return nearest_share(ask, &table, share);
    }
    let program = table.program(0, &[]);
    let least = |goal: &[Decimal]| match program.least(goal) {
        Found::Best(masses) => Some(masses),
        Found::Infeasible | Found::Unknown => None,
    };
    let all = |each: Decimal| vec![each; table.columns.len()];
    match hinder {
        Hinder::Mass => {
            let lightest: Decimal = least(&all(Decimal::ONE))?.iter().sum();
            let wanted = ask.mass?.grams();
            if lightest > wanted {
                return Some(lightest);
            }
            Some(least(&all(-Decimal::ONE))?.iter().sum())
        }
        Hinder::Stock(place) => {
            let mut goal = all(Decimal::ZERO);
            *goal.get_mut(ask.lots.len() + place)? = Decimal::ONE;
            least(&goal)?.get(ask.lots.len() + place).copied()
        }
        Hinder::WholeLots => table.most_of_lots(&program).ok(),
        _ => None,
    }
}

/// The least or greatest share that can be had. A share is a quotient; it becomes linear when
/// every mass is counted in units of its denominator, with one column more for a gram in those
/// units (Charnes and Cooper, Naval Research Logistics Quarterly 9, 1962).
fn nearest_share(ask: &BlendAsk, table: &Table, share: Share) -> Option<Decimal> {
    let program = table.program(0, &[]);
    let lots = ask.lots.iter().map(|lot| &lot.metal);
    let metals = lots.chain(ask.shelf.iter().map(|on| &on.metal));
    let (parts, wholes): (Vec<Decimal>, Vec<Decimal>) = metals
        .map(|metal: &Composition| share.fraction(metal))
        .unzip();
    let columns = parts.len();
    let size = program.size;
    // `each` times the masses, less `most`: at most zero, whatever the unit.
    let homogeneous = |mut each: Vec<Decimal>, most: Decimal| {
        each.push(-most / size);
        Row {
            each,
            most: Decimal::ZERO,
        }
    };
    let unit = |place: usize, sign: Decimal| {
        let mut each = vec![Decimal::ZERO; columns];
        if let Some(one) = each.get_mut(place) {
            *one = sign;
        }
        each
    };
    let mut rows: Vec<Row> = Vec::new();
    for row in program.rows {
        rows.push(homogeneous(row.each, row.most));
    }
    for (place, (least, most)) in program.bounds.iter().enumerate() {
        if !least.is_zero() {
            rows.push(homogeneous(unit(place, -Decimal::ONE), -*least));
        }
        if let Some(most) = most {
            rows.push(homogeneous(unit(place, Decimal::ONE), *most));
        }
    }
    // The denominator is one, in three-thousandths of a unit.
    let three_thousand = Decimal::from(3000);
    for sign in [Decimal::ONE, -Decimal::ONE] {
        let mut each: Vec<Decimal> = wholes.iter().map(|whole| sign * whole).collect();
        each.push(Decimal::ZERO);
        rows.push(Row {
            each,
            most: sign * three_thousand,
        });
    }
    let homogeneous = Program {
        bounds: vec![(Decimal::ZERO, None); columns + 1],
        rows,
        size: Decimal::ONE,
    };
    let sign = if share.is_most {
        Decimal::ONE
    } else {
        -Decimal::ONE
    };
    let mut goal: Vec<Decimal> = parts.iter().map(|part| sign * part).collect();
    goal.push(Decimal::ZERO);
    match homogeneous.least(&goal) {
        Found::Best(masses) => {
            let part: Decimal = parts
                .iter()
                .zip(&masses)
                .map(|(part, mass)| part * mass)
                .sum();
            Some(fixed(part / three_thousand * share.unit(), 6))
        }
        Found::Infeasible | Found::Unknown => None,
    }
}

/// Limits that hold for what is known of these masses but that the unknown part could break.
pub(super) fn unproven(ask: &BlendAsk, lots: &[Mass], shelf: &[Mass]) -> Vec<Hinder> {
    let counted = BlendAsk {
        unknown: UnknownPart::Counted,
        ..ask.clone()
    };
    let metals = || {
        let lots = ask.lots.iter().map(|lot| &lot.metal).zip(lots);
        lots.chain(ask.shelf.iter().map(|on| &on.metal).zip(shelf))
    };
    Hinder::of(ask)
        .into_iter()
        .filter(|hinder| {
            Share::of(&counted, *hinder).is_some_and(|share| {
                let over: Decimal = metals()
                    .map(|(metal, mass)| share.over(metal) * mass.grams())
                    .sum();
                over > Decimal::ZERO
            })
        })
        .collect()
}

/// Told to the person who asked.
pub(super) fn trouble(no: &NoBlend, ask: &BlendAsk) -> Trouble {
    const MEANS: &str = "Nothing is planned.";
    match no {
        NoBlend::Unclear(why) => Trouble::new(
            "blend-unclear",
            format!("The blend cannot be worked out: {why}."),
            MEANS,
            "Put that right and ask again.",
        ),
        NoBlend::TooCoarse => Trouble::new(
            "blend-too-coarse",
            format!(
                "A blend exists, but none was found in steps of {}, in which the balance weighs.",
                ask.division
            ),
            MEANS,
            "Blend more metal at once, or use a finer balance.",
        ),
        NoBlend::NoAnswer => Trouble::new(
            "blend-unanswered",
            "The search for a blend failed in its numbers.",
            "It is not known whether there is one.",
            "Ask with fewer metals, or with limits that are less close together.",
        ),
        NoBlend::Hindered { alone, together } => {
            let joined = together
                .iter()
                .map(|hinder| hinder.words(ask))
                .collect::<Vec<_>>()
                .join(", and that ");
            let happened =
                format!("No blend of these metals meets every limit: it cannot be that {joined}.");
            let ways: Vec<String> = alone
                .iter()
                .filter_map(|(hinder, nearest)| Some(hinder.nearest_words(ask, (*nearest)?)))
                .collect();
            let mend = if alone.is_empty() {
                "No single limit opens the way: ease more than one of them, or add another metal to choose from."
                    .to_owned()
            } else if ways.is_empty() {
                "Ease one of these, or add another metal to choose from.".to_owned()
            } else {
                format!(
                    "Ease one of these (with the others kept, {}), or add another metal to choose from.",
                    ways.join("; or ")
                )
            };
            Trouble::new("blend-hindered", happened, MEANS, mend)
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_is_told_apart_from_the_limit_and_from_nothing() {
        let shown = |number: &str, limit: &str, up| {
            let told = apart(number.parse().unwrap(), limit.parse().unwrap(), up);
            told.map_or_else(|| "a trace".to_owned(), |told| told.to_string())
        };
        assert_eq!(shown("916.04", "950", false), "916.0");
        assert_eq!(shown("23.46", "20", true), "23.5");
        // Rounded to what can be had, never to what cannot.
        assert_eq!(shown("20.04", "20", true), "20.1");
        assert_eq!(shown("749.96", "750", false), "749.9");
        // A trace stays one, and none stays none.
        assert_eq!(shown("0.04", "0", true), "0.04");
        assert_eq!(shown("0.04", "120", false), "0.04");
        assert_eq!(shown("0", "120", false), "0.0");
        assert_eq!(shown("0.000000004", "120", false), "0.0");
        assert_eq!(shown("0.05", "0.08", true), "a trace");
        assert_eq!(shown("20.0000000001", "20", true), "a trace");
    }
}
