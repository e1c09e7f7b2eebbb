//! The shapes that a piece can have, as they are typed.
//!
//! Promises: every measure is read with its unit or refused in plain words. Leaves to others: what
//! the shape weighs (`melt`).

use clap::Subcommand;
use rust_decimal::Decimal;

use super::MetalArgs;
use crate::mass::Indication;
use crate::melt::{Density, Hollow, Length, Piece as Shape, RingSize};
use crate::trouble::Trouble;

/// What is to be made.
#[derive(Debug, Subcommand)]
pub(super) enum What {
    /// Sheet, strip or flat wire
    Sheet {
        /// Length in mm
        #[arg(long, value_name = "MM")]
        length: String,
        /// Width in mm
        #[arg(long, value_name = "MM")]
        width: String,
        /// Thickness in mm
        #[arg(long, value_name = "MM")]
        thick: String,
        #[command(flatten)]
        metal: MetalArgs,
    },
    /// Round or square wire
    Wire {
        /// Diameter of round wire in mm
        #[arg(
            long,
            value_name = "MM",
            required_unless_present = "side",
            conflicts_with = "side"
        )]
        diameter: Option<String>,
        /// Side of square wire in mm
        #[arg(long, value_name = "MM")]
        side: Option<String>,
        /// Length in mm
        #[arg(long, value_name = "MM")]
        length: String,
        #[command(flatten)]
        metal: MetalArgs,
    },
    /// Round tube
    Tube {
        /// Outer diameter in mm
        #[arg(long, value_name = "MM")]
        outer: String,
        /// Inner diameter in mm
        #[arg(
            long,
            value_name = "MM",
            required_unless_present = "wall",
            conflicts_with = "wall"
        )]
        inner: Option<String>,
        /// Thickness of the wall in mm
        #[arg(long, value_name = "MM")]
        wall: Option<String>,
        /// Length in mm
        #[arg(long, value_name = "MM")]
        length: String,
        #[command(flatten)]
        metal: MetalArgs,
    },
    /// A flat ring band
    Ring {
        /// Ring size: the inner circumference in mm
        #[arg(
            long,
            value_name = "MM",
            required_unless_present = "diameter",
            conflicts_with = "diameter"
        )]
        size: Option<String>,
        /// Inner diameter in mm
        #[arg(long, value_name = "MM")]
        diameter: Option<String>,
        /// Width along the finger in mm
        #[arg(long, value_name = "MM")]
        width: String,
        /// Thickness away from the finger in mm
        #[arg(long, value_name = "MM")]
        thick: String,
        #[command(flatten)]
        metal: MetalArgs,
    },
    /// A casting, from its wax
    Wax {
        /// Mass of the wax without its sprue
        #[arg(long, value_name = "MASS")]
        mass: String,
        /// Density of the wax in g/cm3
        #[arg(long, value_name = "G/CM3", default_value = "0.95")]
        wax_density: String,
        #[command(flatten)]
        metal: MetalArgs,
    },
}

impl What {
    /// The word for the shape, a line that says it back, the shape, and its metal.
    pub(super) fn read(&self) -> Result<(&'static str, String, Shape, &MetalArgs), Trouble> {
        Ok(match self {
            Self::Sheet {
                length,
                width,
                thick,
                metal,
            } => {
                let (length, width, thickness) = (mm(length)?, mm(width)?, mm(thick)?);
                let named = format!(
                    "Sheet {} mm long, {} mm wide and {} mm thick",
                    length.in_mm(),
                    width.in_mm(),
                    thickness.in_mm()
                );
                let shape = Shape::Sheet {
                    length,
                    width,
                    thickness,
                };
                ("sheet", named, shape, metal)
            }
            Self::Wire {
                diameter,
                side,
                length,
                metal,
            } => {
                let length = mm(length)?;
                let long = length.in_mm();
                if let Some(side) = side {
                    let side = mm(side)?;
                    let named = format!("Square wire of {} mm, {long} mm long", side.in_mm());
                    let shape = Shape::SquareWire { side, length };
                    ("square-wire", named, shape, metal)
                } else {
                    let diameter = mm(diameter.as_deref().unwrap_or_default())?;
                    let named = format!("Round wire of {} mm, {long} mm long", diameter.in_mm());
                    let shape = Shape::RoundWire { diameter, length };
                    ("round-wire", named, shape, metal)
                }
            }
            Self::Tube {
                outer,
                inner,
                wall,
                length,
                metal,
            } => {
                let (outer, length) = (mm(outer)?, mm(length)?);
                let (hollow, with) = if let Some(wall) = wall {
                    let wall = mm(wall)?;
                    let with = format!("a wall of {} mm", wall.in_mm());
                    (Hollow::Wall(wall), with)
                } else {
                    let inner = mm(inner.as_deref().unwrap_or_default())?;
                    (Hollow::Inner(inner), format!("{} mm inside", inner.in_mm()))
                };
                let named = format!(
                    "Tube of {} mm outside with {with}, {} mm long",
                    outer.in_mm(),
                    length.in_mm()
                );
                let shape = Shape::Tube {
                    outer,
                    hollow,
                    length,
                };
                ("tube", named, shape, metal)
            }
            Self::Ring {
                size,
                diameter,
                width,
                thick,
                metal,
            } => {
                let (width, thickness) = (mm(width)?, mm(thick)?);
                let (size, of) = if let Some(around) = size {
                    let around = mm(around)?;
                    let of = format!("of size {0} ({0} mm around inside)", around.in_mm());
                    (RingSize::Circumference(around), of)
                } else {
                    let diameter = mm(diameter.as_deref().unwrap_or_default())?;
                    let of = format!("of {} mm inner diameter", diameter.in_mm());
                    (RingSize::Diameter(diameter), of)
                };
                let named = format!(
                    "Ring band {of}, {} mm wide and {} mm thick",
                    width.in_mm(),
                    thickness.in_mm()
                );
                let shape = Shape::Ring {
                    size,
                    width,
                    thickness,
                };
                ("ring", named, shape, metal)
            }
            Self::Wax {
                mass,
                wax_density,
                metal,
            } => {
                let wax: Indication = mass.parse()?;
                let density = dense(wax_density)?;
                let named = format!("Casting from {wax} of wax of {density}");
                let mass = wax.mass();
                ("casting", named, Shape::Wax { mass, density }, metal)
            }
        })
    }
}

fn mm(text: &str) -> Result<Length, Trouble> {
    let bare = text.trim();
    let bare = bare.strip_suffix("mm").unwrap_or(bare).trim_end();
    Indication::parse_digits(bare)
        .and_then(Length::mm)
        .ok_or_else(|| {
            Trouble::new(
                "length-unreadable",
                format!("\"{text}\" is no length in millimetres."),
                "The mass of the piece cannot be worked out.",
                "Write a plain number above 0 and up to 100000, with at most four decimals, as in 1.5.",
            )
        })
}

/// A density typed in g/cm3.
pub(super) fn dense(text: &str) -> Result<Density, Trouble> {
    let bare = text.trim();
    let bare = bare.strip_suffix("g/cm3").unwrap_or(bare).trim_end();
    let tenth = Decimal::new(1, 1);
    Indication::parse_digits(bare)
        .filter(|number| *number >= tenth)
        .and_then(Density::g_per_cm3)
        .ok_or_else(|| {
            Trouble::new(
                "density-unreadable",
                format!("\"{text}\" is no density in g/cm3."),
                "The mass of the piece cannot be worked out.",
                "Write a plain number from 0.1 and below 100, as in 15.4.",
            )
        })
}
