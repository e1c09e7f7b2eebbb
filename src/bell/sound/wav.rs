//! The sound written into a WAV file at the pace at which it would be heard.
//!
//! Promises: the file is whole after every piece that was written; what is silent for longer takes
//! no room; the file has an end. Leaves to others: playing it.
//!
//! The file is RIFF WAVE with one channel of 16-bit samples (Multimedia Programming Interface and
//! Data Specifications 1.0, IBM and Microsoft, 1991, chapter "Waveform Audio File Format").

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::time::{Duration, Instant};

use super::tune::{RATE, Voice};
use super::{Shared, complain};

/// How much is written at a time.
const PIECE: Duration = Duration::from_millis(20);
/// The most samples: ten minutes, 58 MB.
const MOST: u32 = RATE * 600;
/// The bytes before the samples.
const HEAD: u32 = 44;

/// Writes until the end.
pub(super) fn run(shared: &Shared, volume: u32, path: &Path) {
    if let Err(error) = write(shared, volume, path) {
        complain(&format!("{} cannot be written ({error})", path.display()));
    }
}

fn write(shared: &Shared, volume: u32, path: &Path) -> io::Result<()> {
    let file = File::create(path)?;
    file.write_all_at(&head(0), 0)?;
    let (mut voice, mut written) = (Voice::new(volume), 0_u32);
    while written < MOST {
        let Some(heard) = shared.now() else {
            return Ok(());
        };
        voice.sing(heard.tune, heard.turn);
        if voice.is_silent() {
            if !shared.wait(heard.seen) {
                return Ok(());
            }
            continue;
        }
        // From here on by the clock, however late this thread is woken.
        let (start, mut done) = (Instant::now(), 0_u32);
        while !voice.is_silent() && written < MOST {
            let Some(heard) = shared.now() else {
                return Ok(());
            };
            voice.sing(heard.tune, heard.turn);
            let due = u128::from(RATE) * (start.elapsed() + PIECE).as_micros() / 1_000_000;
            let due = u32::try_from(due).unwrap_or(u32::MAX).min(MOST);
            let count = due.saturating_sub(done).min(MOST - written);
            let piece: Vec<u8> = (0..count)
                .flat_map(|_| voice.sample().to_le_bytes())
                .collect();
            file.write_all_at(&piece, u64::from(HEAD + written * 2))?;
            (done, written) = (due, written + count);
            file.write_all_at(&head(written), 0)?;
            std::thread::sleep(PIECE);
        }
    }
    tracing::info!("the sound's file has its ten minutes; no more is written");
    Ok(())
}

/// The head of a file with so many samples.
fn head(samples: u32) -> Vec<u8> {
    let bytes = samples * 2;
    let mut head = Vec::new();
    head.extend(b"RIFF");
    head.extend((HEAD - 8 + bytes).to_le_bytes());
    head.extend(b"WAVEfmt ");
    head.extend(16_u32.to_le_bytes());
    // PCM, one channel.
    head.extend(1_u16.to_le_bytes());
    head.extend(1_u16.to_le_bytes());
    head.extend(RATE.to_le_bytes());
    head.extend((RATE * 2).to_le_bytes());
    head.extend(2_u16.to_le_bytes());
    head.extend(16_u16.to_le_bytes());
    head.extend(b"data");
    head.extend(bytes.to_le_bytes());
    head
}
