// One sheet for each order that must be told something. `give(order, { confirm, says })` sends it and
// throws what was refused, which the sheet then says.

import { el, put, refill } from "./dom.js";
import { get, recipes } from "./link.js";
import { line, number, sheet, stepper, tiles, worded } from "./sheets.js";
import { capital, cells, mass, shared } from "./words.js";

const KARATS = ["9k", "10k", "14k", "18k", "20k", "21k", "22k"];
const MARKS = ["333", "375", "417", "585", "625", "750", "833", "875", "916", "990", "999"];
const COLOURS = worded(["yellow", "pale-yellow", "pink", "red", "green", "white"]);
const USES = worded(["any", "casting", "sheet", "wire", "tube", "ring", "solder"]);
const BASES = [
  ["stamp", "Stamp", "a mark on the piece"],
  ["stamp:soldered", "Stamp, soldered", "melted with its solder"],
  ["stamp:old", "Stamp, old", "struck under an older law"],
  ["stamp:old-soldered", "Old, soldered", "an older law, and solder"],
  ["touchstone", "Touchstone", "rubbed and compared"],
  ["xrf", "XRF", "the instrument's reading"],
  ["fire-assay", "Fire assay", "from a laboratory"],
  ["declared", "Declared", "a figure that somebody stands for"],
];
const CLASSES = ["E1", "E2", "F1", "F2", "M1", "M2", "M3"];

/** A ticket's number by the clock, for one whose hands are full. */
function byTheClock(now = new Date()) {
  const two = (part) => String(part).padStart(2, "0");
  return `${two(now.getMonth() + 1)}${two(now.getDate())}-${two(now.getHours())}${two(now.getMinutes())}${two(now.getSeconds())}`;
}

function openForm(give) {
  const ticket = line("Ticket", byTheClock(), { required: true, maxlength: "60" });
  const client = line("Client’s reference (may stay empty)", "", { maxlength: "200" });
  const target = number("Target fineness", { value: "18k", usual: [...KARATS, "585", "750"] });
  const colour = tiles("Colour", COLOURS, "yellow");
  const purpose = tiles("For", USES, "any");
  sheet("A new ticket", [el("div", { class: "pair" }, ticket.node, client.node), target.node, colour.node, purpose.node], {
    key: "open", label: "Open the ticket", wide: true,
    does: (how) => give({
      order: "open", ticket: ticket.value, client: client.value, target: target.value,
      colour: colour.value, use: purpose.value, add: [],
    }, how),
  });
}

/** A basis, with its figure where one is known: `declared:1.5`. */
function basisTiles(chosen, isAsked = () => true) {
  const u = number("Known to ± (may stay empty)", { usual: ["0.5", "1.0", "2.0", "5.0"], unit: "‰" });
  const show = (basis) => { u.node.hidden = basis.startsWith("stamp"); };
  const basis = tiles("What that rests on", BASES.filter(([word]) => isAsked(word)), chosen, show);
  show(chosen);
  return {
    nodes: [basis.node, u.node],
    get value() { return u.value && !basis.value.startsWith("stamp") ? `${basis.value}:${u.value}` : basis.value; },
  };
}

function lotForm(give) {
  const fineness = number("Fineness, karat or per mille", { usual: [...MARKS, ...KARATS] });
  const basis = basisTiles("stamp");
  const note = line("A few words (may stay empty)", "", { maxlength: "200" });
  sheet("The next lot", [fineness.node, ...basis.nodes, note.node], {
    key: "lot", wide: true, label: (action) => (action?.asks?.length ? "Yes, weigh this lot" : "Weigh this lot"),
    does: (how) => give({ order: "lot", fineness: fineness.value, basis: basis.value, note: note.value }, how),
  });
}

function assayForm(give) {
  const fineness = number("Fineness found", { unit: "‰" });
  const basis = basisTiles("fire-assay", (word) => !word.startsWith("stamp"));
  sheet("What an assay found", [fineness.node, ...basis.nodes], {
    key: "assay", label: "Enter it",
    does: (how) => give({ order: "assay", fineness: fineness.value, basis: basis.value }, how),
  });
}

function proofForm(give) {
  const way = tiles("How it is weighed in water", [
    ["displaced", "Vessel on the pan", "A vessel of water stands on the pan; the button hangs in it by a thread from outside. The balance shows the water that it pushes aside."],
    ["hung", "Hung from the balance", "The button hangs from the balance into water below it, or on a bridge over the pan. The balance shows the button, lighter than in air."],
  ], "displaced");
  const water = stepper("Water, degrees Celsius", 20, 0.5, 1, 40, 1);
  const air = stepper("Air, degrees Celsius", 20, 0.5, 1, 40, 1);
  const pressure = stepper("Air, pascal", 101325, 500, 50000, 110000);
  const damp = stepper("Air, per cent of damp", 50, 5, 0, 100);
  sheet("Prove the button in water", [
    el("p", {}, "Set up water and thread or hanger first, without the button. No bubbles on it; it touches neither wall nor bottom."),
    way.node, water.node,
    el("details", {}, el("summary", {}, "The air, where it is known"), air.node, pressure.node, damp.node),
  ], {
    key: "proof", label: "Weigh it in water",
    does: (how) => give({
      order: "proof", way: way.value, water_celsius: water.value, air_celsius: air.value, pascal: pressure.value, humidity: damp.value,
    }, how),
  });
}

function checkForm(give, view, action) {
  const set = /^(\S+ \S+) (\S+)$/.exec(action.name ?? "");
  const [nominal, known] = set ? [mass(set[1]), set[2]] : [null, "F2"];
  const weight = number(`Mass of the weight, in ${view.unit_name ?? "grams"}`, { value: nominal?.unit === view.unit ? nominal.digits : "", usual: ["5", "10", "20", "50", "100"], unit: view.unit });
  const grade = tiles("Its class", CLASSES.map((word) => [word, word]), CLASSES.includes(known) ? known : "F2");
  // One that the settings name otherwise is given as they name it.
  const isNamed = Boolean(action.order) && (!nominal || nominal.unit !== view.unit || !CLASSES.includes(known));
  const which = tiles("Which weight", [["named", action.name ?? ""], ["other", "Another"]], "named", (value) => { for (const node of [weight.node, grade.node]) node.hidden = value === "named"; });
  if (isNamed) for (const node of [weight.node, grade.node]) node.hidden = true;
  sheet("The check weight", [
    el("p", {}, "Nothing is recorded of it in the job. It may be put beside metal that lies on the pan."),
    isNamed && which.node, weight.node, grade.node,
  ].filter(Boolean), {
    key: "check-weight", label: "The next load is the check weight",
    does: (how) => give(isNamed && which.value === "named" ? action.order
      : { order: "check-weight", weight: `${weight.value} ${view.unit} ${grade.value}` }, how),
  });
}

/** The metals of the shelf, each with its parts; gives { node, add }. */
function shelfOf(metals, chosen) {
  const amounts = new Map();
  const node = el("fieldset", { class: "tiles" }, el("legend", {}, "Metals of the shelf, in parts by mass"),
    ...metals.map(({ metal, name, made_of: made }) => {
      const shows = el("output", {}, "0");
      const by = (more) => {
        const next = Math.max(0, (amounts.get(metal) ?? 0) + more);
        if (next > 0) amounts.set(metal, next); else amounts.delete(metal);
        put(shows, String(next));
        row.classList.toggle("chosen", next > 0);
        chosen();
      };
      const row = el("div", { class: "row" }, el("span", {}, capital(name)), el("small", {}, made),
        el("button", { type: "button", class: "key", "aria-label": `Less ${name}`, onclick: () => by(-1) }, "−"), shows,
        el("button", { type: "button", class: "key", "aria-label": `More ${name}`, onclick: () => by(1) }, "+"));
      return row;
    }));
  return {
    node,
    add() {
      if (amounts.size === 0) throw new Error("Choose at least one metal: its + says how many parts of it.");
      return [...amounts].map(([metal, share]) => ({ metal, share: String(share) }));
    },
  };
}

function recipeCard(recipe, warnings, value, first) {
  const what = recipe.add.map(({ mass: much, name: metal }) => `${much} ${metal}`).join(" and ");
  const facts = [
    `makes ${recipe.makes} of ${recipe.fineness_ppt} ± ${recipe.u_ppt} ‰`,
    recipe.is_sure === false && "not as surely lawful as the shop asks",
    recipe.colour && `${recipe.colour}${recipe.answers_colour === false ? ", not the colour asked for" : ""}`,
    recipe.cost && `costs ${recipe.cost} ${recipe.currency ?? ""}`.trim(),
    recipe.given_away && `gives ${recipe.given_away} of gold away`,
    recipe.gold_added && Number.parseFloat(recipe.gold_added) > 0 && `adds ${recipe.gold_added} of gold`,
  ].filter(Boolean).join("; ");
  return el("label", { class: "tile recipe" },
    el("input", { type: "radio", name: "recipe", value, checked: first }), el("span", {}, what),
    el("small", {}, facts), ...warnings.map((warning) => el("small", { class: "warning" }, warning)));
}

async function planForm(give, view) {
  let chosen = () => { throw new Error("The metals of the shelf are not here yet."); };
  const own = sheet("What to add", [el("p", { class: "small" }, "The recipes are being reckoned.")], {
    key: "plan", label: "Plan this", wide: true, does: (how) => give({ order: "plan", add: chosen() }, how),
  });
  if (!own) return;
  const [found, metals] = await Promise.all([
    recipes(view.bench).then(({ recipes: list }) => list, (why) => why),
    get("/v1/shelf").catch(() => []),
  ]);
  const list = Array.isArray(found) ? found.filter(({ add }) => add.length > 0) : [];
  const warnings = shared(list);
  const pick = (value) => { for (const input of cards.querySelectorAll("input")) input.checked = input.value === value; };
  // Who picks metals means them.
  const shelf = shelfOf(metals, () => pick("own"));
  const choice = (value, label, says, first) => el("label", { class: "tile recipe" },
    el("input", { type: "radio", name: "recipe", value, checked: first }), el("span", {}, label), says && el("small", {}, says));
  const cards = el("fieldset", { class: "tiles" }, el("legend", {}, list.length > 0 ? "Likeliest first" : "What comes to the lots"),
    ...warnings.all.map((warning) => el("p", { class: "warning" }, `All of these: ${warning}`)),
    ...list.map((recipe, place) => recipeCard(recipe, warnings.each[place], String(place), place === 0)),
    choice("own", "My own choice, below", null, list.length === 0 && metals.length > 0),
    choice("none", "Nothing: melt it as it is", "what was planned and is not weighed is left out", list.length === 0 && metals.length === 0));
  const why = list.length === 0 && found instanceof Error ? el("p", { class: "small" }, found.message) : null;
  chosen = () => {
    const value = cards.querySelector("input:checked")?.value;
    if (value === "none") return [];
    const recipe = list[Number(value)];
    return recipe ? recipe.add.map(({ metal, share }) => ({ metal, share })) : shelf.add();
  };
  own.fill([cards, why, shelf.node].filter(Boolean));
}

async function addForm(give) {
  let chosen = () => { throw new Error("The metals of the shelf are not here yet."); };
  const own = sheet("Add a metal that was not planned", [], {
    key: "add-other", label: "Weigh it out", does: (how) => give({ order: "add", metal: chosen() }, how),
  });
  if (!own) return;
  const metals = await get("/v1/shelf").catch(() => []);
  const fineness = number("Its fineness, karat or per mille", { usual: ["333", "585", "750", "916", "999.9"] });
  const show = (value) => { fineness.node.hidden = value !== ""; };
  const first = metals[0]?.metal ?? "";
  const metal = tiles("Metal of the shelf", [...metals.map(({ metal: key, name, made_of: made }) => [key, capital(name), made]), ["", "Another", "by its fineness"]], first, show);
  show(first);
  chosen = () => metal.value || fineness.value;
  own.fill([metal.node, fineness.node]);
}

function closeForm(give, _, __, closed) {
  const says = el("div");
  sheet("Close the job", [says], {
    key: "close", label: (action) => (action?.asks?.length ? "Yes, close it as it is" : "Close it, show the statement"),
    does: async (how) => { await give({ order: "close" }, how); closed(); },
    look({ job }) {
      const { warnings = [], weighed = [] } = job ?? {};
      const lots = weighed.filter((it) => it.what === "lot" && !it.withdrawn).length;
      const text = `Ticket ${job?.ticket}: ${lots} ${lots === 1 ? "lot" : "lots"}, melt ${job?.melt}. A closed job is not opened again.`;
      return refill(says, [text, warnings], () => [el("p", {}, text), ...warnings.map((warning) => el("p", { class: "warning" }, warning))]);
    },
  });
}

/** An order that asks for a yes and for nothing else. */
export function askForm(give, deed) {
  sheet(deed.label, [], {
    key: deed.key, label: `Yes: ${deed.label.toLowerCase()}`,
    does: (how) => give(deed.action.order, how),
  });
}

/** The statement of a closed job, to read and to print. Its lines wrap, and its masses stand at the edge. */
export function statement(view, away) {
  const { statement: text = "", warnings = [] } = view.job ?? {};
  const print = el("button", { type: "button", onclick: () => window.print() }, "Print");
  const rows = text.split("\n").map((row) => {
    const [label, gap, value] = cells(row);
    const inset = /^ */.exec(label)[0].length;
    return el("div", { class: value === undefined ? "wide" : "", "data-inset": inset ? String(inset) : false },
      el("span", {}, label), gap && el("span", { class: "gap" }, gap), value !== undefined && el("span", {}, value), "\n");
  });
  sheet("Statement", [
    el("div", { class: "statement" }, ...rows),
    ...warnings.filter((warning) => !text.includes(warning)).map((warning) => el("p", { class: "warning" }, warning)),
  ], { wide: true, foot: [print], ends: true, away });
}

export const FORMS = {
  open: openForm, lot: lotForm, plan: planForm, "add-other": addForm, proof: proofForm, assay: assayForm,
  "check-weight": checkForm, close: closeForm,
};
