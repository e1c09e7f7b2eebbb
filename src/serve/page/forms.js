// One sheet for each thing that an order must be told. `give(order)` sends it and throws what was
// refused, which the sheet then says.

import { el, put } from "./dom.js";
import { get, recipes } from "./link.js";
import { line, number, sheet, stepper, tiles, worded } from "./sheets.js";
import { capital, plain, shared } from "./words.js";

const KARATS = ["9k", "10k", "14k", "18k", "20k", "21k", "22k"];
const MARKS = ["333", "375", "417", "585", "625", "750", "833", "875", "916", "990", "999"];
const COLOURS = worded(["yellow", "pale-yellow", "pink", "red", "green", "white"]);
const USES = worded(["any", "casting", "sheet", "wire", "tube", "ring", "solder"]);
const BASES = [
  ["stamp", "Stamp", "a mark on the piece"],
  ["touchstone", "Touchstone", "rubbed and compared"],
  ["xrf", "XRF", "the instrument's reading"],
  ["fire-assay", "Fire assay", "from a laboratory"],
  ["declared", "Known to ±", "a figure that you stand for"],
];

/** A ticket's number by the clock, for one whose hands are full. */
function byTheClock(now = new Date()) {
  const two = (part) => String(part).padStart(2, "0");
  return `${two(now.getMonth() + 1)}${two(now.getDate())}-${two(now.getHours())}${two(now.getMinutes())}${two(now.getSeconds())}`;
}

function open(give) {
  const ticket = line("Ticket", byTheClock(), { required: true, maxlength: "60" });
  const client = line("Client’s reference (may stay empty)", "", { maxlength: "200" });
  const target = number("Target fineness", { value: "18k", usual: [...KARATS, "585", "750"] });
  const colour = tiles("Colour", COLOURS, "yellow");
  const purpose = tiles("For", USES, "any");
  sheet("A new ticket", [el("div", { class: "pair" }, ticket.node, client.node), target.node, colour.node, purpose.node],
    "Open the ticket", () => give({
      order: "open", ticket: ticket.value, client: client.value, target: target.value,
      colour: colour.value, use: purpose.value, add: [],
    }), { wide: true });
}

/** A basis with its figure: `declared:1.5`. */
function basisTiles(chosen, without = []) {
  const u = number("Standard uncertainty", { value: "1.0", usual: ["0.5", "1.0", "2.0", "5.0"], unit: "‰" });
  const shown = (basis) => { u.node.hidden = basis !== "declared"; };
  const basis = tiles("What that rests on", BASES.filter(([word]) => !without.includes(word)), chosen, shown);
  shown(chosen);
  return {
    nodes: [basis.node, u.node],
    get value() { return basis.value === "declared" ? `declared:${u.value}` : basis.value; },
  };
}

function lot(give) {
  const fineness = number("Fineness, karat or per mille", { usual: [...MARKS, ...KARATS] });
  const basis = basisTiles("stamp");
  const note = line("A few words (may stay empty)", "", { maxlength: "200" });
  sheet("The next lot", [fineness.node, ...basis.nodes, note.node], "Weigh this lot",
    () => give({ order: "lot", fineness: fineness.value, basis: basis.value, note: note.value }), { wide: true });
}

function assay(give) {
  const fineness = number("Fineness found", { unit: "‰" });
  const basis = basisTiles("fire-assay", ["stamp"]);
  sheet("What an assay found", [fineness.node, ...basis.nodes], "Enter it",
    () => give({ order: "assay", fineness: fineness.value, basis: basis.value }));
}

function proof(give) {
  const way = tiles("How it is weighed in water", [
    ["displaced", "Vessel on the pan", "A vessel of water stands on the pan; the button hangs in it by a thread from outside. The balance shows the water that it pushes aside."],
    ["hung", "Hung from the balance", "The button hangs from the balance into water below it, or on a bridge over the pan. The balance shows the button, lighter than in air."],
  ], "displaced");
  const water = stepper("Water, degrees Celsius", 20, 0.5, 1, 40, 1);
  sheet("Prove the button in water", [
    el("p", {}, "Set up water and thread or hanger first, without the button. No bubbles on it; it touches neither wall nor bottom."),
    way.node, water.node,
  ], "Weigh it in water", () => give({ order: "proof", way: way.value, water_celsius: water.value }));
}

/** The metals of the shelf, each with its parts; gives { node, add }. */
function shelf(metals, fewest, chosen) {
  const parts = new Map();
  const node = el("fieldset", { class: "tiles" }, el("legend", {}, "Metals of the shelf, in parts by mass"),
    ...metals.map(({ metal, name, made_of: made }) => {
      const count = el("output", {}, "0");
      const by = (more) => {
        const next = Math.max(0, (parts.get(metal) ?? 0) + more);
        if (next > 0) parts.set(metal, next); else parts.delete(metal);
        put(count, String(next));
        row.classList.toggle("chosen", next > 0);
        chosen();
      };
      const row = el("div", { class: "row" }, el("span", {}, capital(name)), el("small", {}, made),
        el("button", { type: "button", class: "key", "aria-label": `Less ${name}`, onclick: () => by(-1) }, "−"), count,
        el("button", { type: "button", class: "key", "aria-label": `More ${name}`, onclick: () => by(1) }, "+"));
      return row;
    }));
  return {
    node,
    add() {
      if (parts.size < fewest) throw new Error("Choose at least one metal: its + says how many parts of it.");
      return [...parts].map(([metal, share]) => ({ metal, share: String(share) }));
    },
  };
}

function card(recipe, warnings, name, first) {
  const what = recipe.add.map(({ mass, name: metal }) => `${mass} ${metal}`).join(" and ");
  const facts = [
    `makes ${recipe.makes} of ${recipe.fineness_ppt} ± ${recipe.u_ppt} ‰`,
    recipe.is_sure === false && "not as surely lawful as the shop asks",
    recipe.colour && `${recipe.colour}${recipe.answers_colour === false ? ", not the colour asked for" : ""}`,
    recipe.cost && `costs ${recipe.cost} ${recipe.currency ?? ""}`.trim(),
    recipe.given_away && `gives ${recipe.given_away} of gold away`,
    recipe.gold_added && Number.parseFloat(recipe.gold_added) > 0 && `adds ${recipe.gold_added} of gold`,
  ].filter(Boolean).join("; ");
  return el("label", { class: "tile recipe" },
    el("input", { type: "radio", name, value: "", checked: first }), el("span", {}, what || "Nothing: melt it as it is"),
    el("small", {}, facts), ...warnings.map((warning) => el("small", { class: "warning" }, warning)));
}

async function plan(give, view) {
  const [found, metals] = await Promise.all([
    recipes(view.bench).then(({ recipes: list }) => list, (why) => why),
    get("/v1/shelf").catch(() => []),
  ]);
  const list = Array.isArray(found) ? found.filter(({ add }) => add.length > 0) : [];
  const more = list.length > 0, warnings = shared(list);
  // Who picks metals means them.
  const own = shelf(metals, 1, () => { if (more) cards.querySelector("[value=own]").checked = true; });
  const cards = more && el("fieldset", { class: "tiles" }, el("legend", {}, "Likeliest first"),
    ...warnings.all.map((warning) => el("p", { class: "warning" }, `All of these: ${warning}`)),
    ...list.map((recipe, place) => card(recipe, warnings.each[place], "recipe", place === 0)),
    el("label", { class: "tile recipe" }, el("input", { type: "radio", name: "recipe", value: "own", onchange: () => own.node.scrollIntoView() }),
      el("span", {}, "My own choice, below")));
  const why = !more && found instanceof Error && found.code !== "no-such-route" ? el("p", { class: "small" }, plain(found.message)) : null;
  sheet("What to add", [cards, why, own.node].filter(Boolean), "Plan this", () => {
    const chosen = more ? [...cards.querySelectorAll("input")].findIndex((input) => input.checked) : -1;
    const recipe = list[chosen];
    const add = recipe ? recipe.add.map(({ metal, share }) => ({ metal, share })) : own.add();
    return give({ order: "plan", add });
  }, { wide: true });
}

async function add(give) {
  const metals = await get("/v1/shelf").catch(() => []);
  const metal = tiles("Metal of the shelf", metals.map(({ metal, name, made_of: made }) => [metal, capital(name), made]), metals[0]?.metal);
  sheet("Add a metal that was not planned", [metal.node], "Weigh it out", () => give({ order: "add", metal: metal.value }));
}

function close(give, view) {
  const { warnings = [], weighed = [] } = view.job ?? {};
  const lots = weighed.filter((it) => it.what === "lot" && !it.withdrawn).length;
  sheet("Close the job", [
    el("p", {}, `Ticket ${view.job?.ticket}: ${lots} ${lots === 1 ? "lot" : "lots"}, melt ${view.job?.melt}. A closed job is not opened again.`),
    ...warnings.map((warning) => el("p", { class: "warning" }, warning)),
  ], "Close it, show the statement", () => give({ order: "close" }));
}

/** The statement of a closed job, to read and to print. */
export function statement(view) {
  const { statement: text, warnings = [] } = view.job ?? {};
  const print = el("button", { type: "button", onclick: () => window.print() }, "Print");
  sheet("Statement", [
    el("pre", { class: "statement" }, text ?? ""),
    ...warnings.filter((warning) => !text?.includes(warning)).map((warning) => el("p", { class: "warning" }, warning)),
  ], null, null, { wide: true, foot: [print] });
}

export const FORMS = { open, lot, plan, add, proof, assay, close, statement: (give, view) => statement(view) };
