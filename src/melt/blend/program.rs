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

/// How far, of the size of the program and of the greatest coefficient, a row may be missed and
/// still count as met: the solver's own tolerance.
const MISSED: f64 = 1e-7;

impl Program {
    /// The grams that make the sum of `goal` times mass least.
    ///
    /// Where the solver fails in its numbers, as it can on rows that next to contradict each other,
    /// the least by which the rows are missed says whether there is an answer at all: that
    /// program always has one.
    pub(super) fn least(&self, goal: &[Decimal]) -> Found {
        match self.solve(goal, false) {
            Ok(found) => found,
            Err(_) => match self.solve(goal, true) {
                Ok(Found::Infeasible) => Found::Infeasible,
                _ => Found::Unknown,
            },
        }
    }

    /// Solves for the goal; or, if `missing`, for the least by which the rows are missed in all,
    /// which is infeasible if they must be missed.
    fn solve(&self, goal: &[Decimal], missing: bool) -> Result<Found, Failed> {
        let size = number(self.size)?;
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let scale = largest(goal)?;
        let mut columns = Vec::with_capacity(self.bounds.len());
        for ((low, high), cost) in self.bounds.iter().zip(goal) {
            let low = number(*low)? / size;
            let high = match high {
                Some(high) => number(*high)? / size,
                None => f64::INFINITY,
            };
            if low > high {
                return Ok(Found::Infeasible);
            }
            let cost = if missing { 0.0 } else { number(*cost)? / scale };
            columns.push(problem.add_var(cost, (low, high)));
        }
        for row in &self.rows {
            let scale = largest(&row.each)?;
            let mut terms = Vec::with_capacity(columns.len());
            for (column, each) in columns.iter().zip(&row.each) {
                if !each.is_zero() {
                    terms.push((*column, number(*each)? / scale));
                }
            }
            let most = number(row.most)? / scale / size;
            if terms.is_empty() {
                if most < 0.0 {
                    return Ok(Found::Infeasible);
                }
                continue;
            }
            if missing {
                terms.push((problem.add_var(1.0, (0.0, f64::INFINITY)), -1.0));
            }
            problem.add_constraint(terms.as_slice(), ComparisonOp::Le, most);
        }
        let solution = match problem.solve() {
            Ok(outcome) => outcome.into_solution().map_err(|_| Failed)?,
            Err(Error::Infeasible) => return Ok(Found::Infeasible),
            Err(_) => return Err(Failed),
        };
        if missing && solution.objective() > MISSED {
            return Ok(Found::Infeasible);
        }
        let mut masses = Vec::with_capacity(columns.len());
        for column in columns {
            let grams = Decimal::from_f64(solution.var_value(column) * size).ok_or(Failed)?;
            masses.push(grams.round_dp(DECIMALS).max(Decimal::ZERO));
        }
        Ok(Found::Best(masses))
    }
}

/// The solver failed in its numbers.
struct Failed;

fn number(decimal: Decimal) -> Result<f64, Failed> {
    decimal.to_f64().ok_or(Failed)
}

/// The greatest magnitude among the numbers, or one if all are zero.
fn largest(numbers: &[Decimal]) -> Result<f64, Failed> {
    let magnitudes = numbers.iter().map(Decimal::abs);
    let largest = magnitudes.fold(Decimal::ZERO, Decimal::max);
    if largest.is_zero() {
        return Ok(1.0);
    }
    number(largest)
}
