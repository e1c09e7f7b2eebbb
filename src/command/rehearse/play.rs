//! The play: one job from the first lot to the statement, with everything that goes wrong.

use std::time::Duration;

use rust_decimal::Decimal;

use super::hands::{Hands, edge, grams};
use super::stage::Stage;
use crate::job::{Water, WaterWay};
use crate::mass::Unit;
use crate::melt::Air;
use crate::serve::{AddBody, OrderBody, ReplyBody};
use crate::trouble::Trouble;

/// The job file that the play leaves.
pub(super) const FILE: &str = "R-0417.jsonl";

/// Plays the whole job; gives the answer to its closing, with the statement.
pub(super) async fn whole_job(stage: &mut Stage<'_>) -> Result<ReplyBody, Trouble> {
    let mut hands = Hands::new();
    open(stage).await?;
    lot(
        stage,
        &mut hands,
        "916",
        "fire-assay",
        "14.86 g",
        "Lot 1, cut-up bangle, goes on the pan.",
    )
    .await?;
    lot(
        stage,
        &mut hands,
        "14k",
        "stamp",
        "6.20 g",
        "Lot 2, three worn shanks, goes on the pan.",
    )
    .await?;
    silver(stage, &mut hands).await?;
    copper(stage, &mut hands).await?;
    button(stage, &mut hands).await?;
    proof(stage, &mut hands).await?;
    stage.order("close", OrderBody::Close {}).await
}

async fn open(stage: &mut Stage<'_>) -> Result<(), Trouble> {
    let part = |metal: &str, share: &str| AddBody {
        metal: metal.to_owned(),
        share: share.to_owned(),
    };
    let body = OrderBody::Open {
        ticket: "R-0417".to_owned(),
        client: "old bangle and shanks".to_owned(),
        target: "18k".to_owned(),
        colour: "yellow".to_owned(),
        purpose: "sheet".to_owned(),
        add: vec![part("fine-silver", "1"), part("fine-copper", "1")],
    };
    let typed = "open R-0417 --client \"old bangle and shanks\" --target 18k --colour yellow --use sheet --add fine-silver --add fine-copper";
    stage.order(typed, body).await?;
    Ok(())
}

async fn lot(
    stage: &mut Stage<'_>,
    hands: &mut Hands,
    fineness: &str,
    basis: &str,
    mass: &str,
    told: &str,
) -> Result<(), Trouble> {
    let body = OrderBody::Lot {
        fineness: fineness.to_owned(),
        basis: basis.to_owned(),
        note: String::new(),
    };
    stage
        .order(&format!("lot {fineness} {basis}"), body)
        .await?;
    stage
        .until("the pan may be loaded", |view| view.pan.net.is_some())
        .await?;
    let heard = stage.bells();
    hands.put(stage, grams(mass)?, told).await?;
    stage.until_bell_since("recorded", heard).await?;
    hands.empty(stage).await
}

async fn silver(stage: &mut Stage<'_>, hands: &mut Hands) -> Result<(), Trouble> {
    let view = begin_addition(stage).await?;
    let most = edge(&view, |weighing| weighing.lower.as_ref())? - grams("0.16 g")?;
    stage.tell("hands", "Silver trickles from the paper.");
    hands.pour(stage, most, Duration::from_secs(3)).await?;
    stage.pause(Duration::from_secs(1)).await;

    stage.tell(
        "hands",
        "A sleeve brushes the unit key: the balance shows carats.",
    );
    let heard = stage.bells();
    stage.balance.press_unit(Unit::Carat)?;
    stage.until_bell_since("hold", heard).await?;
    stage.pause(Duration::from_millis(1500)).await;
    stage.tell("hands", "The unit key is pressed back to grams.");
    stage.balance.press_unit(Unit::Gram)?;
    stage.until_bell_since("resumed", heard).await?;

    let heard = stage.bells();
    hands.pinch_until_within(stage).await?;
    stage.tell("hands", "Hands off.");
    stage.until_bell_since("recorded", heard).await
}

async fn copper(stage: &mut Stage<'_>, hands: &mut Hands) -> Result<(), Trouble> {
    let view = begin_addition(stage).await?;
    let half = edge(&view, |weighing| weighing.aim.as_ref())? - grams("0.40 g")?;
    let over = edge(&view, |weighing| weighing.upper.as_ref())? - half + grams("0.04 g")?;
    stage.tell("hands", "Copper trickles from the paper.");
    hands.pour(stage, half, Duration::from_secs(2)).await?;
    stage.pause(Duration::from_millis(1500)).await;

    stage.tell("hands", "The cable is pulled.");
    let heard = stage.bells();
    stage.balance.unplug()?;
    stage.until_bell_since("hold", heard).await?;
    stage.pause(Duration::from_secs(2)).await;
    stage.tell("hands", "The cable is put back.");
    stage.balance.plug()?;
    stage.until_bell_since("resumed", heard).await?;

    let heard = stage.bells();
    stage.tell("hands", "More copper, and too much of it.");
    hands.pour(stage, over, Duration::from_secs(2)).await?;
    stage.until_bell_since("over", heard).await?;
    stage.pause(Duration::from_secs(1)).await;
    hands.take_off(stage, grams("0.09 g")?).await?;
    stage.until_bell_since("within", heard).await?;
    stage.tell("hands", "Hands off.");
    stage.until_bell_since("recorded", heard).await
}

async fn button(stage: &mut Stage<'_>, hands: &mut Hands) -> Result<(), Trouble> {
    hands.empty(stage).await?;
    stage.tell("hands", "Melted, poured, pickled, rinsed and dried.");
    stage.pause(Duration::from_secs(1)).await;
    stage.order("button", OrderBody::Button {}).await?;
    let melt = stage
        .until("the pan may be loaded", |view| view.pan.net.is_some())
        .await?;
    let heard = stage.bells();
    let melt = grams(&melt.job.map(|job| job.melt).unwrap_or_default())?;
    hands
        .put(
            stage,
            melt - grams("0.05 g")?,
            "The button goes on the pan.",
        )
        .await?;
    stage.until_bell_since("recorded", heard).await
}

/// The button hung into a vessel of water that stands on the pan.
async fn proof(stage: &mut Stage<'_>, hands: &mut Hands) -> Result<(), Trouble> {
    hands.empty(stage).await?;
    hands
        .put(
            stage,
            grams("64.00 g")?,
            "A vessel of water goes on the pan.",
        )
        .await?;
    stage
        .until("the vessel is at rest", |view| {
            view.pan.steady && view.pan.shown.as_deref() == Some("64.00 g")
        })
        .await?;
    let water = Water {
        way: WaterWay::Displaced,
        water_celsius: Decimal::from(21),
        air_celsius: Air::default().celsius,
        pascal: Air::default().pascal,
        humidity: Air::default().humidity,
    };
    let typed = "proof --displaced --water-temperature 21";
    stage.order(typed, OrderBody::Proof(water.into())).await?;
    stage
        .until("the button may be hung", |view| view.pan.net.is_some())
        .await?;
    let heard = stage.bells();
    let told = "The button is hung into the water, clear of the vessel.";
    hands.put(stage, grams(PUSHED_ASIDE)?, told).await?;
    stage.until_bell_since("recorded", heard).await
}

/// What the button of the rehearsal pushes aside: some 22.8 g of 15.2 g/cm3.
const PUSHED_ASIDE: &str = "1.50 g";

/// Orders the next addition and waits until its window is on view.
async fn begin_addition(stage: &mut Stage<'_>) -> Result<crate::serve::BenchView, Trouble> {
    stage.order("add", OrderBody::Add { metal: None }).await?;
    stage
        .until("the addition may begin", |view| {
            view.pan.net.is_some()
                && view
                    .weighing
                    .as_ref()
                    .is_some_and(|weighing| weighing.aim.is_some())
        })
        .await
}
