//! The sound server of the desktop: a stream that is open only while something is to be heard.
//!
//! Promises: every wait on the server has a limit; one that is not there, dies or sticks is told
//! once and tried again. Leaves to others: samples.
//!
//! The server asks for samples when it needs them, so what is heard is what the bench is at that
//! moment, a twentieth of a second later; nothing queues.

use std::os::unix::net::UnixStream;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use pulseaudio::protocol::{
    ChannelMap, DEFAULT_SINK, PlaybackStreamParams, SampleFormat, SampleSpec,
    stream::{BufferAttr, StreamFlags},
};
use pulseaudio::{AsPlaybackSource, Client, PlaybackStream};
use tokio::time::timeout;

use super::tune::{RATE, Voice};
use super::{Shared, complain};

/// How long any answer of the server may take.
const ANSWER: Duration = Duration::from_secs(2);
/// How long an open stream stays after the last sound: the next one is then heard at once.
const LINGER: Duration = Duration::from_secs(2);
/// How long a server may ask for nothing before it counts as stuck.
const STUCK: Duration = Duration::from_secs(3);
/// How often an open stream is looked after.
const LOOK: Duration = Duration::from_millis(250);
/// The pause after a failure. A bench is heard again soon, and a machine without sound costs nothing.
const PAUSE: Duration = Duration::from_secs(5);
/// What lies ready at the server, in bytes: 50 ms.
const READY: u32 = RATE * 2 / 20;

/// The length of the cookie that a client shows, in bytes (the native protocol of `PulseAudio`).
const COOKIE: usize = 256;

/// Plays until the end.
pub(super) fn run(shared: &Arc<Shared>, volume: u32) {
    let mut told = false;
    while let Some(heard) = shared.now() {
        let mut voice = Voice::new(volume);
        voice.sing(heard.tune, heard.turn);
        let goes_on = if voice.is_silent() {
            shared.wait(heard.seen)
        } else {
            match play(shared, voice) {
                Ok(seen) => {
                    told = false;
                    shared.wait(seen)
                }
                Err(why) => {
                    if !std::mem::replace(&mut told, true) {
                        complain(&why);
                    }
                    shared.pause(PAUSE)
                }
            }
        };
        if !goes_on {
            return;
        }
    }
}

/// Opens a stream, and closes it when nothing has been heard for a while; says up to which asking
/// all has been heard.
fn play(shared: &Arc<Shared>, voice: Voice) -> Result<u64, String> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .map_err(|error| error.to_string())?;
    let pulse = Arc::new(Pulse::default());
    let (client, stream) = runtime.block_on(open(shared, voice, &pulse))?;
    let (mut seen, mut moved) = (0, Instant::now());
    let mut quiet = None;
    let result = loop {
        // Asked-for changes come often while metal is poured: only the clock matters here.
        std::thread::sleep(LOOK);
        if shared.now().is_none() {
            break Ok(pulse.seen.load(Ordering::Relaxed));
        }
        let asked = pulse.asked.load(Ordering::Relaxed);
        if asked != seen {
            (seen, moved) = (asked, Instant::now());
        }
        if moved.elapsed() > STUCK {
            break Err("the sound server asks for nothing".to_owned());
        }
        if pulse.silent.load(Ordering::Relaxed) {
            if quiet.get_or_insert_with(Instant::now).elapsed() > LINGER {
                break Ok(pulse.seen.load(Ordering::Relaxed));
            }
        } else {
            quiet = None;
        }
    };
    // What is not answered in time is dropped all the same.
    let _late = runtime.block_on(async { timeout(ANSWER, stream.delete()).await });
    drop(client);
    result
}

/// What the side that the server calls tells the side that looks after it.
#[derive(Debug, Default)]
struct Pulse {
    asked: AtomicU64,
    seen: AtomicU64,
    silent: AtomicBool,
}

async fn open(
    shared: &Arc<Shared>,
    mut voice: Voice,
    pulse: &Arc<Pulse>,
) -> Result<(Client, PlaybackStream), String> {
    let words = |error: pulseaudio::ClientError| error.to_string();
    let path = pulseaudio::socket_path_from_env().ok_or("there is no sound server")?;
    let socket = UnixStream::connect(&path)
        .map_err(|error| format!("the sound server at {} ({error})", path.display()))?;
    // The greeting is done on the socket as it is, and must have its limit from here.
    let limits = (
        socket.set_read_timeout(Some(ANSWER)),
        socket.set_write_timeout(Some(ANSWER)),
    );
    if let (Err(error), _) | (_, Err(error)) = limits {
        return Err(error.to_string());
    }
    // A server that asks for no cookie, as PipeWire's, still wants the room for one filled.
    let cookie = pulseaudio::cookie_path_from_env()
        .and_then(|path| std::fs::read(path).ok())
        .filter(|cookie| cookie.len() == COOKIE)
        .unwrap_or_else(|| vec![0; COOKIE]);
    let client = Client::new_unix(c"panbell", socket, Some(cookie)).map_err(words)?;
    let params = PlaybackStreamParams {
        sample_spec: SampleSpec {
            format: SampleFormat::S16Le,
            channels: 1,
            sample_rate: RATE,
        },
        channel_map: ChannelMap::mono(),
        sink_name: Some(DEFAULT_SINK.to_owned()),
        buffer_attr: BufferAttr {
            target_length: READY,
            ..BufferAttr::default()
        },
        flags: StreamFlags {
            adjust_latency: true,
            ..StreamFlags::default()
        },
        ..PlaybackStreamParams::default()
    };
    let (shared, pulse) = (Arc::clone(shared), Arc::clone(pulse));
    let fill = move |room: &mut [u8]| {
        let heard = shared.heard();
        voice.sing(heard.tune, heard.turn);
        for sample in room.as_chunks_mut::<2>().0 {
            *sample = voice.sample().to_le_bytes();
        }
        pulse.asked.fetch_add(1, Ordering::Relaxed);
        pulse.seen.store(heard.seen, Ordering::Relaxed);
        pulse.silent.store(voice.is_silent(), Ordering::Relaxed);
        room.len()
    };
    let stream = client.create_playback_stream(params, fill.as_playback_source());
    match timeout(ANSWER, stream).await {
        Ok(stream) => Ok((client, stream.map_err(words)?)),
        Err(_) => Err("the sound server does not answer".to_owned()),
    }
}
