//! When a change of the pan against its window is rung.
//!
//! A pan that trembles on an edge must not chatter: a zone is left downwards only with some
//! hysteresis, and a change is rung only when it has lasted a moment or the pan is at rest. What
//! is captured never depends on this, only on the exact window.

use std::time::Duration;

use super::BellKind;
use crate::mass::{Division, Mass, Moment};
use crate::melt::Window;

/// A part of the way to the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Zone {
    /// A good way under.
    Far,
    /// Under, and near.
    Near,
    /// Within.
    Within,
    /// Over.
    Over,
}

/// Follows one addition.
#[derive(Debug, Clone, Copy)]
pub struct Watch {
    zone: Zone,
    coming: Option<(Zone, Moment)>,
}

/// How long a change lasts before it is rung, unless the pan is at rest: longer than the bounce
/// of a falling grain, shorter than a person's next movement (common practice, no source).
const LASTING: Duration = Duration::from_millis(250);

impl Watch {
    /// At the beginning of an addition.
    pub fn new() -> Self {
        Self {
            zone: Zone::Far,
            coming: None,
        }
    }

    /// The zone as last rung.
    pub fn zone(&self) -> Zone {
        self.zone
    }

    /// How near is near: a tenth of the aim, at least twenty divisions.
    pub fn near(window: &Window, division: Division) -> Mass {
        let tenth = division.floor(Mass::computed(
            window.aim.grams() / rust_decimal::Decimal::TEN,
        ));
        tenth.max(division.mass().times(20))
    }

    /// Takes the net mass; says what to ring, if anything.
    pub fn take(
        &mut self,
        net: Mass,
        window: &Window,
        division: Division,
        steady: bool,
        at: Moment,
    ) -> Option<BellKind> {
        let zone = self.zone_of(net, window, division);
        if zone == self.zone {
            self.coming = None;
            return None;
        }
        let since = match self.coming {
            Some((coming, since)) if coming == zone => since,
            _ => at,
        };
        self.coming = Some((zone, since));
        if !steady && at.since(since) < LASTING {
            return None;
        }
        let from = std::mem::replace(&mut self.zone, zone);
        self.coming = None;
        match zone {
            Zone::Over => Some(BellKind::Over),
            Zone::Within => Some(BellKind::Within),
            Zone::Near | Zone::Far if from >= Zone::Within => Some(BellKind::UnderAgain),
            Zone::Near => Some(BellKind::Near),
            Zone::Far => None,
        }
    }

    /// Readings were missed: how long a change has lasted is not known.
    pub fn missed(&mut self) {
        self.coming = None;
    }

    /// When an over that was heard last is rung, if nothing more is heard that speaks against it.
    pub fn over_at(&self) -> Option<Moment> {
        match self.coming {
            Some((Zone::Over, since)) => Some(since.plus(LASTING)),
            _ => None,
        }
    }

    /// Rings it, if it is time. No other change is rung on silence: it promises nothing.
    pub fn over_by(&mut self, at: Moment) -> Option<BellKind> {
        self.over_at().filter(|due| at >= *due)?;
        self.zone = Zone::Over;
        self.coming = None;
        Some(BellKind::Over)
    }

    fn zone_of(&self, net: Mass, window: &Window, division: Division) -> Zone {
        let slack = division.mass().times(2);
        // Coming back from over, the slack must not reach beyond the window itself.
        let half =
            Mass::computed((window.upper - window.lower).grams() / rust_decimal::Decimal::TWO);
        let edge = |edge: Mass, zone: Zone, slack: Mass| {
            if self.zone >= zone {
                edge - slack
            } else {
                edge
            }
        };
        if net > window.upper || (self.zone == Zone::Over && net > window.upper - slack.min(half)) {
            Zone::Over
        } else if net >= edge(window.lower, Zone::Within, slack) {
            Zone::Within
        } else if net
            >= edge(
                window.lower - Self::near(window, division),
                Zone::Near,
                slack.times(2),
            )
        {
            Zone::Near
        } else {
            Zone::Far
        }
    }
}

impl Default for Watch {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::mass::Indication;

    fn mass(text: &str) -> Mass {
        format!("{text} g").parse::<Indication>().unwrap().mass()
    }

    fn rung(masses: &[&str]) -> Vec<BellKind> {
        let window = Window {
            lower: mass("2.32"),
            aim: mass("2.37"),
            upper: mass("2.42"),
            raises: false,
        };
        let mut watch = Watch::new();
        let mut bells = Vec::new();
        let mut ms = 0;
        for text in masses {
            for _ in 0..4 {
                ms += 100;
                let at = Moment::after_origin(Duration::from_millis(ms));
                bells.extend(watch.take(mass(text), &window, "0.01 g".parse().unwrap(), false, at));
            }
        }
        bells
    }

    #[test]
    fn every_bell_in_its_turn() {
        use BellKind::{Near, Over, UnderAgain, Within};
        assert_eq!(
            rung(&["0.50", "2.20", "2.35", "2.50", "2.36", "1.00"]),
            [Near, Within, Over, Within, UnderAgain]
        );
    }

    #[test]
    fn trembling_on_an_edge_does_not_chatter() {
        use BellKind::{Over, Within};
        assert_eq!(
            rung(&["2.32", "2.31", "2.32", "2.31", "2.30", "2.32"]),
            [Within]
        );
        assert_eq!(
            rung(&["2.42", "2.43", "2.42", "2.43", "2.41"]),
            [Within, Over]
        );
    }

    #[test]
    fn a_bounce_is_not_rung() {
        let window = Window {
            lower: mass("2.32"),
            aim: mass("2.37"),
            upper: mass("2.42"),
            raises: false,
        };
        let mut watch = Watch::new();
        let mut ms = 0;
        let mut take = |text: &str| {
            ms += 100;
            let at = Moment::after_origin(Duration::from_millis(ms));
            watch.take(mass(text), &window, "0.01 g".parse().unwrap(), false, at)
        };
        assert_eq!(
            [
                take("1.0"),
                take("3.0"),
                take("3.0"),
                take("1.0"),
                take("3.0"),
                take("1.0")
            ],
            [None; 6]
        );
    }
}
