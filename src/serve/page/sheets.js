// Sheets: what an order needs to be told, in tiles large enough for a glove. A sheet gives an
// order or nothing; it knows nothing of the bench beyond what it is handed.

import { el, put } from "./dom.js";
import { action } from "./keys.js";
import { capital } from "./words.js";

let count = 0;

/** Opens a sheet; `send` is called on its button and closes it unless it throws. */
export function sheet(title, body, sendLabel, send, { wide = false, foot = [] } = {}) {
  const id = `sheet-${count += 1}`;
  const trouble = el("p", { class: "trouble", role: "alert", hidden: true });
  const button = sendLabel && el("button", { type: "submit", class: "main" }, sendLabel);
  const form = el("form", { method: "dialog", class: wide ? "wide" : "" },
    el("h2", { id }, title), el("div", { class: "body" }, ...body), trouble,
    el("div", { class: "foot" },
      el("button", { type: "button", onclick: () => dialog.close() }, sendLabel ? "Not now" : "Close"), ...foot, button));
  const dialog = el("dialog", { "aria-labelledby": id, class: "sheet" }, form);
  dialog.addEventListener("close", () => dialog.remove());
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!send || button.disabled) return;
    button.disabled = true;
    trouble.hidden = true;
    try {
      await send();
      dialog.close();
    } catch (why) {
      trouble.hidden = false;
      put(trouble, why.message);
      trouble.scrollIntoView({ block: "nearest" });
    } finally {
      button.disabled = false;
    }
  });
  // A foot switch sends the sheet as it stands.
  dialog.addEventListener("keydown", (event) => {
    if (event.defaultPrevented || event.target.matches("input[type=text], input[type=range]")) return;
    if (!button || event.key === "Enter" || action(event.key) !== "next") return;
    event.preventDefault();
    form.requestSubmit();
  });
  document.body.append(dialog);
  dialog.showModal();
  // On a tablet a field that has the focus would bring up a keyboard over half of the sheet.
  if (matchMedia("(pointer: coarse)").matches) (button || form.querySelector(".foot button")).focus();
  return dialog;
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
  const field = line(label, value, { inputmode: "decimal", size: "8" });
  const { input } = field;
  const type = (key) => {
    input.value = key === "⌫" ? input.value.slice(0, -1) : input.value + key;
    input.dispatchEvent(new Event("input"));
  };
  const key = (text, says) => el("button", { type: "button", class: "key", "aria-label": says, onclick: () => type(text) }, text);
  const pad = el("div", { class: "pad", role: "group", "aria-label": `Digits for ${label}` },
    ...[..."123456789.0"].map((digit) => key(digit)), key("⌫", "Take the last digit back"));
  const marks = usual.map((mark) => el("button", {
    type: "button", class: "key mark",
    onclick: () => { input.value = mark; input.dispatchEvent(new Event("input")); },
  }, mark));
  const node = el("div", { class: "number" }, field.node, unit && el("span", { class: "unit" }, unit),
    marks.length > 0 && el("div", { class: "marks", role: "group", "aria-label": `Usual for ${label}` }, ...marks), pad);
  return { node, input, get value() { return field.value; } };
}

/** A number that goes up and down in steps. */
export function stepper(label, value, step, least, most, decimals = 0) {
  const field = line(label, value.toFixed(decimals), { inputmode: "decimal", size: "5" });
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
