//! The shapes of the corpus: how a display is written as bytes, and what must be found out of it.
//! All are invented here; each has what makes it hard as its name.
#![allow(unreachable_pub)]

use panbell::balance::{Check, CheckAs, CheckAt, CheckSum, Covers, End, FrameSpec, Start};
use panbell::mass::Unit;
use rust_decimal::Decimal;

/// A display at one moment.
pub struct Show {
    pub digits: Decimal,
    pub moving: bool,
    /// Which line of the capture.
    pub n: usize,
}

impl Show {
    fn text(&self) -> String {
        self.digits.to_string()
    }

    fn bare(&self) -> String {
        self.digits.abs().to_string()
    }

    fn sign(&self) -> char {
        if self.digits < Decimal::ZERO {
            '-'
        } else {
            '+'
        }
    }

    fn minus(&self) -> &'static str {
        if self.digits < Decimal::ZERO { "-" } else { "" }
    }

    fn comma(&self) -> String {
        self.text().replace('.', ",")
    }

    fn at_zero(&self) -> bool {
        self.digits.abs() < Decimal::new(3, self.digits.scale())
    }
}

/// What the lines say of rest and motion.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Says {
    /// Both.
    Both,
    /// Only motion; rest is said by saying nothing.
    Motion,
    /// Only rest.
    Rest,
    /// Neither.
    Nothing,
}

pub struct Shape {
    pub name: &'static str,
    pub unit: Unit,
    pub decimals: u32,
    pub says: Says,
    /// Whether the unit stands in the line while the pan moves.
    pub unit_in_motion: bool,
    /// Whether the unit stands in the line at all.
    pub unit_at_all: bool,
    /// Lines of one weighing.
    pub write: fn(&Show) -> Vec<u8>,
    pub frame: FrameSpec,
}

const fn plain(name: &'static str, says: Says, write: fn(&Show) -> Vec<u8>) -> Shape {
    Shape {
        name,
        unit: Unit::Gram,
        decimals: 2,
        says,
        unit_in_motion: true,
        unit_at_all: true,
        write,
        frame: FrameSpec {
            starts: Start::Anywhere,
            ends: End::Line,
            check: None,
        },
    }
}

const fn check(how: CheckSum, at: CheckAt, written: CheckAs, covers: Covers) -> Check {
    Check {
        how,
        at,
        written,
        covers,
    }
}

const STX_ETX: FrameSpec = FrameSpec {
    starts: Start::Stx,
    ends: End::Etx,
    check: None,
};
const STX_LINE: FrameSpec = FrameSpec {
    ends: End::Line,
    ..STX_ETX
};
const XOR: FrameSpec = FrameSpec {
    check: Some(check(
        CheckSum::Xor,
        CheckAt::AfterEnd,
        CheckAs::Byte,
        Covers::WithEnd,
    )),
    ..STX_ETX
};
const SUM: FrameSpec = FrameSpec {
    check: Some(check(
        CheckSum::Sum,
        CheckAt::BeforeEnd,
        CheckAs::Hex,
        Covers::Payload,
    )),
    ..STX_ETX
};
const LINE_SUM: FrameSpec = FrameSpec {
    starts: Start::Anywhere,
    ends: End::Line,
    check: Some(check(
        CheckSum::Xor,
        CheckAt::BeforeEnd,
        CheckAs::Hex,
        Covers::Payload,
    )),
};

fn crlf(text: &str) -> Vec<u8> {
    format!("{text}\r\n").into_bytes()
}

fn letter(show: &Show) -> &'static str {
    if show.moving { "M" } else { "R" }
}

/// Groups of three with a mark.
fn grouped(show: &Show, mark: char, decimal: char) -> String {
    let bare = show.bare();
    let (whole, after) = bare.split_once('.').unwrap_or((&bare, ""));
    let mut out = String::new();
    for (at, digit) in whole.chars().enumerate() {
        if at > 0 && (whole.len() - at) % 3 == 0 {
            out.push(mark);
        }
        out.push(digit);
    }
    if after.is_empty() {
        out
    } else {
        format!("{out}{decimal}{after}")
    }
}

fn bracketed(show: &Show, open: char, close: char) -> String {
    let bare = show.bare();
    let (most, last) = bare.split_at(bare.len() - 1);
    format!("{most}{open}{last}{close}")
}

/// Every shape.
#[allow(clippy::too_many_lines)] // a table
pub fn all() -> Vec<Shape> {
    use Says::{Both, Motion, Nothing, Rest};
    let mut all = vec![
        plain("counted places, sign apart", Nothing, |s| {
            crlf(&format!("{}{:>9} g  ", s.sign(), s.bare()))
        }),
        plain("counted places, sign at the digits", Nothing, |s| {
            crlf(&format!("{:>10} g", s.text()))
        }),
        plain("word first", Both, |s| {
            crlf(&format!(
                "{} {:>8} g",
                if s.moving { "moving" } else { "steady" },
                s.text()
            ))
        }),
        plain("letter first, glued", Both, |s| {
            crlf(&format!("{}{}{:>8} g", letter(s), s.sign(), s.bare()))
        }),
        plain("letter last", Both, |s| {
            crlf(&format!("{:>9} g {}", s.text(), letter(s)))
        }),
        plain("comma fields, status and kind ahead", Both, |s| {
            crlf(&format!(
                "{},QX,{}{:>8},  g",
                if s.moving { "MV" } else { "RS" },
                s.sign(),
                s.bare()
            ))
        }),
        plain("semicolons, decimal comma, digit for rest", Both, |s| {
            crlf(&format!("W;{};g;{}", s.comma(), u8::from(!s.moving)))
        }),
        plain("sign in a field of its own", Both, |s| {
            crlf(&format!("{};{};g;{}", s.sign(), s.bare(), letter(s)))
        }),
        plain("sign behind the digits", Nothing, |s| {
            crlf(&format!("{}{} g", s.bare(), s.minus()))
        }),
        plain("question mark in motion", Motion, |s| {
            crlf(&format!(
                "{:>9} g{}",
                s.text(),
                if s.moving { "?" } else { " " }
            ))
        }),
        plain("star at rest", Rest, |s| {
            crlf(&format!(
                "{} {:>9} g",
                if s.moving { " " } else { "*" },
                s.text()
            ))
        }),
        plain("no padding at all", Nothing, |s| {
            crlf(&format!("{}g", s.text()))
        }),
        plain("equal sign and label", Nothing, |s| {
            crlf(&format!("mass={} g", s.text()))
        }),
        plain("lines end in CR alone", Nothing, |s| {
            format!("{:>10} g\r", s.text()).into_bytes()
        }),
        plain("lines end in LF alone", Both, |s| {
            format!("{} {:>9} g\n", letter(s), s.text()).into_bytes()
        }),
        plain("blank lines between", Nothing, |s| {
            format!("\r\n{:>10} g\r\n\r\n", s.text()).into_bytes()
        }),
        plain("counter in front", Both, |s| {
            crlf(&format!("{:04} {} {:>9} g", s.n + 17, letter(s), s.text()))
        }),
        plain("date and time in front", Nothing, |s| {
            crlf(&format!(
                "25.11.2026 12:{:02}:{:02} {:>9} g",
                s.n / 60,
                s.n % 60,
                s.text()
            ))
        }),
        plain("every line twice", Both, |s| {
            let line = format!("{} {:>9} g\r\n", letter(s), s.text());
            format!("{line}{line}").into_bytes()
        }),
        plain("heading, number, mass", Nothing, |s| {
            format!(
                "-- WEIGHING --\r\nNo {:>5}\r\nMass {:>9} g\r\n\r\n",
                s.n + 1,
                s.text()
            )
            .into_bytes()
        }),
        plain("gross, tare, net of one build", Nothing, |s| {
            let gross = s.digits + Decimal::new(512, 2);
            format!("G {gross:>9} g\r\nT      5.12 g\r\nN {:>9} g\r\n", s.text()).into_bytes()
        }),
        plain("gross, tare, net in words", Nothing, |s| {
            let gross = s.digits + Decimal::new(512, 2);
            format!(
                "Gross: {gross} g\r\nTare: 5.12 g\r\nNet: {} g\r\n",
                s.text()
            )
            .into_bytes()
        }),
        plain("brackets round the last digit", Nothing, |s| {
            crlf(&format!("{}{:>10} g", s.sign(), bracketed(s, '[', ']')))
        }),
        plain("round brackets, no padding", Nothing, |s| {
            crlf(&format!("{}{} g", s.minus(), bracketed(s, '(', ')')))
        }),
        plain("trailing zeros lost", Nothing, |s| {
            crlf(&format!("{} g", s.digits.normalize()))
        }),
        plain("leading zeros", Both, |s| {
            crlf(&format!("{}{}{:0>8} g", letter(s), s.sign(), s.bare()))
        }),
        plain("left side of its field", Nothing, |s| {
            crlf(&format!("{:<12}g", s.text()))
        }),
        plain("zero has its own letter", Both, |s| {
            let word = if s.moving {
                "M"
            } else if s.at_zero() {
                "Z"
            } else {
                "R"
            };
            crlf(&format!("{word} {:>9} g", s.text()))
        }),
        plain("tabs between", Both, |s| {
            crlf(&format!("{}\t{}\tg", letter(s), s.text()))
        }),
        plain("quoted fields", Both, |s| {
            crlf(&format!("\"{}\",\"{}\",\"g\"", s.text(), letter(s)))
        }),
        plain("two of a kind: display and fine", Nothing, |s| {
            crlf(&format!("{:>9} g {:>4}", s.text(), (s.n * 7) % 1000))
        }),
        plain("angle brackets", Both, |s| {
            crlf(&format!("<{}|{}|g>", letter(s), s.text()))
        }),
        plain("exclamation and hash", Both, |s| {
            crlf(&format!(
                "{}{:>9}g",
                if s.moving { '!' } else { '#' },
                s.text()
            ))
        }),
    ];
    let mut add = |shape: Shape| all.push(shape);
    add(Shape {
        frame: STX_ETX,
        ..plain("stx and etx", Nothing, |s| {
            STX_ETX.wrap(format!("{}{:>8} g", s.sign(), s.bare()).as_bytes())
        })
    });
    add(Shape {
        frame: STX_LINE,
        ..plain("stx, line end", Both, |s| {
            STX_LINE.wrap(format!("{} {:>8} g", letter(s), s.text()).as_bytes())
        })
    });
    add(Shape {
        frame: XOR,
        ..plain("xor behind etx", Both, |s| {
            XOR.wrap(format!("{}{}{:>8} g", letter(s), s.sign(), s.bare()).as_bytes())
        })
    });
    add(Shape {
        frame: SUM,
        ..plain("sum in hex before etx", Nothing, |s| {
            SUM.wrap(format!("{:>9} g", s.text()).as_bytes())
        })
    });
    add(Shape {
        frame: LINE_SUM,
        ..plain("xor in hex before the line end", Both, |s| {
            LINE_SUM.wrap(format!("{} {:>9} g *", letter(s), s.text()).as_bytes())
        })
    });
    add(Shape {
        unit_in_motion: false,
        ..plain("unit missing while moving", Nothing, |s| {
            crlf(&format!(
                "{}{:>9} {}",
                s.sign(),
                s.bare(),
                if s.moving { " " } else { "g" }
            ))
        })
    });
    add(Shape {
        unit_in_motion: false,
        ..plain("unit missing while moving, line shorter", Nothing, |s| {
            crlf(&format!(
                "{:>9}{}",
                s.text(),
                if s.moving { "" } else { " g" }
            ))
        })
    });
    add(Shape {
        unit: Unit::Carat,
        decimals: 3,
        ..plain("carats", Both, |s| {
            crlf(&format!("{} {:>10} ct", letter(s), s.text()))
        })
    });
    add(Shape {
        unit: Unit::Grain,
        ..plain("gr means grains here", Nothing, |s| {
            crlf(&format!("{:>10} gr", s.text()))
        })
    });
    add(plain("gr means grams here", Nothing, |s| {
        crlf(&format!("{:>10} GR", s.text()))
    }));
    add(Shape {
        unit: Unit::Pennyweight,
        decimals: 3,
        ..plain("pennyweights under another name", Nothing, |s| {
            crlf(&format!("{:>10} pwt", s.text()))
        })
    });
    add(Shape {
        unit_at_all: false,
        ..plain("value only", Nothing, |s| {
            crlf(&format!("{:>10}", s.text()))
        })
    });
    add(Shape {
        unit_at_all: false,
        unit: Unit::TroyOunce,
        decimals: 4,
        ..plain("value only in troy ounces, comma", Nothing, |s| {
            crlf(&s.comma())
        })
    });
    add(Shape {
        unit: Unit::Milligram,
        decimals: 0,
        ..plain("thousands marked by a comma", Nothing, |s| {
            crlf(&format!("{}{} mg", s.minus(), grouped(s, ',', '.')))
        })
    });
    add(Shape {
        unit: Unit::Milligram,
        decimals: 1,
        ..plain("thousands by a point, decimal comma", Both, |s| {
            crlf(&format!(
                "{} {}{:>11} mg",
                letter(s),
                s.sign(),
                grouped(s, '.', ',')
            ))
        })
    });
    add(Shape {
        unit: Unit::Milligram,
        decimals: 1,
        ..plain("thousands by an apostrophe", Nothing, |s| {
            crlf(&format!("{}{} mg", s.minus(), grouped(s, '\'', '.')))
        })
    });
    add(Shape {
        unit: Unit::Milligram,
        decimals: 1,
        ..plain("thousands by a blank", Nothing, |s| {
            crlf(&format!("{}{} mg", s.minus(), grouped(s, ' ', '.')))
        })
    });
    add(Shape {
        unit: Unit::Kilogram,
        decimals: 5,
        ..plain("unit in front", Nothing, |s| {
            crlf(&format!("kg {:>10}", s.text()))
        })
    });
    all
}
