//! Sound and speech: the samples by pitch and rhythm, and the real program with a real sound
//! server and a real speech dispatcher where they are installed. Shares no code with the program
//! but the voice under test.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::indexing_slicing)]
// Samples are counted in seconds here: small numbers, never negative.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss
)]

#[path = "sound/ear.rs"]
mod ear;
#[path = "sound/real.rs"]
mod real;
mod support;

use ear::{RATE, onsets, strength};
use panbell::bell::Tune;
use panbell::bell::sound::tune::Voice;

fn heard(voice: &mut Voice, seconds: f64) -> Vec<i16> {
    (0..(seconds * f64::from(RATE)) as usize)
        .map(|_| voice.sample())
        .collect()
}

fn alone(tune: Tune, seconds: f64) -> Vec<i16> {
    let mut voice = Voice::new(100);
    voice.sing(tune, 1);
    heard(&mut voice, seconds)
}

/// The pitch, of these, that is the strongest.
fn pitch(samples: &[i16]) -> u32 {
    let of = [180, 300, 523, 660, 784, 880, 1500, 2000].into_iter();
    of.max_by(|a, b| strength(samples, *a).total_cmp(&strength(samples, *b)))
        .unwrap()
}

#[test]
fn within_is_one_steady_tone() {
    let samples = alone(Tune::Within, 2.0);
    let part = RATE as usize / 10;
    for piece in samples[part..].chunks_exact(part) {
        assert_eq!(pitch(piece), 880);
        assert!((0.4..0.6).contains(&strength(piece, 880)), "steady");
    }
    assert_eq!(onsets(&samples).len(), 1);
}

#[test]
fn over_is_a_falling_pair_every_two_seconds() {
    let samples = alone(Tune::Over, 4.4);
    let at = |from: f64, to: f64| {
        let index = |s: f64| (s * f64::from(RATE)) as usize;
        &samples[index(from)..index(to)]
    };
    for start in [0.0, 2.0, 4.0] {
        assert_eq!(pitch(at(start + 0.02, start + 0.18)), 784);
        assert_eq!(pitch(at(start + 0.22, start + 0.38)), 523);
    }
    assert!(at(0.41, 1.99).iter().all(|it| *it == 0), "nothing between");
}

#[test]
fn a_hold_knocks_in_pairs_every_three_seconds() {
    let samples = alone(Tune::Hold, 6.5);
    let times = onsets(&samples);
    let expected = [0.0, 0.16, 3.0, 3.16, 6.0, 6.16];
    assert_eq!(times.len(), expected.len(), "{times:?}");
    for (time, expected) in times.iter().zip(expected) {
        assert!((time - expected).abs() < 0.02, "{times:?}");
    }
    assert_eq!(pitch(&samples[..RATE as usize / 20]), 180);
}

#[test]
fn ticks_quicken_toward_the_window() {
    let mut before = f64::INFINITY;
    for (way, seconds, apart) in [
        (500, 4.0, 1.0),
        (800, 3.0, 0.258),
        (900, 3.0, 0.163),
        (1000, 3.0, 0.111),
    ] {
        let samples = alone(Tune::Ticks(way), seconds);
        let times = onsets(&samples);
        let gaps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(times[0] < 0.01, "the first comes at once: {times:?}");
        assert!(gaps.len() >= 2);
        for gap in &gaps {
            assert!((gap - apart).abs() < 0.015, "{way}: {gaps:?}");
        }
        assert!(gaps[0] < before, "quicker than farther away");
        before = gaps[0];
        assert_eq!(pitch(&samples[..RATE as usize / 40]), 1500);
    }
    assert!(
        alone(Tune::Ticks(499), 3.0).iter().all(|it| *it == 0),
        "far away"
    );
}

#[test]
fn each_falls_silent_by_itself_and_another_begins_it_anew() {
    for (tune, seconds) in [
        (Tune::Ticks(900), 5.3),
        (Tune::Within, 30.1),
        (Tune::Over, 30.1),
        (Tune::Hold, 30.1),
    ] {
        let mut voice = Voice::new(100);
        assert!(voice.is_silent());
        voice.sing(tune, 1);
        heard(&mut voice, 1.0);
        assert!(!voice.is_silent());
        heard(&mut voice, seconds - 1.0);
        assert!(voice.is_silent(), "{tune:?}");
        assert!(heard(&mut voice, 4.0).iter().all(|it| *it == 0));
        voice.sing(Tune::Silent, 2);
        voice.sing(tune, 3);
        assert!(!voice.is_silent());
        assert!(heard(&mut voice, 1.0).iter().any(|it| *it != 0));
    }
}

#[test]
fn changes_do_not_click_and_the_volume_is_kept() {
    for volume in [0, 10, 50, 100] {
        let mut voice = Voice::new(volume);
        let mut samples = Vec::new();
        let tunes = [
            Tune::Within,
            Tune::Silent,
            Tune::Over,
            Tune::Within,
            Tune::Ticks(990),
            Tune::Silent,
        ];
        for (turn, tune) in tunes.into_iter().cycle().take(60).enumerate() {
            voice.sing(tune, turn as u64);
            samples.extend(heard(&mut voice, 0.0513));
        }
        let loudest = samples.iter().map(|it| i32::from(*it).abs()).max().unwrap();
        let most = 32_767 * i32::try_from(volume).unwrap() / 100;
        assert!(loudest <= most, "{loudest} at {volume}");
        assert!(loudest >= most / 3);
        // The steepest is the tick's own pitch at full strength: 2 pi 1500 / 48000 of it.
        let jumps = samples
            .windows(2)
            .map(|it| (i32::from(it[1]) - i32::from(it[0])).abs());
        let steepest = jumps.max().unwrap();
        assert!(steepest <= most / 4 + 2, "{steepest} at {volume}");
    }
}
