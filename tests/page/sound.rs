//! What the bench sounds like, listened to without a loudspeaker: rendered by the browser, then its
//! beats and frequencies measured.

use serde_json::{Value, json};

use crate::stage::Stage;

/// Renders a standing for some seconds; gives when sounds begin, in seconds, and the frequency of each by its zero
/// crossings. A sound begins where 40 ms of quiet end.
const LISTEN: &str = "
    const { score, play } = await import('/page/bench.js');
    const rate = 44100, context = new OfflineAudioContext(1, rate * given.seconds, rate);
    let last = null;
    // In pieces, as the player does it.
    for (let from = 0; from < given.seconds; from += 0.2) {
        const made = score(given.state, last, from, from + 0.2);
        made.notes.forEach((note) => play(context, note, context.destination));
        last = made.last;
    }
    const heard = (await context.startRendering()).getChannelData(0);
    const quiet = 0.01, begins = [];
    let silence = rate;
    for (let at = 0; at < heard.length; at += 1) {
        if (Math.abs(heard[at]) < quiet) { silence += 1; continue; }
        if (silence > 0.04 * rate) begins.push(at);
        silence = 0;
    }
    const hertz = begins.map((from) => {
        const to = Math.min(heard.length, from + Math.round(given.measure * rate));
        let first = 0, latest = 0, waves = -1;
        for (let at = from + 1; at < to; at += 1) {
            if (heard[at - 1] < 0 && heard[at] >= 0) { waves += 1; first ||= at; latest = at; }
        }
        return waves > 0 ? waves * rate / (latest - first) : 0;
    });
    const loudest = heard.reduce((most, it) => Math.max(most, Math.abs(it)), 0);
    return { begins: begins.map((at) => at / rate), hertz, loudest };";

fn listen(
    stage: &Stage,
    kind: &str,
    away: f64,
    seconds: u32,
    measure: f64,
) -> (Vec<f64>, Vec<f64>, f64) {
    let state = json!({"kind": kind, "away": away});
    let heard = stage.page.wait_for(
        LISTEN,
        json!({"state": state, "seconds": seconds, "measure": measure}),
    );
    let list = |name: &str| {
        heard[name]
            .as_array()
            .unwrap()
            .iter()
            .map(|it| it.as_f64().unwrap())
            .collect()
    };
    (
        list("begins"),
        list("hertz"),
        heard["loudest"].as_f64().unwrap(),
    )
}

fn gaps(begins: &[f64]) -> Vec<f64> {
    begins.windows(2).map(|pair| pair[1] - pair[0]).collect()
}

fn near(found: f64, wanted: f64, off: f64) -> bool {
    (found - wanted).abs() <= off
}

#[test]
fn ticks_quicken_a_tone_holds_a_pair_falls_and_a_hold_knocks() {
    let stage = Stage::set();

    let mut before = f64::INFINITY;
    for (away, gap) in [(4.0, 1.0), (2.0, 0.57), (1.0, 0.355), (0.0, 0.14)] {
        let (begins, hertz, _) = listen(&stage, "under", away, 4, 0.02);
        let gaps = gaps(&begins);
        assert!(gaps.len() >= 3, "{away}: {begins:?}");
        assert!(
            gaps.iter().all(|found| near(*found, gap, 0.01)),
            "{away}: {gaps:?}"
        );
        assert!(
            hertz.iter().all(|found| near(*found, 1400.0, 60.0)),
            "{away}: {hertz:?}"
        );
        assert!(gap < before);
        before = gap;
    }

    let (begins, hertz, loudest) = listen(&stage, "within", 0.0, 3, 2.5);
    assert_eq!(begins.len(), 1, "the tone breaks off: {begins:?}");
    assert!(near(hertz[0], 660.0, 1.0), "{hertz:?}");
    // Its pieces lie over each other without a beat: where two meet it is as loud as one.
    assert!(near(loudest, 0.35, 0.01), "{loudest}");

    let (begins, hertz, _) = listen(&stage, "over", 0.0, 4, 0.1);
    assert!(begins.len() >= 6 && begins.len() % 2 == 0, "{begins:?}");
    for pair in hertz.chunks(2) {
        assert!(
            near(pair[0], 880.0, 15.0) && near(pair[1], 587.0, 15.0),
            "{hertz:?}"
        );
    }

    let (begins, hertz, _) = listen(&stage, "hold", 0.0, 5, 0.06);
    let gaps = gaps(&begins);
    for pair in gaps.chunks(2) {
        assert!(near(pair[0], 0.2, 0.02), "{gaps:?}");
        assert!(
            pair.get(1).is_none_or(|rest| near(*rest, 1.4, 0.02)),
            "{gaps:?}"
        );
    }
    assert!(
        hertz.iter().all(|found| near(*found, 150.0, 15.0)),
        "{hertz:?}"
    );

    let (begins, _, loudest) = listen(&stage, "still", 0.0, 2, 0.1);
    assert!(begins.is_empty() && loudest == 0.0);
}

#[test]
fn what_is_heard_follows_the_bench() {
    let stage = Stage::set();
    let script = "const { standing } = await import('/page/bench.js'); return given.map(([view, lost]) => standing(view, lost))";
    let at = |net: &str, side: &str| {
        json!({"division": "0.01 g", "hold": null, "pan": {"net": net},
            "weighing": {"side": side, "lower": "2.32 g", "upper": "2.42 g"}})
    };
    let held = json!({"division": "0.01 g", "hold": {"cause": "unit"}, "pan": {"net": "2.37 g"}, "weighing": {"side": "within"}});
    let heard = stage.page.wait_for(
        script,
        json!([
            [at("0.00 g", "under"), false],
            [at("1.32 g", "under"), false],
            [at("2.31 g", "under"), false],
            [at("2.37 g", "within"), false],
            [at("2.50 g", "over"), false],
            [held, false],
            [at("2.37 g", "within"), true],
            [null, false],
        ]),
    );
    let kinds: Vec<&str> = heard
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it["kind"].as_str().unwrap())
        .collect();
    assert_eq!(
        kinds,
        [
            "still", "under", "under", "within", "over", "hold", "hold", "still"
        ]
    );
    assert!(
        heard[1]["away"].as_f64() > heard[2]["away"].as_f64(),
        "{heard}"
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
