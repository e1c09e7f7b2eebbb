// Keys and foot switches: a key does what the button does, and can be chosen on the settings sheet.

import { settings } from "./keep.js";

const NAMES = { " ": "Space", Backspace: "Backspace", Enter: "Enter", Escape: "Esc" };

/** How a key is called. */
export const called = (key) => NAMES[key] ?? (key.length === 1 ? key.toUpperCase() : key);

/** The first key of an action, for its button. */
export const hint = (action) => called(settings().keys[action]?.[0] ?? "");

const same = (one, other) => one.toLowerCase() === other.toLowerCase();

/** The action of a key: take, withdraw, next, or null. */
export function action(key) {
  const { keys } = settings();
  return Object.keys(keys).find((name) => keys[name].some((one) => same(one, key))) ?? null;
}

/**
 * Listens: `does(action)` says whether it was taken. A button that the keyboard is on keeps its own
 * Space and Enter, a field keeps everything, and an open sheet hides the bench from the keys.
 */
export function listen(does) {
  document.addEventListener("keydown", (event) => {
    if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    if (document.querySelector("dialog[open]")) return;
    const on = document.activeElement;
    if (on?.matches("input, select, textarea")) return;
    const own = on?.matches("button:focus-visible, a:focus-visible");
    if (own && (event.key === " " || event.key === "Enter")) return;
    const wanted = /^[1-3]$/.test(event.key) ? event.key : action(event.key);
    if (wanted && does(wanted)) event.preventDefault();
  });
  // A tapped button gives its place back, so that the next Space is the bench's again.
  document.addEventListener("pointerup", (event) => {
    const button = event.target.closest?.("button");
    if (button && !button.closest("dialog")) setTimeout(() => button.blur());
  });
}
