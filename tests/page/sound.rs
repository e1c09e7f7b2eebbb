//! What the bench sounds like on its page, listened to without a loudspeaker: by the same ear as the service's own
//! voice, and as it follows the line.

use panbell::bell::Tune;
use panbell::bell::sound::tune::Voice;
use serde_json::{Value, json};

use crate::ear::{RATE, strength};
use crate::proxy::{Proxy, address_by};
use crate::stage::Stage;
use crate::support::desk::{g, mass};

/// Renders a standing for some seconds, in pieces as the player does it; gives the samples.
const RENDER: &str = "
    const { score, play } = await import('/page/bench.js');
    const rate = 48000, context = new OfflineAudioContext(1, rate * given.seconds, rate);
    let last = null;
    for (let from = 0; from < given.seconds; from += 0.2) {
        const made = score(given.state, last, from, from + 0.2);
        made.notes.forEach((note) => play(context, note, context.destination));
        last = made.beats.at(-1) ?? last;
    }
    const heard = (await context.startRendering()).getChannelData(0);
    return Array.from(heard, (it) => Math.round(Math.max(-1, Math.min(1, it)) * 32767));";

const SECONDS: u32 = 7;

fn of_the_page(stage: &Stage, kind: &str, way: u16) -> Vec<i16> {
    let given = json!({"state": {"kind": kind, "way": way}, "seconds": SECONDS});
    let samples = stage.page.wait_for(RENDER, given);
    let samples = samples.as_array().unwrap().iter();
    samples
        .map(|it| i16::try_from(it.as_i64().unwrap()).unwrap())
        .collect()
}

fn of_the_service(tune: Tune) -> Vec<i16> {
    let mut voice = Voice::new(100);
    voice.sing(tune, 1);
    (0..SECONDS * RATE).map(|_| voice.sample()).collect()
}

/// What is heard in each 20 ms: the strongest of the pitches that the bench has, or nothing.
fn heard(samples: &[i16]) -> Vec<u32> {
    let loudest = samples.iter().map(|it| i32::from(*it).abs()).max().unwrap();
    let pieces = samples.chunks(RATE as usize / 50);
    pieces
        .map(|piece| {
            let level = piece.iter().map(|it| i32::from(*it).abs()).max().unwrap();
            if level * 6 <= loudest {
                return 0;
            }
            let of = [180, 523, 784, 880, 1046, 1500].into_iter();
            of.max_by(|a, b| strength(piece, *a).total_cmp(&strength(piece, *b)))
                .unwrap()
        })
        .collect()
}

#[test]
fn one_sound_has_one_meaning_on_the_page_and_from_the_service() {
    let stage = Stage::set();
    for (kind, way, tune) in [
        ("silent", 0, Tune::Silent),
        ("ticks", 0, Tune::Ticks(0)),
        ("ticks", 499, Tune::Ticks(499)),
        ("ticks", 500, Tune::Ticks(500)),
        ("ticks", 800, Tune::Ticks(800)),
        ("ticks", 1000, Tune::Ticks(1000)),
        ("within", 0, Tune::Within),
        ("over", 0, Tune::Over),
        ("hold", 0, Tune::Hold),
    ] {
        let (page, service) = (of_the_page(&stage, kind, way), of_the_service(tune));
        // The page's player ends the ticks after five seconds; the score knows no end.
        let until = 240;
        let (page, service) = (&heard(&page)[..until], &heard(&service)[..until]);
        let differs = page.iter().zip(service).filter(|(a, b)| a != b).count();
        // A piece of 20 ms in which one begins or ends may count as either.
        assert!(
            differs <= until / 20,
            "{kind} {way}: {differs}\n{page:?}\n{service:?}"
        );
        let is_silent = page.iter().all(|it| *it == 0);
        assert_eq!(
            is_silent,
            kind == "silent" || (kind, way < 500) == ("ticks", true)
        );
    }
}

#[test]
fn what_is_heard_follows_the_bench() {
    let stage = Stage::set();
    let script = "const { standing } = await import('/page/bench.js'); return given.map((view) => { const { kind, way } = standing(view); return [kind, way]; })";
    let at = |net: &str, side: &str| {
        json!({"division": "0.01 g", "hold": null, "pan": {"net": net}, "job": {"open": true},
            "weighing": {"side": side, "lower": "2.00 g", "upper": "2.10 g"}})
    };
    let mut held = at("2.05 g", "within");
    held["hold"] = json!({"cause": "unit"});
    let mut idle = held.clone();
    idle["job"] = Value::Null;
    let mut unknown = at("2.05 g", "within");
    unknown["pan"] = json!({});
    let heard = stage.page.wait_for(
        script,
        json!([
            at("0.00 g", "under"),
            at("1.00 g", "under"),
            at("1.99 g", "under"),
            at("2.05 g", "within"),
            at("2.50 g", "over"),
            held,
            idle,
            unknown,
            null,
        ]),
    );
    assert_eq!(
        heard,
        json!([
            ["ticks", 0],
            ["ticks", 500],
            ["ticks", 995],
            ["within", 0],
            ["over", 0],
            ["hold", 0],
            ["silent", 0],
            ["silent", 0],
            ["silent", 0],
        ])
    );
    // The first touch wakes it; before that nothing sounds and the button says so.
    assert!(stage.page.text("#sound").contains("Touch for sound"));
    stage.page.click("#sound");
    let on = "return document.getElementById('sound').getAttribute('aria-pressed') === 'true'";
    stage.page.until("it sounds", on, &Value::Null);
    stage.page.click("#sound");
    stage.page.until(
        "it is silent",
        "return document.getElementById('sound').textContent === 'Silent'",
        &Value::Null,
    );
}

/// Whatever goes to the loudspeaker goes to an ear too, which hears the strongest pitch of now.
const EAR: &str = "
    const connect = AudioNode.prototype.connect;
    AudioNode.prototype.connect = function (to, ...rest) {
        if (to === this.context.destination) {
            const ear = this.context.createAnalyser();
            ear.fftSize = 4096;
            ear.smoothingTimeConstant = 0;
            connect.call(this, ear);
            const wave = new Float32Array(2048), bins = new Float32Array(ear.frequencyBinCount);
            window.heard = () => {
                ear.getFloatTimeDomainData(wave);
                if (wave.every((it) => Math.abs(it) < 0.004)) return 0;
                ear.getFloatFrequencyData(bins);
                return bins.indexOf(Math.max(...bins)) * this.context.sampleRate / ear.fftSize;
            };
            window.log = [];
            setInterval(() => window.log.push([performance.now(), window.heard()]), 20);
        }
        return connect.call(this, to, ...rest);
    };";

#[test]
fn the_tone_ends_within_three_seconds_of_a_cut_with_a_sign_of_its_own() {
    let stage = Stage::unopened_patient();
    let proxy = Proxy::start(stage.at());
    stage.page.go(&address_by(&stage, &proxy));
    stage.until_shown();
    stage.page.run(EAR, Value::Null);
    let [_, aim, _] = stage.adding();
    stage.page.click("#strip");
    stage.desk.place(mass(&aim));
    let tone = "return Math.abs(window.heard?.() - 880) < 12";
    stage.page.until("the tone is heard", tone, &Value::Null);
    // A router forgets the connection: nothing is told, and nothing comes.
    proxy.stall();
    let cut = stage.page.run("return performance.now()", Value::Null);
    let gone = "return document.getElementById('hold-word').textContent === 'Not connected'";
    stage.page.until("it is covered", gone, &Value::Null);
    // Silent from here on, the sign being over.
    stage.page.wait_for(
        "await new Promise((done) => setTimeout(done, 1500))",
        Value::Null,
    );
    let log = stage.page.run(
        "return window.log.filter(([at]) => at > arguments[0])",
        cut.clone(),
    );
    let cut = cut.as_f64().unwrap();
    let log: Vec<(f64, f64)> = log
        .as_array()
        .unwrap()
        .iter()
        .map(|it| (it[0].as_f64().unwrap() - cut, it[1].as_f64().unwrap()))
        .collect();
    let last_tone = log.iter().rfind(|(_, hz)| (hz - 880.0).abs() < 12.0);
    let last_tone = last_tone.map_or(0.0, |(at, _)| *at);
    assert!(
        (500.0..3_200.0).contains(&last_tone),
        "{last_tone}: {log:?}"
    );
    // The sign falls: 330, 262, 196.
    let after: Vec<f64> = log
        .iter()
        .filter(|(at, hz)| *at > last_tone && *hz > 0.0)
        .map(|(_, hz)| *hz)
        .collect();
    for pitch in [330.0, 262.0, 196.0] {
        assert!(
            after.iter().any(|hz| (hz - pitch).abs() < 12.0),
            "{pitch}: {after:?}"
        );
    }
    assert!(log.last().unwrap().1 < 1.0, "{log:?}");
    proxy.open();
    stage
        .page
        .until("the tone is heard again", tone, &Value::Null);
}

#[test]
fn what_is_over_is_heard_of_a_page_that_is_not_in_sight() {
    let stage = Stage::patient();
    stage.page.run(EAR, Value::Null);
    let [_, aim, upper] = stage.adding();
    stage.page.click("#strip");
    stage.desk.place(mass(&aim));
    stage.page.until(
        "the tone is heard",
        "return Math.abs(window.heard?.() - 880) < 12",
        &Value::Null,
    );
    // Another tab in front: this one paints no more.
    let own = stage.page.window();
    let all = stage.page.further(1, "about:blank");
    let other = all.iter().find(|it| **it != own).unwrap().clone();
    stage.desk.place(mass(&upper) + g("0.50"));
    stage
        .desk
        .at_rest(&crate::support::desk::shown(stage.desk.on_pan()));
    std::thread::sleep(std::time::Duration::from_millis(4500));
    stage.page.switch(&own);
    let log = stage.page.run(
        "return window.log.filter(([at]) => at > performance.now() - 3200).map(([, hz]) => Math.round(hz))",
        Value::Null,
    );
    let heard = |pitch: f64| {
        let list = log.as_array().unwrap().iter();
        list.filter(|it| (it.as_f64().unwrap() - pitch).abs() < 12.0)
            .count()
    };
    assert!(heard(784.0) > 0 && heard(523.0) > 0, "{log}");
    assert_eq!(heard(880.0), 0, "{log}");
    stage.page.switch(&other);
    stage.page.close_window();
    stage.page.switch(&own);
}
