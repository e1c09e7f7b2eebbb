//! The beam in text: a balance beam whose tip must come to rest in a slot of a post.
//!
//! Promises: the tip's height says how far the pan is from its window, on a logarithmic scale, so
//! that the last division is seen as clearly as the first gram; nothing is said by colour; every
//! line fits the width. Leaves to others: when it is drawn, and where (`screen`).

use unicode_width::UnicodeWidthStr as _;

use super::shown::Shown;
use crate::trouble::is_harmful;

/// Rows above and below the middle of the slot.
const REACH: i32 = 4;
/// Half the height of the slot, in rows.
const SLOT: f64 = 1.5;
/// So many powers of ten of divisions from the window is as far as the beam can tilt.
const DECADES: f64 = 4.0;
/// Narrower than this there is no beam.
pub(super) const NARROWEST: usize = 40;

/// The characters that a terminal can show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Strokes {
    /// Box drawing and blocks, as every terminal font has them.
    Fine,
    /// ASCII alone.
    Plain,
}

impl Strokes {
    /// A stroke at this part of its row, 0 at its top to 1 at its foot.
    fn at(self, part: f64) -> char {
        let [top, middle, foot] = match self {
            Self::Fine => ['▔', '─', '▁'],
            Self::Plain => ['\'', '-', '_'],
        };
        match part {
            part if part < 1.0 / 3.0 => top,
            part if part < 2.0 / 3.0 => middle,
            _ => foot,
        }
    }

    fn post(self) -> char {
        match self {
            Self::Fine => '║',
            Self::Plain => '|',
        }
    }

    fn thread(self) -> char {
        match self {
            Self::Fine => '│',
            Self::Plain => '|',
        }
    }

    fn pivot(self) -> char {
        match self {
            Self::Fine => '△',
            Self::Plain => '^',
        }
    }
}

/// How high the tip stands, in rows above the middle of the slot: inside the window it moves with
/// the mass, outside it by powers of ten of the division.
pub(super) fn height(shown: &Shown) -> Option<f64> {
    let (net, window) = (shown.net?, shown.window?);
    let away = |distance: f64| {
        let tens = (1.0 + distance / shown.division).log10().min(DECADES);
        SLOT + tens / DECADES * (f64::from(REACH) - SLOT)
    };
    Some(if net < window.lower {
        -away(window.lower - net)
    } else if net > window.upper {
        away(net - window.upper)
    } else {
        let half = (window.upper - window.lower) / 2.0;
        if half > 0.0 {
            (net - window.lower - half) / half * (SLOT - 0.5)
        } else {
            0.0
        }
    })
}

/// The beam and its post, one string a row.
pub(super) fn beam(shown: &Shown, width: usize, strokes: Strokes) -> Vec<String> {
    let words = 8; // behind the post: under, over, slot
    let post = width.saturating_sub(words + 2).max(20);
    let tip = post - 2;
    let pivot = tip / 3;
    let height = height(shown);
    let mut rows: Vec<Vec<char>> = (-REACH..=REACH).map(|_| vec![' '; post + 1]).collect();
    let mut set = |row: f64, column: usize, mark: Option<char>| {
        let from_top = f64::from(REACH) + 0.5 - row;
        let at = from_top.floor();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        if at >= 0.0
            && let Some(cell) = rows
                .get_mut(at as usize)
                .and_then(|row| row.get_mut(column))
        {
            *cell = mark.unwrap_or_else(|| strokes.at(from_top - at));
        }
    };
    for row in -REACH..=REACH {
        if shown.window.is_none() || f64::from(row.abs()) >= SLOT {
            set(f64::from(row), post, Some(strokes.post()));
        }
    }
    let level = height.unwrap_or(0.0);
    for column in 2..=tip {
        // Left of the pivot the beam goes the other way.
        #[allow(clippy::cast_precision_loss)]
        let along = (column as f64 - pivot as f64) / (tip - pivot) as f64;
        set(level * along, column, None);
    }
    // The pan hangs from the other end, one and two rows lower.
    #[allow(clippy::cast_precision_loss)]
    let end = -level * (pivot - 3) as f64 / (tip - pivot) as f64;
    set(end - 1.0, 3, Some(strokes.thread()));
    for (column, mark) in ["\\", "_", "_", "_", "_", "_", "/"].iter().enumerate() {
        set(end - 2.0, column, mark.chars().next());
    }
    set(-1.0, pivot, Some(strokes.pivot()));
    let mut lines: Vec<String> = rows.into_iter().map(String::from_iter).collect();
    if shown.window.is_some() {
        for (row, word) in [(-REACH, "over"), (0, "within"), (REACH, "under")] {
            // From the top: over is what is too heavy, and lifts the tip.
            let at = usize::try_from(REACH + row).unwrap_or(0);
            if let Some(line) = lines.get_mut(at) {
                line.push(' ');
                line.push_str(word);
            }
        }
    }
    lines
        .iter()
        .map(|line| line.trim_end().to_owned())
        .collect()
}

/// Everything that is shown of a bench, in lines no wider than `width`.
pub(super) fn lines(shown: &Shown, width: usize, strokes: Strokes) -> Vec<String> {
    let mut lines = vec![cut(
        &format!("{}   [ {} ]   {}", shown.bench, shown.unit, shown.link),
        width,
    )];
    match &shown.hold {
        Some(hold) => {
            let hatch = "/ ".repeat(width / 2);
            lines.push(hatch.clone());
            lines.push("HOLD: nothing is captured.".to_owned());
            lines.extend(wrapped(hold, width));
            lines.push(hatch);
        }
        None => {
            lines.extend(beam(shown, width, strokes));
            lines.extend(wrapped(&shown.sentence, width));
        }
    }
    lines.push(String::new());
    lines.extend(wrapped(&shown.figures(), width));
    lines
}

/// What must be read, in as few rows as there are: what to do first, then the pan.
pub(super) fn short_lines(shown: &Shown, width: usize, rows: usize) -> Vec<String> {
    let said = match &shown.hold {
        Some(hold) => format!("HOLD: {hold}"),
        None => shown.sentence.clone(),
    };
    let mut lines = wrapped(&said, width);
    lines.extend(wrapped(&shown.figures(), width));
    lines.truncate(rows.max(1));
    lines
}

/// Words in lines no wider than `width`.
pub(super) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.width() + 1 + word.width() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(cut(word, width)),
        }
    }
    lines
}

/// The first part of a text that fits.
pub(super) fn cut(text: &str, width: usize) -> String {
    let mut room = width;
    text.chars()
        .filter(|c| !is_harmful(*c))
        .take_while(|c| {
            let wide = unicode_width::UnicodeWidthChar::width(*c).unwrap_or(0);
            let fits = wide <= room;
            room = room.saturating_sub(wide);
            fits
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod tests {
    use super::super::shown::Edges;
    use super::*;

    fn at(net: f64) -> Shown {
        Shown {
            bench: "one".to_owned(),
            unit: "grams".to_owned(),
            net: Some(net),
            division: 0.01,
            window: Some(Edges {
                lower: 2.32,
                upper: 2.42,
            }),
            ..Shown::default()
        }
    }

    #[test]
    fn the_tip_rises_with_the_mass_and_the_last_division_is_seen() {
        let heights: Vec<f64> = [0.0, 1.0, 2.2, 2.31, 2.32, 2.37, 2.42, 2.43, 3.0, 50.0]
            .iter()
            .map(|net| height(&at(*net)).unwrap())
            .collect();
        assert!(heights.is_sorted(), "{heights:?}");
        // One division outside the window stands clear of the slot, and of two divisions.
        assert!(heights[3] < -SLOT && heights[4] > -SLOT && heights[7] > SLOT);
        assert!(height(&at(2.31)).unwrap() - height(&at(2.30)).unwrap() > 0.1);
        assert!(
            heights
                .iter()
                .all(|height| height.abs() <= f64::from(REACH))
        );
    }

    #[test]
    fn the_beam_is_drawn_as_wide_as_the_terminal_and_tilts() {
        for strokes in [Strokes::Fine, Strokes::Plain] {
            for width in [40, 57, 80, 200] {
                for net in [0.0, 2.37, 9.0] {
                    for line in lines(&at(net), width, strokes) {
                        assert!(line.width() <= width, "{width}: {line}");
                    }
                }
            }
        }
        let tip_row = |net| {
            let rows = beam(&at(net), 60, Strokes::Plain);
            rows.iter()
                .position(|row| row.chars().nth(47).is_some_and(|mark| mark != ' '))
                .unwrap()
        };
        assert!(tip_row(0.0) > tip_row(2.37) && tip_row(2.37) > tip_row(9.0));
    }

    #[test]
    fn a_small_terminal_says_what_to_do_first() {
        let shown = Shown {
            sentence: "Add 0.08 grams more of fine silver.".to_owned(),
            ..at(2.2)
        };
        for width in [20, 30, 60] {
            let lines = short_lines(&shown, width, 5);
            assert!(
                lines.len() <= 5 && lines[0].starts_with("Add 0.08"),
                "{lines:?}"
            );
            assert!(lines.iter().all(|line| line.width() <= width), "{lines:?}");
        }
    }

    #[test]
    fn a_hold_hides_the_beam_and_says_what_to_do() {
        let held = Shown {
            hold: Some("The balance shows carats. Set it back to grams.".to_owned()),
            ..at(2.37)
        };
        let text = lines(&held, 60, Strokes::Plain).join("\n");
        assert!(
            text.contains("HOLD") && text.contains("Set it back"),
            "{text}"
        );
        assert!(!text.contains('^'), "{text}");
    }
}
