//! What the orders of a job need of it, each with its refusal.

use rust_decimal::Decimal;

use super::fold::{Job, Weighed};
use super::record::{AddedMetal, Assayed, Opened, Record, What};
use super::state::adding_for;
use super::words;
use crate::metal::{Basis, Fineness};
use crate::trouble::Trouble;

pub(super) fn may_withdraw(job: &Job, capture: Option<u64>) -> Result<Wanted, Trouble> {
    let Some(last) = job.standing().next_back() else {
        return Err(refusal(
            "nothing-to-withdraw",
            "Nothing that is recorded is left to set aside.",
            "Go on with the job.",
        ));
    };
    if capture.is_some_and(|capture| capture != last.n) {
        let mass = words::spelled(last.captured.mass);
        return Err(refusal(
            "other-capture",
            &format!(
                "What was recorded last is another mass by now: {mass} of {}.",
                words::of_recorded(job, last)
            ),
            "Look at what was weighed, then set aside what you mean.",
        ));
    }
    Ok(record(Record::Withdraw { capture: last.n }))
}

pub(super) fn may_assay(
    job: &Job,
    fineness: Fineness,
    basis: Basis,
    taken: Fineness,
    u_ppt: Decimal,
) -> Result<Wanted, Trouble> {
    let button = a_button(job)?.n;
    if basis == Basis::Stamp {
        return Err(refusal(
            "assay-by-stamp",
            "A stamp proves no button.",
            "Enter what was measured: fire-assay, xrf, touchstone or declared:U.",
        ));
    }
    if fineness == Fineness::NONE {
        return Err(refusal(
            "assay-without-gold",
            "An assay of 0 finds no gold at all in a button of this book's gold.",
            "Enter what was measured, as 748.5 by fire-assay.",
        ));
    }
    Ok(record(Record::Assay(Assayed {
        button,
        fineness,
        basis,
        taken,
        u_ppt,
    })))
}

pub(super) fn each_has_a_lever(add: &[AddedMetal], opened: &Opened) -> Result<(), Trouble> {
    match add
        .iter()
        .find(|metal| (opened.lowest..=opened.highest).contains(&metal.gold))
    {
        Some(metal) => Err(refusal(
            "metal-no-lever",
            &format!(
                "{} ({}) has the target's own fineness, so no mass of it brings a melt there.",
                metal.name, metal.gold
            ),
            "Choose a metal of less gold to lower, or of more gold to raise.",
        )),
        None => Ok(()),
    }
}

pub(super) fn may_plan(job: &Job, add: Vec<AddedMetal>) -> Result<Wanted, Trouble> {
    before_button(job, "another plan")?;
    each_has_a_lever(&add, &job.opened)?;
    if job.opened.add.len() + add.len() > MOST_METALS {
        return Err(refusal(
            "metals-too-many",
            "The job has had too many metals planned already.",
            "Add the metals one by one.",
        ));
    }
    Ok(record(Record::Plan { add }))
}

pub(super) fn may_add(job: &Job, metal: Option<Box<AddedMetal>>) -> Result<Wanted, Trouble> {
    // A button is melted again only with a metal that is named for it.
    match &metal {
        Some(_) => button_is_known(job)?,
        None => before_button(job, "a planned addition")?,
    }
    let mut planned = job.clone();
    let addition = match &metal {
        Some(metal) => {
            planned.opened.add.push((**metal).clone());
            planned.opened.add.len()
        }
        None => *job.to_come().first().ok_or_else(|| {
            refusal(
                "nothing-to-add",
                "No planned addition is left.",
                "Name a metal to add, or weigh the button.",
            )
        })?,
    };
    adding_for(&planned, addition)?;
    Ok(expect(
        What::Addition { addition },
        metal.map(|metal| *metal),
    ))
}

/// The most metals that a job may ever have had in its plans.
const MOST_METALS: usize = 200;

/// What an order comes to.
pub(super) enum Wanted {
    Record(Box<Record>),
    Capture {
        /// The capture of the same load that it takes the place of.
        instead_of: Option<u64>,
    },
}

pub(super) fn record(record: Record) -> Wanted {
    Wanted::Record(Box::new(record))
}

pub(super) fn expect(what: What, metal: Option<AddedMetal>) -> Wanted {
    record(Record::Expect { what, metal })
}

/// The button, weighed and not melted again.
pub(super) fn a_button(job: &Job) -> Result<&Weighed, Trouble> {
    job.last_button().ok_or_else(|| {
        refusal(
            "no-button",
            "There is no button yet that could be proved.",
            "Melt, then weigh what came out.",
        )
    })
}

/// Metal may be melted with a button only if it is known what the button is.
fn button_is_known(job: &Job) -> Result<(), Trouble> {
    match (job.button(), job.button_metal()) {
        (Some(_), None) => Err(Trouble::new(
            "button-unknown",
            "The button weighs more than what went in, so its fineness is not known.",
            "What is added to it could bring it below the mark or give gold away.",
            "Have it assayed and enter that.",
        )),
        _ => Ok(()),
    }
}

pub(super) fn holds_gold(lot: Fineness) -> Result<(), Trouble> {
    if lot == Fineness::NONE {
        return Err(refusal(
            "lot-without-gold",
            "A lot without gold is no lot of the client's gold.",
            "Weigh other metal as an addition.",
        ));
    }
    Ok(())
}

pub(super) fn before_button(job: &Job, what: &str) -> Result<(), Trouble> {
    match job.button() {
        Some(_)
            if job
                .last_button()
                .is_some_and(|button| button.assay.is_some()) =>
        {
            Ok(())
        }
        Some(_) => Err(refusal(
            "button-weighed",
            &format!("The button is weighed, so {what} comes too late."),
            "Prove it or close the job. To melt it again, name the metal to add. If the button was a mistake, set it aside.",
        )),
        None => Ok(()),
    }
}

pub(super) fn refusal(code: &'static str, happened: &str, mend: &str) -> Trouble {
    Trouble::new(code, happened, "Nothing was changed.", mend)
}
