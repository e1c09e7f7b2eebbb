//! `panbell reckon density`: a piece proved by its density, with what that can and cannot tell.
//!
//! Promises: the density with every doubt in it, held against the planned alloy, in words for the
//! bench and as JSON. Leaves to others: the reckoning (`melt`), and what is done about the piece.

mod answer;

use clap::Args;
use rust_decimal::Decimal;

use super::terms::law;
use super::water::WaterArgs;
use crate::command::output::Output;
use crate::command::{Common, Ended};
use crate::job::WaterWay;
use crate::mass::{Division, Indication};
use crate::melt::{Doubts, InWater, Verdict, Weighings, prove};
use crate::metal::{Composition, Fineness, Judged};
use crate::settings::read_laws;
use crate::trouble::Trouble;
use answer::{Body, text};

/// Prove a piece by its density: weighed in air and in water on the same balance.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  panbell reckon density --air \"12.345 g\" --water \"11.544 g\" --planned \"Au 750 Ag 125 Cu 125\"
  panbell reckon density --air \"12.345 g\" --displaced \"0.801 g\" --planned-fineness 18k

Hung: the piece hangs from the balance into the water. Displaced: a vessel of water stands on the
pan at zero, and the piece hangs into it from outside.")]
pub(super) struct Density {
    /// What the balance shows of the dry piece, with every digit
    #[arg(long, value_name = "MASS")]
    air: String,
    /// What it shows of the piece hung from the balance into water
    #[arg(
        long,
        value_name = "MASS",
        required_unless_present = "displaced",
        conflicts_with = "displaced"
    )]
    water: Option<String>,
    /// What it shows of the water that the piece pushes aside in a vessel on the pan
    #[arg(long, value_name = "MASS")]
    displaced: Option<String>,
    #[command(flatten)]
    around: WaterArgs,
    /// What the piece ought to be made of, in parts per thousand: "Au 750 Ag 125 Cu 125"
    #[arg(
        long,
        value_name = "ALLOY",
        required_unless_present = "planned_fineness",
        conflicts_with = "planned_fineness"
    )]
    planned: Option<String>,
    /// What fineness it ought to have, when its other metals are not known
    #[arg(long, value_name = "KARAT|FINENESS")]
    planned_fineness: Option<String>,
    /// The mark that it is to carry; the planned fineness if left out
    #[arg(long, value_name = "KARAT|FINENESS")]
    mark: Option<String>,
    /// The law of marks whose tolerance may be used
    #[arg(long, value_name = "NAME", default_value = "none")]
    mark_law: String,
    /// The division of the balance; one of the last digit typed if left out
    #[arg(long, value_name = "MASS")]
    division: Option<String>,
}

impl Density {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let mut supposed = Vec::new();
        let in_air: Indication = self.air.parse()?;
        let water = self.water.as_deref().or(self.displaced.as_deref());
        let with_water: Indication = water.unwrap_or_default().parse()?;
        if in_air.unit() != with_water.unit() {
            return Err(Trouble::new(
                "units-differ",
                format!("The piece was weighed as {in_air} and as {with_water}, in two units."),
                "The two weighings cannot be of the same balance, so nothing is reckoned from them.",
                "Weigh both on the same balance, in one unit.",
            ));
        }
        let division: Division = match &self.division {
            Some(text) => text.parse()?,
            None => last_digit(in_air, with_water, &mut supposed)?,
        };
        let planned: Composition = match (&self.planned, &self.planned_fineness) {
            (Some(text), _) => text.parse()?,
            (None, text) => Composition::of_gold(text.as_deref().unwrap_or_default().parse()?),
        };
        let mark: Fineness = match &self.mark {
            Some(text) => text.parse()?,
            None => planned.gold(),
        };
        let law = law(read_laws(&common.reading_folders()?)?, &self.mark_law)?;
        let water = self.around.read(if self.water.is_some() {
            WaterWay::Hung
        } else {
            WaterWay::Displaced
        })?;
        let weighings = Weighings {
            in_air: in_air.mass(),
            in_water: match water.way {
                WaterWay::Hung => InWater::Hung(with_water.mass()),
                WaterWay::Displaced => InWater::Displaced(with_water.mass()),
            },
            water_celsius: water.water_celsius,
            air: water.air(),
            doubts: Doubts::usual(division),
            planned,
            lowest: law.lowest(mark, Judged::WithoutSolder),
        };
        let proof = prove(&weighings)?;
        let body = Body::of(&proof, &weighings, division, mark, supposed);
        output.say(&text(&proof, &body, &weighings, division), &body);
        Ok(match proof.verdict {
            Verdict::Agrees => Ended::Done,
            Verdict::TellsNothing | Verdict::Low | Verdict::High => Ended::Warning,
        })
    }
}

/// One of the last digit that was typed: the finer of the two, as a balance has one division and
/// a person leaves zeros out.
fn last_digit(
    one: Indication,
    other: Indication,
    supposed: &mut Vec<String>,
) -> Result<Division, Trouble> {
    let decimals = one.digits().scale().max(other.digits().scale());
    let step = Indication::new(Decimal::new(1, decimals), one.unit());
    let division = step.and_then(Division::new).ok_or_else(|| {
        Trouble::new(
            "division-unreadable",
            "The division of the balance cannot be read off the masses.",
            "How far they may be believed is not known, so nothing is reckoned from them.",
            "Give the step of the balance's last digit with --division, as in 0.01 g.",
        )
    })?;
    supposed.push(format!(
        "No division was given, so the balance is taken to weigh in steps of {division}, by the last digit typed."
    ));
    Ok(division)
}
