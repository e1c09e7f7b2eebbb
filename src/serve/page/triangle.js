// Gold, silver and copper of the melt on a triangle: where it is now, and where the plan leads.
// What is not known of the rest of a lot is drawn as the bar on which it must lie.

import { draw, el, put } from "./dom.js";
import { capital, composition, mass, melted } from "./words.js";

const GOLD = [110, 16], SILVER = [14, 182], COPPER = [206, 182];
const ELEMENTS = {
  Au: "gold", Ag: "silver", Cu: "copper", Zn: "zinc", Ni: "nickel", Pd: "palladium", Pt: "platinum",
  Cd: "cadmium", Pb: "lead", In: "indium", Ga: "gallium", Fe: "iron", Co: "cobalt", unknown: "not known",
};

/** A point of the triangle for parts per mille of gold, silver and copper; their sum is the whole. */
export function point(gold, silver, copper) {
  const whole = gold + silver + copper || 1;
  return [0, 1].map((axis) => (GOLD[axis] * gold + SILVER[axis] * silver + COPPER[axis] * copper) / whole);
}

/** The ends of where a composition can lie: what is unknown may be all silver or all copper. */
export function span(made) {
  const { Au = 0, Ag = 0, Cu = 0 } = made;
  const open = Math.max(0, 1000 - Au - Ag - Cu);
  return [point(Au, Ag + (made.unknown ? open : 0), Cu), point(Au, Ag, Cu + (made.unknown ? open : 0))];
}

/** What the melt is made of with what lies on the pan. */
export function present(view) {
  const job = view?.job;
  const made = composition(job?.made_of);
  const [net, melt, next] = [mass(view?.pan?.net), mass(job?.melt), job?.to_come?.[0]];
  if (view?.weighing?.what !== "addition" || !net || !melt || !next?.made_of || next.name !== view.weighing.name) return made;
  return melted(made, melt.value, composition(next.made_of), Math.max(0, net.value));
}

/** Builds it in an element; gives `show(view)`. */
export function triangle(into) {
  const here = draw("path", { class: "here" }), ring = draw("circle", { class: "here-ring", r: 6 });
  const there = draw("path", { class: "there" }), cross = draw("path", { class: "there-mark" });
  const level = draw("path", { class: "level" });
  const title = draw("title");
  const svg = draw("svg", { viewBox: "-24 -12 268 226", role: "img", class: "triangle" }, title,
    draw("path", { class: "sides", d: `M${GOLD}L${SILVER}L${COPPER}Z` }),
    draw("path", { class: "web", d: web() }), level, there, cross, here, ring,
    ...[["gold", 110, 8, "middle"], ["silver", -20, 208, "start"], ["copper", 240, 208, "end"]].map(
      ([word, x, y, anchor]) => draw("text", { x, y, "text-anchor": anchor }, word)));
  const list = el("dl", { class: "sums" });
  const note = el("p", { class: "small" });
  into.replaceChildren(svg, list, note);
  const bar = ([from, to]) => `M${from}L${to}`;

  return function show(view) {
    const made = present(view), planned = composition(view?.job?.to_be_made_of);
    const has = made.Au !== undefined || made.Ag !== undefined || made.Cu !== undefined;
    into.parentElement.hidden = !has;
    if (!has) return;
    const [from, to] = span(made);
    here.setAttribute("d", bar([from, to]));
    ring.setAttribute("cx", (from[0] + to[0]) / 2);
    ring.setAttribute("cy", from[1]);
    const leads = planned.Au !== undefined;
    for (const part of [there, cross, level]) part.style.display = leads ? "" : "none";
    if (leads) {
      const ends = span(planned);
      there.setAttribute("d", bar(ends));
      const x = (ends[0][0] + ends[1][0]) / 2, y = ends[0][1];
      cross.setAttribute("d", `M${x - 7} ${y - 7}L${x + 7} ${y + 7}M${x - 7} ${y + 7}L${x + 7} ${y - 7}`);
    }
    const parts = Object.entries(made).filter(([, part]) => part >= 0.05);
    const text = parts.map(([name, part]) => `${ELEMENTS[name] ?? name} ${part.toFixed(1)}`).join(", ");
    put(title, `Now, in per mille: ${text}.`);
    while (list.childElementCount > parts.length) list.lastElementChild.remove();
    while (list.childElementCount < parts.length) list.append(el("div", {}, el("dt"), el("dd")));
    parts.forEach(([name, part], place) => {
      const row = list.children[place];
      put(row.firstChild, capital(ELEMENTS[name] ?? name));
      put(row.lastChild, `${part.toFixed(1)} ‰`);
    });
    put(note, `${made.unknown ? "Ring and bar: now; what the rest of the lots is made of is not known. " : "Ring: now. "}${leads ? "Cross: as planned." : ""}`);
  };
}

function web() {
  let path = "";
  for (let part = 100; part < 1000; part += 100) {
    const rest = 1000 - part;
    path += `M${point(part, rest, 0)}L${point(part, 0, rest)}M${point(rest, part, 0)}L${point(0, part, rest)}` +
      `M${point(rest, 0, part)}L${point(0, rest, part)}`;
  }
  return path;
}
