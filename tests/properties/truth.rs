//! A pan whose true load is known at every moment, a balance that shows it in its own time, and
//! everything that can lie between what it sends and what is read: an adapter that holds back, a
//! wire that loses, a service that is stopped. It knows nothing of how the program counts.

use std::collections::VecDeque;

use proptest::prelude::*;

/// How a balance sends, in milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sender {
    /// One line every so often.
    Even(u64),
    /// Anything between these lies between two lines.
    Uneven(u64, u64),
    /// Only when what it shows has changed; it looks every so often.
    OnChange(u64),
}

pub(crate) fn sender() -> impl Strategy<Value = Sender> {
    prop_oneof![
        4 => prop_oneof![Just(100_u64), Just(50), Just(200), 40_u64..400].prop_map(Sender::Even),
        3 => (400_u64..2500).prop_map(Sender::Even),
        2 => (40_u64..300, 10_u64..600).prop_map(|(from, more)| Sender::Uneven(from, from + more)),
        2 => (50_u64..300).prop_map(Sender::OnChange),
    ]
}

impl Sender {
    /// The longest time between two moments in which it looks at its pan.
    pub(crate) fn longest(self) -> u64 {
        match self {
            Self::Even(every) | Self::OnChange(every) => every,
            Self::Uneven(_, most) => most,
        }
    }

    pub(crate) fn shortest(self) -> u64 {
        match self {
            Self::Even(every) | Self::OnChange(every) => every,
            Self::Uneven(least, _) => least,
        }
    }
}

/// What stands between the balance and the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trouble {
    /// An adapter keeps what comes, and lets go of it in one piece.
    Parcel,
    /// It lets go of it line by line, as quickly as it can.
    Drip,
    /// It lets go of it line by line, twice as fast as it came.
    Slowly,
    /// What comes is lost.
    Lost,
    /// The service is stopped; what comes lies at the port.
    Stopped,
}

/// The true load over time, in divisions: straight lines between points.
#[derive(Debug, Clone)]
pub(crate) struct Load(Vec<(u64, f64)>);

impl Load {
    fn at(&self, ms: u64) -> f64 {
        let behind = self.0.partition_point(|(at, _)| *at <= ms);
        let (from, mass) = self.0[behind - 1];
        match self.0.get(behind) {
            Some((to, next)) => mass + (next - mass) * (ms - from) as f64 / (to - from) as f64,
            None => mass,
        }
    }

    /// The least and the most that lay there from one moment to another.
    pub(crate) fn between(&self, from: u64, to: u64) -> (f64, f64) {
        let (mut least, mut most) = (self.at(from), self.at(from));
        let corners = self.0.iter().filter(|(at, _)| (from..=to).contains(at));
        for mass in corners.map(|(_, mass)| *mass).chain([self.at(to)]) {
            (least, most) = (least.min(mass), most.max(mass));
        }
        (least, most)
    }

    /// It goes to this from now on, in so long.
    fn go(&mut self, now: u64, over: u64, to: f64) {
        let here = self.at(now);
        self.0.retain(|(at, _)| *at < now);
        self.0.push((now, here));
        self.0.push((now + over.max(1), to));
    }

    /// Since when nothing has moved.
    pub(crate) fn still_since(&self) -> u64 {
        self.0.last().map_or(0, |(at, _)| *at)
    }
}

/// A line on its way.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sent {
    /// When the balance looked at its pan.
    pub(crate) at: u64,
    pub(crate) shows: i64,
    pub(crate) moving: bool,
    due: u64,
}

/// What the bench gets in one moment.
pub(crate) enum Came {
    /// Lines in one read; of the last nothing newer was there, unless all of them are old.
    Read { lines: Vec<Sent>, all_old: bool },
    /// The service runs again after a stop that it notices.
    Stalled,
}

/// The world beside the bench.
pub(crate) struct World {
    pub(crate) now: u64,
    pub(crate) load: Load,
    pub(crate) sender: Sender,
    /// The time constant of the display.
    pub(crate) lag: u64,
    says_status: bool,
    filtered: f64,
    before: f64,
    next: u64,
    shown: Option<i64>,
    wire: VecDeque<Sent>,
    trouble: Option<(Trouble, u64)>,
    stopped_at: u64,
    /// Every moment in which the balance looked at its pan, whatever became of it.
    pub(crate) looked: Vec<u64>,
    /// When trouble last came to an end, with all that was held back.
    pub(crate) well_since: u64,
    dice: u64,
}

/// How fine time is.
const STEP: u64 = 5;
/// A service that is stopped for longer notices it.
const NOTICED: u64 = 750;
/// How late a line is on a machine that is a little busy.
const LATE: u64 = 40;

impl World {
    pub(crate) fn new(sender: Sender, (lag, says_status): (u64, bool), seed: u64) -> Self {
        Self {
            now: 0,
            load: Load(vec![(0, 0.0)]),
            sender,
            lag,
            says_status,
            filtered: 0.0,
            before: 0.0,
            next: 0,
            shown: None,
            wire: VecDeque::new(),
            trouble: None,
            stopped_at: 0,
            looked: Vec::new(),
            well_since: 0,
            dice: seed | 1,
        }
    }

    /// A number below this.
    fn throw(&mut self, below: u64) -> u64 {
        // xorshift, Marsaglia 2003.
        self.dice ^= self.dice << 13;
        self.dice ^= self.dice >> 7;
        self.dice ^= self.dice << 17;
        (self.dice >> 20) % below.max(1)
    }

    pub(crate) fn put(&mut self, to: f64, over: u64) {
        self.load.go(self.now, over, to);
    }

    pub(crate) fn begin(&mut self, trouble: Trouble, lasts: u64) {
        if self.trouble.is_none() {
            self.trouble = Some((trouble, self.now + lasts));
            self.stopped_at = self.now;
        }
    }

    pub(crate) fn is_stopped(&self) -> bool {
        matches!(self.trouble, Some((Trouble::Stopped, _)))
    }

    pub(crate) fn is_troubled(&self) -> bool {
        self.trouble.is_some() || self.now < self.well_since
    }

    /// The longest time for which what a balance shows may lag behind its load: an exponential
    /// filter is within a division of a thousand after seven of its time constants.
    pub(crate) fn settles(&self) -> u64 {
        8 * self.lag + STEP
    }

    /// A little time passes; what the bench gets of it.
    pub(crate) fn pass(&mut self) -> Vec<Came> {
        self.now += STEP;
        let share = STEP as f64 / (self.lag as f64 + STEP as f64);
        self.filtered += (self.load.at(self.now) - self.filtered) * share;
        if self.now >= self.next {
            self.look();
        }
        let mut came = Vec::new();
        if let Some((trouble, until)) = self.trouble
            && self.now >= until
        {
            self.trouble = None;
            self.end(trouble, &mut came);
        }
        let is_open = !matches!(
            self.trouble,
            Some((
                Trouble::Parcel | Trouble::Drip | Trouble::Slowly | Trouble::Stopped,
                _
            ))
        );
        if is_open {
            while self.wire.front().is_some_and(|line| line.due <= self.now) {
                let lines = self.wire.pop_front().into_iter().collect();
                came.push(Came::Read {
                    lines,
                    all_old: false,
                });
            }
        }
        came
    }

    fn look(&mut self) {
        self.looked.push(self.now);
        let interval = match self.sender {
            Sender::Even(every) | Sender::OnChange(every) => every,
            Sender::Uneven(least, most) => least + self.throw(most - least),
        };
        self.next = self.now + interval;
        let shows = self.filtered.round() as i64;
        let moving = self.says_status && (self.filtered - self.before).abs() > 1.5;
        self.before = self.filtered;
        let is_news = self.shown.replace(shows) != Some(shows);
        if matches!(self.sender, Sender::OnChange(_)) && !is_news {
            return;
        }
        if matches!(self.trouble, Some((Trouble::Lost, _))) {
            return;
        }
        let late = self.now + self.throw(LATE);
        let due = self.wire.back().map_or(late, |line| late.max(line.due));
        self.wire.push_back(Sent {
            at: self.now,
            shows,
            moving,
            due,
        });
    }

    /// Trouble ends.
    fn end(&mut self, trouble: Trouble, came: &mut Vec<Came>) {
        self.well_since = self.now;
        match trouble {
            Trouble::Lost => {}
            Trouble::Parcel | Trouble::Stopped => {
                let all_old = trouble == Trouble::Stopped && self.now - self.stopped_at > NOTICED;
                if all_old {
                    came.push(Came::Stalled);
                }
                let lines: Vec<Sent> = self.wire.drain(..).collect();
                if !lines.is_empty() {
                    came.push(Came::Read { lines, all_old });
                }
            }
            Trouble::Drip | Trouble::Slowly => {
                let apart = if trouble == Trouble::Drip {
                    STEP
                } else {
                    (self.sender.shortest() / 2).max(STEP)
                };
                let mut due = self.now;
                for line in &mut self.wire {
                    due += apart;
                    line.due = due;
                }
                self.well_since = due;
            }
        }
    }
}
