//! Orders: carried out, or refused with the reason. Leaves to others: what each needs of the job (`needs`), and what is asked before it (`asks`).

use super::fold::Job;
use super::hold::Cause;
use super::needs::{
    Wanted, a_button, before_button, each_has_a_lever, expect, holds_gold, may_add, may_assay,
    may_plan, may_withdraw, record, refusal,
};
use super::order::{Done, Effect, Order};
use super::record::{How, Opened, PanAnswer, Record, Water, WaterWay, What};
use super::state::{Given, State};
use super::statement;
use super::terms::Terms;
use super::words;
use crate::balance::{Key, LinkState};
use crate::mass::Indication;
use crate::trouble::Trouble;

impl State {
    /// Carries out an order, or answers why not. An order that changes the job is answered when
    /// its record is on disk.
    pub(super) fn order(&mut self, id: u64, order: Order, terms: Terms, out: &mut Vec<Effect>) {
        if self.pending.is_some() {
            let busy = if self.disk_silent {
                self.disk_hold()
            } else {
                refusal(
                    "bench-writing",
                    "The bench is writing the record before this one.",
                    "Give the order again.",
                )
                .passing()
            };
            out.push(Effect::Answer {
                id,
                answer: Err(busy),
            });
            return;
        }
        let known = terms.id.as_ref().zip(self.job.as_ref());
        if let Some(n) = known.and_then(|(id, job)| job.carried_out(id)) {
            let answer = Ok(Done {
                text: format!(
                    "This order was carried out already, as record {n}. {}",
                    self.sentence()
                ),
                warning: false,
            });
            return out.push(Effect::Answer { id, answer });
        }
        if let Err(trouble) = self.fits(matches!(order, Order::Open(_)), &terms) {
            let answer = Err(trouble);
            return out.push(Effect::Answer { id, answer });
        }
        if let Order::CheckWeight { weight } = order {
            let answer = self.begin_check(weight);
            return out.push(Effect::Answer { id, answer });
        }
        if order == Order::Leave && self.may_leave_check() {
            self.checking = None;
            let answer = Ok(Done {
                text: self.sentence(),
                warning: false,
            });
            return out.push(Effect::Answer { id, answer });
        }
        let asked = self.asks(&order);
        let wanted = self.record_for(order).and_then(|wanted| {
            match asked.filter(|it| terms.confirm != Some(it.mark)) {
                Some(asked) => Err(asked.trouble()),
                None => Ok(wanted),
            }
        });
        let given = Given {
            number: id,
            id: terms.id,
        };
        match wanted {
            Ok(Wanted::Record(record)) => self.wait_for(*record, Some(given), out),
            Ok(Wanted::Capture { instead_of }) => {
                self.capture(How::Taken, instead_of, Some(given), out);
            }
            Err(trouble) => out.push(Effect::Answer {
                id,
                answer: Err(trouble),
            }),
        }
    }

    /// Whether an order was given for the job that is open, on the state as it is.
    fn fits(&self, opens: bool, terms: &Terms) -> Result<(), Trouble> {
        let open = self.open_job().map(|job| job.opened.ticket.as_str());
        if let (Some(ticket), false) = (&terms.ticket, opens)
            && open != Some(ticket)
        {
            let is_open = open.map_or_else(
                || "no ticket is open on this bench".to_owned(),
                |open| format!("ticket {open} is open on this bench"),
            );
            return Err(refusal(
                "other-ticket",
                &format!("The order is for ticket {ticket}, and {is_open}."),
                "Look which ticket is open before you go on.",
            ));
        }
        if terms.seen.is_some_and(|seen| seen != self.mark()) {
            return Err(refusal(
                "state-changed",
                "Something else has happened on the bench since this order was decided.",
                "Look how it stands now, then give the order again if it still holds.",
            ));
        }
        Ok(())
    }

    /// Whether a key of the balance may be pressed for the person: never under a weighing, which
    /// counts from what the balance showed before.
    pub fn may_press(&self, key: Key, terms: &Terms) -> Result<(), Trouble> {
        self.fits(false, terms)?;
        let means = "The key was not pressed.";
        if self.expected().is_some() {
            return Err(Trouble::new(
                "weighing-under-way",
                format!(
                    "A weighing is under way; the {} key would change what it counts from.",
                    key.word()
                ),
                means,
                "Finish it first. If the key was pressed on the balance itself, say that it was.",
            ));
        }
        if self.link().state() != LinkState::Talking {
            return Err(Trouble::new(
                "balance-not-heard",
                "The balance is not heard now.",
                means,
                "See that its readings come, then give the order again.",
            )
            .passing());
        }
        Ok(())
    }

    pub(super) fn record_for(&self, order: Order) -> Result<Wanted, Trouble> {
        if let Order::Open(opened) = order {
            return if self.disk_silent {
                Err(self.disk_hold())
            } else {
                self.may_open(*opened)
            };
        }
        let job = self
            .open_job()
            .ok_or_else(|| refusal("no-job", "No job is open on this bench.", "Open a ticket."))?;
        if self.holds.has(Cause::Disk) {
            return Err(self.disk_hold());
        }
        if let Order::Lot { .. }
        | Order::Plan { .. }
        | Order::Add { .. }
        | Order::Button
        | Order::Proof(_)
        | Order::Withdraw { .. }
        | Order::Leave
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
            Order::Add { metal } => {
                self.nothing_loose(job)?;
                may_add(job, metal)
            }
            Order::Button => {
                if job.button().is_some() {
                    return Err(refusal(
                        "button-weighed",
                        "The button is weighed.",
                        "Prove it or close the job; if the weighing was a mistake, set it aside.",
                    ));
                }
                if job.standing().next().is_none() {
                    return Err(refusal(
                        "nothing-melted",
                        "Nothing has been weighed that could have been melted.",
                        "Weigh the lots first.",
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
            Order::Withdraw { capture } => may_withdraw(job, capture),
            Order::Reweigh => self.may_reweigh(),
            Order::Leave => match &job.expected {
                Some(_) => Ok(record(Record::Leave {})),
                None => Err(refusal(
                    "nothing-expected",
                    "No weighing is under way.",
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

    /// Metal that a weighing under way has on the pan must not be forgotten by beginning another:
    /// it would be in the melt and not in the book.
    fn nothing_half_weighed(&self, job: &Job) -> Result<(), Trouble> {
        let Some(expected) = &job.expected else {
            return Ok(());
        };
        if let Some(doubted) = self.pan.doubted_base() {
            let name = words::of(job, &expected.what);
            let (why, mend) = words::base_question(doubted, &name);
            return Err(Trouble::new(
                "base-doubted",
                why,
                "Beginning something else would count it as standing there, and leave it out of the book.",
                mend,
            ));
        }
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
            "Finish this weighing, or take it as it is; to leave it out, take it off the pan.",
        ))
    }

    /// Metal that nobody counted would count as standing there before the addition.
    fn nothing_loose(&self, job: &Job) -> Result<(), Trouble> {
        let Some(loose) = self.loose_now() else {
            return Ok(());
        };
        let (why, mend) = words::loose(job, &loose);
        Err(Trouble::new(
            "loose-metal",
            why,
            "The next addition would count from it, and it would stay out of the book.",
            mend,
        ))
    }

    /// The load that lies on the pan may be recorded as it lies there now.
    fn may_reweigh(&self) -> Result<Wanted, Trouble> {
        let Some(loose) = self.loose_now() else {
            return Err(refusal(
                "nothing-loose",
                "The load that was recorded last does not lie on the pan otherwise than it was recorded.",
                "Go on with the job.",
            ));
        };
        self.can_capture(&[Cause::Pan])?;
        if !loose.whole.mass().is_positive() {
            return Err(refusal(
                "nothing-on-pan",
                "Nothing of that load lies on the pan.",
                "Set it aside instead.",
            ));
        }
        Ok(Wanted::Capture {
            instead_of: Some(loose.beside),
        })
    }

    /// Whether the pan may be believed now, whatever is weighed: no hold but these, and a reading.
    fn can_capture(&self, but: &[Cause]) -> Result<(), Trouble> {
        if let Some(told) = self.check_sentence() {
            return Err(refusal("check-weight-on-pan", &told, "Then take it.").passing());
        }
        let mut holds = self.holds.all();
        if let Some(hold) = holds.find(|hold| !but.contains(&hold.cause)) {
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
        Ok(())
    }

    fn may_open(&self, opened: Opened) -> Result<Wanted, Trouble> {
        if let Some(job) = self.open_job() {
            return Err(refusal(
                "job-open",
                &format!("Job {} is open on this bench.", job.opened.job),
                "Close it first.",
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
                "Take it off and make ready: the empty hanger in the water, or the vessel of water on the pan. Then give the order again.",
            ));
        }
        // A vessel that was tared shows zero. Less than that is one that was taken off again.
        let is_off = on_pan.is_some_and(|on_pan| on_pan < -self.rules.pan.tolerance);
        if water.way == WaterWay::Displaced && is_off {
            return Err(refusal(
                "no-vessel",
                "The balance shows less than zero, so no vessel stands on the pan, and the water that the button pushes aside is weighed in its vessel.",
                "Put the vessel with the water on the pan, tared or not, then give the order again.",
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
        if self.expected().is_none() {
            return Err(refusal(
                "nothing-expected",
                "No weighing is under way.",
                "Say what comes next.",
            ));
        }
        self.can_capture(&[])?;
        let tracked = self.pan.last();
        let is_load = match self.expected() {
            Some(What::Addition { .. }) => tracked
                .and_then(|tracked| tracked.net)
                .is_some_and(|net| net.mass().is_positive()),
            // A pan that drifted by a division holds no lot.
            _ => self.pan.is_loaded(),
        };
        if self.pan.is_low() || !is_load {
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
        Ok(Wanted::Capture { instead_of: None })
    }

    fn may_answer(&self, said: PanAnswer) -> Result<Wanted, Trouble> {
        let is_asked = match said {
            PanAnswer::Anew => self.expected().is_some(),
            PanAnswer::Back => self.pan.is_low(),
            PanAnswer::Tared => self.pan.is_low() || self.pan_question().is_some(),
        };
        if self.expected().is_none() || !is_asked {
            return Err(refusal(
                "no-question",
                "The pan asks nothing.",
                "Go on with the job.",
            ));
        }
        let base = match said {
            // Nothing is counted yet: what stands there now is what comes next counts from.
            PanAnswer::Tared if !self.pan.is_low() => self.pan.last().map(|last| last.gross),
            PanAnswer::Tared => Some(self.pan.tared_base().ok_or_else(|| {
                Trouble::new(
                    "tared-while-falling",
                    "Metal was falling when the pan went light, so nobody knows what was on it.",
                    "Counting on would leave some of it out, and the melt could fall below the mark.",
                    "Tip the metal into another dish and weigh it anew.",
                )
            })?),
            PanAnswer::Back | PanAnswer::Anew => None,
        };
        Ok(record(Record::Answer { said, base }))
    }
}
