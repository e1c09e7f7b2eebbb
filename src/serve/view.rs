//! The live state as clients see it: the interface's own types, version 1.

use serde::{Deserialize, Serialize};

use super::orders::OrderBody;
use crate::balance::{LinkState, Verdict};
use crate::job::{Action, BenchRules, Job, Ring, State, What, statement, words};
use crate::mass::{Indication, Moment, Shown};
use crate::metal::Metal;
use crate::trouble::harmless;

/// A bench, whole.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct BenchView {
    /// Its name.
    pub bench: String,
    /// The unit that it weighs in, symbol and spelled out.
    pub unit: String,
    /// Spelled out.
    pub unit_name: String,
    /// The division, with its unit.
    pub division: String,
    /// The link: absent, silent, garbled or talking.
    pub link: String,
    /// Whether the balance sets the last digit of its masses apart: it is not meant for payment.
    #[serde(default)]
    pub fine_digit: bool,
    /// Frames that failed their check since the service started; they are dropped.
    #[serde(default)]
    pub damaged: u64,
    /// The sentence that the person needs now.
    pub sentence: String,
    /// Why nothing is captured, if so.
    pub hold: Option<HoldView>,
    /// The pan.
    pub pan: PanView,
    /// The weighing under way.
    pub weighing: Option<WeighingView>,
    /// The job, open or closed last.
    pub job: Option<JobView>,
    /// The mark of this state, for `on.seen` of an order: another as soon as something has happened
    /// that a decision rests on.
    #[serde(default)]
    pub mark: String,
    /// The orders that the bench would take now, the likeliest first.
    #[serde(default)]
    pub actions: Vec<ActionView>,
    /// When this was so: milliseconds since the service started.
    #[serde(default)]
    pub t: u64,
}

/// An order that the bench would take.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ActionView {
    /// open, lot, reweigh, plan, plan-without, add, add-other, take, withdraw, button, proof, assay,
    /// back, tared, anew, leave, check-weight or close.
    pub action: String,
    /// Whether it is the likeliest.
    pub main: bool,
    /// The whole order, ready to be sent, where nothing has to be typed for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[cfg_attr(
        test,
        schemars(with = "Option<serde_json::Map<String, serde_json::Value>>")
    )]
    pub order: Option<OrderBody>,
    /// What it is about: a metal, a lot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The mass that it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mass: Option<String>,
    /// What has to be said yes to, in sentences; then `confirm` goes into `on.confirm`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub asks: Vec<String>,
    /// The word that says yes to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confirm: Option<String>,
}

impl ActionView {
    fn of(action: Action) -> Self {
        let asks = action.asks;
        Self {
            action: action.way.word().to_owned(),
            main: action.main,
            order: action.order.as_ref().and_then(OrderBody::of),
            name: action.name,
            mass: action.mass.map(|mass| mass.to_string()),
            confirm: asks.as_ref().map(|asks| asks.mark.to_string()),
            asks: asks.map(|asks| asks.says).unwrap_or_default(),
        }
    }

    /// All of a bench.
    pub fn all(state: &State) -> Vec<Self> {
        state.actions().into_iter().map(Self::of).collect()
    }
}

/// A hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct HoldView {
    /// unit, disk, link, balance or pan.
    pub cause: String,
    /// Why.
    pub why: String,
    /// What to do.
    pub mend: String,
}

/// The pan. Masses are strings with their unit.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct PanView {
    /// What the balance shows; none when the reading is old.
    pub shown: Option<String>,
    /// What the balance says of itself.
    pub status: Option<String>,
    /// agreed, unproven or conflict.
    pub unit: String,
    /// Above what the weighing counts from.
    pub net: Option<String>,
    /// At rest.
    pub steady: bool,
    /// How old the reading was that is shown, in milliseconds; none when none is shown.
    #[serde(default)]
    pub age_ms: Option<u64>,
}

/// What a reading changes, for followers: far smaller than the whole state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ReadingView {
    /// The pan.
    #[serde(flatten)]
    pub pan: PanView,
    /// The weighing under way.
    pub weighing: Option<WeighingView>,
    /// The sentence that the person needs now.
    pub sentence: String,
    /// When this was so: milliseconds since the service started.
    #[serde(default)]
    pub t: u64,
}

/// That the service is there, told once a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct BeatView {
    /// When it was told: milliseconds since the service started.
    pub t: u64,
    /// Milliseconds since the balance was last read; none while it never was.
    pub age: Option<u64>,
}

/// A weighing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct WeighingView {
    /// lot, addition or button.
    pub what: String,
    /// In words.
    pub name: String,
    /// under, within or over, for an addition with a mass on the pan.
    pub side: Option<String>,
    /// Lower edge of the window.
    pub lower: Option<String>,
    /// What to weigh out.
    pub aim: Option<String>,
    /// Upper edge.
    pub upper: Option<String>,
    /// Fineness of the finished melt at the present mass, per mille.
    pub fineness_ppt: Option<String>,
    /// Its standard uncertainty, per mille.
    pub u_ppt: Option<String>,
    /// The chance that it is lawful, from 0 to 1.
    pub p_lawful: Option<String>,
}

/// A job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct JobView {
    /// Its name, that of its file.
    pub job: String,
    /// The ticket.
    pub ticket: String,
    /// The client's reference.
    pub client: String,
    /// What was asked for, as stated.
    pub target: String,
    /// The colour asked for.
    pub colour: String,
    /// What it is for.
    #[serde(rename = "use")]
    pub purpose: String,
    /// Whether it is open.
    pub open: bool,
    /// What was weighed.
    pub weighed: Vec<WeighedView>,
    /// The additions still to come.
    pub to_come: Vec<PlannedView>,
    /// Mass of the melt so far.
    pub melt: String,
    /// Its fineness, per mille to two decimals.
    pub fineness_ppt: Option<String>,
    /// What everything put in so far is made of, per mille: `Au 750 Ag 125 unknown 125`.
    pub made_of: Option<String>,
    /// The same with everything that is planned.
    pub to_be_made_of: Option<String>,
    /// What an assay found in the button.
    pub assay: Option<AssayView>,
    /// What its density says.
    pub proof: Option<ProofView>,
    /// What stands against its metals, or against the whole of it once it is closed.
    pub warnings: Vec<String>,
    /// The statement, once it is closed.
    pub statement: Option<String>,
}

/// An assay of the button.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct AssayView {
    /// Per mille to two decimals.
    pub fineness_ppt: String,
    /// Its standard uncertainty, per mille.
    pub u_ppt: String,
    /// By what.
    pub basis: String,
}

/// A proof by density.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ProofView {
    /// Density found, kg/m3.
    pub density: String,
    /// Density that the planned alloy ought to have, kg/m3.
    pub expected: String,
    /// agrees, low or high.
    pub verdict: String,
    /// Gold by density alone, per mille.
    pub gold_ppt: String,
    /// Its standard uncertainty, per mille.
    pub gold_u_ppt: String,
    /// Chance that it is lawful, by this proof alone, from 0 to 1.
    pub p_lawful: String,
}

/// A capture.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct WeighedView {
    /// The number of its record.
    pub n: u64,
    /// lot, addition or button.
    pub what: String,
    /// Metal or fineness, in words.
    pub name: String,
    /// The mass.
    pub mass: String,
    /// Whether it was set aside.
    pub withdrawn: bool,
}

/// An addition still to come.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct PlannedView {
    /// The metal.
    pub name: String,
    /// By exact mass balance; none where the metals left cannot bring it there.
    pub mass: Option<String>,
    /// What it is made of, per mille.
    pub made_of: String,
}

/// A metal of the shop's shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct MetalView {
    /// The short name that orders use.
    pub metal: String,
    /// The name for people.
    pub name: String,
    /// What it is made of, per mille: `Ag 500 Cu 500`.
    pub made_of: String,
    /// How much of it there is, if the shop keeps count: a mass with its unit.
    pub stock: Option<String>,
    /// What a gram costs, if the shop says: a decimal string.
    pub price_per_gram: Option<String>,
    /// In this currency.
    pub currency: Option<String>,
}

impl MetalView {
    /// A metal as clients see it.
    pub fn of(metal: &Metal) -> Self {
        let price = metal.price.as_ref();
        Self {
            metal: metal.key.clone(),
            name: metal.name.clone(),
            made_of: metal.composition.to_string(),
            stock: metal.stock.map(|stock| stock.to_string()),
            price_per_gram: price.map(|price| price.per_gram.to_string()),
            currency: price.map(|price| price.currency.clone()),
        }
    }
}

/// A bell.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct BellView {
    /// near, within, over, under-again, recorded, hold, resumed or done.
    pub bell: String,
    /// A few words.
    pub title: String,
    /// The number that matters, and what to do.
    pub text: String,
    /// When it was rung: milliseconds since the service started.
    #[serde(default)]
    pub t: u64,
}

/// Milliseconds since the service started.
fn millis(at: Moment) -> u64 {
    u64::try_from(at.since_origin().as_millis()).unwrap_or(u64::MAX)
}

impl ReadingView {
    /// What a reading has changed, at a moment.
    pub fn of(state: &State, at: Moment) -> Self {
        Self {
            pan: PanView::of(state, at),
            weighing: WeighingView::of(state),
            sentence: state.sentence(),
            t: millis(at),
        }
    }
}

impl BellView {
    /// A ring as clients see it, at a moment.
    pub fn of(ring: &Ring, at: Moment) -> Self {
        Self {
            t: millis(at),
            bell: ring.kind.word().to_owned(),
            title: ring.title.clone(),
            text: ring.text.clone(),
        }
    }
}

impl BenchView {
    /// The whole state at a moment.
    pub fn of(state: &State, at: Moment) -> Self {
        let division = state.rules().pan.division;
        let unit = division.unit();
        Self {
            bench: state.rules().name.clone(),
            unit: unit.symbol().to_owned(),
            unit_name: unit.name().to_owned(),
            division: division.to_string(),
            link: state.link().state().word().to_owned(),
            fine_digit: state.has_fine_digit(),
            damaged: state.link().damaged(),
            sentence: state.sentence(),
            hold: state.holds().told().map(|hold| HoldView {
                cause: hold.cause.word().to_owned(),
                why: hold.why.clone(),
                mend: hold.mend.clone(),
            }),
            pan: PanView::of(state, at),
            weighing: WeighingView::of(state),
            job: state.job().map(|job| JobView::of(job, state.rules())),
            mark: state.mark().to_string(),
            actions: ActionView::all(state),
            t: millis(at),
        }
    }

    /// Whether this is the same but for the time.
    pub fn is_as(&mut self, other: &Self) -> bool {
        (self.t, self.pan.age_ms) = (other.t, other.pan.age_ms);
        self == other
    }
}

impl PanView {
    /// The pan; a reading older than the silence limit is not shown.
    pub fn of(state: &State, at: Moment) -> Self {
        let unit = match state.guard().verdict() {
            Verdict::Agreed => "agreed",
            Verdict::Unproven => "unproven",
            Verdict::Conflict(_) => "conflict",
        }
        .to_owned();
        // What was read before the link was lost is not current, however young it is.
        let talks = state.link().state() == LinkState::Talking;
        let fresh = state
            .shown()
            .filter(|(_, heard)| talks && at.since(*heard) < state.rules().link.silence);
        let Some((reading, heard)) = fresh else {
            return Self {
                unit,
                ..Self::default()
            };
        };
        let shown = match reading.shown {
            Shown::Weighed(mass) => Some(mass.to_string()),
            Shown::UnitUnstated(digits) => Some(format!("{digits} (no unit)")),
            Shown::UnitUnknown(digits) => Some(format!("{digits} (unknown unit)")),
            Shown::SignUnproven(digits) => Some(format!("{digits} (sign not proven)")),
            Shown::Nothing => None,
        };
        let tracked = state
            .tracked()
            .filter(|_| state.guard().verdict() == Verdict::Agreed);
        Self {
            shown,
            status: Some(reading.status.word().to_owned()),
            unit,
            net: tracked
                .and_then(|tracked| tracked.net)
                .map(|net| net.to_string()),
            steady: tracked.is_some_and(|tracked| tracked.steady),
            age_ms: u64::try_from(at.since(heard).as_millis()).ok(),
        }
    }
}

impl WeighingView {
    /// The weighing under way, if there is one.
    pub fn of(state: &State) -> Option<Self> {
        let (job, what) = (state.open_job()?, state.expected()?);
        let mut view = Self {
            what: what_word(what).to_owned(),
            name: words::of(job, what),
            side: None,
            lower: None,
            aim: None,
            upper: None,
            fineness_ppt: None,
            u_ppt: None,
            p_lawful: None,
        };
        if let Some(adding) = state.adding() {
            let show = |mass| Some(words::shown(job, mass).to_string());
            view.lower = show(adding.window.lower);
            view.aim = show(adding.window.aim);
            view.upper = show(adding.window.upper);
            if let Some(net) = state
                .tracked()
                .and_then(|tracked| tracked.net)
                .map(Indication::mass)
            {
                view.side = Some(adding.window.side(net).word().to_owned());
                let melt = adding.melt_with(net.or_zero());
                view.fineness_ppt = melt
                    .fineness()
                    .map(|fineness| fineness.to_per_mille(2).to_string());
                view.u_ppt = Some(format!("{:.2}", melt.u_ppt()));
                view.p_lawful = Some(melt.chance_digits(job.opened.lowest));
            }
        }
        Some(view)
    }
}

impl JobView {
    fn of(job: &Job, rules: &BenchRules) -> Self {
        let melt = job.melt();
        let plan = job.plan();
        let planned = |addition: usize| {
            let mass = plan.as_ref()?.iter().find(|(at, _)| *at == addition)?.1;
            Some(words::shown(job, mass).to_string())
        };
        Self {
            job: job.opened.job.clone(),
            ticket: harmless(&job.opened.ticket).into_owned(),
            client: harmless(&job.opened.client).into_owned(),
            target: job.opened.target.stated_text(),
            colour: job.opened.colour.to_string(),
            purpose: job.opened.purpose.to_string(),
            open: job.closed.is_none(),
            weighed: job
                .weighed
                .iter()
                .map(|weighed| WeighedView::of(job, weighed))
                .collect(),
            to_come: job
                .to_come()
                .into_iter()
                .map(|addition| PlannedView {
                    name: words::metal_name(job, addition),
                    mass: planned(addition),
                    made_of: job
                        .metal(addition)
                        .map_or_else(String::new, |metal| metal.made_of.to_string()),
                })
                .collect(),
            melt: words::shown(job, melt.mass()).to_string(),
            fineness_ppt: melt
                .fineness()
                .map(|fineness| fineness.to_per_mille(2).to_string()),
            made_of: job.made_of().map(|of| of.to_string()),
            to_be_made_of: job.to_be_made_of().map(|of| of.to_string()),
            assay: job
                .last_button()
                .and_then(|button| button.assay.as_ref())
                .map(|assay| AssayView {
                    fineness_ppt: assay.taken.to_per_mille(2).to_string(),
                    u_ppt: assay.u_ppt.to_string(),
                    basis: assay.basis.to_string(),
                }),
            proof: job.proof().and_then(Result::ok).map(|proof| ProofView {
                density: proof.density.in_kg_per_m3().to_string(),
                expected: proof.expected.in_kg_per_m3().to_string(),
                verdict: proof.verdict.word().to_owned(),
                gold_ppt: proof.gold_ppt.to_string(),
                gold_u_ppt: proof.gold_u_ppt.to_string(),
                p_lawful: proof.chance_lawful.to_string(),
            }),
            warnings: match &job.closed {
                Some(closed) => closed.warnings.clone(),
                None => words::cautions(job, rules),
            },
            statement: job.closed.as_ref().map(|closed| statement(job, closed)),
        }
    }
}

impl WeighedView {
    fn of(job: &Job, weighed: &crate::job::Weighed) -> Self {
        let name = match &weighed.captured.what {
            What::Lot {
                fineness, basis, ..
            } => format!("{fineness} by {basis}"),
            What::Addition { addition } => words::metal_name(job, *addition),
            What::Button => "button".to_owned(),
            What::InWater(water) => water.way.label().to_lowercase(),
        };
        Self {
            n: weighed.n,
            what: what_word(&weighed.captured.what).to_owned(),
            name,
            mass: weighed.captured.mass.to_string(),
            withdrawn: weighed.withdrawn,
        }
    }
}

fn what_word(what: &What) -> &'static str {
    match what {
        What::Lot { .. } => "lot",
        What::Addition { .. } => "addition",
        What::Button => "button",
        What::InWater(_) => "in-water",
    }
}
