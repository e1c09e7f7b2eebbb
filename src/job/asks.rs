//! What is asked before an order is carried out: each question names what it is about, and is
//! answered by its own mark, so that a yes to what was told is no yes to what came since.

use super::fold::Job;
use super::order::Order;
use super::record::PanAnswer;
use super::state::State;
use super::statement;
use super::terms::Mark;
use super::words;
use crate::mass::Indication;
use crate::trouble::Trouble;

/// A question that stands before an order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// What says yes to it.
    pub mark: Mark,
    /// What it is about, in sentences.
    pub says: Vec<String>,
    code: &'static str,
    means: String,
    mend: &'static str,
}

impl Asked {
    fn of(
        job: &Job,
        code: &'static str,
        says: Vec<String>,
        means: impl Into<String>,
        mend: &'static str,
    ) -> Self {
        let about = [code.to_owned(), job.opened.job.clone()];
        Self {
            mark: Mark::of(about.iter().chain(&says)),
            says,
            code,
            means: means.into(),
            mend,
        }
    }

    /// The order as it is refused until the question is answered.
    pub(super) fn trouble(self) -> Trouble {
        let Self { mark, says, .. } = self;
        Trouble::new(self.code, says.join(" "), self.means, self.mend).asking(mark)
    }
}

impl State {
    /// What an order asks before it is carried out, as things stand.
    pub(super) fn asks(&self, order: &Order) -> Option<Asked> {
        let job = self.open_job()?;
        match order {
            Order::Close => self.asks_before_closing(job),
            Order::Button => {
                let says = self.loose_words(job);
                (!says.is_empty()).then(|| {
                    Asked::of(
                        job,
                        "loose-metal",
                        says,
                        "What goes into the crucible beside what is recorded is in no account.",
                        "Weigh it before the melt; or say yes if it does not go in.",
                    )
                })
            }
            Order::Answer(PanAnswer::Anew) => self.asks_before_anew(job),
            Order::Lot { .. } if job.last_button().is_some() => Some(Asked::of(
                job,
                "lot-after-button",
                vec![
                    "The button is weighed; a lot is melted together with it from here on."
                        .to_owned(),
                ],
                "The melt, its window and its loss are reckoned anew.",
                "If the lot is another ticket's, close this one first; or say yes to melt it with the button.",
            )),
            _ => None,
        }
    }

    /// Counting anew from what is on the pan leaves out what the weighing under way has put there.
    fn asks_before_anew(&self, job: &Job) -> Option<Asked> {
        let what = self.expected()?;
        let net = self.pan.last().and_then(|tracked| tracked.net);
        let net = net.map(Indication::mass).unwrap_or_default();
        let on_pan = net.max(self.pan.rest());
        if on_pan <= self.rules.pan.tolerance {
            return None;
        }
        let mass = words::spelled(words::shown(job, on_pan));
        let name = words::of(job, what);
        Some(Asked::of(
            job,
            "half-weighed",
            vec![format!(
                "{mass} of {name} lay on the pan and are in no record."
            )],
            "What still lies there would be in the melt and out of the book.",
            "Take it off the pan first; if only the balance's tare key was pressed, say that instead. Say yes when it is off.",
        ))
    }

    /// A closed job cannot be gone on with, so one that is not finished is not closed at the first
    /// asking: masses that rest on a check weight want it shown again, and what is still to be
    /// weighed or put right is named.
    fn asks_before_closing(&self, job: &Job) -> Option<Asked> {
        let wants = job.wants_check_weight();
        let mut says = self.loose_words(job);
        says.extend(statement::unfinished(job, &self.rules));
        if wants {
            let due = "Masses of this job rest on a check weight, and are not proven.";
            says.insert(0, due.to_owned());
            return Some(Asked::of(
                job,
                "check-weight-due",
                says,
                "If the balance was set to another unit meanwhile, nothing else shows it.",
                if job.button().is_some() {
                    "Put the button on the pan, then the check weight beside it, then close; or say yes to close with these masses marked as not proven."
                } else {
                    "Show the check weight, then close; or say yes to close with these masses marked as not proven."
                },
            ));
        }
        (!says.is_empty()).then(|| {
            Asked::of(
                job,
                "job-unfinished",
                says,
                "A closed job cannot be gone on with.",
                "Go on with it; or say yes to close it as it is.",
            )
        })
    }

    /// Metal that lay with recorded loads and is in no record, whether it lies there now or not.
    fn loose_words(&self, job: &Job) -> Vec<String> {
        let now = self.loose_now().filter(|now| {
            let mut told = job.loose().iter();
            !told.any(|told| told.beside == now.beside)
        });
        let mut says: Vec<String> = job
            .loose()
            .iter()
            .map(|loose| words::was_loose(job, loose))
            .collect();
        says.extend(now.map(|now| words::loose(job, &now).0));
        says
    }

    /// The mark of the state as it is, as far as decisions rest on it: the job's records that decide
    /// something, what holds the bench, and what is asked. Readings alone do not change it.
    pub fn mark(&self) -> Mark {
        let mut parts = vec![self.rules.name.clone()];
        if let Some(job) = &self.job {
            parts.push(format!("{} {}", job.opened.job, job.decided));
            let loose = job.loose().iter();
            parts.extend(loose.map(|it| format!("{} {}", it.beside, it.mass)));
        }
        let causes = self.holds.all().filter(|hold| hold.is_announced());
        parts.extend(causes.map(|hold| hold.cause.word().to_owned()));
        parts.push(format!(
            "{} {}",
            self.pan.is_low(),
            self.loose_told.is_some()
        ));
        parts.push(self.check_step().to_owned());
        Mark::of(parts)
    }

    /// What was recorded last, if it counts: what a withdrawal would set aside.
    pub(super) fn last_recorded(&self) -> Option<&super::fold::Weighed> {
        self.open_job()?.standing().next_back()
    }
}
