//! The limits of a blend as exact rows over its columns, lots first and then the shelf.
//!
//! Every limit on a share of the finished alloy is a row: the sum over the metals of mass times
//! (what it brings less what the limit allows) is at most zero. Rows are exact; the same ones are
//! given to the solver and held against the rounded masses.

use rust_decimal::Decimal;

use super::program::{Found, Program, Row};
use super::share::Share;
use super::{BlendAsk, Goal, Hinder};
use crate::mass::{Division, Mass};
use crate::metal::{Composition, Element};

/// One metal of the blend.
#[derive(Debug, Clone)]
pub(super) struct Column {
    /// The least of it.
    pub(super) least: Mass,
    /// The most of it.
    pub(super) most: Option<Mass>,
    /// Its price, for a metal of the shelf.
    price: Option<Decimal>,
}

/// Columns and rows of what was asked.
#[derive(Debug, Clone)]
pub(super) struct Table {
    pub(super) columns: Vec<Column>,
    rows: Vec<(Hinder, Row)>,
    lots: usize,
    lots_in_part: bool,
    /// Gold that a gram of each lacks to the aim, in three-thousandths.
    aim: Vec<Decimal>,
    pub(super) division: Division,
    size: Decimal,
}

/// Most divisions above the finished mass that is needed.
const MOST_ABOVE: u32 = 8;

impl Table {
    /// Everything that was asked.
    pub(super) fn of(ask: &BlendAsk) -> Self {
        Self::without(ask, &[])
    }

    /// Everything that was asked but these limits.
    pub(super) fn without(ask: &BlendAsk, dropped: &[Hinder]) -> Self {
        let kept = |hinder: &Hinder| !dropped.contains(hinder);
        let lots_in_part =
            !ask.lots.is_empty() && (ask.goal == Goal::MostOfTheLots || !kept(&Hinder::WholeLots));
        let lots = ask.lots.iter().map(|lot| Column {
            least: if lots_in_part { Mass::ZERO } else { lot.mass },
            most: Some(lot.mass),
            price: Some(Decimal::ZERO),
        });
        let shelf = ask.shelf.iter().enumerate().map(|(place, on)| Column {
            least: Mass::ZERO,
            // What cannot be weighed out of the stock is not there.
            most: on
                .stock
                .filter(|_| kept(&Hinder::Stock(place)))
                .map(|stock| ask.division.floor(stock)),
            price: on.price,
        });
        let columns: Vec<Column> = lots.chain(shelf).collect();
        let each = |coefficient: &dyn Fn(&Composition) -> Decimal| -> Vec<Decimal> {
            let lots = ask.lots.iter().map(|lot| &lot.metal);
            let shelf = ask.shelf.iter().map(|on| &on.metal);
            lots.chain(shelf).map(coefficient).collect()
        };
        let mut rows = Vec::new();
        for hinder in Hinder::of(ask).into_iter().filter(kept) {
            if let Some(share) = Share::of(ask, hinder) {
                rows.push((
                    hinder,
                    Row {
                        each: each(&|metal| share.over(metal)),
                        most: Decimal::ZERO,
                    },
                ));
            } else if let (Hinder::Mass, Some(mass)) = (hinder, ask.mass) {
                let metals = u32::try_from(columns.len()).unwrap_or(MOST_ABOVE);
                let above = ask.division.mass().times(metals.min(MOST_ABOVE));
                rows.push((
                    hinder,
                    Row {
                        each: each(&|_| -Decimal::ONE),
                        most: -mass.grams(),
                    },
                ));
                rows.push((
                    hinder,
                    Row {
                        each: each(&|_| Decimal::ONE),
                        most: (mass + above).grams(),
                    },
                ));
            }
        }
        let all: Mass = ask.lots.iter().map(|lot| lot.mass).sum();
        let mut table = Self {
            columns,
            rows,
            lots: ask.lots.len(),
            lots_in_part,
            aim: each(&|metal| ask.aim.three_thousandths() - metal.three_thousandths(Element::Au)),
            division: ask.division,
            size: all.max(ask.mass.unwrap_or_default()).grams(),
        };
        // More than this no bench weighs; without it a trace of silver in tons of gold makes colour.
        table.rows.push((
            Hinder::Mass,
            Row {
                each: vec![Decimal::ONE; table.columns.len()],
                most: Decimal::from(Mass::LIMIT_GRAMS),
            },
        ));
        if lots_in_part {
            // A blend with next to none of the client's metal is not what was asked.
            let least = ask
                .division
                .mass()
                .grams()
                .max(all.grams() / Decimal::ONE_THOUSAND);
            let row = table.lots_row(least);
            table.rows.push((Hinder::WholeLots, row));
        }
        table.settle();
        table
    }

    /// Bars every metal that can only break a limit, and drops limits that nothing can break, so
    /// that "no nickel" is exact and leaves nothing to draw in.
    fn settle(&mut self) {
        for (_, row) in &self.rows {
            let can_only_break =
                row.most.is_zero() && row.each.iter().all(|each| *each >= Decimal::ZERO);
            if !can_only_break {
                continue;
            }
            for (column, each) in self.columns.iter_mut().zip(&row.each) {
                if each.is_zero() {
                    continue;
                }
                column.most = Some(Mass::ZERO); // below its least, if it must be used
            }
        }
        self.rows.retain(|(_, row)| {
            row.most < Decimal::ZERO || row.each.iter().any(|each| *each > Decimal::ZERO)
        });
    }

    /// Whether lots may be used in part.
    pub(super) fn lots_in_part(&self) -> bool {
        self.lots_in_part
    }

    /// The goal that is least where the most of the lots is used.
    pub(super) fn lots_goal(&self) -> Vec<Decimal> {
        (0..self.columns.len())
            .map(|place| {
                if place < self.lots {
                    -Decimal::ONE
                } else {
                    Decimal::ZERO
                }
            })
            .collect()
    }

    /// The row that asks for so many grams of the lots.
    pub(super) fn lots_row(&self, least: Decimal) -> Row {
        Row {
            each: self.lots_goal(),
            most: -least,
        }
    }

    /// The most grams of the lots that a program has room for.
    pub(super) fn most_of_lots(&self, program: &Program) -> Result<Decimal, Found> {
        match program.least(&self.lots_goal()) {
            Found::Best(masses) => Ok(masses.iter().take(self.lots).sum()),
            other => Err(other),
        }
    }

    /// Costs of the columns to try in turn, none for a metal that is left out: first without the
    /// metals that have no price, then with them at ten times the dearest price known, so that as
    /// little of them is taken as can be.
    pub(super) fn costs(&self) -> Vec<Vec<Option<Decimal>>> {
        let priced: Vec<Option<Decimal>> = self.columns.iter().map(|c| c.price).collect();
        let added = self.columns.iter().skip(self.lots);
        let dearest = added.filter_map(|column| column.price).max();
        let dear = match dearest {
            Some(price) if !price.is_zero() => price * Decimal::TEN,
            _ => Decimal::ONE,
        };
        let all = priced
            .iter()
            .map(|price| Some(price.unwrap_or(dear)))
            .collect();
        if priced.iter().all(Option::is_some) {
            vec![priced]
        } else {
            vec![priced, all]
        }
    }

    /// The aim as two rows; above it by what so many divisions more or less of each metal `used`
    /// could take off the gold.
    pub(super) fn aim_rows(&self, divisions: i64, used: &[Decimal]) -> [Row; 2] {
        let above = self.reach(&self.aim, divisions, used);
        [
            Row {
                each: self.aim.clone(),
                most: -above,
            },
            Row {
                each: self.aim.iter().map(|each| -each).collect(),
                most: above,
            },
        ]
    }

    /// What so many divisions could do to a row, if every metal `used` were rounded against it.
    /// Halves, since rounding to the nearest goes no further than half a division.
    fn reach(&self, each: &[Decimal], divisions: i64, used: &[Decimal]) -> Decimal {
        let step = self.division.mass().grams() * Decimal::from(divisions) / Decimal::TWO;
        each.iter()
            .zip(&self.columns)
            .zip(used)
            .filter(|((_, column), used)| **used > Decimal::ZERO && !column.is_fixed())
            .map(|((each, _), _)| each.abs() * step)
            .sum()
    }

    /// Gold above the aim in these masses, in three-thousandths of a gram.
    pub(super) fn above_aim(&self, masses: &[Mass]) -> Decimal {
        -sum(&self.aim, masses)
    }

    /// The program, every limit drawn in by what so many divisions more or less of each metal
    /// `used` could do to it.
    pub(super) fn program(&self, divisions: i64, used: &[Decimal]) -> Program {
        let rows = self.rows.iter().map(|(_, row)| Row {
            each: row.each.clone(),
            most: row.most - self.reach(&row.each, divisions, used),
        });
        Program {
            rows: rows.collect(),
            bounds: self
                .columns
                .iter()
                .map(|column| (column.least.grams(), column.most.map(Mass::grams)))
                .collect(),
            size: self.size,
        }
    }

    /// Whether these masses meet every limit exactly.
    pub(super) fn holds(&self, masses: &[Mass]) -> bool {
        masses.len() == self.columns.len()
            && self.columns.iter().zip(masses).all(|(column, mass)| {
                *mass >= column.least && column.most.is_none_or(|most| *mass <= most)
            })
            && self
                .rows
                .iter()
                .all(|(_, row)| sum(&row.each, masses) <= row.most)
    }
}

impl Column {
    /// Whether its mass is given.
    pub(super) fn is_fixed(&self) -> bool {
        self.most == Some(self.least)
    }
}

fn sum(each: &[Decimal], masses: &[Mass]) -> Decimal {
    each.iter()
        .zip(masses)
        .map(|(each, mass)| each * mass.grams())
        .sum()
}
