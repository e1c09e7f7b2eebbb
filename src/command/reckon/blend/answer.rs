//! The answer of a blend: as text for people, and as JSON.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::Serialize;

use super::super::answer::{ColourBody, U_IS, colour, grams, parts, short};
use super::Found;
use super::asked::Question;
use crate::mass::{Division, Mass, fixed};
use crate::melt::{Goal, Hinder, Limit, budget, marks_told};
use crate::metal::{Asked, Colour, Element, Fineness, Judged, Metal, Warning, warnings};

/// The answer as JSON. Numbers are decimal strings.
#[derive(Debug, Serialize)]
pub(super) struct Body {
    goal: &'static str,
    used: Vec<UsedBody>,
    add: Vec<AddBody>,
    total_g: String,
    fineness_ppt: String,
    karat: String,
    u_ppt: String,
    p_conform: String,
    /// Fine gold above what the mark asks for.
    given_away_g: String,
    /// What the added metals cost; none when one of them has no price.
    cost: Option<CostBody>,
    composition_ppt: BTreeMap<String, String>,
    colour: ColourBody,
    marks: Vec<String>,
    mark_law: String,
    /// Limits that hold for what is known, but that the unknown part could break.
    unproven: Vec<String>,
    warnings: Vec<String>,
}

#[derive(Debug, Serialize)]
struct UsedBody {
    lot: String,
    mass_g: String,
    left_over_g: String,
    taken_ppt: String,
    u_ppt: String,
}

#[derive(Debug, Serialize)]
struct AddBody {
    key: String,
    metal: String,
    mass_g: String,
    cost: Option<CostBody>,
}

#[derive(Debug, Serialize)]
struct CostBody {
    amount: String,
    currency: String,
}

/// An answer with what stands against it.
pub(super) struct Answer {
    pub(super) body: Body,
    against: bool,
}

impl Answer {
    pub(super) fn of(question: &Question, found: &Found) -> Self {
        let (blend, melt) = (&found.blend, &found.melt);
        let decimals = question.division.mass().grams().normalize().scale();
        let mut warned = question.supposed.clone();
        let added: Vec<(&Metal, Mass)> = found
            .metals
            .iter()
            .zip(blend.shelf.iter().copied())
            .filter(|(_, mass)| mass.is_positive())
            .collect();
        let asked = Asked {
            target: question.demand.target,
            colour: question.colour.unwrap_or(Colour::Yellow),
            purpose: question.purpose,
        };
        let mut found_against = warnings(&blend.metal, &added, asked);
        if question.colour.is_none() {
            found_against.retain(|warning| {
                !matches!(
                    warning,
                    Warning::ColourDrifts { .. } | Warning::ColourNotKnown { .. }
                )
            });
        }
        for warning in &found_against {
            let told = warning.told();
            warned.push(format!("{} {} {}", told.happened, told.means, told.mend));
        }
        let zinc = found_against
            .iter()
            .any(|it| matches!(it, Warning::Zinc { .. }));
        if zinc && !question.limits_most_of(Element::Zn) {
            warned.push(
                "To have less zinc in it, ask with --at-most zinc=20 or --no zinc.".to_owned(),
            );
        }
        let mut unproven: Vec<String> = blend
            .unproven
            .iter()
            .map(|hinder| limit_words(*hinder, question, found))
            .collect();
        if blend.metal.is_known() && !unproven.is_empty() {
            // Fine metals are sold as 999, and nobody says what the last part is.
            unproven.clear();
            warned.push(format!(
                "{} parts in 1000 of it are not stated, within the rounding of its metals; the limits hold for the rest.",
                blend.metal.unknown_per_mille(2)
            ));
        }
        let sure = found.is_sure;
        if !sure {
            warned.push(not_sure(question, found));
        }
        let fineness = blend.fineness;
        let marks = question.law.marks_for(fineness, Judged::WithoutSolder);
        let body = Body {
            goal: match question.goal {
                Goal::Cheapest => "cheapest",
                Goal::MostOfTheLots => "client",
            },
            used: used(question, found, decimals),
            add: added
                .iter()
                .map(|(metal, mass)| AddBody {
                    key: metal.key.clone(),
                    metal: metal.name.clone(),
                    mass_g: grams(*mass, decimals),
                    cost: metal.price.as_ref().and_then(|price| {
                        let amount = price.per_gram.checked_mul(mass.grams())?;
                        Some(money(amount, &price.currency))
                    }),
                })
                .collect(),
            total_g: grams(blend.mass, decimals),
            fineness_ppt: fineness.to_per_mille(4).to_string(),
            karat: fineness.to_karat(4).to_string(),
            u_ppt: format!("{:.4}", melt.u_ppt()),
            p_conform: melt.chance_digits(question.demand.lowest),
            given_away_g: fixed(
                melt.surplus(question.demand.target).max(Decimal::ZERO) / Decimal::from(3000),
                4,
            )
            .to_string(),
            // A blend without additions costs nothing in any currency.
            cost: blend
                .cost
                .zip(question.currency.as_ref())
                .map(|(cost, currency)| money(cost, currency)),
            composition_ppt: parts(&blend.metal),
            colour: colour(&blend.metal),
            marks: marks.iter().map(|mark| mark.text.clone()).collect(),
            mark_law: question.law.key.clone(),
            unproven,
            warnings: warned,
        };
        let heard = found_against
            .iter()
            .any(|warning| !warning.is_of_what_is_not_known());
        Self {
            against: heard || !sure || !body.unproven.is_empty(),
            body,
        }
    }

    /// Whether anything stands against the answer that the person should see.
    pub(super) fn stands_against(&self) -> bool {
        self.against
    }

    pub(super) fn text(&self, question: &Question, found: &Found) -> String {
        let (body, target) = (&self.body, question.demand.target);
        let best = match (question.goal, question.lots.is_empty()) {
            (_, true) => "at the least cost",
            (Goal::Cheapest, false) => "all of the client's metal used, at the least cost",
            (Goal::MostOfTheLots, false) => {
                "with the most of the client's metal, then at the least cost"
            }
        };
        let mut lines = vec![format!(
            "To {target} ({} k), {best}:",
            target.to_karat(2).normalize()
        )];
        let show = |mass: Mass| shown(mass, question.division);
        for ((used, lot), mass) in body.used.iter().zip(&question.lots).zip(&found.blend.lots) {
            let left = lot.mass - *mass;
            let left = if left.is_positive() {
                format!("; {} is left over", show(left))
            } else {
                String::new()
            };
            lines.push(format!(
                "  {:<9}{:>12}   taken for {} ‰ (u {} ‰){left}",
                used.lot,
                show(*mass),
                used.taken_ppt,
                short(&used.u_ppt)
            ));
        }
        let weighed = found.blend.shelf.iter().filter(|mass| mass.is_positive());
        for (add, mass) in body.add.iter().zip(weighed) {
            let cost = add.cost.as_ref().map_or_else(String::new, |cost| {
                format!(", {} {}", cost.amount, cost.currency)
            });
            lines.push(format!(
                "  add      {:>12}   {}{cost}",
                show(*mass),
                add.metal
            ));
        }
        if body.add.is_empty() {
            lines.push("  Nothing need be added.".to_owned());
        }
        lines.push(format!(
            "  makes    {:>12}   of {} ‰ ({} k), u {} ‰",
            show(found.blend.mass),
            short(&body.fineness_ppt),
            short(&body.karat),
            short(&body.u_ppt)
        ));
        lines.push(U_IS.to_owned());
        match &body.cost {
            Some(cost) => lines.push(format!(
                "The added metal costs {} {}.",
                cost.amount, cost.currency
            )),
            None if question.currency.is_some() => {
                lines.push(
                    "What it costs is not known: not every metal added has a price on the shelf."
                        .to_owned(),
                );
            }
            None => {}
        }
        lines.push(format!(
            "Lawful as {target} with a chance of {}; {} g of fine gold in it lies above {target}.",
            found.melt.chance_text(question.demand.lowest),
            body.given_away_g
        ));
        lines.push(marks_told(&found.melt, &question.law, &question.demand));
        let made_of: Vec<String> = body
            .composition_ppt
            .iter()
            .map(|(element, ppt)| format!("{element} {ppt}"))
            .collect();
        lines.push(format!("Made of {} parts in 1000.", made_of.join(", ")));
        lines.push(match (&body.colour.family, &body.colour.designation) {
            (Some(family), Some(like)) => format!("Colour: {family} ({like})."),
            (Some(family), None) => format!("Colour: {family}."),
            (None, _) => "Colour: it cannot be told from what is known.".to_owned(),
        });
        lines.extend(body.unproven.iter().map(|limit| {
            format!("Not proven: that {limit}. It holds for what is known of the metals; what is unknown could break it.")
        }));
        lines.extend(
            body.warnings
                .iter()
                .map(|warning| format!("Note: {warning}")),
        );
        lines.join("\n")
    }
}

fn used(question: &Question, found: &Found, decimals: u32) -> Vec<UsedBody> {
    let lots = question.lots.iter().zip(&found.blend.lots);
    lots.map(|(lot, mass)| UsedBody {
        lot: lot.name.clone(),
        mass_g: in_grams(*mass, decimals),
        left_over_g: in_grams(lot.mass - *mass, decimals),
        taken_ppt: lot.made_of.gold().to_per_mille(4).normalize().to_string(),
        u_ppt: fixed(lot.u.to_per_mille(), 3).to_string(),
    })
    .collect()
}

/// A mass as the balance shows it; one from another balance, finer than this one shows, as it is.
fn shown(mass: Mass, division: Division) -> String {
    if division.nearest(mass) == mass {
        return division.show(mass).to_string();
    }
    let digits = division.in_unit(mass, 7).normalize();
    format!("{digits} {}", division.unit())
}

/// The same in grams.
fn in_grams(mass: Mass, decimals: u32) -> String {
    let exact = mass.grams().normalize();
    grams(mass, decimals.max(exact.scale().min(7)))
}

/// Money for people.
fn money(amount: Decimal, currency: &str) -> CostBody {
    CostBody {
        amount: fixed(amount, 2).to_string(),
        currency: currency.to_owned(),
    }
}

/// A limit that the unknown part could break, in words that follow on "that".
fn limit_words(hinder: Hinder, question: &Question, found: &Found) -> String {
    let bound = |side: &str, share: Decimal| {
        let percent = fixed(share * Decimal::ONE_HUNDRED, 1).normalize();
        format!("at {side} {percent} parts in 100 of its silver and copper are silver")
    };
    let (low, high) = found.ask.silver_share.unwrap_or_default();
    match hinder {
        Hinder::Limit(place) => match found.ask.limits.get(place) {
            Some(Limit::AtMost(element, ppt)) if ppt.is_zero() => {
                format!("there is no {} in it", element.name())
            }
            Some(Limit::AtMost(element, ppt)) => {
                format!("{} is at most {} ‰", element.name(), ppt.normalize())
            }
            Some(Limit::AtLeast(element, ppt)) => {
                format!("{} is at least {} ‰", element.name(), ppt.normalize())
            }
            None => "every limit is met".to_owned(),
        },
        Hinder::LeastSilver => bound("least", low),
        Hinder::MostSilver => bound("most", high),
        Hinder::LowestFineness => at(question.demand.lowest, "least"),
        Hinder::HighestFineness => at(question.demand.highest, "most"),
        Hinder::Mass | Hinder::Stock(_) | Hinder::WholeLots => "every mass is met".to_owned(),
    }
}

fn at(fineness: Fineness, side: &str) -> String {
    format!("the fineness is at {side} {fineness}")
}

/// Why the chance of being lawful stays below what the shop asks, and what would help.
fn not_sure(question: &Question, found: &Found) -> String {
    let most = budget(&found.known);
    let most = most.first().map_or_else(String::new, |most| {
        format!(" Most of the doubt is the {}.", most.name)
    });
    let wanted = (1.0 - question.demand.risk.chance()) * 100.0;
    format!(
        "The shop asks for a chance of {wanted:.1} % of being lawful, and inside the give-away limit and the other limits it cannot be had.{most} Have that lot assayed, or write your own figure behind its basis if it is better (as 750:xrf:2), or allow more with --give-away."
    )
}
