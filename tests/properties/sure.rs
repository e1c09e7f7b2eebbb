//! What uncertainty does to a window: more of it never widens one, the edges keep the risk, what is
//! advised where there is none does open one, and the way back leads into it.

use panbell::mass::{Division, Mass};
use panbell::melt::{
    Added, Demand, FinenessDoubt, Known, Loss, MassDoubt, Mix, NoWindow, Risk, Source, Window,
    budget, edges, ways, window,
};
use panbell::metal::Fineness;
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::exact::{demand, division, lots, metal, on_division, times, weighed};
use super::{Count, runner};

/// How far a chance may be from the risk by the last digits of binary sums.
const LAST_DIGITS: f64 = 1e-9;
/// How far apart edges may lie that are sums of the same numbers in another order: they are searched to
/// a tenth of a microgram.
const SEARCHED: Decimal = Decimal::from_parts(5, 0, 0, false, 7);

/// Lots with how well each is known, and the metal to be added with how well that is.
#[derive(Debug, Clone)]
struct Bench {
    division: Division,
    lots: Vec<(Mass, Fineness)>,
    /// Standard uncertainties of the lots' finenesses, in thousandths of a per mille.
    doubts: Vec<u32>,
    /// That of a mass, in hundredths of a division.
    of_mass: u32,
    /// What of it all weighings have in common besides, in hundredths of a division.
    of_balance: u32,
    metal: Fineness,
    /// That of the metal's fineness, in thousandths of a per mille.
    of_metal: u32,
    demand: Demand,
}

/// A bench whose lots are near the demand often enough for windows to exist.
fn bench() -> impl Strategy<Value = Bench> {
    let doubt = || prop_oneof![2 => Just(0_u32), 4 => 1_u32..2000, 1 => 2000_u32..20_000];
    let risk = prop_oneof![
        Just(Risk::default()),
        (1_i64..=500).prop_map(|n| Risk::new(Decimal::new(n, 3)).unwrap())
    ];
    let of_metal = prop_oneof![3 => Just(0_u32), 1 => 1_u32..3000];
    let doubts = proptest::collection::vec(doubt(), 6);
    (
        division(),
        lots(),
        doubts,
        (0_u32..80, prop_oneof![Just(0_u32), 1_u32..120]),
        metal(),
        of_metal,
        demand(),
        risk,
    )
        .prop_map(
            |(division, lots, doubts, (of_mass, of_balance), metal, of_metal, demand, risk)| {
                Bench {
                    division,
                    lots: weighed(&lots, division),
                    doubts,
                    of_mass,
                    of_balance,
                    metal,
                    of_metal,
                    demand: Demand { risk, ..demand },
                }
            },
        )
}

fn ppt(thousandths: u32) -> FinenessDoubt {
    FinenessDoubt::per_mille(Decimal::new(i64::from(thousandths), 3))
}

impl Bench {
    fn u_mass(&self) -> MassDoubt {
        let hundredth = self.division.mass().grams() / Decimal::ONE_HUNDRED;
        MassDoubt::of_decimal(hundredth * Decimal::from(self.of_mass))
            .with_common(hundredth * Decimal::from(self.of_balance))
    }

    fn added(&self) -> Added {
        Added {
            gold: self.metal,
            u_gold: ppt(self.of_metal),
            u_mass: self.u_mass(),
        }
    }

    /// Metal of this gold, exactly known, weighed on this balance.
    fn source(&self, gold: Fineness) -> Source {
        Source {
            name: gold.to_string(),
            metal: Added {
                gold,
                u_gold: FinenessDoubt::NONE,
                u_mass: self.u_mass(),
            },
            stock: None,
            price: None,
        }
    }

    fn known(&self) -> Vec<Known> {
        let each = self.lots.iter().zip(&self.doubts).enumerate();
        each.map(|(at, ((mass, gold), u))| Known {
            name: format!("lot {}", at + 1),
            mass: *mass,
            u_mass: self.u_mass(),
            gold: *gold,
            u_gold: ppt(*u),
            even: false,
        })
        .collect()
    }

    fn rest(&self) -> Mix {
        melted(&self.known())
    }

    fn window(&self) -> Result<Window, NoWindow> {
        window(&self.rest(), self.added(), &self.demand, self.division)
    }

    /// Whether the chance of falling below the lowest fineness stays within the risk.
    fn keeps_the_risk(&self, melt: &Mix) -> bool {
        let chance = melt.chance_at_least(self.demand.lowest);
        melt.is_at_least(self.demand.lowest)
            && chance >= 1.0 - self.demand.risk.chance() - LAST_DIGITS
    }
}

fn melted(metals: &[Known]) -> Mix {
    metals.iter().fold(Mix::NOTHING, |mix, m| {
        mix.with_known(m.mass, m.u_mass, m.gold, m.u_gold)
    })
}

#[test]
fn the_edges_keep_the_risk_and_the_window_only_shrinks_to_the_division() {
    let (windows, drawn, raised) = (Count::default(), Count::default(), Count::default());
    runner(6000)
        .run(&bench(), |bench| {
            let Ok(found) = bench.window() else {
                return Ok(());
            };
            windows.add(1);
            raised.add(u32::from(found.raises));
            let (rest, added) = (bench.rest(), bench.added());
            let exact = edges(&rest, added, &bench.demand).unwrap();
            prop_assert!(exact.lower <= found.lower && found.upper <= exact.upper);
            for mass in [found.lower, found.aim, found.upper] {
                prop_assert!(on_division(mass, bench.division));
                let melt = added.to(&rest, mass);
                prop_assert!(bench.keeps_the_risk(&melt), "{mass:?} in {found:?}");
                prop_assert!(melt.is_at_most(bench.demand.highest));
            }
            // A coarser balance of the same unit and as good shows no more than a finer one.
            let tenfold = Division::new(times(bench.division, 10)).unwrap();
            if let Ok(coarse) = window(&rest, added, &bench.demand, tenfold) {
                prop_assert!(found.lower <= coarse.lower && coarse.upper <= found.upper);
            }
            // How far doubt drew the lawful edge in, against the same bench knowing everything.
            let plain = edges(
                &rest,
                added.gold,
                &Demand {
                    risk: half(),
                    ..bench.demand
                },
            );
            let plain = plain.expect("wider than one that exists");
            drawn.add(u32::from(plain != exact));
            Ok(())
        })
        .unwrap();
    assert!(windows.get() > 800, "{} windows", windows.get());
    assert!(raised.get() > 200, "{} raised", raised.get());
    assert!(drawn.get() > 300, "{} drawn in", drawn.get());
}

/// Even odds: uncertainty draws nothing in.
fn half() -> Risk {
    Risk::new(Decimal::new(5, 1)).unwrap()
}

#[test]
fn more_uncertainty_or_less_risk_never_widens_the_window() {
    let (narrower, emptied, same) = (Count::default(), Count::default(), Count::default());
    let more = (
        proptest::collection::vec(0_u32..3000, 6),
        (0_u32..50, 0_u32..50),
        0_u32..2000,
        1_u32..=100,
    );
    runner(6000)
        .run(
            &(bench(), more),
            |(bench, (lots, (mass, balance), metal, risk))| {
                let Ok(before) = bench.window() else {
                    return Ok(());
                };
                let mut worse = bench.clone();
                for (doubt, more) in worse.doubts.iter_mut().zip(lots) {
                    *doubt += more;
                }
                worse.of_mass += mass;
                worse.of_balance += balance;
                worse.of_metal += metal;
                let less = bench.demand.risk.chance() * f64::from(risk) / 100.0;
                let less = Decimal::try_from(less).unwrap();
                worse.demand.risk = Risk::new(less).unwrap_or(bench.demand.risk);
                match worse.window() {
                    Ok(after) => {
                        prop_assert!(
                            before.lower <= after.lower && after.upper <= before.upper,
                            "{before:?} became {after:?}"
                        );
                        let is_same = (before.lower, before.upper) == (after.lower, after.upper);
                        if is_same { &same } else { &narrower }.add(1);
                    }
                    Err(
                        NoWindow::NotSure { .. }
                        | NoWindow::TooCoarse { .. }
                        | NoWindow::Enough { .. },
                    ) => {
                        emptied.add(1);
                    }
                    Err(other) => prop_assert!(false, "{other:?} by uncertainty alone"),
                }
                Ok(())
            },
        )
        .unwrap();
    assert!(narrower.get() > 200, "{} narrower", narrower.get());
    assert!(emptied.get() > 100, "{} emptied", emptied.get());
    assert!(same.get() > 2, "{} the same", same.get());
}

#[test]
fn the_order_of_lots_does_not_matter_to_a_window() {
    let (compared, turned_over) = (Count::default(), Count::default());
    runner(4000)
        .run(&(bench(), any::<prop::sample::Index>()), |(bench, turn)| {
            let mut known = bench.known();
            let straight = edges(&melted(&known), bench.added(), &bench.demand);
            let by = turn.index(known.len());
            known.rotate_left(by);
            known.reverse();
            let turned = edges(&melted(&known), bench.added(), &bench.demand);
            match (straight, turned) {
                (Ok(one), Ok(other)) => {
                    let near = |a: Mass, b: Mass| (a - b).abs().grams() <= SEARCHED;
                    prop_assert!(
                        near(one.lower, other.lower) && near(one.upper, other.upper),
                        "{one:?} {other:?}"
                    );
                    compared.add(1);
                    turned_over.add(u32::from(known.len() > 1));
                }
                (Err(one), Err(other)) => {
                    let kind = std::mem::discriminant::<NoWindow>;
                    prop_assert_eq!(kind(&one), kind(&other));
                }
                (one, other) => prop_assert!(false, "{one:?} but {other:?}"),
            }
            Ok(())
        })
        .unwrap();
    assert!(compared.get() > 800, "{} windows", compared.get());
    assert!(
        turned_over.get() > 500,
        "{} of several lots",
        turned_over.get()
    );
}

#[test]
fn what_is_advised_for_an_empty_window_opens_it() {
    let (advised, hopeless) = (Count::default(), Count::default());
    runner(20_000)
        .run(&bench(), |bench| {
            let Err(NoWindow::NotSure { opens_at_ppt, .. }) = bench.window() else {
                return Ok(());
            };
            let given = |ppt: i64| Demand {
                highest: bench.demand.target.plus(Decimal::from(ppt)),
                ..bench.demand
            };
            // On the balance at hand, whose division the window is rounded to.
            let (rest, added) = (bench.rest(), bench.added());
            let opens = |ppt: i64| window(&rest, added, &given(ppt), bench.division).is_ok();
            match opens_at_ppt {
                Some(ppt) => {
                    let ppt = i64::from(ppt);
                    prop_assert!(opens(ppt), "{ppt} per mille do not open it");
                    prop_assert!(!opens(ppt - 1), "less than {ppt} per mille opens it");
                    prop_assert!(given(ppt).highest > bench.demand.highest);
                    advised.add(1);
                }
                None => {
                    for ppt in [5, 10, 20, 40, 60, 80, 99, 100] {
                        prop_assert!(!opens(ppt), "{ppt} per mille open it, and it was not said");
                    }
                    hopeless.add(1);
                }
            }
            Ok(())
        })
        .unwrap();
    assert!(advised.get() > 100, "{} advised", advised.get());
    assert!(hopeless.get() > 10, "{} hopeless", hopeless.get());
}

/// An overshoot, put right by any way back, is inside the window and needs no other.
#[test]
fn the_way_back_leads_into_the_window() {
    let (overshot, ways_back) = (Count::default(), Count::default());
    let sources = proptest::collection::vec(metal(), 1..5);
    runner(6000)
        .run(&(bench(), 1_u32..300, sources), |(bench, over, sources)| {
            let Ok(found) = bench.window() else {
                return Ok(());
            };
            let mass = found.upper + times(bench.division, over).mass();
            let melt = bench.added().to(&bench.rest(), mass);
            let sources: Vec<Source> = sources.iter().map(|gold| bench.source(*gold)).collect();
            overshot.add(1);
            for way in ways(&melt, &sources, &bench.demand, bench.division) {
                ways_back.add(1);
                let Window {
                    lower, aim, upper, ..
                } = way.window;
                prop_assert!(lower.is_positive());
                for mass in [lower, aim, upper] {
                    let back = way.source.metal.to(&melt, mass);
                    prop_assert!(bench.keeps_the_risk(&back), "{mass:?} of {way:?}");
                    prop_assert!(back.is_at_most(bench.demand.highest), "{mass:?} of {way:?}");
                    let again = ways(&back, &sources, &bench.demand, bench.division);
                    prop_assert!(again.is_empty(), "after {mass:?}: {again:?}");
                }
            }
            Ok(())
        })
        .unwrap();
    assert!(overshot.get() > 800, "{} overshot", overshot.get());
    assert!(ways_back.get() > 400, "{} ways back", ways_back.get());
}

/// A button that lost gold, read as ill as it can be, is put right by any way back too.
#[test]
fn the_way_back_of_a_low_button_leads_into_the_window() {
    let (low, ways_back) = (Count::default(), Count::default());
    let sources = proptest::collection::vec(metal(), 1..5);
    let lost = 1_u32..60;
    runner(15_000)
        .run(&(bench(), lost, sources), |(bench, lost, sources)| {
            let Ok(found) = bench.window() else {
                return Ok(());
            };
            let melt = bench.added().to(&bench.rest(), found.aim);
            let button = melt.mass() - times(bench.division, lost).mass();
            let Some(loss) = Loss::of(&melt, button).filter(|_| button.is_positive()) else {
                return Ok(());
            };
            prop_assert!(loss.all_gold <= loss.as_it_stands && loss.as_it_stands <= loss.all_base);
            let u = FinenessDoubt::per_mille(Decimal::try_from(melt.u_ppt()).unwrap().round_dp(4));
            let button = Mix::NOTHING.with_known(button, bench.u_mass(), loss.all_gold, u);
            low.add(u32::from(!bench.keeps_the_risk(&button)));
            let sources: Vec<Source> = sources.iter().map(|gold| bench.source(*gold)).collect();
            for way in ways(&button, &sources, &bench.demand, bench.division) {
                ways_back.add(1);
                for mass in [way.window.lower, way.window.aim, way.window.upper] {
                    let back = way.source.metal.to(&button, mass);
                    prop_assert!(bench.keeps_the_risk(&back), "{mass:?} of {way:?}");
                    prop_assert!(back.is_at_most(bench.demand.highest), "{mass:?} of {way:?}");
                }
            }
            Ok(())
        })
        .unwrap();
    assert!(low.get() > 200, "{} low", low.get());
    assert!(ways_back.get() > 100, "{} ways back", ways_back.get());
}

#[test]
fn the_budget_is_the_whole_variance() {
    let budgets = Count::default();
    runner(3000)
        .run(&bench(), |bench| {
            let known = bench.known();
            let (shares, u) = (budget(&known), melted(&known).u_ppt());
            // What cancels in the sums that are kept leaves a millionth of a per mille.
            if shares.is_empty() {
                prop_assert!(u < 1e-5, "{u} of nothing");
                return Ok(());
            }
            budgets.add(1);
            let variance: f64 = shares.iter().map(|share| share.u_ppt * share.u_ppt).sum();
            prop_assert!(
                (variance.sqrt() - u).abs() <= 1e-5 + 1e-6 * u,
                "{variance} {u}"
            );
            // Each part is rounded to a whole.
            let parts: u32 = shares.iter().map(|share| share.part).sum();
            let rounding = u32::try_from(shares.len()).unwrap().div_ceil(2);
            prop_assert!(
                parts.abs_diff(1000) <= rounding,
                "{parts} of 1000: {shares:?}"
            );
            prop_assert!(shares.is_sorted_by(|a, b| a.u_ppt >= b.u_ppt));
            Ok(())
        })
        .unwrap();
    assert!(budgets.get() > 2000, "{} budgets", budgets.get());
}
