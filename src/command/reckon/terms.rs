//! The terms of a reckoning that every kind of it shares: the law of marks, what the shop gives
//! away and takes the chance of, and the balance.

use clap::Args;
use rust_decimal::Decimal;

use super::number;
use crate::mass::{Class, Division, Indication, Mass};
use crate::melt::{Demand, MOST_GIVE_AWAY, MassDoubt, Risk};
use crate::metal::{Fineness, Judged, MarkLaw, Price};
use crate::settings::{Folders, read_laws, read_shelf};
use crate::trouble::Trouble;

/// The terms as typed.
#[derive(Debug, Args)]
pub(super) struct TermArgs {
    /// The law of marks whose tolerance may be used
    #[arg(long, value_name = "NAME", default_value = "none")]
    mark_law: String,
    /// The division of the balance
    #[arg(long, value_name = "MASS", default_value = "0.01 g")]
    division: String,
    /// The standard deviation of weighings of one load
    #[arg(long, value_name = "MASS")]
    repeatability: Option<String>,
    /// The accuracy class of the balance: I, II, III or IIII
    #[arg(long, value_name = "CLASS")]
    class: Option<String>,
    /// The standard uncertainty of the balance's calibration at the loads weighed
    #[arg(long, value_name = "MASS")]
    calibration_u: Option<String>,
    /// The most gold given away, parts per thousand above the mark
    #[arg(long, value_name = "PPT", default_value = "5")]
    give_away: String,
    /// The most gold given away, in money: as much as that buys of the shelf's cheapest fine gold in
    /// that currency; the tighter of the two counts
    #[arg(long, value_name = "MONEY")]
    give_away_cost: Option<String>,
    /// The chance of falling below the lowest lawful fineness that is taken, in thousandths
    #[arg(long, value_name = "PPT", default_value = "25")]
    risk: String,
}

/// The most divisions that a balance is taken to stray by: more is a slip of the pen (a bound of our
/// own).
const MOST_SPREAD: u32 = 1000;

/// The terms as they are meant.
pub(super) struct Terms {
    pub(super) law: MarkLaw,
    pub(super) demand: Demand,
    pub(super) division: Division,
    pub(super) repeatability: Option<Mass>,
    pub(super) class: Option<Class>,
    pub(super) u_mass: MassDoubt,
    /// The most fine gold given away, where what it costs is limited.
    pub(super) give_away: Option<Mass>,
}

impl TermArgs {
    /// Reads the terms for a target.
    pub(super) fn read(&self, folders: &Folders, target: Fineness) -> Result<Terms, Trouble> {
        let law = law(read_laws(folders)?, &self.mark_law)?;
        let division: Division = self.division.parse()?;
        let mass = |text: &String| text.parse::<Indication>().map(Indication::mass);
        let spread = |text: &String| -> Result<Mass, Trouble> {
            let spread = mass(text)?;
            if spread.is_positive() && spread <= division.mass().times(MOST_SPREAD) {
                return Ok(spread);
            }
            Err(Trouble::new(
                "spread-implausible",
                format!("A balance of {division} divisions cannot be in doubt by {text}."),
                "Nothing is reckoned.",
                "Write a standard uncertainty or deviation as its certificate or ten weighings of one load give it, as 0.004g.",
            ))
        };
        let repeatability = self.repeatability.as_ref().map(spread).transpose()?;
        let calibration = self.calibration_u.as_ref().map(spread).transpose()?;
        let class = self.class.as_ref().map(|class| class.parse()).transpose()?;
        let give_away = number(&self.give_away, MOST_GIVE_AWAY.into(), "give-away limit")?;
        Ok(Terms {
            demand: Demand {
                target,
                lowest: law.lowest(target, Judged::WithoutSolder),
                highest: target.plus(give_away),
                risk: risk(&self.risk)?,
            },
            law,
            division,
            repeatability,
            class,
            u_mass: MassDoubt::of_weighing(division, repeatability, class, calibration),
            give_away: self
                .give_away_cost
                .as_deref()
                .map(|text| gold_for(text, folders))
                .transpose()?,
        })
    }
}

/// The fine gold that this money buys.
fn gold_for(text: &str, folders: &Folders) -> Result<Mass, Trouble> {
    let money: Price = text.parse()?;
    let gold = read_shelf(folders)?.gold_for(money.per_gram, &money.currency);
    gold.ok_or_else(|| {
        Trouble::new(
            "gold-without-price",
            format!(
                "No fine gold on the shelf has a price in {}.",
                money.currency
            ),
            "It is not known how much gold that money is, so nothing is reckoned.",
            "Give a fine gold of the shelf its price in that currency, or use --give-away.",
        )
    })
}

/// The law of this short name.
pub(super) fn law(laws: Vec<MarkLaw>, name: &str) -> Result<MarkLaw, Trouble> {
    let known: Vec<String> = laws.iter().map(|law| law.key.clone()).collect();
    laws.into_iter().find(|law| law.key == name).ok_or_else(|| {
        Trouble::new(
            "law-unknown",
            format!("\"{name}\" is not a law of marks that is known here."),
            "Nothing is reckoned.",
            format!("Known are: {}.", known.join(", ")),
        )
    })
}

/// A chance in thousandths, above none: certainty is not to be had.
fn risk(text: &str) -> Result<Risk, Trouble> {
    Risk::new(number(text, 500, "chance")? / Decimal::ONE_THOUSAND).ok_or_else(|| {
        Trouble::new(
            "risk-unclear",
            format!(
                "A chance of {text} of falling below the lowest lawful fineness cannot be kept."
            ),
            "Nothing is reckoned.",
            "Give it in thousandths, above 0 and up to 500, as in --risk 25.",
        )
    })
}
