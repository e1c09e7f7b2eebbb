//! What a pretend balance feels and shows: load, settling, noise, tare, unit.
//!
//! Promises: exact decimals and the same numbers for the same orders, seed and times; a load at
//! rest is shown exactly. Leaves to others: the clock, the line, the wire.

use std::time::Duration;

use rust_decimal::Decimal;
use rust_decimal::RoundingStrategy::MidpointAwayFromZero;

use super::noise::Noise;
use crate::mass::{Division, Indication, Mass, Unit};

/// One step of the physics.
const STEP: Duration = Duration::from_millis(10);
/// A pause of the whole machine counts as no more than this many steps: all is at rest by then.
const MOST_STEPS: u32 = 6_000;
/// Digits kept of what is felt, far below any division.
const FELT_DECIMALS: u32 = 9;

/// What kind of balance it is.
#[derive(Debug, Clone, Copy)]
pub struct Nature {
    /// The step of its last digit, and the unit it wakes up in.
    pub division: Division,
    /// How long a change of ten thousand divisions takes to come to rest.
    pub settling: Duration,
    /// The most that a shown value strays from what is felt.
    pub noise: Mass,
    /// Where the noise starts: the same seed gives the same noise.
    pub seed: u64,
}

/// What the display shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Showing {
    /// The digits, trailing zeros included.
    pub digits: Decimal,
    /// The unit.
    pub unit: Unit,
    /// Whether the pan is in motion.
    pub moving: bool,
}

/// A trickle: the load goes evenly from one mass to another.
#[derive(Debug, Clone, Copy)]
struct Trickle {
    from: Decimal,
    to: Decimal,
    over: Duration,
    passed: Duration,
}

/// A pretend balance without its wire. Masses are in grams.
#[derive(Debug, Clone)]
pub struct Physics {
    nature: Nature,
    unit: Unit,
    load: Decimal,
    trickle: Option<Trickle>,
    felt: Decimal,
    tare: Decimal,
    tare_waits: bool,
    rest_of_step: Duration,
    noise: Noise,
    /// How far the zero has wandered, and how far it goes in a step.
    drifted: Decimal,
    drift: Decimal,
}

impl Physics {
    /// An empty balance at rest.
    pub fn new(nature: Nature) -> Self {
        Self {
            nature,
            unit: nature.division.unit(),
            load: Decimal::ZERO,
            trickle: None,
            felt: Decimal::ZERO,
            tare: Decimal::ZERO,
            tare_waits: false,
            rest_of_step: Duration::ZERO,
            noise: Noise::new(nature.noise, nature.seed),
            drifted: Decimal::ZERO,
            drift: Decimal::ZERO,
        }
    }

    /// Puts this load on the pan, in place of what lies there.
    pub fn place(&mut self, load: Mass) {
        self.trickle = None;
        self.load = load.grams();
    }

    /// Brings the load evenly to this mass over a time.
    pub fn trickle(&mut self, to: Mass, over: Duration) {
        self.trickle = Some(Trickle {
            from: self.load,
            to: to.grams(),
            over,
            passed: Duration::ZERO,
        });
    }

    /// Presses the unit key until this unit shows.
    pub fn press_unit(&mut self, unit: Unit) {
        self.unit = unit;
    }

    /// Presses the tare key: the display goes to zero as soon as the pan is at rest.
    pub fn press_tare(&mut self) {
        self.tare_waits = true;
    }

    /// From now on a shown value strays from what is felt by no more than this.
    pub fn set_noise(&mut self, bound: Mass) {
        self.noise.set_bound(bound);
    }

    /// From now on the zero wanders by this much in this time, as of a pan in a draught or a
    /// balance that is warming up. The tare key takes off what it has wandered so far.
    pub fn set_drift(&mut self, by: Mass, over: Duration) {
        let steps = millis(over) / millis(STEP);
        self.drift = if steps.is_zero() {
            Decimal::ZERO
        } else {
            (by.grams() / steps).round_dp(FELT_DECIMALS)
        };
    }

    /// Lets time pass.
    pub fn advance(&mut self, by: Duration) {
        self.rest_of_step = self.rest_of_step.saturating_add(by).min(STEP * MOST_STEPS);
        while self.rest_of_step >= STEP {
            self.rest_of_step -= STEP;
            self.step();
        }
        if self.tare_waits && !self.is_moving() {
            self.tare = self.felt + self.drifted;
            self.tare_waits = false;
        }
    }

    fn step(&mut self) {
        self.drifted += self.drift;
        if let Some(trickle) = &mut self.trickle {
            trickle.passed = trickle.passed.saturating_add(STEP);
            if trickle.passed >= trickle.over {
                self.load = trickle.to;
                self.trickle = None;
            } else {
                let share = millis(trickle.passed) / millis(trickle.over).max(Decimal::ONE);
                let way = (trickle.to - trickle.from) * share;
                self.load = (trickle.from + way).round_dp(FELT_DECIMALS);
            }
        }
        // A first-order lag. A ten-thousandfold jump is within a quarter of a division after
        // ln(40 000) = 10.6 time constants, which is where the factor comes from.
        let settling = millis(self.nature.settling);
        let pull = millis(STEP) * Decimal::new(106, 1);
        let gap = self.load - self.felt;
        if pull >= settling
            || (gap.abs() * Decimal::from(1000) < self.nature.division.mass().grams())
        {
            self.felt = self.load;
        } else {
            self.felt = (self.felt + gap * pull / settling).round_dp(FELT_DECIMALS);
        }
    }

    fn is_moving(&self) -> bool {
        (self.load - self.felt).abs() * Decimal::from(4) > self.nature.division.mass().grams()
    }

    /// What the display shows now.
    pub fn show(&mut self) -> Showing {
        let net = self.felt + self.drifted - self.tare + self.noise.draw();
        let division = self.nature.division;
        let digits = if self.unit == division.unit() {
            division.show(Mass::computed(net)).digits()
        } else {
            let decimals = decimals(self.unit, division);
            let mut digits =
                (net / self.unit.grams()).round_dp_with_strategy(decimals, MidpointAwayFromZero);
            digits.rescale(decimals);
            // Gives zero without a sign.
            Indication::new(digits, self.unit).map_or(digits, Indication::digits)
        };
        Showing {
            digits,
            unit: self.unit,
            moving: self.is_moving(),
        }
    }
}

/// The fewest decimals with which a unit loses nothing of the division.
fn decimals(unit: Unit, division: Division) -> u32 {
    let mut step = unit.grams();
    let mut decimals = 0;
    while step > division.mass().grams() && decimals < 6 {
        step /= Decimal::TEN;
        decimals += 1;
    }
    decimals
}

fn millis(time: Duration) -> Decimal {
    Decimal::from(time.as_millis())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn mass(text: &str) -> Mass {
        text.parse::<Indication>().unwrap().mass()
    }

    fn balance(noise: &str) -> Physics {
        Physics::new(Nature {
            division: "0.01 g".parse().unwrap(),
            settling: Duration::from_secs(1),
            noise: mass(noise),
            seed: 7,
        })
    }

    fn shown(physics: &mut Physics) -> String {
        let showing = physics.show();
        format!("{} {}", showing.digits, showing.unit)
    }

    #[test]
    fn a_load_settles_within_its_time_and_is_shown_exactly() {
        let mut balance = balance("0 g");
        balance.place(mass("100 g"));
        balance.advance(Duration::from_millis(300));
        let early = balance.show();
        assert!(early.moving);
        assert!(early.digits > Decimal::from(90) && early.digits < Decimal::from(100));
        balance.advance(Duration::from_millis(800));
        assert!(!balance.show().moving);
        assert_eq!(shown(&mut balance), "100.00 g");
    }

    #[test]
    fn every_display_on_the_way_up_is_at_or_below_the_load() {
        let mut balance = balance("0 g");
        balance.place(mass("12.34 g"));
        let mut last = Decimal::ZERO;
        for _ in 0..200 {
            balance.advance(Duration::from_millis(10));
            let now = balance.show().digits;
            assert!(now >= last && now <= Decimal::new(1234, 2), "{now}");
            last = now;
        }
        assert_eq!(last, Decimal::new(1234, 2));
    }

    #[test]
    fn the_unit_key_converts_exactly() {
        let mut balance = balance("0 g");
        balance.place(mass("12.34 g"));
        balance.advance(Duration::from_secs(2));
        for (unit, want) in [
            (Unit::Carat, "61.70 ct"),
            (Unit::Milligram, "12340 mg"),
            (Unit::Kilogram, "0.01234 kg"),
            (Unit::Grain, "190.4 grain"),
            (Unit::Pennyweight, "7.935 dwt"),
            (Unit::TroyOunce, "0.3967 ozt"),
            (Unit::Gram, "12.34 g"),
        ] {
            balance.press_unit(unit);
            assert_eq!(shown(&mut balance), want);
        }
    }

    #[test]
    fn tare_waits_for_rest_and_then_shows_zero() {
        let mut balance = balance("0 g");
        balance.place(mass("20 g"));
        balance.advance(Duration::from_millis(100));
        balance.press_tare();
        balance.advance(Duration::from_millis(10));
        assert_ne!(shown(&mut balance), "0.00 g");
        balance.advance(Duration::from_secs(2));
        assert_eq!(shown(&mut balance), "0.00 g");
        balance.place(mass("23.45 g"));
        balance.advance(Duration::from_secs(2));
        assert_eq!(shown(&mut balance), "3.45 g");
        balance.place(Mass::ZERO);
        balance.advance(Duration::from_secs(2));
        assert_eq!(shown(&mut balance), "-20.00 g");
    }

    #[test]
    fn a_trickle_passes_its_middle_and_ends_at_its_mass() {
        let mut balance = balance("0 g");
        balance.trickle(mass("10 g"), Duration::from_secs(10));
        balance.advance(Duration::from_secs(5));
        let middle = balance.show();
        assert!(middle.moving);
        assert!((middle.digits - Decimal::from(5)).abs() < Decimal::new(2, 1));
        balance.advance(Duration::from_secs(7));
        assert_eq!(shown(&mut balance), "10.00 g");
        assert!(!balance.show().moving);
    }

    #[test]
    fn noise_reaches_the_display() {
        let mut balance = balance("0.02 g");
        balance.place(mass("5 g"));
        balance.advance(Duration::from_secs(3));
        assert!((0..100).any(|_| shown(&mut balance) != "5.00 g"));
        assert!((0..100).any(|_| shown(&mut balance) == "5.00 g"));
    }

    #[test]
    fn the_zero_wanders_evenly_and_the_tare_key_takes_it_off() {
        let mut balance = balance("0 g");
        balance.set_drift(mass("0.60 g"), Duration::from_mins(1));
        balance.advance(Duration::from_secs(30));
        assert_eq!(shown(&mut balance), "0.30 g");
        assert!(!balance.show().moving, "a balance does not know of it");
        balance.press_tare();
        balance.set_drift(Mass::ZERO, Duration::from_secs(1));
        balance.advance(Duration::from_secs(10));
        assert_eq!(shown(&mut balance), "0.00 g");
        balance.set_drift(mass("1 g"), Duration::ZERO);
        balance.advance(Duration::from_secs(1));
        assert_eq!(shown(&mut balance), "0.00 g");
    }

    #[test]
    fn noise_can_begin_and_end() {
        let mut balance = balance("0 g");
        balance.set_noise(mass("0.05 g"));
        assert!((0..100).any(|_| shown(&mut balance) != "0.00 g"));
        balance.set_noise(Mass::ZERO);
        assert!((0..100).all(|_| shown(&mut balance) == "0.00 g"));
    }

    #[test]
    fn a_coarse_step_is_kept_in_its_own_unit() {
        let mut balance = Physics::new(Nature {
            division: "0.02 dwt".parse().unwrap(),
            settling: Duration::ZERO,
            noise: Mass::ZERO,
            seed: 0,
        });
        balance.place(mass("1.035 dwt"));
        balance.advance(Duration::from_millis(10));
        assert_eq!(shown(&mut balance), "1.04 dwt");
    }

    #[test]
    fn a_long_pause_of_the_machine_is_bounded() {
        let mut balance = balance("0 g");
        balance.place(mass("1 g"));
        balance.advance(Duration::MAX);
        assert_eq!(shown(&mut balance), "1.00 g");
    }
}
