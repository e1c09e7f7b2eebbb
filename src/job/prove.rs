//! The proof of a button: by density, by an assay, and what either means for it.
//!
//! Leaves to others: the reckoning (`melt`), and how the weighing came about (`weigh`).

use rust_decimal::Decimal;

use super::fold::Job;
use super::record::{Assayed, Captured, Water, WaterWay, What};
use super::remedy::Remedy;
use super::state::BenchRules;
use super::words;
use crate::mass::fixed;
use crate::melt::{Air, Doubts, InWater, Mix, Proof, Verdict, Weighings, prove, water_density};
use crate::metal::Fineness;
use crate::trouble::Trouble;

impl Water {
    /// The air of the room.
    pub fn air(&self) -> Air {
        Air {
            celsius: self.air_celsius,
            pascal: self.pascal,
            humidity: self.humidity,
        }
    }

    /// Whether a density can be reckoned with it.
    pub(super) fn is_reckonable(&self) -> bool {
        water_density(self.water_celsius).is_some() && self.air().density().is_some()
    }
}

impl Assayed {
    /// Whether two assays of one button lie further apart than both explain.
    pub(super) fn contradicts(&self, other: &Self) -> bool {
        lie_apart((self.taken, self.u_ppt), (other.taken, other.u_ppt))
    }
}

/// Whether two finenesses lie further apart than how well both are known explains, by three standard
/// uncertainties together (common practice, no source).
fn lie_apart((one, u_one): (Fineness, Decimal), (other, u_other): (Fineness, Decimal)) -> bool {
    let apart = one.to_per_mille(4) - other.to_per_mille(4);
    apart * apart > Decimal::from(9) * (u_one * u_one + u_other * u_other)
}

impl WaterWay {
    /// What the balance shows then, as a line of a list.
    pub fn label(self) -> &'static str {
        match self {
            Self::Hung => "Button hung in water",
            Self::Displaced => "Water pushed aside by the button",
        }
    }
}

impl Job {
    /// The proof by density of the button, from its last weighing in water.
    pub fn proof(&self) -> Option<Result<Proof, Trouble>> {
        let in_water = &self.in_water()?.captured;
        let What::InWater(water) = &in_water.what else {
            return None;
        };
        let shown = in_water.mass.mass();
        Some(prove(&Weighings {
            in_air: self.button()?.mass(),
            in_water: match water.way {
                WaterWay::Hung => InWater::Hung(shown),
                WaterWay::Displaced => InWater::Displaced(shown),
            },
            water_celsius: water.water_celsius,
            air: water.air(),
            doubts: Doubts::usual(self.opened.division),
            planned: self.made_of()?,
            lowest: self.opened.lowest,
        }))
    }

    /// Whether the button lies below the mark, as far as is known.
    pub(super) fn is_button_below(&self) -> bool {
        self.button_metal()
            .is_some_and(|metal| !metal.is_at_least(self.demand().lowest))
    }

    /// Whether the button is known to be lawful within the risk, by assay or else by mass balance.
    pub(super) fn is_button_sure(&self) -> bool {
        let demand = self.demand();
        self.button_metal()
            .is_some_and(|metal| metal.is_surely_at_least(demand.lowest, demand.risk))
    }
}

/// What a weighing in water says, and whether it warns.
pub(super) fn in_water_words(job: &Job, captured: &Captured, rules: &BenchRules) -> (String, bool) {
    let mass = words::spelled(captured.mass);
    let shows = match &captured.what {
        What::InWater(water) if water.way == WaterWay::Displaced => {
            format!("The button pushes {mass} of water aside.")
        }
        _ => format!("Hung in water, the button shows {mass}."),
    };
    match job.proof() {
        Some(Ok(proof)) => {
            let said = proof.words().join(" ");
            let low = proof.verdict == Verdict::Low;
            let way = if low {
                if_it_is_so(job, &proof, rules)
            } else {
                String::new()
            };
            (
                format!("{shows} {said}{way}"),
                proof.verdict != Verdict::Agrees,
            )
        }
        Some(Err(trouble)) => (
            format!("{shows} {} {}", trouble.happened, trouble.mend),
            true,
        ),
        None => (shows, true),
    }
}

/// What a low density would mean if it were true: it is too rough to add metal by.
fn if_it_is_so(job: &Job, proof: &Proof, rules: &BenchRules) -> String {
    let Some((gold, button)) = Fineness::per_mille(proof.gold_ppt).zip(job.button()) else {
        return String::new();
    };
    match Remedy::of(job, &Mix::NOTHING.with(button.mass(), gold), rules).metals() {
        Some(ways) => format!(
            " If it is so, the button is about {} ‰ and wants about {ways}. Weigh it again, then have it assayed before anything is added by that.",
            fixed(proof.gold_ppt, 0)
        ),
        None => String::new(),
    }
}

/// What an assay means, and whether it warns.
pub(super) fn assay_words(job: &Job, assayed: &Assayed, rules: &BenchRules) -> (String, bool) {
    let found = format!(
        "Assay: the button is {} by {}, known to {} ‰.",
        assayed.taken,
        assayed.basis,
        fixed(assayed.u_ppt, 2)
    );
    let (demand, Some(metal)) = (job.demand(), job.button_metal()) else {
        return (found, true);
    };
    let chance = metal.chance_text(demand.lowest);
    let mut against_balance = against_mass_balance(job, assayed).unwrap_or_default();
    if let Some(best) = job.last_button().and_then(|button| button.assay.as_ref())
        && best != assayed
    {
        let odds = if best.contradicts(assayed) {
            " The two contradict each other: have it assayed again."
        } else {
            ""
        };
        against_balance = format!(
            " The assay of {} by {} is better known and stands.{odds}{against_balance}",
            best.taken, best.basis
        );
    }
    if metal.is_surely_at_least(demand.lowest, demand.risk) {
        if metal.is_at_most(demand.highest) {
            let told = format!(
                "{found} It is {} or more with {chance}.{against_balance} Close the job.",
                demand.lowest
            );
            return (told, !against_balance.is_empty());
        }
        let told = format!(
            "{found} It is lawful, and above the give-away limit {}.{against_balance} Close the job, or bring it down with metal of less gold, melt it again, and weigh it.",
            demand.highest
        );
        return (told, true);
    }
    let below = if metal.is_at_least(demand.lowest) {
        format!("It is {} or more with {chance} only.", demand.lowest)
    } else {
        format!(
            "It is below {}: it may not be sold under that mark.",
            demand.lowest
        )
    };
    let way = Remedy::of(job, &metal, rules).told();
    (format!("{found} {below}{against_balance} {way}"), true)
}

/// An assay that lies further from the mass balance than both explain.
fn against_mass_balance(job: &Job, assayed: &Assayed) -> Option<String> {
    let button = job.button()?;
    let by_balance = job.by_mass_balance(button)?;
    let reckoned = (by_balance.fineness()?, by_balance.known_to_ppt());
    lie_apart((assayed.taken, assayed.u_ppt), reckoned).then(|| {
        format!(
            " By mass balance it ought to be {}: one of the lots was not what it was taken for, metal went in unweighed, or the sample was not of this button.",
            by_balance.fineness().unwrap_or(Fineness::NONE)
        )
    })
}

/// What a button that was only weighed leaves open; nothing where it is sure.
pub(super) fn unproven(job: &Job, rules: &BenchRules) -> Option<String> {
    let demand = job.demand();
    let metal = job.button_metal()?;
    if metal.is_surely_at_least(demand.lowest, demand.risk) {
        return None;
    }
    if metal.is_at_least(demand.lowest) {
        return Some(format!(
            "After that loss it is {} or more with {} only: prove it before it is marked, by its density or an assay.",
            demand.lowest,
            metal.chance_text(demand.lowest)
        ));
    }
    let way = Remedy::of(job, &metal, rules).told();
    Some(format!(
        "It is below {}, as far as is known: have it assayed before it is marked. {way}",
        demand.lowest
    ))
}
