//! When keys are pressed: by the hand's own work, once or in bursts, and back again or not.

use super::super::pan::Dice;

/// Presses of the unit key, at a moment of the hand's work.
#[derive(Debug, Clone, Copy)]
pub(super) struct Presses {
    pub(super) act: usize,
    pub(super) after: f64,
    /// None: until the display is in grams again.
    pub(super) times: Option<usize>,
    pub(super) gap: f64,
}

/// Keys that a sleeve, a child or a habit presses.
pub(super) fn presses(dice: &mut Dice) -> Vec<Presses> {
    let (act, after) = (1 + dice.below(14), dice.between(0.0, 2.2));
    let times = [1, 1, 2, 2, 3][dice.below(5)];
    let mut all = vec![Presses {
        act,
        after,
        times: Some(times),
        gap: dice.between(0.08, 0.24),
    }];
    if dice.is(0.65) {
        let (act, after) = match dice.below(4) {
            0 => (act, after + dice.between(0.25, 2.5)),
            1 => (act + 1, dice.between(0.0, 2.2)),
            2 => (act + 2, dice.between(0.0, 2.2)),
            _ => (act + 1 + dice.below(6), dice.between(0.0, 2.2)),
        };
        all.push(Presses {
            act,
            after,
            times: dice.is(0.15).then(|| 1 + dice.below(3)),
            gap: dice.between(0.08, 0.24),
        });
    }
    all
}
