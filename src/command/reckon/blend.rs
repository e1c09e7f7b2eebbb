//! `panbell reckon blend`: which metals of the shelf to add to the client's lots, inside every
//! limit, at the least cost or with the most of the client's metal.
//!
//! Promises: what is to be weighed out is inside every limit, and as surely lawful as the shop asks
//! where that can be had; else it is said. Leaves to others: the search (`melt`), and the windows
//! of single additions (`panbell reckon`).

mod answer;
mod asked;
mod typed;

use clap::Args;

use super::terms::TermArgs;
use crate::command::output::Output;
use crate::command::{Common, Ended};
use crate::melt::{self, BlendAsk, ColourWay, Known, Mix};
use crate::metal::Metal;
use crate::trouble::Trouble;
use answer::Answer;
use asked::Question;

/// Which metals of the shelf to add, and how much of each, inside every limit.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  panbell reckon blend --lot \"8.20 g@750:xrf\" --lot \"5.00 g@Au 585 Ag 300 Cu 115\" --to 18k --no nickel
  panbell reckon blend --lot 20g@22k --to 750 --colour pink --at-most zinc=20 --goal client
  panbell reckon blend --make \"12.00 g\" --to 750 --silver-share 0.4..0.6 --with fine --with fine-silver --with copper")]
pub(super) struct Blend {
    /// Metal of the client: a mass and its fineness, with what that rests on, or all that is known
    /// of it ("8.20 g@750:xrf", 24grain@22k, "5 g@Au 585 Ag 300 Cu 115:xrf")
    #[arg(
        long = "lot",
        value_name = "MASS@FINENESS[:BASIS]",
        required_unless_present = "make"
    )]
    lots: Vec<String>,
    /// What to make: karat as 14k, or fineness as 585
    #[arg(long = "to", value_name = "KARAT|FINENESS")]
    target: String,
    /// A metal that may be added: fine, a metal of the shelf or a fineness; all of the shelf that is
    /// made for the karat and the use if left out
    #[arg(long = "with", value_name = "METAL")]
    with: Vec<String>,
    /// The finished mass wanted
    #[arg(long, value_name = "MASS")]
    make: Option<String>,
    /// What the blend is to be best at: cheapest, with all of the client's metal used; or client,
    /// with as much of it used as can be
    #[arg(long, value_name = "GOAL", default_value = "cheapest")]
    goal: String,
    /// A metal that must not be in it, as nickel
    #[arg(long = "no", value_name = "METAL")]
    no: Vec<String>,
    /// The most of a metal in it, parts per thousand, as zinc=50
    #[arg(long, value_name = "METAL=PPT")]
    at_most: Vec<String>,
    /// The least of a metal in it, parts per thousand, as palladium=120
    #[arg(long, value_name = "METAL=PPT")]
    at_least: Vec<String>,
    /// The colour asked for; any if left out
    #[arg(long, value_name = "COLOUR")]
    colour: Option<String>,
    /// The colour as bounds on the silver in silver and copper together, from 0 (all copper) to 1
    #[arg(long, value_name = "LEAST..MOST", conflicts_with = "colour")]
    silver_share: Option<String>,
    /// Limits must hold whatever the unknown part of the metals turns out to be
    #[arg(long)]
    strict: bool,
    /// What it is for
    #[arg(long = "use", value_name = "USE", default_value = "any")]
    purpose: String,
    #[command(flatten)]
    terms: TermArgs,
}

impl Blend {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let question = Question::of(self, common)?;
        let found = found(&question)?;
        let answer = Answer::of(&question, &found);
        output.say(&answer.text(&question, &found), &answer.body);
        Ok(if answer.stands_against() {
            Ended::Warning
        } else {
            Ended::Done
        })
    }
}

/// A blend and what was asked for it.
struct Found {
    ask: BlendAsk,
    /// The metals of the shelf, in the order of the question.
    metals: Vec<Metal>,
    blend: melt::Blend,
    /// Every metal in it, with all that is known of it.
    known: Vec<Known>,
    melt: Mix,
    /// Whether it is as surely lawful as the shop asks.
    is_sure: bool,
}

/// The best blend: of the first way that surely has the colour; else of the one that comes nearest
/// to it.
fn found(question: &Question) -> Result<Found, Trouble> {
    let mut best: Option<(u8, Found)> = None;
    let mut why = None;
    for way in &question.ways {
        match found_by(question, way) {
            Ok(found) => {
                let short = |wish| way.falls_short(&found.blend.metal, wish);
                let Some(rank) = question.colour.and_then(short) else {
                    return Ok(found);
                };
                if best.as_ref().is_none_or(|(other, _)| rank < *other) {
                    best = Some((rank, found));
                }
            }
            Err(trouble) => why = why.or(Some(trouble)),
        }
    }
    match (best, why) {
        (Some((_, found)), _) => Ok(found),
        (None, Some(trouble)) => Err(question.with_colour(trouble)),
        (None, None) => Err(Trouble::new(
            "blend-unanswered",
            "There is no way to that colour.",
            "Nothing is planned.",
            "Ask without the colour.",
        )),
    }
}

/// The best blend by this way.
fn found_by(question: &Question, way: &ColourWay) -> Result<Found, Trouble> {
    let (metals, ask) = question.ask(way);
    match question.sure_blend(&ask) {
        Ok(found) => Ok(question.known(ask, metals, found)),
        Err(why) => Err(why.trouble(&ask)),
    }
}
