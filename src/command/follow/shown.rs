//! What is shown of a bench: the live state, as far as a terminal has use for it.

use crate::serve::{BenchView, PanView, WeighingView};

/// What is told of a digit that the balance puts in brackets.
pub(super) const NOT_FOR_PAYMENT: &str = "the last digit is not for payment";

/// The edges of a window, in the bench's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edges {
    pub(super) lower: f64,
    pub(super) upper: f64,
}

/// A bench as it is drawn. Masses are in the bench's unit; they place marks and prove nothing.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Shown {
    pub(super) bench: String,
    pub(super) unit: String,
    pub(super) link: String,
    pub(super) sentence: String,
    pub(super) hold: Option<String>,
    pub(super) net: Option<f64>,
    pub(super) division: f64,
    pub(super) window: Option<Edges>,
    pub(super) pan: PanView,
    pub(super) weighing: Option<WeighingView>,
    /// The last digit of its masses is not meant for payment.
    pub(super) fine_digit: bool,
    /// Frames that failed their check and were dropped.
    pub(super) damaged: u64,
}

impl Shown {
    /// The whole state.
    pub(super) fn take(&mut self, view: BenchView) {
        self.bench = view.bench;
        self.unit = view.unit_name;
        self.link = view.link;
        self.damaged = view.damaged;
        self.fine_digit = view.fine_digit;
        self.division = amount(Some(&view.division))
            .filter(|d| *d > 0.0)
            .unwrap_or(1.0);
        self.hold = view.hold.map(|hold| format!("{} {}", hold.why, hold.mend));
        self.read(view.pan, view.weighing, view.sentence);
    }

    /// What a reading changes.
    pub(super) fn read(&mut self, pan: PanView, weighing: Option<WeighingView>, sentence: String) {
        self.net = amount(pan.net.as_deref());
        self.window = weighing.as_ref().and_then(|weighing| {
            Some(Edges {
                lower: amount(weighing.lower.as_deref())?,
                upper: amount(weighing.upper.as_deref())?,
            })
        });
        (self.pan, self.weighing, self.sentence) = (pan, weighing, sentence);
    }

    /// The figures below the sentence.
    pub(super) fn figures(&self) -> String {
        let mut parts = vec![self.on_pan()];
        if let Some(weighing) = &self.weighing {
            if let Some(aim) = &weighing.aim {
                parts.push(format!("aim {aim}"));
            }
            if let (Some(lower), Some(upper)) = (&weighing.lower, &weighing.upper) {
                parts.push(format!("window {lower} to {upper}"));
            }
            if let Some(fineness) = &weighing.fineness_ppt {
                parts.push(format!("melt {fineness} per mille"));
            }
            if let Some(chance) = weighing
                .p_lawful
                .as_deref()
                .and_then(|p| p.parse::<f64>().ok())
            {
                let percent = match chance * 100.0 {
                    // Never rounded up to certainty, or down to impossibility.
                    percent if percent > 99.9 => "over 99.9 %".to_owned(),
                    percent if percent < 0.1 => "under 0.1 %".to_owned(),
                    percent => format!("{percent:.1} %"),
                };
                parts.push(format!("lawful with {percent}"));
            }
        }
        if self.fine_digit && self.pan.shown.is_some() {
            parts.push(NOT_FOR_PAYMENT.to_owned());
        }
        if self.damaged > 0 {
            parts.push(self.dropped());
        }
        parts.join("; ")
    }

    /// What was dropped, in words.
    pub(super) fn dropped(&self) -> String {
        format!("damaged and dropped: {}", self.damaged)
    }

    /// What is on the pan, in words.
    pub(super) fn on_pan(&self) -> String {
        let Some(shown) = &self.pan.shown else {
            return "no reading".to_owned();
        };
        let rest = if self.pan.steady { "at rest" } else { "moving" };
        match (self.pan.unit.as_str(), &self.pan.net) {
            ("conflict", _) => format!("shows {shown}, not believed"),
            ("unproven", _) => format!("shows {shown}, unit not proven"),
            (_, Some(net)) => format!("{net} on the pan ({shown} shown), {rest}"),
            _ => format!("{shown} shown, {rest}"),
        }
    }
}

/// The number in front of a unit.
fn amount(text: Option<&str>) -> Option<f64> {
    text?.split(' ').next()?.parse().ok()
}
