//! Writing lines of any layout: what a balance file reads, a pretend balance can speak.
//!
//! Promises: a line that is written is read back by the same layout as exactly the digits, unit
//! and steadiness that were meant; what cannot be said in a layout is not written. Leaves to
//! others: taking a form apart (`form`), when a line is sent, and lines without a mass.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;

use super::form::{Part, Skeleton, skeletons};
use super::physics::Showing;
use super::sign::{SignText, filled, signs};
use crate::balance::{Digits, FrameSpec, Layout, LayoutSpec, Sign, symbol_bytes};
use crate::mass::{Shown, Status, Unit};
use crate::trouble::Trouble;

/// The widest field that is tried for a value, a unit, a status.
const WIDEST: (usize, usize, usize) = (16, 6, 4);

/// Writes lines that a layout reads.
#[derive(Debug)]
pub struct LayoutWriter {
    layout: Layout,
    spec: LayoutSpec,
    frame: FrameSpec,
    skeletons: Vec<Skeleton>,
    /// How signs are written: above zero and below it, each before the digits and behind them.
    signs: Vec<[SignText; 2]>,
    /// The way that worked last; most lines are written the same way.
    last: Way,
}

/// One way of filling a skeleton.
#[derive(Debug, Clone, Copy, Default)]
struct Way {
    skeleton: usize,
    /// Places of the value, and what stands in front of its digits.
    width: usize,
    zeros: bool,
    sign: usize,
    symbol: usize,
    unit_width: usize,
    word: usize,
    word_width: usize,
}

impl LayoutWriter {
    /// A writer for a layout.
    ///
    /// # Errors
    /// When the layout does not compile, or when no line of it could be found.
    pub fn new(
        spec: &LayoutSpec,
        frame: FrameSpec,
        unit: Unit,
        decimals: u32,
    ) -> Result<Self, Trouble> {
        let layout = Layout::compile(spec)?;
        let mut writer = Self {
            layout,
            spec: spec.clone(),
            frame,
            skeletons: skeletons(&spec.line).unwrap_or_default(),
            signs: signs(spec),
            last: Way::default(),
        };
        let samples = [(0, true), (0, false), (1234, false), (123_456, true)];
        // Counts have an end, and a small one.
        let most = if spec.digits.are_counts() { 3 } else { 4 };
        for (count, moving) in samples.into_iter().take(most) {
            let showing = Showing {
                digits: Decimal::new(count, decimals),
                unit,
                moving,
            };
            if writer.write(&showing).is_none() {
                return Err(beyond(&showing));
            }
        }
        Ok(writer)
    }

    /// A line for what is shown, framed; none when the layout has no words for it.
    pub fn write(&mut self, showing: &Showing) -> Option<Vec<u8>> {
        let fills = self.fills(showing);
        let line = self
            .try_way(self.last, &fills, showing)
            .or_else(|| self.search(&fills, showing))?;
        Some(self.frame.wrap(&line))
    }

    fn fills(&self, showing: &Showing) -> Fills {
        let words = |table: &[(String, Status)], wanted: &[Status]| {
            let found: Vec<Vec<u8>> = table
                .iter()
                .filter(|(_, status)| wanted.contains(status))
                .map(|(word, _)| symbol_bytes(word))
                .collect();
            // Where a layout has no word for it, the line says nothing of it.
            if found.is_empty() {
                vec![Vec::new()]
            } else {
                found
            }
        };
        let units: Vec<Vec<u8>> = self
            .spec
            .units
            .iter()
            .filter(|(_, unit)| *unit == showing.unit)
            .map(|(symbol, _)| symbol_bytes(symbol))
            .collect();
        let kinds = self.spec.kinds.iter();
        let mut said = words(&self.spec.statuses, wanted(showing));
        // A word that is both sign and status may have no entry as a status.
        if !self.spec.line.contains("(?<sign>") || self.spec.line.contains("(?<status>(?<sign>") {
            let wanted = if showing.digits < Decimal::ZERO {
                Sign::Minus
            } else {
                Sign::Plus
            };
            let signs = self.spec.signs.iter().filter(|(_, sign)| *sign == wanted);
            said.extend(signs.map(|(symbol, _)| symbol_bytes(symbol)));
        }
        Fills {
            kind: kinds
                .filter(|(_, kind)| *kind == self.spec.takes)
                .map(|(symbol, _)| symbol_bytes(symbol))
                .next()
                .unwrap_or_default(),
            digits: self.digits(showing.digits.abs()),
            negative: showing.digits < Decimal::ZERO,
            units: if units.is_empty() {
                vec![showing.unit.symbol().as_bytes().to_vec()]
            } else {
                units
            },
            words: said,
        }
    }

    /// Digits with the layout's marks.
    fn digits(&self, value: Decimal) -> String {
        let text = value.to_string();
        let (whole, decimals) = text.split_once('.').unwrap_or((&text, ""));
        let mut out = String::new();
        for (at, digit) in whole.chars().enumerate() {
            if let Some(mark) = self.spec.thousands
                && at > 0
                && (whole.len() - at).is_multiple_of(3)
            {
                out.push(char::from(mark));
            }
            out.push(digit);
        }
        if !decimals.is_empty() {
            out.push(char::from(self.spec.decimal));
            out.push_str(decimals);
        }
        out
    }

    /// The value as it stands in its field.
    fn value(&self, digits: &str, sign: &[u8], way: Way, showing: &Showing) -> Option<Vec<u8>> {
        let mut digits = digits.to_owned();
        if let Some(factor) = self.spec.factor {
            let mut count = showing.digits.checked_div(factor)?;
            if !count.fract().is_zero() {
                return None;
            }
            let width = way.width.clamp(1, Digits::MOST_OF_COUNT);
            if self.spec.digits == Digits::HexadecimalSigned {
                if count < Decimal::ZERO {
                    count += Decimal::from(1_u64 << (4 * width));
                }
            } else {
                count = count.abs();
            }
            let count = count.to_u64()?;
            digits = format!("{count:0width$X}");
        }
        // Two's complement is its own sign.
        let own = self.spec.digits == Digits::HexadecimalSigned;
        let sign = if own { b"" } else { sign };
        let mut out = filled(&digits, sign, way.width, way.zeros);
        if self.spec.digits == Digits::LastFirst {
            out.reverse();
        }
        Some(out)
    }

    fn search(&mut self, fills: &Fills, showing: &Showing) -> Option<Vec<u8>> {
        for skeleton in 0..self.skeletons.len() {
            let has = |name: &str| {
                let named = |part: &Part| matches!(part, Part::Hole(hole) if hole == name);
                self.skeletons
                    .get(skeleton)
                    .is_some_and(|parts| parts.iter().any(named))
            };
            if !has("value") {
                continue;
            }
            // What has no hole is not varied.
            let (units, unit_widths) = if has("unit") {
                (fills.units.len(), WIDEST.1)
            } else {
                (1, 0)
            };
            let (words, word_widths) = if has("status") {
                (fills.words.len(), WIDEST.2)
            } else {
                (1, 0)
            };
            for (symbol, unit_width) in pairs(units, unit_widths) {
                for (word, word_width) in pairs(words, word_widths) {
                    for (sign, zeros) in pairs(self.signs.len(), 1) {
                        for width in 0..=WIDEST.0 {
                            let way = Way {
                                skeleton,
                                width,
                                zeros: zeros == 1,
                                sign,
                                symbol,
                                unit_width,
                                word,
                                word_width,
                            };
                            if let Some(line) = self.try_way(way, fills, showing) {
                                self.last = way;
                                return Some(line);
                            }
                        }
                    }
                }
            }
        }
        None
    }

    /// The line that one way gives, if it is read back as what is shown.
    fn try_way(&mut self, way: Way, fills: &Fills, showing: &Showing) -> Option<Vec<u8>> {
        let skeleton = self.skeletons.get(way.skeleton)?;
        let has = |hole: &str| {
            skeleton
                .iter()
                .any(|part| matches!(part, Part::Hole(name) if name == hole))
        };
        let apart = has("sign") || !self.spec.signs.is_empty();
        // The last digit, where it stands by itself; the value is one place shorter then.
        let (digits, fine) = match fills
            .digits
            .split_at_checked(fills.digits.len().saturating_sub(1))
        {
            Some(parts) if has("fine") => parts,
            _ => (fills.digits.as_str(), ""),
        };
        let [positive, negative] = self.signs.get(way.sign)?;
        let sign = if fills.negative { negative } else { positive };
        let mut line = Vec::new();
        for part in skeleton {
            match part {
                Part::Fixed(bytes) => line.extend(bytes),
                Part::Hole(name) => match name.as_str() {
                    "sign" => line.extend(&sign.before),
                    "close" => line.extend(&sign.behind),
                    "value" => {
                        let sign = if apart { &b""[..] } else { &sign.before };
                        line.extend(self.value(digits, sign, way, showing)?);
                    }
                    "fine" => line.extend(fine.bytes()),
                    "kind" => line.extend(&fills.kind),
                    "unit" => pad(&mut line, fills.units.get(way.symbol)?, way.unit_width),
                    "status" => pad(&mut line, fills.words.get(way.word)?, way.word_width),
                    _ => return None,
                },
            }
        }
        let reading = self.layout.read(&line).ok()?;
        let digits = match reading.shown {
            Shown::Weighed(seen) if seen.unit() == showing.unit => seen.digits(),
            Shown::UnitUnstated(digits) if !self.layout.states_unit() => digits,
            Shown::SignUnproven(digits) if !self.layout.proves_sign() => digits,
            // A unit that the layout does not know is shown as one, as a balance would.
            Shown::UnitUnknown(digits)
                if !self
                    .spec
                    .units
                    .iter()
                    .any(|(_, unit)| *unit == showing.unit) =>
            {
                digits
            }
            _ => return None,
        };
        let same = digits == showing.digits && digits.scale() == showing.digits.scale();
        let says = reading.status == Status::Unsaid || wanted(showing).contains(&reading.status);
        (same && says).then_some(line)
    }
}

/// The statuses that fit what is shown.
fn wanted(showing: &Showing) -> &'static [Status] {
    if showing.moving {
        &[Status::InMotion]
    } else if showing.digits.is_zero() {
        &[Status::Stable, Status::StableAtZero]
    } else {
        &[Status::Stable]
    }
}

/// What goes into the holes of a line.
struct Fills {
    kind: Vec<u8>,
    digits: String,
    negative: bool,
    units: Vec<Vec<u8>>,
    words: Vec<Vec<u8>>,
}

fn pad(line: &mut Vec<u8>, text: &[u8], width: usize) {
    line.extend(text);
    line.extend(std::iter::repeat_n(b' ', width.saturating_sub(text.len())));
}

/// Every pair of one below `first` and one up to `last`.
fn pairs(first: usize, last: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..first).flat_map(move |one| (0..=last).map(move |other| (one, other)))
}

fn beyond(showing: &Showing) -> Trouble {
    let moving = if showing.moving { " in motion" } else { "" };
    Trouble::new(
        "layout-not-writable",
        format!(
            "No line of this layout was found that says {} {}{moving}.",
            showing.digits, showing.unit
        ),
        "The pretend balance cannot speak it; nothing was started.",
        "See whether the form leaves room for that many digits and names its unit, and keep it to plain characters, classes, groups and counts.",
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::port::shape;

    fn showing(digits: &str, unit: Unit, moving: bool) -> Showing {
        Showing {
            digits: digits.parse().unwrap(),
            unit,
            moving,
        }
    }

    fn spec(line: &str, decimal: u8, statuses: &[(&str, Status)]) -> LayoutSpec {
        let units = [("g", Unit::Gram), ("ct", Unit::Carat), ("GN", Unit::Grain)];
        LayoutSpec {
            line: line.to_owned(),
            decimal,
            units: units.map(|(s, u)| (s.to_owned(), u)).to_vec(),
            statuses: statuses
                .iter()
                .map(|(s, u)| ((*s).to_owned(), *u))
                .collect(),
            ..LayoutSpec::default()
        }
    }

    fn line(writer: &mut LayoutWriter, digits: &str, unit: Unit, moving: bool) -> String {
        let bytes = writer.write(&showing(digits, unit, moving)).unwrap();
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn forms_of_many_kinds_are_written_as_they_are_read() {
        let stable = [("V", Status::Stable), ("Y", Status::InMotion)];
        let star = [("*", Status::Stable)];
        for (form, decimal, statuses, at_rest, below) in [
            (
                r"(?<sign>[+-])/(?<value>[ 0-9.]{11})/(?<unit>[!-~ ]{5})",
                b'.',
                &[][..],
                "+/      12.34/g    \r\n",
                "-/       0.05/ct   \r\n",
            ),
            (
                r"(?<status>[VY])(?<value>-?[0-9]{5},[0-9]{2})(?<unit>\S+)",
                b',',
                &stable,
                "V00012,34g\r\n",
                "Y-00000,05ct\r\n",
            ),
            (
                r"W=(?<value>[+-][0-9.]+)",
                b'.',
                &[],
                "W=+12.34\r\n",
                "W=-0.05\r\n",
            ),
            (
                r"(?:load|all) (?<status>[* ]) (?<value>[ 0-9.-]{8})(?<unit>[a-zA-Z ]{3})",
                b'.',
                &star,
                "load *    12.34g  \r\n",
                "load      -0.05ct \r\n",
            ),
            (
                r"(?<value>[0-9.-]+) (?<unit>\w+)(?:,(?<status>\w))?",
                b'.',
                &stable,
                "12.34 g,V\r\n",
                "-0.05 ct,Y\r\n",
            ),
        ] {
            let mut writer = LayoutWriter::new(
                &spec(form, decimal, statuses),
                FrameSpec::default(),
                Unit::Gram,
                2,
            )
            .unwrap();
            assert_eq!(
                line(&mut writer, "12.34", Unit::Gram, false),
                at_rest,
                "{form}"
            );
            assert_eq!(
                line(&mut writer, "-0.05", Unit::Carat, true),
                below,
                "{form}"
            );
            assert_eq!(
                line(&mut writer, "12.34", Unit::Gram, false),
                at_rest,
                "{form}"
            );
        }
    }

    #[test]
    fn signs_and_digits_of_every_kind_are_written_as_they_are_read() {
        use Digits::{Hexadecimal, HexadecimalSigned, LastFirst, Plain};
        let letters = [("P", Sign::Plus), ("N", Sign::Minus)];
        let brackets = [("", Sign::Plus), ("()", Sign::Minus)];
        let words = [
            ("NS", Sign::Minus),
            ("NU", Sign::Minus),
            ("S", Sign::Plus),
            ("D", Sign::Plus),
        ];
        let stable = [("S", Status::Stable), ("D", Status::InMotion)];
        for (form, digits, signs, statuses, at_rest, below) in [
            (
                "(?<sign>[PN]) (?<value>[ 0-9.]{8}) (?<unit>[a-z]+)",
                Plain,
                &letters[..],
                &[][..],
                "P    12.34 g",
                "N     0.05 g",
            ),
            (
                "(?<sign>[(]?)(?<value>[0-9.]+)(?<close>[)]?) (?<unit>[a-z]+)",
                Plain,
                &brackets,
                &[],
                "12.34 g",
                "(0.05) g",
            ),
            (
                "(?<value>[0-9.]+) (?<unit>[a-z]+)(?<sign>[+-])",
                Plain,
                &[],
                &[],
                "12.34 g+",
                "0.05 g-",
            ),
            (
                "(?<status>(?<sign>NS|NU|S|D)) (?<value>[0-9.]+) (?<unit>[a-z]+)",
                Plain,
                &words,
                &stable,
                "S 12.34 g",
                "NS 0.05 g",
            ),
            (
                "=(?<value>[0-9.+-]+) (?<unit>[a-z]+)",
                LastFirst,
                &[],
                &[],
                "=43.21 g",
                "=50.0- g",
            ),
            (
                "(?<value>-?[0-9A-F]{4}) (?<unit>[a-z]+)",
                Hexadecimal,
                &[],
                &[],
                "04D2 g",
                "-0005 g",
            ),
            (
                "(?<value>[0-9A-F]{4}) (?<unit>[a-z]+)",
                HexadecimalSigned,
                &[],
                &[],
                "04D2 g",
                "FFFB g",
            ),
        ] {
            let spec = LayoutSpec {
                digits,
                factor: digits.are_counts().then(|| Decimal::new(1, 2)),
                signs: signs
                    .iter()
                    .map(|(text, sign)| ((*text).to_owned(), *sign))
                    .collect(),
                ..spec(form, b'.', statuses)
            };
            let frame = FrameSpec::default();
            let mut writer = LayoutWriter::new(&spec, frame, Unit::Gram, 2).unwrap();
            let written = line(&mut writer, "12.34", Unit::Gram, false);
            assert_eq!(written.trim_end_matches("\r\n"), at_rest, "{form}");
            let written = line(&mut writer, "-0.05", Unit::Gram, false);
            assert_eq!(written.trim_end_matches("\r\n"), below, "{form}");
        }
    }

    #[test]
    fn a_unit_that_the_layout_does_not_know_is_still_shown() {
        let spec = spec(r"(?<value>[0-9.]+) (?<unit>[a-zA-Z]+)", b'.', &[]);
        let mut writer = LayoutWriter::new(&spec, FrameSpec::default(), Unit::Gram, 2).unwrap();
        assert_eq!(
            line(&mut writer, "7.93", Unit::Pennyweight, false),
            "7.93 dwt\r\n"
        );
        assert_eq!(
            line(&mut writer, "190.4", Unit::Grain, false),
            "190.4 GN\r\n"
        );
        assert_eq!(
            writer.write(&showing("-1.00", Unit::Gram, false)),
            None,
            "no sign"
        );
    }

    #[test]
    fn what_cannot_be_written_is_said() {
        for form in [
            "(?i)(?<value>[0-9.]+)",
            "(?<value>[0-9])",
            "(?<value>[a-z]+)",
        ] {
            let wrong =
                LayoutWriter::new(&spec(form, b'.', &[]), FrameSpec::default(), Unit::Gram, 2)
                    .unwrap_err();
            assert_eq!(wrong.code, "layout-not-writable", "{form}");
        }
    }

    /// The shapes are written by hand and the writer finds its own way to the same bytes.
    #[test]
    fn the_shapes_come_out_the_same() {
        let stable = [("stable", Status::Stable), ("moving", Status::InMotion)];
        let form = "(?<status>moving|stable) (?<value>[ +0-9.-]{7,13}) (?<unit>[!-~]+)";
        let mut writer = LayoutWriter::new(
            &spec(form, b'.', &stable),
            FrameSpec::default(),
            Unit::Gram,
            2,
        )
        .unwrap();
        for (digits, moving) in [("12.34", true), ("-3.10", false), ("0.00", false)] {
            let what = showing(digits, Unit::Gram, moving);
            assert_eq!(
                writer.write(&what).unwrap(),
                shape("status-first").unwrap()(&what)
            );
        }
    }
}
