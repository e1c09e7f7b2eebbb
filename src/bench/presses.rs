//! What is pressed on a notice, given to the bench as an order through the same door as every other.
//!
//! Promises: a press never waits in the way of a bench or of another press. Leaves to others:
//! whether it is carried out.

use tokio::sync::mpsc;

use crate::bell::{Act, Press, Told};
use crate::job::{Order, Terms};
use crate::serve::{BenchView, Door};
use crate::trouble::Trouble;

/// Presses that may wait: one a notice, and a person has two hands.
pub(super) const PRESSES: usize = 8;

/// Carries presses out until nobody can press any more.
pub(super) async fn carry_out(mut presses: mpsc::Receiver<Press>, doors: Vec<Door>) {
    while let Some(press) = presses.recv().await {
        let Some(door) = doors.iter().find(|door| door.name == press.bench).cloned() else {
            continue;
        };
        tokio::spawn(async move {
            let told = answer(&door, press.act).await;
            tracing::info!(bench = press.bench, act = ?press.act, ?told, "pressed on a notice");
            // Who pressed may not wait any more.
            let _gone = press.answer.send(told);
        });
    }
}

async fn answer(door: &Door, act: Act) -> Result<Told, Trouble> {
    let (order, title) = match act {
        Act::Take => (Order::Take, "Taken"),
        Act::Withdraw => (Order::Withdraw { capture: None }, "Withdrawn"),
        Act::Why => return Ok(why(&door.view().await?)),
    };
    let done = door.order(order, Terms::default()).await?;
    Ok(Told {
        title: title.to_owned(),
        text: done.text,
    })
}

/// The whole reason of a hold, as it is now, and what to do.
fn why(view: &BenchView) -> Told {
    let Some(hold) = &view.hold else {
        return Told {
            title: "The bench goes on".to_owned(),
            text: format!("Nothing holds it any more. {}", view.sentence),
        };
    };
    let shows = view.pan.shown.as_ref().map_or_else(
        || format!("The balance is {}.", view.link),
        |shown| format!("The balance is {} and shows {shown}.", view.link),
    );
    Told {
        title: "Why the bench holds".to_owned(),
        text: format!(
            "What happened: {}\nWhat it means: nothing is captured until that is gone; what was recorded stays. {shows}\nWhat to do: {}",
            hold.why, hold.mend
        ),
    }
}
