//! What could be added to the lots of a job to make what was asked for: every single metal of the
//! shelf, and the best mixes for the colour, each with what it costs and what becomes of the melt.
//!
//! Leaves to others: choosing one.

use rust_decimal::Decimal;

use super::fold::Job;
use super::state::BenchRules;
use crate::mass::{Indication, Mass};
use crate::melt::{
    BlendAsk, BlendLot, BlendMetal, FinenessDoubt, Goal, Mix, UnknownPart, colour_ways, sure_blend,
    window,
};
use crate::metal::{Asked, Composition, Family, Fineness, Metal, colour, warnings};

/// One way to make the melt.
#[derive(Debug, Clone, PartialEq)]
pub struct Recipe {
    /// What to add, with the mass planned.
    pub add: Vec<(Metal, Mass)>,
    /// The melt that comes of it.
    pub melt: Mix,
    /// What it is made of.
    pub made_of: Composition,
    /// Whether it is as surely lawful as the shop asks, at the masses planned.
    pub is_sure: bool,
    /// What the metals to add cost; none where one of them has no price.
    pub cost: Option<Decimal>,
    /// In this currency.
    pub currency: Option<String>,
    /// Fine gold in what is added.
    pub gold_added: Mass,
    /// Fine gold above what the lowest lawful fineness asks of the melt.
    pub given_away: Mass,
    /// Its colour, where the rules of colour tell.
    pub colour: Option<String>,
    /// Whether that is the colour asked for, where it can be told.
    pub answers: Option<bool>,
    /// What there is to hear before melting it.
    pub warnings: Vec<String>,
}

/// No more are offered.
const MOST: usize = 12;

/// The recipes for what is in the melt so far, the one to prefer first: what has the colour before
/// what does not, then the cheapest. Empty before a lot is weighed.
pub fn recipes(job: &Job, rules: &BenchRules) -> Vec<Recipe> {
    let (Some(made_of), so_far) = (job.made_of(), job.so_far()) else {
        return Vec::new();
    };
    let opened = &job.opened;
    let may = |metal: &&Metal| {
        metal.is_for_karat(opened.target)
            && metal.is_for_use(opened.purpose)
            && !(opened.lowest..=opened.highest).contains(&metal.gold)
    };
    let shelf: Vec<&Metal> = rules.shelf.metals().iter().filter(may).collect();
    let mut found: Vec<Recipe> = Vec::new();
    let singles = shelf.iter().filter_map(|metal| {
        let as_added = job.weighed_as(metal.gold);
        let window = window(&so_far, as_added, &job.demand(), opened.division).ok()?;
        window
            .aim
            .is_positive()
            .then(|| vec![((*metal).clone(), window.aim)])
    });
    for add in singles.chain(mixes(job, &so_far, &made_of, &shelf)) {
        let in_stock = add
            .iter()
            .all(|(metal, mass)| metal.stock.is_none_or(|stock| stock.mass() >= *mass));
        let same = |other: &Recipe| {
            let keys = |add: &[(Metal, Mass)]| -> Vec<String> {
                add.iter().map(|(metal, _)| metal.key.clone()).collect()
            };
            keys(&other.add) == keys(&add)
        };
        if in_stock && !found.iter().any(same) {
            found.extend(recipe(job, &so_far, &made_of, add));
        }
    }
    found.sort_by_key(|recipe| {
        (
            !recipe.is_sure,
            recipe.answers == Some(false),
            recipe.answers.is_none(),
            recipe.cost.is_none(),
            recipe.cost,
            recipe.add.len(),
        )
    });
    found.truncate(MOST);
    found
}

/// The best mixes of the shelf for the colour.
fn mixes(
    job: &Job,
    so_far: &Mix,
    made_of: &Composition,
    shelf: &[&Metal],
) -> Vec<Vec<(Metal, Mass)>> {
    let opened = &job.opened;
    let Ok(ways) = colour_ways(opened.colour, opened.target) else {
        return Vec::new();
    };
    let demand = job.demand();
    ways.iter()
        .filter_map(|way| {
            let metals: Vec<&Metal> = shelf
                .iter()
                .copied()
                .filter(|metal| way.may(metal))
                .collect();
            let ask = BlendAsk {
                lots: vec![BlendLot {
                    mass: so_far.mass(),
                    metal: made_of.clone(),
                }],
                shelf: metals
                    .iter()
                    .map(|metal| BlendMetal {
                        name: metal.name.clone(),
                        metal: metal.composition.clone(),
                        stock: metal.stock.map(Indication::mass),
                        price: metal.price.as_ref().map(|price| price.per_gram),
                    })
                    .collect(),
                lowest: demand.lowest,
                aim: demand.aim(),
                highest: demand.highest,
                limits: way.limit.into_iter().collect(),
                silver_share: way.silver_share,
                mass: None,
                unknown: UnknownPart::Reported,
                division: opened.division,
                goal: Goal::Cheapest,
            };
            let doubt = FinenessDoubt::per_mille(so_far.known_to_ppt());
            let found = sure_blend(&ask, &[doubt], job.u_mass(), demand.risk).ok()?;
            let add: Vec<(Metal, Mass)> = metals
                .into_iter()
                .zip(found.blend.shelf)
                .filter(|(_, mass)| mass.is_positive())
                .map(|(metal, mass)| (metal.clone(), mass))
                .collect();
            (!add.is_empty()).then_some(add)
        })
        .collect()
}

fn recipe(job: &Job, so_far: &Mix, lots: &Composition, add: Vec<(Metal, Mass)>) -> Option<Recipe> {
    let opened = &job.opened;
    let demand = job.demand();
    let melt = add.iter().fold(*so_far, |mix, (metal, mass)| {
        job.weighed_as(metal.gold).to(&mix, *mass)
    });
    let parts = add.iter().map(|(metal, mass)| (*mass, &metal.composition));
    let made_of = Composition::mixed(std::iter::once((so_far.mass(), lots)).chain(parts))?;
    let cost: Option<Decimal> = add
        .iter()
        .map(|(metal, mass)| {
            let price = metal.price.as_ref()?.per_gram;
            price.checked_mul(mass.grams())
        })
        .sum();
    let gold_added = add.iter().fold(Mix::NOTHING, |mix, (metal, mass)| {
        mix.with(*mass, metal.gold)
    });
    let lawful = Mix::NOTHING.with(melt.mass(), demand.lowest);
    let asked = Asked {
        target: opened.target,
        colour: opened.colour,
        purpose: opened.purpose,
    };
    let metals: Vec<(&Metal, Mass)> = add.iter().map(|(metal, mass)| (metal, *mass)).collect();
    let told = warnings(&made_of, &metals, asked)
        .iter()
        .map(|warning| {
            let told = warning.told();
            format!("{} {}", told.happened, told.means)
        })
        .collect();
    Some(Recipe {
        is_sure: melt.is_surely_at_least(demand.lowest, demand.risk)
            && melt.is_at_most(demand.highest),
        currency: add
            .iter()
            .find_map(|(metal, _)| metal.price.as_ref().map(|price| price.currency.clone())),
        gold_added: gold_added.gold().mass(),
        given_away: melt.gold().less(lawful.gold()).mass(),
        colour: Family::of(&made_of).ok().map(|family| family.to_string()),
        answers: colour::answers(&made_of, opened.colour),
        warnings: told,
        cost,
        melt,
        made_of,
        add,
    })
}

impl Job {
    /// A metal of this fineness as an addition that is weighed here.
    fn weighed_as(&self, gold: Fineness) -> crate::melt::Added {
        crate::melt::Added {
            u_mass: self.u_mass(),
            ..gold.into()
        }
    }
}
