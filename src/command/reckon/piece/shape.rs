//! The shapes that a piece can have, as they are typed.
//!
//! Promises: every measure is read with its unit or refused in plain words. Leaves to others: what
//! the shape weighs (`melt`).

use clap::Subcommand;
use rust_decimal::Decimal;

use super::MetalArgs;
use crate::mass::{Indication, typed_number, typed_number_to};
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

/// A shape, the word for it, and a line that says it back.
pub(super) struct Named {
    pub(super) word: &'static str,
    pub(super) line: String,
    pub(super) shape: Shape,
}

impl What {
    /// What it is to be made of.
    pub(super) fn metal(&self) -> &MetalArgs {
        match self {
            Self::Sheet { metal, .. }
            | Self::Wire { metal, .. }
            | Self::Tube { metal, .. }
            | Self::Ring { metal, .. }
            | Self::Wax { metal, .. } => metal,
        }
    }

    /// What was typed, as a shape.
    pub(super) fn read(&self) -> Result<Named, Trouble> {
        match self {
            Self::Sheet {
                length,
                width,
                thick,
                ..
            } => Ok(sheet(mm(length)?, mm(width)?, mm(thick)?)),
            Self::Wire {
                diameter,
                side,
                length,
                ..
            } => wire(diameter.as_deref(), side.as_deref(), mm(length)?),
            Self::Tube {
                outer,
                inner,
                wall,
                length,
                ..
            } => tube(mm(outer)?, inner.as_deref(), wall.as_deref(), mm(length)?),
            Self::Ring {
                size,
                diameter,
                width,
                thick,
                ..
            } => ring(size.as_deref(), diameter.as_deref(), mm(width)?, mm(thick)?),
            Self::Wax {
                mass, wax_density, ..
            } => {
                let wax: Indication = mass.parse()?;
                let density = dense(wax_density)?;
                Ok(Named {
                    word: "casting",
                    line: format!("Casting from {wax} of wax of {density}"),
                    shape: Shape::Wax {
                        mass: wax.mass(),
                        density,
                    },
                })
            }
        }
    }
}

fn sheet(length: Length, width: Length, thickness: Length) -> Named {
    Named {
        word: "sheet",
        line: format!(
            "Sheet {} mm long, {} mm wide and {} mm thick",
            length.in_mm(),
            width.in_mm(),
            thickness.in_mm()
        ),
        shape: Shape::Sheet {
            length,
            width,
            thickness,
        },
    }
}

fn wire(diameter: Option<&str>, side: Option<&str>, length: Length) -> Result<Named, Trouble> {
    let long = length.in_mm();
    if let Some(side) = side {
        let side = mm(side)?;
        return Ok(Named {
            word: "square-wire",
            line: format!("Square wire of {} mm, {long} mm long", side.in_mm()),
            shape: Shape::SquareWire { side, length },
        });
    }
    let diameter = mm(diameter.unwrap_or_default())?;
    Ok(Named {
        word: "round-wire",
        line: format!("Round wire of {} mm, {long} mm long", diameter.in_mm()),
        shape: Shape::RoundWire { diameter, length },
    })
}

fn tube(
    outer: Length,
    inner: Option<&str>,
    wall: Option<&str>,
    length: Length,
) -> Result<Named, Trouble> {
    let (hollow, with) = if let Some(wall) = wall {
        let wall = mm(wall)?;
        let with = format!("a wall of {} mm", wall.in_mm());
        (Hollow::Wall(wall), with)
    } else {
        let inner = mm(inner.unwrap_or_default())?;
        (Hollow::Inner(inner), format!("{} mm inside", inner.in_mm()))
    };
    Ok(Named {
        word: "tube",
        line: format!(
            "Tube of {} mm outside with {with}, {} mm long",
            outer.in_mm(),
            length.in_mm()
        ),
        shape: Shape::Tube {
            outer,
            hollow,
            length,
        },
    })
}

fn ring(
    size: Option<&str>,
    diameter: Option<&str>,
    width: Length,
    thickness: Length,
) -> Result<Named, Trouble> {
    let (size, of) = if let Some(around) = size {
        let around = mm(around)?;
        let of = format!("of size {0} ({0} mm around inside)", around.in_mm());
        (RingSize::Circumference(around), of)
    } else {
        let diameter = mm(diameter.unwrap_or_default())?;
        let of = format!("of {} mm inner diameter", diameter.in_mm());
        (RingSize::Diameter(diameter), of)
    };
    Ok(Named {
        word: "ring",
        line: format!(
            "Ring band {of}, {} mm wide and {} mm thick",
            width.in_mm(),
            thickness.in_mm()
        ),
        shape: Shape::Ring {
            size,
            width,
            thickness,
        },
    })
}

fn mm(text: &str) -> Result<Length, Trouble> {
    let bare = text.trim();
    let bare = bare.strip_suffix("mm").unwrap_or(bare).trim_end();
    typed_number(bare)
        .map_err(|no| format!(": {no}"))
        .and_then(|number| Length::mm(number).ok_or_else(String::new))
        .map_err(|why| {
            Trouble::new(
                "length-unreadable",
                format!("\"{text}\" is no length in millimetres{why}."),
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
    typed_number_to(bare, Decimal::ONE_HUNDRED)
        .ok()
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
