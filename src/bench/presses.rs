//! What is pressed on a notice, given to the bench as an order through the same door as every other.
//!
//! Promises: a press never waits in the way of a bench or of another press. Leaves to others:
//! whether it is carried out.

use tokio::sync::mpsc;

use crate::bell::{Act, Press, Told};
use crate::job::{Order, Terms};
use crate::serve::{BenchView, Door, NotDone, Wish};
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
    // What the notice was about, and not what came since.
    let rung = door.rung();
    let (order, title) = match act {
        Act::Take => (Order::Take, "Taken"),
        Act::Withdraw if rung.capture.is_none() => return Err(nothing_recorded()),
        Act::Withdraw => {
            let capture = rung.capture;
            (Order::Withdraw { capture }, "Withdrawn")
        }
        Act::Why => return Ok(why(&door.view().await.map_err(NotDone::trouble)?)),
    };
    let terms = Terms {
        ticket: rung.ticket,
        ..Terms::default()
    };
    let done = door.order(Wish::Order(order), terms).await;
    let done = done.map_err(NotDone::trouble)?;
    Ok(Told {
        title: title.to_owned(),
        text: done.text,
    })
}

fn nothing_recorded() -> Trouble {
    Trouble::new(
        "nothing-to-withdraw",
        "The notice tells of no mass that could be set aside.",
        "Nothing was changed.",
        "Look at what was weighed, and set aside there what you mean.",
    )
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
