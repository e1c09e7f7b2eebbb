//! `panbell reckon piece`: how much metal a piece needs, from its measures or its wax.
//!
//! Promises: the mass to make, never short, and the line to type next. Leaves to others: the
//! reckoning (`melt`), the loss in the melt, and what the metal is made from.

mod shape;

use clap::Args;
use serde::Serialize;

use super::answer::grams;
use super::measure;
use crate::command::output::Output;
use crate::command::{Common, Ended};
use crate::mass::{Division, Indication, fixed};
use crate::melt::{Allowance, Density};
use crate::metal::{Composition, Fineness};
use crate::settings::read_shelf;
use crate::trouble::Trouble;
use shape::{What, dense};

/// How much metal a piece needs, from its measures in millimetres or from its wax.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  panbell reckon piece ring --size 54 --width 4 --thick 1.5 --alloy \"Au 750 Ag 125 Cu 125\" --filing 10
  panbell reckon piece wire --diameter 1.2 --length 300 --density 15.4
  panbell reckon piece wax --mass \"0.95 g\" --alloy \"Au 585 Ag 300 Cu 115\" --sprue 40")]
pub(super) struct Piece {
    #[command(subcommand)]
    what: What,
}

/// What it is made of, and what comes on top.
#[derive(Debug, Args)]
struct MetalArgs {
    /// What it is to be made of: parts per thousand as "Au 750 Ag 125 Cu 125", or a metal of the
    /// shelf of which all parts are known
    #[arg(
        long,
        value_name = "ALLOY|METAL",
        required_unless_present = "density",
        conflicts_with = "density"
    )]
    alloy: Option<String>,
    /// The density of the alloy in g/cm3, when you know it better
    #[arg(long, value_name = "G/CM3")]
    density: Option<String>,
    /// Metal for sprue and button, or for the ends of the stock, in per cent of the piece
    #[arg(long, value_name = "PERCENT", default_value = "0")]
    sprue: String,
    /// Metal for filing, sawing and polishing, in per cent of the piece
    #[arg(long, value_name = "PERCENT", default_value = "0")]
    filing: String,
    /// How many such pieces
    #[arg(long, value_name = "NUMBER", default_value = "1")]
    pieces: String,
    /// The division of the balance
    #[arg(long, value_name = "MASS", default_value = "0.01 g")]
    division: String,
}

/// The answer as JSON. Numbers are decimal strings.
#[derive(Debug, Serialize)]
struct Body {
    shape: &'static str,
    /// Of one piece.
    volume_mm3: String,
    density_g_per_cm3: String,
    /// Of one piece.
    piece_g: String,
    pieces: String,
    /// Of all pieces, with the allowances.
    make_g: String,
    /// The same as the balance shows it.
    make: String,
    /// The strip to cut for a ring.
    strip_mm: Option<String>,
    /// What to type next; none for an alloy without gold.
    then: Option<String>,
    warnings: Vec<String>,
}

impl Piece {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let (piece, metal) = (self.what.read()?, self.what.metal());
        let division: Division = metal.division.parse()?;
        let alloy = metal.alloy(common)?;
        let allowance = Allowance {
            sprue: measure(&metal.sprue, "%", 1000, "allowance in per cent")?,
            filing: measure(&metal.filing, "%", 1000, "allowance in per cent")?,
        };
        let pieces = pieces(&metal.pieces)?;
        let need = piece.shape.need(alloy.density, allowance, division)?;
        let make = need.metal.times(pieces);
        // What is shown must be what is meant, and a command that is typed must be taken.
        let shown = Indication::new(division.in_unit(make, division.decimals()), division.unit())
            .ok_or_else(|| {
            Trouble::new(
                "piece-unreckoned",
                "So many pieces are more metal than any bench balance weighs.",
                "No mass is planned from it.",
                "Check the measures and the number of pieces.",
            )
        })?;
        let mut warnings = Vec::new();
        if metal.alloy.is_some() {
            warnings.push("The density is a sum of the volumes of the metals; alloys come out up to 1 in 100 heavier or lighter, so have that much over.".to_owned());
        }
        if allowance == Allowance::NONE {
            warnings.push("No allowance was given, so nothing is there for sprue, ends or filing: add --sprue and --filing in per cent.".to_owned());
        }
        warnings.push("What the melt loses is not in it.".to_owned());
        let decimals = division.mass().grams().normalize().scale();
        let body = Body {
            shape: piece.word,
            volume_mm3: need.cubic_millimetres.to_string(),
            density_g_per_cm3: fixed(alloy.density.in_g_per_cm3(), 4).to_string(),
            piece_g: grams(need.piece, decimals),
            pieces: pieces.to_string(),
            make_g: grams(make, decimals),
            make: shown.to_string(),
            strip_mm: need.strip.map(|strip| strip.in_mm().to_string()),
            then: alloy.then(shown),
            warnings,
        };
        let mut top = on_top(allowance);
        if pieces > 1 {
            top = format!("for {pieces} of them, {top}");
        }
        let mut lines = vec![
            format!("{}:", piece.line),
            format!("  volume   {:>12} mm3", need.cubic_millimetres),
            format!(
                "  piece    {:>12}   of {}{}",
                division.show(need.piece).to_string(),
                alloy.named,
                alloy.density
            ),
            format!("  make     {:>12}   {top}", body.make),
        ];
        if let Some(strip) = &body.strip_mm {
            lines.push(format!(
                "Cut the strip {strip} mm long; bent, that is its length along its middle."
            ));
        }
        let notes = body.warnings.iter();
        lines.extend(notes.map(|warning| format!("Note: {warning}")));
        if let Some(then) = &body.then {
            lines.push(format!(
                "Then, with each lot of the client's metal after a --lot:\n  {then}"
            ));
        }
        output.say(&lines.join("\n"), &body);
        Ok(Ended::Done)
    }
}

/// What the piece is to be made of.
struct Alloy {
    /// In a sentence, before its density: `Au 750 Ag 125 Cu 125, `.
    named: String,
    density: Density,
    /// None where only the density is known.
    gold: Option<Fineness>,
}

impl MetalArgs {
    fn alloy(&self, common: &Common) -> Result<Alloy, Trouble> {
        let Some(text) = &self.alloy else {
            return Ok(Alloy {
                named: String::new(),
                density: dense(self.density.as_deref().unwrap_or_default())?,
                gold: None,
            });
        };
        // A composition has a blank between a symbol and its part; no key of the shelf has one.
        let (name, made_of): (String, Composition) = if text.trim().contains(' ') {
            let made_of: Composition = text.parse()?;
            (made_of.to_string(), made_of)
        } else {
            let metal = read_shelf(&common.reading_folders()?)?.find(text)?;
            (metal.name, metal.composition)
        };
        let density = Density::of(&made_of).ok_or_else(|| {
            Trouble::new(
                "alloy-unknown",
                format!(
                    "Of {} ‰ of {name} nothing is known, so its density is not known either.",
                    made_of.unknown_per_mille(1).normalize()
                ),
                "The mass of the piece cannot be worked out.",
                "Say all that is in the alloy, as in --alloy \"Au 750 Ag 125 Cu 125\", or give its density with --density.",
            )
        })?;
        Ok(Alloy {
            named: format!("{name}, "),
            density,
            gold: Some(made_of.gold()),
        })
    }
}

impl Alloy {
    /// The line to type next.
    fn then(&self, make: Indication) -> Option<String> {
        let to = match self.gold {
            None => "KARAT|FINENESS".to_owned(),
            Some(gold) if gold == Fineness::NONE => return None,
            Some(gold) => as_typed(gold),
        };
        Some(format!(
            "panbell reckon --make \"{make}\" --to {to} --lot MASS@FINENESS"
        ))
    }
}

/// A fineness as short as it is read: `750`, `14k`, and `20ppt` where a bare number is refused.
fn as_typed(gold: Fineness) -> String {
    let text = gold.stated_text().replace(' ', "");
    match text.strip_suffix("ppt") {
        Some(bare) if bare.parse::<Fineness>().is_ok() => bare.to_owned(),
        _ => text,
    }
}

fn on_top(allowance: Allowance) -> String {
    let parts = [(allowance.sprue, "sprue"), (allowance.filing, "filing")];
    let parts: Vec<String> = parts
        .iter()
        .filter(|(per_cent, _)| !per_cent.is_zero())
        .map(|(per_cent, what)| format!("{} % for {what}", per_cent.normalize()))
        .collect();
    if parts.is_empty() {
        "nothing on top".to_owned()
    } else {
        format!("with {}", parts.join(" and "))
    }
}

fn pieces(text: &str) -> Result<u32, Trouble> {
    text.trim()
        .parse()
        .ok()
        .filter(|pieces| (1..=10_000).contains(pieces))
        .ok_or_else(|| {
            Trouble::new(
                "number-unreadable",
                format!("\"{text}\" is no number of pieces."),
                "The mass of the pieces cannot be worked out.",
                "Write a whole number from 1 to 10000.",
            )
        })
}
