//! The statement: what went in, what came out, and what that makes of the gold.

use std::fmt::Write as _;

use super::fold::{Job, UnitDoubt};
use super::record::{Closed, What};
use super::remedy::Remedy;
use super::state::BenchRules;
use super::words;
use crate::mass::{Mass, fixed};
use crate::melt::{Mix, Verdict};
use crate::metal::Purpose;
use crate::trouble::harmless;

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
        fine_digit: false,
    }
}

fn gold(job: &Job, mix: &Mix) -> String {
    fine(job, mix.gold().mass())
}

/// Fine gold to a hundredth of the division, in the unit of the job.
fn fine(job: &Job, gold: Mass) -> String {
    let division = job.opened.division;
    format!(
        "{} {}",
        division.in_unit(gold, division.decimals() + 2),
        division.unit()
    )
}

fn warnings(job: &Job, melt: &Mix, rules: &BenchRules) -> Vec<String> {
    let mut warnings = words::cautions(job, rules);
    warnings.extend(unproven(job));
    warnings.extend(below(job, melt, rules));
    warnings.extend(doubtful(job));
    warnings.extend(at_odds(job));
    if melt.mass() == Mass::ZERO {
        warnings.push("Nothing was weighed.".to_owned());
    } else if !is_assayed(job) && !melt.is_at_most(job.demand().highest) {
        warnings.push(format!(
            "By mass balance the melt is above the give-away limit of {}.",
            job.demand().highest
        ));
    }
    warnings.extend(left_out(job));
    warnings.extend(by_density(job));
    warnings.extend(no_button(job, melt));
    warnings.extend(gains(job));
    warnings
}

/// What a person may still want to do before a job is closed for good.
pub(super) fn unfinished(job: &Job, rules: &BenchRules) -> Vec<String> {
    let melt = job.melt();
    if melt.mass() == Mass::ZERO {
        return Vec::new();
    }
    let mut open: Vec<String> = unproven(job)
        .into_iter()
        .chain(below(job, &melt, rules))
        .chain(doubtful(job))
        .chain(at_odds(job))
        .chain(left_out(job))
        .chain(by_density(job))
        .chain(no_button(job, &melt))
        .collect();
    open.extend(gains(job));
    open
}

/// That the button is not known well enough, if it is not.
fn doubtful(job: &Job) -> Option<String> {
    let (button, demand) = (job.button_metal()?, job.demand());
    let is_open =
        button.is_at_least(demand.lowest) && !button.is_surely_at_least(demand.lowest, demand.risk);
    let by = if is_assayed(job) {
        "By its assay"
    } else {
        "After its loss"
    };
    is_open.then(|| {
        format!(
            "{by} the button is {} or more with {} only: it is not proven.",
            demand.lowest,
            button.chance_text(demand.lowest)
        )
    })
}

/// That assays of the button contradict each other, if they do.
fn at_odds(job: &Job) -> Option<String> {
    let button = job.last_button()?;
    let is_at_odds = button.assays.iter().any(|one| {
        button
            .assay
            .as_ref()
            .is_some_and(|best| best.contradicts(one))
    });
    is_at_odds.then(|| {
        "Assays of the button contradict each other: have it assayed again before it is marked."
            .to_owned()
    })
}

/// What the density says against the button, if anything.
pub(super) fn by_density(job: &Job) -> Option<String> {
    let told = match job.proof()?.ok()?.verdict {
        Verdict::Low => {
            "By its density the button holds less gold than planned, or hollows: have it assayed before it is marked."
        }
        Verdict::High => {
            "By its density the button is not the alloy that was planned: have it assayed before it is marked."
        }
        _ => return None,
    };
    Some(told.to_owned())
}

fn is_assayed(job: &Job) -> bool {
    job.last_button()
        .is_some_and(|button| button.assay.is_some())
        && job.button_metal().is_some()
}

/// That the metal is below its mark, if it is.
fn below(job: &Job, melt: &Mix, rules: &BenchRules) -> Option<String> {
    let lowest = job.demand().lowest;
    let may_not = |by: &str| format!("{by} is below {lowest}: it may not be sold under that mark.");
    match job.button_metal() {
        Some(button) if is_assayed(job) => {
            (!button.is_at_least(lowest)).then(|| may_not("By its assay the button"))
        }
        Some(button) if melt.is_at_least(lowest) && !button.is_at_least(lowest) => Some(format!(
            "After its loss the button is below {lowest}, as far as is known: have it assayed before it is marked."
        )),
        _ if melt.mass() == Mass::ZERO || melt.is_at_least(lowest) => None,
        _ => {
            let remedy = Remedy::of(job, melt, rules);
            let way = remedy
                .metals()
                .map_or_else(String::new, |ways| format!(" {ways} would put it right."));
            let mark = remedy.mark().map_or_else(String::new, |mark| {
                format!(" As it is it may carry the lower mark {mark}.")
            });
            Some(format!(
                "{}{way}{mark}",
                may_not("By mass balance the melt")
            ))
        }
    }
}

fn left_out(job: &Job) -> impl Iterator<Item = String> {
    job.left_out().into_iter().map(|addition| {
        format!(
            "{} was planned and not added.",
            words::metal_name(job, addition)
        )
    })
}

fn no_button(job: &Job, melt: &Mix) -> Option<String> {
    (job.button().is_none() && melt.mass() != Mass::ZERO)
        .then(|| "The button was not weighed.".to_owned())
}

/// Buttons that weigh more than what they were melted of.
fn gains(job: &Job) -> Vec<String> {
    let melts = job.melts();
    let last = melts.len();
    let mut gains: Vec<String> = (1..)
        .zip(&melts)
        .filter(|(_, (melt, button))| button.captured.mass.mass() > melt.mass())
        .map(|(place, _)| {
            if place == last {
                "The button weighs more than what went in: the reckoned fineness does not hold. Have it assayed before it is marked.".to_owned()
            } else {
                format!("The button of melt {place} weighed more than what went in: metal went in that was not weighed, and where its gold came from is not in this book.")
            }
        })
        .collect();
    if let Some(button) = job.button()
        && last > 1
        && gains.is_empty()
        && button.mass() > job.put_in().mass()
    {
        gains.push("Over all melts more came out than was put in: metal went in that was not weighed, and where its gold came from is not in this book.".to_owned());
    }
    gains
}

/// The masses of which the unit is not proven, by why.
fn unproven(job: &Job) -> Vec<String> {
    let why = [
        (
            UnitDoubt::Seen,
            "after them the balance was seen not to be in its unit, the check weight did not agree, or the button weighs too unlike them",
        ),
        (
            UnitDoubt::NotShown,
            "the check weight was not shown again after them",
        ),
        (
            UnitDoubt::NoButton,
            "no button of them was weighed, and the balance may have been in another unit meanwhile",
        ),
        (
            UnitDoubt::NotBeside,
            "the check weight was not put beside the button, and the balance may have been in another unit meanwhile",
        ),
    ];
    let doubts: Vec<(String, UnitDoubt)> = job
        .unproven()
        .map(|(weighed, doubt)| (weighed.captured.mass.to_string(), doubt))
        .collect();
    let told = why.into_iter().map(|(doubt, why)| {
        let of = doubts.iter().filter(|(_, is)| *is == doubt);
        let masses: Vec<&str> = of.map(|(mass, _)| mass.as_str()).collect();
        (masses.join(", "), why)
    });
    told.filter(|(masses, _)| !masses.is_empty())
        .map(|(masses, why)| {
            format!(
                "The unit of {masses} is not proven: {why}. Weigh them again before anything is sold by them."
            )
        })
        .collect()
}

/// The statement as text for people, 60 columns wide.
#[allow(clippy::too_many_lines)] // one page, from top to bottom
pub fn statement(job: &Job, closed: &Closed) -> String {
    let mut text = String::new();
    let opened = &job.opened;
    let mut line = |label: &str, value: &str| {
        // An old file can hold anything; what hides on a sheet is written out.
        let label = harmless(label);
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
        let mut below = Vec::new();
        let label = match &captured.what {
            What::Lot {
                fineness,
                basis,
                note,
                taken,
                u_ppt,
            } => {
                if taken != fineness || !u_ppt.is_zero() {
                    below.push(format!(
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
                for assay in &weighed.assays {
                    let u = fixed(assay.u_ppt, 2);
                    below.push(format!(
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
        for below in below {
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
    let shops = job.put_in().gold().mass() - job.client_metal().gold().mass();
    if shops.is_positive() {
        line("Fine gold that the shop added", &fine(job, shops));
    }
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
        // Of a button that gained nothing is known without an assay.
        let (metal, by) = match (job.button(), job.button_metal()) {
            (None, _) => (Some(melt), ""),
            (_, button) if is_assayed(job) => (button, ", by assay"),
            (_, button) => (button, ", after loss"),
        };
        if let Some(metal) = metal {
            line(
                &format!("Chance of {} or more{by}", job.opened.lowest),
                &metal.chance_text(job.opened.lowest),
            );
        }
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
        let melts = job.melts();
        for (place, (melt, button)) in (1..melts.len()).zip(&melts) {
            let button = button.captured.mass.mass();
            let Some(loss) = crate::melt::Loss::of(melt, button) else {
                continue;
            };
            line(
                &format!(
                    "Melt {place}: {} in, {} out",
                    words::shown(job, melt.mass()),
                    words::shown(job, button)
                ),
                &format!(
                    "lost {} ({} ‰)",
                    words::shown(job, loss.mass),
                    fixed(loss.ppt, 1)
                ),
            );
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
    if closed.fine_digit {
        text.push_str("Note: The balance puts the last digit of each mass in brackets: it is not meant for payment.\n");
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
