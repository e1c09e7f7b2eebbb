// Sheets: what an order needs to be told, in tiles large enough for a glove. One at a time. A sheet
// gives an order or nothing; one whose order is not offered any more goes away with a word.

import { el, mark, put, refill } from "./dom.js";
import { isSameTap } from "./keys.js";
import { capital } from "./words.js";

/** What is asked must have been in sight so long, in milliseconds, before a yes to it counts. */
export const SEEN = 400;

let count = 0, current = null;

/** The sheet that is open, or null: { key, pressed(...), look(...), close() }. */
export const openSheet = () => (current?.dialog.open ? current : null);

/**
 * Opens a sheet, unless one is open. `key`: the action that it is for. `label`: of its button, a text or
 * made of the action. `does({ confirm, says })` is called on it and closes the sheet unless it throws.
 * `look(view, action)` draws what stands in it anew. `ends`: the key for the next step closes it.
 */
export function sheet(title, body, { key = null, label, does, wide = false, foot = [], look, ends = false, away } = {}) {
  if (openSheet()) return null;
  const id = `sheet-${count += 1}`;
  const trouble = el("p", { class: "trouble", role: "alert", hidden: true });
  const asks = el("div", { class: "asks", role: "status" });
  const button = does && el("button", { type: "submit", class: "main" });
  const leave = el("button", { type: "button", onclick: () => shut() }, does ? "Not now" : "Close");
  const inner = el("div", { class: "body" }, asks, ...body);
  const form = el("form", { method: "dialog", class: wide ? "wide" : "" },
    el("h2", { id }, title), inner, trouble, el("div", { class: "foot" }, leave, ...foot, button));
  const dialog = el("dialog", { "aria-labelledby": id, class: "sheet" }, form);
  let drawn = Infinity, isSending = false, isLost = false, action = null, yes = null;

  /** What is asked is another now, and has yet to be seen. */
  const stir = () => {
    drawn = Infinity;
    mark(dialog, "data-ready", null);
    requestAnimationFrame(() => requestAnimationFrame(() => {
      const since = performance.now();
      drawn = since;
      setTimeout(() => { if (drawn === since) mark(dialog, "data-ready", "yes"); }, SEEN);
    }));
  };
  const said = (text) => {
    trouble.hidden = !text;
    put(trouble, text);
    if (text) trouble.scrollIntoView({ block: "nearest" });
  };
  const dress = () => {
    if (!button) return;
    const text = typeof label === "function" ? label(action) : label;
    put(button, yes ? "Yes, all the same" : text);
    mark(button, "aria-disabled", isSending || isLost ? "true" : null);
  };
  const send = async (when) => {
    if (!does || !dialog.open || isSending || isLost || when - drawn < SEEN) return;
    isSending = true;
    said("");
    dress();
    try {
      await does({ confirm: yes ?? action?.confirm, says: said });
      shut();
    } catch (why) {
      said(why.message);
      yes = why.confirm ?? null;
      stir();
    } finally {
      isSending = false;
      dress();
    }
  };
  button?.addEventListener("click", (event) => { event.preventDefault(); if (!isSameTap(event)) send(event.timeStamp); });
  form.addEventListener("submit", (event) => event.preventDefault());
  // At once, not when the browser comes to tell of it: a key that is pressed now is the bench's.
  const gone = () => {
    if (current !== own) return;
    current = null;
    dialog.remove();
    away?.();
  };
  const shut = () => { dialog.close(); gone(); };
  dialog.addEventListener("close", gone);
  // What was tapped gives its place back, so that a foot switch means the sheet's own button again.
  dialog.addEventListener("pointerup", (event) => {
    if (event.target.closest("button")) setTimeout(() => { if (dialog.open) (button ?? leave).focus({ preventScroll: true }); });
  });
  const own = {
    key,
    dialog,
    stir,
    close: shut,
    fill(nodes) { inner.replaceChildren(asks, ...nodes); stir(); },
    /** A press of a key, once for each press. */
    pressed({ key: pressedKey, means, target, isClick, when }) {
      if (isClick) { if (target === button) send(when); else target.click(); return; }
      if (target.closest?.(".foot") && target !== button) return;
      if (means !== "next" && pressedKey !== "Enter") return;
      if (button) send(when); else if (ends && when - drawn >= SEEN) shut();
    },
    /** The bench stands so now; says whether the sheet is still of use. */
    look(view, lost) {
      const was = isLost;
      isLost = Boolean(lost);
      if (isLost !== was) said(isLost ? "The service does not answer now. Nothing can be ordered until it is back." : "");
      if (key && !isLost && !isSending) {
        // While a record is being written nothing is offered, and that says nothing.
        const found = view.actions?.find((it) => it.action === key);
        if (view.actions?.length && !found) { shut(); return false; }
        if (found) {
          action = found;
          const changed = refill(asks, [found.asks ?? [], found.confirm ?? null], () => (found.asks ?? []).map((text) => el("p", { class: "warning" }, text)));
          if (changed) { yes = null; stir(); }
          if (look?.(view, found)) stir();
        }
      }
      dress();
      return true;
    },
  };
  current = own;
  document.body.append(dialog);
  dialog.showModal();
  dress();
  stir();
  // A field is typed in when it is chosen: a foot switch types a letter.
  (button ?? leave).focus({ preventScroll: true });
  return own;
}

/** One of several, as tiles; gives { node, value }. Choices are [value, label, says]. */
export function tiles(legend, choices, chosen, changed) {
  const name = `tiles-${count += 1}`;
  const node = el("fieldset", { class: "tiles" }, el("legend", {}, legend),
    ...choices.map(([value, label, says]) => el("label", { class: says ? "tile tall" : "tile" },
      el("input", { type: "radio", name, value, checked: value === chosen, onchange: () => changed?.(value) }),
      el("span", {}, label), says && el("small", {}, says))));
  return {
    node,
    get value() { return node.querySelector("input:checked")?.value ?? ""; },
  };
}

/** A line of text. */
export function line(label, value = "", props = {}) {
  const input = el("input", { type: "text", autocomplete: "off", value, ...props });
  return { node: el("label", { class: "line" }, el("span", {}, label), input), input, get value() { return input.value.trim(); } };
}

/** A number with its own pad, and tiles for what is usual. */
export function number(label, { value = "", usual = [], unit = "" } = {}) {
  const field = line(label, value, { inputmode: "decimal", size: "8", "data-number": true });
  const { input } = field;
  const type = (key) => {
    input.value = key === "⌫" ? input.value.slice(0, -1) : input.value + key;
    input.dispatchEvent(new Event("input"));
  };
  const key = (text, says) => el("button", { type: "button", class: "key", "aria-label": says, onclick: () => type(text) }, text);
  const pad = el("div", { class: "pad", role: "group", "aria-label": `Digits for ${label}` },
    ...[..."123456789.0"].map((digit) => key(digit)), key("⌫", "Take the last digit back"));
  const marks = usual.map((text) => el("button", {
    type: "button", class: "key mark",
    onclick: () => { input.value = text; input.dispatchEvent(new Event("input")); },
  }, text));
  const node = el("div", { class: "number" }, field.node, unit && el("span", { class: "unit" }, unit),
    marks.length > 0 && el("div", { class: "marks", role: "group", "aria-label": `Usual for ${label}` }, ...marks), pad);
  return { node, input, get value() { return field.value; } };
}

/** A number that goes up and down in steps. */
export function stepper(label, value, step, least, most, decimals = 0) {
  const field = line(label, value.toFixed(decimals), { inputmode: "decimal", size: "5", "data-number": true });
  const by = (more) => {
    const next = Math.min(most, Math.max(least, (Number(field.input.value.replace(",", ".")) || 0) + more));
    field.input.value = next.toFixed(decimals);
  };
  const node = el("div", { class: "stepper" }, field.node,
    el("button", { type: "button", class: "key", "aria-label": `${label}: less`, onclick: () => by(-step) }, "−"),
    el("button", { type: "button", class: "key", "aria-label": `${label}: more`, onclick: () => by(step) }, "+"));
  return { node, get value() { return field.value; } };
}

/** Choices out of plain words. */
export const worded = (words) => words.map((word) => [word, capital(word.replaceAll("-", " "))]);
