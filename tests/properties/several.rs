//! Several additions, each weighed with any error that its window allows: the melt ends lawful, and
//! what is still to come follows what was really weighed.

use panbell::job::{AddedMetal, Captured, FORMAT, How, Job, Opened, Raw, Record, What};
use panbell::mass::{Division, Indication, Mass};
use panbell::melt::{Demand, NoWindow, window};
use panbell::metal::{Basis, Colour, Fineness, Purpose};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::exact::{Heap, demand, division, lots, metal, on_division, times};
use super::{Count, runner};

/// The opening of a job with metals to add, gold and share each.
pub(crate) fn opened(demand: Demand, division: Division, add: &[(Fineness, i64)]) -> Opened {
    Opened {
        format: FORMAT,
        job: "t-1".to_owned(),
        bench: "window".to_owned(),
        ticket: "T/1 \"x\"".to_owned(),
        client: "c\u{fc}".to_owned(),
        target: demand.target,
        lowest: demand.lowest,
        highest: demand.highest,
        give_away_g: None,
        risk: Decimal::new(25, 3),
        u_mass_g: Decimal::ZERO,
        u_balance_g: Decimal::ZERO,
        colour: Colour::Yellow,
        purpose: Purpose::Any,
        division,
        add: add
            .iter()
            .enumerate()
            .map(|(at, (gold, share))| added(&format!("m{at}"), *gold, *share))
            .collect(),
    }
}

pub(crate) fn added(name: &str, gold: Fineness, share: i64) -> AddedMetal {
    AddedMetal {
        metal: name.to_owned(),
        name: format!("metal {name}"),
        gold,
        u_ppt: Decimal::ZERO,
        made_of: panbell::metal::Composition::of_gold(gold)
            .to_string()
            .parse()
            .unwrap(),
        share: Decimal::from(share),
    }
}

fn captured(what: What, mass: Indication) -> Record {
    Record::Capture(Captured {
        what,
        mass,
        gross: mass,
        base: mass.minus(mass).unwrap(),
        how: How::Settled,
        instead_of: None,
        unit_by: panbell::job::UnitBy::Line,
        raw: Raw::of(b""),
    })
}

#[test]
fn errors_inside_the_windows_end_lawful() {
    let (whole, several) = (Count::default(), Count::default());
    let cases = (
        division(),
        lots(),
        proptest::collection::vec((metal(), 1_i64..=20, 0_u32..=1000), 1..4),
        demand(),
    );
    runner(25_000)
        .run(&cases, |(division, lots, additions, demand)| {
            let no_lever = demand.lowest..=demand.highest;
            if additions.iter().any(|a| no_lever.contains(&a.0)) {
                return Ok(()); // refused at the opening
            }
            let opposed = additions.iter().any(|a| a.0 > demand.highest)
                && additions.iter().any(|a| a.0 < demand.lowest);
            let metals: Vec<(Fineness, i64)> = additions.iter().map(|a| (a.0, a.1)).collect();
            let opening = Record::Open(opened(demand, division, &metals));
            let mut job = Job::begin(&opening, 1).unwrap();
            let mut n = 1;
            let mut heap = Heap::default();
            let mut weigh = |job: &mut Job, what, mass: Indication| {
                n += 1;
                job.apply(&captured(what, mass), n);
            };
            for (count, fineness) in lots {
                let what = What::Lot {
                    fineness,
                    basis: Basis::Stamp,
                    taken: fineness,
                    u_ppt: Decimal::ZERO,
                    note: String::new(),
                };
                weigh(&mut job, what, times(division, count));
                heap = heap.with(times(division, count).mass(), fineness);
            }
            if job.plan().is_none() {
                return Ok(());
            }
            for (at, (gold, _, error)) in additions.iter().enumerate() {
                let addition = at + 1;
                prop_assert_eq!(job.to_come()[0], addition);
                let rest = job.rest_of_melt(addition);
                let window = match window(&rest, *gold, &demand, division) {
                    Ok(window) => window,
                    // After errors inside the windows, what is left over is not needed any more, or
                    // is too little or too much for the balance: it never stands the wrong way.
                    // (Metals that pull against each other keep no such promise: their proportion
                    // to each other may have no answer any more. They are refused, not misjudged.)
                    Err(why) => {
                        let wrong = !matches!(
                            why,
                            NoWindow::Enough { .. }
                                | NoWindow::TooCoarse { .. }
                                | NoWindow::TooMuch
                        );
                        prop_assert!(
                            at == 0 || opposed || !wrong,
                            "{why:?} after errors that were allowed"
                        );
                        return Ok(());
                    }
                };
                let span = (window.upper - window.lower).grams() / division.mass().grams();
                let step = (span * Decimal::new(i64::from(*error), 3)).round();
                let mass = window.lower.grams() + step * division.mass().grams();
                let mass = division.show(Mass::from_grams(mass).unwrap());
                prop_assert!(on_division(mass.mass(), division));
                if !mass.mass().is_positive() {
                    return Ok(());
                }
                weigh(&mut job, What::Addition { addition }, mass);
                heap = heap.with(mass.mass(), *gold);
                // What is planned from here starts from what was weighed: it makes the aim.
                if let Some(plan) = job.plan().filter(|plan| !plan.is_empty()) {
                    let melt = plan.iter().fold(job.melt(), |melt, (at, mass)| {
                        melt.with(*mass, job.metal(*at).unwrap().gold)
                    });
                    let off = (melt.surplus(demand.aim()) / melt.mass().grams()).abs();
                    prop_assert!(off <= Decimal::new(1, 12), "{} off the aim", off);
                }
            }
            prop_assert!(heap.meets(&demand), "every mass within, and yet {heap:?}");
            prop_assert!(job.melt().is_at_least(demand.lowest));
            whole.add(1);
            several.add(u32::from(additions.len() > 1));
            Ok(())
        })
        .unwrap();
    assert!(whole.get() >= 3000, "only {} jobs", whole.get());
    assert!(several.get() >= 1500, "only {} of several", several.get());
}
