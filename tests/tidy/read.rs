//! Reads Rust source just far enough: words, marks, texts and the paths that code names. Comments
//! are left out, and what stands in a text is not code. Leaves to others: what may be named.

/// A piece of source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Token {
    /// A name or a keyword.
    Word(String),
    /// `::`.
    Colons,
    /// Any other single mark.
    Mark(char),
    /// What stands between quotes, with escapes as written.
    Text(String),
    /// A whole number.
    Number(String),
    /// A number with a point or an exponent.
    Float(String),
}

/// A path that code names, with groups spread out: `a::{b, c::d}` gives `a::b` and `a::c::d`.
pub(crate) struct Named {
    pub(crate) line: usize,
    pub(crate) path: String,
}

struct Reader<'a> {
    rest: &'a str,
    line: usize,
}

impl<'a> Reader<'a> {
    fn take(&mut self, bytes: usize) -> &'a str {
        let (taken, rest) = self.rest.split_at(bytes.min(self.rest.len()));
        self.line += taken.matches('\n').count();
        self.rest = rest;
        taken
    }

    /// Takes as long as it holds, from the start.
    fn take_while(&mut self, holds: impl Fn(char) -> bool) -> &'a str {
        let end = self.rest.find(|c| !holds(c)).unwrap_or(self.rest.len());
        self.take(end)
    }

    fn block_comment(&mut self) {
        let mut depth = 0_usize;
        loop {
            if self.rest.starts_with("/*") {
                depth += 1;
                self.take(2);
            } else if self.rest.starts_with("*/") {
                depth -= 1;
                self.take(2);
                if depth == 0 {
                    return;
                }
            } else {
                match self.rest.chars().next() {
                    Some(c) => self.take(c.len_utf8()),
                    None => return,
                };
            }
        }
    }

    /// A text in double quotes; `hashes` is none for one with escapes.
    fn quoted(&mut self, hashes: Option<usize>) -> String {
        if let Some(count) = hashes {
            let close = format!("\"{}", "#".repeat(count));
            self.take(count + 1);
            let end = self.rest.find(&close).unwrap_or(self.rest.len());
            let text = self.take(end).to_owned();
            self.take(close.len());
            return text;
        }
        self.take(1);
        let mut escaped = false;
        let ends = |c| {
            let ends = c == '"' && !escaped;
            escaped = c == '\\' && !escaped;
            ends
        };
        let end = self.rest.find(ends).unwrap_or(self.rest.len());
        let text = self.take(end).to_owned();
        self.take(1);
        text
    }

    /// After a `'`: a letter in quotes, or nothing if it begins a lifetime.
    fn letter(&mut self) {
        self.take(1);
        let mut chars = self.rest.chars();
        match (chars.next(), chars.next()) {
            (Some('\\'), Some(escaped)) => {
                self.take(1 + escaped.len_utf8());
                self.take_while(|c| c != '\'');
                self.take(1);
            }
            (Some(c), Some('\'')) => {
                self.take(c.len_utf8() + 1);
            }
            _ => {}
        }
    }

    fn number(&mut self, after_point: bool) -> Token {
        let mut text = self.take_while(is_word).to_owned();
        let radix = ["0x", "0b", "0o"].iter().any(|r| text.starts_with(r));
        let mut float = !radix && text.contains(['e', 'E']) && !text.contains("size"); // 1usize
        let mut ahead = self.rest.chars();
        let point = ahead.next() == Some('.');
        let digit = ahead.next().is_some_and(|c| c.is_ascii_digit());
        // After a point it is the place in a tuple, as in `pair.0.1`.
        if point && digit && !after_point && !radix {
            float = true;
            text.push_str(self.take(1));
            text.push_str(self.take_while(is_word));
        }
        float |= !radix && (text.ends_with("f32") || text.ends_with("f64"));
        if float {
            Token::Float(text)
        } else {
            Token::Number(text)
        }
    }
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The pieces of a source, each with its line.
pub(crate) fn tokens(text: &str) -> Vec<(usize, Token)> {
    let mut reader = Reader {
        rest: text,
        line: 1,
    };
    let mut found: Vec<(usize, Token)> = Vec::new();
    while let Some(c) = reader.rest.chars().next() {
        let line = reader.line;
        if c.is_whitespace() {
            reader.take(c.len_utf8());
        } else if reader.rest.starts_with("//") {
            reader.take_while(|c| c != '\n');
        } else if reader.rest.starts_with("/*") {
            reader.block_comment();
        } else if c == '"' {
            found.push((line, Token::Text(reader.quoted(None))));
        } else if c == '\'' {
            reader.letter();
        } else if c.is_ascii_digit() {
            let after_point = matches!(found.last(), Some((_, Token::Mark('.'))));
            let token = reader.number(after_point);
            found.push((line, token));
        } else if is_word(c) {
            let word = reader.take_while(is_word);
            let hashes = reader.rest.len() - reader.rest.trim_start_matches('#').len();
            let opens = reader
                .rest
                .get(hashes..)
                .is_some_and(|r| r.starts_with('"'));
            match word {
                "r" | "br" | "cr" if opens => {
                    found.push((line, Token::Text(reader.quoted(Some(hashes)))));
                }
                "b" | "c" if opens && hashes == 0 => {
                    found.push((line, Token::Text(reader.quoted(None))));
                }
                "b" if reader.rest.starts_with('\'') => reader.letter(),
                _ => found.push((line, Token::Word(word.to_owned()))),
            }
        } else if reader.rest.starts_with("::") {
            reader.take(2);
            found.push((line, Token::Colons));
        } else {
            reader.take(c.len_utf8());
            found.push((line, Token::Mark(c)));
        }
    }
    found
}

/// Every path that the code names, one word ones included.
pub(crate) fn paths(text: &str) -> Vec<Named> {
    let tokens = tokens(text);
    let mut found = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        if matches!(tokens[at].1, Token::Word(_)) {
            at = spread(&tokens, at, "", &mut found);
        } else {
            at += 1;
        }
    }
    found
}

/// Reads one path from `at`, groups and all; gives where it ends.
fn spread(tokens: &[(usize, Token)], mut at: usize, before: &str, found: &mut Vec<Named>) -> usize {
    let mut path = before.to_owned();
    loop {
        let Some((line, token)) = tokens.get(at) else {
            return at;
        };
        match token {
            Token::Word(word) if word == "self" && !path.is_empty() => {}
            Token::Word(word) => join(&mut path, word),
            Token::Mark('*') => join(&mut path, "*"),
            Token::Mark('{') if !path.is_empty() => {
                at += 1;
                while let Some((_, token)) = tokens.get(at) {
                    match token {
                        Token::Mark('}') => return at + 1,
                        Token::Word(_) | Token::Mark('*' | '{') => {
                            at = spread(tokens, at, &path, found);
                        }
                        _ => at += 1,
                    }
                }
                return at;
            }
            // `Vec::<u8>::new`: what follows is a path of its own.
            _ => {
                found.push(Named { line: *line, path });
                return at;
            }
        }
        let goes_on = matches!(tokens.get(at + 1), Some((_, Token::Colons)))
            && !matches!(token, Token::Mark('*'));
        if !goes_on {
            found.push(Named { line: *line, path });
            return at + 1;
        }
        at += 2;
    }
}

fn join(path: &mut String, word: &str) {
    if !path.is_empty() {
        path.push_str("::");
    }
    path.push_str(word);
}

#[test]
fn groups_are_spread_out() {
    let all: Vec<String> = paths("use a::{b, c::{self, d as e}, f::*}; x::<u8>::y();")
        .into_iter()
        .map(|named| named.path)
        .collect();
    for path in ["a::b", "a::c", "a::c::d", "a::f::*"] {
        assert!(all.iter().any(|known| known == path), "{path} in {all:?}");
    }
}
