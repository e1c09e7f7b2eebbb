//! `panbell reckon`: what to add, without a job or a balance.

mod answer;
mod asked;
mod blend;
mod density;
mod piece;
mod terms;
mod water;

use clap::{Args, Subcommand};
use rust_decimal::Decimal;

use super::output::Output;
use super::{Common, Ended};
use crate::mass::typed_number_to;
use crate::melt::{self, NoAnswer};
use crate::trouble::Trouble;
use answer::Answer;
use asked::Question;
use terms::TermArgs;
pub(in crate::command) use water::WaterArgs;

/// What to add, how much of it, and how sure that is.
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub(super) struct Reckon {
    #[command(flatten)]
    ask: Ask,
    #[command(subcommand)]
    other: Option<Other>,
}

/// Other reckonings.
#[derive(Debug, Subcommand)]
enum Other {
    /// Prove a piece by its density: weighed in air and in water
    Density(density::Density),
    /// How much metal a piece needs, from its measures
    Piece(piece::Piece),
    /// Which metals of the shelf to add, and how much of each, inside every limit
    Blend(Box<blend::Blend>),
}

/// The question as typed.
#[derive(Debug, Args)]
struct Ask {
    /// Metal to be used: a mass and its fineness, with what that rests on ("8.20 g@750:xrf",
    /// 24grain@22k, 12g@875:stamp, 5g@752:declared:1.0); @18k alone for as much as is needed
    #[arg(long = "lot", value_name = "MASS@FINENESS[:BASIS]", required = true)]
    lots: Vec<String>,
    /// What to make: karat as 14k, or fineness as 585
    #[arg(long = "to", value_name = "KARAT|FINENESS", required = true)]
    target: Option<String>,
    /// What to add: fine, a metal of the shelf or a fineness, with its parts by mass against the
    /// others (fine-silver=2)
    #[arg(long = "with", value_name = "METAL[=PARTS]")]
    with: Vec<String>,
    /// The finished mass wanted
    #[arg(long, value_name = "MASS")]
    make: Option<String>,
    #[command(flatten)]
    terms: TermArgs,
    /// The colour asked for
    #[arg(long, value_name = "COLOUR", default_value = "yellow")]
    colour: String,
    /// What it is for
    #[arg(long = "use", value_name = "USE", default_value = "any")]
    purpose: String,
    /// Check the uncertainty by a million trials
    #[arg(long)]
    monte_carlo: bool,
}

impl Reckon {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        match &self.other {
            Some(Other::Density(density)) => return density.run(common, output),
            Some(Other::Piece(piece)) => return piece.run(common, output),
            Some(Other::Blend(blend)) => return blend.run(common, output),
            None => {}
        }
        let question = Question::of(&self.ask, common)?;
        if let Some((make, one, other)) = question.two_of() {
            let (first, second) =
                melt::two_of(make, one.stated, other.stated, question.demand.target)
                    .map_err(|why| question.trouble(&why))?;
            let (text, body) = answer::two(&question, one, first, other, second);
            output.say(&text, &body);
            return Ok(Ended::Done);
        }
        let reckoning = question.reckon().map_err(|why| question.trouble(&why))?;
        let answer = Answer::of(&question, &reckoning, self.ask.monte_carlo);
        output.say(&answer.text(&question, &reckoning), &answer.body);
        Ok(if answer.stands_against() {
            Ended::Warning
        } else {
            Ended::Done
        })
    }
}

/// A number typed plainly with its unit behind it or without: `20` or `20 C`.
fn measure(text: &str, unit: &str, most: i64, what: &str) -> Result<Decimal, Trouble> {
    let text = text.trim();
    number(text.strip_suffix(unit).unwrap_or(text), most, what)
}

/// A number typed plainly, from 0 up to `most`.
fn number(text: &str, most: i64, what: &str) -> Result<Decimal, Trouble> {
    let top = Decimal::from(most);
    typed_number_to(text.trim(), top)
        .map_err(|no| format!(": {no}"))
        .and_then(|n| {
            let within = n >= Decimal::ZERO && n <= top;
            within.then_some(n).ok_or_else(String::new)
        })
        .map_err(|why| {
            Trouble::new(
                "number-unreadable",
                format!("\"{text}\" is no {what}{why}."),
                "Nothing is reckoned.",
                format!("Write a plain number from 0 to {most}."),
            )
        })
}

impl Question {
    fn trouble(&self, why: &NoAnswer) -> Trouble {
        let division = self.division;
        let (happened, mend) = match why {
            NoAnswer::NoWindow(at, why) => {
                let Some(addition) = self.add.get(*at) else {
                    return self.trouble(&NoAnswer::Nothing);
                };
                return why.trouble(&addition.name, addition.metal.gold, &self.demand, division);
            }
            NoAnswer::NotBetween => (
                "The target does not lie between the finenesses given.".to_owned(),
                "Give one above it and one below it.".to_owned(),
            ),
            NoAnswer::TooLittle(most) => (
                format!(
                    "The metal given makes only {} this way.",
                    division.show(*most)
                ),
                "Give more of the lots, or add both a richer and a poorer metal with --with."
                    .to_owned(),
            ),
            NoAnswer::MassMissing => (
                "A lot without a mass can only be reckoned as one of two, with --make.".to_owned(),
                "Give each lot its mass, or two lots without and the mass to make.".to_owned(),
            ),
            NoAnswer::Nothing => (
                "There is nothing to reckon with.".to_owned(),
                "Give a lot with --lot.".to_owned(),
            ),
        };
        Trouble::new(
            "no-answer",
            happened,
            format!("{} is not reached this way.", self.demand.target),
            mend,
        )
    }
}
