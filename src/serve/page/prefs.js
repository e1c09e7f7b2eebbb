// The settings sheet: sound, light, keys. Everything on it works at once and stays on this device.

import { el, put } from "./dom.js";
import { change, dress, settings, usualKeys } from "./keep.js";
import { called, hearNext } from "./keys.js";
import { sheet, tiles } from "./sheets.js";

const CHOSEN = [
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
  const rows = CHOSEN.map(([name, says]) => keyRow(name, says, () => {
    for (const row of rows) row.show();
    keyed();
  }));
  const stop = () => { for (const row of rows) row.stop(); };
  const keys = el("fieldset", { class: "tiles" }, el("legend", {}, "Keys, and foot switches that type one"),
    ...rows.map(({ node }) => node),
    el("button", {
      type: "button",
      onclick: () => { stop(); change({ keys: usualKeys() }); for (const row of rows) row.show(); keyed(); },
    }, "Keys as they were"));
  sheet("Settings of this device", [
    hearing.node, el("label", { class: "line" }, el("span", {}, "Volume"), loud), light.node, keys,
    el("p", { class: "small" }, "Ticks quicken as the window comes near, a steady tone is inside it, a falling pair is over it, a double knock is a hold, three low falling notes say that the service is not heard any more. The sound begins after the first touch of the page. Keys 1, 2 and 3 answer a question about the pan, unless one of them is chosen here."),
  ], { away: stop });
}

function keyRow(name, says, chosen) {
  const kbd = el("kbd");
  const button = el("button", { type: "button", "aria-label": `Another key for: ${says}` }, "Another key");
  let hearing = null;
  const stop = () => {
    hearing?.drop();
    hearing = null;
    put(button, "Another key");
  };
  button.addEventListener("click", () => {
    if (hearing) { stop(); return; }
    put(button, "Press it now");
    hearing = hearNext((key) => {
      stop();
      if (key === "Escape" || key === "Tab") return;
      // A key does one thing.
      const keys = Object.fromEntries(Object.entries(settings().keys)
        .map(([other, known]) => [other, known.filter((one) => one !== key)]));
      keys[name] = [key];
      change({ keys });
      chosen();
    });
  });
  const show = () => put(kbd, settings().keys[name].map(called).join(" or ") || "none");
  show();
  return { node: el("div", { class: "row" }, el("span", {}, says), kbd, button), show, stop };
}
