//! `panbell check-weight`: weigh a check weight, or show how the balance drifted by them.

use std::collections::BTreeMap;

use clap::Args;
use rust_decimal::Decimal;
use serde::Serialize;

use super::client::order;
use super::output::Output;
use super::{Common, Ended, OnArgs};
use crate::book::{BookView, JobName};
use crate::job::{CheckEntry, CheckVerdict, Verdict, scan};
use crate::mass::{CheckWeight as Weight, Indication, fixed};
use crate::serve::OrderBody;
use crate::trouble::Trouble;

/// The next load at rest is the check weight.
#[derive(Debug, Args)]
pub(super) struct CheckWeight {
    #[command(flatten)]
    on: OnArgs,
    /// Its nominal mass, if it is not the one of the settings: "20 g"
    #[arg(long, value_name = "MASS")]
    mass: Option<String>,
    /// Its class: E1, E2, F1, F2, M1, M2 or M3
    #[arg(long, value_name = "CLASS", requires = "mass")]
    class: Option<String>,
    /// How well it is known, if it has no class: "5 mg"
    #[arg(long, value_name = "MASS", requires = "mass", conflicts_with = "class")]
    within: Option<String>,
    /// Show what check weights were shown as, month by month
    #[arg(long, conflicts_with_all = ["mass", "class", "within"])]
    table: bool,
}

impl CheckWeight {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        if self.table {
            let book = BookView::of(&common.reading_folders()?.book);
            return table(&book, self.on.bench.bench.as_deref(), output);
        }
        let weight = self.weight()?.map(|weight| weight.to_string());
        order(common, &self.on, output, OrderBody::CheckWeight { weight })
    }

    fn weight(&self) -> Result<Option<Weight>, Trouble> {
        let Some(mass) = &self.mass else {
            return Ok(None);
        };
        let text = match (&self.class, &self.within) {
            (Some(class), _) => format!("{mass} {class}"),
            (None, Some(within)) => format!("{mass} within {within}"),
            (None, None) => {
                return Err(Trouble::new(
                    "check-weight-unreadable",
                    format!("Nothing says how well {mass} is known."),
                    "No balance is checked with it.",
                    "Give its class with --class, or how well it is known with --within.",
                ));
            }
        };
        text.parse().map(Some)
    }
}

/// A row of the table: a month of one weight on one bench.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct Row {
    month: String,
    bench: String,
    weight: String,
    count: u32,
    mean_deviation: String,
    largest_deviation: String,
    limit: String,
    outside: u32,
    other_unit: u32,
}

#[derive(serde::Deserialize)]
struct Line {
    at: String,
    #[serde(flatten)]
    entry: CheckEntry,
}

fn table(book: &BookView, bench: Option<&str>, output: &Output) -> Result<Ended, Trouble> {
    let name = JobName::check_weights();
    let bytes = if book.path(&name).exists() {
        book.read(&name)?
    } else {
        Vec::new()
    };
    let scan = scan(&bytes);
    let months = months(
        scan.lines.iter().filter_map(|line| bytes.get(line.clone())),
        bench,
    );
    let mut text = if months.is_empty() {
        "No check weight was weighed yet.".to_owned()
    } else {
        drawn(&months)
    };
    let mut ended = Ended::Done;
    if let Verdict::Damaged { line, why } = &scan.verdict {
        text = format!(
            "{text}\nThe book of check weights is damaged at line {line}: {}; nothing behind it is shown.",
            why.words()
        );
        ended = Ended::Warning;
    }
    output.say(&text, &months);
    Ok(ended)
}

/// Every month of every weight and bench, oldest first. What was shown in another unit is counted,
/// and is no deviation.
fn months<'a>(lines: impl Iterator<Item = &'a [u8]>, bench: Option<&str>) -> Vec<Row> {
    let mut groups: BTreeMap<(String, String, String, String), Vec<crate::job::Checked>> =
        BTreeMap::new();
    for Line { at, entry } in lines.filter_map(|line| serde_json::from_slice(line).ok()) {
        let CheckEntry::CheckWeight { bench: of, checked } = entry;
        if bench.is_none_or(|wanted| wanted == of) {
            let month = at.get(..7).unwrap_or(&at).to_owned();
            let (weight, limit) = (checked.weight.to_string(), checked.limit.to_string());
            groups
                .entry((month, of, weight, limit))
                .or_default()
                .push(checked);
        }
    }
    groups
        .into_iter()
        .map(|((month, bench, weight, limit), all)| {
            let count = |verdict| {
                all.iter()
                    .filter(|checked| checked.verdict == verdict)
                    .count()
            };
            let weighed: Vec<Indication> = all
                .iter()
                .filter(|checked| checked.verdict != CheckVerdict::OtherUnit)
                .map(|checked| checked.deviation)
                .collect();
            let sum: Decimal = weighed.iter().map(|deviation| deviation.digits()).sum();
            let told = |digits: Decimal| {
                let scale = weighed.first().map_or(0, |first| first.digits().scale());
                let unit = weighed.first().map_or("", |first| first.unit().symbol());
                format!("{:+} {unit}", fixed(digits, scale))
            };
            let largest = weighed
                .iter()
                .map(|deviation| deviation.digits())
                .max_by_key(Decimal::abs);
            Row {
                month,
                bench,
                weight,
                count: number(all.len()),
                mean_deviation: (sum.checked_div(Decimal::from(weighed.len())))
                    .map_or_else(String::new, told),
                largest_deviation: largest.map_or_else(String::new, told),
                limit,
                outside: number(count(CheckVerdict::Off)),
                other_unit: number(count(CheckVerdict::OtherUnit)),
            }
        })
        .collect()
}

fn number(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

fn drawn(months: &[Row]) -> String {
    let head = [
        "month",
        "bench",
        "weight",
        "times",
        "mean",
        "largest",
        "limit",
        "in limits?",
    ]
    .map(str::to_owned);
    let mut rows = vec![head];
    for month in months {
        let verdict = match (month.outside, month.other_unit) {
            (0, 0) => "yes".to_owned(),
            (0, units) => format!("yes; {units} in another unit"),
            (off, 0) => format!("{off} outside"),
            (off, units) => format!("{off} outside; {units} in another unit"),
        };
        rows.push([
            month.month.clone(),
            month.bench.clone(),
            month.weight.clone(),
            month.count.to_string(),
            month.mean_deviation.clone(),
            month.largest_deviation.clone(),
            month.limit.clone(),
            verdict,
        ]);
    }
    let mut widths = [0; 8];
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let lines: Vec<String> = rows
        .iter()
        .map(|row| {
            let cells = row.iter().zip(widths);
            let cells: Vec<String> = cells
                .map(|(cell, width)| format!("{cell:<width$}"))
                .collect();
            cells.join("  ").trim_end().to_owned()
        })
        .collect();
    lines.join("\n")
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod tests {
    use super::*;

    fn line(at: &str, shown: &str, deviation: &str, verdict: &str) -> String {
        format!(
            r#"{{"n":1,"at":"{at}","event":"check-weight","bench":"bench","weight":"20 g F2","limit":"0.0308 g","shown":"{shown} g","deviation":"{deviation} g","verdict":"{verdict}","raw":"{shown}","chain":"00"}}"#
        )
    }

    #[test]
    fn months_are_told_apart_and_another_unit_is_no_deviation() {
        let lines = [
            line("2026-01-05T08:00:00Z", "20.00", "0.0000", "agreed"),
            line("2026-01-06T08:00:00Z", "20.01", "0.0100", "agreed"),
            line("2026-01-07T08:00:00Z", "100.00", "80.0000", "other-unit"),
            line("2026-02-05T08:00:00Z", "19.95", "-0.0500", "off"),
        ];
        let months = months(lines.iter().map(String::as_bytes), Some("bench"));
        assert_eq!(months.len(), 2);
        assert_eq!(months[0].mean_deviation, "+0.0050 g");
        assert_eq!(months[0].largest_deviation, "+0.0100 g");
        assert_eq!((months[0].count, months[0].other_unit), (3, 1));
        assert_eq!(
            (months[1].largest_deviation.as_str(), months[1].outside),
            ("-0.0500 g", 1)
        );
        assert!(drawn(&months).lines().count() == 3);
        assert!(self::months(lines.iter().map(String::as_bytes), Some("other")).is_empty());
    }
}
