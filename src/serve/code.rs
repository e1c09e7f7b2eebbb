//! The code that pairs a device: shown at the bench, typed at the device.
//!
//! Promises: a code is good once and for two minutes, and at most five wrong ones are looked at
//! for it, and in any minute, whoever sends them: then it is void. Knows no clock: it is told the
//! time. Leaves to others: what a right one opens.

use std::collections::VecDeque;
use std::time::Duration;

use tokio::time::Instant;

use super::secret::{Seal, random_bytes};

/// How long a code is good.
pub(super) const GOOD_FOR: Duration = Duration::from_mins(2);
/// Wrong tries for a code, and in any minute. With eight digits, five guesses are one chance in
/// twenty million; who guesses all day at every code that is shown has next to none.
const MOST_WRONG: usize = 5;
/// The time in which so many are allowed.
const MINUTE: Duration = Duration::from_mins(1);

/// The code that is shown, if one is, and the wrong ones of the last minute.
#[derive(Debug, Default)]
pub(super) struct Codes {
    shown: Option<Shown>,
    wrong: VecDeque<Instant>,
}

#[derive(Debug)]
struct Shown {
    seal: Seal,
    until: Instant,
    wrong: usize,
}

/// What came of a try.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Tried {
    /// It is the one that is shown. It stays good until it is used up.
    Right,
    /// It is not, or none is shown; which of both is not told to a device.
    Wrong,
    /// It was one too many: the code is void now.
    Void,
    /// Nothing was looked at: there were too many wrong ones in the last minute. Said is when
    /// the next will be.
    TooMany(Duration),
}

impl Codes {
    /// A new code of eight digits, in place of any other.
    pub(super) fn show(&mut self, now: Instant) -> String {
        // What is left over of 2^64 makes some codes likelier by less than one in 10^11.
        let number = u64::from_le_bytes(random_bytes()) % 100_000_000;
        let code = format!("{number:08}");
        self.shown = Some(Shown {
            seal: Seal::of(&code),
            until: now + GOOD_FOR,
            wrong: 0,
        });
        code
    }

    /// Looks at what was typed; spaces do not count.
    pub(super) fn attempt(&mut self, typed: &str, now: Instant) -> Tried {
        let ago = |then: &Instant| now.saturating_duration_since(*then);
        while self.wrong.front().is_some_and(|then| ago(then) >= MINUTE) {
            self.wrong.pop_front();
        }
        if self.shown.as_ref().is_some_and(|shown| now >= shown.until) {
            self.shown = None;
        }
        // Without a code nothing can be guessed, so nothing is counted either: nobody can use up
        // the tries of a code that is yet to be shown.
        let Some(shown) = &mut self.shown else {
            return Tried::Wrong;
        };
        if self.wrong.len() >= MOST_WRONG {
            let first = self.wrong.front().map_or(MINUTE, ago);
            return Tried::TooMany(MINUTE.saturating_sub(first));
        }
        let typed: String = typed.chars().filter(|c| !c.is_whitespace()).collect();
        if shown.seal.fits(&typed) {
            return Tried::Right;
        }
        shown.wrong += 1;
        self.wrong.push_back(now);
        if shown.wrong >= MOST_WRONG || self.wrong.len() >= MOST_WRONG {
            self.shown = None;
            return Tried::Void;
        }
        Tried::Wrong
    }

    /// No other device comes in by the code that is shown.
    pub(super) fn use_up(&mut self) {
        self.shown = None;
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use super::*;

    const SECOND: Duration = Duration::from_secs(1);

    fn other_than(code: &str) -> String {
        let number: u64 = code.parse().unwrap();
        format!("{:08}", (number + 1) % 100_000_000)
    }

    #[test]
    fn a_code_is_good_once_for_two_minutes_and_replaced_by_the_next() {
        let (mut codes, now) = (Codes::default(), Instant::now());
        assert_eq!(codes.attempt("12345678", now), Tried::Wrong);
        let first = codes.show(now);
        assert_eq!(first.len(), 8);
        let spaced = format!(" {} {}\n", &first[..4], &first[4..]);
        assert_eq!(codes.attempt(&spaced, now), Tried::Right);
        codes.use_up();
        assert_eq!(codes.attempt(&first, now), Tried::Wrong);

        let second = codes.show(now);
        let third = codes.show(now);
        assert_ne!(second, third);
        assert_eq!(codes.attempt(&second, now), Tried::Wrong);
        let last = now + GOOD_FOR - Duration::from_millis(1);
        assert_eq!(codes.attempt(&third, last), Tried::Right);
        assert_eq!(codes.attempt(&third, now + GOOD_FOR), Tried::Wrong);
    }

    #[test]
    fn the_fifth_wrong_one_makes_it_void_however_slowly_they_come() {
        let (mut codes, mut now) = (Codes::default(), Instant::now());
        let code = codes.show(now);
        for _ in 0..4 {
            assert_eq!(codes.attempt(&other_than(&code), now), Tried::Wrong);
            now += 25 * SECOND;
        }
        assert_eq!(codes.attempt("", now), Tried::Void);
        assert_eq!(codes.attempt(&code, now), Tried::Wrong);
    }

    #[test]
    fn no_more_than_five_wrong_ones_a_minute_are_looked_at_over_all_codes() {
        let (mut codes, start) = (Codes::default(), Instant::now());
        let (mut looked_at, mut now) = (0, start);
        // Two new codes a second, and a guess at each, for ten minutes.
        while now < start + 600 * SECOND {
            let code = codes.show(now);
            match codes.attempt(&other_than(&code), now) {
                Tried::TooMany(wait) => {
                    assert!(wait > Duration::ZERO && wait <= MINUTE, "{wait:?}");
                    // Nor is a right one.
                    assert_eq!(codes.attempt(&code, now), Tried::TooMany(wait));
                }
                Tried::Wrong | Tried::Void => looked_at += 1,
                Tried::Right => panic!("it was wrong"),
            }
            now += SECOND / 2;
        }
        assert_eq!(looked_at, 50);
        let code = codes.show(now + MINUTE);
        assert_eq!(codes.attempt(&code, now + MINUTE), Tried::Right);
    }

    #[test]
    fn tries_without_a_code_use_nothing_up() {
        let (mut codes, now) = (Codes::default(), Instant::now());
        for _ in 0..100 {
            assert_eq!(codes.attempt("00000000", now), Tried::Wrong);
        }
        let code = codes.show(now);
        assert_eq!(codes.attempt(&code, now), Tried::Right);
    }
}
