//! Whether an order is begun or given up: decided once, by whoever comes first.
//!
//! Promises: an order that was given up is never begun, and one that was begun is never called given
//! up, whatever happens at the same moment. Leaves to others: waiting, and carrying it out.

use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};

const WAITS: u8 = 0;
const BEGUN: u8 = 1;
const GIVEN_UP: u8 = 2;

/// The turn of one order, as the bench and the one who waits for its answer hold it.
#[derive(Debug, Clone, Default)]
pub struct Turn(Arc<AtomicU8>);

impl Turn {
    /// Begins it, on the bench's side; false where nobody waits for it any more, and then it is not to
    /// be carried out.
    #[must_use]
    pub fn begin(&self) -> bool {
        self.goes_to(BEGUN)
    }

    /// Gives it up; false where it was begun, so that it may be carried out.
    pub(super) fn give_up(&self) -> bool {
        self.goes_to(GIVEN_UP) || self.0.load(Ordering::Acquire) == GIVEN_UP
    }

    fn goes_to(&self, next: u8) -> bool {
        let (order, other) = (Ordering::AcqRel, Ordering::Acquire);
        self.0.compare_exchange(WAITS, next, order, other).is_ok()
    }
}

/// Gives an order up with whoever waited for it: a client that hung up was told nothing, and what it
/// wants it will say again.
#[derive(Debug)]
pub(super) struct Waits(pub(super) Turn);

impl Drop for Waits {
    fn drop(&mut self) {
        let _too_late = self.0.give_up();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_side_wins_and_stays_so() {
        let turn = Turn::default();
        assert!(turn.begin() && !turn.begin() && !turn.give_up());
        let turn = Turn::default();
        assert!(turn.give_up() && turn.give_up() && !turn.begin());
        let turn = Turn::default();
        drop(Waits(turn.clone()));
        assert!(!turn.begin());
    }

    #[test]
    fn of_two_at_once_exactly_one_wins() {
        for _ in 0..2000 {
            let turn = Turn::default();
            let other = turn.clone();
            let gives_up = std::thread::spawn(move || other.give_up());
            let begins = turn.begin();
            assert_ne!(gives_up.join().unwrap_or(begins), begins);
        }
    }
}
