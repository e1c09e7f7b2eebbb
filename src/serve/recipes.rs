//! The recipes for a job as clients see them.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::job::{Job, Recipe, words};
use crate::mass::fixed;
use crate::metal::Element;

/// The recipes for a job, the one to prefer first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct RecipesView {
    /// Each of them.
    pub recipes: Vec<RecipeView>,
}

/// One recipe. Numbers are decimal strings, masses with their unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct RecipeView {
    /// What to add: the `add` of an order to plan it, with names and masses.
    pub add: Vec<AddView>,
    /// The whole melt.
    pub makes: String,
    /// Its fineness, per mille.
    pub fineness_ppt: String,
    /// Its standard uncertainty, per mille.
    pub u_ppt: String,
    /// Whether it is as surely lawful as the shop asks.
    pub is_sure: bool,
    /// What the metals to add cost.
    pub cost: Option<String>,
    /// In this currency.
    pub currency: Option<String>,
    /// Fine gold in what is added.
    pub gold_added: String,
    /// Fine gold above the lowest lawful fineness.
    pub given_away: String,
    /// Its colour, where it can be told.
    pub colour: Option<String>,
    /// Whether that is the colour asked for, where it can be told.
    pub answers_colour: Option<bool>,
    /// What it is made of, per mille; what is unknown as `unknown`.
    pub composition_ppt: BTreeMap<String, String>,
    /// What there is to hear before it is melted.
    pub warnings: Vec<String>,
}

/// A metal of a recipe.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct AddView {
    /// Its short name on the shelf.
    pub metal: String,
    /// Its name for people.
    pub name: String,
    /// Parts by mass against the others.
    pub share: String,
    /// How much of it.
    pub mass: String,
}

impl RecipesView {
    /// The recipes of a job.
    pub fn of(job: &Job, recipes: &[Recipe]) -> Self {
        Self {
            recipes: recipes
                .iter()
                .map(|recipe| RecipeView::of(job, recipe))
                .collect(),
        }
    }
}

impl RecipeView {
    fn of(job: &Job, recipe: &Recipe) -> Self {
        let shown = |mass| words::shown(job, mass).to_string();
        let made_of = &recipe.made_of;
        let mut composition_ppt: BTreeMap<String, String> = Element::all()
            .map(|element| (element, made_of.three_thousandths(element)))
            .filter(|(_, part)| !part.is_zero())
            .map(|(element, part)| {
                (
                    element.symbol().to_owned(),
                    fixed(part / Decimal::from(3), 1).to_string(),
                )
            })
            .collect();
        if !made_of.is_known() {
            composition_ppt.insert(
                "unknown".to_owned(),
                made_of.unknown_per_mille(1).to_string(),
            );
        }
        Self {
            add: recipe
                .add
                .iter()
                .map(|(metal, mass)| AddView {
                    metal: metal.key.clone(),
                    name: metal.name.clone(),
                    share: mass.grams().normalize().to_string(),
                    mass: shown(*mass),
                })
                .collect(),
            makes: shown(recipe.melt.mass()),
            fineness_ppt: recipe
                .melt
                .fineness()
                .map_or_else(String::new, |fineness| fineness.to_per_mille(2).to_string()),
            u_ppt: fixed(recipe.melt.known_to_ppt(), 2).to_string(),
            is_sure: recipe.is_sure,
            cost: recipe.cost.map(|cost| fixed(cost, 2).to_string()),
            currency: recipe.currency.clone(),
            gold_added: shown(recipe.gold_added),
            given_away: shown(recipe.given_away),
            colour: recipe.colour.clone(),
            answers_colour: recipe.answers,
            composition_ppt,
            warnings: recipe.warnings.clone(),
        }
    }
}
