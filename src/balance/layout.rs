//! A line layout: which part of a line is the value, its sign, its unit, its status.
//!
//! A layout is a regular expression over bytes with named groups (`value`, `fine`, `sign`, `close`,
//! `unit`, `status`, `kind`) and small tables of symbols. Nothing is guessed: a line that does not
//! fit is not understood, a symbol without an entry is an unknown unit, an unproven sign or an
//! unsaid status.

mod number;
mod symbol;
#[cfg(test)]
mod tests;

use regex::bytes::{CaptureLocations, Regex, RegexBuilder};
use rust_decimal::Decimal;

use crate::mass::{Indication, Reading, Shown, Status, Unit};
use crate::trouble::Trouble;
use number::Writing;

pub use number::Digits;
pub use symbol::{symbol_bytes, symbol_of};

/// A layout as a balance file states it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LayoutSpec {
    /// The regular expression; it must match the whole line.
    pub line: String,
    /// The decimal mark: a point or a comma.
    pub decimal: u8,
    /// The mark between groups of three digits: point, comma, apostrophe or blank.
    pub thousands: Option<u8>,
    /// The decimals that the balance shows. A value with fewer has lost trailing zeros on the way
    /// and is filled up to them; none is ever cut.
    pub decimals: Option<u32>,
    /// How the digits are written.
    pub digits: Digits,
    /// What one count is, in the unit of the balance; only for counts, and needed there.
    pub factor: Option<Decimal>,
    /// Symbols of the sign as they stand in the line; without any, a plus or nothing and a minus.
    pub signs: Vec<(String, Sign)>,
    /// It is not proven how a value below zero looks: no reading is a load.
    pub minus_unproven: bool,
    /// Regular expressions of lines that carry no mass: a date, a number, a heading.
    pub skip: Vec<String>,
    /// Symbols of units as they stand in the line; a byte that no text holds is written `\xNN`.
    pub units: Vec<(String, Unit)>,
    /// Symbols of status as they stand in the line.
    pub statuses: Vec<(String, Status)>,
    /// Symbols of the kind of mass as they stand in the line.
    pub kinds: Vec<(String, Kind)>,
    /// The kind that is the pan's load here; lines of other kinds give no reading.
    pub takes: Kind,
}

impl Default for LayoutSpec {
    /// No form yet, a decimal point, no symbols.
    fn default() -> Self {
        Self {
            line: String::new(),
            decimal: b'.',
            thousands: None,
            decimals: None,
            digits: Digits::Plain,
            factor: None,
            signs: Vec::new(),
            minus_unproven: false,
            skip: Vec::new(),
            units: Vec::new(),
            statuses: Vec::new(),
            kinds: Vec::new(),
            takes: Kind::Net,
        }
    }
}

impl LayoutSpec {
    /// The groups that a form may name.
    pub const GROUPS: [&'static str; 7] =
        ["value", "fine", "sign", "close", "unit", "status", "kind"];
    /// The most decimals that can be said to be shown.
    pub const MOST_DECIMALS: u32 = 7;
    /// The most forms of lines without a mass.
    pub const MOST_SKIPPED: usize = 16;
}

/// What a mass in a line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The load above the balance's own tare.
    Net,
    /// Everything on the pan.
    Gross,
    /// What the balance takes off.
    Tare,
}

impl Kind {
    /// Every one with its word.
    pub const WORDS: [(&'static str, Self); 3] = [
        ("net", Self::Net),
        ("gross", Self::Gross),
        ("tare", Self::Tare),
    ];
}

/// What a symbol says of the sign of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sign {
    /// At or above zero.
    Plus,
    /// Below zero.
    Minus,
}

impl Sign {
    /// Both with their words.
    pub const WORDS: [(&'static str, Self); 2] = [("plus", Self::Plus), ("minus", Self::Minus)];
}

/// Why a line gives no reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NoReading {
    /// It does not have the layout's form.
    OtherForm,
    /// Its value is not plain digits, or has more of them than any balance shows.
    OddNumber,
    /// It is a line of a weighing that carries no mass, as the layout says.
    NoMass,
    /// It carries a mass of another kind than the pan's load.
    OtherKind,
}

impl NoReading {
    /// Whether the line is none of this balance; else it is one that is rightly passed over.
    pub fn is_odd(self) -> bool {
        matches!(self, Self::OtherForm | Self::OddNumber)
    }
}

/// A layout ready to read lines.
#[derive(Debug)]
pub struct Layout {
    line: Regex,
    skip: Option<Regex>,
    locations: CaptureLocations,
    value: usize,
    fine: Option<usize>,
    sign: Option<usize>,
    close: Option<usize>,
    unit: Option<usize>,
    status: Option<usize>,
    kind: Option<usize>,
    writing: Writing,
    signs: Symbols<Sign>,
    minus_unproven: bool,
    units: Symbols<Unit>,
    statuses: Symbols<Status>,
    kinds: Symbols<Kind>,
    takes: Kind,
}

/// Symbols with what they stand for.
type Symbols<T> = Vec<(Vec<u8>, T)>;

/// The most memory that a compiled layout may take; a balance file is not trusted to be small.
const LARGEST_PROGRAM: usize = 1 << 20;

impl Layout {
    /// Prepares a layout; says what is wrong with one that cannot be used.
    pub fn compile(spec: &LayoutSpec) -> Result<Self, Trouble> {
        let line = whole_line(&spec.line)
            .map_err(|error| unusable(&format!("its line pattern cannot be read: {error}")))?;
        let group = |name: &str| line.capture_names().position(|n| n == Some(name));
        if let Some(odd) = line
            .capture_names()
            .flatten()
            .find(|name| !LayoutSpec::GROUPS.contains(name))
        {
            return Err(unusable(&format!(
                "its line pattern names a group \"{odd}\"; known are {}",
                LayoutSpec::GROUPS.join(", ")
            )));
        }
        let value =
            group("value").ok_or_else(|| unusable("its line pattern has no group named value"))?;
        if let Some(why) = contradiction(spec) {
            return Err(unusable(why));
        }
        let skip = (!spec.skip.is_empty())
            .then(|| {
                // Each is read alone first, so that none can reach into the next.
                for form in &spec.skip {
                    whole_line(form)?;
                }
                whole_line(&spec.skip.join(")$|^(?:"))
            })
            .transpose()
            .map_err(|error| unusable(&format!("a pattern to skip cannot be read: {error}")))?;
        Ok(Self {
            value,
            fine: group("fine"),
            sign: group("sign"),
            close: group("close"),
            unit: group("unit"),
            status: group("status"),
            kind: group("kind"),
            locations: line.capture_locations(),
            line,
            skip,
            writing: Writing {
                decimal: spec.decimal,
                thousands: spec.thousands,
                decimals: spec.decimals.unwrap_or(0),
                digits: spec.digits,
                factor: spec.factor.unwrap_or(Decimal::ONE),
            },
            signs: bare(&spec.signs),
            minus_unproven: spec.minus_unproven,
            units: bare(&spec.units),
            statuses: bare(&spec.statuses),
            kinds: bare(&spec.kinds),
            takes: spec.takes,
        })
    }

    /// Whether the last digits stand apart in lines of this layout, as those that are not meant for
    /// payment do.
    pub fn has_fine_digits(&self) -> bool {
        self.fine.is_some()
    }

    /// Whether lines of this layout can state a unit at all.
    pub fn states_unit(&self) -> bool {
        self.unit.is_some()
    }

    /// Whether it is proven how a value below zero looks; else nothing that is read is a load.
    pub fn proves_sign(&self) -> bool {
        !self.minus_unproven
    }

    /// Reads one line, without its frame.
    pub fn read(&mut self, line: &[u8]) -> Result<Reading, NoReading> {
        // What is said to carry no mass is never read as one, whatever else it fits.
        if self.skip.as_ref().is_some_and(|skip| skip.is_match(line)) {
            return Err(NoReading::NoMass);
        }
        if self.line.captures_read(&mut self.locations, line).is_none() {
            return Err(NoReading::OtherForm);
        }
        let part = |group: Option<usize>| {
            let (from, to) = self.locations.get(group?)?;
            Some(line.get(from..to)?.trim_ascii())
        };
        if let Some(symbol) = part(self.kind) {
            match lookup(&self.kinds, symbol) {
                Some(kind) if kind == self.takes => {}
                Some(_) => return Err(NoReading::OtherKind),
                None => return Err(NoReading::OtherForm),
            }
        }
        let status = match part(self.status) {
            Some(symbol) => lookup(&self.statuses, symbol).unwrap_or(Status::Unsaid),
            None => Status::Unsaid,
        };
        let Some(digits) = part(Some(self.value)).filter(|value| !value.is_empty()) else {
            return Ok(Reading {
                shown: Shown::Nothing,
                status,
            });
        };
        // The two halves of a sign that stands about the digits, as brackets do, are one symbol.
        let close = part(self.close).unwrap_or_default();
        let sign = [part(self.sign).unwrap_or_default(), close].concat();
        let meant = if self.signs.is_empty() {
            None
        } else {
            Some(lookup(&self.signs, &sign))
        };
        let (sign, is_proven) = match meant {
            None => (sign.as_slice(), true),
            Some(Some(Sign::Plus)) => (&b""[..], true),
            Some(Some(Sign::Minus)) => (&b"-"[..], true),
            Some(None) => (&b""[..], false),
        };
        let fine = part(self.fine).unwrap_or_default();
        // A blank before the last digit stands where a digit was.
        let (_, value_ends) = self.locations.get(self.value).unwrap_or_default();
        let before = value_ends.checked_sub(1).and_then(|at| line.get(at));
        if !fine.is_empty() && before.is_some_and(u8::is_ascii_whitespace) {
            return Err(NoReading::OddNumber);
        }
        let number = self.writing.read(sign, digits, fine);
        let number = number.ok_or(NoReading::OddNumber)?;
        if !is_proven || self.minus_unproven {
            return Ok(Reading {
                shown: Shown::SignUnproven(number),
                status,
            });
        }
        let shown = match part(self.unit).filter(|symbol| !symbol.is_empty()) {
            None => Shown::UnitUnstated(number),
            Some(symbol) => match lookup(&self.units, symbol) {
                Some(unit) => {
                    Shown::Weighed(Indication::new(number, unit).ok_or(NoReading::OddNumber)?)
                }
                None => Shown::UnitUnknown(number),
            },
        };
        Ok(Reading { shown, status })
    }
}

/// A pattern that must match a whole line.
fn whole_line(pattern: &str) -> Result<Regex, regex::Error> {
    RegexBuilder::new(&format!("^(?:{pattern})$"))
        .unicode(false)
        .size_limit(LARGEST_PROGRAM)
        .dfa_size_limit(LARGEST_PROGRAM)
        .build()
}

fn contradiction(spec: &LayoutSpec) -> Option<&'static str> {
    if !matches!(spec.decimal, b'.' | b',') {
        Some("its decimal mark is neither a point nor a comma")
    } else if spec
        .thousands
        .is_some_and(|mark| !matches!(mark, b'.' | b',' | b'\'' | b' '))
    {
        Some("its thousands mark is neither a point, a comma, an apostrophe nor a blank")
    } else if spec.thousands == Some(spec.decimal) {
        Some("its thousands mark is its decimal mark")
    } else if spec.decimals > Some(LayoutSpec::MOST_DECIMALS) {
        Some("it shows more decimals than any balance")
    } else if spec.digits.are_counts() != spec.factor.is_some() {
        Some("counts and a factor for them belong together")
    } else if spec.factor.is_some_and(|factor| !Digits::is_factor(factor)) {
        Some("its factor is no small decimal above zero")
    } else if spec.takes == Kind::Tare {
        Some("a tare is never the load of the pan")
    } else if spec.skip.len() > LayoutSpec::MOST_SKIPPED {
        Some("it skips more than 16 kinds of line")
    } else {
        None
    }
}

fn bare<T: Copy>(symbols: &[(String, T)]) -> Symbols<T> {
    symbols
        .iter()
        .map(|(symbol, meaning)| (symbol_bytes(symbol.trim()), *meaning))
        .collect()
}

fn lookup<T: Copy>(table: &Symbols<T>, symbol: &[u8]) -> Option<T> {
    table
        .iter()
        .find(|(known, _)| known == symbol)
        .map(|(_, value)| *value)
}

fn unusable(why: &str) -> Trouble {
    Trouble::new(
        "layout-unusable",
        format!("The line layout cannot be used: {why}."),
        "The balance cannot be read with it, so nothing is weighed.",
        "Mend the balance file.",
    )
}
