// Every bench of the service at once, when there are several: a card for each, with its own beam.

import { at, el, put, refill } from "./dom.js";
import { beam } from "./beam.js";
import { get } from "./link.js";
import { prefs } from "./prefs.js";
import { lostHold, plain } from "./words.js";

/** Shows them; one alone is gone to at once. */
export function overview() {
  document.body.classList.add("overview");
  at("bench").hidden = true;
  at("benches").hidden = false;
  for (const id of ["rail-nav", "plate", "job-line", "sound"]) at(id).hidden = true;
  at("set").addEventListener("click", () => prefs({ sounded() {}, dressed() {}, keyed() {} }));
  const list = at("bench-list"), cards = new Map();
  const look = async () => {
    try {
      const views = await get("/v1/benches");
      const path = (name) => `/bench/${encodeURIComponent(name)}`;
      if (views.length === 1) { location.replace(path(views[0].bench)); return; }
      refill(list, views.map(({ bench: name }) => name), () => views.map((view) => card(cards, view.bench, path(view.bench))));
      for (const view of views) cards.get(view.bench)(view);
    } catch (why) {
      const hold = lostHold(why);
      refill(list, ["lost", hold], () => [el("li", { class: "hold" }, el("h2", {}, "Not connected"), el("p", {}, hold.why), el("p", {}, hold.mend))]);
    }
    setTimeout(look, 1_000);
  };
  look();
}

/** One bench of several, as a card with its own small beam. */
function card(cards, name, href) {
  const drawing = el("div"), net = el("p", { class: "net" }), ticket = el("p"), says = el("p"), plate = el("p", { class: "plate" });
  const link = el("a", { href }, el("h2", {}, name), plate, drawing, net, ticket, says);
  const showBeam = beam(drawing);
  cards.set(name, (view) => {
    link.classList.toggle("held", Boolean(view.hold));
    put(plate, view.unit_name);
    put(net, view.hold ? "Hold" : view.pan.net ?? view.pan.shown ?? "–");
    put(ticket, view.job?.open ? `Ticket ${view.job.ticket}` : "");
    put(says, plain(view.sentence));
    showBeam(view.hold ? { ...view, pan: {}, weighing: null } : view);
  });
  return el("li", {}, link);
}
