//! From masses as the solver leaves them to masses a balance can weigh, checked exactly.

use rust_decimal::Decimal;

use super::table::{Column, Table};
use crate::mass::{Division, Mass};

/// The most metals that are tried both a division down and up; the rest go to the nearest.
const MOST_TRIED: usize = 10;

/// The masses nearest to these that the balance can weigh and that meet every limit exactly, and
/// whether their gold is not below the aim. Among those, not below the aim comes first, then the
/// one nearest to it. `None` when none meets every limit.
pub(super) fn rounded(table: &Table, masses: &[Decimal]) -> Option<(Vec<Mass>, bool)> {
    let mut choices: Vec<Choice> = table
        .columns
        .iter()
        .zip(masses)
        .map(|(column, grams)| Choice::of(column, *grams, table.division))
        .collect();
    let mut open = 0;
    for choice in &mut choices {
        if choice.is_open() {
            open += 1;
            if open > MOST_TRIED {
                choice.close();
            }
        }
    }
    let open = open.min(MOST_TRIED);
    let mut best: Option<(bool, Decimal, Vec<Mass>)> = None;
    for pattern in 0_u32..(1 << open) {
        let mut bits = pattern;
        let masses: Vec<Mass> = choices
            .iter()
            .map(|choice| {
                let Some(up) = choice.up else {
                    return choice.down;
                };
                let is_up = bits & 1 == 1;
                bits >>= 1;
                if is_up { up } else { choice.down }
            })
            .collect();
        if !table.holds(&masses) {
            continue;
        }
        let above = table.above_aim(&masses);
        let is_below = above < Decimal::ZERO;
        let apart = above.abs();
        let is_better = best
            .as_ref()
            .is_none_or(|(below, least, _)| (is_below, apart) < (*below, *least));
        if is_better {
            best = Some((is_below, apart, masses));
        }
    }
    best.map(|(is_below, _, masses)| (masses, !is_below))
}

/// A mass as it is, or a division down and up.
struct Choice {
    down: Mass,
    up: Option<Mass>,
    is_up_nearer: bool,
}

/// Grams below which a mass is none at all: what a solver leaves of zero.
const NOTHING: Decimal = Decimal::from_parts(1, 0, 0, false, 9);

impl Choice {
    fn of(column: &Column, grams: Decimal, division: Division) -> Self {
        let settled = |down| Self {
            down,
            up: None,
            is_up_nearer: false,
        };
        if column.is_fixed() {
            return settled(column.least);
        }
        if grams <= NOTHING {
            return settled(Mass::ZERO);
        }
        let mass = Mass::computed(grams);
        // All of a lot is its own mass, to the digit; no balance has to agree with that.
        if let Some(most) = column.most
            && most - mass <= Mass::computed(NOTHING)
        {
            return settled(most);
        }
        let (down, up) = (division.floor(mass), division.ceil(mass));
        let up = column.most.map_or(up, |most| up.min(most));
        Self {
            down,
            up: (up != down).then_some(up),
            is_up_nearer: up - mass < mass - down,
        }
    }

    fn is_open(&self) -> bool {
        self.up.is_some()
    }

    fn close(&mut self) {
        if let Some(up) = self.up.take()
            && self.is_up_nearer
        {
            self.down = up;
        }
    }
}
