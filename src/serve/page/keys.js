// Keys and foot switches: a key does what the tile does, and can be chosen on the settings sheet. A
// switch bounces: a contact closes and opens several times within 12 to 150 ms, and a held key repeats.

import { settings } from "./keep.js";

const KEY_NAMES = { " ": "Space", Backspace: "Backspace", Enter: "Enter", Escape: "Esc" };

/** A key that goes down sooner than this after it last moved is the same press still. */
export const BOUNCE = 250;

/** How a key is called. */
export const called = (key) => KEY_NAMES[key] ?? (key.length === 1 ? key.toUpperCase() : key);

/** The first key of an action, for its tile. */
export const hint = (name) => called(settings().keys[name]?.[0] ?? "");

const same = (one, other) => one.toLowerCase() === other.toLowerCase();

/** What a key means on the bench: take, withdraw, next, or the answer "1", "2" or "3"; else null. */
export function meaning(key) {
  const { keys } = settings();
  const chosen = Object.keys(keys).find((name) => keys[name].some((one) => same(one, key)));
  return chosen ?? (/^[1-3]$/.test(key) ? key : null);
}

/** Tells presses from what a held key and a bouncing contact add to them. */
export class Bouncer {
  #moved = new Map();
  #held = new Set();

  /** Whether this is a press of its own. */
  down(key, repeats, now) {
    const is = !repeats && !this.#held.has(key) && now - (this.#moved.get(key) ?? -Infinity) >= BOUNCE;
    this.#held.add(key);
    this.#moved.set(key, now);
    return is;
  }

  up(key, now) {
    this.#held.delete(key);
    this.#moved.set(key, now);
  }

  /** The window lost the keyboard: what goes up now is not heard. */
  lose() { this.#held.clear(); }
}

/** Taps sooner than this after the one before, in the same place, belong to it: in milliseconds and pixels. */
const TAPS = 400, PLACE = 50;
let tap = null;
addEventListener("pointerdown", ({ timeStamp, clientX, clientY }) => {
  const again = tap !== null && timeStamp - tap.at < TAPS && Math.hypot(clientX - tap.x, clientY - tap.y) < PLACE;
  tap = { at: timeStamp, x: clientX, y: clientY, again };
}, true);

/** Whether a click is one more of the tap before. */
export const isSameTap = (event) => event.detail > 0 && (tap?.again ?? false);

/** A text field in which letters are letters. */
const isText = (node) => node?.matches?.("input[type=text]:not([data-number]), textarea");
/** A field for a number, in which only what a number is made of is typed. */
const isNumber = (node) => node?.matches?.("input[data-number]");
const OF_NUMBER = /^[0-9.,kK]$/;
const MOVES = ["Tab", "Shift", "Control", "Alt", "Meta", "Escape", "ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End", "Delete", "PageUp", "PageDown"];

const bouncer = new Bouncer();
let next = null;

/** Hands the next press of a key to this instead, until `drop` is called. */
export function hearNext(does) {
  next = does;
  return { drop() { if (next === does) next = null; } };
}

/**
 * Listens. `on.sheet()` gives the open sheet, if any, which then hears the presses alone: its
 * `pressed({ key, means, target, isClick, when })`. Else `on.bench({ means, button, target, key, when })`
 * hears them, with the button that the keyboard is on, if it is a press of that.
 */
export function listen(on) {
  document.addEventListener("keyup", (event) => {
    bouncer.up(event.code || event.key, event.timeStamp);
    // A button would take Space on its way up.
    if (event.key === " " && event.target.matches?.("button")) event.preventDefault();
  }, true);
  addEventListener("blur", () => bouncer.lose());
  document.addEventListener("keydown", (event) => {
    const { key, target } = event;
    // When it was pressed, not when the page came to it.
    const when = event.timeStamp, isPress = bouncer.down(event.code || key, event.repeat, when);
    if (next && !["Shift", "Control", "Alt", "Meta"].includes(key)) {
      swallow(event);
      if (isPress) next(key);
      return;
    }
    if (event.ctrlKey || event.altKey || event.metaKey || MOVES.includes(key)) return;
    if (isText(target) && key !== "Enter") return;
    if (isNumber(target) && (OF_NUMBER.test(key) || key === "Backspace")) return;
    // Radio tiles and sliders keep what moves them.
    if (target.matches?.("input") && key === " ") return;
    const means = meaning(key);
    const isClick = target.matches?.("button, summary") ? key === "Enter" || key === " " : target.matches?.("a[href]") && key === "Enter";
    if (!means && !isClick && !(key === "Enter")) {
      if (isNumber(target) && key.length === 1) event.preventDefault();
      return;
    }
    const sheet = on.sheet();
    if (!sheet && target.matches?.("a[href]") && key === "Enter" && !event.repeat) return;
    swallow(event);
    if (!isPress) return;
    if (sheet) sheet.pressed({ key, means, target, isClick, when });
    else on.bench({ means, button: isClick ? target : null, target, key, when });
  }, true);
  // A button that was tapped gives its place back, so that the next Space is the bench's again.
  document.addEventListener("pointerup", (event) => {
    const button = event.target.closest?.("button");
    if (button && !button.closest("dialog")) setTimeout(() => button.blur());
  });
}

function swallow(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
}
