//! An ear for tests: how strong a pitch is in samples, when something begins, and what is in a WAV
//! file. Shares no code with the program.

use std::path::Path;

/// Samples a second, as the file's head must say.
pub(crate) const RATE: u32 = 48_000;

/// The strength of one pitch, 1 for a full sine (Goertzel, American Mathematical Monthly 65, 1958).
pub(crate) fn strength(samples: &[i16], hertz: u32) -> f64 {
    let turn = 2.0 * std::f64::consts::PI * f64::from(hertz) / f64::from(RATE);
    let (mut last, mut before) = (0.0, 0.0);
    for sample in samples {
        let now = f64::from(*sample) / 32_767.0 + 2.0 * turn.cos() * last - before;
        (last, before) = (now, last);
    }
    let power = last * last + before * before - 2.0 * turn.cos() * last * before;
    2.0 * power.max(0.0).sqrt() / samples.len() as f64
}

/// The loudness of each 5 ms.
fn loudness(samples: &[i16]) -> Vec<f64> {
    let pieces = samples.chunks(RATE as usize / 200);
    pieces
        .map(|piece| {
            let loudest = piece.iter().map(|it| i32::from(*it).abs()).max();
            f64::from(loudest.unwrap_or(0)) / 32_767.0
        })
        .collect()
}

/// When something begins after it was nearly silent, in seconds.
pub(crate) fn onsets(samples: &[i16]) -> Vec<f64> {
    let loud = loudness(samples);
    let peak = loud.iter().copied().fold(0.0, f64::max);
    let (mut times, mut quiet) = (Vec::new(), true);
    for (index, level) in loud.into_iter().enumerate() {
        if quiet && level > peak * 0.4 {
            times.push(index as f64 * 0.005);
            quiet = false;
        } else if level < peak * 0.15 {
            quiet = true;
        }
    }
    times
}

/// The samples of a file of one channel of 16 bits; the head must agree with the length.
pub(crate) fn read_wav(path: &Path) -> Vec<i16> {
    let bytes = std::fs::read(path).unwrap();
    let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    assert_eq!(
        (&bytes[..4], &bytes[8..16]),
        (&b"RIFF"[..], &b"WAVEfmt "[..])
    );
    assert_eq!((word(16), word(20), word(24)), (16, 0x0001_0001, RATE));
    assert_eq!((word(28), word(32)), (RATE * 2, 0x0010_0002));
    let length = word(40) as usize;
    assert!(bytes.len() >= 44 + length);
    assert_eq!(word(4) as usize, 36 + length);
    samples(&bytes[44..44 + length])
}

/// Bytes as samples.
pub(crate) fn samples(bytes: &[u8]) -> Vec<i16> {
    let pairs = bytes.chunks_exact(2);
    pairs.map(|it| i16::from_le_bytes([it[0], it[1]])).collect()
}
