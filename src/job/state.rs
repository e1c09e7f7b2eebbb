//! The state of a bench: the job as its file says it, and what is known of the balance now.

use std::sync::Arc;
use std::time::Duration;

use super::check::Checked;
use super::checking::{Checking, Remembered};
use super::fold::{Adding, Job, Weighed};
use super::hold::Holds;
use super::record::{Record, What};
use super::remedy::Remedy;
use super::statement;
use super::watch::{Watch, Zone};
use super::words;
use crate::balance::{Base, Link, LinkLimits, Pan, PanRules, Tracked, UnitGuard};
use crate::mass::{CheckWeight, Class, Indication, Mass, Moment, Reading};
use crate::melt::{MassDoubt, NoWindow, PastMelt, budget, window};
use crate::metal::{Fineness, MarkLaw, Shelf};
use crate::trouble::Trouble;

/// What a bench goes by.
#[derive(Debug, Clone)]
pub struct BenchRules {
    /// Its name.
    pub name: String,
    /// Its pan; the division also says the unit that it weighs in.
    pub pan: PanRules,
    /// How long an addition must rest inside its window before it is captured.
    pub dwell: Duration,
    /// When silence counts.
    pub link: LinkLimits,
    /// The shop's metals.
    pub shelf: Arc<Shelf>,
    /// The law of marks that advice goes by.
    pub law: Arc<MarkLaw>,
    /// The shop's past melts, for what a loss usually is.
    pub past: Arc<[PastMelt]>,
    /// The standard deviation of weighings of one load, if it is known.
    pub repeatability: Option<Mass>,
    /// The balance's accuracy class, if it has one.
    pub class: Option<Class>,
    /// The standard uncertainty of the balance's calibration, if it is known.
    pub calibration_u: Option<Mass>,
    /// The weight that the balance is checked with, if there is one.
    pub check_weight: Option<CheckWeight>,
}

impl BenchRules {
    /// How well one weighing is known.
    pub fn u_mass(&self) -> MassDoubt {
        MassDoubt::of_weighing(
            self.pan.division,
            self.repeatability,
            self.class,
            self.calibration_u,
        )
    }
}

/// How a balance sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Sends {
    /// Lines, of its own accord.
    #[default]
    Lines,
    /// Lines, only when it is asked.
    Answers,
    /// Reports: it is a USB scale.
    Reports,
}

/// A bench between two events.
#[derive(Debug, Clone)]
pub struct State {
    pub(super) rules: Arc<BenchRules>,
    pub(super) job: Option<Job>,
    pub(super) guard: UnitGuard,
    pub(super) pan: Pan,
    /// The same balance without a weighing, and as long as nothing says that it is in another unit:
    /// what a check weight is put beside.
    pub(super) bare: Pan,
    pub(super) link: Link,
    pub(super) holds: Holds,
    pub(super) adding: Option<Adding>,
    pub(super) watch: Watch,
    pub(super) inside_since: Option<Moment>,
    /// The record that is waited for, and whose order it was.
    pub(super) pending: Option<Pending>,
    /// What is to follow that record, in order.
    pub(super) behind: Vec<Record>,
    /// What the last two reading records said, the newest first.
    pub(super) noted: [Option<Indication>; 2],
    /// What the last load was counted from, while that load may still be on the pan.
    pub(super) standing_load: Option<Indication>,
    pub(super) disk_retry: Option<Moment>,
    pub(super) shown: Option<(Reading, Moment)>,
    /// The last line with a mass in it, for the record of a capture that is ordered.
    pub(super) line: Vec<u8>,
    pub(super) sends: Sends,
    /// The check weight that is being weighed.
    pub(super) checking: Option<Checking>,
    pub(super) last_check: Option<Remembered>,
    /// What is to be put into the job's file of it, and that what was weighed is in doubt.
    pub(super) check_due: Option<(u64, Box<Checked>)>,
    pub(super) doubt_due: bool,
    /// What a weighing last counted from, in a unit that was proven.
    pub(super) last_base: Option<Indication>,
    /// The order to close was answered with what is still to be done.
    pub(super) close_asked: bool,
    /// The moment of the event being taken.
    pub(super) now: Moment,
}

#[derive(Debug, Clone)]
pub(super) struct Pending {
    pub(super) record: Record,
    pub(super) order: Option<u64>,
}

impl State {
    /// A bench that starts, with the job that its book holds open for it.
    pub fn new(rules: Arc<BenchRules>, job: Option<Job>) -> Self {
        let mut state = Self {
            guard: UnitGuard::new(rules.pan.division),
            pan: Pan::new(rules.pan),
            bare: Pan::new(rules.pan),
            link: Link::new(rules.link),
            holds: Holds::default(),
            adding: None,
            watch: Watch::new(),
            inside_since: None,
            pending: None,
            behind: Vec::new(),
            noted: [None; 2],
            standing_load: job.as_ref().and_then(Job::last_load),
            disk_retry: None,
            shown: None,
            line: Vec::new(),
            sends: Sends::Lines,
            checking: None,
            last_check: None,
            check_due: None,
            doubt_due: false,
            last_base: None,
            close_asked: false,
            now: Moment::default(),
            job,
            rules,
        };
        if let Some(last) = state.job.as_ref().and_then(|job| job.weighed.last()) {
            for stood in [last.captured.base, last.captured.gross] {
                state.pan.remember(stood);
            }
        }
        if let Some(expected) = state.job.as_ref().and_then(|job| job.expected.clone()) {
            match expected.base {
                Some(base) => state.pan.resume(Base::From(base), expected.rest),
                None => drop(state.arm(&expected.what, Moment::default())),
            }
            state.refresh_adding();
        }
        state
    }

    /// The same with a balance that sends otherwise: its silence and its nonsense are told as such.
    #[must_use]
    pub fn sending(mut self, sends: Sends) -> Self {
        self.sends = sends;
        self
    }

    /// Arms the pan for a weighing; gives the base if it could be taken at once.
    pub(super) fn arm(&mut self, what: &What, at: Moment) -> Option<Indication> {
        let base = self
            .job
            .as_ref()
            .map_or(Base::NextRest, |job| job.base_for(what, self.standing_load));
        let taken = self.pan.arm_asking(base, at);
        self.watch = Watch::new();
        self.inside_since = None;
        self.noted = [None; 2];
        taken
    }

    /// Works out the window of the addition under way anew, from what was really weighed.
    pub(super) fn refresh_adding(&mut self) {
        self.adding = self
            .job
            .as_ref()
            .and_then(|job| match job.expected.as_ref()?.what {
                What::Addition { addition } => adding_for(job, addition).ok(),
                _ => None,
            });
    }

    /// The rules of the bench.
    pub fn rules(&self) -> &BenchRules {
        &self.rules
    }

    /// The same, to be kept beside the bench.
    pub fn shared_rules(&self) -> Arc<BenchRules> {
        Arc::clone(&self.rules)
    }

    /// The job, open or closed last.
    pub fn job(&self) -> Option<&Job> {
        self.job.as_ref()
    }

    /// The job, if it is open.
    pub fn open_job(&self) -> Option<&Job> {
        self.job.as_ref().filter(|job| job.closed.is_none())
    }

    /// The weighing under way.
    pub fn expected(&self) -> Option<&What> {
        self.open_job()?
            .expected
            .as_ref()
            .map(|expected| &expected.what)
    }

    /// The addition under way.
    pub fn adding(&self) -> Option<&Adding> {
        self.adding.as_ref()
    }

    /// The holds.
    pub fn holds(&self) -> &Holds {
        &self.holds
    }

    /// The link.
    pub fn link(&self) -> &Link {
        &self.link
    }

    /// The unit guard.
    pub fn guard(&self) -> &UnitGuard {
        &self.guard
    }

    /// What the balance last showed, usable or not, and when.
    pub fn shown(&self) -> Option<(Reading, Moment)> {
        self.shown
    }

    /// The pan as last read in a proven unit.
    pub fn tracked(&self) -> Option<&Tracked> {
        self.pan.last()
    }

    /// Where the addition stands against its window, as last rung.
    pub fn zone(&self) -> Zone {
        self.watch.zone()
    }

    /// What the weighing under way counts from, as far as that is known.
    pub fn pan_base(&self) -> Option<Base> {
        self.pan.base()
    }

    /// What came to rest on the pan and may be metal put on too soon, so that nothing is counted
    /// from it unless the person begins anew.
    pub fn doubted_base(&self) -> Option<Indication> {
        self.pan.doubted_base()
    }

    /// Whether the pan is lighter than it can become by itself, and the weighing stands still.
    pub fn is_pan_low(&self) -> bool {
        self.pan.is_low()
    }

    /// Whether a record is waited for; orders wait too.
    pub fn is_writing(&self) -> bool {
        self.pending.is_some()
    }

    /// When the bench wants a tick, if nothing else happens before.
    pub fn wake_at(&self) -> Option<Moment> {
        let over = self.adding.as_ref().and(self.watch.over_at());
        let over = over.filter(|_| !self.holds.any());
        [
            self.link.wake_at(),
            self.holds.wake_at(),
            self.disk_retry,
            over,
        ]
        .into_iter()
        .flatten()
        .min()
    }

    /// The sentence that the person needs now.
    pub fn sentence(&self) -> String {
        if let Some(told) = self.check_sentence() {
            return told;
        }
        if let Some(hold) = self.holds.told() {
            return format!("Hold: {} {}", hold.why, hold.mend);
        }
        let Some(job) = self.open_job() else {
            return "No job is open.".to_owned();
        };
        let Some(expected) = &job.expected else {
            return next_step(job, &self.rules);
        };
        let name = words::of(job, &expected.what);
        if self.pan.is_hindered() {
            return words::HEARD_WITH_GAPS.to_owned();
        }
        match (self.pan.base(), &self.adding) {
            (_, _) if self.pan.is_low() => format!(
                "The pan is not as it was when this weighing began. Put back what was on it, or begin {name} anew: panbell answer anew."
            ),
            (Some(Base::AfterEmptying(_)), _) => format!("Empty the pan; {name} comes next."),
            (Some(Base::From(base)), Some(adding)) => {
                let net = self.pan.last().and_then(|tracked| tracked.net);
                let net = net.map(Indication::mass).unwrap_or_default();
                let told = words::standing(job, adding, net, &self.rules);
                let tolerance = self.rules.pan.tolerance;
                if net.abs() <= tolerance && base.mass().abs() > tolerance {
                    format!("{told} It counts from the {base} that stand there already.")
                } else {
                    told
                }
            }
            (Some(Base::From(base)), None) if base.mass().abs() > self.rules.pan.tolerance => {
                let load = words::how_to_load(job, &expected.what);
                format!("{load}; it counts from the {base} that stand there already.")
            }
            (Some(Base::From(_)), None) => {
                format!("{}.", words::how_to_load(job, &expected.what))
            }
            _ => format!("Wait until the pan is at rest; {name} comes next."),
        }
    }
}

fn next_step(job: &Job, rules: &BenchRules) -> String {
    if let Some(button) = job.last_button() {
        return after_button(job, button).to_owned();
    }
    let so_far = words::lots_so_far(job);
    match job.to_come().first() {
        None if job.standing().next().is_some() && !job.opened.add.is_empty() => {
            outside_window(job, rules).unwrap_or_else(|| {
                "Everything is weighed out. Melt, then weigh what came out: panbell button."
                    .to_owned()
            })
        }
        _ if job.lots().next().is_none() => format!("{so_far} Weigh the first lot: panbell lot."),
        Some(_) => format!("{so_far} Weigh a further lot, or go on: panbell add."),
        None => format!("{so_far} Weigh a further lot, or name a metal: panbell add --with METAL."),
    }
}

/// What is told of a melt that is weighed out and not what was asked for; nothing where it is.
fn outside_window(job: &Job, rules: &BenchRules) -> Option<String> {
    let (melt, demand) = (job.melt(), job.demand());
    if melt.is_surely_at_least(demand.lowest, demand.risk) && melt.is_at_most(demand.highest) {
        return None;
    }
    let fineness = melt.fineness()?;
    let way = Remedy::of(job, &melt, rules).told("panbell add --with METAL.");
    Some(format!(
        "The melt is {fineness}, outside its window. {way} To melt it as it is: panbell button."
    ))
}

fn after_button(job: &Job, button: &Weighed) -> &'static str {
    if job.is_unit_doubted() {
        return "The balance was in another unit while this job was weighed, so not all of its masses are proven: weigh them again in a new job, or close this one.";
    }
    match (&button.assay, job.is_button_sure()) {
        (None, _) if statement::by_density(job).is_some() => {
            "The density speaks against the button: have it assayed, panbell assay, or close the job."
        }
        (None, false) if job.is_button_below() => {
            "The button is weighed, and below its mark as far as is known: have it assayed, panbell assay, put it right, panbell add --with METAL, or close the job."
        }
        (_, true) if job.wants_check_weight() => {
            "The button is weighed. Show the check weight once more, panbell check-weight, then close the job: panbell close."
        }
        (_, true) => "The button is weighed. Close the job: panbell close.",
        (None, false) => {
            "The button is weighed, and not sure to be lawful: prove it, panbell proof or panbell assay, or close the job."
        }
        (Some(_), false) if !job.is_button_below() => {
            "By its assay the button is not sure to be lawful: have it assayed better, panbell assay, put it right, panbell add --with METAL, or close the job."
        }
        (Some(_), false) => {
            "The assay leaves the button short of its mark: put it right, panbell add --with METAL, or close the job."
        }
    }
}

/// The window of an addition, counted from 1, in this job as it stands.
pub(super) fn adding_for(job: &Job, addition: usize) -> Result<Adding, Trouble> {
    let name = words::metal_name(job, addition);
    let metal = job
        .metal(addition)
        .map_or(Fineness::NONE.into(), |metal| job.added_as(metal));
    let rest = job.rest_of_melt(addition);
    let (demand, division) = (job.demand(), job.opened.division);
    match window(&rest, metal, &demand, division) {
        Ok(window) => Ok(Adding {
            addition,
            metal,
            rest,
            window,
        }),
        Err(why) => {
            let mut trouble = why.trouble(&name, metal.gold, &demand, division);
            if let (NoWindow::NotSure { .. }, Some(most)) = (why, budget(&job.known()).first()) {
                trouble.happened = format!("{} The {} weighs most.", trouble.happened, most.name);
            }
            Err(trouble)
        }
    }
}
