//! The statement: what went in, what came out, and what that makes of the gold.

use std::fmt::Write as _;

use super::fold::{Job, Weighed};
use super::record::{Closed, What};
use super::state::BenchRules;
use super::words;
use crate::mass::{Mass, fixed};
use crate::melt::{Mix, Verdict};
use crate::metal::Purpose;

/// The sums of a job with what stands against it.
pub(super) fn closing(job: &Job, rules: &BenchRules) -> Closed {
    let (client, melt) = (job.client_metal(), job.melt());
    Closed {
        lots: words::shown(job, client.mass()),
        melt: words::shown(job, melt.mass()),
        gold: gold(job, &melt),
        fineness_ppt: melt
            .fineness()
            .map_or_else(String::new, |f| f.to_per_mille(2).to_string()),
        button: job.button(),
        warnings: warnings(job, &melt, rules),
    }
}

/// Fine gold to a hundredth of the division, in the unit of the job.
fn gold(job: &Job, mix: &Mix) -> String {
    let division = job.opened.division;
    format!(
        "{} {}",
        division.in_unit(mix.gold().mass(), division.decimals() + 2),
        division.unit()
    )
}

fn warnings(job: &Job, melt: &Mix, rules: &BenchRules) -> Vec<String> {
    let mut warnings = words::cautions(job, rules);
    warnings.extend(unproven(job));
    let demand = job.demand();
    let button = job.last_button();
    if melt.mass() == Mass::ZERO {
        warnings.push("Nothing was weighed.".to_owned());
    } else if let (Some(Weighed { assay: Some(_), .. }), Some(metal)) = (button, job.button_metal())
    {
        if !metal.is_at_least(demand.lowest) {
            warnings.push(format!(
                "By its assay the button is below {}: it may not be sold under that mark.",
                demand.lowest
            ));
        }
    } else if !melt.is_at_least(demand.lowest) {
        let way = words::put_right(job, melt, rules)
            .map_or_else(String::new, |ways| format!(" {ways} would put it right."));
        warnings.push(format!(
            "By mass balance the melt is below {}: it may not be sold under that mark.{way}",
            demand.lowest
        ));
    } else if !melt.is_at_most(demand.highest) {
        warnings.push(format!(
            "By mass balance the melt is above the give-away limit of {}.",
            demand.highest
        ));
    }
    for addition in job.left_out() {
        warnings.push(format!(
            "{} was planned and not added.",
            words::metal_name(job, addition)
        ));
    }
    match job.proof() {
        Some(Ok(proof)) if proof.verdict == Verdict::Low => warnings.push(
            "By its density the button holds less gold than planned, or hollows: have it assayed before it is marked.".to_owned(),
        ),
        Some(Ok(proof)) if proof.verdict == Verdict::High => warnings.push(
            "By its density the button is not the alloy that was planned: have it assayed before it is marked.".to_owned(),
        ),
        _ => {}
    }
    match job.button() {
        None if melt.mass() != Mass::ZERO => {
            warnings.push("The button was not weighed.".to_owned());
        }
        Some(button) if job.is_melted_again() && button.mass() > job.put_in().mass() => {
            warnings.push("Over all melts more came out than was put in: metal went in that was not weighed, and where its gold came from is not in this book.".to_owned());
        }
        Some(button) if button.mass() > melt.mass() => {
            warnings.push("The button weighs more than what went in: the reckoned fineness does not hold. Have it assayed before it is marked.".to_owned());
        }
        _ => {}
    }
    warnings
}

/// The masses of which the unit is not proven from both sides.
fn unproven(job: &Job) -> Option<String> {
    let mut masses = Vec::new();
    let mut is_shown_wrong = false;
    for (weighed, next) in job.unproven() {
        masses.push(weighed.captured.mass.to_string());
        is_shown_wrong |= next.is_some();
    }
    let why = if is_shown_wrong {
        "after them the balance was seen not to be in its unit, the check weight did not agree, or the button weighs too unlike them"
    } else {
        "the check weight was not shown again after them"
    };
    (!masses.is_empty()).then(|| {
        format!(
            "The unit of {} is not proven: {why}. Weigh them again before anything is sold by them.",
            masses.join(", ")
        )
    })
}

/// The statement as text for people, 60 columns wide.
#[allow(clippy::too_many_lines)] // one page, from top to bottom
pub fn statement(job: &Job, closed: &Closed) -> String {
    let mut text = String::new();
    let opened = &job.opened;
    let mut line = |label: &str, value: &str| {
        let _infallible = writeln!(text, "{label:<38}{value:>22}");
    };
    line(&format!("Ticket {}", opened.ticket), "");
    if !opened.client.is_empty() {
        line(&format!("Client {}", opened.client), "");
    }
    let purpose = match opened.purpose {
        Purpose::Any => String::new(),
        purpose => format!(", for {purpose}"),
    };
    line(
        &format!("Asked for: {} {}{purpose}", opened.target, opened.colour),
        "",
    );
    line("", "");
    let mut lots = 0;
    for weighed in &job.weighed {
        let captured = &weighed.captured;
        let mut below = None;
        let label = match &captured.what {
            What::Lot {
                fineness,
                basis,
                note,
                taken,
                u_ppt,
            } => {
                if taken != fineness || !u_ppt.is_zero() {
                    below = Some(format!(
                        "  taken for {taken}, known to {} ‰",
                        fixed(*u_ppt, 2)
                    ));
                }
                if !weighed.withdrawn {
                    lots += 1;
                }
                let place = if weighed.withdrawn {
                    "Lot".to_owned()
                } else {
                    format!("Lot {lots}")
                };
                let note = if note.is_empty() {
                    String::new()
                } else {
                    format!(", {note}")
                };
                format!("{place}, {fineness} by {basis}{note}")
            }
            What::Addition { addition } => format!("Added {}", words::metal_name(job, *addition)),
            What::Button => {
                if let Some(assay) = &weighed.assay {
                    let u = fixed(assay.u_ppt, 2);
                    below = Some(format!(
                        "  by {}: {}, known to {u} ‰",
                        assay.basis, assay.taken
                    ));
                }
                "Button".to_owned()
            }
            What::InWater(water) => water.way.label().to_owned(),
        };
        let mass = captured.mass.to_string();
        if weighed.withdrawn {
            line(&format!("{label} (withdrawn)"), &format!("({mass})"));
        } else {
            line(&label, &mass);
        }
        if let Some(below) = below {
            line(&below, "");
        }
    }
    line("", "");
    line("Client's metal", &closed.lots.to_string());
    line(
        "Fine gold in the client's metal",
        &gold(job, &job.client_metal()),
    );
    let melt = if job.is_melted_again() {
        "the last melt"
    } else {
        "the melt"
    };
    line(&format!("In {melt}"), &closed.melt.to_string());
    line(&format!("Fine gold in {melt}"), &closed.gold);
    if !closed.fineness_ppt.is_empty() {
        line(
            "Fineness by mass balance",
            &format!("{} ‰", closed.fineness_ppt),
        );
        let melt = job.melt();
        line(
            "One standard uncertainty of that",
            &format!("{:.2} ‰", melt.u_ppt()),
        );
        line(
            &format!("Chance that it is {} or more", job.opened.lowest),
            &melt.chance_text(job.opened.lowest),
        );
    }
    if let Some(Ok(proof)) = job.proof() {
        line("Density of the button", &proof.density.to_string());
        line(
            "  of the alloy as planned, about",
            &proof.expected.to_string(),
        );
    }
    if let Some(button) = closed.button {
        line("Out of the melt", &button.to_string());
        if let Some(loss) = crate::melt::Loss::of(&job.melt(), button.mass()) {
            line(
                "Loss",
                &format!(
                    "{} ({} ‰)",
                    words::shown(job, loss.mass),
                    fixed(loss.ppt, 1)
                ),
            );
            if !loss.is_gain() {
                line(
                    "Button, if the loss was base metal",
                    &loss.all_base.to_string(),
                );
                line("Button, if the loss was gold", &loss.all_gold.to_string());
            }
        }
        let put_in = job.put_in().mass();
        if job.is_melted_again() {
            line(
                "Put in over all melts",
                &words::shown(job, put_in).to_string(),
            );
            let lost = words::shown(job, put_in - button.mass());
            line("Lost over all melts", &lost.to_string());
        }
    }
    for warning in &closed.warnings {
        let _infallible = writeln!(text, "Note: {warning}");
    }
    text.lines()
        .map(str::trim_end)
        .collect::<Vec<_>>()
        .join("\n")
        + "\n"
}
