//! Decision rules that take more than one chance, with the normal distribution of the melt.

use super::*;
use panbell::melt::{FinenessDoubt, MassDoubt, chance_at_least};

/// The chance that a quantity of this mean and spread lies between two limits.
fn between(mean: f64, spread: f64, low: f64, high: f64) -> f64 {
    chance_at_least(mean, spread, low) - chance_at_least(mean, spread, high)
}

/// Public test data of a risk calculation: made as N(0, 1), measured with a spread of 0.5, limits of 2 to
/// both sides, accepted within 0.91 of them: false accept 0.008, false reject 0.066. Here each slice of
/// what is made is measured in its turn, and the joint chances are summed.
#[test]
fn false_accept_and_false_reject_of_a_guarded_rule() {
    let (limit, guarded, u) = (2.0, 0.91 * 2.0, 0.5);
    let (mut accepted, mut rejected) = (0.0, 0.0);
    let step = 0.002;
    for slice in -4_000_i32..4_000 {
        let from = f64::from(slice) * step;
        let made = between(0.0, 1.0, from, from + step);
        let true_value = from + step / 2.0;
        let passes = between(true_value, u, -guarded, guarded);
        if true_value.abs() > limit {
            accepted += made * passes;
        } else {
            rejected += made * (1.0 - passes);
        }
    }
    assert!((accepted - 0.008).abs() <= 0.0005, "{accepted}");
    assert!((rejected - 0.066).abs() <= 0.001, "{rejected}");
    // Without the guard more that is bad is taken, and less that is good is refused.
    assert!(between(2.1, u, -limit, limit) > between(2.1, u, -guarded, guarded));
}

/// EA-4/02, example S2, calibration of a weight, as a data listing restates it: standard 22.5 mg (U 45 mg,
/// k 2), drift 15 mg and twice 10 mg rectangular, which are 8.66 and 5.77 mg; repeatability 25/sqrt(3) mg
/// and the outcome, 29.3 mg and U 59 mg, from memory. Five equal parts of a melt, each in doubt by one of them, add up to a fifth.
#[test]
fn uncertainties_add_up_as_in_a_published_budget() {
    let terms = ["22.5", "14.434", "8.660", "5.774", "5.774"];
    let melt = terms.iter().fold(Mix::NOTHING, |melt, u| {
        let u = FinenessDoubt::per_mille(d(u));
        melt.with_known(m("2 g"), MassDoubt::NONE, f("500"), u)
    });
    let all = melt.u_ppt() * 5.0;
    assert!((all - 29.3).abs() <= 0.1, "{all}");
    assert!((2.0 * all - 59.0).abs() <= 1.0, "U at k = 2: {all}");
}
