//! The answer of a proof by density: as text for people, and as JSON.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::Serialize;

use super::super::answer::{U_IS, grams, parts};
use crate::mass::{Division, fixed};
use crate::melt::{Density as Dense, InWater, Proof, Weighings};
use crate::metal::{Composition, Element, Fineness};

/// The answer as JSON. Numbers are decimal strings.
#[derive(Debug, Serialize)]
pub(super) struct Body {
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

impl Body {
    pub(super) fn of(
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
            verdict: proof.verdict.word(),
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

/// For people.
pub(super) fn text(
    proof: &Proof,
    body: &Body,
    weighings: &Weighings,
    division: Division,
) -> String {
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
    lines.push(U_IS.to_owned());
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
