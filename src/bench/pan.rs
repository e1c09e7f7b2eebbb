//! Where the pan stands, as the bells follow it between two rings: progress and sound. Leaves to
//! others: telling it.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;

use crate::bell::{PanNow, Tune};
use crate::job::{State, Zone};
use crate::mass::{Indication, Mass};

/// Where the pan of a bench stands. Within and over follow what was rung, so that a pan that
/// trembles on an edge does not chatter.
pub(super) fn now(state: &State) -> PanNow {
    if state.open_job().is_some() && state.holds().any_announced() {
        return PanNow {
            progress: None,
            tune: Tune::Hold,
        };
    }
    let net = state.tracked().and_then(|tracked| tracked.net);
    let (Some(adding), Some(net), false) = (state.adding(), net, state.holds().any()) else {
        return PanNow::default();
    };
    let (window, net) = (&adding.window, Indication::mass(net));
    let tune = match state.zone() {
        // A record is on its way; what is on the pan is no news.
        _ if state.is_writing() => Tune::Silent,
        Zone::Over => Tune::Over,
        Zone::Within => Tune::Within,
        Zone::Near | Zone::Far => Tune::Ticks(share(net, window.lower, 1000)),
    };
    PanNow {
        progress: u8::try_from(share(net, window.aim, 100)).ok(),
        tune,
    }
}

/// How many of `parts` of a whole; never more than all, nor less than none.
fn share(part: Mass, whole: Mass, parts: u16) -> u16 {
    let all = Decimal::from(parts);
    (part.grams() * all)
        .checked_div(whole.grams())
        .map_or(all, |share| share.clamp(Decimal::ZERO, all))
        .to_u16()
        .unwrap_or(0)
}
