//! Gold in equals gold out, and the edges of a window are right to the last division.

use panbell::mass::{Division, Mass};
use panbell::melt::{NoWindow, Planned, Side, plan, window};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::exact::{Heap, demand, division, femtograms, lots, metal, mix, on_division, weighed};
use super::{Count, runner};

#[test]
fn gold_in_equals_gold_out_in_any_order() {
    let cases = (division(), lots(), any::<prop::sample::Index>());
    runner(5000)
        .run(&cases, |(division, lots, turn)| {
            let lots = weighed(&lots, division);
            let whole = mix(&lots);
            let heap = Heap::of(&lots);
            prop_assert_eq!(femtograms(whole.mass()), heap.mass);
            // Mass of 15 decimals times fineness of 4, both exact.
            let gold = whole.gold().three_thousandths() * Decimal::from(10_000);
            prop_assert_eq!(gold.normalize().to_string(), decimal(heap.gold));
            let mut turned = lots.clone();
            turned.rotate_left(turn.index(lots.len()));
            prop_assert_eq!(mix(&turned), whole);
            turned.reverse();
            prop_assert_eq!(mix(&turned), whole);
            // Its fineness, and all of it at that fineness, is the gold again.
            let again = whole.fineness().unwrap().three_thousandths() * whole.mass().grams();
            let apart = (again - whole.gold().three_thousandths()).abs();
            prop_assert!(apart <= Decimal::new(1, 15), "{} apart", apart);
            Ok(())
        })
        .unwrap();
}

/// A whole number with 15 decimals, as a decimal is written.
fn decimal(whole: i128) -> String {
    let digits = format!("{whole:016}");
    let (before, after) = digits.split_at(digits.len() - 15);
    let after = after.trim_end_matches('0');
    if after.is_empty() {
        before.to_owned()
    } else {
        format!("{before}.{after}")
    }
}

#[test]
fn a_window_is_lawful_inside_and_not_one_division_outside() {
    let (windows, raised, lowered, zero, none) = (
        Count::default(),
        Count::default(),
        Count::default(),
        Count::default(),
        Count::default(),
    );
    let cases = (division(), lots(), metal(), demand(), 0_u32..=1000);
    runner(20_000)
        .run(&cases, |(division, lots, metal, demand, between)| {
            let lots = weighed(&lots, division);
            let rest = Heap::of(&lots);
            let meets = |mass: Mass| rest.with(mass, metal).meets(&demand);
            let found = match window(&mix(&lots), metal, &demand, division) {
                Ok(window) => window,
                Err(why) => {
                    none.add(1);
                    return no_window_is_so(
                        why,
                        &meets,
                        division,
                        (demand.lowest..=demand.highest).contains(&metal),
                    );
                }
            };
            windows.add(1);
            for edge in [found.lower, found.aim, found.upper] {
                prop_assert!(on_division(edge, division), "{edge:?} is no multiple");
                prop_assert!(meets(edge), "{edge:?} of {found:?} leaves the demand");
                prop_assert_eq!(found.side(edge), Side::Within);
            }
            prop_assert!(found.lower <= found.aim && found.aim <= found.upper);
            prop_assert!(!found.lower.is_negative() && found.upper.is_positive());
            let inside = found.lower.grams()
                + (found.upper - found.lower).grams() * Decimal::new(i64::from(between), 3);
            let inside = division.nearest(Mass::from_grams(inside).unwrap());
            prop_assert!(meets(inside));
            let over = found.upper + division.mass();
            prop_assert_eq!(found.side(over), Side::Over);
            prop_assert!(
                !meets(over) || over.grams() > Decimal::from(Mass::LIMIT_GRAMS),
                "the upper edge {:?} could be a division further out",
                found
            );
            let under = found.lower - division.mass();
            prop_assert_eq!(found.side(under), Side::Under);
            if under.is_negative() {
                zero.add(1);
            } else {
                prop_assert!(
                    !meets(under),
                    "the lower edge {found:?} could be further out"
                );
            }
            // Which edge is the lawful one.
            let poor = rest.with(if found.raises { under } else { over }, metal);
            if !(found.raises && under.is_negative()) {
                prop_assert!(!poor.is_at_least(demand.lowest));
            }
            prop_assert_eq!(found.raises, metal > demand.highest);
            if found.raises { &raised } else { &lowered }.add(1);
            Ok(())
        })
        .unwrap();
    for (what, count, least) in [
        ("windows", &windows, 6000),
        ("that raise", &raised, 1500),
        ("that lower", &lowered, 1500),
        ("that begin at nothing", &zero, 50),
        ("refusals", &none, 2000),
    ] {
        assert!(count.get() >= least, "only {} {what}", count.get());
    }
}

/// Where a window is refused, no mass on the division near the place where it would lie does it.
fn no_window_is_so(
    why: NoWindow,
    meets: &dyn Fn(Mass) -> bool,
    division: Division,
    between_the_edges: bool,
) -> Result<(), TestCaseError> {
    match why {
        NoWindow::TooCoarse { lower, upper } => {
            for from in [division.floor(lower), division.floor(upper)] {
                for step in 0..=1 {
                    let mass = from + division.mass().times(step);
                    prop_assert!(!mass.is_positive() || !meets(mass), "{mass:?} would do");
                }
            }
        }
        NoWindow::WrongWay { .. } => {
            for mass in [1, 100, 100_000] {
                prop_assert!(!meets(division.mass().times(mass)));
            }
            prop_assert!(!meets(Mass::ZERO));
        }
        NoWindow::Enough { .. } => {
            prop_assert!(meets(Mass::ZERO));
            prop_assert!(!meets(division.mass()));
        }
        NoWindow::NoMetal => return Err(TestCaseError::fail("there are lots")),
        NoWindow::NoLever => prop_assert!(between_the_edges),
        NoWindow::TooMuch => {}
    }
    Ok(())
}

#[test]
fn a_plan_brings_the_melt_to_the_aim() {
    let planned = Count::default();
    let cases = (
        division(),
        lots(),
        proptest::collection::vec((metal(), 1_i64..=1000), 1..4),
        demand(),
    );
    runner(8000)
        .run(&cases, |(division, lots, metals, demand)| {
            let lots = weighed(&lots, division);
            let metals: Vec<Planned> = metals
                .into_iter()
                .map(|(gold, share)| Planned {
                    gold,
                    share: Decimal::new(share, 1),
                })
                .collect();
            let Some(masses) = plan(&mix(&lots), &metals, &demand) else {
                return Ok(());
            };
            planned.add(1);
            prop_assert_eq!(masses.len(), metals.len());
            let mut melt = mix(&lots);
            for (mass, metal) in masses.iter().zip(&metals) {
                prop_assert!(!mass.is_negative());
                // Shares hold against the first.
                let apart =
                    (mass.grams() * metals[0].share - masses[0].grams() * metal.share).abs();
                prop_assert!(apart <= Decimal::new(1, 15), "shares {} apart", apart);
                melt = melt.with(*mass, metal.gold);
            }
            // Gold off the aim, as a part of the whole: far below any division.
            let off = (melt.surplus(demand.aim()) / melt.mass().grams()).abs();
            prop_assert!(off <= Decimal::new(1, 12), "{} three-thousandths off", off);
            Ok(())
        })
        .unwrap();
    assert!(planned.get() >= 2000, "only {} plans", planned.get());
}
