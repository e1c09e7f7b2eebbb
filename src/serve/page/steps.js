// Where the job stands and what can be done next, read off the bench as the service tells it.
// Pure: no page, no clock.

import { mass } from "./words.js";

export const STEPS = [
  ["take", "Take in"],
  ["plan", "Plan"],
  ["weigh", "Weigh out"],
  ["melt", "Melt, button"],
  ["prove", "Prove"],
  ["account", "Account"],
];

const OF_WEIGHING = { lot: "take", addition: "weigh", button: "melt", "in-water": "prove" };

/** What a job has so far. */
export function tally(job) {
  const standing = (job?.weighed ?? []).filter((weighed) => !weighed.withdrawn);
  const last = (what) => standing.findLastIndex((weighed) => weighed.what === what);
  const lots = standing.filter((weighed) => weighed.what === "lot").length;
  const button = last("button");
  const additions = standing.slice(button + 1).filter((weighed) => weighed.what === "addition").length;
  const water = last("in-water");
  const allAdditions = standing.filter((weighed) => weighed.what === "addition").length;
  return {
    open: Boolean(job?.open),
    lots,
    additions,
    allAdditions,
    toCome: job?.to_come ?? [],
    // A button that was melted again with more metal is none any more.
    hasButton: button >= 0 && additions === 0,
    meltedAgain: button >= 0 && additions > 0,
    proved: Boolean(job?.assay) || (water > button && Boolean(job?.proof)),
    newest: standing.at(-1) ?? null,
  };
}

/** The step that the work is at: one of STEPS, or null without an open job. */
export function now(view) {
  const job = view?.job;
  if (!job?.open) return null;
  if (view.weighing) return OF_WEIGHING[view.weighing.what] ?? "take";
  const has = tally(job);
  if (has.hasButton) return has.proved ? "account" : "prove";
  if (has.lots === 0) return "take";
  if (has.toCome.length > 0) return "weigh";
  return has.additions > 0 ? "melt" : "plan";
}

/** Every step with its state: done, now or to come. */
export function rail(view) {
  const job = view?.job;
  const current = now(view);
  const has = tally(job);
  const place = STEPS.findIndex(([key]) => key === current);
  const closed = Boolean(job) && !job.open;
  const did = {
    take: has.lots > 0,
    plan: has.toCome.length > 0 || has.additions > 0 || has.hasButton,
    weigh: has.allAdditions > 0 && has.toCome.length === 0,
    melt: has.hasButton,
    prove: has.hasButton && has.proved,
    account: closed,
  };
  return STEPS.map(([key, label], at) => {
    const state = closed ? (did[key] || key === "account" ? "done" : "left out")
      : key === current ? "now"
      : did[key] ? "done"
      : at < place ? "left out" : "to come";
    return { key, label, state };
  });
}

const form = (key, label, extra = {}) => ({ key, label, form: key, ...extra });
const order = (key, label, body, extra = {}) => ({ key, label, order: body, ...extra });

/** What is offered, the likeliest first; that one is marked `main`. */
export function offers(view) {
  const job = view?.job;
  if (!job?.open) {
    const closed = job?.statement ? [form("statement", "Show the statement")] : [];
    return [form("open", "Open a ticket", { main: true }), ...closed];
  }
  const has = tally(job);
  const withdraw = has.newest &&
    order("withdraw", "Withdraw the last", { order: "withdraw" }, {
      twice: `Press again: ${has.newest.mass} of ${has.newest.name} is set aside`,
      hint: "withdraw",
    });
  const list = view.weighing ? weighing(view, has) : between(job, has);
  return [...list, withdraw].filter((offer) => offer && !(view.hold && offer.key === "take"));
}

function weighing(view) {
  const { what, name } = view.weighing;
  const loaded = Math.abs(mass(view.pan?.net)?.value ?? 0) > 0;
  const take = order("take", what === "addition" ? `Take it as it is` : `Take it now`, { order: "take" }, {
    // An addition is recorded by itself once it rests within; before that only its own key takes it.
    hint: "take", main: loaded && what !== "addition", says: name,
  });
  // What lies on the pan is finished or taken before anything else.
  if (loaded) return [take];
  const other = { lot: "lot", addition: "plan", button: "add", "in-water": "proof" }[what];
  const instead = {
    lot: form("lot", "Another lot than this"),
    plan: form("plan", "Plan anew"),
    add: form("add", "Add a metal first"),
    proof: form("proof", "Prove it otherwise"),
  }[other];
  return [take, instead, what === "in-water" && form("assay", "Enter an assay")];
}

function between(job, has) {
  const next = has.toCome[0];
  if (has.hasButton) {
    const prove = form("proof", "Prove it in water", { main: !has.proved });
    const close = form("close", "Close the job", { main: has.proved });
    const rest = [form("assay", "Enter an assay"), form("add", "Add a metal, melt again")];
    return has.proved ? [close, ...rest, prove] : [prove, ...rest, close];
  }
  if (has.lots === 0 && !has.meltedAgain) return [form("lot", "Weigh a lot", { main: true }), form("close", "Close the job")];
  if (next) {
    return [
      order("add", `Weigh out ${next.name}`, { order: "add" }, { main: true, says: next.mass ?? "" }),
      has.additions === 0 && form("lot", "Another lot"),
      form("plan", "Plan anew"),
    ];
  }
  if (has.additions > 0) {
    return [
      order("button", "Weigh the button", { order: "button" }, { main: true, melts: true }),
      form("add", "Add another metal"),
      form("close", "Close the job"),
    ];
  }
  return [
    form("plan", "Choose what to add", { main: true }),
    form("lot", "Another lot"),
    order("button", "Melt it as it is", { order: "button" }, { melts: true }),
    form("close", "Close the job"),
  ];
}

/** Short cautions for the work at hand; the warnings of the service come first. */
export function cautions(view) {
  const step = now(view);
  const of = {
    melt: [
      "Molten metal: eyes, hands and lungs covered, a dry mould, air drawn off at the source.",
      "Unknown old metal may hold cadmium: do not melt what may.",
      "Out of the flame's red heat before pickle or water: acid and steam are thrown.",
    ],
    prove: ["A dry, cold button before water; wet metal spits in the next melt."],
  }[step] ?? [];
  const warnings = view?.job?.open ? view.job.warnings ?? [] : [];
  const local = of.length > 0 ? ["Local codes and licensed practice come before this page."] : [];
  return { warnings, cautions: [...of, ...local] };
}
