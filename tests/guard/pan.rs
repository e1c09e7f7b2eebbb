//! A balance and what lies on it, fast: settling, hands, tare, unit and mode keys.

use std::time::Duration;

use panbell::mass::{Indication, Reading, Shown, Status, Unit};
use rust_decimal::Decimal;

/// Chance, the same for the same seed (splitmix64).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly from 0 to 1.
    #[allow(clippy::cast_precision_loss)] // 53 bits fit
    pub(crate) fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.share()
    }

    pub(crate) fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).unwrap()
    }

    pub(crate) fn is(&mut self, chance: f64) -> bool {
        self.share() < chance
    }
}

/// What the display shows in: a unit, or a mode that is no mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Mode {
    Unit(Unit),
    /// Of this many grams.
    Percent(f64),
    /// Pieces of this many grams.
    Count(f64),
}

/// How the display writes a mode: last digits in a step, and decimals.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Display {
    pub(crate) mode: Mode,
    pub(crate) step: i64,
    pub(crate) decimals: u32,
}

/// A balance. Masses in grams.
pub(crate) struct Balance {
    pub(crate) display: Display,
    pub(crate) says_units: bool,
    pub(crate) says_motion: bool,
    /// Time constant of its settling, and the time between two lines, in seconds.
    pub(crate) settling: f64,
    pub(crate) every: f64,
    /// How much what is felt trembles.
    pub(crate) noise: f64,
    pub(crate) load: f64,
    felt: f64,
    tare: f64,
    pub(crate) time: f64,
}

impl Balance {
    pub(crate) fn new(display: Display, dice: &mut Dice) -> Self {
        // Ten, five or two lines a second.
        let every = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.2, 0.2, 0.2, 0.5][dice.below(10)];
        Self {
            display,
            says_units: false,
            says_motion: dice.is(0.5),
            // At rest within a division in 0.6 to 2 seconds.
            settling: dice.between(0.07, 0.25),
            every,
            noise: dice.between(0.0, 0.004),
            load: 0.0,
            felt: 0.0,
            tare: 0.0,
            time: 0.0,
        }
    }

    pub(crate) fn press_tare(&mut self) {
        self.tare = self.felt;
    }

    /// Lets the time to the next line pass, with the load going evenly to `to`.
    pub(crate) fn pass(&mut self, to: f64) {
        let parts = (self.every / 0.02).round();
        let step = self.every / parts;
        let (from, pull) = (self.load, 1.0 - (-step / self.settling).exp());
        let mut done = 0.0;
        while done < parts {
            done += 1.0;
            self.load = from + (to - from) * done / parts;
            self.felt += (self.load - self.felt) * pull;
        }
        self.time += self.every;
    }

    /// The line that is written now.
    #[allow(clippy::cast_possible_truncation)] // far inside i64
    pub(crate) fn line(&self, dice: &mut Dice) -> Reading {
        let grams = self.felt - self.tare + dice.between(-self.noise, self.noise);
        let number = match self.display.mode {
            Mode::Unit(unit) => grams / grams_of(unit),
            Mode::Percent(of) => grams / of * 100.0,
            Mode::Count(piece) => grams / piece,
        };
        let digit = 10_f64.powi(self.display.decimals.cast_signed());
        let step = self.display.step as f64;
        let digits = (number * digit / step).round() as i64 * self.display.step;
        let digits = Decimal::new(digits, self.display.decimals);
        let shown = match self.display.mode {
            Mode::Unit(unit) if self.says_units => {
                Indication::new(digits, unit).map_or(Shown::Nothing, Shown::Weighed)
            }
            _ if self.says_units => Shown::UnitUnknown(digits),
            _ => Shown::UnitUnstated(digits),
        };
        let moves = (self.load - self.felt).abs() > 0.005;
        let status = match (self.says_motion, moves) {
            (false, _) => Status::Unsaid,
            (true, true) => Status::InMotion,
            (true, false) => Status::Stable,
        };
        Reading { shown, status }
    }

    pub(crate) fn now(&self) -> Duration {
        Duration::from_secs_f64(self.time)
    }
}

pub(crate) fn grams_of(unit: Unit) -> f64 {
    use rust_decimal::prelude::ToPrimitive as _;
    unit.grams().to_f64().unwrap()
}
