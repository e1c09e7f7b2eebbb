//! What the pan sounds like: a state in, samples out; the same states at the same moments give the
//! same samples. Leaves to others: when, and out of which speaker.
//!
//! Each state differs from the others by rhythm and not by pitch alone, so that it is known by who
//! hears only a part of the range, beside a torch or a polishing motor. The figures are our own.

use std::f64::consts::TAU;

/// Samples a second; what sound servers run at by themselves.
pub const RATE: u32 = 48_000;

/// What is to be heard of a bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Tune {
    /// Nothing.
    #[default]
    Silent,
    /// Ticks that quicken: how far the pan is toward the window's lower edge, in thousandths.
    Ticks(u16),
    /// A steady tone: within the window.
    Within,
    /// A falling pair: over it.
    Over,
    /// Knocking: the bench holds.
    Hold,
}

impl Tune {
    /// Whether both are the same but for the pace of the ticks.
    pub(super) fn is_like(self, other: Self) -> bool {
        std::mem::discriminant(&self) == std::mem::discriminant(&other)
    }

    /// Whether the person must not miss it.
    pub(super) fn is_urgent(self) -> bool {
        matches!(self, Self::Over | Self::Hold)
    }
}

/// Where ticking begins, in thousandths of the way: before that the hand need not be careful.
const TICKS_FROM: u16 = 500;
/// Ticks a second there, and at the window's edge: slow enough to be counted, fast enough to be
/// heard as nearly a tone.
const SLOWEST: f64 = 1.0;
const FASTEST: f64 = 9.0;
/// The pitch of a tick, and how fast it dies away, in seconds.
const TICK_HZ: f64 = 1_500.0;
const TICK_FADES: f64 = 0.006;
/// The pitch of the steady tone.
const WITHIN_HZ: f64 = 880.0;
/// The falling pair, a fifth apart; how long each is, from start to start, and pair to pair.
const OVER_HZ: [f64; 2] = [784.0, 523.0];
const OVER_NOTE: f64 = 0.2;
const OVER_EVERY: f64 = 2.0;
/// A knock, from the first to the second of a pair, and pair to pair.
const KNOCK_HZ: f64 = 180.0;
const KNOCK_FADES: f64 = 0.03;
const KNOCK_APART: f64 = 0.16;
const KNOCK_EVERY: f64 = 3.0;
/// After so long without change each falls silent: nobody bears it longer, and a bench may be left.
/// The notice stays.
const PATIENCE: f64 = 30.0;
/// The same of ticks with nothing being poured.
const TICKS_PATIENCE: f64 = 5.0;
/// How long a sound that is cut off fades, so that it does not click.
const FADE: f64 = 0.008;

/// Ticks a second at a distance; none far from the window.
fn ticks_a_second(way: u16) -> f64 {
    if way < TICKS_FROM {
        return 0.0;
    }
    let near = f64::from(way.min(1000) - TICKS_FROM) / f64::from(1000 - TICKS_FROM);
    // The last tenth matters most, so the quickening lies there.
    SLOWEST + (FASTEST - SLOWEST) * near * near
}

fn sine(hertz: f64, at: f64) -> f64 {
    (TAU * hertz * at).sin()
}

/// A note of this length with soft ends, `at` seconds after it began.
fn note(hertz: f64, long: f64, at: f64) -> f64 {
    let soft = (at / FADE).min((long - at) / FADE).clamp(0.0, 1.0);
    soft * sine(hertz, at)
}

fn struck(hertz: f64, fades: f64, at: f64) -> f64 {
    if at < 0.0 {
        return 0.0;
    }
    (at / 0.001).min(1.0) * (-at / fades).exp() * sine(hertz, at)
}

/// A tune at a moment after it began, from -1 to 1; ticks are kept by [`Voice`], since their pace
/// changes.
fn wave(tune: Tune, at: f64) -> f64 {
    if at > PATIENCE {
        return 0.0;
    }
    match tune {
        Tune::Silent | Tune::Ticks(_) => 0.0,
        Tune::Within => 0.5 * (at / FADE).min(1.0) * sine(WITHIN_HZ, at),
        Tune::Over => {
            let at = at % OVER_EVERY;
            let [high, low] = OVER_HZ;
            let note = if at < OVER_NOTE {
                note(high, OVER_NOTE, at)
            } else {
                note(low, OVER_NOTE, at - OVER_NOTE)
            };
            0.8 * note
        }
        Tune::Hold => {
            let at = at % KNOCK_EVERY;
            let knock = |since: f64| struck(KNOCK_HZ, KNOCK_FADES, at - since);
            0.8 * (knock(0.0) + knock(KNOCK_APART))
        }
    }
}

/// Makes the samples of whatever is to be heard.
#[derive(Debug)]
pub struct Voice {
    volume: f64,
    tune: Tune,
    /// Which time of asking; another begins the tune anew.
    turn: u64,
    /// Samples since the tune began, and since the ticks last changed their pace.
    since: u32,
    unchanged: u32,
    /// How far the next tick has come, from 0 to 1, and the samples since the last.
    beat: f64,
    ticked: u32,
    /// What was heard before and fades out: tune, its samples, and what is left of the fade.
    before: (Tune, u32, u32),
}

impl Voice {
    /// A voice that is silent; `volume` in hundredths of full scale.
    pub fn new(volume: u32) -> Self {
        Self {
            volume: f64::from(volume.min(100)) / 100.0,
            tune: Tune::Silent,
            turn: 0,
            since: 0,
            unchanged: 0,
            beat: 1.0,
            ticked: u32::MAX,
            before: (Tune::Silent, 0, 0),
        }
    }

    /// What is to be heard from the next sample on.
    pub fn sing(&mut self, tune: Tune, turn: u64) {
        if tune == self.tune && turn == self.turn {
            return;
        }
        if !tune.is_like(self.tune) || (turn != self.turn && tune.is_urgent()) {
            self.before = (self.tune, self.since, samples(FADE));
            self.since = 0;
            // The first tick comes at once.
            self.beat = 1.0;
        }
        self.unchanged = 0;
        self.tune = tune;
        self.turn = turn;
    }

    /// Whether nothing is heard, and will not be until another tune is asked for.
    pub fn is_silent(&self) -> bool {
        let done = match self.tune {
            Tune::Silent => true,
            Tune::Ticks(way) => way < TICKS_FROM || self.unchanged > samples(TICKS_PATIENCE),
            _ => self.since > samples(PATIENCE),
        };
        done && self.before.2 == 0 && self.ticked > samples(TICK_FADES * 8.0)
    }

    /// The next sample.
    #[allow(clippy::cast_possible_truncation)] // clamped to the range before
    pub fn sample(&mut self) -> i16 {
        let mut sum = wave(self.tune, seconds(self.since)) + self.tick();
        let (tune, since, left) = self.before;
        if left > 0 {
            sum += wave(tune, seconds(since)) * f64::from(left) / f64::from(samples(FADE));
            self.before = (tune, since.saturating_add(1), left - 1);
        }
        self.since = self.since.saturating_add(1);
        self.unchanged = self.unchanged.saturating_add(1);
        (sum.clamp(-1.0, 1.0) * self.volume * f64::from(i16::MAX)) as i16
    }

    fn tick(&mut self) -> f64 {
        if let Tune::Ticks(way) = self.tune
            && self.unchanged <= samples(TICKS_PATIENCE)
        {
            let pace = ticks_a_second(way);
            if pace > 0.0 && self.beat >= 1.0 {
                self.beat -= 1.0;
                self.ticked = 0;
            }
            self.beat += pace / f64::from(RATE);
        }
        let heard = struck(TICK_HZ, TICK_FADES, seconds(self.ticked));
        self.ticked = self.ticked.saturating_add(1);
        heard
    }
}

fn seconds(samples: u32) -> f64 {
    f64::from(samples) / f64::from(RATE)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // the few seconds above
fn samples(seconds: f64) -> u32 {
    (seconds * f64::from(RATE)) as u32
}
