// What the bench sounds like. The score is pure: from how the pan stands to notes in time. Playing
// a note needs any audio context, so that a test can listen to it without a loudspeaker.
//
// Ticks that quicken as the window comes near; a steady tone inside; a falling pair over it; a
// knocking for a hold; one stroke for what is recorded. All lie between 140 and 1400 Hz, apart
// from each other in rhythm, so that they are told apart behind a torch and by old ears.

export const TICK = 1400, TONE = 660, HIGH = 880, LOW = 587, KNOCK = 150, STROKE = 1046;

/** A second of no tick is as slow as it gets, and seven a second as fast. */
const SLOWEST = 1.0, FASTEST = 0.14;
/** So many powers of ten of divisions away the ticks are slowest. */
const DECADES = 4;
/** The tone is made of pieces that overlap; both are whole numbers of its waves. */
const PIECE = 0.5, OVERLAP = 0.05;

/** How the bench stands, as far as the ear is told: { kind, away } */
export function standing(view, lost) {
  if (lost || view?.hold) return { kind: "hold", away: 0 };
  const { weighing, pan, division } = view ?? {};
  if (!weighing?.side || pan?.net == null) return { kind: "still", away: 0 };
  const number = (text) => Number.parseFloat(text);
  const net = number(pan.net);
  if (weighing.side === "under" && net <= 0) return { kind: "still", away: DECADES };
  const distance = Math.max(0, number(weighing.lower) - net);
  const away = Math.min(Math.log10(1 + distance / (number(division) || 0.01)), DECADES);
  return { kind: weighing.side, away };
}

/** Seconds from one beat to the next. */
export function beat({ kind, away }) {
  switch (kind) {
    case "under": return FASTEST + (SLOWEST - FASTEST) * Math.min(away, DECADES) / DECADES;
    case "within": return PIECE;
    case "over": return 1.0;
    case "hold": return 1.6;
    default: return Infinity;
  }
}

/** The notes of one beat that begins at `at`: { at, hz, lasts, loud, shape }. */
export function notes({ kind }, at) {
  switch (kind) {
    case "under": return [{ at, hz: TICK, lasts: 0.03, loud: 0.7, shape: "struck" }];
    case "within": return [{ at, hz: TONE, lasts: PIECE + OVERLAP, loud: 0.35, shape: "held" }];
    case "over": return [
      { at, hz: HIGH, lasts: 0.16, loud: 0.6, shape: "struck" },
      { at: at + 0.18, hz: LOW, lasts: 0.3, loud: 0.6, shape: "struck" },
    ];
    case "hold": return [0, 0.2].map((after) => ({ at: at + after, hz: KNOCK, lasts: 0.12, loud: 1, shape: "struck" }));
    default: return [];
  }
}

/** The stroke of a bell that is told once. */
export function stroke(bell, at) {
  if (bell === "recorded") return [{ at, hz: STROKE, lasts: 0.9, loud: 0.5, shape: "struck" }];
  if (bell === "done") return [0, 0.25].map((after) => ({ at: at + after, hz: STROKE, lasts: 1.1, loud: 0.5, shape: "struck" }));
  return [];
}

/** Every note between two moments, if the last beat of this kind was at `last` (or null). */
export function score(state, last, from, to) {
  const every = beat(state), all = [];
  if (!Number.isFinite(every)) return { notes: all, last: null };
  let at = last === null ? from : Math.max(last + every, from);
  while (at < to) {
    all.push(...notes(state, at));
    last = at;
    at += every;
  }
  return { notes: all, last };
}

/** Plays a note in an audio context. */
export function play(context, note, out) {
  const wave = context.createOscillator(), gain = context.createGain();
  const end = note.at + note.lasts;
  wave.type = note.hz < 300 ? "triangle" : "sine";
  wave.frequency.value = note.hz;
  if (note.shape === "held") {
    gain.gain.setValueAtTime(0, note.at);
    gain.gain.linearRampToValueAtTime(note.loud, note.at + OVERLAP);
    gain.gain.setValueAtTime(note.loud, end - OVERLAP);
    gain.gain.linearRampToValueAtTime(0, end);
  } else {
    gain.gain.setValueAtTime(0, note.at);
    gain.gain.linearRampToValueAtTime(note.loud, note.at + 0.004);
    gain.gain.exponentialRampToValueAtTime(0.001, end);
  }
  wave.connect(gain).connect(out);
  wave.start(note.at);
  wave.stop(end);
}

/** The player: wakes at the first touch, and keeps a little ahead of time. */
export function player(settings) {
  const AHEAD = 0.2;
  let context = null, out = null, state = { kind: "still", away: 0 }, last = null, done = 0;
  const loud = () => (settings().silent ? 0 : settings().volume);
  const turn = () => {
    if (!context || context.state !== "running") return;
    const now = context.currentTime;
    const made = score(state, last, Math.max(now + 0.02, done), now + AHEAD);
    for (const note of made.notes) play(context, note, out);
    last = made.last;
    done = now + AHEAD;
  };
  return {
    wake() {
      if (context) { context.resume(); return; }
      if (!("AudioContext" in window)) return;
      context = new AudioContext();
      out = context.createGain();
      out.gain.value = loud();
      out.connect(context.destination);
      setInterval(turn, 60);
    },
    hear(next) {
      if (next.kind !== state.kind) last = null;
      state = next;
    },
    strike(bell) {
      if (context?.state === "running") for (const note of stroke(bell, context.currentTime + 0.02)) play(context, note, out);
    },
    level() { if (out) out.gain.setTargetAtTime(loud(), context.currentTime, 0.02); },
    get awake() { return context?.state === "running"; },
  };
}
