//! The box of rings not yet shown: bounded, the newest last, an `over` or `hold` never dropped
//! for another kind. Knows nothing of desktops.

use std::collections::{BTreeMap, VecDeque};

use tokio::time::Instant;

use super::{Peal, limits};

/// A ring in the box.
#[derive(Debug, Clone)]
pub(super) struct Waiting {
    /// What to tell.
    pub(super) peal: Peal,
    /// Its place among all rings of all benches.
    pub(super) turn: u64,
    /// How often it could not be shown.
    failures: u32,
    /// When to try again, if it could not be shown.
    again: Option<Instant>,
}

impl Waiting {
    pub(super) fn is_critical(&self) -> bool {
        self.peal.ring.kind.is_critical()
    }
}

/// What to do now.
#[derive(Debug)]
pub(super) enum Next {
    /// Show this.
    Show(Waiting),
    /// Nothing before this moment.
    Pause(Instant),
    /// Nothing at all.
    Idle,
}

/// The box. For each bench at most one ring of each critical kind and one other, in the order in
/// which they came.
#[derive(Debug, Default)]
pub(super) struct Rings {
    benches: BTreeMap<String, VecDeque<Waiting>>,
    turns: u64,
    /// The newest news of each bench: its last ring, or an order given after it.
    newest: BTreeMap<String, u64>,
}

impl Rings {
    /// A new ring. It goes behind what waits, and what it makes stale is taken out: ordinary
    /// rings always, a critical one only for one of its own kind.
    pub(super) fn put(&mut self, peal: Peal) {
        self.turns += 1;
        self.newest.insert(peal.bench.clone(), self.turns);
        let bench = self.benches.entry(peal.bench.clone()).or_default();
        bench.retain(|old| old.is_critical() && old.peal.ring.kind != peal.ring.kind);
        // There is news, so what failed before is worth another try at once.
        for old in bench.iter_mut() {
            old.failures = 0;
            old.again = None;
        }
        bench.push_back(Waiting {
            peal,
            turn: self.turns,
            failures: 0,
            again: None,
        });
    }

    /// The bench was given an order: what was told before is no ground for another.
    pub(super) fn gone_on(&mut self, bench: &str) {
        self.turns += 1;
        match self.newest.get_mut(bench) {
            Some(newest) => *newest = self.turns,
            None => drop(self.newest.insert(bench.to_owned(), self.turns)),
        }
    }

    /// Whether this is still the newest news of a bench.
    pub(super) fn is_newest(&self, bench: &str, turn: u64) -> bool {
        self.newest.get(bench) == Some(&turn)
    }

    /// Whether a ring of a bench waits to be shown.
    pub(super) fn has_news(&self, bench: &str) -> bool {
        self.benches.contains_key(bench)
    }

    /// The next ring to show: critical ones first, then in turn; within a bench always in order.
    pub(super) fn take(&mut self, now: Instant) -> Next {
        let due = self
            .benches
            .iter()
            .filter_map(|(name, bench)| bench.front().map(|first| (name, first)))
            .filter(|(_, first)| first.again.is_none_or(|again| again <= now))
            .min_by_key(|(_, first)| (!first.is_critical(), first.turn))
            .map(|(name, _)| name.clone());
        let Some(name) = due else {
            return self.pause();
        };
        let Some(bench) = self.benches.get_mut(&name) else {
            return Next::Idle;
        };
        let first = bench.pop_front();
        if bench.is_empty() {
            self.benches.remove(&name);
        }
        first.map_or(Next::Idle, Next::Show)
    }

    /// A ring that could not be shown comes back to the front, to be tried again later; unless
    /// what came meanwhile made it stale.
    pub(super) fn give_back(&mut self, mut ring: Waiting, now: Instant) {
        let bench = self.benches.entry(ring.peal.bench.clone()).or_default();
        let stale = if ring.is_critical() {
            bench
                .iter()
                .any(|new| new.peal.ring.kind == ring.peal.ring.kind)
        } else {
            !bench.is_empty()
        };
        if stale {
            return;
        }
        // News behind it must not wait out a pause that grew before it came.
        let before = if bench.is_empty() { ring.failures } else { 0 };
        let pause = limits::PAUSE_FIRST
            .saturating_mul(2_u32.saturating_pow(before))
            .min(limits::PAUSE_LONGEST);
        ring.failures = before.saturating_add(1);
        ring.again = Some(now + pause);
        bench.push_front(ring);
    }

    /// The desktop answers again: nothing needs to wait any longer.
    pub(super) fn all_due(&mut self) {
        for ring in self.benches.values_mut().flatten() {
            ring.failures = 0;
            ring.again = None;
        }
    }

    fn pause(&self) -> Next {
        self.benches
            .values()
            .filter_map(|bench| bench.front().and_then(|first| first.again))
            .min()
            .map_or(Next::Idle, Next::Pause)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use super::*;
    use crate::job::{BellKind, Ring};
    use proptest::prelude::*;
    use std::time::Duration;

    fn peal(bench: &str, kind: BellKind, title: &str) -> Peal {
        Peal {
            bench: bench.into(),
            ring: Ring {
                kind,
                title: title.into(),
                text: String::new(),
            },
        }
    }

    fn drain(rings: &mut Rings, now: Instant) -> Vec<String> {
        let mut titles = Vec::new();
        while let Next::Show(ring) = rings.take(now) {
            titles.push(ring.peal.ring.title);
        }
        titles
    }

    #[test]
    fn an_over_outlives_what_comes_after_it() {
        let now = Instant::now();
        let mut rings = Rings::default();
        rings.put(peal("a", BellKind::Near, "near"));
        rings.put(peal("a", BellKind::Over, "over"));
        rings.put(peal("a", BellKind::UnderAgain, "under"));
        rings.put(peal("a", BellKind::Within, "within"));
        assert_eq!(drain(&mut rings, now), ["over", "within"]);
    }

    #[test]
    fn a_hold_does_not_hide_an_over() {
        let now = Instant::now();
        let mut rings = Rings::default();
        rings.put(peal("a", BellKind::Over, "over 1"));
        rings.put(peal("a", BellKind::Hold, "hold"));
        rings.put(peal("a", BellKind::Over, "over 2"));
        assert_eq!(drain(&mut rings, now), ["hold", "over 2"]);
    }

    #[test]
    fn critical_first_among_benches_then_in_turn() {
        let now = Instant::now();
        let mut rings = Rings::default();
        rings.put(peal("c", BellKind::Near, "c"));
        rings.put(peal("b", BellKind::Near, "b"));
        rings.put(peal("a", BellKind::Over, "a"));
        assert_eq!(drain(&mut rings, now), ["a", "c", "b"]);
    }

    #[test]
    fn what_failed_pauses_longer_each_time_and_a_new_ring_ends_the_pause() {
        let start = Instant::now();
        let mut rings = Rings::default();
        rings.put(peal("a", BellKind::Hold, "hold"));
        let mut now = start;
        for expected in [1, 2, 4, 8, 16, 32, 60, 60] {
            let Next::Show(ring) = rings.take(now) else {
                panic!("nothing due");
            };
            rings.give_back(ring, now);
            let Next::Pause(until) = rings.take(now) else {
                panic!("no pause");
            };
            assert_eq!(until - now, Duration::from_secs(expected));
            now = until;
        }
        let Next::Show(ring) = rings.take(now) else {
            panic!("nothing due");
        };
        rings.give_back(ring, now);
        assert!(matches!(rings.take(now), Next::Pause(_)));
        rings.put(peal("a", BellKind::Resumed, "resumed"));
        assert_eq!(drain(&mut rings, now), ["hold", "resumed"]);
    }

    #[test]
    fn an_ordinary_ring_that_failed_gives_way_to_news() {
        let now = Instant::now();
        let mut rings = Rings::default();
        rings.put(peal("a", BellKind::Near, "near"));
        let Next::Show(near) = rings.take(now) else {
            panic!("nothing due");
        };
        rings.put(peal("a", BellKind::Within, "within"));
        rings.give_back(near, now);
        assert_eq!(drain(&mut rings, now), ["within"]);
    }

    proptest! {
        /// Whatever comes, and whatever fails in between: the newest of a bench is shown last,
        /// no critical ring goes unshown except for a newer one of its kind, what is shown is in
        /// the order in which it came, and the box stays small.
        #[test]
        fn the_box_keeps_its_promises(steps in prop::collection::vec((0_usize..8, 0_u8..4), 1..60)) {
            let mut now = Instant::now();
            let mut rings = Rings::default();
            let mut put: Vec<(usize, BellKind)> = Vec::new();
            let mut shown: Vec<usize> = Vec::new();
            let mut in_hand: Option<Waiting> = None;
            for (number, (kind, act)) in steps.into_iter().enumerate() {
                let kind = BellKind::ALL.get(kind).copied().unwrap();
                rings.put(peal("a", kind, &number.to_string()));
                put.push((number, kind));
                prop_assert!(rings.benches.values().all(|bench| bench.len() <= 3));
                // The ring in hand comes back or is shown, and perhaps another is taken.
                if act & 1 == 1 && let Some(ring) = in_hand.take() {
                    if act & 2 == 2 {
                        rings.give_back(ring, now);
                        now += limits::PAUSE_LONGEST;
                    } else {
                        shown.push(ring.peal.ring.title.parse().unwrap());
                    }
                }
                if in_hand.is_none() && let Next::Show(ring) = rings.take(now) {
                    in_hand = Some(ring);
                }
                prop_assert!(rings.benches.values().all(|bench| bench.len() <= 3));
            }
            if let Some(ring) = in_hand.take() {
                rings.give_back(ring, now);
            }
            now += limits::PAUSE_LONGEST;
            for title in drain(&mut rings, now) {
                shown.push(title.parse().unwrap());
            }
            prop_assert_eq!(shown.last().copied(), put.last().map(|last| last.0));
            prop_assert!(shown.is_sorted());
            for (number, kind) in put.iter().filter(|ring| ring.1.is_critical()) {
                let newer = put.iter().any(|other| other.0 > *number && other.1 == *kind);
                prop_assert!(newer || shown.contains(number));
            }
        }
    }
}
