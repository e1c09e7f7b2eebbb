//! The hunt for speed and framing, and whether the balance sends by itself or must be asked.
//!
//! Promises: listens first; sends nothing but what was allowed; on a pseudo-terminal, which
//! commonly has no speed, it says so. Leaves to others: judging a sound (`balance::learn`).

use std::path::Path;
use std::time::Duration;

use tokio::time::Instant;

use super::ear::{ANSWER, Ear};
use super::hands::Hands;
use crate::balance::learn::{TopBit, listen, top_bit};
use crate::port::{Framing, PortSettings};
use crate::trouble::Trouble;

/// The speed that is tried first.
pub(super) const USUAL_SPEED: u32 = 9600;
/// The usual speeds, the commonest first.
const SPEEDS: [u32; 10] = [
    9600, 2400, 4800, 19_200, 1200, 38_400, 57_600, 115_200, 600, 300,
];
/// The usual framings; one of seven bits is told by its top bit at 8N1, if the port delivers it.
const FRAMINGS: [&str; 6] = ["8N1", "7E1", "7O1", "8E1", "8O1", "7N2"];
/// How long one speed is listened to; the second time is for a balance that seldom sends, and for
/// a machine that was busy the first time.
const LISTEN: [Duration; 2] = [Duration::from_millis(1500), Duration::from_secs(4)];
/// A score that is good enough when too few lines came to be sure.
const GOOD: usize = 700;
/// What comes so soon after a change of speed may have been heard at the one before: adapters and
/// the system keep bytes on their way.
const SETTLE: Duration = Duration::from_millis(120);
/// How long it is waited for a balance that sends by itself.
const FIRST: Duration = Duration::from_secs(3);
/// How long it is waited for the print key.
const KEY: Duration = Duration::from_secs(20);
/// What is offered to be sent, one by one: the enquiry byte of ISO/IEC 646, and an empty line. A word
/// that a balance wants stands in its manual; none is guessed, since it could mean tare or adjust.
const OFFERS: [(&str, &[u8]); 2] = [("the enquiry byte", b"\x05"), ("an empty line", b"\r\n")];

/// A port that is heard.
pub(super) struct Found {
    pub(super) ear: Ear,
    pub(super) speed: u32,
    pub(super) framing: Framing,
    pub(super) open: Option<&'static str>,
}

/// Finds the speed and framing at which a balance is understood.
pub(super) async fn hunt(
    port: &Path,
    (speed, framing): (Option<u32>, Option<Framing>),
    requests: &[Vec<u8>],
    hands: &mut Hands<'_>,
) -> Result<Found, Trouble> {
    let pretend = std::fs::canonicalize(port).is_ok_and(|path| path.starts_with("/dev/pts"));
    let speeds: Vec<u32> = match speed {
        Some(speed) => vec![speed],
        None => SPEEDS.to_vec(),
    };
    let framings: Vec<Framing> = match framing {
        Some(framing) => vec![framing],
        None if pretend => vec![Framing::EIGHT_NONE_ONE],
        None => FRAMINGS
            .iter()
            .filter_map(|text| text.parse().ok())
            .collect(),
    };
    let first = Found {
        ear: open(
            port,
            *speeds.first().unwrap_or(&USUAL_SPEED),
            first_of(&framings),
        )?,
        speed: *speeds.first().unwrap_or(&USUAL_SPEED),
        framing: first_of(&framings),
        open: None,
    };
    let mut found = first;
    hands.say("Listening.");
    found.ear.until(Instant::now() + FIRST, clear).await?;
    if found.ear.heard().is_empty() {
        return silent(port, found, (&speeds, requests), hands).await;
    }
    if clear(found.ear.heard()) || speeds.len() == 1 && framings.len() == 1 {
        found.open = (pretend && speed.is_none()).then_some(
            "A pseudo-terminal is commonly heard at every speed: 9600 and 8N1 are written down.",
        );
        return Ok(found);
    }
    best_of(port, found, (&speeds, &framings), hands).await
}

fn first_of(framings: &[Framing]) -> Framing {
    framings.first().copied().unwrap_or(Framing::EIGHT_NONE_ONE)
}

fn open(port: &Path, speed: u32, framing: Framing) -> Result<Ear, Trouble> {
    Ear::open(&PortSettings::new(port, speed, framing))
}

/// Opens the port at another speed, and lets pass what was on its way at the one before.
async fn open_anew(port: &Path, speed: u32, framing: Framing) -> Result<Ear, Trouble> {
    let mut ear = open(port, speed, framing)?;
    ear.listen(SETTLE).await?;
    ear.forget();
    Ok(ear)
}

/// Enough to be sure of: several lines that are text and alike.
fn clear(heard: &[u8]) -> bool {
    // The later half as well: the first bytes may be rubble for all sorts of reasons.
    let later = heard.get(heard.len() / 2..).unwrap_or_default();
    [heard, later].into_iter().any(|part| {
        let sound = listen(part);
        sound.lines >= 4 && sound.is_clear()
    })
}

/// Tries every speed, then every framing at the best one, and goes on with what sounds best.
async fn best_of(
    port: &Path,
    found: Found,
    (speeds, framings): (&[u32], &[Framing]),
    hands: &Hands<'_>,
) -> Result<Found, Trouble> {
    let mut best = (
        listen(found.ear.heard()).score(),
        found.speed,
        found.framing,
    );
    // The port is ours alone, so it is given back before it is opened anew.
    drop(found);
    let mut is_clear = false;
    // The speed first, then the framing at that speed: a wrong framing still sounds like text, a
    // wrong speed does not.
    let first = first_of(framings);
    'listening: for time in LISTEN {
        let at_speeds = speeds.iter().map(|speed| (Some(*speed), first));
        let at_framings = framings.iter().skip(1).map(|framing| (None, *framing));
        for (speed, framing) in at_speeds.chain(at_framings) {
            let speed = speed.unwrap_or(best.1);
            hands.say(&format!("Listening at {speed}, {framing}."));
            let mut ear = open_anew(port, speed, framing).await?;
            ear.until(Instant::now() + time, clear).await?;
            let score = listen(ear.heard()).score();
            is_clear = clear(ear.heard());
            if score > best.0 || is_clear {
                best = (score, speed, framing);
            }
            if is_clear {
                break 'listening;
            }
        }
        // A few good lines, as from a print key, are enough too.
        if best.0 >= GOOD {
            break;
        }
    }
    let (score, speed, framing) = best;
    Ok(Found {
        ear: open_anew(port, speed, framing).await?,
        speed,
        framing,
        open: (!is_clear && score < GOOD)
            .then_some("No speed sounded clear; the best one is written down."),
    })
}

/// Nothing came by itself: the print key, then what may be sent.
async fn silent(
    port: &Path,
    mut found: Found,
    (speeds, requests): (&[u32], &[Vec<u8>]),
    hands: &mut Hands<'_>,
) -> Result<Found, Trouble> {
    if requests.is_empty() && hands.has_person() {
        hands.say("Nothing came. If the balance has a print key, press it now, a few times.");
        found
            .ear
            .until(Instant::now() + KEY, |heard| listen(heard).lines >= 2)
            .await?;
        if !found.ear.heard().is_empty() {
            let speeds = (speeds, &[found.framing][..]);
            return if listen(found.ear.heard()).score() > 0 || speeds.0.len() == 1 {
                Ok(found)
            } else {
                hands.say("Something came at another speed: go on pressing the print key.");
                best_of(port, found, speeds, hands).await
            };
        }
    }
    let mut allowed = requests.to_vec();
    if allowed.is_empty() && hands.has_person() {
        for (what, bytes) in OFFERS {
            if hands.may_send(what).await? {
                allowed.push(bytes.to_vec());
            }
        }
    }
    let (framing, open_text) = (found.framing, found.open);
    drop(found);
    for speed in speeds.iter().filter(|_| !allowed.is_empty()) {
        let mut ear = open(port, *speed, framing)?;
        for request in &allowed {
            hands.say(&format!(
                "Asking at {speed} with \"{}\".",
                request.escape_ascii()
            ));
            ear.forget();
            ear.ask_with(Some(request.clone()));
            ear.until(Instant::now() + ANSWER * 3 / 2, |heard| {
                listen(heard).lines >= 2
            })
            .await?;
            let sound = listen(ear.heard());
            let text = sound.printable >= 900 || top_bit(ear.heard()) != TopBit::Plain;
            if sound.bytes >= 3 && text {
                return Ok(Found {
                    ear,
                    speed: *speed,
                    framing,
                    open: open_text,
                });
            }
        }
    }
    Err(Trouble::new(
        "learn-nothing-heard",
        format!("Nothing was heard from the balance on {}.", port.display()),
        "How it speaks could not be learned, so nothing can be weighed with it yet.",
        r"See that it is switched on and sends; if it must be asked, allow what its manual names, as in --may-send 'brilvo\r'.",
    ))
}

#[cfg(test)]
mod tests {
    use super::clear;

    #[test]
    fn rubble_of_the_speed_before_does_not_hide_the_right_one() {
        let even = |byte: u8| byte | u8::from(byte.count_ones() % 2 == 1) << 7;
        let lines = b"stable   12.34 g\r\n".repeat(12);
        let mut heard: Vec<u8> = (0..60_u8).map(|at| at.wrapping_mul(91)).collect();
        assert!(!clear(&heard));
        heard.extend(lines.iter().map(|byte| even(*byte)));
        assert!(clear(&heard));
    }
}
