//! The window: the masses of one addition for which the finished melt is lawful and not wasteful.
//!
//! With the rest of the melt of mass M holding gold G, an addition a of fineness f makes a melt of
//! fineness (G + a f) / (M + a). It must not fall below the lowest lawful fineness L, nor rise
//! above the give-away limit H: a (f - L) >= L M - G and a (f - H) <= H M - G. Lowering, the
//! upper edge is the lawful one; raising, the edges change places. (Mass balance; no source
//! needed beyond conservation.) Edges here are exact; the uncertainty of what is known about the
//! metal will draw them in from the same place, [`window`].

use rust_decimal::Decimal;

use super::Mix;
use crate::mass::{Division, Mass};
use crate::metal::Fineness;
use crate::trouble::Trouble;

/// What the finished melt must be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Demand {
    /// The mark or fineness asked for.
    pub target: Fineness,
    /// The lowest fineness that may carry it.
    pub lowest: Fineness,
    /// The highest fineness that does not give gold away.
    pub highest: Fineness,
}

impl Demand {
    /// The fineness that the work aims at: halfway between the lawful and the wasteful edge, as
    /// far from both as can be.
    pub fn aim(&self) -> Fineness {
        self.lowest.middle(self.highest)
    }
}

/// The masses of one addition, all multiples of the balance's division.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// Lower edge.
    pub lower: Mass,
    /// What to weigh out.
    pub aim: Mass,
    /// Upper edge.
    pub upper: Mass,
    /// Whether the melt is raised by this addition, so that too little of it is what is unlawful.
    pub raises: bool,
}

/// Where a mass stands against a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Side {
    /// Below the lower edge.
    Under,
    /// On or between the edges.
    Within,
    /// Above the upper edge.
    Over,
}

impl Side {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Under => "under",
            Self::Within => "within",
            Self::Over => "over",
        }
    }
}

impl Window {
    /// Where this mass stands.
    pub fn side(&self, mass: Mass) -> Side {
        if mass < self.lower {
            Side::Under
        } else if mass > self.upper {
            Side::Over
        } else {
            Side::Within
        }
    }
}

/// Why there is no window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoWindow {
    /// There is nothing to add to.
    NoMetal,
    /// The metal cannot bring this melt to the target: it stands on the wrong side of it.
    WrongWay {
        /// Fineness of the melt without the addition.
        melt: Fineness,
    },
    /// The metal's own fineness lies between the edges, so its mass decides nothing.
    NoLever,
    /// The melt lies within the edges already and would leave them with one division more.
    Enough {
        /// Fineness of the melt as it stands.
        melt: Fineness,
    },
    /// The exact edges lie closer together than the balance can weigh.
    TooCoarse {
        /// Exact lower edge.
        lower: Mass,
        /// Exact upper edge.
        upper: Mass,
    },
    /// More than any bench balance weighs.
    TooMuch,
}

impl NoWindow {
    /// Told to the person who wants to add `metal` of fineness `gold`.
    pub fn trouble(
        &self,
        metal: &str,
        gold: Fineness,
        demand: &Demand,
        division: Division,
    ) -> Trouble {
        let target = demand.target;
        let (happened, mend) = match self {
            Self::NoMetal => (
                "Nothing has been weighed yet that could be alloyed.".to_owned(),
                "Weigh the lots first, with panbell lot.".to_owned(),
            ),
            Self::WrongWay { melt } if gold < demand.lowest => (
                format!(
                    "The metal stands at {melt}, below {target} already; {metal} ({gold}) would only lower it further."
                ),
                "Add fine gold, or a lot or alloy of more gold than the target.".to_owned(),
            ),
            Self::WrongWay { melt } => (
                format!(
                    "The metal stands at {melt}, above {target} already; {metal} ({gold}) would only raise it further."
                ),
                "Add an alloy of less gold than the target.".to_owned(),
            ),
            Self::NoLever => (
                format!(
                    "{metal} ({gold}) has the target's own fineness, so no mass of it brings the melt there."
                ),
                "Choose a metal of less gold to lower, or of more gold to raise.".to_owned(),
            ),
            Self::Enough { melt } => (
                format!(
                    "The metal stands at {melt}, inside the window already; one division of {metal} more would leave it."
                ),
                "Add nothing more of it.".to_owned(),
            ),
            Self::TooCoarse { lower, upper } => (
                format!(
                    "The window lies between {} and {} {}, and the balance weighs in steps of {division}.",
                    division.in_unit(*lower, division.decimals() + 2),
                    division.in_unit(*upper, division.decimals() + 2),
                    division.unit()
                ),
                "Use a finer balance, melt more at once, or set a larger give-away limit."
                    .to_owned(),
            ),
            Self::TooMuch => (
                format!("So much {metal} would be needed that no bench balance weighs it."),
                "Choose a metal further from the target.".to_owned(),
            ),
        };
        Trouble::new(
            "no-window",
            happened,
            format!("The melt cannot be brought to {target} this way."),
            mend,
        )
    }
}

/// The window of an addition of fineness `metal` to `rest`: everything else that the finished
/// melt will hold.
pub fn window(
    rest: &Mix,
    metal: Fineness,
    demand: &Demand,
    division: Division,
) -> Result<Window, NoWindow> {
    let Some(melt) = rest.fineness() else {
        return Err(NoWindow::NoMetal);
    };
    if (demand.lowest..=demand.highest).contains(&metal) {
        return Err(NoWindow::NoLever);
    }
    let raises = metal > demand.highest;
    let at = |edge: Fineness| addition(rest, metal, edge);
    let (exact_lower, exact_upper) = if raises {
        (at(demand.lowest), at(demand.highest))
    } else {
        (at(demand.highest), at(demand.lowest))
    };
    let limit = Decimal::from(Mass::LIMIT_GRAMS);
    if exact_upper > limit {
        return Err(NoWindow::TooMuch);
    }
    if exact_upper < Decimal::ZERO {
        return Err(NoWindow::WrongWay { melt });
    }
    let (exact_lower, exact_upper) = (
        Mass::computed(exact_lower.max(Decimal::ZERO)),
        Mass::computed(exact_upper),
    );
    let (mut lower, mut upper) = (division.ceil(exact_lower), division.floor(exact_upper));
    // The quotients above are rounded in their 28th digit; the melt itself is not. Draw an edge
    // in by one division where the exact sums say that it lies outside.
    let fits = |mass: Mass| {
        let melt = rest.with(mass, metal);
        melt.is_at_least(demand.lowest) && melt.is_at_most(demand.highest)
    };
    if !fits(lower) {
        lower = lower + division.mass();
    }
    if !fits(upper) {
        upper = upper - division.mass();
    }
    if lower > upper || !fits(lower) || !fits(upper) {
        return Err(NoWindow::TooCoarse {
            lower: exact_lower,
            upper: exact_upper,
        });
    }
    if !upper.is_positive() {
        return Err(NoWindow::Enough { melt });
    }
    let aim = Mass::computed(at(demand.aim()).max(Decimal::ZERO));
    let aim = if raises {
        division.ceil(aim)
    } else {
        division.floor(aim)
    };
    Ok(Window {
        lower,
        aim: aim.clamp(lower, upper),
        upper,
        raises,
    })
}

/// Grams of `metal` that bring `rest` to `wanted`; below zero when it goes the other way.
/// The caller has seen to it that the two finenesses differ.
fn addition(rest: &Mix, metal: Fineness, wanted: Fineness) -> Decimal {
    let lever = wanted.three_thousandths() - metal.three_thousandths();
    rest.surplus(wanted)
        .checked_div(lever)
        .unwrap_or(Decimal::MAX)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    fn demand(target: &str, give_away: i64) -> Demand {
        let target: Fineness = target.parse().unwrap();
        Demand {
            target,
            lowest: target,
            highest: target.plus(Decimal::from(give_away)),
        }
    }

    fn shown(w: Window, d: Division) -> [String; 3] {
        [w.lower, w.aim, w.upper].map(|m| d.show(m).to_string())
    }

    #[test]
    fn lowering_known_lots_gives_the_exact_edges_rounded_inward() {
        // An invented pair: 14.86 g of 875 and 4.12 g of 752 to 750, at most 5 given away.
        let d: Division = "0.01 g".parse().unwrap();
        let rest = Mix::NOTHING
            .with(mass("14.86 g"), "875".parse().unwrap())
            .with(mass("4.12 g"), "752".parse().unwrap());
        let w = window(&rest, Fineness::NONE, &demand("750", 5), d).unwrap();
        assert_eq!(shown(w, d), ["2.35 g", "2.41 g", "2.48 g"]);
        assert!(!w.raises);
    }

    #[test]
    fn raising_puts_the_lawful_edge_below() {
        let d: Division = "0.01 g".parse().unwrap();
        let rest = Mix::NOTHING.with(mass("20 g"), "10k".parse().unwrap());
        let w = window(&rest, Fineness::pure(), &demand("14k", 5), d).unwrap();
        assert_eq!(shown(w, d), ["8.00 g", "8.17 g", "8.34 g"]);
        assert!(w.raises);
    }

    #[test]
    fn answers_that_cannot_be_say_why() {
        let d: Division = "0.01 g".parse().unwrap();
        let low = Mix::NOTHING.with(mass("20 g"), "333".parse().unwrap());
        let none = |rest: &Mix, metal: &str| {
            window(rest, metal.parse().unwrap(), &demand("585", 5), d).unwrap_err()
        };
        assert!(matches!(none(&low, "0 ppt"), NoWindow::WrongWay { .. }));
        assert!(matches!(none(&low, "585"), NoWindow::NoLever));
        assert!(matches!(none(&Mix::NOTHING, "999.9"), NoWindow::NoMetal));
        let heap = Mix::NOTHING.with(mass("9000 g"), "333".parse().unwrap());
        assert!(matches!(none(&heap, "590.0001"), NoWindow::TooMuch));
        let tiny = Mix::NOTHING.with(mass("0.45 g"), "750".parse().unwrap());
        assert!(matches!(none(&tiny, "0 ppt"), NoWindow::TooCoarse { .. }));
        let there = Mix::NOTHING.with(mass("0.50 g"), "585".parse().unwrap());
        assert!(matches!(none(&there, "0 ppt"), NoWindow::Enough { .. }));
    }
}
