//! What is heard of the balance beside its readings: the port, lines that make no sense, silence,
//! and readings grown old. Leaves to others: what a reading means, and carrying the holds on.

use std::time::Duration;

use super::hold::Cause;
use super::state::{Sends, State};
use crate::balance::LinkState;
use crate::mass::Moment;
use crate::trouble::Trouble;

impl State {
    pub(super) fn odd_line(&mut self, at: Moment) {
        self.link.odd_line(at);
        self.judge_garbled(at);
    }

    /// A frame that failed its check is counted, and is else a line that makes no sense.
    pub(super) fn damaged_line(&mut self, at: Moment) {
        self.link.damaged_line(at);
        self.judge_garbled(at);
    }

    fn judge_garbled(&mut self, at: Moment) {
        if self.link.state() == LinkState::Garbled {
            self.nothing_is_current();
            let why = "What the balance sends cannot be read.".to_owned();
            let mend = if self.sends == Sends::Reports {
                "Its reports are not those that it describes: switch the USB scale off and on, or pull its plug and put it back."
            } else {
                "Its speed is probably another than its file says, or its framing or line layout: have the balance learned anew, or compare them with the balance's own settings."
            };
            self.holds
                .begin(Cause::Link, why, mend.to_owned(), Duration::ZERO, at);
        }
    }

    /// With the link gone, what was shown last is old at once, and the unit has to be proven anew.
    fn nothing_is_current(&mut self) {
        self.shown = None;
        self.pan.forget();
        self.bare.forget();
        self.inside_since = None;
        self.guard.link_lost();
        self.stop_check();
    }

    pub(super) fn port_opened(&mut self, at: Moment) {
        self.link.opened(at);
        self.pan.forget_pace();
        self.bare.forget_pace();
        let patience = self.rules.link.silence;
        self.silent(patience, at);
    }

    fn silent(&mut self, patience: Duration, at: Moment) {
        let was_heard = self.link.has_been_heard();
        self.nothing_is_current();
        let (why, mend) = if self.sends == Sends::Reports {
            (
                "The USB scale is there and says nothing.",
                "Some send only when the weight changes: put something on the pan or take it off. If nothing comes then, is it switched on? Silence is not rest, so nothing is recorded from a scale that falls silent in between: set it to send all the time, or weigh on a balance that does.",
            )
        } else if was_heard && self.sends == Sends::Lines {
            (
                "The balance says nothing any more. Silence is not rest: nothing is recorded until it is heard again.",
                "Is it switched on, and is its cable in? If it sends only when the weight changes, set it to send all the time, or have it asked: [ask] in its balance file.",
            )
        } else if self.sends == Sends::Answers {
            (
                "The balance is asked and does not answer.",
                "Is it switched on, and are its speed and what its file sends right? Check the cable on its side.",
            )
        } else {
            (
                "The port is open and the balance says nothing.",
                "Is it switched on, and does it send without being asked? Check the cable on its side.",
            )
        };
        let (why, mend) = (why.to_owned(), mend.to_owned());
        self.holds.begin(Cause::Link, why, mend, patience, at);
    }

    pub(super) fn port_lost(&mut self, trouble: &Trouble, at: Moment) {
        self.link.lost();
        self.nothing_is_current();
        self.pan.forget_pace();
        self.bare.forget_pace();
        self.holds.begin(
            Cause::Link,
            trouble.happened.clone(),
            trouble.mend.clone(),
            Duration::ZERO,
            at,
        );
    }

    /// What was read becomes old by time alone, also when no tick came in time to say so: a busy
    /// machine, or one that slept.
    pub(super) fn grow_old(&mut self, at: Moment) {
        self.now = at;
        let before = self.link.state();
        self.link.tick(at);
        if self.link.state() == LinkState::Silent && before != LinkState::Silent {
            self.silent(Duration::ZERO, at);
        } else if at.since(self.pan.heard()) >= self.rules.link.silence {
            // Odd lines keep the link from being silent, not the pan from being old.
            self.pan.forget();
            self.bare.forget();
            self.inside_since = None;
        } else {
            self.pan.grow_old(at);
            self.bare.grow_old(at);
        }
    }

    /// The service stood still: what was heard before is of that time, and what comes next may have
    /// lain there for as long.
    pub(super) fn stalled(&mut self) {
        self.shown = None;
        self.pan.forget();
        self.bare.forget();
        self.inside_since = None;
        self.watch.missed();
    }
}
