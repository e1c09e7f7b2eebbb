//! Orders: what each needs, and why it is refused.

use rust_decimal::Decimal;

use super::fold::{Job, Weighed};
use super::hold::Cause;
use super::order::{Effect, Order};
use super::record::{AddedMetal, Assayed, How, Opened, PanAnswer, Record, Water, WaterWay, What};
use super::state::{State, adding_for};
use super::statement;
use super::words;
use crate::balance::{Key, LinkState};
use crate::mass::Indication;
use crate::metal::{Basis, Fineness};
use crate::trouble::Trouble;

impl State {
    /// Carries out an order, or answers why not. An order that changes the job is answered when
    /// its record is on disk.
    pub(super) fn order(&mut self, id: u64, order: Order, out: &mut Vec<Effect>) {
        if self.pending.is_some() {
            let busy = refusal(
                "bench-writing",
                "The bench is writing the record before this one.",
                "Give the order again.",
            )
            .passing();
            out.push(Effect::Answer {
                id,
                answer: Err(busy),
            });
            return;
        }
        if let Order::CheckWeight { weight } = order {
            let answer = self.begin_check(weight);
            return out.push(Effect::Answer { id, answer });
        }
        let wanted = self.record_for(order).and_then(|wanted| match &wanted {
            Wanted::Record(record) if matches!(**record, Record::Close(_)) => {
                self.ask_before_close().map_or(Ok(wanted), Err)
            }
            _ => Ok(wanted),
        });
        match wanted {
            Ok(Wanted::Record(record)) => self.wait_for(*record, Some(id), out),
            Ok(Wanted::Capture) => self.capture(How::Taken, Some(id), out),
            Err(trouble) => out.push(Effect::Answer {
                id,
                answer: Err(trouble),
            }),
        }
    }

    /// Whether a key of the balance may be pressed for the person: never under a weighing, which
    /// counts from what the balance showed before.
    pub fn may_press(&self, key: Key) -> Result<(), Trouble> {
        let means = "The key was not pressed.";
        if self.expected().is_some() {
            return Err(Trouble::new(
                "weighing-under-way",
                format!(
                    "A weighing is under way; the {} key would change what it counts from.",
                    key.word()
                ),
                means,
                "Finish it first. If the key was pressed on the balance itself, say so: panbell answer tared.",
            ));
        }
        if self.link().state() != LinkState::Talking {
            return Err(Trouble::new(
                "balance-not-heard",
                "The balance is not heard now.",
                means,
                "See that panbell follow shows its readings, then give the order again.",
            )
            .passing());
        }
        Ok(())
    }

    fn record_for(&self, order: Order) -> Result<Wanted, Trouble> {
        if let Order::Open(opened) = order {
            return self.may_open(*opened);
        }
        let job = self.open_job().ok_or_else(|| {
            refusal(
                "no-job",
                "No job is open on this bench.",
                "Open one: panbell open.",
            )
        })?;
        if self.holds.has(Cause::Disk) {
            return Err(Trouble::new(
                "disk-hold",
                "The job file cannot be written now.",
                "What was recorded stays; nothing more is recorded until it can be written again.",
                "Make room on the disk, or see what panbell follow says.",
            ));
        }
        if let Order::Lot { .. }
        | Order::Plan { .. }
        | Order::Add { .. }
        | Order::Button
        | Order::Proof(_)
        | Order::Withdraw
        | Order::Close = order
        {
            self.nothing_half_weighed(job)?;
        }
        match order {
            Order::Open(_) => Err(refusal("job-open", "A job is open.", "Close it first.")),
            Order::Lot {
                fineness,
                basis,
                taken,
                u_ppt,
                note,
            } => {
                before_button(job, "a further lot")?;
                holds_gold(fineness)?;
                Ok(expect(
                    What::Lot {
                        fineness,
                        basis,
                        taken,
                        u_ppt,
                        note,
                    },
                    None,
                ))
            }
            Order::Plan { add } => may_plan(job, add),
            Order::Add { metal } => may_add(job, metal),
            Order::Button => {
                if job.button().is_some() {
                    return Err(refusal(
                        "button-weighed",
                        "The button is weighed.",
                        "Prove it or close the job; if the weighing was a mistake, panbell withdraw sets it aside.",
                    ));
                }
                if job.standing().next().is_none() {
                    return Err(refusal(
                        "nothing-melted",
                        "Nothing has been weighed that could have been melted.",
                        "Weigh the lots first: panbell lot.",
                    ));
                }
                Ok(expect(What::Button, None))
            }
            Order::Proof(water) => self.may_prove(job, water),
            Order::Assay {
                fineness,
                basis,
                taken,
                u_ppt,
            } => may_assay(job, fineness, basis, taken, u_ppt),
            Order::Take => self.may_take(),
            Order::Withdraw => match job.standing().next_back() {
                Some(weighed) => Ok(record(Record::Withdraw { capture: weighed.n })),
                None => Err(refusal(
                    "nothing-to-withdraw",
                    "Nothing that is recorded is left to set aside.",
                    "Go on with the job.",
                )),
            },
            Order::Answer(said) => self.may_answer(said),
            Order::Close => {
                let mut closed = statement::closing(job, &self.rules);
                closed.warnings.extend(self.check_warning());
                closed.fine_digit = self.fine_digit;
                Ok(record(Record::Close(closed)))
            }
            // Answered before; it needs no job.
            Order::CheckWeight { .. } => Err(refusal(
                "job-open",
                "A check weight is no part of a job.",
                "Give the order again.",
            )),
        }
    }

    /// A closed job cannot be gone on with, so one that is not finished is not closed at the first
    /// asking: masses that rest on a check weight want it shown again, and what is still to be
    /// weighed or put right is named. Asked a second time it is closed, and says so.
    fn ask_before_close(&mut self) -> Option<Trouble> {
        let job = self.open_job()?;
        let wants = job.wants_check_weight();
        let unfinished = statement::unfinished(job, &self.rules);
        if !wants && unfinished.is_empty() || std::mem::replace(&mut self.close_asked, true) {
            return None;
        }
        let unfinished = unfinished.join(" ");
        if wants {
            return Some(Trouble::new(
                "check-weight-due",
                "Masses of this job rest on a check weight that was not shown again after them.",
                format!("If the balance was set to another unit meanwhile, nothing else shows it. {unfinished}").trim(),
                "Show the check weight, panbell check-weight, then close; or give the order again to close with these masses marked as unproven.",
            ));
        }
        Some(Trouble::new(
            "job-unfinished",
            unfinished,
            "A closed job cannot be gone on with.",
            "Go on with it; or give the order again to close it as it is.",
        ))
    }

    /// Metal that a weighing under way has on the pan must not be forgotten by beginning another:
    /// it would be in the melt and not in the book.
    fn nothing_half_weighed(&self, job: &Job) -> Result<(), Trouble> {
        let Some(expected) = &job.expected else {
            return Ok(());
        };
        let net = self.pan.last().and_then(|tracked| tracked.net);
        let on_pan = net
            .map(Indication::mass)
            .unwrap_or_default()
            .max(self.pan.rest());
        if on_pan <= self.rules.pan.tolerance {
            return Ok(());
        }
        let name = words::of(job, &expected.what);
        Err(Trouble::new(
            "half-weighed",
            format!(
                "{} of {name} are on the pan already and not recorded yet.",
                words::spelled(words::shown(job, on_pan))
            ),
            "Beginning something else would leave them in the melt and out of the book.",
            "Finish this weighing, or panbell take it as it is; to leave it out, take it off the pan, then panbell answer anew.",
        ))
    }

    fn may_open(&self, opened: Opened) -> Result<Wanted, Trouble> {
        if let Some(job) = self.open_job() {
            return Err(refusal(
                "job-open",
                &format!("Job {} is open on this bench.", job.opened.job),
                "Close it first: panbell close.",
            ));
        }
        each_has_a_lever(&opened.add, &opened)?;
        Ok(record(Record::Open(opened)))
    }

    fn may_prove(&self, job: &Job, water: Water) -> Result<Wanted, Trouble> {
        let button = a_button(job)?.captured.gross.mass();
        let on_pan = self.pan.last().map(|tracked| tracked.gross.mass());
        if on_pan.is_some_and(|on_pan| (on_pan - button).abs() <= self.rules.pan.tolerance) {
            return Err(refusal(
                "button-on-pan",
                "The button is still on the pan.",
                "Take it off and make ready: the empty hanger in the water, or the vessel of water on the pan. Then panbell proof.",
            ));
        }
        // A vessel that was tared shows zero. Less than that is one that was taken off again.
        let is_off = on_pan.is_some_and(|on_pan| on_pan < -self.rules.pan.tolerance);
        if water.way == WaterWay::Displaced && is_off {
            return Err(refusal(
                "no-vessel",
                "The balance shows less than zero, so no vessel stands on the pan, and the water that the button pushes aside is weighed in its vessel.",
                "Put the vessel with the water on the pan, tared or not, then panbell proof --displaced.",
            ));
        }
        if water.is_reckonable() {
            return Ok(expect(What::InWater(water), None));
        }
        Err(refusal(
            "water-out-of-range",
            "The water or the air is none that a bench has, so no density could be reckoned.",
            "Give the water's temperature from 0 to 40 C and the pressure in pascal, as 101325.",
        ))
    }

    fn may_take(&self) -> Result<Wanted, Trouble> {
        if let Some(told) = self.check_sentence() {
            return Err(refusal("check-weight-on-pan", &told, "Then take it.").passing());
        }
        if self.expected().is_none() {
            return Err(refusal(
                "nothing-expected",
                "No weighing is under way.",
                "Say what comes next: panbell lot, add or button.",
            ));
        }
        if let Some(hold) = self.holds.first() {
            return Err(Trouble::new(
                "bench-holds",
                hold.why.clone(),
                "Nothing is captured while the bench holds.",
                hold.mend.clone(),
            ));
        }
        if self.link.state() != LinkState::Talking {
            return Err(refusal(
                "no-reading",
                "There is no fresh reading.",
                "Wait until the balance talks.",
            )
            .passing());
        }
        let tracked = self.pan.last();
        let net = tracked.and_then(|tracked| tracked.net);
        if self.pan.is_low() || net.is_none_or(|net| !net.mass().is_positive()) {
            return Err(refusal("nothing-on-pan", &self.sentence(), "Then take it.").passing());
        }
        if !tracked.is_some_and(|tracked| tracked.steady) {
            return Err(refusal(
                "pan-moves",
                "The pan is not at rest.",
                "Wait a moment, hands off.",
            )
            .passing());
        }
        Ok(Wanted::Capture)
    }

    fn may_answer(&self, said: PanAnswer) -> Result<Wanted, Trouble> {
        if self.expected().is_none() || (!self.pan.is_low() && said != PanAnswer::Anew) {
            return Err(refusal(
                "no-question",
                "The pan asks nothing.",
                "Go on with the job.",
            ));
        }
        let base = match said {
            PanAnswer::Tared => Some(self.pan.tared_base().ok_or_else(|| {
                Trouble::new(
                    "tared-while-falling",
                    "Metal was falling when the pan went light, so nobody knows what was on it.",
                    "Counting on would leave some of it out, and the melt could fall below the mark.",
                    "Tip the metal into another dish and weigh it: panbell answer anew.",
                )
            })?),
            PanAnswer::Back | PanAnswer::Anew => None,
        };
        Ok(record(Record::Answer { said, base }))
    }
}

fn may_assay(
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
            "Enter what was measured, as in panbell assay 748.5 fire-assay.",
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

fn each_has_a_lever(add: &[AddedMetal], opened: &Opened) -> Result<(), Trouble> {
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

fn may_plan(job: &Job, add: Vec<AddedMetal>) -> Result<Wanted, Trouble> {
    before_button(job, "another plan")?;
    each_has_a_lever(&add, &job.opened)?;
    if job.opened.add.len() + add.len() > MOST_METALS {
        return Err(refusal(
            "metals-too-many",
            "The job has had too many metals planned already.",
            "Name the metals one by one: panbell add --with METAL.",
        ));
    }
    Ok(record(Record::Plan { add }))
}

fn may_add(job: &Job, metal: Option<Box<AddedMetal>>) -> Result<Wanted, Trouble> {
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
                "Name a metal, panbell add --with METAL, or go on: panbell button.",
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

enum Wanted {
    Record(Box<Record>),
    Capture,
}

fn record(record: Record) -> Wanted {
    Wanted::Record(Box::new(record))
}

fn expect(what: What, metal: Option<AddedMetal>) -> Wanted {
    record(Record::Expect { what, metal })
}

/// The button, weighed and not melted again.
fn a_button(job: &Job) -> Result<&Weighed, Trouble> {
    job.last_button().ok_or_else(|| {
        refusal(
            "no-button",
            "There is no button yet that could be proved.",
            "Melt, then weigh what came out: panbell button.",
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
            "Have it assayed and enter that: panbell assay.",
        )),
        _ => Ok(()),
    }
}

fn holds_gold(lot: Fineness) -> Result<(), Trouble> {
    if lot == Fineness::NONE {
        return Err(refusal(
            "lot-without-gold",
            "A lot without gold is no lot of the client's gold.",
            "Add other metal with panbell add.",
        ));
    }
    Ok(())
}

fn before_button(job: &Job, what: &str) -> Result<(), Trouble> {
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
            "Prove it (panbell proof, panbell assay) or close the job (panbell close). To melt it again, name the metal: panbell add --with METAL. If the button was a mistake, panbell withdraw sets it aside.",
        )),
        None => Ok(()),
    }
}

fn refusal(code: &'static str, happened: &str, mend: &str) -> Trouble {
    Trouble::new(code, happened, "Nothing was changed.", mend)
}
