//! Orders as clients send them, and answers as they get them: the interface's own types.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::door::House;
use crate::balance::Key;
use crate::book::JobName;
use crate::job::{AddedMetal, BenchRules, Done, FORMAT, Opened, Order, PanAnswer};
use crate::mass::{Indication, fixed};
use crate::metal::Stated;
use crate::trouble::Trouble;

/// An order as JSON: `{"order":"lot","fineness":"750","basis":"stamp"}`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
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
    /// Weigh out the next planned addition, or the metal named.
    Add {
        /// A metal that was not planned.
        #[serde(default)]
        metal: Option<String>,
    },
    /// Capture now.
    Take {},
    /// Set the last capture aside.
    Withdraw {},
    /// The next load is the button.
    Button {},
    /// What happened to the pan.
    Answer {
        /// tared, back or anew.
        said: PanAnswer,
    },
    /// End the job.
    Close {},
    /// Press the balance's tare key.
    Tare {},
    /// Press the balance's zero key.
    Zero {},
}

/// A metal to add.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AddBody {
    /// Its short name on the shelf, or a fineness.
    pub metal: String,
    /// Parts by mass against the others.
    #[serde(default = "one")]
    pub share: String,
}

fn any() -> String {
    "any".to_owned()
}

fn one() -> String {
    "1".to_owned()
}

/// The answer to an order that was carried out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReplyBody {
    /// What was done, and what comes next.
    pub text: String,
    /// Whether a warning stands.
    pub warning: bool,
}

/// The answer to one that was not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
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
                if add.len() > MOST_METALS {
                    return Err(odd(
                        "metals-too-many",
                        format!("{} metals to add are planned.", add.len()),
                        format!("Plan at most {MOST_METALS}."),
                    ));
                }
                Order::Open(Box::new(Opened {
                    format: FORMAT,
                    job: job.as_str().to_owned(),
                    bench: bench.to_owned(),
                    ticket: short(&ticket, "ticket")?,
                    client: short(&client, "client reference")?,
                    target: demand.target,
                    lowest: demand.lowest,
                    highest: demand.highest,
                    risk: house.settings.chance(),
                    u_mass_g: rules.u_mass().to_decimal(),
                    colour: colour.parse()?,
                    purpose: purpose.parse()?,
                    division: rules.pan.division,
                    add: add
                        .iter()
                        .map(|add| added(house, &add.metal, &add.share))
                        .collect::<Result<_, _>>()?,
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
            Self::Add { metal } => Order::Add {
                metal: metal
                    .map(|metal| added(house, &metal, "1").map(Box::new))
                    .transpose()?,
            },
            Self::Take {} => Order::Take,
            Self::Withdraw {} => Order::Withdraw,
            Self::Button {} => Order::Button,
            Self::Answer { said } => Order::Answer(said),
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

fn added(house: &House, metal: &str, share: &str) -> Result<AddedMetal, Trouble> {
    let metal = house.settings.shelf.find(metal)?;
    let share_of = || {
        odd(
            "share-unreadable",
            format!("\"{share}\" is not a share."),
            "Write parts by mass above zero, as in 1 or 2.5.".to_owned(),
        )
    };
    let share = Indication::parse_digits(share)
        .filter(|share| *share > Decimal::ZERO && *share <= Decimal::ONE_THOUSAND);
    // As the file will read it back.
    let made_of = metal.composition.to_string().parse()?;
    Ok(AddedMetal {
        metal: metal.key,
        name: metal.name,
        gold: metal.gold,
        u_ppt: Decimal::ZERO,
        made_of,
        share: share.ok_or_else(share_of)?,
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
    // Control characters have no place on a statement, and none in a terminal.
    Ok(text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect())
}

fn odd(code: &'static str, happened: String, mend: String) -> Trouble {
    Trouble::new(code, happened, "Nothing was changed.", mend)
}
