//! How often a balance sends, learned as it is heard, and which gaps that explains.
//!
//! Promises: a gap that the pace does not explain is told, and so is what comes faster than it was
//! sent, since it was held back on its way; stalls do not teach it, unless most of what is heard
//! comes like that; no clock, bounded memory. Leaves to others: what a gap means.

use std::time::Duration;

use crate::mass::Moment;

/// Follows the arrival of readings.
#[derive(Debug, Clone)]
pub struct Pace {
    /// The last intervals in milliseconds, oldest overwritten first.
    intervals: [u32; KEPT],
    heard: usize,
    /// What usually lies between two readings, and what may lie between them.
    learned: Option<Learned>,
    last: Option<Moment>,
    /// What came since the last was no reading.
    paused: bool,
    /// When the readings began that came together with the last one.
    clump: Moment,
    /// How old what comes may be at most, having been held back.
    behind: Duration,
}

#[derive(Debug, Clone, Copy)]
struct Learned {
    usual: Duration,
    limit: Duration,
}

/// How a reading comes after the one before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrival {
    /// None came before it that it could be measured against.
    First,
    /// In time.
    InTime,
    /// After a gap that the pace does not explain.
    AfterGap,
    /// Sooner than it was sent, after such a gap: it was held back on its way, and is old.
    HeldBack,
}

/// Intervals that are remembered: three seconds of a quick balance.
const KEPT: usize = 31;
/// With fewer than these nobody can say which interval is the usual one: the shortest counts, so
/// that a stall at the beginning is none.
const FEW: usize = 8;
/// Readings that come within this of each other came together: adapters deliver in parcels, every
/// 16 ms or so as they come (common practice, no source).
const CLUMP: Duration = Duration::from_millis(30);
/// By how much an honest reading may be late on a machine that is busy (our own choice).
const JITTER: Duration = Duration::from_millis(120);
/// The same at most for a slow balance that sends evenly: half an interval, up to this (our own
/// choice).
const LATE: Duration = Duration::from_millis(250);

impl Pace {
    /// Nothing heard yet.
    pub fn new() -> Self {
        Self {
            intervals: [0; KEPT],
            heard: 0,
            learned: None,
            last: None,
            paused: false,
            clump: Moment::default(),
            behind: Duration::ZERO,
        }
    }

    /// A reading comes.
    pub fn heard(&mut self, at: Moment) -> Arrival {
        let Some(last) = self.last.replace(at) else {
            self.clump = at;
            return Arrival::First;
        };
        let gap = at.since(last);
        let usual = self.usual().unwrap_or(gap);
        let arrival = if self.limit().is_some_and(|limit| gap > limit) {
            self.behind = gap.saturating_sub(usual);
            if self.paused {
                Arrival::First
            } else {
                Arrival::AfterGap
            }
        } else if self.paused {
            self.behind = Duration::ZERO;
            Arrival::First
        } else if !self.behind.is_zero() && gap < usual * 3 / 4 {
            self.behind = self.behind.saturating_sub(usual.saturating_sub(gap));
            Arrival::HeldBack
        } else {
            self.behind = Duration::ZERO;
            Arrival::InTime
        };
        let since_clump = at.since(self.clump);
        if since_clump >= CLUMP {
            self.clump = at;
            // How fast a way lets go of what it held back is no pace of the balance.
            if arrival != Arrival::HeldBack && !self.paused {
                self.learn(since_clump);
            }
        }
        self.paused = false;
        arrival
    }

    /// What usually lies between two readings, once any two were heard.
    pub fn usual(&self) -> Option<Duration> {
        self.learned.map(|learned| learned.usual)
    }

    /// The longest time between two readings that is no gap; none before any two were heard.
    pub fn limit(&self) -> Option<Duration> {
        self.learned.map(|learned| learned.limit)
    }

    /// Whether more time has passed since the last reading than the pace explains.
    pub fn is_overdue(&self, at: Moment) -> bool {
        match (self.last, self.limit()) {
            (Some(last), Some(limit)) if !self.paused => at.since(last) > limit,
            _ => true,
        }
    }

    /// What comes next follows on nothing that came before, though it may have been held back.
    pub fn pause(&mut self) {
        self.paused = true;
    }

    fn learn(&mut self, interval: Duration) {
        let interval = u32::try_from(interval.as_millis()).unwrap_or(u32::MAX);
        if let Some(oldest) = self.intervals.get_mut(self.heard % KEPT) {
            *oldest = interval;
        }
        self.heard += 1;
        let mut all = self.intervals;
        let Some(known) = all.get_mut(..self.heard.min(KEPT)) else {
            return;
        };
        known.sort_unstable();
        let few = known.len() < FEW;
        let middle = |sorted: &[u32]| sorted.get(sorted.len() / 2).copied().unwrap_or_default();
        let usual = if few {
            known.first().copied().unwrap_or_default()
        } else {
            middle(known)
        };
        let spread = if few {
            0
        } else {
            for each in known.iter_mut() {
                *each = each.abs_diff(usual);
            }
            known.sort_unstable();
            middle(known)
        };
        let usual = Duration::from_millis(usual.into());
        // One that sends unevenly may be late by what it usually is, four times over.
        let uneven = Duration::from_millis(u64::from(spread) * 4).min(usual * 3 / 2);
        self.learned = Some(Learned {
            usual,
            limit: usual + JITTER.max(uneven).max(LATE.min(usual / 2)),
        });
    }
}

impl Default for Pace {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Says when readings come, by the intervals between them; gives which followed without a gap.
    fn heard(pace: &mut Pace, from: u64, intervals: &[u64]) -> (Vec<bool>, u64) {
        let mut now = from;
        let mut all = Vec::new();
        for interval in intervals {
            now += interval;
            let at = Moment::after_origin(Duration::from_millis(now));
            all.push(pace.heard(at) == Arrival::InTime);
        }
        (all, now)
    }

    fn even(every: u64, readings: usize) -> (Pace, u64) {
        let mut pace = Pace::new();
        let (_, now) = heard(&mut pace, 0, &vec![every; readings]);
        (pace, now)
    }

    #[test]
    fn a_gap_is_what_the_pace_does_not_explain() {
        for (every, fine, gap) in [
            (50, 160, 180),
            (100, 215, 260),
            (200, 310, 400),
            (1400, 1640, 1700),
        ] {
            let (pace, now) = even(every, 20);
            let after = |interval| heard(&mut pace.clone(), now, &[interval]).0;
            assert_eq!(
                (after(fine), after(gap)),
                (vec![true], vec![false]),
                "{every}"
            );
        }
    }

    #[test]
    fn stalls_teach_nothing_and_a_new_pace_is_learned() {
        let (mut pace, now) = even(100, 40);
        let (all, now) = heard(&mut pace, now, &[1500; 8]);
        assert_eq!(all, [false; 8]);
        let (all, _) = heard(&mut pace, now, &[1500; 30]);
        assert!(all.ends_with(&[true; 20]), "that is its pace now: {all:?}");
    }

    #[test]
    fn a_stall_at_the_beginning_is_none_of_the_pace() {
        let mut pace = Pace::new();
        heard(&mut pace, 0, &[0, 2900, 2900, 100, 100]);
        assert_eq!(pace.usual(), Some(Duration::from_millis(100)));
    }

    #[test]
    fn one_that_sends_unevenly_is_given_the_time_that_it_takes() {
        let mut pace = Pace::new();
        let uneven = [50, 600, 300, 450, 120, 250, 550, 380];
        let (_, now) = heard(&mut pace, 0, &uneven.repeat(4));
        assert_eq!(heard(&mut pace, now, &uneven).0, [true; 8]);
    }

    #[test]
    fn what_comes_in_parcels_has_the_pace_of_the_parcels() {
        let mut pace = Pace::new();
        let (all, now) = heard(&mut pace, 0, &[198, 1, 1].repeat(20));
        assert!(all.ends_with(&[true; 30]), "{all:?}");
        assert_eq!(pace.usual(), Some(Duration::from_millis(200)));
        assert_eq!(heard(&mut pace, now, &[700]).0, [false]);
    }

    #[test]
    fn what_was_held_back_counts_for_nothing_until_it_has_all_come() {
        let (mut pace, now) = even(100, 40);
        // Ten lines were held back; they come five times as fast, and so does what is sent meanwhile.
        let (all, now) = heard(&mut pace, now, &[1100, 20, 20, 20, 20, 20, 20, 20, 20, 20]);
        assert_eq!(all, [false; 10]);
        let (all, now) = heard(&mut pace, now, &[20, 20, 20]);
        assert!(all.contains(&false), "{all:?}");
        assert_eq!(heard(&mut pace, now, &[100; 3]).0, [true; 3]);
        // Nor do they teach a pace.
        let (mut slow, from) = even(100, 40);
        let mut drained = vec![2900];
        drained.extend([50; 40]);
        assert_eq!(heard(&mut slow, from, &drained).0, [false; 41]);
        // Lost for good: nothing more is waited for.
        let (all, _) = heard(&mut pace, now + 300, &[1100, 100, 100]);
        assert_eq!(all, [false, true, true]);
    }
}
