//! Small noise that is the same each time.
//!
//! Promises: evenly spread within its bound, exact, and decided by its seed alone. Leaves to
//! others: how much of it a balance has.

use rust_decimal::Decimal;

use crate::mass::Mass;

/// A source of noise.
#[derive(Debug, Clone)]
pub(super) struct Noise {
    bound: Decimal,
    state: u64,
}

impl Noise {
    /// Noise between minus and plus this mass.
    pub(super) fn new(bound: Mass, seed: u64) -> Self {
        Self {
            bound: bound.grams(),
            state: seed,
        }
    }

    /// The same source with another bound.
    pub(super) fn set_bound(&mut self, bound: Mass) {
        self.bound = bound.grams();
    }

    /// The next value, in grams (drawn by the `SplitMix64` generator).
    pub(super) fn draw(&mut self) -> Decimal {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        let thousandths = Decimal::from(z % 2001) - Decimal::from(1000);
        self.bound * thousandths / Decimal::from(1000)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn it_stays_within_its_bound_and_fills_it() {
        let bound = Mass::from_grams(Decimal::new(2, 2)).unwrap();
        let run = |seed| {
            let mut noise = Noise::new(bound, seed);
            (0..1000).map(|_| noise.draw()).collect::<Vec<_>>()
        };
        let drawn = run(7);
        assert_eq!(drawn, run(7));
        assert_ne!(drawn, run(8));
        let (least, most) = (drawn.iter().min().unwrap(), drawn.iter().max().unwrap());
        assert!(*least >= -bound.grams() && *least < Decimal::new(-19, 3));
        assert!(*most <= bound.grams() && *most > Decimal::new(19, 3));
    }
}
