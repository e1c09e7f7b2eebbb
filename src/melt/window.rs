//! The window: the masses of one addition for which the finished melt is lawful and not wasteful.
//!
//! With the rest of the melt of mass M holding gold G, an addition a of fineness f makes a melt of
//! fineness (G + a f) / (M + a). It must not fall below the lowest lawful fineness L, nor rise
//! above the give-away limit H: a (f - L) >= L M - G and a (f - H) <= H M - G. Lowering, the
//! upper edge is the lawful one; raising, the edges change places. (Mass balance; no source
//! needed beyond conservation.)
//!
//! What is not exactly known draws the lawful edge in: there the chance that the melt falls below
//! L must stay within the shop's risk, which by the normal model means F - k u(F) >= L with k the
//! quantile of the risk (JCGM 106:2012, 7.3 and 8.3; u(F) as in [`super::Mix::u_ppt`]). The
//! give-away edge is a matter of money and goes by F alone.

use rust_decimal::Decimal;

use super::Mix;
use super::doubt::{FinenessDoubt, MassDoubt, Risk, centi_ppt, drawn_in};
use crate::mass::{Division, Mass};
use crate::metal::Fineness;
use crate::trouble::Trouble;

/// What the finished melt must be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// The mark or fineness asked for.
    pub target: Fineness,
    /// The lowest fineness that may carry it.
    pub lowest: Fineness,
    /// The highest fineness that does not give gold away.
    pub highest: Fineness,
    /// The largest chance of falling below the lowest.
    pub risk: Risk,
}

/// A metal to be added, and how well it is known and can be weighed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Added {
    /// Gold in it.
    pub gold: Fineness,
    /// How well that is known.
    pub u_gold: FinenessDoubt,
    /// How well the addition is weighed.
    pub u_mass: MassDoubt,
}

impl From<Fineness> for Added {
    /// A metal taken as exactly known and exactly weighed.
    fn from(gold: Fineness) -> Self {
        Self {
            gold,
            u_gold: FinenessDoubt::NONE,
            u_mass: MassDoubt::NONE,
        }
    }
}

impl Added {
    /// The melt with so much of it.
    pub fn to(&self, rest: &Mix, mass: Mass) -> Mix {
        rest.with_known(mass, self.u_mass, self.gold, self.u_gold)
    }
}

impl Demand {
    /// With no more than so much fine gold given away above the target in a melt of this mass, where
    /// that is a tighter limit.
    #[must_use]
    pub fn giving_no_more_than(self, gold: Mass, melt: Mass) -> Self {
        let ppt = (gold.grams() * Decimal::ONE_THOUSAND).checked_div(melt.grams());
        let highest = ppt.map_or(self.highest, |ppt| self.target.plus(ppt.round_dp(6)));
        Self {
            highest: self.highest.min(highest),
            ..self
        }
    }

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

/// The largest give-away that is ever advised, in per mille.
pub const MOST_GIVE_AWAY: u32 = 100;

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
    /// What is known of the metals is not sure enough: no mass keeps the chance of falling below
    /// the lowest lawful fineness within the risk without giving more gold away than allowed.
    NotSure {
        /// Standard uncertainty of the melt's fineness at the give-away limit, in hundredths of a
        /// per mille.
        u_centi_ppt: u32,
        /// So much give-away, per mille above the target, would open the window; none where none
        /// of up to [`MOST_GIVE_AWAY`] would.
        opens_at_ppt: Option<u32>,
    },
    /// More than any bench balance weighs.
    TooMuch,
}

impl NoWindow {
    /// The same, with the least give-away in whole per mille that opens a window which is not sure.
    fn opened(self, demand: &Demand, opens: impl Fn(&Demand) -> bool) -> Self {
        let Self::NotSure { u_centi_ppt, .. } = self else {
            return self;
        };
        let wider = |ppt: u32| Demand {
            highest: demand.target.plus(Decimal::from(ppt)),
            ..*demand
        };
        let opens_at_ppt = (1..=MOST_GIVE_AWAY)
            .filter(|ppt| wider(*ppt).highest > demand.highest)
            .find(|ppt| opens(&wider(*ppt)));
        Self::NotSure {
            u_centi_ppt,
            opens_at_ppt,
        }
    }

    /// Told to the person who wants to add `metal` of fineness `gold`.
    pub fn trouble(
        &self,
        metal: &str,
        gold: Fineness,
        demand: &Demand,
        division: Division,
    ) -> Trouble {
        let target = demand.target;
        let shown = if metal.ends_with(&gold.to_string()) {
            metal.to_owned() // named by its fineness
        } else {
            format!("{metal} ({gold})")
        };
        let (happened, mend) = match self {
            Self::NoMetal => (
                "Nothing has been weighed yet that could be alloyed.".to_owned(),
                "Weigh the lots first, with panbell lot.".to_owned(),
            ),
            Self::WrongWay { melt } if gold < demand.lowest => (
                format!(
                    "The metal stands at {melt}, below {target} already; {shown} would only lower it further."
                ),
                "Add fine gold, or a lot or alloy of more gold than the target.".to_owned(),
            ),
            Self::WrongWay { melt } => (
                format!(
                    "The metal stands at {melt}, above {target} already; {shown} would only raise it further."
                ),
                "Add an alloy of less gold than the target.".to_owned(),
            ),
            Self::NoLever => (
                format!(
                    "{shown} lies between the edges itself, so no mass of it brings the melt there."
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
            Self::NotSure {
                u_centi_ppt,
                opens_at_ppt: None,
            } => (
                format!(
                    "The melt's fineness is known no better than to {}.{:02} per mille (one standard uncertainty): no give-away of up to {MOST_GIVE_AWAY} per mille would make it surely lawful this way.",
                    u_centi_ppt / 100,
                    u_centi_ppt % 100
                ),
                if gold < demand.lowest {
                    "Add fine gold first, or know the least known lot better: by an assay, or by a figure of your own (as declared:2)."
                } else {
                    "Know the least known lot better: by an assay, or by a figure of your own (as declared:2)."
                }
                .to_owned(),
            ),
            Self::NotSure {
                u_centi_ppt,
                opens_at_ppt: Some(opens_at_ppt),
            } => (
                format!(
                    "The melt's fineness is known no better than to {}.{:02} per mille (one standard uncertainty): by the time it is surely lawful it is beyond the give-away limit.",
                    u_centi_ppt / 100,
                    u_centi_ppt % 100
                ),
                format!(
                    "Know the least known lot better, by an assay or by a figure of your own (as declared:2), or allow a give-away of {opens_at_ppt} per mille."
                ),
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

/// The edges of a window before they are rounded to a division, to a tenth of a microgram.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edges {
    /// Lower edge.
    pub lower: Mass,
    /// Upper edge.
    pub upper: Mass,
    /// Whether the addition raises the melt.
    pub raises: bool,
}

/// The edges for an addition of `metal` to `rest`: everything else that the finished melt will
/// hold.
pub fn edges(rest: &Mix, metal: impl Into<Added>, demand: &Demand) -> Result<Edges, NoWindow> {
    let metal = metal.into();
    plain_edges(rest, metal, demand)
        .map_err(|why| why.opened(demand, |demand| plain_edges(rest, metal, demand).is_ok()))
}

/// The same; of a window that is not sure it is not looked for what would open it.
fn plain_edges(rest: &Mix, metal: Added, demand: &Demand) -> Result<Edges, NoWindow> {
    let Some(melt) = rest.fineness() else {
        return Err(NoWindow::NoMetal);
    };
    if (demand.lowest..=demand.highest).contains(&metal.gold) {
        return Err(NoWindow::NoLever);
    }
    let raises = metal.gold > demand.highest;
    let (lawful, wasteful) = (
        addition(rest, metal.gold, demand.lowest),
        addition(rest, metal.gold, demand.highest),
    );
    let farthest = if raises { wasteful } else { lawful };
    if farthest > Decimal::from(Mass::LIMIT_GRAMS) {
        return Err(NoWindow::TooMuch);
    }
    if farthest < Decimal::ZERO {
        return Err(NoWindow::WrongWay { melt });
    }
    let (lawful, wasteful) = (
        Mass::computed(lawful.max(Decimal::ZERO)),
        Mass::computed(wasteful.max(Decimal::ZERO)),
    );
    let lawful = if lawful == wasteful && metal.to(rest, lawful).doubt.is_none() {
        lawful // the one mass there is, right but for the last digit of a quotient
    } else {
        drawn_in(rest, metal, demand, lawful, wasteful).ok_or_else(|| NoWindow::NotSure {
            u_centi_ppt: centi_ppt(&metal.to(rest, wasteful)),
            opens_at_ppt: None,
        })?
    };
    let (lower, upper) = if raises {
        (lawful, wasteful)
    } else {
        (wasteful, lawful)
    };
    Ok(Edges {
        lower,
        upper,
        raises,
    })
}

/// The window of an addition of `metal` to `rest`: the edges rounded to the division so that the
/// window only shrinks, and checked again.
pub fn window(
    rest: &Mix,
    metal: impl Into<Added>,
    demand: &Demand,
    division: Division,
) -> Result<Window, NoWindow> {
    let metal = metal.into();
    let plain = |demand: &Demand| {
        plain_edges(rest, metal, demand)
            .and_then(|edges| rounded(rest, metal, demand, edges, division))
    };
    plain(demand).map_err(|why| why.opened(demand, |demand| plain(demand).is_ok()))
}

fn rounded(
    rest: &Mix,
    metal: Added,
    demand: &Demand,
    edges: Edges,
    division: Division,
) -> Result<Window, NoWindow> {
    let (mut lower, mut upper) = (division.ceil(edges.lower), division.floor(edges.upper));
    // The edges are rounded in their last digit; the melt itself is not. Draw one in by a
    // division where the sums say that it lies outside.
    let fits = |mass: Mass| {
        let melt = metal.to(rest, mass);
        melt.is_surely_at_least(demand.lowest, demand.risk) && melt.is_at_most(demand.highest)
    };
    let mut fit = (fits(lower), fits(upper));
    if !fit.0 {
        lower = lower + division.mass();
        fit.0 = fits(lower);
    }
    if !fit.1 {
        upper = upper - division.mass();
        fit.1 = fits(upper);
    }
    if lower > upper || fit != (true, true) {
        return Err(NoWindow::TooCoarse {
            lower: edges.lower,
            upper: edges.upper,
        });
    }
    if !upper.is_positive() {
        let melt = rest.fineness().unwrap_or(Fineness::NONE);
        return Err(NoWindow::Enough { melt });
    }
    let middle = Mass::computed((edges.lower + edges.upper).grams() / Decimal::TWO);
    let aim = if edges.raises {
        division.ceil(middle)
    } else {
        division.floor(middle)
    };
    Ok(Window {
        lower,
        aim: aim.clamp(lower, upper),
        upper,
        raises: edges.raises,
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
    use crate::melt::finished_mass;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    fn demand(target: &str, give_away: i64) -> Demand {
        let target: Fineness = target.parse().unwrap();
        Demand {
            target,
            lowest: target,
            highest: target.plus(Decimal::from(give_away)),
            risk: Risk::default(),
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
        assert_eq!(shown(w, d), ["8.00 g", "8.18 g", "8.34 g"]);
        assert!(w.raises);
    }

    #[test]
    fn answers_that_cannot_be_say_why() {
        let d: Division = "0.01 g".parse().unwrap();
        let low = Mix::NOTHING.with(mass("20 g"), "333".parse().unwrap());
        let none = |rest: &Mix, metal: &str| {
            window(
                rest,
                metal.parse::<Fineness>().unwrap(),
                &demand("585", 5),
                d,
            )
            .unwrap_err()
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

    #[test]
    fn what_is_given_away_can_be_limited_in_gold() {
        // 30 g of fine gold to 750: 10 g of silver finish it at 40 g. A tenth of a gram of gold in
        // those is 2.5 per mille, so 30 / 0.7525 - 30 is the least silver.
        let rest = Mix::NOTHING.with(mass("30 g"), Fineness::pure());
        let target: Fineness = "750".parse().unwrap();
        let demand = Demand {
            target,
            lowest: target,
            highest: "755".parse().unwrap(),
            risk: Risk::default(),
        };
        let metal = |gold| {
            let share = Decimal::ONE;
            [crate::melt::Planned { gold, share }]
        };
        let finished = finished_mass(&rest, &metal(Fineness::NONE), target);
        assert_eq!(finished, mass("40 g"));
        let tighter = demand.giving_no_more_than(mass("0.1 g"), finished);
        assert_eq!(tighter.highest, "752.5".parse().unwrap());
        let d: Division = "0.01 g".parse().unwrap();
        let window = super::window(&rest, Fineness::NONE, &tighter, d).unwrap();
        assert_eq!(window.lower, mass("9.87 g"));
        let given = Mix::NOTHING.with(window.lower, Fineness::NONE).mass() + rest.mass();
        let over = rest.gold().less(Mix::NOTHING.with(given, target).gold());
        assert!(over.mass() <= mass("0.1 g"), "{over:?}");
        // A looser limit changes nothing; metal that no mass of brings it there keeps its mass.
        let looser = demand.giving_no_more_than(mass("3 g"), finished);
        assert_eq!(looser.highest, demand.highest);
        assert_eq!(
            finished_mass(&rest, &metal(Fineness::pure()), target),
            rest.mass()
        );
    }
}
