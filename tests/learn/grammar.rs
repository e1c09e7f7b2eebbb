//! Shapes of lines out of a random grammar, all our own, each with an oracle: what every one of its
//! lines means.
#![allow(unreachable_pub)]

use panbell::mass::Unit;
use rust_decimal::Decimal;

/// Random numbers from a seed (splitmix64), so that every shape can be had again.
pub struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, count: usize) -> usize {
        usize::try_from(self.next() % count as u64).unwrap()
    }

    pub fn one_in(&mut self, count: usize) -> bool {
        self.below(count) == 0
    }

    pub fn of<T: Copy>(&mut self, all: &[T]) -> T {
        all[self.below(all.len())]
    }
}

/// Where a sign stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// Before everything else in the line.
    First,
    /// Before the filling of the value.
    Apart,
    /// At the digits.
    Glued,
    /// Behind the value.
    Behind,
    /// Behind the unit.
    BehindUnit,
    /// At the end of the line.
    Last,
}

/// How a sign is told: what stands for plus and for minus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// Nothing tells it.
    Never,
    /// No digits are sent below zero.
    Dashes,
    /// Two texts, of which one can be empty; padded to one width or not.
    Texts(&'static [u8], &'static [u8], Place, bool),
    /// Round brackets about what is below zero.
    Brackets,
    /// The status has words of its own below zero.
    InStatus,
    /// Of a count only: two's complement.
    Complement,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    Free,
    Blanks(usize),
    Zeros(usize),
    LeftSide(usize),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Digits {
    Plain,
    LastFirst,
    /// Counts of one division.
    Hex(usize),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitAt {
    None,
    Behind,
    Glued,
    Before,
    BehindOnlyAtRest,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StatusAt {
    None,
    First,
    Last,
    BehindUnit,
}

/// A random shape.
#[derive(Debug, Clone)]
pub struct Shape {
    pub sign: Sign,
    pub fill: Fill,
    pub digits: Digits,
    pub comma: bool,
    pub thousands: Option<char>,
    pub decimals: u32,
    pub unit_at: UnitAt,
    pub unit: Unit,
    pub symbol: &'static str,
    pub unit_width: usize,
    pub status_at: StatusAt,
    /// In motion, at rest.
    pub words: (&'static str, &'static str),
    pub even_words: bool,
    /// What stands between fields.
    pub joint: &'static str,
    /// A text right before the value.
    pub label: &'static str,
    pub head: &'static str,
    pub tail: &'static str,
    pub counter: u8,
    pub end: &'static str,
    pub block: u8,
}

/// What a display shows.
#[derive(Debug, Clone, Copy)]
pub struct Show {
    pub value: Decimal,
    /// What the balance takes off.
    pub tare: Decimal,
    pub unit: Unit,
    pub moving: bool,
}

/// A line as sent, and what it means; none for one without the pan's load.
#[derive(Debug, Clone)]
pub struct Sent {
    pub bytes: Vec<u8>,
    pub means: Option<Show>,
}

const SIGNS: &[Sign] = {
    use Place::{Apart, Behind, BehindUnit, First, Glued, Last};
    use Sign::Texts;
    &[
        Sign::Never,
        Sign::Dashes,
        Texts(b"", b"-", Glued, false),
        Texts(b"", b"-", Glued, false),
        Texts(b"+", b"-", Glued, true),
        Texts(b" ", b"-", Apart, true),
        Texts(b"+", b"-", Apart, true),
        Texts(b"+", b"-", First, true),
        Texts(b"", b"-", Behind, false),
        Texts(b" ", b"-", Behind, true),
        Texts(b"+", b"-", Behind, true),
        Texts(b"", b"-", BehindUnit, false),
        Texts(b"+", b"-", BehindUnit, true),
        Texts(b"+", b"-", Last, true),
        Texts(b"P", b"N", First, true),
        Texts(b"P", b"M", First, true),
        Texts(b"A", b"B", First, true),
        Texts(b"p", b"n", Apart, true),
        Texts(b"POS", b"NEG", First, true),
        Texts(b"PLUS", b"MINUS", First, false),
        Texts(b"PLUS", b"MINUS", First, true),
        Texts(b"", b"NEG", First, false),
        Texts(b"", b"minus", Glued, false),
        Texts(b"", b"NEG", Last, false),
        Texts(b"", b"\xE2\x88\x92", Glued, false),
        Texts(b"+", b"\xE2\x88\x92", Glued, false),
        Texts(b"+", b"\xE2\x88\x92", Apart, false),
        Texts(b" ", b"\xE2\x80\x93", First, false),
        Texts(b"", b"\x96", Glued, false),
        Texts(b"0", b"1", First, true),
        Texts(b"0", b"1", Last, true),
        Texts(b"P", b"N", Last, true),
        Texts(b"P", b"N", Behind, true),
        Texts(b".", b"!", First, true),
        Texts(b" ", b"_", First, true),
        Texts(b"C", b"D", Last, true),
        Texts(b"", b"CR", Last, false),
        Sign::Brackets,
        Sign::InStatus,
    ]
};
const WORDS: &[(&str, &str)] = &[
    ("D", "S"),
    ("D", "S"),
    ("US", "ST"),
    ("moving", "steady"),
    ("~", "S"),
    ("**", "OK"),
    ("..", "OK"),
    ("?", ""),
    ("", "*"),
    ("*", ""),
    ("", "OK"),
    ("unstable", ""),
    ("0", "1"),
    ("1", "0"),
    ("M0", "S0"),
    ("--", "OK"),
    ("!", "="),
    ("#", "@"),
];

impl Shape {
    #[allow(clippy::too_many_lines)] // a table
    pub fn random(seed: u64) -> Self {
        let mut r = Random(seed);
        let decimals = r.of(&[2, 2, 2, 3, 1, 4]);
        let hex = r.one_in(14);
        let sign = r.of(SIGNS);
        let width = r.of(&[7, 8, 9, 10, 12]);
        let fill = match r.below(8) {
            0..=2 => Fill::Blanks(width),
            3 | 4 => Fill::Free,
            5 | 6 => Fill::Zeros(width),
            _ => Fill::LeftSide(width),
        };
        let joint = r.of(&[" ", " ", " ", "", ",", ";", "  ", "\t", ", ", "|"]);
        let comma = r.one_in(3) && !joint.contains(',');
        let thousands = if r.one_in(8) && matches!(fill, Fill::Blanks(_) | Fill::Free) {
            Some(if comma { '.' } else { '\'' })
        } else {
            None
        };
        let digits = if hex {
            Digits::Hex(r.of(&[4, 6]))
        } else if r.one_in(16) && thousands.is_none() {
            Digits::LastFirst
        } else {
            Digits::Plain
        };
        let (unit, symbol) = r.of(&[
            (Unit::Gram, "g"),
            (Unit::Gram, "g"),
            (Unit::Gram, "g"),
            (Unit::Gram, "GR"),
            (Unit::Gram, "gram"),
            (Unit::Carat, "ct"),
            (Unit::Gram, "\u{433}"),
            (Unit::Pennyweight, "dwt"),
        ]);
        let mut shape = Self {
            sign,
            fill,
            digits,
            comma,
            thousands,
            decimals,
            unit_at: r.of(&[
                UnitAt::Behind,
                UnitAt::Behind,
                UnitAt::Behind,
                UnitAt::Glued,
                UnitAt::Before,
                UnitAt::None,
                UnitAt::BehindOnlyAtRest,
            ]),
            unit,
            symbol,
            unit_width: r.of(&[0, 0, 3, 4]),
            status_at: r.of(&[
                StatusAt::None,
                StatusAt::First,
                StatusAt::First,
                StatusAt::Last,
                StatusAt::Last,
                StatusAt::BehindUnit,
            ]),
            words: r.of(WORDS),
            even_words: r.one_in(2),
            joint,
            label: r.of(&[
                "", "", "", "", "W:", "g:", "mass=", "\"w\":", "W", "#", "Net: ", "w ",
            ]),
            head: r.of(&["", "", "", "", "<", "W1 ", "[", "{", "QX,"]),
            tail: "",
            counter: u8::try_from(r.below(12)).unwrap(),
            end: r.of(&["\r\n", "\r\n", "\r\n", "\n", "\r"]),
            block: u8::try_from(r.below(10)).unwrap(),
        };
        shape.tail = match shape.head {
            "<" => ">",
            "[" => "]",
            "{" => "}",
            _ => "",
        };
        // Digits of two fields that touch are no field of their own.
        if shape.joint.is_empty() && matches!(shape.counter, 0 | 1 | 3) {
            shape.counter = 9;
        }
        let touches = shape.joint.is_empty() || shape.status_at == StatusAt::BehindUnit;
        if touches
            && shape
                .words
                .0
                .bytes()
                .chain(shape.words.1.bytes())
                .any(|b| b.is_ascii_digit())
        {
            shape.words = ("D", "S");
        }
        if hex {
            shape.thousands = None;
            shape.unit_at = r.of(&[UnitAt::None, UnitAt::Behind]);
            shape.decimals = 2;
            if r.one_in(2) {
                shape.sign = Sign::Complement;
            }
        }
        if shape.sign == Sign::InStatus {
            if shape.status_at == StatusAt::None {
                shape.status_at = StatusAt::First;
            }
            shape.words = r.of(&[("US", "ST"), ("D", "S"), ("moving", "steady")]);
        }
        shape
    }

    /// A step of the last digit, in the unit that is shown.
    pub fn step(&self) -> Decimal {
        Decimal::new(1, self.decimals)
    }

    fn number(&self, value: Decimal) -> String {
        let bare = panbell::mass::fixed(value.abs(), self.decimals).to_string();
        if let Digits::Hex(width) = self.digits {
            let count = value.mantissa();
            let most = 1_i128 << (4 * width);
            let count = if self.sign == Sign::Complement {
                count.rem_euclid(most)
            } else {
                count.abs()
            };
            return format!("{count:0width$X}");
        }
        let (whole, after) = bare.split_once('.').unwrap();
        let mut out = String::new();
        for (at, digit) in whole.chars().enumerate() {
            if let Some(mark) = self.thousands
                && at > 0
                && (whole.len() - at).is_multiple_of(3)
            {
                out.push(mark);
            }
            out.push(digit);
        }
        format!("{out}{}{after}", if self.comma { ',' } else { '.' })
    }

    fn symbol(&self, unit: Unit) -> &'static str {
        if unit == self.unit {
            self.symbol
        } else {
            unit.symbol()
        }
    }

    /// The value with the signs at it.
    fn value(&self, show: &Show) -> Vec<u8> {
        let negative = show.value < Decimal::ZERO;
        let bare = self.number(show.value);
        if negative && self.sign == Sign::Dashes {
            let width = match self.fill {
                Fill::Blanks(width) | Fill::Zeros(width) | Fill::LeftSide(width) => width,
                Fill::Free => 6,
            };
            return vec![b'-'; width];
        }
        let mut glued: Vec<u8> = Vec::new();
        let mut apart: Vec<u8> = Vec::new();
        let mut behind: Vec<u8> = Vec::new();
        match self.sign {
            Sign::Texts(plus, minus, place, _) => {
                let text = if negative { minus } else { plus };
                match place {
                    Place::Glued => glued.extend(text),
                    Place::Apart => apart.extend(text),
                    Place::Behind => behind.extend(text),
                    _ => {}
                }
            }
            Sign::Brackets if negative => {
                glued.push(b'(');
                behind.push(b')');
            }
            Sign::Brackets if self.fill != Fill::Free => behind.push(b' '),
            _ => {}
        }
        let digits = match (self.digits, self.fill) {
            (Digits::Hex(_), _) => bare,
            // A sign that stands in front of zeros takes one place of the field.
            (_, Fill::Zeros(width)) => {
                let width = width - usize::from(!glued.is_empty());
                format!("{bare:0>width$}")
            }
            _ => bare,
        };
        let digits = if self.digits == Digits::LastFirst {
            digits.chars().rev().collect()
        } else {
            digits
        };
        let mut out = apart;
        let mut inner = glued;
        inner.extend(digits.bytes());
        // Characters, not bytes, fill a field.
        let long = String::from_utf8_lossy(&inner).chars().count();
        match self.fill {
            Fill::Blanks(width) => {
                out.extend(std::iter::repeat_n(b' ', width.saturating_sub(long)));
                out.extend(inner);
                out.extend(behind);
            }
            Fill::LeftSide(width) => {
                out.extend(inner);
                out.extend(behind);
                out.extend(std::iter::repeat_n(b' ', width.saturating_sub(long)));
            }
            Fill::Free | Fill::Zeros(_) => {
                out.extend(inner);
                out.extend(behind);
            }
        }
        out
    }

    fn status(&self, show: &Show) -> Vec<u8> {
        if self.sign == Sign::InStatus && show.value < Decimal::ZERO {
            let text = if show.moving { "NU" } else { "NS" };
            return text.as_bytes().to_vec();
        }
        let text = if show.moving {
            self.words.0
        } else {
            self.words.1
        };
        let width = self.words.0.len().max(self.words.1.len());
        let mut out = text.as_bytes().to_vec();
        if self.even_words {
            out.resize(width, b' ');
        }
        out
    }

    /// Whether gross and tare stand in the same line.
    fn several(&self) -> bool {
        matches!(self.block, 2 | 3) && self.digits == Digits::Plain && !self.joint.is_empty()
    }

    /// One line without its end.
    pub fn line(&self, show: &Show, n: usize) -> Vec<u8> {
        let negative = show.value < Decimal::ZERO;
        let sign_at = |wanted: Place| -> Option<Vec<u8>> {
            match self.sign {
                Sign::Texts(plus, minus, place, even) if place == wanted => {
                    let width = if even { plus.len().max(minus.len()) } else { 0 };
                    let mut text = if negative { minus } else { plus }.to_vec();
                    while text.len() < width {
                        text.push(b' ');
                    }
                    Some(text)
                }
                _ => None,
            }
        };
        let joint = self.joint.as_bytes();
        let mut fields: Vec<Vec<u8>> = Vec::new();
        match self.counter {
            0 => fields.push(format!("{:04}", n + 17).into_bytes()),
            1 => fields.push(format!("{:04X}", n * 23 + 0x0A17).into_bytes()),
            2 => fields.push(format!("12:{:02}:{:02}", n / 60, n % 60).into_bytes()),
            _ => {}
        }
        if self.status_at == StatusAt::First {
            fields.push(self.status(show));
        }
        fields.extend(sign_at(Place::First));
        let mut symbol = self.symbol(show.unit).as_bytes().to_vec();
        let long = self.symbol(show.unit).chars().count();
        symbol.extend(std::iter::repeat_n(
            b' ',
            self.unit_width.saturating_sub(long),
        ));
        if self.unit_at == UnitAt::Before {
            fields.push(symbol.clone());
        }
        let mut value = if self.several() && self.block == 2 {
            b"N ".to_vec()
        } else {
            self.label.as_bytes().to_vec()
        };
        value.extend(self.value(show));
        let has_unit = match self.unit_at {
            UnitAt::None | UnitAt::Before => false,
            UnitAt::BehindOnlyAtRest => {
                if show.moving {
                    let blanks = symbol.len();
                    symbol = vec![b' '; blanks];
                }
                true
            }
            _ => true,
        };
        if has_unit && (self.unit_at == UnitAt::Glued || joint.is_empty()) {
            value.extend(&symbol);
            fields.push(value);
        } else {
            fields.push(value);
            if has_unit {
                fields.push(symbol);
            }
        }
        if let Some(text) = sign_at(Place::BehindUnit)
            && let Some(last) = fields.last_mut()
        {
            last.extend(text);
        }
        if self.status_at == StatusAt::BehindUnit {
            let status = self.status(show);
            if let Some(last) = fields.last_mut() {
                last.extend(status);
            }
        }
        if self.status_at == StatusAt::Last {
            fields.push(self.status(show));
        }
        fields.extend(sign_at(Place::Last));
        if self.counter == 3 {
            fields.push(format!("{}", (n * 7) % 1000).into_bytes());
        }
        if self.several() {
            // Gross and tare in the same line, with a word before each or without one.
            let mass = |word: &str, value: Decimal| {
                let value = panbell::mass::fixed(value, self.decimals);
                let word = if self.block == 2 { word } else { "" };
                let mark = if value < Decimal::ZERO { "-" } else { "" };
                format!("{word}{mark}{}", self.number(value)).into_bytes()
            };
            fields.push(mass("G ", show.value + show.tare));
            fields.push(mass("T ", show.tare));
        }
        let mut out = self.head.as_bytes().to_vec();
        out.extend(fields.join(joint));
        out.extend(self.tail.bytes());
        if self.counter == 4 {
            let check = out.iter().fold(0_u8, |sum, byte| sum ^ byte);
            out.extend(format!("*{check:02X}").bytes());
        }
        out
    }

    /// Every line of one weighing.
    pub fn sent(&self, show: &Show, n: usize) -> Vec<Sent> {
        let end = |mut line: Vec<u8>| {
            line.extend(self.end.bytes());
            line
        };
        let other = |line: Vec<u8>| Sent {
            bytes: end(line),
            means: None,
        };
        let shown = match self.sign {
            Sign::Dashes if show.value < Decimal::ZERO => None,
            _ => Some(*show),
        };
        let mass = Sent {
            bytes: end(self.line(show, n)),
            means: shown,
        };
        match self.block {
            0 => {
                let head = other(format!("No {:>5}", n + 1).into_bytes());
                vec![other(b"-- TICKET --".to_vec()), head, mass]
            }
            1 if self.label.is_empty() && self.digits == Digits::Plain => {
                let tare = Decimal::new(512, 2);
                let of = |letter: &str, value: Decimal| {
                    let show = Show {
                        value: panbell::mass::fixed(value, self.decimals),
                        ..*show
                    };
                    [letter.as_bytes(), &self.line(&show, n)].concat()
                };
                let shown = Show {
                    value: show.value,
                    ..*show
                };
                vec![
                    other(of("G ", show.value + tare)),
                    other(of("T ", tare)),
                    Sent {
                        bytes: end(of("N ", shown.value)),
                        means: mass.means,
                    },
                ]
            }
            _ => vec![mass],
        }
    }
}
