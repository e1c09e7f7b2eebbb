//! Lines whose mass is a hexadecimal count: what one count is worth, by the known weight.
//!
//! Promises: counts are only read where the weight proves what one is worth, and that is a step as
//! balances have: one, two or five, and noughts. Two's complement is only concluded where values
//! below zero were heard in it. Leaves to others: where hexadecimal digits stand (`codes`).

use rust_decimal::Decimal;

use super::cut::Cut;
use super::series;
use super::token::Marks;
use super::{Capture, Found, Told, under};
use crate::balance::layout::Digits;
use crate::mass::Unit;

/// Steps of a last digit.
const STEPS: [i64; 3] = [1, 2, 5];
/// The most decimals of one.
const MOST_DECIMALS: u32 = 6;

/// The capture read as counts, if the weight is among them.
pub(super) fn counted<'a>(cut: &'a Cut, capture: &Capture, told: &Told) -> Option<Found<'a>> {
    told.weight?;
    let factors =
        (0..=MOST_DECIMALS).flat_map(|decimals| STEPS.map(|step| Decimal::new(step, decimals)));
    for factor in factors {
        let read = |digits: Digits| {
            let found = under((Marks::counts(digits, factor), false), cut, capture, told)?;
            is_weight(&found, told).then_some(found)
        };
        let signed = read(Digits::HexadecimalSigned).filter(|found| {
            found
                .family
                .rows
                .iter()
                .any(|row| row.number.value < Decimal::ZERO)
        });
        let plain = read(Digits::Hexadecimal);
        match (plain, signed) {
            (Some(plain), Some(signed)) => {
                return Some(if way(&signed) < way(&plain) {
                    signed
                } else {
                    plain
                });
            }
            (None, None) => {}
            (one, other) => return one.or(other),
        }
    }
    None
}

/// Whether the weight is among the values, in the unit that the lines state or in grams.
fn is_weight(found: &Found<'_>, told: &Told) -> bool {
    let points = found.family.points(&found.lines);
    let unit = found.stated.unwrap_or(Unit::Gram);
    let levels = series::levels(&points, told.weight, Some(unit));
    // With a weight at two values nothing says which of them is its mass.
    let near = series::near(&points);
    let loaded = levels.loaded.unwrap_or_default().abs();
    let clear = series::rests(&points, near)
        .iter()
        .all(|rest| rest.abs() <= near || (rest.abs() - loaded).abs() <= near);
    levels.units.contains(&unit) && clear
}

/// How far the values go in all: below zero read as far above it, they leap.
fn way(found: &Found<'_>) -> Decimal {
    let points = found.family.points(&found.lines);
    let pairs = points.windows(2).filter_map(|pair| {
        let (one, other) = (pair.first()?, pair.last()?);
        Some((one.value - other.value).abs())
    });
    pairs.sum()
}
