// Every bench of the service at once, when there are several: a card for each, with its own beam.

import { at, el, put, refill } from "./dom.js";
import { beam } from "./beam.js";
import { OLD } from "./clock.js";
import { listen } from "./keys.js";
import { get } from "./link.js";
import { prefs } from "./prefs.js";
import { openSheet } from "./sheets.js";
import { lostHold } from "./words.js";

/** How often they are asked for, and how long an answer may take. */
const EVERY = 1_000, WAITS = 2_500;

/** Shows them; one alone is gone to at once. */
export function overview() {
  document.body.classList.add("overview");
  at("bench").hidden = true;
  at("benches").hidden = false;
  for (const id of ["rail-nav", "plate", "job-line", "sound"]) at(id).hidden = true;
  at("set").addEventListener("click", () => prefs({ sounded() {}, dressed() {}, keyed() {} }));
  listen({ sheet: openSheet, bench({ button }) { button?.click(); } });
  const list = at("bench-list"), cards = new Map();
  let asked = -Infinity, why = null, views = [];
  const path = (name) => `/bench/${encodeURIComponent(name)}`;
  const show = () => {
    // What was answered was so when it was asked for, at the soonest.
    if (performance.now() - asked > OLD) {
      const hold = lostHold(why);
      refill(list, ["lost", hold], () => [el("li", { class: "hold" }, el("h2", {}, "Not connected"), el("p", {}, hold.why), el("p", {}, hold.mend))]);
      return;
    }
    refill(list, views.map(({ bench: name }) => name), () => {
      cards.clear();
      return views.map((view) => benchCard(cards, view.bench, path(view.bench)));
    });
    for (const view of views) cards.get(view.bench)?.(view, performance.now() - asked);
  };
  const look = async () => {
    const sent = performance.now();
    try {
      const answer = await get("/v1/benches", WAITS);
      if (answer.length === 1) { location.replace(path(answer[0].bench)); return; }
      [asked, why, views] = [sent, null, answer];
    } catch (refused) {
      why = refused;
      if (refused.code !== "service-gone") asked = -Infinity;
    }
    show();
    setTimeout(look, Math.max(0, EVERY - (performance.now() - sent)));
  };
  look();
  setInterval(show, 250);
}

/** One bench of several, as a card with its own small beam. */
function benchCard(cards, name, href) {
  const drawing = el("div"), net = el("p", { class: "net" }), ticket = el("p"), says = el("p"), plate = el("p", { class: "plate" });
  const link = el("a", { href }, el("h2", {}, name), plate, drawing, net, ticket, says);
  const showBeam = beam(drawing);
  cards.set(name, (view, waited) => {
    const age = view.pan?.age_ms ?? view.age, isOld = age != null && age + waited > OLD;
    const isHeld = Boolean(view.hold) || isOld;
    link.classList.toggle("held", isHeld);
    put(plate, view.unit_name);
    put(net, view.hold ? "Hold" : isOld ? "Silent" : view.pan.net ?? view.pan.shown ?? "–");
    put(ticket, view.job?.open ? `Ticket ${view.job.ticket}` : "");
    put(says, view.hold ? view.sentence : isOld ? "The balance has not been heard for some seconds." : view.sentence);
    showBeam(isHeld ? { ...view, pan: {}, weighing: null } : view);
  });
  return el("li", {}, link);
}
