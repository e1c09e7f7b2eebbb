// The settings sheet: sound, light, keys. Everything on it works at once and stays on this device.

import { el, put } from "./dom.js";
import { change, dress, settings, usualKeys } from "./keep.js";
import { called } from "./keys.js";
import { sheet, tiles } from "./sheets.js";

const ACTIONS = [
  ["take", "Take the mass as it is"],
  ["withdraw", "Withdraw the last (asks once)"],
  ["next", "Do the next step offered"],
];

export function prefs({ sounded, dressed, keyed }) {
  const { volume, silent, theme } = settings();
  const hearing = tiles("Sound", [["on", "On"], ["off", "Silent"]], silent ? "off" : "on", (value) => {
    change({ silent: value === "off" });
    sounded();
  });
  const loud = el("input", {
    type: "range", min: "0", max: "1", step: "0.05", value: String(volume),
    oninput: ({ target }) => { change({ volume: Number(target.value) }); sounded(); },
  });
  const light = tiles("Light", [["auto", "As the device"], ["light", "Paper"], ["dark", "Charcoal"]], theme, (value) => {
    change({ theme: value });
    dress();
    dressed();
  });
  const keys = el("fieldset", { class: "tiles" }, el("legend", {}, "Keys, and foot switches that type one"),
    ...ACTIONS.map(([action, says]) => keyRow(action, says, keyed)),
    el("button", {
      type: "button",
      onclick: () => { change({ keys: usualKeys() }); keys.querySelectorAll("kbd").forEach((kbd) => kbd.show()); keyed(); },
    }, "Keys as they were"));
  sheet("Settings of this device", [
    hearing.node, el("label", { class: "line" }, el("span", {}, "Volume"), loud), light.node, keys,
    el("p", { class: "small" }, "Ticks quicken as the window comes near, a steady tone is inside it, a falling pair is over it, a knocking is a hold. The sound begins after the first touch of the page. Keys 1, 2 and 3 answer a question about the pan."),
  ], null, null);
}

function keyRow(action, says, keyed) {
  const kbd = el("kbd");
  kbd.show = () => put(kbd, settings().keys[action].map(called).join(" or "));
  kbd.show();
  const button = el("button", { type: "button", "aria-label": `Another key for: ${says}` }, "Another key");
  button.addEventListener("click", () => {
    put(button, "Press it now");
    const hear = (event) => {
      if (["Shift", "Control", "Alt", "Meta", "Tab"].includes(event.key)) return;
      event.preventDefault();
      event.stopPropagation();
      document.removeEventListener("keydown", hear, true);
      put(button, "Another key");
      if (event.key === "Escape") return;
      // A key does one thing.
      const keys = Object.fromEntries(Object.entries(settings().keys)
        .map(([name, known]) => [name, known.filter((key) => key !== event.key)]));
      keys[action] = [event.key];
      change({ keys });
      button.closest("fieldset").querySelectorAll("kbd").forEach((other) => other.show());
      keyed();
    };
    document.addEventListener("keydown", hear, true);
  });
  return el("div", { class: "row" }, el("span", {}, says), kbd, button);
}
