// What an order that the service offers is called on its tile, and how it is given: at once, by a
// sheet, or by a second press. Pure: no page, no clock. Whether it is offered is the service's to say.

import { capital } from "./words.js";
import { tally } from "./rail.js";

/** The sheet that an order of this kind is told on. */
const SHEETS = ["open", "lot", "plan", "add-other", "proof", "assay", "check-weight", "close"];
/** Answers to the question what became of the pan, with the key of each. */
export const ANSWERS = ["back", "tared", "anew"];

const LABELS = {
  open: () => ["Open a ticket"],
  lot: (_, has) => [has.lots > 0 ? "Weigh another lot" : "Weigh a lot"],
  reweigh: ({ name, mass }) => ["Record it as it lies now", `${name}: ${mass}`],
  plan: (_, has) => [has.toCome.length > 0 ? "Plan anew" : "Choose what to add"],
  "plan-without": ({ name }) => ["Go on without the next", name],
  add: ({ name, mass }) => [`Weigh out ${name}`, mass],
  "add-other": (_, has) => [has.hasButton ? "Add a metal, melt again" : "Add another metal"],
  take: ({ name }, _, weighing) => [weighing?.what === "addition" ? "Take it as it is" : "Take it now", name],
  withdraw: ({ name, mass }) => ["Withdraw the last", `${mass} of ${name}`],
  button: (_, has) => [has.additions > 0 ? "Weigh the button" : "Melt it as it is", has.additions > 0 ? null : "then weigh the button"],
  proof: () => ["Prove it in water"],
  assay: () => ["Enter an assay"],
  back: () => ["Put back", "the dish was lifted and is back"],
  tared: () => ["Tared", "the balance’s tare key was pressed"],
  anew: () => ["Begin anew", "from what is on the pan now"],
  leave: ({ name }) => ["Leave this weighing", name ? `nothing of ${name} is recorded` : null],
  "check-weight": ({ name }) => ["Show the check weight", name],
  close: () => ["Close the job"],
};

/** The key that gives an order, besides the one for the main step. */
const KEYS = { take: "take", withdraw: "withdraw", back: "1", tared: "2", anew: "3" };

/** The tiles of a bench, in the service's order: { key, action, label, says, by, hint, main }. */
export function deeds(view) {
  const has = tally(view?.job);
  return (view?.actions ?? []).map((action) => {
    const [label, says] = LABELS[action.action]?.(action, has, view.weighing)
      ?? [capital(action.action.replaceAll("-", " ")), [action.name, action.mass].filter(Boolean).join(", ")];
    return {
      key: action.action, action, label, says: says ?? "", main: action.main, hint: KEYS[action.action] ?? null,
      by: SHEETS.includes(action.action) ? "sheet"
        : !action.order ? "unknown"
        : action.asks?.length ? "asked"
        : action.action === "withdraw" ? "twice" : "once",
    };
  });
}

/** What a yes to an action is a yes to: when any of it changes, it is none any more. */
export const about = (action, view) => JSON.stringify([
  action.action, action.order ?? null, action.name ?? null, action.mass ?? null, action.asks ?? [], action.confirm ?? null,
  view.mark ?? "", view.job?.ticket ?? null,
]);
