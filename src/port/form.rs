//! The form of a line, taken apart: what stands between its named groups, for writing such lines.
//!
//! Promises: any text gives skeletons or none, in bounded time; what is optional is tried with and
//! without. Understands the everyday part of regular expressions (characters, classes, groups,
//! alternatives, counts) and nothing else. Leaves to others: whether a line made from a skeleton
//! is read as it was meant (`writing` reads every line back).

/// A part of a line that is to be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Part {
    /// These bytes.
    Fixed(Vec<u8>),
    /// What a named group holds.
    Hole(String),
}

/// A line with holes.
pub(super) type Skeleton = Vec<Part>;

/// The most skeletons of one form.
const MOST_SKELETONS: usize = 64;
/// The deepest nesting of groups.
const DEEPEST: u32 = 24;
/// The most bytes of a skeleton; a line is shorter.
const LONGEST: usize = 256;

/// Every way to write a line of this form, plainest first; none for a form beyond this reader.
pub(super) fn skeletons(form: &str) -> Option<Vec<Skeleton>> {
    let mut reader = Reader {
        rest: form.as_bytes(),
        depth: 0,
    };
    let found = reader.alternatives()?;
    reader.rest.is_empty().then_some(found)
}

struct Reader<'a> {
    rest: &'a [u8],
    depth: u32,
}

impl Reader<'_> {
    fn peek(&self) -> Option<u8> {
        self.rest.first().copied()
    }

    fn next(&mut self) -> Option<u8> {
        let (first, rest) = self.rest.split_first()?;
        self.rest = rest;
        Some(*first)
    }

    fn takes(&mut self, text: &[u8]) -> bool {
        let rest = self.rest.strip_prefix(text);
        self.rest = rest.unwrap_or(self.rest);
        rest.is_some()
    }

    /// `a|b|c`, up to the end or to a `)` that is left standing.
    fn alternatives(&mut self) -> Option<Vec<Skeleton>> {
        let mut all = self.sequence()?;
        while self.takes(b"|") {
            all.extend(self.sequence()?);
        }
        all.truncate(MOST_SKELETONS);
        Some(all)
    }

    fn sequence(&mut self) -> Option<Vec<Skeleton>> {
        let mut all = vec![Skeleton::new()];
        while let Some(next) = self.peek() {
            if matches!(next, b'|' | b')') {
                break;
            }
            let piece = self.piece()?;
            let piece = self.counted(piece)?;
            all = joined(&all, &piece)?;
        }
        Some(all)
    }

    /// One piece, without its count.
    fn piece(&mut self) -> Option<Vec<Skeleton>> {
        match self.next()? {
            b'(' => self.group(),
            b'[' => fixed(self.class()?),
            b'\\' => match self.escape()? {
                Escape::Byte(byte) => fixed(byte),
                Escape::Set(set) => fixed(plainest(&set)?),
            },
            b'.' => fixed(b' '),
            b'^' | b'$' => Some(vec![Skeleton::new()]),
            b'*' | b'+' | b'?' | b'{' => None,
            byte => fixed(byte),
        }
    }

    fn group(&mut self) -> Option<Vec<Skeleton>> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return None;
        }
        let name = if self.takes(b"?<") || self.takes(b"?P<") {
            let end = self.rest.iter().position(|byte| *byte == b'>')?;
            let name = String::from_utf8(self.rest.get(..end)?.to_vec()).ok()?;
            self.rest = self.rest.get(end + 1..)?;
            Some(name)
        } else if self.takes(b"?:") || self.peek() != Some(b'?') {
            None
        } else {
            return None; // flags
        };
        let inside = self.alternatives()?;
        if !self.takes(b")") {
            return None;
        }
        self.depth -= 1;
        Some(match name {
            Some(name) => vec![vec![Part::Hole(name)]],
            None => inside,
        })
    }

    /// The piece as often as the count behind it wants it at least; what may be left out is tried
    /// with it first when it has a hole.
    fn counted(&mut self, piece: Vec<Skeleton>) -> Option<Vec<Skeleton>> {
        let least = match self.peek() {
            Some(b'?' | b'*') => {
                self.next();
                0
            }
            Some(b'+') => {
                self.next();
                1
            }
            Some(b'{') => {
                self.next();
                self.bounds()?
            }
            _ => return Some(piece),
        };
        self.takes(b"?"); // as few as possible: the same to us
        let has_hole = piece
            .iter()
            .flatten()
            .any(|part| matches!(part, Part::Hole(_)));
        if least == 0 {
            let mut all = if has_hole { piece } else { Vec::new() };
            all.push(Skeleton::new());
            return Some(all);
        }
        let mut all = vec![Skeleton::new()];
        for _ in 0..least {
            all = joined(&all, &piece)?;
        }
        Some(all)
    }

    /// `n}`, `n,}` or `n,m}`: gives `n`.
    fn bounds(&mut self) -> Option<usize> {
        let end = self.rest.iter().position(|byte| *byte == b'}')?;
        let text = std::str::from_utf8(self.rest.get(..end)?).ok()?;
        self.rest = self.rest.get(end + 1..)?;
        let least: usize = text.split(',').next()?.trim().parse().ok()?;
        (least <= LONGEST).then_some(least)
    }

    /// `[...]`: its plainest byte.
    fn class(&mut self) -> Option<u8> {
        let not = self.takes(b"^");
        let mut set = [false; 256];
        let mut first = true;
        loop {
            let from = match self.next()? {
                b']' if !first => break,
                b'[' if self.peek() == Some(b':') => return None,
                b'\\' => match self.escape()? {
                    Escape::Byte(byte) => byte,
                    Escape::Set(more) => {
                        for (one, more) in set.iter_mut().zip(more.iter()) {
                            *one |= more;
                        }
                        first = false;
                        continue;
                    }
                },
                byte => byte,
            };
            first = false;
            let to = if self.peek() == Some(b'-') && self.rest.get(1) != Some(&b']') {
                self.next();
                match self.next()? {
                    b'\\' => match self.escape()? {
                        Escape::Byte(byte) => byte,
                        Escape::Set(_) => return None,
                    },
                    byte => byte,
                }
            } else {
                from
            };
            for byte in from..=to {
                *set.get_mut(usize::from(byte))? = true;
            }
        }
        if not {
            for one in &mut set {
                *one = !*one;
            }
        }
        plainest(&set)
    }

    fn escape(&mut self) -> Option<Escape> {
        let set = |is: fn(u8) -> bool| {
            let mut set = [false; 256];
            for (byte, one) in (0_u8..=255).zip(&mut set) {
                *one = is(byte);
            }
            Some(Escape::Set(Box::new(set)))
        };
        match self.next()? {
            b'd' => set(|byte| byte.is_ascii_digit()),
            b'D' => set(|byte| !byte.is_ascii_digit()),
            b's' => set(|byte| byte.is_ascii_whitespace()),
            b'S' => set(|byte| !byte.is_ascii_whitespace()),
            b'w' => set(|byte| byte.is_ascii_alphanumeric() || byte == b'_'),
            b'W' => set(|byte| !byte.is_ascii_alphanumeric() && byte != b'_'),
            b't' => Some(Escape::Byte(b'\t')),
            b'r' => Some(Escape::Byte(b'\r')),
            b'n' => Some(Escape::Byte(b'\n')),
            b'x' => {
                let digits = std::str::from_utf8(self.rest.get(..2)?).ok()?;
                let byte = u8::from_str_radix(digits, 16).ok()?;
                self.rest = self.rest.get(2..)?;
                Some(Escape::Byte(byte))
            }
            byte if byte.is_ascii_punctuation() || byte == b' ' => Some(Escape::Byte(byte)),
            _ => None,
        }
    }
}

enum Escape {
    Byte(u8),
    Set(Box<[bool; 256]>),
}

/// The byte of a set that says least: a blank, else a nought, else the first that prints.
fn plainest(set: &[bool; 256]) -> Option<u8> {
    let has = |byte: &u8| set.get(usize::from(*byte)) == Some(&true);
    [b' ', b'0']
        .into_iter()
        .chain(b'!'..=b'~')
        .chain(0..=255)
        .find(has)
}

#[allow(clippy::unnecessary_wraps)] // as the others of its kind
fn fixed(byte: u8) -> Option<Vec<Skeleton>> {
    Some(vec![vec![Part::Fixed(vec![byte])]])
}

/// Each of the first followed by each of the second; none when that grows too long.
fn joined(first: &[Skeleton], second: &[Skeleton]) -> Option<Vec<Skeleton>> {
    let mut all = Vec::new();
    for one in first {
        for other in second {
            if all.len() == MOST_SKELETONS {
                return Some(all);
            }
            let mut whole = one.clone();
            for part in other {
                match (whole.last_mut(), part) {
                    (Some(Part::Fixed(bytes)), Part::Fixed(more)) => bytes.extend(more),
                    _ => whole.push(part.clone()),
                }
            }
            let size: usize = whole
                .iter()
                .map(|part| match part {
                    Part::Fixed(bytes) => bytes.len(),
                    Part::Hole(_) => 1,
                })
                .sum();
            if size > LONGEST {
                return None;
            }
            all.push(whole);
        }
    }
    Some(all)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn drawn(form: &str) -> Vec<String> {
        let all = skeletons(form).unwrap();
        let draw = |part: &Part| match part {
            Part::Fixed(bytes) => String::from_utf8_lossy(bytes).into_owned(),
            Part::Hole(name) => format!("<{name}>"),
        };
        all.iter()
            .map(|one| one.iter().map(draw).collect())
            .collect()
    }

    #[test]
    fn forms_are_taken_apart() {
        for (form, want) in [
            ("N;(?<value>[+-]?[0-9,]+);", &["N;<value>;"][..]),
            (
                r"(?<status>a|b) *(?<value>.*)\x03",
                &["<status><value>\x03"],
            ),
            (r"[A-Z]{2}[^0-9]\d+\.x?", &["AA 0."]),
            (
                "(?:gross|net) (?P<value>.)",
                &["gross <value>", "net <value>"],
            ),
            ("(?<unit>g)?-", &["<unit>-", "-"]),
            ("(?: (?<unit>g))*", &[" <unit>", ""]),
            ("(a|b)(c|d)", &["ac", "ad", "bc", "bd"]),
            (r"[\]\-x][]]", &["-]"]),
            ("", &[""]),
        ] {
            assert_eq!(drawn(form), want, "{form}");
        }
    }

    #[test]
    fn what_is_beyond_it_is_said_to_be() {
        for form in [
            "(?i)g",
            "(",
            ")",
            "a)",
            "[a",
            "*",
            r"\p{L}",
            "[[:alpha:]]",
            "a{300}",
            "(?=x)",
            r"\",
        ] {
            assert!(skeletons(form).is_none(), "{form}");
        }
        assert!(skeletons(&"(".repeat(5000)).is_none());
        assert_eq!(
            skeletons(&"(a|b)".repeat(20)).unwrap().len(),
            MOST_SKELETONS
        );
    }

    proptest! {
        #[test]
        fn no_form_makes_it_panic(form in r"([ -~]|\(\?:|\[\^|\{3,\}|\\x0)*") {
            let _either = skeletons(&form);
        }
    }
}
