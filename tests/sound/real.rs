//! The real program heard: through its file, a real sound server and a real speech dispatcher.

use std::fs;
use std::io::Read;
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::ear::{RATE, onsets, read_wav, samples, strength};
use crate::support::desk::{BENCH, Desk, g};
use crate::support::follower::LIMIT;
use crate::support::home;
use crate::support::service::{self, KilledOnDrop, loud};

/// A desk with these lines under `[bell]` and this in its environment.
fn desk(bell: &str, environment: &[(&str, String)]) -> Desk {
    Desk::set(|home| {
        let bench = home::bench(BENCH, &home.port(BENCH), "status-first");
        // Long enough to hear the tone before the capture.
        let bench = bench.replace("dwell_seconds = 0.5", "dwell_seconds = 1.5");
        home.settings(&format!("{}{bell}{bench}", home::NO_DESKTOP));
        let mut command = service::command(home.path());
        command.envs(environment.iter().map(|(name, value)| (name, value)));
        command
    })
}

fn eventually<T>(what: &str, mut find: impl FnMut() -> Option<T>) -> T {
    let until = Instant::now() + LIMIT;
    loop {
        if let Some(found) = find() {
            return found;
        }
        assert!(Instant::now() < until, "never: {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Weighs a lot and pours half an addition, then to its aim, then over it in a second one.
fn job(desk: &Desk) {
    desk.open("K-1", &["fine-silver", "fine-copper"]);
    desk.lot("22k", "fire-assay", "20.00");
    let window = desk.add(&[]);
    let mark = desk.follower.mark();
    desk.pour(window.aim, Duration::from_secs(3));
    desk.follower.bell(mark, "within");
    desk.follower.bell(mark, "recorded");
    let window = desk.add(&[]);
    let mark = desk.follower.mark();
    desk.put(window.upper + g("0.50"));
    desk.follower.bell(mark, "over");
}

/// Where a pitch is strong, in tenths of a second.
fn where_strong(samples: &[i16], hertz: u32) -> Vec<usize> {
    let pieces = samples.chunks_exact(RATE as usize / 20);
    let strong = pieces
        .enumerate()
        .filter(|(_, piece)| strength(piece, hertz) > 0.15);
    strong.map(|(index, _)| index).collect()
}

/// What must be heard of [`job`], at the volume 100.
fn is_the_job(samples: &[i16]) -> bool {
    let tone = where_strong(samples, 880);
    let (high, low) = (where_strong(samples, 784), where_strong(samples, 523));
    let (Some(tone_first), Some(tone_last)) = (tone.first(), tone.last()) else {
        return false;
    };
    let (Some(high), Some(low)) = (high.first(), low.first()) else {
        return false;
    };
    // At least a second of tone, ticks before it, the pair after it, falling.
    let ticks = onsets(&samples[..tone_first * RATE as usize / 20]);
    let gaps: Vec<f64> = ticks.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let quickens = gaps.last() < gaps.first();
    tone.len() >= 20 && ticks.len() >= 4 && quickens && tone_last < high && high < low
}

#[test]
fn the_service_writes_what_it_sounds_like() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("sound.wav");
    let bell = format!(
        "sound = \"on\"\nvolume = 100\nsound_file = \"{}\"\n",
        file.display()
    );
    let desk = desk(&bell, &[]);
    job(&desk);
    eventually("the job is in the file", || {
        is_the_job(&read_wav(&file)).then_some(())
    });
    // A hold knocks.
    let before = read_wav(&file).len();
    desk.balance.unplug().unwrap();
    eventually("knocking", || {
        let samples = read_wav(&file);
        let low = samples[before..].chunks_exact(RATE as usize / 20);
        let knocks =
            low.filter(|it| strength(it, 180) > 0.1 && strength(it, 180) > strength(it, 523));
        (knocks.count() >= 2).then_some(())
    });
}

#[test]
fn a_file_that_cannot_be_written_is_told_and_stops_nothing() {
    let bell = "sound = \"on\"\nsound_file = \"/proc/none/sound.wav\"\n";
    let desk = desk(bell, &[]);
    desk.service.until_logged("sound-silent");
    desk.open("K-1", &["fine-silver"]);
    desk.lot("22k", "fire-assay", "20.00");
}

#[test]
fn a_sound_server_that_never_answers_stops_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("native");
    let _deaf = std::os::unix::net::UnixListener::bind(&path).unwrap();
    let server = format!("unix:{}", path.display());
    let bell = "sound = \"on\"\nspeech = true\n";
    let speech = format!("unix_socket:{}", path.display());
    let desk = desk(
        bell,
        &[("PULSE_SERVER", server), ("SPEECHD_ADDRESS", speech)],
    );
    job(&desk);
    desk.service.until_logged("sound-silent");
    desk.service.until_logged("speech-silent");
    assert_eq!(
        desk.service.log().matches("sound-silent").count(),
        1,
        "once"
    );
    assert!(desk.view()["job"]["weighed"].as_array().unwrap().len() == 2);
}

/// A sound server of the test's own, with a speaker that leads nowhere; none where it is not
/// installed.
fn sound_server(folder: &Path) -> Option<(KilledOnDrop, String)> {
    let socket = folder.join("native");
    let protocol = format!(
        "module-native-protocol-unix socket={} auth-anonymous=1",
        socket.display()
    );
    let server = Command::new("pulseaudio")
        .args([
            "-n",
            "--daemonize=no",
            "--use-pid-file=no",
            "--exit-idle-time=-1",
            "--disable-shm=yes",
        ])
        .args([
            "-L",
            "module-null-sink sink_name=out rate=48000",
            "-L",
            &protocol,
        ])
        .env("HOME", folder)
        .env("XDG_RUNTIME_DIR", folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let Ok(server) = server else {
        loud("pulseaudio is not installed, so no sound was heard through a real sound server");
        return None;
    };
    let server = KilledOnDrop(server);
    eventually("the sound server listens", || {
        UnixStream::connect(&socket).ok()
    });
    Some((server, format!("unix:{}", socket.display())))
}

#[test]
fn a_real_sound_server_plays_it() {
    let folder = tempfile::tempdir().unwrap();
    let Some((_server, address)) = sound_server(folder.path()) else {
        return;
    };
    let recorder = Command::new("parec")
        .args([
            "-d",
            "out.monitor",
            "--raw",
            "--rate=48000",
            "--channels=1",
            "--format=s16le",
        ])
        .args(["--latency-msec=50"])
        .env("PULSE_SERVER", &address)
        .env("HOME", folder.path())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn();
    let mut recorder = KilledOnDrop(recorder.expect("pulseaudio-utils come with pulseaudio"));
    let mut out = recorder.0.stdout.take().unwrap();
    let recorded = std::sync::Arc::new(std::sync::Mutex::new(Vec::new()));
    let theirs = std::sync::Arc::clone(&recorded);
    std::thread::spawn(move || {
        let mut piece = [0; 4096];
        while let Ok(count @ 1..) = out.read(&mut piece) {
            theirs.lock().unwrap().extend_from_slice(&piece[..count]);
        }
    });
    eventually("the recorder records", || {
        (!recorded.lock().unwrap().is_empty()).then_some(())
    });
    let desk = desk(
        "sound = \"on\"\nvolume = 100\n",
        // Nor is there a cookie of a server that ran before.
        &[
            ("PULSE_SERVER", address),
            ("HOME", folder.path().join("nobody").display().to_string()),
        ],
    );
    job(&desk);
    eventually("the job is heard", || {
        is_the_job(&samples(&recorded.lock().unwrap())).then_some(())
    });
    assert!(!desk.service.log().contains("sound-silent"));
}

/// A speech dispatcher of the test's own with the voice that only pretends; its socket and its log.
fn dispatcher(folder: &Path, sound: &str) -> Option<(KilledOnDrop, PathBuf, PathBuf)> {
    let (conf, log) = (folder.join("conf"), folder.join("log"));
    fs::create_dir(&conf).unwrap();
    fs::create_dir(&log).unwrap();
    let settings = "LogLevel 5\nAudioOutputMethod \"pulse\"\nAddModule \"dummy\" \"sd_dummy\" \"\"\nDefaultModule dummy\n";
    fs::write(conf.join("speechd.conf"), settings).unwrap();
    let socket = folder.join("speech");
    let dispatcher = Command::new("speech-dispatcher")
        .args(["-s", "-l", "5", "-t", "0", "-c", "unix_socket", "-S"])
        .arg(&socket)
        .arg("-C")
        .arg(&conf)
        .arg("-L")
        .arg(&log)
        .arg("-P")
        .arg(folder.join("pid"))
        .env("PULSE_SERVER", sound)
        .env("HOME", folder)
        .env("XDG_RUNTIME_DIR", folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    let Ok(dispatcher) = dispatcher else {
        loud("speech-dispatcher is not installed, so nothing was spoken to a real one");
        return None;
    };
    let dispatcher = KilledOnDrop(dispatcher);
    eventually("the speech dispatcher listens", || {
        UnixStream::connect(&socket).ok()
    });
    Some((dispatcher, socket, log.join("speech-dispatcher.log")))
}

#[test]
fn a_real_speech_dispatcher_is_given_each_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let Some((_sound, address)) = sound_server(folder.path()) else {
        return;
    };
    let Some((_dispatcher, socket, log)) = dispatcher(folder.path(), &address) else {
        return;
    };
    let speech = format!("unix_socket:{}", socket.display());
    let desk = desk("speech = true\n", &[("SPEECHD_ADDRESS", speech)]);
    let said = || {
        fs::read(&log)
            .map(|it| String::from_utf8_lossy(&it).into_owned())
            .unwrap_or_default()
    };
    desk.open("K-1", &["fine-silver"]);
    let mark = desk.follower.mark();
    desk.ok(&["lot", "22k", "fire-assay"]);
    desk.ready();
    desk.put(g("20.00"));
    desk.follower.bell(mark, "recorded");
    for words in ["Recorded. ", "user:panbell:bench"] {
        eventually(words, || said().contains(words).then_some(()));
    }
    // Each is begun by ending what is being spoken.
    eventually("what was being said is ended", || {
        said().contains("CANCEL self").then_some(())
    });
    assert!(
        !desk.service.log().contains("speech-silent"),
        "{}",
        desk.service.log()
    );
}
