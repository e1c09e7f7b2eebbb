//! The linear program under a blend: rows and bounds in binary floating point, scaled to one.
//!
//! One of the files that count in binary floating point. Nothing that leaves is believed: `blend`
//! rounds it to the division and checks it again exactly. A numerical failure of the solver is
//! told apart from an infeasible program.

use microlp::{ComparisonOp, Error, OptimizationDirection, Problem};
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive as _, ToPrimitive as _};

/// A row: the sum of coefficient times mass, in grams, is at most `most`.
#[derive(Debug, Clone)]
pub(super) struct Row {
    /// One coefficient a column.
    pub(super) each: Vec<Decimal>,
    /// What the sum may be at most.
    pub(super) most: Decimal,
}

/// Least and greatest grams of each column, and the rows.
#[derive(Debug, Clone)]
pub(super) struct Program {
    /// Least and greatest grams of each column; none for no upper bound.
    pub(super) bounds: Vec<(Decimal, Option<Decimal>)>,
    /// The rows.
    pub(super) rows: Vec<Row>,
    /// The mass in grams that counts as one for the solver, above zero.
    pub(super) size: Decimal,
}

/// What the solver found.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Found {
    /// The best grams of each column.
    Best(Vec<Decimal>),
    /// There is none.
    Infeasible,
    /// It could not say.
    Unknown,
}

/// Digits kept of a mass in grams: far finer than any division.
const DECIMALS: u32 = 12;

impl Program {
    /// The grams that make the sum of `goal` times mass least.
    pub(super) fn least(&self, goal: &[Decimal]) -> Found {
        self.solve(goal).unwrap_or(Found::Unknown)
    }

    fn solve(&self, goal: &[Decimal]) -> Option<Found> {
        let size = self.size.to_f64()?;
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let scale = largest(goal)?;
        let mut columns = Vec::with_capacity(self.bounds.len());
        for (place, (low, high)) in self.bounds.iter().enumerate() {
            let low = low.to_f64()? / size;
            let high = match high {
                Some(high) => high.to_f64()? / size,
                None => f64::INFINITY,
            };
            if low > high {
                return Some(Found::Infeasible);
            }
            let cost = goal.get(place)?.to_f64()? / scale;
            columns.push(problem.add_var(cost, (low, high)));
        }
        for row in &self.rows {
            let scale = largest(&row.each)?;
            let mut terms = Vec::with_capacity(columns.len());
            for (column, each) in columns.iter().zip(&row.each) {
                if !each.is_zero() {
                    terms.push((*column, each.to_f64()? / scale));
                }
            }
            let most = row.most.to_f64()? / scale / size;
            if terms.is_empty() {
                if most < 0.0 {
                    return Some(Found::Infeasible);
                }
                continue;
            }
            problem.add_constraint(terms.as_slice(), ComparisonOp::Le, most);
        }
        let solution = match problem.solve() {
            Ok(outcome) => outcome.into_solution().ok()?,
            Err(Error::Infeasible) => return Some(Found::Infeasible),
            Err(_) => return None,
        };
        columns
            .iter()
            .map(|column| {
                let grams = Decimal::from_f64(solution.var_value(*column) * size)?;
                Some(grams.round_dp(DECIMALS).max(Decimal::ZERO))
            })
            .collect::<Option<Vec<_>>>()
            .map(Found::Best)
    }
}

/// The greatest magnitude among the numbers, or one if all are zero.
fn largest(numbers: &[Decimal]) -> Option<f64> {
    let largest = numbers
        .iter()
        .map(Decimal::abs)
        .fold(Decimal::ZERO, Decimal::max);
    if largest.is_zero() {
        return Some(1.0);
    }
    largest.to_f64()
}
