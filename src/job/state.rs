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
use super::terms::OrderId;
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
    /// Since when metal that is in no record rests on the pan, and how much was told of last.
    pub(super) loose_since: Option<Moment>,
    pub(super) loose_told: Option<Indication>,
    pub(super) disk_retry: Option<Moment>,
    /// Since when the book of check weights is being written.
    pub(super) check_asked: Option<Moment>,
    /// The disk was asked and has not answered for so long that the bench holds.
    pub(super) disk_silent: bool,
    pub(super) shown: Option<(Reading, Moment)>,
    /// The last line with a mass in it, for the record of a capture that is ordered.
    pub(super) line: Vec<u8>,
    pub(super) sends: Sends,
    /// Whether the balance sets its last digit apart, as one that is not meant for payment.
    pub(super) fine_digit: bool,
    /// The check weight that is being weighed.
    pub(super) checking: Option<Checking>,
    pub(super) last_check: Option<Remembered>,
    /// What is to be put into the job's file of it, and that what was weighed is in doubt.
    pub(super) check_due: Option<(u64, Box<Checked>)>,
    pub(super) doubt_due: bool,
    /// What a weighing last counted from, in a unit that was proven.
    pub(super) last_base: Option<Indication>,
    /// The rest that was last held against it.
    pub(super) compared: Option<Indication>,
    /// The rest for which the bench last held, since it is the one before in another unit.
    pub(super) odd_rest: Option<Indication>,
    /// The button for which the bench last held, since it is the melt in another unit.
    pub(super) odd_button: Option<Indication>,
    /// The moment of the event being taken.
    pub(super) now: Moment,
}

/// What happened to the pan is not known, and the person is asked. A weighing that is begun anew
/// (`answer anew`) counts from what is on the pan then, and always leads on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PanQuestion {
    /// What the weighing counts from was read before the unit was put in doubt.
    BaseDoubted,
    /// It is lighter than it was when the weighing began: was the dish lifted, or tared?
    Low,
    /// The last load is gone, but the pan rests at another mass than that was counted from: was the
    /// dish taken off, changed, or tared?
    NotEmptied,
}

#[derive(Debug, Clone)]
pub(super) struct Pending {
    pub(super) record: Record,
    /// When it was given to the book.
    pub(super) since: Moment,
    pub(super) order: Option<Given>,
}

/// Whose order a record carries out.
#[derive(Debug, Clone)]
pub(super) struct Given {
    /// The number that its answer carries.
    pub(super) number: u64,
    /// The id that it came with.
    pub(super) id: Option<OrderId>,
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
            loose_since: None,
            loose_told: None,
            disk_retry: None,
            check_asked: None,
            disk_silent: false,
            shown: None,
            line: Vec::new(),
            sends: Sends::Lines,
            fine_digit: false,
            checking: None,
            last_check: None,
            check_due: None,
            doubt_due: false,
            last_base: None,
            compared: None,
            odd_rest: None,
            odd_button: None,
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

    /// The same with a balance that sets its last digit apart, as one that is not meant for payment:
    /// it is weighed with, and told wherever masses are shown.
    #[must_use]
    pub fn with_fine_digit(mut self, is_there: bool) -> Self {
        self.fine_digit = is_there;
        self
    }

    /// Whether the last digit of what is shown is not meant for payment.
    pub fn has_fine_digit(&self) -> bool {
        self.fine_digit
    }

    /// Arms the pan for a weighing; gives the base if it could be taken at once.
    pub(super) fn arm(&mut self, what: &What, at: Moment) -> Option<Indication> {
        let shown = self.pan.last().filter(|tracked| tracked.steady);
        let (shown, tolerance) = (shown.map(|tracked| tracked.gross), self.rules.pan.tolerance);
        let base = self
            .job
            .as_ref()
            .map_or(Base::NextRest, |job| job.base_for(what, shown, tolerance));
        let taken = match what {
            // A hanger in water may weigh less than nothing, and vessels come and go.
            What::InWater(_) => self.pan.arm(base, at),
            _ => self.pan.arm_asking(base, at),
        };
        let taken = taken.or(match base {
            Base::From(base) => Some(base),
            Base::AfterEmptying(_) | Base::NextRest => None,
        });
        (self.loose_since, self.loose_told) = (None, None);
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

    /// What the pan asks of the person, if anything.
    pub fn pan_question(&self) -> Option<PanQuestion> {
        self.expected()?;
        if self.job.as_ref()?.is_base_doubted() {
            return Some(PanQuestion::BaseDoubted);
        }
        if self.pan.is_low() {
            return Some(PanQuestion::Low);
        }
        let (Some(Base::AfterEmptying(back)), Some(tracked)) = (self.pan.base(), self.pan.last())
        else {
            return None;
        };
        // More than that is metal in no record, or a load that is still there (`loose`).
        let is_less = tracked.gross.mass() < back.mass() - self.rules.pan.tolerance;
        (tracked.steady && is_less).then_some(PanQuestion::NotEmptied)
    }

    /// Whether a record is waited for.
    pub fn is_writing(&self) -> bool {
        self.pending.is_some()
    }

    /// Whether orders wait, since a record is being written. Not once it is told that the disk does
    /// not answer: then they are refused.
    pub fn orders_wait(&self) -> bool {
        self.pending.is_some() && !self.disk_silent
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
            self.disk_silent_at(),
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
            let next = next_step(job, &self.rules);
            return match self.set_aside_words(job) {
                Some(told) => format!("{told} {next}"),
                None => next,
            };
        };
        let name = words::of(job, &expected.what);
        if self.pan.is_hindered() {
            return words::HEARD_WITH_GAPS.to_owned();
        }
        match (self.pan.base(), &self.adding) {
            (_, _) if self.pan.is_low() => format!(
                "The pan is not as it was when this weighing began. Put back what was on it, or begin {name} anew."
            ),
            (Some(Base::AfterEmptying(ground)), _) if self.is_pan_lifted() => format!(
                "The balance rests at less than the {ground} that stood there before. Put back what stood there; or count {name} from what is on the pan now."
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

impl State {
    /// What was set aside and still lies on the pan.
    fn set_aside_words(&self, job: &Job) -> Option<String> {
        let (load, what) = job.on_pan.set_aside()?;
        let shown = self.pan.last().filter(|tracked| tracked.steady)?.gross;
        let lies_there = (shown.mass() - load.gross.mass()).abs() <= self.rules.pan.tolerance;
        let mass = load.gross.minus(load.base).filter(|_| lies_there)?;
        Some(format!(
            "{} that were set aside still lie on the pan: weigh {} anew, or take it off.",
            words::spelled(mass),
            words::of_withdrawn(job, what)
        ))
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
                "Everything is weighed out. Melt, then weigh what came out.".to_owned()
            })
        }
        _ if job.lots().next().is_none() => format!("{so_far} Weigh the first lot."),
        Some(next) => match adding_for(job, *next) {
            Ok(_) => format!("{so_far} Weigh a further lot, or go on with what is to be added."),
            Err(trouble) => format!("{so_far} {} {}", trouble.happened, trouble.mend),
        },
        None => format!("{so_far} Weigh a further lot, or choose what to add."),
    }
}

/// What is told of a melt that is weighed out and not what was asked for; nothing where it is.
fn outside_window(job: &Job, rules: &BenchRules) -> Option<String> {
    let (melt, demand) = (job.melt(), job.demand());
    if melt.is_surely_at_least(demand.lowest, demand.risk) && melt.is_at_most(demand.highest) {
        return None;
    }
    let fineness = melt.fineness()?;
    let way = Remedy::of(job, &melt, rules).told();
    Some(format!(
        "The melt is {fineness}, outside its window. {way} Or melt it as it is, and weigh what comes out."
    ))
}

fn after_button(job: &Job, button: &Weighed) -> &'static str {
    if job.is_unit_doubted() {
        return "The balance was in another unit while this job was weighed, so not all of its masses are proven: weigh them again in a new job, or close this one.";
    }
    match (&button.assay, job.is_button_sure()) {
        (None, _) if statement::by_density(job).is_some() => {
            "The density speaks against the button: have it assayed, or close the job."
        }
        (None, false) if job.is_button_below() => {
            "The button is weighed, and below its mark as far as is known: have it assayed, put it right, or close the job."
        }
        (_, true) if job.wants_check_weight() => {
            "The button is weighed. Leave it on the pan, or put it back, and put the check weight beside it; then close the job."
        }
        (_, true) => "The button is weighed. Close the job.",
        (None, false) => {
            "The button is weighed, and not sure to be lawful: prove it by its density or an assay, or close the job."
        }
        (Some(_), false) if !job.is_button_below() => {
            "By its assay the button is not sure to be lawful: have it assayed better, put it right, or close the job."
        }
        (Some(_), false) => {
            "The assay leaves the button short of its mark: put it right, or close the job."
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
