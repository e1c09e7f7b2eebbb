// What the bench sounds like. The same sounds mean the same as those of the service itself
// (src/bell/sound/tune.rs), and a test listens to both. The score is pure: from how the pan stands to
// notes in time. Playing them needs any audio context, so that a test can listen without a loudspeaker.
//
// What is heard follows events and not pictures, so that a page that is not in sight is heard right.
// Notes are laid at most three seconds ahead of what is known: when nothing comes any more it falls
// silent by itself, with a sign of its own.

import { OLD } from "./clock.js";
import { mass } from "./words.js";

/** Ticks a second: none before half of the way to the window, then quickening toward its edge. */
export const TICK = { hz: 1500, fades: 0.006, loud: 1, from: 500, slowest: 1, fastest: 9, patience: 5 };
export const WITHIN = { hz: 880, loud: 0.5 };
/** A falling pair, from start to start, and pair to pair. */
export const OVER = { hz: [784, 523], note: 0.2, every: 2, loud: 0.8 };
/** Two knocks, from the first to the second, and pair to pair. */
export const KNOCK = { hz: 180, fades: 0.03, apart: 0.16, every: 3, loud: 0.8 };
/** What is told once: a record by a stroke, the end of a job by two, a lost service by three that fall. */
export const STROKE = 1046, SIGN = [330, 262, 196];
/** After so many seconds without change each falls silent. */
export const STILL = 30;
/** How long a sound that is cut off fades. */
const FADE = 0.008;
/** The tone is made of pieces that overlap; both are whole numbers of its waves. */
const PIECE = 0.5, OVERLAP = 0.05;
/** Ticks change their pace with every reading, so they are laid no further ahead than this. */
const TICKS_AHEAD = 1.3;
/** So much sooner than it must it falls silent. */
const MARGIN = 0.25;
/** So much after that its sign begins. */
const REST = 0.15;

/** How the bench stands, as far as the ear is told: { kind, way }. `way`: thousandths of the way to the window. */
export function standing(view) {
  if (view?.hold && view.job?.open) return { kind: "hold", way: 0 };
  const { weighing, pan } = view ?? {};
  const net = mass(pan?.net)?.value;
  if (!weighing?.side || net == null || view.hold) return { kind: "silent", way: 0 };
  if (weighing.side !== "under") return { kind: weighing.side, way: 0 };
  const lower = mass(weighing.lower)?.value;
  const way = lower > 0 ? Math.round(Math.min(Math.max(net / lower, 0), 1) * 1000) : 1000;
  return { kind: "ticks", way };
}

/** Seconds from one beat to the next; Infinity for none. */
export function beat({ kind, way }) {
  switch (kind) {
    case "ticks": {
      if (way < TICK.from) return Infinity;
      const near = (way - TICK.from) / (1000 - TICK.from);
      return 1 / (TICK.slowest + (TICK.fastest - TICK.slowest) * near * near);
    }
    case "within": return PIECE;
    case "over": return OVER.every;
    case "hold": return KNOCK.every;
    default: return Infinity;
  }
}

/** The notes of one beat that begins at `at`: { at, hz, lasts, loud, shape, fades }. */
export function notes({ kind }, at) {
  const struck = (from, { hz, fades, loud }) => ({ at: from, hz, lasts: fades * 8, loud, shape: "struck", fades });
  switch (kind) {
    case "ticks": return [struck(at, TICK)];
    case "within": return [{ at, hz: WITHIN.hz, lasts: PIECE + OVERLAP, loud: WITHIN.loud, shape: "held", fades: OVERLAP }];
    case "over": return OVER.hz.map((hz, place) => ({
      at: at + place * OVER.note, hz, lasts: OVER.note, loud: OVER.loud, shape: "held", fades: FADE,
    }));
    case "hold": return [0, KNOCK.apart].map((after) => struck(at + after, KNOCK));
    default: return [];
  }
}

/** What is told once. */
export function stroke(bell, at) {
  const ring = (after, hz, fades) => ({ at: at + after, hz, lasts: fades * 6, loud: 0.5, shape: "struck", fades });
  if (bell === "recorded") return [ring(0, STROKE, 0.15)];
  if (bell === "done") return [ring(0, STROKE, 0.18), ring(0.25, STROKE, 0.18)];
  if (bell === "lost") return SIGN.map((hz, place) => ring(place * 0.22, hz, 0.09));
  return [];
}

/** The beats between two moments, and their notes, if the last of this state was at `last` (or null). */
export function score(state, last, from, to) {
  const every = beat(state), made = { beats: [], notes: [] };
  if (!Number.isFinite(every)) return made;
  for (let at = last === null ? from : Math.max(last + every, from); at < to; at += every) {
    made.beats.push(at);
    made.notes.push(...notes(state, at));
  }
  return made;
}

/** Plays a note in an audio context; gives what stops it. */
export function play(context, note, out) {
  const wave = context.createOscillator(), gain = context.createGain();
  const end = note.at + note.lasts;
  wave.frequency.value = note.hz;
  gain.gain.setValueAtTime(0, note.at);
  if (note.shape === "held") {
    gain.gain.linearRampToValueAtTime(note.loud, note.at + note.fades);
    gain.gain.setValueAtTime(note.loud, end - note.fades);
    gain.gain.linearRampToValueAtTime(0, end);
  } else {
    gain.gain.linearRampToValueAtTime(note.loud, note.at + 0.001);
    gain.gain.setTargetAtTime(0, note.at + 0.001, note.fades);
  }
  wave.connect(gain).connect(out);
  wave.start(note.at);
  wave.stop(end);
  return {
    at: note.at,
    end,
    stop(now) {
      // One that sounds fades, one that is to come is not heard.
      gain.gain.cancelScheduledValues(now);
      gain.gain.setTargetAtTime(0, now, FADE / 3);
      wave.stop(now + FADE * 3);
    },
  };
}

/** The player: wakes at the first touch. */
export function player(settings) {
  let context = null, out = null, state = { kind: "silent", way: 0 };
  // Moments of the context: when the kind of the state began, when anything of it changed, its beats
  // that are laid, and up to where all is laid.
  let began = 0, changed = 0, beats = [], laid = 0, playing = [], sign = [], signAt = 0;
  const loud = () => (settings().silent ? 0 : settings().volume);
  const stopAll = (list, now) => { for (const one of list) if (one.end > now) one.stop(now); };
  return {
    wake() {
      if (context) { context.resume(); return; }
      if (!("AudioContext" in window)) return;
      context = new AudioContext();
      out = context.createGain();
      out.gain.value = loud();
      out.connect(context.destination);
    },
    /**
     * The state that an event tells: `age` of what it tells and `told` of the event itself, at the most
     * and in milliseconds; `counts`: something is being weighed.
     */
    hear(next, { age, told, counts }) {
      if (context?.state !== "running") { state = { kind: "silent", way: 0 }; return; }
      const now = context.currentTime, ahead = (ms) => now + (OLD - ms) / 1000 - MARGIN;
      const horizon = ahead(age), due = ahead(told) + REST;
      const isOther = next.kind !== state.kind;
      if (isOther || next.way !== state.way) {
        changed = now;
        // The ticks that are laid have the pace of before.
        if (isOther || next.kind === "ticks") {
          stopAll(isOther ? playing : playing.filter((one) => one.at > now), now);
          playing = isOther ? [] : playing.filter((one) => one.at <= now);
          beats = isOther ? [] : beats.filter((at) => at <= now);
          if (isOther) began = now;
          laid = now;
        }
        state = next;
      }
      const isTicks = state.kind === "ticks";
      // What begins before it must end before it.
      const last = notes(state, 0).at(-1), whole = last ? last.at + last.lasts : 0;
      const until = Math.min(horizon - whole, isTicks ? Math.min(now + TICKS_AHEAD, changed + TICK.patience) : began + STILL);
      // Nothing is laid anew for every reading, but the end always is before the time is up.
      if (until > laid) {
        const made = score(state, beats.at(-1) ?? null, Math.max(now, laid), until);
        beats = [...beats, ...made.beats].slice(-40);
        laid = until;
        playing = [...playing.filter((one) => one.end > now), ...made.notes.map((note) => play(context, note, out))];
      }
      const wants = (counts || state.kind !== "silent") && due > now;
      if (wants ? Math.abs(due - signAt) > 0.1 : signAt > 0) {
        stopAll(sign, now);
        sign = wants ? stroke("lost", due).map((note) => play(context, note, out)) : [];
        signAt = wants ? due : 0;
      }
    },
    strike(bell) {
      if (context?.state === "running") for (const note of stroke(bell, context.currentTime + 0.02)) play(context, note, out);
    },
    /** The line is known to be lost: nothing is heard but the sign. */
    lose() {
      if (context?.state !== "running") return;
      const now = context.currentTime;
      stopAll(playing, now);
      // The sign may have sounded already, by itself.
      if (signAt > now) {
        stopAll(sign, now);
        sign = stroke("lost", now).map((note) => play(context, note, out));
      }
      [state, playing, beats, laid, signAt] = [{ kind: "silent", way: 0 }, [], [], 0, 0];
    },
    level() { if (out) out.gain.setTargetAtTime(loud(), context.currentTime, 0.02); },
    get awake() { return context?.state === "running"; },
  };
}
