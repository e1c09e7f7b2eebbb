//! The answer: as text for people, and as JSON.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::Serialize;

use super::asked::Question;
use crate::mass::{Division, Mass, fixed};
use crate::melt::{Lot, Opening, Reckoning, Trials, marks_told, trials, uncertain_digits, unfit};
use crate::metal::{
    Composition, Designation, Element, Family, Judged, Mark, Metal, Warning, ternary, warnings,
};

/// What u is, for people.
pub(super) const U_IS: &str = "(u is a standard uncertainty: the truth lies within one u about two times in three, within two u about nineteen in twenty.)";

/// Trials of a Monte Carlo check, on each of two threads.
const TRIALS: u32 = 500_000;

/// The answer as JSON. Numbers are decimal strings.
#[derive(Debug, Serialize)]
pub(super) struct Body {
    add: Vec<AddBody>,
    used: Vec<UsedBody>,
    total_g: String,
    fineness_ppt: String,
    karat: String,
    u_ppt: String,
    p_conform: String,
    composition_ppt: BTreeMap<String, String>,
    colour: ColourBody,
    marks: Vec<String>,
    mark_law: String,
    surer_by: Vec<ShareBody>,
    /// The lots of which any one, known to so much, would open an empty window.
    opened_by: Vec<OpenedBody>,
    monte_carlo: Option<TrialsBody>,
    warnings: Vec<String>,
}

#[derive(Debug, Serialize)]
struct AddBody {
    metal: String,
    exact_g: Option<String>,
    aim_g: String,
    /// The edges; none where the window is empty.
    window_g: Option<[String; 2]>,
}

#[derive(Debug, Serialize)]
struct UsedBody {
    lot: String,
    mass_g: String,
    taken_ppt: String,
    u_ppt: String,
}

#[derive(Debug, Serialize)]
pub(super) struct ColourBody {
    pub(super) family: Option<String>,
    pub(super) designation: Option<String>,
    ternary: Option<[String; 2]>,
}

#[derive(Debug, Serialize)]
struct OpenedBody {
    lot: String,
    u_ppt: String,
}

#[derive(Debug, Serialize)]
struct ShareBody {
    source: String,
    u_ppt: String,
    part_ppt: u32,
}

#[derive(Debug, Serialize)]
struct TrialsBody {
    trials: u32,
    fineness_ppt: String,
    u_ppt: String,
    p_conform: String,
    agrees: bool,
}

/// How much of each of two finenesses.
#[derive(Debug, Serialize)]
pub(super) struct TwoBody {
    used: Vec<UsedBody>,
    total_g: String,
    fineness_ppt: String,
}

/// An answer with what stands against it.
pub(super) struct Answer {
    pub(super) body: Body,
    chance: String,
    against: bool,
}

pub(super) fn grams(mass: Mass, decimals: u32) -> String {
    fixed(mass.grams(), decimals).to_string()
}

impl Answer {
    #[allow(clippy::too_many_lines)] // every key of the answer, once
    pub(super) fn of(question: &Question, reckoning: &Reckoning, monte_carlo: bool) -> Self {
        let melt = &reckoning.melt;
        let decimals = question.division.mass().grams().normalize().scale();
        let fineness = melt.fineness().unwrap_or(crate::metal::Fineness::NONE);
        let (mut warned, mut empty) = (question.supposed.clone(), Vec::new());
        let metals: Vec<(&Metal, Mass)> = question
            .metals
            .iter()
            .zip(&reckoning.add)
            .map(|(metal, add)| (metal, add.aim))
            .collect();
        let against = warnings(&reckoning.made_of, &metals, question.asked);
        for warning in &against {
            let told = warning.told();
            warned.push(format!("{} {}", told.happened, told.means));
        }
        let mut against: Vec<_> = against
            .iter()
            .filter(|warning| !warning.is_of_what_is_not_known())
            .map(Warning::code)
            .collect();
        for (add, asked) in reckoning.add.iter().zip(&question.add) {
            match &add.window {
                Ok(window) => {
                    for unfit in unfit(
                        window,
                        question.division,
                        question.repeatability,
                        question.class,
                    ) {
                        warned.push(format!("{}: {}", add.name, unfit.text(question.division)));
                    }
                }
                Err(why) => {
                    let told = why.trouble(
                        &add.name,
                        asked.metal.gold,
                        &question.demand,
                        question.division,
                    );
                    let most = reckoning.budget.first();
                    let most = most.map_or_else(String::new, |most| {
                        format!(" The {} weighs most.", most.name)
                    });
                    empty.push(format!(
                        "The window is empty. {}{most} {}",
                        told.happened, told.mend
                    ));
                    against.push("window-empty");
                }
            }
        }
        let opening = (!empty.is_empty()).then(|| question.opening());
        empty.extend(opening.iter().flat_map(|opening| opens(opening, question)));
        // What matters most comes first.
        empty.append(&mut warned);
        let mut warned = empty;
        let trials = monte_carlo.then(|| tried(question, reckoning));
        if let Some(said) = trials
            .and_then(|t| t.against(melt.u_ppt(), melt.chance_at_least(question.demand.lowest)))
        {
            warned.push(said);
        }
        let marks = question.law.marks_for(fineness, Judged::WithoutSolder);
        let is_sure = |mark: &&&Mark| {
            let lowest = question.law.lowest(mark.fineness, Judged::WithoutSolder);
            melt.is_surely_at_least(lowest, question.demand.risk)
        };
        let body = Body {
            add: reckoning
                .add
                .iter()
                .map(|add| AddBody {
                    metal: add.name.clone(),
                    exact_g: add.exact.map(|mass| grams(mass, 12)),
                    aim_g: grams(add.aim, decimals),
                    window_g: add
                        .window
                        .ok()
                        .map(|w| [grams(w.lower, decimals), grams(w.upper, decimals)]),
                })
                .collect(),
            used: question
                .lots
                .iter()
                .zip(&reckoning.used)
                .map(|(lot, (_, mass))| used(lot, *mass))
                .collect(),
            total_g: grams(melt.mass(), decimals),
            fineness_ppt: fineness.to_per_mille(4).to_string(),
            karat: fineness.to_karat(4).to_string(),
            u_ppt: format!("{:.4}", melt.u_ppt()),
            p_conform: melt.chance_digits(question.demand.lowest),
            composition_ppt: parts(&reckoning.made_of),
            colour: colour(&reckoning.made_of),
            marks: marks
                .iter()
                .filter(is_sure)
                .map(|mark| mark.text.clone())
                .collect(),
            mark_law: question.law.key.clone(),
            surer_by: reckoning
                .budget
                .iter()
                .map(|share| ShareBody {
                    source: share.name.clone(),
                    u_ppt: format!("{:.4}", share.u_ppt),
                    part_ppt: share.part,
                })
                .collect(),
            opened_by: opened_by(opening.as_ref(), question),
            monte_carlo: trials.map(|t| TrialsBody {
                trials: TRIALS * 2,
                fineness_ppt: format!("{:.4}", t.mean_ppt()),
                u_ppt: format!("{:.4}", t.u_ppt()),
                p_conform: uncertain_digits(t.chance()),
                agrees: t
                    .against(melt.u_ppt(), melt.chance_at_least(question.demand.lowest))
                    .is_none(),
            }),
            warnings: warned,
        };
        Self {
            body,
            chance: melt.chance_text(question.demand.lowest),
            against: !against.is_empty(),
        }
    }

    /// Whether anything stands against the answer that the person should see.
    pub(super) fn stands_against(&self) -> bool {
        self.against
    }

    /// For people: masses in the unit that the balance shows.
    pub(super) fn text(&self, question: &Question, reckoning: &Reckoning) -> String {
        let body = &self.body;
        let division = question.division;
        let show = |mass: Mass| division.show(mass).to_string();
        let mut lines = vec![format!(
            "To {} ({} k):",
            question.demand.target,
            question.demand.target.to_karat(2).normalize()
        )];
        for (used, (_, mass)) in body.used.iter().zip(&reckoning.used) {
            lines.push(format!(
                "  {:<9}{:>12}   {}",
                used.lot,
                as_weighed(*mass, division),
                taken(&used.taken_ppt, &used.u_ppt)
            ));
        }
        for add in &reckoning.add {
            let between = match &add.window {
                Ok(window) => {
                    format!("between {} and {}", show(window.lower), show(window.upper))
                }
                Err(_) => "by plain mass balance; the window is empty".to_owned(),
            };
            // What is not to be weighed out stands in brackets.
            let aim = match &add.window {
                Ok(_) => show(add.aim),
                Err(_) => format!("({})", show(add.aim)),
            };
            lines.push(format!("  add      {aim:>12}   {}, {between}", add.name));
        }
        if body.add.is_empty() {
            lines.push("  Nothing need be added.".to_owned());
        }
        lines.push(format!(
            "  makes    {:>12}   of {} ‰ ({} k), u {} ‰",
            show(reckoning.melt.mass()),
            short(&body.fineness_ppt),
            short(&body.karat),
            short(&body.u_ppt)
        ));
        lines.push(U_IS.to_owned());
        lines.push(format!(
            "Lawful as {} with a chance of {}.",
            question.demand.target, self.chance
        ));
        lines.push(marks_told(&reckoning.melt, &question.law, &question.demand));
        let made_of: Vec<String> = body
            .composition_ppt
            .iter()
            .map(|(element, ppt)| format!("{element} {ppt}"))
            .collect();
        lines.push(format!("Made of {} parts in 1000.", made_of.join(", ")));
        if let Some(family) = &body.colour.family {
            let designation = body
                .colour
                .designation
                .as_ref()
                .map_or_else(String::new, |d| format!(" ({d})"));
            lines.push(format!("Colour: {family}{designation}."));
        }
        if let Some(first) = body.surer_by.first() {
            lines.push(format!(
                "The largest doubt is the {}: {} parts in 1000 of the variance.",
                first.source, first.part_ppt
            ));
        }
        if let Some(trials) = &body.monte_carlo {
            let verdict = if trials.agrees {
                "agrees"
            } else {
                "does not agree"
            };
            lines.push(format!(
                "{} trials: u {} ‰, lawful {}; first order {verdict}.",
                trials.trials, trials.u_ppt, trials.p_conform
            ));
        }
        lines.extend(
            body.warnings
                .iter()
                .map(|warning| format!("Note: {warning}")),
        );
        lines.join("\n")
    }
}

/// The answer for two finenesses.
pub(super) fn two(
    question: &Question,
    one: &Lot,
    first: Mass,
    other: &Lot,
    second: Mass,
) -> (String, TwoBody) {
    let body = TwoBody {
        used: vec![used(one, first), used(other, second)],
        total_g: grams(first + second, 9),
        fineness_ppt: question.demand.target.to_per_mille(4).to_string(),
    };
    let show = |mass| question.division.show(mass);
    let text = format!(
        "{} of {} and {} of {} make {} of {}.",
        show(first),
        one.stated,
        show(second),
        other.stated,
        show(first + second),
        question.demand.target
    );
    (text, body)
}

fn used(lot: &Lot, mass: Mass) -> UsedBody {
    UsedBody {
        lot: lot.name.clone(),
        mass_g: mass.grams().normalize().to_string(),
        taken_ppt: lot.taken.to_per_mille(4).normalize().to_string(),
        u_ppt: fixed(lot.u.to_per_mille(), 3).to_string(),
    }
}

pub(super) fn parts(composition: &Composition) -> BTreeMap<String, String> {
    let known = Element::all().map(|element| {
        (
            element.symbol().to_owned(),
            composition.per_mille(element, 2),
        )
    });
    let unknown = std::iter::once(("unknown".to_owned(), composition.unknown_per_mille(2)));
    known
        .chain(unknown)
        .filter(|(_, ppt)| !ppt.is_zero())
        .map(|(name, ppt)| (name, ppt.to_string()))
        .collect()
}

pub(super) fn colour(composition: &Composition) -> ColourBody {
    ColourBody {
        family: Family::of(composition)
            .ok()
            .map(|family| family.word().to_owned()),
        designation: Designation::of(composition).map(|designation| designation.to_string()),
        // A point that leaves out what is not known would mislead.
        ternary: ternary(composition)
            .filter(|_| composition.is_known())
            .map(|mark| [mark.x, mark.y].map(|part| fixed(part, 6).to_string())),
    }
}

fn tried(question: &Question, reckoning: &Reckoning) -> Trials {
    let limit = question.demand.lowest;
    let metals = &reckoning.metals;
    std::thread::scope(|scope| {
        let other = scope.spawn(|| trials(metals, limit, TRIALS, 2));
        trials(metals, limit, TRIALS, 1).with(other.join().unwrap_or_default())
    })
}

/// A lot in the balance's unit: two digits more than the balance shows, where it was weighed so.
fn as_weighed(mass: Mass, division: Division) -> String {
    let decimals = division.decimals();
    let fine = division.in_unit(mass, decimals + 2).normalize();
    let scale = fine.scale().max(decimals);
    format!("{} {}", fixed(fine, scale), division.unit())
}

/// What a lot is taken for, and how well that is known.
fn taken(ppt: &str, u_ppt: &str) -> String {
    let ppt = short(ppt);
    if u_ppt.parse::<Decimal>().is_ok_and(|u| u.is_zero()) {
        format!("taken for {ppt} ‰ exactly")
    } else {
        format!("taken for {ppt} ‰ (u {} ‰)", short(u_ppt))
    }
}

/// What would open the window, lot by lot.
fn opens(opening: &Opening, question: &Question) -> Vec<String> {
    match opening {
        Opening::Alone(lots) => lots
            .iter()
            .filter_map(|(at, u)| {
                let lot = question.lots.get(*at)?;
                let own = lot.stated.stated_text().replace(" ppt", "").replace(' ', "");
                Some(format!(
                    "{} alone would open it, known to a u of {u} ‰: have it assayed, or if you know it so well yourself, write that figure, as {own}:declared:{u}.",
                    lot.name
                ))
            })
            .collect(),
        Opening::Together(u) => vec![format!(
            "No lot alone would open it, but all together would, each known to a u of {u} ‰ or better: have them assayed, or write your own figures behind each lot's basis."
        )],
        Opening::Never => {
            vec!["No better knowledge of the lots would open it.".to_owned()]
        }
    }
}

fn opened_by(opening: Option<&Opening>, question: &Question) -> Vec<OpenedBody> {
    let Some(Opening::Alone(lots)) = opening else {
        return Vec::new();
    };
    lots.iter()
        .filter_map(|(at, u)| {
            Some(OpenedBody {
                lot: question.lots.get(*at)?.name.clone(),
                u_ppt: u.to_string(),
            })
        })
        .collect()
}

/// A figure to two decimals, for people.
pub(super) fn short(number: &str) -> String {
    number
        .parse()
        .map_or_else(|_| number.to_owned(), |number| fixed(number, 2).to_string())
}
