//! One step of a bench: an event in, effects out. Total: nothing fails here and nothing panics;
//! what is refused is answered with its reason.

use super::hold::Cause;
use super::order::{Effect, Event};
use super::record::Record;
use super::state::State;
use super::{BellKind, Ring};
use crate::mass::Moment;

/// Takes one event at a moment; gives the state after it and what is to be done, in order.
pub fn step(mut state: State, event: Event<'_>, at: Moment) -> (State, Vec<Effect>) {
    let mut out = Vec::new();
    state.grow_old(at);
    match event {
        Event::Line { reading, raw } => state.line(reading, raw, at, &mut out),
        Event::OldLine { reading, raw } => state.old_line(reading, raw, at, &mut out),
        Event::Stalled => state.stalled(),
        Event::OddLine => state.odd_line(at),
        Event::DamagedLine => state.damaged_line(at),
        Event::PortOpened => state.port_opened(at),
        Event::PortLost(trouble) => state.port_lost(&trouble, at),
        Event::Order { id, order, terms } => state.order(id, order, terms, &mut out),
        Event::Written { n } => state.written(n, at, &mut out),
        Event::NotWritten {
            trouble,
            waited,
            for_good,
        } => state.not_written(trouble, waited, for_good, at, &mut out),
        Event::Checked(written) => state.checked(written, at, &mut out),
        Event::LastCheck(last) => state.remember_check(*last, at),
        Event::Tick => state.tick(at, &mut out),
    }
    state.watch_disk(at);
    state.tell_holds(at, &mut out);
    (state, out)
}

impl State {
    fn tick(&mut self, at: Moment, out: &mut Vec<Effect>) {
        if self.disk_retry.is_some_and(|due| at >= due) && self.pending.is_none() {
            self.disk_retry = None;
            self.wait_for(Record::Resume { cause: Cause::Disk }, None, out);
        }
        self.ring_over_when_due(at, out);
    }

    /// Ends a hold; when the person had been told of it, its end is recorded and rung.
    pub(super) fn end_hold(&mut self, cause: Cause, out: &mut Vec<Effect>) {
        if self.holds.end(cause) == Some(true) && self.open_job().is_some() {
            self.follow_up(Record::Resume { cause }, out);
            self.ring_resumed(out);
        }
    }

    pub(super) fn ring_resumed(&mut self, out: &mut Vec<Effect>) {
        if !self.holds.any_announced() {
            let text = self.sentence();
            out.push(Effect::Ring(Ring {
                kind: BellKind::Resumed,
                title: "The bench goes on".to_owned(),
                text,
            }));
        }
    }

    fn tell_holds(&mut self, at: Moment, out: &mut Vec<Effect>) {
        while let Some(hold) = self.holds.due(at) {
            // The disk's silence keeps a job from being opened, so it is told before there is one.
            if self.open_job().is_some() || self.disk_silent {
                if hold.cause != Cause::Disk {
                    self.follow_up(
                        Record::Hold {
                            cause: hold.cause,
                            why: hold.why.clone(),
                        },
                        out,
                    );
                }
                let text = format!("{} {}", hold.why, hold.mend);
                out.push(Effect::Ring(Ring {
                    kind: BellKind::Hold,
                    title: "Hold: nothing is captured".to_owned(),
                    text,
                }));
            }
        }
    }
}
