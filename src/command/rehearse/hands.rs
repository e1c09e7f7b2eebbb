//! The person's hands: what they put on the pan and take off.

use std::time::Duration;

use super::stage::Stage;
use crate::mass::{Indication, Mass};
use crate::serve::BenchView;
use crate::trouble::Trouble;

/// What lies on the pan, as the hands know it.
pub(super) struct Hands {
    on_pan: Mass,
}

/// A pinch of grains.
const PINCH: &str = "0.02 g";

impl Hands {
    pub(super) fn new() -> Self {
        Self { on_pan: Mass::ZERO }
    }

    /// Puts a load down.
    pub(super) async fn put(
        &mut self,
        stage: &mut Stage<'_>,
        mass: Mass,
        what: &str,
    ) -> Result<(), Trouble> {
        stage.tell("hands", what);
        self.on_pan = self.on_pan + mass;
        stage.balance.place(self.on_pan)?;
        stage.pause(Duration::from_millis(300)).await;
        Ok(())
    }

    /// Empties the pan.
    pub(super) async fn empty(&mut self, stage: &mut Stage<'_>) -> Result<(), Trouble> {
        stage.pause(Duration::from_millis(700)).await;
        stage.tell("hands", "The pan is emptied.");
        self.on_pan = Mass::ZERO;
        stage.balance.place(self.on_pan)?;
        // The next weighing counts from what rests on the pan, so it is begun when that is nothing.
        let is_empty = |view: &BenchView| {
            let shown = view.pan.shown.as_deref().and_then(|text| grams(text).ok());
            view.pan.steady && shown.is_some_and(|mass| mass == Mass::ZERO)
        };
        stage.until("the pan is empty", is_empty).await?;
        Ok(())
    }

    /// Pours metal evenly.
    pub(super) async fn pour(
        &mut self,
        stage: &mut Stage<'_>,
        mass: Mass,
        over: Duration,
    ) -> Result<(), Trouble> {
        let over = super::paced(over, stage.pace);
        self.on_pan = self.on_pan + mass;
        stage.balance.trickle(self.on_pan, over)?;
        stage.pause(over.mul_f64(stage.pace)).await;
        Ok(())
    }

    /// Adds pinches until the bell says that the pan is within.
    pub(super) async fn pinch_until_within(
        &mut self,
        stage: &mut Stage<'_>,
    ) -> Result<(), Trouble> {
        stage.tell("hands", "Grain by grain.");
        let heard = stage.bells();
        for _ in 0..60 {
            if stage.rung_since("within", heard) {
                return Ok(());
            }
            self.pour(stage, grams(PINCH)?, Duration::from_millis(250))
                .await?;
            // However quick the hands: a bell takes its quarter of a second to be sure.
            let look =
                Duration::from_millis(450).max(Duration::from_millis(450).mul_f64(stage.pace));
            stage.pause(look).await;
        }
        stage.until_bell_since("within", heard).await
    }

    /// Takes a little off with the tweezers.
    pub(super) async fn take_off(
        &mut self,
        stage: &mut Stage<'_>,
        mass: Mass,
    ) -> Result<(), Trouble> {
        stage.tell("hands", "A little is taken off with the tweezers.");
        self.pour(stage, -mass, Duration::from_millis(400)).await
    }
}

/// A mass that the play names.
pub(super) fn grams(text: &str) -> Result<Mass, Trouble> {
    Ok(text.parse::<Indication>()?.mass())
}

/// An edge of the window on view.
pub(super) fn edge(
    view: &BenchView,
    of: impl Fn(&crate::serve::WeighingView) -> Option<&String>,
) -> Result<Mass, Trouble> {
    let text = view
        .weighing
        .as_ref()
        .and_then(of)
        .cloned()
        .unwrap_or_default();
    grams(&text)
}
