//! Orders as clients send them, and answers as they get them: the interface's own types.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::door::House;
use super::view::BenchView;
use crate::balance::Key;
use crate::book::JobName;
use crate::job::{
    AddedMetal, BenchRules, Done, FORMAT, Opened, Order, PanAnswer, Terms, Water, WaterWay,
};
use crate::mass::{Mass, fixed, typed_number_to};
use crate::melt::Air;
use crate::metal::{Basis, Stated};
use crate::trouble::{Trouble, is_harmful};

/// An order as JSON: `{"order":"lot","fineness":"750","basis":"stamp"}`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(tag = "order", rename_all = "kebab-case", deny_unknown_fields)]
pub enum OrderBody {
    /// Begin a job.
    Open {
        /// The ticket; the job file is named after it.
        ticket: String,
        /// The client's reference.
        #[serde(default)]
        client: String,
        /// Karat or fineness: `14k`, `585`.
        target: String,
        /// The colour asked for.
        colour: String,
        /// What it is for.
        #[serde(default = "any", rename = "use")]
        purpose: String,
        /// The metals to add.
        #[serde(default)]
        add: Vec<AddBody>,
    },
    /// The next load is a lot.
    Lot {
        /// Its fineness.
        fineness: String,
        /// What that rests on.
        basis: String,
        /// A few words.
        #[serde(default)]
        note: String,
    },
    /// Plan these metals in place of those that are not weighed yet.
    Plan {
        /// The metals to add.
        add: Vec<AddBody>,
    },
    /// Weigh out the next planned addition, or the metal named.
    Add {
        /// A metal that was not planned.
        #[serde(default)]
        metal: Option<String>,
    },
    /// Capture now.
    Take {},
    /// Set the last capture aside.
    Withdraw {
        /// The number of its record, as it was seen; refused if another is the last by now.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        capture: Option<u64>,
    },
    /// Record the load that was recorded last as it lies on the pan now, metal laid on or taken off.
    Reweigh {},
    /// Leave the weighing under way; nothing of it is recorded.
    Leave {},
    /// The next load is the button.
    Button {},
    /// The next weighing is of the button in water.
    Proof(WaterBody),
    /// What an assay found in the button.
    Assay {
        /// The fineness found.
        fineness: String,
        /// By what.
        #[serde(default = "fire_assay")]
        basis: String,
    },
    /// What happened to the pan.
    Answer {
        /// tared, back or anew.
        said: PanAnswer,
    },
    /// The next load at rest is the check weight.
    CheckWeight {
        /// Its nominal mass and class, `20 g F2`; left out, the one of the settings.
        #[serde(default)]
        weight: Option<String>,
    },
    /// End the job. One that is not finished is refused with what is missing and a word that confirms
    /// the order all the same.
    Close {},
    /// Press the balance's tare key.
    Tare {},
    /// Press the balance's zero key.
    Zero {},
}

/// What an order is given on: the member `on` of its JSON. All of it may be left out.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct OnBody {
    /// An id of the order's own, 8 to 64 letters, digits, dashes and underscores: the same order sent
    /// twice with one id happens once, also over a restart of the service.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// The ticket that it is for; refused if another is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ticket: Option<String>,
    /// The bench's mark as it was seen; refused if something that decides has happened since.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<String>,
    /// The word that a refusal, or an action, asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confirm: Option<String>,
}

impl OnBody {
    /// As the bench takes it.
    pub fn into_terms(self) -> Result<Terms, Trouble> {
        Ok(Terms {
            ticket: self.ticket,
            seen: self.seen.map(|seen| seen.parse()).transpose()?,
            confirm: self.confirm.map(|word| word.parse()).transpose()?,
            id: self.id.map(|id| id.parse()).transpose()?,
        })
    }
}

/// An order with what it is given on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderRequest {
    /// The order.
    pub order: OrderBody,
    /// What it is given on.
    pub on: OnBody,
}

impl Serialize for OrderRequest {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::Error as _;
        let mut whole = serde_json::to_value(&self.order).map_err(S::Error::custom)?;
        if let Some(object) = whole.as_object_mut()
            && self.on != OnBody::default()
        {
            let on = serde_json::to_value(&self.on).map_err(S::Error::custom)?;
            object.insert("on".to_owned(), on);
        }
        whole.serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for OrderRequest {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        use serde::de::Error as _;
        let mut whole = serde_json::Map::deserialize(deserializer)?;
        let on = whole.shift_remove("on").map(serde_json::from_value);
        let order = serde_json::from_value(whole.into()).map_err(D::Error::custom)?;
        let on = on.transpose().map_err(D::Error::custom)?;
        Ok(Self {
            order,
            on: on.unwrap_or_default(),
        })
    }
}

/// A metal to add.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct AddBody {
    /// Its short name on the shelf, or a fineness.
    pub metal: String,
    /// Parts by mass against the others.
    #[serde(default = "one")]
    pub share: String,
}

/// A weighing in water: numbers are strings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct WaterBody {
    /// hung or displaced.
    pub way: WaterWay,
    /// Degrees Celsius.
    #[serde(default = "twenty")]
    pub water_celsius: String,
    /// Degrees Celsius.
    #[serde(default = "twenty")]
    pub air_celsius: String,
    /// At the bench.
    #[serde(default = "near_the_sea")]
    pub pascal: String,
    /// Relative, per cent.
    #[serde(default = "half")]
    pub humidity: String,
}

impl From<Water> for WaterBody {
    fn from(water: Water) -> Self {
        Self {
            way: water.way,
            water_celsius: water.water_celsius.to_string(),
            air_celsius: water.air_celsius.to_string(),
            pascal: water.pascal.to_string(),
            humidity: water.humidity.to_string(),
        }
    }
}

impl WaterBody {
    fn water(&self) -> Result<Water, Trouble> {
        let number = |text: &str, most: i64| {
            typed_number_to(text.trim(), Decimal::from(most)).map_err(|no| {
                odd(
                    "number-unreadable",
                    format!("\"{text}\" is no plain number: {no}."),
                    "Write digits, as in 20.5 or 20,5.".to_owned(),
                )
            })
        };
        Ok(Water {
            way: self.way,
            water_celsius: number(&self.water_celsius, 100)?,
            air_celsius: number(&self.air_celsius, 100)?,
            pascal: number(&self.pascal, 110_000)?,
            humidity: number(&self.humidity, 100)?,
        })
    }
}

impl AddBody {
    /// As typed: a metal, or `METAL=PARTS`.
    pub fn typed(text: &str) -> Self {
        let (metal, share) = text.rsplit_once('=').unwrap_or((text, "1"));
        Self {
            metal: metal.to_owned(),
            share: share.to_owned(),
        }
    }
}

fn fire_assay() -> String {
    Basis::FireAssay.to_string()
}

fn twenty() -> String {
    Air::default().celsius.to_string()
}

fn near_the_sea() -> String {
    Air::default().pascal.to_string()
}

fn half() -> String {
    Air::default().humidity.to_string()
}

fn any() -> String {
    "any".to_owned()
}

fn one() -> String {
    "1".to_owned()
}

/// The answer to an order that was carried out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ReplyBody {
    /// What was done, and what comes next.
    pub text: String,
    /// Whether a warning stands.
    pub warning: bool,
}

/// The answer to one that was not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct RefusalBody {
    /// A stable word.
    pub code: String,
    /// What happened.
    pub happened: String,
    /// What it means for the melt.
    pub means: String,
    /// What to do.
    pub mend: String,
    /// Whether it can pass by itself.
    pub passes: bool,
    /// The word with which the same order is carried out all the same (`on.confirm`), where only a
    /// yes is wanted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confirm: Option<String>,
    /// How the bench stands now, where the order was given on another state than that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bench: Option<Box<BenchView>>,
}

impl From<Done> for ReplyBody {
    fn from(done: Done) -> Self {
        Self {
            text: done.text,
            warning: done.warning,
        }
    }
}

impl From<&Trouble> for RefusalBody {
    fn from(trouble: &Trouble) -> Self {
        Self {
            code: trouble.code.to_owned(),
            happened: trouble.happened.clone(),
            means: trouble.means.clone(),
            mend: trouble.mend.clone(),
            passes: trouble.passes,
            confirm: trouble.confirm.as_deref().map(str::to_owned),
            bench: None,
        }
    }
}

impl From<RefusalBody> for Trouble {
    /// On the client's side.
    fn from(refusal: RefusalBody) -> Self {
        // The service's own word is what programs go by. It may live as long as the command, which
        // ends with it.
        let code: &'static str = refusal.code.leak();
        let trouble = Self {
            confirm: refusal.confirm.map(Into::into),
            ..Self::new(code, refusal.happened, refusal.means, refusal.mend)
        };
        if refusal.passes {
            trouble.passing()
        } else {
            trouble
        }
    }
}

/// A ticket, a reference or a note may be so long, in characters.
const LONGEST_TEXT: usize = 200;
/// So many metals may be planned in one job.
const MOST_METALS: usize = 20;

impl OrderBody {
    /// The key of the balance that it presses, if it is no order of the job.
    pub fn key(&self) -> Option<Key> {
        match self {
            Self::Tare {} => Some(Key::Tare),
            Self::Zero {} => Some(Key::Zero),
            _ => None,
        }
    }

    /// The order of an action that is whole as it stands, as JSON sends it.
    pub fn of(order: &Order) -> Option<Self> {
        Some(match order {
            Order::Add { metal: None } => Self::Add { metal: None },
            Order::Take => Self::Take {},
            Order::Withdraw { capture } => Self::Withdraw { capture: *capture },
            Order::Reweigh => Self::Reweigh {},
            Order::Leave => Self::Leave {},
            Order::Button => Self::Button {},
            Order::Answer(said) => Self::Answer { said: *said },
            Order::CheckWeight { weight } => Self::CheckWeight {
                weight: weight.map(|weight| weight.to_string()),
            },
            Order::Close => Self::Close {},
            Order::Plan { add } => Self::Plan {
                add: add
                    .iter()
                    .map(|metal| AddBody {
                        metal: metal.metal.clone(),
                        share: metal.share.to_string(),
                    })
                    .collect(),
            },
            Order::Open(_)
            | Order::Lot { .. }
            | Order::Add { metal: Some(_) }
            | Order::Proof(_)
            | Order::Assay { .. } => return None,
        })
    }

    /// The order that this means on a bench.
    pub fn into_order(self, house: &House, bench: &str) -> Result<Order, Trouble> {
        Ok(match self {
            Self::Open {
                ticket,
                client,
                target,
                colour,
                purpose,
                add,
            } => {
                let job = JobName::from_ticket(&ticket)?;
                let rules = rules(house, bench)?;
                let demand = house.settings.demand(target.parse()?);
                Order::Open(Box::new(Opened {
                    format: FORMAT,
                    job: job.as_str().to_owned(),
                    bench: bench.to_owned(),
                    ticket: short(&ticket, "ticket")?,
                    client: short(&client, "client reference")?,
                    target: demand.target,
                    lowest: demand.lowest,
                    highest: demand.highest,
                    give_away_g: house.settings.give_away_gold.map(Mass::grams),
                    risk: house.settings.chance(),
                    u_mass_g: rules.u_mass().to_decimal(),
                    u_balance_g: rules.u_mass().common_to_decimal(),
                    colour: colour.parse()?,
                    purpose: purpose.parse()?,
                    division: rules.pan.division,
                    add: planned(house, &add)?,
                }))
            }
            Self::Lot {
                fineness,
                basis,
                note,
            } => {
                let stated: Stated = format!("{fineness}:{basis}").parse()?;
                let estimate = stated.estimate(&house.settings.basis);
                Order::Lot {
                    fineness: stated.fineness,
                    basis: stated.basis,
                    taken: estimate.fineness,
                    u_ppt: fixed(estimate.u, 4),
                    note: short(&note, "note")?,
                }
            }
            Self::Plan { add } => Order::Plan {
                add: planned(house, &add)?,
            },
            Self::Add { metal } => Order::Add {
                metal: metal
                    .map(|metal| added(house, &metal, "1").map(Box::new))
                    .transpose()?,
            },
            Self::Take {} => Order::Take,
            Self::Withdraw { capture } => Order::Withdraw { capture },
            Self::Reweigh {} => Order::Reweigh,
            Self::Leave {} => Order::Leave,
            Self::Button {} => Order::Button,
            Self::Proof(water) => Order::Proof(water.water()?),
            Self::Assay { fineness, basis } => {
                let stated: Stated = format!("{fineness}:{basis}").parse()?;
                let estimate = stated.estimate(&house.settings.basis);
                Order::Assay {
                    fineness: stated.fineness,
                    basis: stated.basis,
                    taken: estimate.fineness,
                    u_ppt: fixed(estimate.u, 4),
                }
            }
            Self::Answer { said } => Order::Answer(said),
            Self::CheckWeight { weight } => Order::CheckWeight {
                weight: weight.map(|weight| weight.parse()).transpose()?,
            },
            Self::Close {} => Order::Close,
            Self::Tare {} | Self::Zero {} => {
                return Err(odd(
                    "order-of-the-balance",
                    "A key of the balance is no order of the job.".to_owned(),
                    "Give it as an order of its own.".to_owned(),
                ));
            }
        })
    }
}

fn rules<'a>(house: &'a House, bench: &str) -> Result<&'a BenchRules, Trouble> {
    let found = house
        .settings
        .benches
        .iter()
        .find(|settings| settings.name == bench);
    found.map(|settings| &*settings.rules).ok_or_else(|| {
        odd(
            "bench-unknown",
            format!("There is no bench \"{bench}\"."),
            "Name one of the settings.".to_owned(),
        )
    })
}

fn planned(house: &House, add: &[AddBody]) -> Result<Vec<AddedMetal>, Trouble> {
    if add.len() > MOST_METALS {
        return Err(odd(
            "metals-too-many",
            format!("{} metals to add are planned.", add.len()),
            format!("Plan at most {MOST_METALS}."),
        ));
    }
    add.iter()
        .map(|add| added(house, &add.metal, &add.share))
        .collect()
}

fn added(house: &House, metal: &str, share: &str) -> Result<AddedMetal, Trouble> {
    let metal = house.settings.shelf.find(metal)?;
    let most = Decimal::ONE_THOUSAND;
    let share = typed_number_to(share.trim(), most)
        .map_err(|no| format!(": {no}"))
        .and_then(|number| {
            let within = number > Decimal::ZERO && number <= most;
            within.then_some(number).ok_or_else(String::new)
        })
        .map_err(|why| {
            odd(
                "share-unreadable",
                format!("\"{share}\" is not a share{why}."),
                "Write parts by mass above zero, as in 1 or 2.5.".to_owned(),
            )
        })?;
    // As the file will read it back.
    let made_of = metal.composition.to_string().parse()?;
    Ok(AddedMetal {
        metal: metal.key,
        name: metal.name,
        gold: metal.gold,
        u_ppt: Decimal::ZERO,
        made_of,
        share,
    })
}

fn short(text: &str, what: &str) -> Result<String, Trouble> {
    if text.chars().count() > LONGEST_TEXT {
        return Err(odd(
            "text-too-long",
            format!("The {what} is longer than {LONGEST_TEXT} characters."),
            "Shorten it.".to_owned(),
        ));
    }
    // What commands, turns or hides text has no place on a statement, and none in a terminal.
    Ok(text
        .chars()
        .map(|c| if is_harmful(c) { ' ' } else { c })
        .collect())
}

fn odd(code: &'static str, happened: String, mend: String) -> Trouble {
    Trouble::new(code, happened, "Nothing was changed.", mend)
}
