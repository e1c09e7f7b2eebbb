//! `panbell reckon density`: a piece proved by its density, with what that can and cannot tell.
//!
//! Promises: the density with every doubt in it, held against the planned alloy, in words for the
//! bench and as JSON. Leaves to others: the reckoning (`melt`), and what is done about the piece.

use std::collections::BTreeMap;

use clap::Args;
use rust_decimal::Decimal;
use serde::Serialize;

use super::answer::{grams, parts};
use super::asked::law;
use super::{measure, number};
use crate::command::output::Output;
use crate::command::{Common, Ended};
use crate::mass::{Division, Indication, fixed};
use crate::melt::{Air, Density as Dense, Doubts, InWater, Proof, Verdict, Weighings, prove};
use crate::metal::{Composition, Element, Fineness, Judged};
use crate::settings::read_laws;
use crate::trouble::Trouble;

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
    /// Temperature of the water, degrees Celsius
    #[arg(long, value_name = "CELSIUS", default_value = "20")]
    water_temperature: String,
    /// Temperature of the room, degrees Celsius
    #[arg(long, value_name = "CELSIUS", default_value = "20")]
    air_temperature: String,
    /// Pressure of the air at the bench, not reduced to the sea: as 1013 hPa, or in pascal
    #[arg(long, value_name = "PRESSURE", default_value = "101325")]
    pressure: String,
    /// Relative humidity in per cent
    #[arg(long, value_name = "PERCENT", default_value = "50")]
    humidity: String,
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

/// The answer as JSON. Numbers are decimal strings.
#[derive(Debug, Serialize)]
struct Body {
    density_kg_per_m3: String,
    u_kg_per_m3: String,
    terms: Vec<TermBody>,
    displaced_g: String,
    division: String,
    planned_ppt: BTreeMap<String, String>,
    expected_kg_per_m3: String,
    expected_u_kg_per_m3: String,
    /// The planned alloy if all that is unknown of it were copper, and if it were silver; none
    /// where nothing is unknown.
    if_copper_or_silver_kg_per_m3: Option<[String; 2]>,
    gold_ppt: String,
    gold_u_ppt: String,
    model_u_ppt: String,
    mark_ppt: String,
    lowest_ppt: String,
    p_this_low: String,
    p_conform: String,
    verdict: &'static str,
    says: Vec<String>,
    warnings: Vec<String>,
}

#[derive(Debug, Serialize)]
struct TermBody {
    source: &'static str,
    u_kg_per_m3: String,
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
        let weighings = Weighings {
            in_air: in_air.mass(),
            in_water: if self.water.is_some() {
                InWater::Hung(with_water.mass())
            } else {
                InWater::Displaced(with_water.mass())
            },
            water_celsius: celsius(&self.water_temperature)?,
            air: Air {
                celsius: celsius(&self.air_temperature)?,
                pascal: pascal(&self.pressure)?,
                humidity: measure(&self.humidity, "%", 100, "humidity in per cent")?,
            },
            doubts: Doubts::usual(division),
            planned,
            lowest: law.lowest(mark, Judged::WithoutSolder),
        };
        let proof = prove(&weighings)?;
        let body = Body::of(&proof, &weighings, division, mark, supposed);
        output.say(&text(&proof, &body, &weighings, division), &body);
        Ok(match proof.verdict {
            Verdict::Agrees => Ended::Done,
            Verdict::Low | Verdict::High => Ended::Warning,
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

fn celsius(text: &str) -> Result<Decimal, Trouble> {
    measure(text, "C", 40, "temperature in degrees Celsius")
}

/// Pascal unless it says hectopascal.
fn pascal(text: &str) -> Result<Decimal, Trouble> {
    match text.trim().strip_suffix("hPa") {
        Some(text) => {
            Ok(number(text.trim(), 1100, "pressure in hectopascal")? * Decimal::ONE_HUNDRED)
        }
        None => measure(text, "Pa", 110_000, "pressure in pascal"),
    }
}

impl Body {
    fn of(
        proof: &Proof,
        weighings: &Weighings,
        division: Division,
        mark: Fineness,
        supposed: Vec<String>,
    ) -> Self {
        let kg = |density: Dense| fixed(density.in_kg_per_m3(), 3).to_string();
        let aside = match weighings.in_water {
            InWater::Hung(shown) => weighings.in_air - shown,
            InWater::Displaced(shown) => shown,
        };
        let ends = ends(&weighings.planned);
        Self {
            density_kg_per_m3: kg(proof.density),
            u_kg_per_m3: proof.density_u.to_string(),
            terms: proof
                .terms
                .iter()
                .map(|term| TermBody {
                    source: term.name,
                    u_kg_per_m3: term.kg_per_m3.to_string(),
                })
                .collect(),
            displaced_g: grams(aside, division.mass().grams().normalize().scale()),
            division: division.to_string(),
            planned_ppt: parts(&weighings.planned),
            expected_kg_per_m3: kg(proof.expected),
            expected_u_kg_per_m3: proof.expected_u.to_string(),
            if_copper_or_silver_kg_per_m3: ends.map(|(light, heavy)| [kg(light), kg(heavy)]),
            gold_ppt: proof.gold_ppt.to_string(),
            gold_u_ppt: proof.gold_u_ppt.to_string(),
            model_u_ppt: proof.model_u_ppt.to_string(),
            mark_ppt: mark.to_per_mille(4).to_string(),
            lowest_ppt: weighings.lowest.to_per_mille(4).to_string(),
            p_this_low: proof.chance_this_low.to_string(),
            p_conform: proof.chance_lawful.to_string(),
            verdict: match proof.verdict {
                Verdict::Agrees => "agrees",
                Verdict::Low => "low",
                Verdict::High => "high",
            },
            says: proof.words(),
            warnings: supposed,
        }
    }
}

/// The planned alloy if all that is unknown of it were copper, and if it were silver.
fn ends(planned: &Composition) -> Option<(Dense, Dense)> {
    let with = |rest: Element| {
        let of = |element: Element| Dense::g_per_cm3(element.density());
        let known = Element::all()
            .filter_map(|element| Some((planned.three_thousandths(element), of(element)?)));
        Dense::of_parts(known.chain(of(rest).map(|density| (planned.unknown(), density))))
    };
    (!planned.is_known())
        .then(|| Some((with(Element::Cu)?, with(Element::Ag)?)))
        .flatten()
}

fn text(proof: &Proof, body: &Body, weighings: &Weighings, division: Division) -> String {
    let mut says = body.says.iter().cloned();
    let mut lines: Vec<String> = says.next().into_iter().collect();
    // Figures in g/cm3, as goldsmiths' tables have them.
    let fine = |kg_per_m3: Decimal| fixed(kg_per_m3 / Decimal::ONE_THOUSAND, 3);
    let row = |what: &str, density: Dense, u: Decimal, of: &str| {
        let (density, u) = (fine(density.in_kg_per_m3()), fine(u));
        format!("  {what:<9}{density:>7} g/cm3   u {u}, {of}")
    };
    let aside = match weighings.in_water {
        InWater::Hung(shown) => weighings.in_air - shown,
        InWater::Displaced(shown) => shown,
    };
    let pushed = format!("{} of water pushed aside", division.show(aside));
    lines.push(row("found", proof.density, proof.density_u, &pushed));
    let planned = weighings.planned.to_string();
    lines.push(row("planned", proof.expected, proof.expected_u, &planned));
    if let Some((light, heavy)) = ends(&weighings.planned) {
        lines.push(format!(
            "  {:<9}{:>7} g/cm3   if all that is unknown were copper, {} g/cm3 if it were silver",
            "",
            fine(light.in_kg_per_m3()),
            fine(heavy.in_kg_per_m3())
        ));
    }
    lines.push("(u is a standard uncertainty: the truth lies within one u about two times in three, within two u about nineteen in twenty.)".to_owned());
    let terms: Vec<String> = proof
        .terms
        .iter()
        .map(|term| {
            let u = fixed(term.kg_per_m3 / Decimal::ONE_THOUSAND, 4);
            format!("{} {u}", term.name)
        })
        .collect();
    lines.push(format!(
        "The u of the found density is made of: {}.",
        terms.join(", ")
    ));
    if (Decimal::ZERO..=Decimal::ONE_THOUSAND).contains(&proof.gold_ppt) {
        lines.push(format!(
            "Gold by density alone: {} ‰, u {} ‰, if the other metals keep their proportion.",
            fixed(proof.gold_ppt, 0),
            fixed(proof.gold_u_ppt, 0)
        ));
    } else {
        lines.push("No part of gold with these other metals has that density.".to_owned());
    }
    let (side, chance) = if proof.density < proof.expected {
        ("lower", proof.chance_this_low)
    } else {
        ("higher", Decimal::ONE - proof.chance_this_low)
    };
    lines.push(format!(
        "A piece of just the planned alloy would show this density or a {side} one with a chance of {}.",
        per_cent(chance)
    ));
    lines.push(format!(
        "By this proof alone it holds {} or more with a chance of {}.",
        weighings.lowest,
        per_cent(proof.chance_lawful)
    ));
    if weighings.planned.gold() == weighings.lowest {
        lines.push("The plan lies at that limit itself, so a piece just as planned would have even chances here.".to_owned());
    }
    lines.extend(says);
    let warnings = body.warnings.iter();
    lines.extend(warnings.map(|warning| format!("Note: {warning}")));
    lines.join("\n")
}

/// A chance in per cent, never rounded to certainty.
fn per_cent(chance: Decimal) -> String {
    let percent = fixed(chance * Decimal::ONE_HUNDRED, 1);
    let least = Decimal::new(1, 1);
    if percent > Decimal::ONE_HUNDRED - least {
        "over 99.9 %".to_owned()
    } else if percent < least {
        "under 0.1 %".to_owned()
    } else {
        format!("{percent} %")
    }
}
