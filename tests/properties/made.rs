//! A finished mass as asked for: no less of it comes of what is to be weighed, next to no more, and it is
//! lawful as surely as the shop asks.

use panbell::mass::Mass;
use panbell::melt::{
    Addition, FinenessDoubt, Lot, MassDoubt, Mix, NoAnswer, Reckoning, reckon, reckon_for,
};
use panbell::metal::{Composition, Fineness};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::exact::{demand, division, lots, metal, on_division, times, weighed};
use super::{Count, runner};

fn lot(at: usize, mass: Mass, gold: Fineness, u: u32) -> Lot {
    Lot {
        name: format!("lot {}", at + 1),
        mass: Some(mass),
        stated: gold,
        taken: gold,
        u: FinenessDoubt::per_mille(Decimal::new(u.into(), 3)),
        even: false,
        made_of: Composition::of_gold(gold),
    }
}

fn addition(gold: Fineness, share: i64, u_mass: MassDoubt) -> Addition {
    let mut addition = Addition {
        name: gold.to_string(),
        metal: gold.into(),
        share: Decimal::from(share),
        made_of: Composition::of_gold(gold),
    };
    addition.metal.u_mass = u_mass;
    addition
}

fn melted(found: &Reckoning) -> Mix {
    found.metals.iter().fold(Mix::NOTHING, |mix, m| {
        mix.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
    })
}

#[test]
fn no_less_than_the_mass_asked_for_comes_of_it() {
    let (parts, filled, clear) = (Count::default(), Count::default(), Count::default());
    let doubts = proptest::collection::vec(0_u32..1500, 6);
    let add = proptest::collection::vec((metal(), 1_i64..4), 0..3);
    // Of what the lots make, in thousandths; all of it often, to the last digit.
    let of_all = prop_oneof![1 => Just(1000_i64), 3 => 100_i64..1000, 2 => 1001_i64..3000];
    let asked = (division(), lots(), doubts, 0_u32..60, add, demand(), of_all);
    runner(6000)
        .run(
            &asked,
            |(division, lots, doubts, of_mass, add, demand, of_all)| {
                let own = division.mass().grams() * Decimal::new(of_mass.into(), 2);
                let u_mass = MassDoubt::of_decimal(own).with_common(own);
                let lots: Vec<Lot> = weighed(&lots, division)
                    .into_iter()
                    .zip(doubts)
                    .enumerate()
                    .map(|(at, ((mass, gold), u))| lot(at, mass, gold, u))
                    .collect();
                let add: Vec<Addition> = add
                    .into_iter()
                    .map(|(gold, share)| addition(gold, share, u_mass))
                    .collect();
                let Ok(all) = reckon(&lots, &add, &demand, division, u_mass) else {
                    return Ok(());
                };
                let make = all.melt.mass().grams() * Decimal::new(of_all, 3);
                let Some(make) = Mass::from_grams(make) else {
                    return Ok(()); // more than any balance weighs
                };
                let make = division.floor(make);
                if make < times(division, 500).mass() {
                    return Ok(()); // too little to weigh in proportion
                }
                let filler = addition(Fineness::pure(), 1, u_mass);
                let filler = add
                    .first()
                    .is_some_and(|add| add.metal.gold < demand.target)
                    .then_some(&filler);
                let found = reckon_for(make, &lots, &add, filler, &demand, division, u_mass);
                let found = match found {
                    Ok(found) => found,
                    Err(NoAnswer::TooLittle(most)) => {
                        prop_assert!(most < make, "{most:?} is enough");
                        return Ok(());
                    }
                    Err(_) => return Ok(()), // no window with so much less
                };
                let made = found.melt.mass();
                if !found.is_open() {
                    return Ok(()); // the most that wastes no more than allowed
                }
                prop_assert!(made >= make, "{made:?} of {make:?}: {found:?}");
                let metals = u32::try_from(found.metals.len()).unwrap();
                // A division of a lot brings as much as the lots bring of their own mass, where what
                // is added stands clear of the target; else a trace of the lots decides on pounds.
                let of_lots: Mass = lots.iter().filter_map(|lot| lot.mass).sum();
                let lever = all.melt.mass().grams() / of_lots.grams();
                let thirds = |gold: Fineness| gold.three_thousandths();
                let is_clear = add.len() <= 1
                    && add.iter().all(|add| {
                        let apart = thirds(add.metal.gold) - thirds(demand.target);
                        apart.abs() > Decimal::from(300)
                    });
                if is_clear {
                    let step = division.mass().grams() * Decimal::from(4 + 2 * metals);
                    let above = step * lever.max(Decimal::ONE);
                    let most = make + Mass::from_grams(above).unwrap();
                    prop_assert!(made <= most, "{made:?} for {make:?}: {found:?}");
                    clear.add(1);
                }
                for (_, used) in &found.used {
                    prop_assert!(on_division(*used, division));
                }
                for add in &found.add {
                    let window = add.window.unwrap();
                    prop_assert!(window.lower <= add.aim && add.aim <= window.upper);
                }
                let melt = melted(&found);
                prop_assert_eq!(melt.mass(), made);
                // Nothing is added to lots that nobody asked to be put right.
                if !add.is_empty() || all.melt.is_at_least(demand.lowest) {
                    prop_assert!(melt.is_at_least(demand.lowest), "{found:?}");
                }
                let count = if of_all > 1000 { &filled } else { &parts };
                count.add(1);
                Ok(())
            },
        )
        .unwrap();
    assert!(clear.get() > 300, "{} clear", clear.get());
    assert!(parts.get() > 300, "{} in part", parts.get());
    assert!(filled.get() > 30, "{} filled up", filled.get());
}
