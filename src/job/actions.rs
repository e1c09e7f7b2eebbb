//! Which orders the bench would take now, and which of them is the likeliest.
//!
//! Promises: an order is offered if and only if the bench would take it, for it is asked of the very
//! judge that takes orders; the main one needs no yes that is not given with it. Leaves to others:
//! how an order is called and drawn on a page or in a terminal.

use rust_decimal::Decimal;

use super::asks::Asked;
use super::fold::Job;
use super::order::Order;
use super::record::{AddedMetal, PanAnswer, Water, WaterWay, What};
use super::state::{State, adding_for};
use super::words;
use crate::mass::Indication;
use crate::metal::{Basis, Composition, Fineness};

/// What can be ordered, by kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Way {
    /// Open a ticket.
    Open,
    /// Weigh a lot.
    Lot,
    /// Record the load on the pan as it lies there now.
    Reweigh,
    /// Choose what to add.
    Plan,
    /// Plan on without the metal that comes next.
    PlanWithout,
    /// Weigh out the metal that comes next.
    Add,
    /// Weigh out a metal that was not planned.
    AddOther,
    /// Record what is on the pan.
    Take,
    /// Set aside what was recorded last.
    Withdraw,
    /// Weigh the button.
    Button,
    /// Weigh the button in water.
    Proof,
    /// Enter an assay.
    Assay,
    /// The dish was lifted and is back.
    Back,
    /// The tare key was pressed.
    Tared,
    /// Count from what is on the pan.
    Anew,
    /// Leave the weighing under way.
    Leave,
    /// Weigh the check weight.
    CheckWeight,
    /// Close the job.
    Close,
}

impl Way {
    /// Every way.
    pub const ALL: [Self; 18] = [
        Self::Open,
        Self::Lot,
        Self::Reweigh,
        Self::Plan,
        Self::PlanWithout,
        Self::Add,
        Self::AddOther,
        Self::Take,
        Self::Withdraw,
        Self::Button,
        Self::Proof,
        Self::Assay,
        Self::Back,
        Self::Tared,
        Self::Anew,
        Self::Leave,
        Self::CheckWeight,
        Self::Close,
    ];

    /// The word for it, in kebab case.
    pub fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Lot => "lot",
            Self::Reweigh => "reweigh",
            Self::Plan => "plan",
            Self::PlanWithout => "plan-without",
            Self::Add => "add",
            Self::AddOther => "add-other",
            Self::Take => "take",
            Self::Withdraw => "withdraw",
            Self::Button => "button",
            Self::Proof => "proof",
            Self::Assay => "assay",
            Self::Back => "back",
            Self::Tared => "tared",
            Self::Anew => "anew",
            Self::Leave => "leave",
            Self::CheckWeight => "check-weight",
            Self::Close => "close",
        }
    }
}

/// An order that the bench would take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Action {
    /// Its kind.
    pub way: Way,
    /// Whether it is the likeliest.
    pub main: bool,
    /// The whole order, where nothing has to be typed for it.
    pub order: Option<Order>,
    /// What it is about, in words: a metal, a lot.
    pub name: Option<String>,
    /// The mass that it is about, where that stands still.
    pub mass: Option<Indication>,
    /// What has to be said yes to.
    pub asks: Option<Asked>,
}

impl State {
    /// The orders that the bench would take now, the main one first.
    pub fn actions(&self) -> Vec<Action> {
        if self.is_writing() {
            return Vec::new();
        }
        let mut actions: Vec<Action> = Way::ALL
            .into_iter()
            .filter_map(|way| self.action(way))
            .collect();
        let main = self.main_way(&actions);
        for action in &mut actions {
            action.main = Some(action.way) == main;
        }
        actions.sort_by_key(|action| !action.main);
        actions
    }

    fn action(&self, way: Way) -> Option<Action> {
        if way == Way::Open {
            // Judged by what is typed; only a bench with an open job refuses it whatever that is.
            return self.open_job().is_none().then_some(Action {
                way,
                main: false,
                order: None,
                name: None,
                mass: None,
                asks: None,
            });
        }
        let (probe, is_whole) = self.probe(way)?;
        if !self.would_take(&probe) {
            return None;
        }
        let asks = self.asks(&probe);
        let (name, mass) = self.about(way);
        Some(Action {
            way,
            main: false,
            order: is_whole.then_some(probe),
            name,
            mass,
            asks,
        })
    }

    fn would_take(&self, order: &Order) -> bool {
        match order {
            Order::CheckWeight { .. } => self.may_check(),
            Order::Leave if self.may_leave_check() => true,
            order => self.record_for(order.clone()).is_ok(),
        }
    }

    /// An order of this kind, and whether it is whole as it stands or an example of what is typed.
    fn probe(&self, way: Way) -> Option<(Order, bool)> {
        let job = self.open_job();
        let whole = |order| Some((order, true));
        match way {
            Way::Open => None,
            Way::Lot => Some((a_lot(), false)),
            Way::Reweigh => whole(Order::Reweigh),
            Way::Plan => Some((Order::Plan { add: Vec::new() }, false)),
            Way::PlanWithout => whole(Order::Plan {
                add: without_next(job?)?,
            }),
            Way::Add => whole(Order::Add { metal: None }),
            Way::AddOther => Some((self.some_metal()?, false)),
            Way::Take => whole(Order::Take),
            Way::Withdraw => whole(Order::Withdraw {
                capture: Some(self.last_recorded()?.n),
            }),
            Way::Button => whole(Order::Button),
            Way::Proof => Some((a_proof(WaterWay::Hung), false)),
            Way::Assay => Some((an_assay(), false)),
            Way::Back => whole(Order::Answer(PanAnswer::Back)),
            Way::Tared => whole(Order::Answer(PanAnswer::Tared)),
            Way::Anew => whole(Order::Answer(PanAnswer::Anew)),
            Way::Leave => whole(Order::Leave),
            Way::CheckWeight => Some((
                Order::CheckWeight { weight: None },
                self.rules.check_weight.is_some(),
            )),
            Way::Close => whole(Order::Close),
        }
    }

    /// A metal that could be added now: one of the shelf, or one of so many eighths of gold.
    fn some_metal(&self) -> Option<Order> {
        let of_shelf = self.rules.shelf.metals().iter().map(|metal| AddedMetal {
            metal: metal.key.clone(),
            name: metal.name.clone(),
            gold: metal.gold,
            u_ppt: Decimal::ZERO,
            made_of: metal.composition.clone(),
            share: Decimal::ONE,
        });
        let eighths = (0..=8)
            .rev()
            .filter_map(|eighth: i64| Fineness::per_mille(Decimal::from(125 * eighth)));
        let by_fineness = eighths.map(|gold| AddedMetal {
            metal: gold.to_string(),
            name: gold.to_string(),
            gold,
            u_ppt: Decimal::ZERO,
            made_of: Composition::of_gold(gold),
            share: Decimal::ONE,
        });
        of_shelf
            .chain(by_fineness)
            .map(|metal| Order::Add {
                metal: Some(Box::new(metal)),
            })
            .find(|order| self.would_take(order))
    }

    /// What an action is about.
    fn about(&self, way: Way) -> (Option<String>, Option<Indication>) {
        let Some(job) = self.open_job() else {
            return (None, None);
        };
        let next = || job.to_come().first().copied();
        match way {
            Way::Add => next().map_or((None, None), |addition| {
                let plan = adding_for(job, addition).ok();
                let aim = plan.map(|adding| words::shown(job, adding.window.aim));
                (Some(words::metal_name(job, addition)), aim)
            }),
            Way::PlanWithout => (next().map(|next| words::metal_name(job, next)), None),
            Way::Withdraw => self.last_recorded().map_or((None, None), |weighed| {
                (
                    Some(words::of_recorded(job, weighed)),
                    Some(weighed.captured.mass),
                )
            }),
            Way::Reweigh => self.loose_now().map_or((None, None), |loose| {
                let weighed = job.weighed.iter().find(|it| it.n == loose.beside);
                (
                    weighed.map(|weighed| words::of_recorded(job, weighed)),
                    Some(loose.whole),
                )
            }),
            Way::Take | Way::Anew | Way::Leave => {
                (self.expected().map(|what| words::of(job, what)), None)
            }
            Way::CheckWeight => (
                self.rules.check_weight.map(|weight| weight.to_string()),
                None,
            ),
            _ => (None, None),
        }
    }

    fn main_way(&self, actions: &[Action]) -> Option<Way> {
        let offers = |way: Way| actions.iter().any(|action| action.way == way);
        self.likeliest().into_iter().find(|way| offers(*way))
    }

    /// The ways on from here, the likeliest first; the first that is offered is the main one.
    fn likeliest(&self) -> Vec<Way> {
        let Some(job) = self.open_job() else {
            return vec![Way::Open];
        };
        if self.wants_check_weight_now() {
            return vec![Way::CheckWeight];
        }
        if self.loose_now().is_some() {
            return vec![Way::Reweigh];
        }
        if let Some(what) = self.expected() {
            // An addition is recorded by itself once it rests within; before that its mass is a
            // person's own choice.
            return if self.pan.is_low() || self.is_pan_lifted() {
                vec![Way::Anew, Way::Leave]
            } else if matches!(what, What::Addition { .. }) {
                Vec::new()
            } else {
                vec![Way::Take]
            };
        }
        if job.button().is_some() {
            let is_proved = job
                .last_button()
                .is_some_and(|button| button.assay.is_some())
                || job.in_water().is_some();
            let is_sure = job.is_button_sure() && !job.is_button_below();
            return match (is_proved, is_sure) {
                (false, _) => vec![Way::Proof, Way::Assay, Way::Close],
                (true, true) if job.wants_check_weight() => vec![Way::CheckWeight, Way::Close],
                (true, true) => vec![Way::Close],
                (true, false) => vec![Way::AddOther, Way::Assay, Way::Close],
            };
        }
        if job.standing().next().is_none() {
            return vec![Way::Lot];
        }
        if !job.to_come().is_empty() {
            return vec![Way::Add, Way::Plan, Way::Lot];
        }
        let has_added =
            |weighed: &super::fold::Weighed| matches!(weighed.captured.what, What::Addition { .. });
        if job.standing().any(has_added) {
            vec![Way::Button]
        } else {
            vec![Way::Plan, Way::Button, Way::Lot]
        }
    }
}

fn a_lot() -> Order {
    Order::Lot {
        fineness: Fineness::pure(),
        basis: Basis::Stamp,
        taken: Fineness::pure(),
        u_ppt: Decimal::ZERO,
        note: String::new(),
    }
}

fn an_assay() -> Order {
    Order::Assay {
        fineness: Fineness::pure(),
        basis: Basis::FireAssay,
        taken: Fineness::pure(),
        u_ppt: Decimal::ZERO,
    }
}

fn a_proof(way: WaterWay) -> Order {
    let air = crate::melt::Air::default();
    Order::Proof(Water {
        way,
        water_celsius: air.celsius,
        air_celsius: air.celsius,
        pascal: air.pascal,
        humidity: air.humidity,
    })
}

/// The plan without the metal that comes next; none if nothing comes.
fn without_next(job: &Job) -> Option<Vec<AddedMetal>> {
    let to_come = job.to_come();
    let (_, rest) = to_come.split_first()?;
    rest.iter().map(|at| job.metal(*at).cloned()).collect()
}
