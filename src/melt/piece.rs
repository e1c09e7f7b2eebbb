//! How much metal a piece needs: from its measures to a mass of the planned alloy.
//!
//! Exact decimals throughout; what leaves is rounded up to the division, so that the metal is
//! never short. Leaves to others: what the alloy is, and the loss in the melt (`history`).

use rust_decimal::Decimal;

use super::Density;
use crate::mass::{Division, Mass, fixed};
use crate::trouble::Trouble;

/// A length in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Length(Decimal);

impl Length {
    /// So many millimetres; `None` unless above zero, at most 100 m (a coil of wire), and written
    /// with at most four decimals.
    pub fn mm(millimetres: Decimal) -> Option<Self> {
        let fits = millimetres > Decimal::ZERO
            && millimetres <= Decimal::new(100_000, 0)
            && millimetres.normalize().scale() <= 4;
        fits.then_some(Self(millimetres))
    }

    /// In millimetres.
    pub fn in_mm(self) -> Decimal {
        self.0
    }
}

/// The hollow of a tube.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hollow {
    /// The inner diameter.
    Inner(Length),
    /// The thickness of the wall.
    Wall(Length),
}

/// The size of a ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RingSize {
    /// Inner diameter.
    Diameter(Length),
    /// Inner circumference; the ring size of ISO 8653 is this in millimetres.
    Circumference(Length),
}

/// What is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Piece {
    /// Sheet, a strip, or wire of rectangular section: length, width and thickness.
    Sheet {
        /// Length.
        length: Length,
        /// Width.
        width: Length,
        /// Thickness.
        thickness: Length,
    },
    /// Square wire.
    SquareWire {
        /// Side.
        side: Length,
        /// Length.
        length: Length,
    },
    /// Round wire.
    RoundWire {
        /// Diameter.
        diameter: Length,
        /// Length.
        length: Length,
    },
    /// Round tube.
    Tube {
        /// Outer diameter.
        outer: Length,
        /// Inner diameter or wall.
        hollow: Hollow,
        /// Length.
        length: Length,
    },
    /// A flat ring band of rectangular section.
    Ring {
        /// Size.
        size: RingSize,
        /// Width along the finger.
        width: Length,
        /// Thickness away from the finger.
        thickness: Length,
    },
    /// A casting, from its wax.
    Wax {
        /// Mass of the wax, without its sprue.
        mass: Mass,
        /// Density of the wax; [`Density::WAX`] if nothing better is known.
        density: Density,
    },
}

/// Metal needed above what stays in the piece, in per cent of the piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Allowance {
    /// Sprue, button and gates of a casting, or the ends of a rolled or drawn stock.
    pub sprue: Decimal,
    /// Filing, sawing and polishing.
    pub filing: Decimal,
}

impl Allowance {
    /// Nothing above the piece itself.
    pub const NONE: Self = Self {
        sprue: Decimal::ZERO,
        filing: Decimal::ZERO,
    };
}

/// The metal that a piece needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Need {
    /// Volume of the piece in cubic millimetres, to three decimals.
    pub cubic_millimetres: Decimal,
    /// Mass of the piece itself, rounded up to the division.
    pub piece: Mass,
    /// Mass of metal to have ready, with the allowance, rounded up to the division.
    pub metal: Mass,
    /// For a ring: the length of strip to cut, measured along its middle, to two decimals.
    pub strip: Option<Length>,
}

impl Piece {
    /// The metal that it needs in an alloy of this density. Ideal mixing is about one per cent
    /// uncertain, so leave that much in the allowance.
    pub fn need(
        &self,
        alloy: Density,
        allowance: Allowance,
        division: Division,
    ) -> Result<Need, Trouble> {
        for (what, per_cent) in [("sprue", allowance.sprue), ("filing", allowance.filing)] {
            if !(Decimal::ZERO..=Decimal::new(1000, 0)).contains(&per_cent) {
                return Err(trouble(
                    &format!("an allowance of {per_cent} % for {what} is not between 0 and 1000"),
                    "Give it in per cent of the piece, as in 15.",
                ));
            }
        }
        let volume = self.volume()?;
        let too_much = || {
            trouble(
                "it would be more metal than any bench balance weighs",
                "Check the measures; they are in millimetres.",
            )
        };
        let piece = alloy.mass_of(volume).ok_or_else(too_much)?;
        let share = Decimal::ONE + (allowance.sprue + allowance.filing) / Decimal::ONE_HUNDRED;
        let metal = Mass::from_grams(piece.grams() * share).ok_or_else(too_much)?;
        Ok(Need {
            cubic_millimetres: fixed(volume, 3),
            piece: division.ceil(piece),
            metal: division.ceil(metal),
            strip: self.strip(),
        })
    }

    /// Volume in cubic millimetres.
    fn volume(&self) -> Result<Decimal, Trouble> {
        let quarter_pi = PI / Decimal::new(4, 0);
        let volume = match *self {
            Self::Sheet {
                length,
                width,
                thickness,
            } => product(&[length.0, width.0, thickness.0]),
            Self::SquareWire { side, length } => product(&[side.0, side.0, length.0]),
            Self::RoundWire { diameter, length } => {
                product(&[quarter_pi, diameter.0, diameter.0, length.0])
            }
            Self::Tube {
                outer,
                hollow,
                length,
            } => {
                let inner = match hollow {
                    Hollow::Inner(inner) => inner.0,
                    Hollow::Wall(wall) => outer.0 - wall.0 * Decimal::TWO,
                };
                if inner <= Decimal::ZERO || inner >= outer.0 {
                    return Err(trouble(
                        &format!(
                            "a tube of {} mm outside cannot have a bore of {inner} mm",
                            outer.0
                        ),
                        "Give an inner diameter below the outer, or a wall below half of it.",
                    ));
                }
                product(&[quarter_pi, outer.0 - inner, outer.0 + inner, length.0])
            }
            // A ring of inner diameter d and thickness t is pi t (d + t) wide.
            Self::Ring {
                size,
                width,
                thickness,
            } => product(&[middle(size, thickness), width.0, thickness.0]),
            Self::Wax { mass, density } => {
                if !mass.is_positive() {
                    return Err(trouble("the wax weighs nothing", "Weigh the wax."));
                }
                (mass.grams() / density.in_g_per_cm3()).checked_mul(Decimal::ONE_THOUSAND)
            }
        };
        volume.ok_or_else(|| {
            trouble(
                "its measures are beyond any bench",
                "Check the measures; they are in millimetres.",
            )
        })
    }

    fn strip(&self) -> Option<Length> {
        match *self {
            Self::Ring {
                size, thickness, ..
            } => Length::mm(fixed(middle(size, thickness), 2)),
            _ => None,
        }
    }
}

/// Pi to 28 decimals.
const PI: Decimal = Decimal::from_parts(1_102_470_953, 185_874_565, 1_703_060_790, false, 28);

/// The circumference of a ring along the middle of its thickness.
fn middle(size: RingSize, thickness: Length) -> Decimal {
    let inner = match size {
        RingSize::Diameter(diameter) => PI * diameter.0,
        RingSize::Circumference(around) => around.0,
    };
    inner + PI * thickness.0
}

fn product(factors: &[Decimal]) -> Option<Decimal> {
    factors
        .iter()
        .try_fold(Decimal::ONE, |product, factor| product.checked_mul(*factor))
}

fn trouble(why: &str, mend: &str) -> Trouble {
    Trouble::new(
        "piece-unreckoned",
        format!("The metal for the piece cannot be worked out: {why}."),
        "No mass is planned from it.",
        mend,
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn pi_is_pi() {
        assert_eq!(PI.to_string(), "3.1415926535897932384626433833");
    }

    fn mm(text: &str) -> Length {
        Length::mm(text.parse().unwrap()).unwrap()
    }

    fn need(piece: Piece) -> Need {
        let alloy = Density::g_per_cm3(d("15")).unwrap();
        piece
            .need(alloy, Allowance::NONE, "0.001 g".parse().unwrap())
            .unwrap()
    }

    #[test]
    fn every_shape_gives_its_volume_and_a_mass_rounded_up() {
        let sheet = need(Piece::Sheet {
            length: mm("50"),
            width: mm("20"),
            thickness: mm("0.8"),
        });
        assert_eq!(sheet.cubic_millimetres, d("800"));
        assert_eq!(sheet.piece.grams(), d("12"));
        let wire = need(Piece::RoundWire {
            diameter: mm("2"),
            length: mm("100"),
        });
        assert_eq!(wire.cubic_millimetres, d("314.159"));
        assert_eq!(wire.piece.grams(), d("4.713")); // 4.712389, up
        let square = need(Piece::SquareWire {
            side: mm("2"),
            length: mm("100"),
        });
        assert_eq!(square.cubic_millimetres, d("400"));
        // A tube is its outside less its bore, by either way of saying it.
        let tube = |hollow| {
            need(Piece::Tube {
                outer: mm("4"),
                hollow,
                length: mm("100"),
            })
        };
        assert_eq!(tube(Hollow::Inner(mm("3"))), tube(Hollow::Wall(mm("0.5"))));
        assert_eq!(tube(Hollow::Inner(mm("3"))).cubic_millimetres, d("549.779"));
    }

    #[test]
    fn a_ring_is_the_tube_that_it_is_cut_from() {
        let ring = need(Piece::Ring {
            size: RingSize::Diameter(mm("17")),
            width: mm("4"),
            thickness: mm("1.5"),
        });
        let tube = need(Piece::Tube {
            outer: mm("20"),
            hollow: Hollow::Inner(mm("17")),
            length: mm("4"),
        });
        assert_eq!(ring.cubic_millimetres, tube.cubic_millimetres);
        assert_eq!(ring.strip.unwrap().in_mm(), d("58.12")); // pi 18.5
        let by_size = need(Piece::Ring {
            size: RingSize::Circumference(mm("54")),
            width: mm("4"),
            thickness: mm("1.5"),
        });
        assert_eq!(by_size.strip.unwrap().in_mm(), d("58.71"));
    }

    #[test]
    fn a_wax_becomes_metal_by_the_densities_and_the_allowance_comes_on_top() {
        let wax = Piece::Wax {
            mass: Mass::from_grams(d("0.95")).unwrap(),
            density: Density::WAX,
        };
        let alloy = Density::g_per_cm3(d("15.5")).unwrap();
        let allowance = Allowance {
            sprue: d("40"),
            filing: d("5"),
        };
        let need = wax
            .need(alloy, allowance, "0.01 g".parse().unwrap())
            .unwrap();
        assert_eq!(need.piece.grams(), d("15.5"));
        assert_eq!(need.metal.grams(), d("22.48")); // 22.475, up
    }

    #[test]
    fn what_cannot_be_made_is_refused() {
        let alloy = Density::g_per_cm3(d("15")).unwrap();
        let refused = |piece: Piece, allowance| {
            piece
                .need(alloy, allowance, "0.01 g".parse().unwrap())
                .unwrap_err()
        };
        let tube = |hollow| Piece::Tube {
            outer: mm("4"),
            hollow,
            length: mm("10"),
        };
        refused(tube(Hollow::Inner(mm("4"))), Allowance::NONE);
        refused(tube(Hollow::Wall(mm("2"))), Allowance::NONE);
        let huge = mm("100000");
        let sheet = Piece::Sheet {
            length: huge,
            width: huge,
            thickness: huge,
        };
        refused(sheet, Allowance::NONE);
        let minus = Allowance {
            sprue: d("-1"),
            filing: d("0"),
        };
        refused(tube(Hollow::Wall(mm("1"))), minus);
        for odd in ["0", "-1", "100000.1", "0.00001"] {
            assert!(Length::mm(odd.parse().unwrap()).is_none(), "{odd}");
        }
    }
}
