//! A second instrument, that shares no line with the first: a spring that swings before it stands,
//! a display that is refreshed at its own pace and sent at another, and a unit key that goes round.

use std::time::Duration;

use panbell::mass::{Indication, Reading, Shown, Status, Unit};
use rust_decimal::Decimal;

use super::super::pan::{Dice, grams_of};

/// One stop of the unit key.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Stop {
    Unit(Unit),
    /// A hundredth of this many grams.
    Percent(f64),
}

/// One stop with the last digit's step and the decimals of its display.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Face {
    pub(crate) stop: Stop,
    step: i64,
    decimals: u32,
}

impl Face {
    fn of(unit: Unit, step: i64, decimals: u32) -> Self {
        Self {
            stop: Stop::Unit(unit),
            step,
            decimals,
        }
    }
}

/// The key goes round these, grams first.
fn faces(dice: &mut Dice) -> Vec<Face> {
    let is_plain = dice.is(0.6);
    let grams = Face::of(Unit::Gram, 1, 2);
    let mut others = if is_plain {
        vec![
            Face::of(Unit::Carat, 5, 2),
            Face::of(Unit::Pennyweight, 1, 2),
            Face::of(Unit::Grain, 20, 2),
            Face::of(Unit::TroyOunce, 1, 2),
            Face::of(Unit::Ounce, 1, 2),
            Face::of(Unit::Momme, 1, 2),
        ]
    } else {
        vec![
            Face::of(Unit::Carat, 5, 2),
            Face::of(Unit::Pennyweight, 5, 3),
            Face::of(Unit::Grain, 2, 1),
            Face::of(Unit::TroyOunce, 5, 4),
            Face::of(Unit::Tola, 1, 3),
        ]
    };
    others.push(Face {
        stop: Stop::Percent(dice.between(2.0, 80.0)),
        step: 1,
        decimals: if is_plain { 2 } else { 1 },
    });
    // Most keys offer one to four others; carats, what a jeweller's balance has, most often.
    let wanted = 1 + dice.below(4);
    let mut round = vec![grams];
    if dice.is(0.7) {
        round.push(others.remove(0));
    }
    while round.len() <= wanted {
        round.push(others.remove(dice.below(others.len())));
    }
    round
}

/// Masses in grams, times in seconds.
pub(crate) struct Scale {
    faces: Vec<Face>,
    face: usize,
    pub(crate) says_units: bool,
    says_motion: bool,
    /// Of the spring: how fast, and how soon it stands.
    omega: f64,
    damping: f64,
    refresh: f64,
    every: f64,
    noise: f64,
    pub(crate) load: f64,
    at: f64,
    speed: f64,
    tare: f64,
    /// What the display holds since it was refreshed last.
    held: f64,
    refreshed: f64,
    sent: f64,
    pub(crate) time: f64,
}

const STEP: f64 = 0.0125;

impl Scale {
    pub(crate) fn new(dice: &mut Dice) -> Self {
        Self {
            faces: faces(dice),
            face: 0,
            says_units: false,
            says_motion: dice.is(0.3),
            omega: dice.between(12.0, 34.0),
            damping: dice.between(0.55, 1.1),
            refresh: [0.05, 0.1, 0.15, 0.2, 0.3][dice.below(5)],
            every: [0.0625, 0.1, 0.1, 0.15, 0.2, 0.3][dice.below(6)],
            noise: dice.between(0.0, 0.0035),
            load: 0.0,
            at: 0.0,
            speed: 0.0,
            tare: 0.0,
            held: 0.0,
            refreshed: 0.0,
            sent: 0.0,
            time: 0.0,
        }
    }

    pub(crate) fn now(&self) -> Duration {
        Duration::from_secs_f64(self.time)
    }

    pub(crate) fn press_unit(&mut self) {
        self.face = (self.face + 1) % self.faces.len();
    }

    pub(crate) fn is_home(&self) -> bool {
        self.face == 0
    }

    pub(crate) fn press_tare(&mut self) {
        self.tare = self.at;
    }

    /// Lets a moment pass with this on the pan; the line that is sent then, if one is.
    pub(crate) fn pass(&mut self, load: f64, dice: &mut Dice) -> Option<Reading> {
        self.load = load;
        let pull = self.omega * self.omega * (load - self.at);
        self.speed += STEP * (pull - 2.0 * self.damping * self.omega * self.speed);
        self.at += STEP * self.speed;
        self.time += STEP;
        if self.time - self.refreshed >= self.refresh {
            self.refreshed = self.time;
            let tremble = dice.share() + dice.share() + dice.share() - 1.5;
            self.held = self.at - self.tare + tremble * self.noise;
        }
        if self.time - self.sent < self.every {
            return None;
        }
        self.sent = self.time;
        Some(self.line())
    }

    #[allow(clippy::cast_possible_truncation)] // far inside i64
    fn line(&self) -> Reading {
        let face = self.faces[self.face];
        let number = match face.stop {
            Stop::Unit(unit) => self.held / grams_of(unit),
            Stop::Percent(of) => self.held / of * 100.0,
        };
        let step = face.step as f64;
        let last = (number * 10_f64.powi(face.decimals.cast_signed()) / step).round();
        let digits = Decimal::new(last as i64 * face.step, face.decimals);
        let shown = match face.stop {
            _ if !self.says_units => Shown::UnitUnstated(digits),
            Stop::Unit(unit) => {
                Indication::new(digits, unit).map_or(Shown::Nothing, Shown::Weighed)
            }
            Stop::Percent(_) => Shown::UnitUnknown(digits),
        };
        let moves = (self.load - self.at).abs() > 0.006 || self.speed.abs() > 0.05;
        let status = match (self.says_motion, moves) {
            (false, _) => Status::Unsaid,
            (true, true) => Status::InMotion,
            (true, false) => Status::Stable,
        };
        Reading { shown, status }
    }
}
