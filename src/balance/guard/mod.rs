//! The unit guard: whether the unit of what the balance shows is proven to be the bench's.
//!
//! Three kinds of evidence, strongest first. The unit in the line: a line in another unit, or with
//! a symbol that the balance file gives no unit for, is a conflict at once. For a balance that
//! sends no unit, a check weight of known mass seen on the pan: what it proves holds until the
//! link is lost, a conflict, or time. And while that holds, what a unit key does to numbers
//! (`form`, `jump`), which takes it away. Nothing is ever converted. After a conflict the unit must
//! be agreed again, by lines in a row or by the check weight. Leaves to others: the weighing of a
//! check weight, and asking for one.

mod form;
mod jump;
mod turn;

use std::time::Duration;

use rust_decimal::Decimal;

use crate::mass::{Division, Indication, Moment, Reading, Shown, Unit};
use form::{Fit, Form};
use jump::{Jumps, Seen};

/// What the guard says of the unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The line states the bench's unit, or a check weight proved it.
    Agreed,
    /// Nothing proves the unit: shown, never captured.
    Unproven,
    /// The line states another unit, or an unknown one (`None`); or the numbers did what only a
    /// unit key, or a mode key (`None`), makes them do.
    Conflict(Option<Unit>),
}

/// What the proof of a unit rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ground {
    /// The unit in the line.
    Line,
    /// A check weight, by its number in the book of check weights.
    CheckWeight(u64),
}

/// Keeps the verdict from line to line.
#[derive(Debug, Clone)]
pub struct UnitGuard {
    division: Division,
    verdict: Verdict,
    agreed_in_a_row: u32,
    /// A line stated a unit since the link was made: then lines without one prove nothing.
    says_units: bool,
    checked: Option<Checked>,
    form: Form,
    jumps: Jumps,
    /// A jump that may be one, not decided yet.
    is_suspect: bool,
    doubt: Doubt,
    /// When a line last stated a unit.
    stated: Moment,
}

/// What a conflict throws doubt on beside what is shown now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Doubt {
    Nothing,
    /// What was shown before it.
    Past,
    /// The same, and whoever asked was told.
    PastTold,
}

#[derive(Debug, Clone, Copy)]
struct Checked {
    number: u64,
    at: Moment,
    /// Something was captured on it.
    is_used: bool,
}

/// Lines in the bench's unit, one after another, that end a conflict: one alone could be a
/// garbled one.
const AGREED_AGAIN: u32 = 2;

/// For how long a check weight proves the unit: a working day (our own choice).
pub const CHECK_LASTS: Duration = Duration::from_hours(12);
/// How old one that nothing was captured on may be when a job begins (our own choice).
const CHECK_BEFORE_JOB: Duration = Duration::from_mins(15);
/// A balance that stated its unit and has not for so long does not state it any more, and only a
/// check weight leads on; in motion many leave it out, for less.
const UNSTATED: Duration = Duration::from_secs(30);
/// A standing load lighter than so many divisions says nothing when it comes back.
const LEAST_STANDING: u32 = 100;

impl UnitGuard {
    /// A guard for a bench that weighs in the unit of this division; unproven until something
    /// proves it.
    pub fn new(division: Division) -> Self {
        Self {
            division,
            verdict: Verdict::Unproven,
            agreed_in_a_row: 0,
            says_units: false,
            checked: None,
            form: Form::new(division),
            jumps: Jumps::new(division),
            is_suspect: false,
            doubt: Doubt::Nothing,
            stated: Moment::default(),
        }
    }

    /// The unit of the bench.
    pub fn unit(&self) -> Unit {
        self.division.unit()
    }

    /// The verdict as it stands.
    pub fn verdict(&self) -> Verdict {
        self.verdict
    }

    /// What the proof rests on; none unless the verdict is that it is agreed.
    pub fn ground(&self) -> Option<Ground> {
        (self.verdict == Verdict::Agreed).then(|| {
            self.checked
                .map_or(Ground::Line, |checked| Ground::CheckWeight(checked.number))
        })
    }

    /// Whether the lines state no unit, so that only a check weight can prove it.
    pub fn wants_check_weight(&self) -> bool {
        !self.says_units
    }

    /// Whether the conflict throws doubt on what was weighed before it: the numbers jumped as they
    /// would from another unit *into* the bench's, or were of a coarser division for a while.
    pub fn doubts_past(&self) -> bool {
        self.doubt != Doubt::Nothing
    }

    /// The same, once for every conflict: what was weighed before it is to be put in doubt now.
    pub fn take_doubt(&mut self) -> bool {
        let is_new = self.doubt == Doubt::Past;
        if is_new {
            self.doubt = Doubt::PastTold;
        }
        is_new
    }

    /// Whether digits without a unit have the form of the bench's division.
    pub fn has_form(&self, digits: Decimal) -> bool {
        self.form.fits(digits)
    }

    /// Judges one reading.
    pub fn judge(&mut self, reading: &Reading, at: Moment) -> Verdict {
        if matches!(reading.shown, Shown::UnitUnstated(_)) && at.since(self.stated) > UNSTATED {
            self.says_units = false;
        }
        let said = match reading.shown {
            Shown::Weighed(mass) if mass.unit() == self.unit() => Verdict::Agreed,
            Shown::Weighed(mass) => Verdict::Conflict(Some(mass.unit())),
            Shown::UnitUnknown(_) => Verdict::Conflict(None),
            Shown::UnitUnstated(digits) if !self.says_units => {
                return self.judge_digits(digits, reading, at);
            }
            Shown::UnitUnstated(_) => Verdict::Unproven,
            // Without digits, or with digits that may be of either sign, nothing is said of the unit.
            Shown::Nothing | Shown::SignUnproven(_) => return self.verdict,
        };
        if said != Verdict::Unproven {
            (self.says_units, self.stated) = (true, at);
            self.checked = None;
            (self.is_suspect, self.doubt) = (false, Doubt::Nothing);
        }
        self.agreed_in_a_row = if said == Verdict::Agreed {
            self.agreed_in_a_row.saturating_add(1)
        } else {
            0
        };
        self.verdict = match (self.verdict, said) {
            (conflict @ Verdict::Conflict(_), Verdict::Unproven) => conflict,
            (conflict @ Verdict::Conflict(_), Verdict::Agreed)
                if self.agreed_in_a_row < AGREED_AGAIN =>
            {
                conflict
            }
            (_, said) => said,
        };
        self.verdict
    }

    /// Digits of a balance that sends no unit.
    fn judge_digits(&mut self, digits: Decimal, reading: &Reading, at: Moment) -> Verdict {
        self.agreed_in_a_row = 0;
        let seen = self.jumps.take(digits, reading.status, at);
        let fit = self.form.take(digits);
        self.is_suspect = seen == Seen::Maybe;
        if self.verdict != Verdict::Agreed {
            return self.verdict;
        }
        match (fit, seen) {
            (Fit::Other, _) => self.fall_out(None, false),
            (Fit::Coarser, _) => self.fall_out(None, true),
            // By an odd ratio it may as well be the way back from a mode that counts.
            (Fit::Bench, Seen::Into(unit)) => self.fall_out(unit, unit.is_none()),
            (Fit::Bench, Seen::OutOf(unit)) => self.fall_out(Some(unit), true),
            (Fit::Bench, Seen::Nothing | Seen::Maybe) => {
                if self.checked.is_none_or(|c| at.since(c.at) > CHECK_LASTS) {
                    self.lapse();
                }
            }
        }
        self.verdict
    }

    fn fall_out(&mut self, unit: Option<Unit>, doubts_past: bool) {
        self.verdict = Verdict::Conflict(unit);
        self.checked = None;
        // A doubt that was not taken yet is not lost by a conflict that throws none.
        if doubts_past {
            self.doubt = Doubt::Past;
        } else if self.doubt == Doubt::PastTold {
            self.doubt = Doubt::Nothing;
        }
    }

    fn lapse(&mut self) {
        self.checked = None;
        self.verdict = Verdict::Unproven;
    }

    /// The indication that may be weighed with: with its unit stated and agreed, or without one
    /// while a check weight stands for it and no jump is being decided.
    pub fn believed(&self, reading: &Reading) -> Option<Indication> {
        if self.verdict != Verdict::Agreed {
            return None;
        }
        match reading.shown {
            Shown::UnitUnstated(digits) if !self.says_units && !self.is_suspect => {
                Indication::new(digits, self.unit())
            }
            _ => reading.indication(),
        }
    }

    /// Whether a jump is being decided: what is shown meanwhile is not weighed with.
    pub fn is_suspect(&self) -> bool {
        self.is_suspect
    }

    /// A check weight agreed, and its record is on disk. Lines that state their unit need none.
    pub fn agree(&mut self, number: u64, at: Moment) {
        if self.says_units {
            return;
        }
        self.checked = Some(Checked {
            number,
            at,
            is_used: false,
        });
        self.verdict = Verdict::Agreed;
        self.doubt = Doubt::Nothing;
        // The taking off of the weight is judged, not the keys pressed before it was put on.
        self.form.forget();
    }

    /// A check weight was shown as in another unit (`Some`), or not as itself in any.
    pub fn disagree(&mut self, seen: Option<Unit>) {
        if self.says_units {
            return;
        }
        match seen {
            Some(_) => self.fall_out(seen, false),
            None if self.verdict == Verdict::Agreed => self.lapse(),
            None => {}
        }
    }

    /// Something is captured on the proof as it stands.
    pub fn used(&mut self) {
        if let Some(checked) = &mut self.checked {
            checked.is_used = true;
        }
    }

    /// A job begins: a check weight before its first capture, unless one has just been seen.
    pub fn job_begins(&mut self, at: Moment) {
        let fresh = |c: Checked| !c.is_used && at.since(c.at) <= CHECK_BEFORE_JOB;
        if self.checked.is_some_and(|checked| !fresh(checked)) {
            self.lapse();
        }
    }

    /// A load that stood before comes back at rest. Where only a check weight stands for the unit,
    /// its number in another unit is a conflict that does not say since when; says whether it was.
    pub fn comes_back(&mut self, before: Indication, now: Indication) -> bool {
        let step = self
            .division
            .in_unit(self.division.mass(), self.division.decimals());
        let (before, now) = (before.digits(), now.digits());
        let heavy = before.abs() >= step * Decimal::from(LEAST_STANDING);
        if self.checked.is_none() || !heavy || (before - now).abs() <= step * Decimal::from(10) {
            return false;
        }
        let explains = |factor| turn::explains(before, now, factor, step, Decimal::ZERO);
        let other = turn::plausible(self.unit())
            .find(|(_, factor)| explains(*factor) || explains(Decimal::ONE / *factor));
        if let Some((unit, _)) = other {
            self.fall_out(Some(unit), true);
        }
        other.is_some()
    }

    /// A mass that is roughly known is weighed (a button, of a melt). Where only a check weight
    /// stands for the unit, its number in another unit, within a few per cent, is a conflict that
    /// does not say since when; says whether it was.
    pub fn should_weigh(&mut self, known: Indication, shown: Indication) -> bool {
        let (known, shown) = (known.digits(), shown.digits());
        let near = |number: Decimal| (shown - number).abs() <= number.abs() * Decimal::new(3, 2);
        if self.checked.is_none() || near(known) {
            return false;
        }
        let unit = turn::plausible(self.unit())
            .find(|(_, factor)| near(known * *factor) || near(known / *factor));
        if let Some((unit, _)) = unit {
            self.fall_out(Some(unit), true);
        }
        unit.is_some()
    }

    /// The link was lost: what was proven is not proven any more. A conflict stays.
    pub fn link_lost(&mut self) {
        self.agreed_in_a_row = 0;
        (self.checked, self.is_suspect, self.says_units) = (None, false, false);
        self.form.forget();
        self.jumps.forget();
        if self.verdict == Verdict::Agreed {
            self.verdict = Verdict::Unproven;
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Status;

    fn line(text: &str) -> Reading {
        let shown = match text.parse() {
            Ok(mass) => Shown::Weighed(mass),
            Err(_) if text.ends_with('?') => Shown::UnitUnknown(Decimal::ONE),
            Err(_) => Shown::UnitUnstated(text.parse().unwrap()),
        };
        Reading {
            shown,
            status: Status::Unsaid,
        }
    }

    struct Wire(UnitGuard, u64);

    impl Wire {
        fn new() -> Self {
            Self(UnitGuard::new("0.01 g".parse().unwrap()), 0)
        }

        fn now(&self) -> Moment {
            Moment::after_origin(Duration::from_millis(self.1))
        }

        fn say(&mut self, text: &str) -> Verdict {
            self.1 += 100;
            self.0.judge(&line(text), self.now())
        }

        fn rest(&mut self, text: &str) -> Verdict {
            for _ in 0..10 {
                self.say(text);
            }
            self.0.verdict()
        }

        fn agree(&mut self) {
            self.0.agree(1, self.now());
        }
    }

    #[test]
    fn a_conflict_is_at_once_and_is_ended_only_by_agreement() {
        use Verdict::{Agreed, Conflict, Unproven};
        let ct = Conflict(Some(Unit::Carat));
        let mut wire = Wire::new();
        let said =
            ["1", "1 g", "5 ct", "1", "1 g", "5 ct", "1 g", "1 g"].map(|line| wire.say(line));
        assert_eq!(said, [Unproven, Agreed, ct, ct, ct, ct, ct, Agreed]);
        assert_eq!(wire.0.ground(), Some(Ground::Line));
        assert_eq!(wire.say("1 ?"), Conflict(None));
    }

    #[test]
    fn a_lost_link_takes_the_proof_away() {
        let mut wire = Wire::new();
        wire.say("1 g");
        wire.0.link_lost();
        assert_eq!(wire.0.verdict(), Verdict::Unproven);
        let mut wire = Wire::new();
        wire.say("1.00");
        wire.agree();
        wire.0.link_lost();
        assert_eq!(
            (wire.0.verdict(), wire.0.ground()),
            (Verdict::Unproven, None)
        );
    }

    #[test]
    fn a_check_weight_proves_a_unit_that_is_not_sent_until_the_numbers_say_otherwise() {
        let mut wire = Wire::new();
        assert_eq!(wire.rest("4.02"), Verdict::Unproven);
        assert_eq!(wire.0.believed(&line("4.02")), None);
        wire.agree();
        assert_eq!(wire.rest("4.02"), Verdict::Agreed);
        assert_eq!(wire.0.ground(), Some(Ground::CheckWeight(1)));
        assert_eq!(wire.0.believed(&line("4.02")), "4.02 g".parse().ok());
        wire.say("20.10");
        assert_eq!(
            wire.0.believed(&line("20.10")),
            None,
            "not before it is decided"
        );
        assert_eq!(wire.rest("20.10"), Verdict::Conflict(Some(Unit::Carat)));
        assert_eq!(wire.rest("4.02"), Verdict::Conflict(Some(Unit::Carat)));
        assert!(!wire.0.doubts_past() && !wire.0.take_doubt());
        wire.agree();
        assert_eq!(wire.say("4.020"), Verdict::Conflict(None), "other decimals");
    }

    #[test]
    fn a_check_weight_is_for_a_day_and_for_one_job() {
        let mut wire = Wire::new();
        wire.rest("0.00");
        wire.agree();
        wire.0.job_begins(wire.now());
        assert_eq!(wire.0.verdict(), Verdict::Agreed);
        wire.0.used();
        wire.0.job_begins(wire.now());
        assert_eq!(wire.0.verdict(), Verdict::Unproven);
        wire.agree();
        wire.1 += 13 * 3_600_000;
        assert_eq!(wire.say("0.00"), Verdict::Unproven);
    }

    #[test]
    fn a_known_mass_in_another_unit_is_a_conflict_where_only_a_check_weight_stands_for_it() {
        let g = |text: &str| text.parse::<Indication>().unwrap();
        let mut wire = Wire::new();
        wire.rest("0.00");
        assert!(!wire.0.comes_back(g("23.10 g"), g("115.50 g")));
        wire.agree();
        for (before, now) in [
            ("23.10 g", "23.12 g"),
            ("0.20 g", "1.00 g"),
            ("23.10 g", "31.00 g"),
        ] {
            assert!(!wire.0.comes_back(g(before), g(now)), "{before} {now}");
        }
        assert!(wire.0.comes_back(g("23.10 g"), g("115.50 g")));
        assert!(wire.0.doubts_past());
        assert!(wire.0.take_doubt() && !wire.0.take_doubt(), "once");
        wire.agree();
        assert!(!wire.0.should_weigh(g("30.00 g"), g("29.60 g")));
        assert!(wire.0.should_weigh(g("30.00 g"), g("149.00 g")));
        assert!(wire.0.doubts_past() && wire.0.take_doubt(), "and again");
    }
}
