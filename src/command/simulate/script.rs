//! What may be said to a pretend balance: one line, one thing that happens to it.
//!
//! Promises: every line is read whole or refused with what is known; a script is refused with the
//! number of its line before anything is started. Leaves to others: doing it, and when (`play`).

use std::time::Duration;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;

use crate::mass::{Indication, Mass, Unit, typed_number};
use crate::trouble::Trouble;

/// What the words are, for `--help` and for a line that is not understood.
pub(super) const WORDS: &str = "\
put 12.46 g           put this on the pan, to what lies there
take 0.09 g           take this off
empty                 empty the pan
trickle 2.4 g in 8s   pour this on evenly
unit ct               press the unit key until this unit shows
tare                  press the tare key
noise 0.02 g          from now on the display strays by no more than this
drift 0.05 g in 1m    from now on the zero wanders so far in this time
unplug 2s             pull the plug, and put it back after this time (or: unplug, plug)
silent 5s             say nothing for this time (or: silent, talk)
garble 5s             speak as if at another speed for this time
say \"OVER\\r\\n\"        send exactly these bytes (\\r \\n \\t \\\\ \\\" \\xNN)
wait 3s               let time pass
end                   end the pretend balance

In a script a line begins when the one before it is done; with `at 2s` in front it begins at that
time after the beginning of the script, whatever is still under way. `loop`, or `loop 3`, as the
last line begins again from the first, for ever or three times in all. After the last line the
balance goes on as it is. Empty lines and lines that begin with # are nothing.";

/// One thing that happens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Deed {
    Put(Mass),
    Take(Mass),
    Empty,
    Trickle(Mass, Duration),
    Unit(Unit),
    Tare,
    Noise(Mass),
    Drift(Mass, Duration),
    Unplug(Option<Duration>),
    Plug,
    Silent(Option<Duration>),
    Talk,
    Garble(Duration),
    Say(Vec<u8>),
    Wait(Duration),
    End,
}

/// A line of a script.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Line {
    /// When, after the beginning; none: when the line before it is done.
    pub(super) at: Option<Duration>,
    pub(super) deed: Deed,
    /// As it was written.
    pub(super) text: String,
}

/// A whole script.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Script {
    pub(super) lines: Vec<Line>,
    /// How often it is played; none: for ever.
    pub(super) turns: Option<u32>,
}

/// The longest time that is taken.
const LONGEST: Duration = Duration::from_hours(24);

/// Reads a whole script.
pub(super) fn script(text: &str) -> Result<Script, Trouble> {
    let mut script = Script {
        lines: Vec::new(),
        turns: Some(1),
    };
    let mut ended = false;
    for (number, line) in (1..).zip(text.lines()) {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let wrong = |why: String| {
            refused(&format!(
                "Line {number} of the script, \"{line}\", cannot be followed: {why}."
            ))
        };
        if ended {
            return Err(wrong("nothing can come after loop".to_owned()));
        }
        if let Some(turns) = turns(line) {
            script.turns = turns.map_err(wrong)?;
            ended = true;
            continue;
        }
        script.lines.push(read(line).map_err(wrong)?);
    }
    if script.lines.is_empty() && script.turns != Some(1) {
        return Err(refused("The script has nothing to do again."));
    }
    Ok(script)
}

/// Reads a line that was typed; none for an empty one.
pub(super) fn typed(line: &str) -> Result<Option<Line>, Trouble> {
    let line = line.trim();
    if line.is_empty() || line.starts_with('#') {
        return Ok(None);
    }
    let read =
        read(line).map_err(|why| refused(&format!("\"{line}\" cannot be followed: {why}.")))?;
    if read.at.is_some() {
        return Err(refused(&format!(
            "\"{line}\" cannot be followed: at is for scripts; what is typed happens at once."
        )));
    }
    Ok(Some(read))
}

fn refused(happened: &str) -> Trouble {
    Trouble::new(
        "script-unreadable",
        happened,
        "Nothing of it was done.",
        "Known are put, take, empty, trickle, unit, tare, noise, drift, unplug, plug, silent, talk, garble, say, wait and end; panbell simulate --help shows each.",
    )
}

/// `loop` and `loop N`.
fn turns(line: &str) -> Option<Result<Option<u32>, String>> {
    let rest = line.strip_prefix("loop")?;
    if rest.is_empty() {
        return Some(Ok(None));
    }
    let count = rest.strip_prefix(' ')?.trim().parse::<u32>();
    Some(match count {
        Ok(count @ 1..=1_000_000) => Ok(Some(count)),
        _ => Err("loop takes a whole number from 1 to 1000000, or nothing".to_owned()),
    })
}

fn read(line: &str) -> Result<Line, String> {
    let (at, rest) = match line.strip_prefix("at ") {
        Some(rest) => {
            // The time may stand apart from its unit: `at 2 s put 1 g`.
            let rest = rest.trim_start();
            let mut cuts = rest.match_indices(' ').map(|(cut, _)| cut).take(2);
            let found = cuts.find_map(|cut| {
                let (time, rest) = rest.split_at(cut);
                Some((time_of(time).ok()?, rest.trim_start()))
            });
            let (at, rest) =
                found.ok_or("at wants a time and what happens then, as in at 2s tare")?;
            (Some(at), rest)
        }
        None => (None, line),
    };
    let (word, rest) = rest.split_once(' ').unwrap_or((rest, ""));
    Ok(Line {
        at,
        deed: deed(word, rest.trim())?,
        text: line.to_owned(),
    })
}

fn deed(word: &str, rest: &str) -> Result<Deed, String> {
    let bare = |deed: Deed| {
        if rest.is_empty() {
            Ok(deed)
        } else {
            Err(format!("nothing goes behind {word}"))
        }
    };
    let lasting = || (!rest.is_empty()).then(|| time_of(rest)).transpose();
    match word {
        "put" => Ok(Deed::Put(load(rest)?)),
        "take" => Ok(Deed::Take(load(rest)?)),
        "empty" => bare(Deed::Empty),
        "trickle" => {
            let (mass, time) = over_time(rest)?;
            if mass.is_negative() {
                return Err("only metal that comes on trickles; take takes it off".to_owned());
            }
            Ok(Deed::Trickle(mass, time))
        }
        "unit" => rest
            .parse::<Unit>()
            .map(Deed::Unit)
            .map_err(|trouble| lower(&trouble.happened)),
        "tare" => bare(Deed::Tare),
        "noise" => Ok(Deed::Noise(load(rest)?)),
        "drift" => over_time(rest).map(|(mass, time)| Deed::Drift(mass, time)),
        "unplug" => lasting().map(Deed::Unplug),
        "plug" => bare(Deed::Plug),
        "silent" => lasting().map(Deed::Silent),
        "talk" => bare(Deed::Talk),
        "garble" => time_of(rest).map(Deed::Garble),
        "say" => bytes(rest).map(Deed::Say),
        "wait" => time_of(rest).map(Deed::Wait),
        "end" => bare(Deed::End),
        "loop" => Err("loop is for the end of a script".to_owned()),
        _ => Err(format!("there is no word {word}")),
    }
}

/// The trouble's own sentence inside another one.
fn lower(sentence: &str) -> String {
    sentence.trim_end_matches('.').to_owned()
}

fn mass(text: &str) -> Result<Mass, String> {
    text.parse::<Indication>()
        .map(Indication::mass)
        .map_err(|trouble| lower(&trouble.happened))
}

fn load(text: &str) -> Result<Mass, String> {
    let mass = mass(text)?;
    if mass.is_negative() {
        return Err("a mass on the pan is not below zero".to_owned());
    }
    Ok(mass)
}

fn over_time(text: &str) -> Result<(Mass, Duration), String> {
    let (what, time) = text
        .split_once(" in ")
        .ok_or("it wants a mass and a time, as in 2.4 g in 8s")?;
    Ok((mass(what.trim())?, time_of(time.trim())?))
}

/// `8s`, `1.5 s`, `300ms`, `2m`, `1h`.
pub(super) fn time_of(text: &str) -> Result<Duration, String> {
    let wrong = || format!("\"{text}\" is no time; write it as 8s, 300ms or 2m");
    let cut = text
        .find(|c: char| c.is_ascii_alphabetic())
        .ok_or_else(wrong)?;
    let (number, unit) = text.split_at(cut);
    let millis = match unit {
        "ms" => 1,
        "s" => 1000,
        "m" => 60_000,
        "h" => 3_600_000,
        _ => return Err(wrong()),
    };
    let number =
        typed_number(number.trim()).map_err(|no| format!("\"{text}\" is no time: {no}"))?;
    let time = number
        .checked_mul(Decimal::from(millis))
        .and_then(|millis| millis.round().to_u64())
        .map(Duration::from_millis)
        .ok_or_else(wrong)?;
    if time > LONGEST {
        return Err("no time here is longer than a day".to_owned());
    }
    Ok(time)
}

/// Bytes between quotes, with escapes.
fn bytes(text: &str) -> Result<Vec<u8>, String> {
    let wrong = || "it wants what to send between quotes, as in say \"OVER\\r\\n\"".to_owned();
    let inside = text
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'))
        .ok_or_else(wrong)?;
    let mut out = Vec::new();
    let mut rest = inside.bytes();
    while let Some(byte) = rest.next() {
        if byte == b'"' {
            return Err(wrong());
        }
        if byte != b'\\' {
            out.push(byte);
            continue;
        }
        out.push(match rest.next() {
            Some(b'r') => b'\r',
            Some(b'n') => b'\n',
            Some(b't') => b'\t',
            Some(same @ (b'\\' | b'"')) => same,
            Some(b'x') => {
                let mut digit = || rest.next().and_then(|byte| char::from(byte).to_digit(16));
                let (high, low) = (digit(), digit());
                high.zip(low)
                    .and_then(|(high, low)| u8::try_from(high * 16 + low).ok())
                    .ok_or("\\x wants two digits from 0 to F")?
            }
            _ => return Err("known are \\r \\n \\t \\\\ \\\" and \\xNN".to_owned()),
        });
    }
    Ok(out)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn g(text: &str) -> Mass {
        mass(text).unwrap()
    }

    #[test]
    fn a_script_is_read_line_by_line() {
        let script = script(
            "# a lot\n\nat 2s put 12.46 g\n trickle 2.4 g in 8s\nat 1.5 s unit ct\ntare\n\
             unplug 2s\nunplug\nplug\nnoise 0.02 g\ndrift -0.05 g in 1m\nsay \"O\\x4b \\\"\\r\\n\"\n\
             silent 300ms\nwait 1h\nloop 3\n",
        )
        .unwrap();
        let secs = Duration::from_secs;
        let deeds: Vec<(Option<Duration>, Deed)> = script
            .lines
            .iter()
            .map(|line| (line.at, line.deed.clone()))
            .collect();
        assert_eq!(
            deeds,
            [
                (Some(secs(2)), Deed::Put(g("12.46 g"))),
                (None, Deed::Trickle(g("2.4 g"), secs(8))),
                (Some(Duration::from_millis(1500)), Deed::Unit(Unit::Carat)),
                (None, Deed::Tare),
                (None, Deed::Unplug(Some(secs(2)))),
                (None, Deed::Unplug(None)),
                (None, Deed::Plug),
                (None, Deed::Noise(g("0.02 g"))),
                (None, Deed::Drift(g("-0.05 g"), secs(60))),
                (None, Deed::Say(b"OK \"\r\n".to_vec())),
                (None, Deed::Silent(Some(Duration::from_millis(300)))),
                (None, Deed::Wait(secs(3600))),
            ]
        );
        assert_eq!(script.turns, Some(3));
        assert_eq!(super::script("tare\nloop").unwrap().turns, None);
    }

    #[test]
    fn what_cannot_be_followed_is_refused_with_its_line() {
        for (text, why) in [
            ("put 1", "Line 1"),
            ("tare\n\nput -1 g", "Line 3"),
            ("put 1 gr", "gr"),
            ("trickle 1 g", "as in 2.4 g in 8s"),
            ("trickle -1 g in 1s", "trickles"),
            ("wait 5", "no time"),
            ("wait 5w", "no time"),
            ("wait -5s", "no time"),
            ("wait 99h", "longer than a day"),
            ("dance", "no word dance"),
            ("tare now", "nothing goes behind tare"),
            ("say OVER", "between quotes"),
            ("say \"a\"b\"", "between quotes"),
            ("say \"\\q\"", "known are"),
            ("say \"\\x4\"", "two digits"),
            ("at 2s", "at wants a time"),
            ("loop\ntare", "after loop"),
            ("tare\nloop 0", "from 1"),
            ("loop", "nothing to do"),
            ("unit furlong", "furlong"),
        ] {
            let wrong = script(text).unwrap_err();
            assert_eq!(wrong.code, "script-unreadable");
            assert!(wrong.happened.contains(why), "{text}: {wrong}");
        }
        assert_eq!(typed("  ").unwrap(), None);
        assert_eq!(typed("tare").unwrap().unwrap().deed, Deed::Tare);
        assert!(typed("at 2s tare").is_err() && typed("loop").is_err());
    }

    /// Every word that the help shows is one that is read as it stands there.
    #[test]
    fn the_help_shows_what_is_read() {
        let table = WORDS.split("\n\n").next().unwrap();
        assert_eq!(table.lines().count(), 14);
        for line in table.lines() {
            let example = line.split("  ").next().unwrap();
            assert!(typed(example).unwrap().is_some(), "{example}");
        }
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in r#"(at |put |say "|\\x|trickle | in |[ -~é\n]){0,12}"#) {
            let _either = script(&text);
        }
    }
}
