//! Blends: worked by hand, and held against every limit by exact sums that are made here anew.

use panbell::mass::{Indication, Mass};
use panbell::melt::{
    Blend, BlendAsk, BlendLot, BlendMetal, Goal, Hinder, Limit, NoBlend, UnknownPart, blend,
};
use panbell::metal::{Composition, Element, Fineness};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use rust_decimal::Decimal;
use std::cell::Cell;

use super::asks::an_ask;

fn mass(text: &str) -> Mass {
    text.parse::<Indication>().unwrap().mass()
}

fn d(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn lot(grams: &str, metal: &str) -> BlendLot {
    BlendLot {
        mass: mass(grams),
        metal: metal.parse().unwrap(),
    }
}

fn on_shelf(name: &str, metal: &str, price: &str) -> BlendMetal {
    BlendMetal {
        name: name.to_owned(),
        metal: metal.parse().unwrap(),
        stock: None,
        price: Some(d(price)),
    }
}

fn ask(lots: Vec<BlendLot>, shelf: Vec<BlendMetal>, lowest: &str, highest: &str) -> BlendAsk {
    let lowest: Fineness = lowest.parse().unwrap();
    BlendAsk {
        lots,
        shelf,
        lowest,
        aim: lowest,
        highest: highest.parse().unwrap(),
        limits: Vec::new(),
        silver_share: None,
        mass: None,
        unknown: UnknownPart::Reported,
        division: "0.01 g".parse().unwrap(),
        goal: Goal::Cheapest,
    }
}

fn grams(masses: &[Mass]) -> Vec<String> {
    masses
        .iter()
        .map(|mass| mass.grams().normalize().to_string())
        .collect()
}

#[test]
fn the_goldsmiths_sums_come_out() {
    // 20 g of 10 k to 14 k with fine gold: 8 g (goldsmiths' forum).
    let raising = BlendAsk {
        lots: vec![BlendLot {
            mass: mass("20 g"),
            metal: Composition::of_gold("10k".parse().unwrap()),
        }],
        ..ask(
            vec![],
            vec![on_shelf("fine gold", "Au 1000", "60")],
            "14k",
            "590",
        )
    };
    let raised = blend(&raising).unwrap();
    assert_eq!(grams(&raised.shelf), ["8"]);
    assert_eq!(raised.fineness, "14k".parse().unwrap());
    assert_eq!(raised.cost, Some(d("480")));
    // 31.1 g of fine gold to 18 k: 10.366.. g; in silver and copper alike, each a hundredth down.
    let lowering = BlendAsk {
        silver_share: Some((d("0.5"), d("0.5"))),
        ..ask(
            vec![lot("31.1 g", "Au 1000")],
            vec![
                on_shelf("silver", "Ag 1000", "1"),
                on_shelf("copper", "Cu 1000", "0.01"),
            ],
            "18k",
            "755",
        )
    };
    let lowered = blend(&lowering).unwrap();
    assert_eq!(grams(&lowered.shelf), ["5.18", "5.18"]);
}

#[test]
fn the_cheaper_metal_is_taken_as_far_as_the_limits_let_it() {
    // 15 g of gold need 5 g more for 750; zinc is cheapest but may be 20 of 1000, so 0.4 g.
    let asked = BlendAsk {
        limits: vec![
            Limit::AtMost(Element::Zn, d("20")),
            Limit::AtMost(Element::Cu, d("100")),
        ],
        division: "0.001 g".parse().unwrap(),
        ..ask(
            vec![lot("15 g", "Au 1000")],
            vec![
                on_shelf("silver", "Ag 1000", "0.8"),
                on_shelf("copper", "Cu 1000", "0.01"),
                on_shelf("zinc", "Zn 1000", "0.003"),
            ],
            "750",
            "750",
        )
    };
    let found = blend(&asked).unwrap();
    assert_eq!(grams(&found.shelf), ["2.6", "2", "0.4"]);
    assert_eq!(found.mass, mass("20 g"));
    assert_eq!(found.metal.to_string(), "Au 750 Ag 130 Cu 100 Zn 20");
}

#[test]
fn a_metal_without_a_price_comes_last() {
    let mut shelf = vec![
        on_shelf("silver", "Ag 1000", "1"),
        on_shelf("copper", "Cu 1000", "9"),
    ];
    shelf[0].price = None;
    let mut asked = ask(vec![lot("15 g", "Au 1000")], shelf, "750", "755");
    let found = blend(&asked).unwrap();
    assert_eq!(grams(&found.shelf), ["0", "5"]);
    assert_eq!(found.cost, Some(d("45")));
    asked.limits = vec![Limit::AtMost(Element::Cu, d("50"))];
    let found = blend(&asked).unwrap();
    assert_eq!(grams(&found.shelf), ["4", "1"]);
    assert_eq!(found.cost, None);
}

#[test]
fn most_of_the_clients_metal_is_used_and_no_more_than_the_stock_of_gold_allows() {
    let mut gold = on_shelf("fine gold", "Au 1000", "60");
    gold.stock = Some(mass("4 g"));
    let asked = BlendAsk {
        goal: Goal::MostOfTheLots,
        ..ask(
            vec![
                lot("20 g", "Au 375 Ag 100 Cu 525"),
                lot("5 g", "Au 750 Ag 125 Cu 125"),
            ],
            vec![gold],
            "585",
            "600",
        )
    };
    // 585 (x + 5 + 4) = 375 x + 3750 + 4000 gives x = 2485 / 210 = 11.83.
    let found = blend(&asked).unwrap();
    assert_eq!(grams(&found.lots), ["11.83", "5"]);
    assert_eq!(grams(&found.shelf), ["4"]);
    assert!(found.fineness >= "585".parse().unwrap());
    // The cheapest uses all lots, so here it is told what is in the way.
    let whole = BlendAsk {
        goal: Goal::Cheapest,
        ..asked
    };
    let Err(NoBlend::Hindered { alone, together }) = blend(&whole) else {
        panic!("it cannot be had");
    };
    let needed = |hinder: Hinder| {
        let (_, nearest) = alone.iter().find(|(found, _)| *found == hinder).unwrap();
        nearest.unwrap().round_dp(3).normalize().to_string()
    };
    // 585 (25 + g) = 7500 + 3750 + 1000 g gives g = 3375 / 415 = 8.133.
    assert_eq!(needed(Hinder::Stock(0)), "8.133");
    assert_eq!(needed(Hinder::WholeLots), "16.833");
    // (7500 + 3750 + 4000) / 29
    assert_eq!(needed(Hinder::LowestFineness), "525.862");
    assert_eq!(together.len(), 3);
    let told = blend(&whole).unwrap_err().trouble(&whole);
    assert!(
        told.happened.contains("there is only 4.00 g of fine gold"),
        "{told}"
    );
    // A division less would not do.
    assert!(told.mend.contains("8.14 g would be needed"), "{told}");
}

#[test]
fn what_is_in_the_way_is_named() {
    let silver = || on_shelf("silver", "Ag 1000", "1");
    let hindered = |asked: &BlendAsk| match blend(asked) {
        Err(NoBlend::Hindered { alone, together }) => (alone, together),
        other => panic!("{other:?}"),
    };
    // Nickel in one of two lots, forbidden: leave the lot out or allow the nickel.
    let white = BlendAsk {
        limits: vec![Limit::AtMost(Element::Ni, Decimal::ZERO)],
        ..ask(
            vec![
                lot("10 g", "Au 800 Cu 50 Ni 150"),
                lot("10 g", "Au 900 Ag 100"),
            ],
            vec![silver()],
            "750",
            "760",
        )
    };
    let (alone, together) = hindered(&white);
    assert_eq!(together, [Hinder::Limit(0), Hinder::WholeLots]);
    // 17 g of gold at 750 are 22.667 g, with 1.5 g of nickel.
    let nickel = alone[0].1.unwrap();
    assert_eq!(nickel.round_dp(2).to_string(), "66.18");
    assert_eq!(alone[1], (Hinder::WholeLots, Some(d("10"))));
    let told = blend(&white).unwrap_err().trouble(&white);
    assert!(told.happened.contains("there is no nickel"), "{told}");
    // Two limits that only together are in the way: neither alone, once two more stand beside.
    let both = BlendAsk {
        limits: vec![
            Limit::AtMost(Element::Cu, d("100")),
            Limit::AtMost(Element::Ag, d("100")),
            Limit::AtLeast(Element::Pd, d("10")),
        ],
        ..ask(
            vec![lot("15 g", "Au 1000")],
            vec![silver(), on_shelf("copper", "Cu 1000", "0.01")],
            "750",
            "760",
        )
    };
    let (alone, together) = hindered(&both);
    assert_eq!(together, [Hinder::Limit(2)]);
    assert!(alone.is_empty()); // copper and silver would still be in the way
    // A colour that the shelf cannot make.
    let red = BlendAsk {
        silver_share: Some((d("0"), d("0.2"))),
        ..ask(vec![lot("15 g", "Au 1000")], vec![silver()], "750", "760")
    };
    let (alone, _) = hindered(&red);
    assert!(
        alone.contains(&(Hinder::MostSilver, Some(d("1")))),
        "{alone:?}"
    );
    // More is needed than there is.
    let much = BlendAsk {
        mass: Some(mass("30 g")),
        ..ask(vec![lot("15 g", "Au 1000")], vec![silver()], "750", "760")
    };
    let (alone, _) = hindered(&much);
    assert!(alone.iter().any(|(hinder, nearest)| {
        *hinder == Hinder::Mass && nearest.unwrap().round_dp(6) == d("20")
    }));
}

#[test]
fn what_is_unknown_is_told_or_counted() {
    let asked = BlendAsk {
        limits: vec![Limit::AtMost(Element::Ni, Decimal::ZERO)],
        ..ask(
            vec![lot("10 g", "Au 800 Ag 100")],
            vec![on_shelf("copper", "Cu 1000", "0.01")],
            "750",
            "760",
        )
    };
    let found = blend(&asked).unwrap();
    assert_eq!(found.unproven, [Hinder::Limit(0)]);
    let counted = BlendAsk {
        unknown: UnknownPart::Counted,
        ..asked
    };
    assert!(matches!(blend(&counted), Err(NoBlend::Hindered { .. })));
}

#[test]
fn a_coarse_balance_and_a_muddled_question_are_told() {
    let silver = || vec![on_shelf("silver", "Ag 1000", "1")];
    let coarse = BlendAsk {
        division: "1 g".parse().unwrap(),
        ..ask(vec![lot("10 g", "Au 1000")], silver(), "750", "750")
    };
    assert_eq!(blend(&coarse), Err(NoBlend::TooCoarse));
    let muddled = |asked: &BlendAsk| {
        let no = blend(asked).unwrap_err();
        assert!(matches!(no, NoBlend::Unclear(_)), "{no:?}");
        assert!(!no.trouble(asked).happened.is_empty());
    };
    let plain = || ask(vec![lot("10 g", "Au 1000")], silver(), "750", "760");
    assert!(blend(&plain()).is_ok());
    let mut odd = plain();
    odd.lots.clear();
    muddled(&odd);
    let mut odd = plain();
    odd.aim = "700".parse().unwrap();
    muddled(&odd);
    let mut odd = plain();
    odd.shelf[0].price = Some(d("-1"));
    muddled(&odd);
    let mut odd = plain();
    odd.silver_share = Some((d("0.6"), d("0.5")));
    muddled(&odd);
    let mut odd = plain();
    odd.lots = vec![lot("1 g", "Au 1000"); 101];
    muddled(&odd);
}

/// Every limit that a blend breaks, by sums of its own: no code is shared with what made it.
fn broken(asked: &BlendAsk, found: &Blend) -> Vec<String> {
    let mut broken = Vec::new();
    let mut hold = |holds: bool, what: &str| {
        if !holds {
            broken.push(what.to_owned());
        }
    };
    let parts: Vec<(Decimal, &Composition)> = found
        .lots
        .iter()
        .map(|mass| mass.grams())
        .zip(asked.lots.iter().map(|lot| &lot.metal))
        .chain(
            found
                .shelf
                .iter()
                .map(|mass| mass.grams())
                .zip(asked.shelf.iter().map(|on| &on.metal)),
        )
        .collect();
    hold(
        parts.len() == asked.lots.len() + asked.shelf.len(),
        "masses for all",
    );
    hold(parts.iter().all(|(g, _)| *g >= Decimal::ZERO), "no debts");
    let total: Decimal = parts.iter().map(|(g, _)| g).sum();
    let of = |element: Element| -> Decimal {
        parts
            .iter()
            .map(|(g, metal)| g * metal.three_thousandths(element))
            .sum()
    };
    let unknown: Decimal = if asked.unknown == UnknownPart::Counted {
        parts.iter().map(|(g, metal)| g * metal.unknown()).sum()
    } else {
        Decimal::ZERO
    };
    let gold = of(Element::Au);
    hold(total == found.mass.grams(), "mass conserved");
    hold(
        gold >= total * asked.lowest.three_thousandths(),
        "lowest fineness",
    );
    hold(
        gold <= total * asked.highest.three_thousandths(),
        "highest fineness",
    );
    // Gold conserved: what the answer says it holds is what went in.
    let said = found.fineness.three_thousandths() * total;
    hold(
        (said - gold).abs() < d("0.0000000000000001"),
        "gold conserved",
    );
    let thousand = Decimal::ONE_THOUSAND;
    for limit in &asked.limits {
        match limit {
            Limit::AtMost(element, ppt) => hold(
                (of(*element) + unknown) * thousand <= ppt * total * d("3000"),
                &format!("{limit:?}"),
            ),
            Limit::AtLeast(element, ppt) => hold(
                of(*element) * thousand >= ppt * total * d("3000"),
                &format!("{limit:?}"),
            ),
        }
    }
    if let Some((low, high)) = asked.silver_share {
        let (silver, base) = (of(Element::Ag), of(Element::Ag) + of(Element::Cu) + unknown);
        hold(silver >= low * base, "least silver");
        hold(silver + unknown <= high * base, "most silver");
    }
    if let Some(wanted) = asked.mass {
        hold(found.mass >= wanted, "mass that is needed");
        let above = asked.division.mass().times(8);
        hold(found.mass <= wanted + above, "not much more than needed");
    }
    for (lot, used) in asked.lots.iter().zip(&found.lots) {
        hold(*used <= lot.mass, "no more of a lot than there is");
        if asked.goal == Goal::Cheapest {
            hold(*used == lot.mass, "lots used whole");
        }
        hold(
            *used == lot.mass || asked.division.floor(*used) == *used,
            "lots in divisions",
        );
    }
    for (on, used) in asked.shelf.iter().zip(&found.shelf) {
        hold(on.stock.is_none_or(|stock| *used <= stock), "stock");
        hold(asked.division.floor(*used) == *used, "shelf in divisions");
    }
    broken
}

#[test]
fn every_answer_meets_every_limit_exactly_after_rounding() {
    let (answers, at_aim, hindered, coarse) =
        (Cell::new(0), Cell::new(0), Cell::new(0), Cell::new(0));
    let one_more = |count: &Cell<u32>| count.set(count.get() + 1);
    let mut runner = TestRunner::new(Config {
        cases: 1200,
        failure_persistence: None,
        max_shrink_iters: 2000,
        ..Config::default()
    });
    let asks = prop_oneof![
        an_ask("0.01 g", false),
        an_ask("0.001 g", false),
        an_ask("0.1 g", false),
        an_ask("0.02 dwt", false),
    ];
    runner
        .run(&asks, |asked| {
            match blend(&asked) {
                Ok(found) => {
                    one_more(&answers);
                    let broken = broken(&asked, &found);
                    prop_assert!(broken.is_empty(), "{broken:?} by {found:?}");
                    if found.fineness >= asked.aim {
                        one_more(&at_aim);
                    }
                }
                Err(no) => {
                    prop_assert!(
                        !matches!(no, NoBlend::NoAnswer | NoBlend::Unclear(_)),
                        "{no:?}"
                    );
                    if let NoBlend::Hindered { together, .. } = &no {
                        prop_assert!(!together.is_empty());
                        one_more(&hindered);
                    } else {
                        one_more(&coarse);
                    }
                    prop_assert!(!no.trouble(&asked).mend.is_empty());
                }
            }
            Ok(())
        })
        .unwrap();
    let counts = format!(
        "{} answers, {} not below the aim, {} hindered, {} too coarse",
        answers.get(),
        at_aim.get(),
        hindered.get(),
        coarse.get()
    );
    assert!(answers.get() > 200 && hindered.get() > 200, "{counts}");
    assert!(at_aim.get() * 2 > answers.get(), "{counts}");
    assert!(coarse.get() * 10 < answers.get(), "{counts}");
    println!("{counts}");
}
