//! Figures as a person reads them: medians, percentiles, aligned columns, and the machine.

use std::time::Duration;

/// Many measurements of one thing, sorted.
pub(crate) struct Sample(Vec<f64>);

impl Sample {
    /// A sample; measurements in any unit.
    pub(crate) fn of(mut values: Vec<f64>) -> Self {
        assert!(!values.is_empty(), "nothing was measured");
        values.sort_by(f64::total_cmp);
        Self(values)
    }

    /// A sample of times, in microseconds.
    pub(crate) fn micros(times: &[Duration]) -> Self {
        Self::of(times.iter().map(|time| time.as_secs_f64() * 1e6).collect())
    }

    /// The value below which this part of the measurements lies.
    pub(crate) fn quantile(&self, part: f64) -> f64 {
        let last = self.0.len() - 1;
        self.0[(part * last as f64).round() as usize]
    }

    pub(crate) fn median(&self) -> f64 {
        self.quantile(0.5)
    }

    pub(crate) fn p99(&self) -> f64 {
        self.quantile(0.99)
    }

    pub(crate) fn lowest(&self) -> f64 {
        self.0[0]
    }

    pub(crate) fn highest(&self) -> f64 {
        self.0[self.0.len() - 1]
    }
}

/// Prints a title, then rows with the first column to the left and the others to the right.
pub(crate) fn print(title: &str, head: &[&str], rows: &[Vec<String>]) {
    let mut widths: Vec<usize> = head.iter().map(|cell| cell.chars().count()).collect();
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let line = |cells: &mut dyn Iterator<Item = &str>| {
        let cells = cells.zip(&widths).enumerate();
        let cells: Vec<String> = cells
            .map(|(place, (cell, width))| match place {
                0 => format!("{cell:<width$}"),
                _ => format!("{cell:>width$}"),
            })
            .collect();
        format!("  {}", cells.join("  "))
    };
    println!("\n{title}");
    println!("{}", line(&mut head.iter().copied()));
    for row in rows {
        println!("{}", line(&mut row.iter().map(String::as_str)));
    }
}

/// The machine and the moment's load, in a line.
pub(crate) fn machine() -> String {
    let read = |path: &str| std::fs::read_to_string(path).unwrap_or_default();
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    let kernel = read("/proc/sys/kernel/osrelease");
    let load = read("/proc/loadavg");
    let load = load.split(' ').next().unwrap_or_default();
    format!(
        "{cores} cores, Linux {}, load {load} at the start; a shared machine shows in the 99th percentiles",
        kernel.trim()
    )
}
