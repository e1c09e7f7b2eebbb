// Where the work stands, as a rail of steps, and the cautions for it. Pure: no page, no clock. What
// can be ordered is the service's to say (deeds.js).

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
  const button = last("button"), water = last("in-water");
  const count = (list, what) => list.filter((weighed) => weighed.what === what).length;
  const additions = count(standing.slice(button + 1), "addition");
  return {
    lots: count(standing, "lot"),
    additions,
    allAdditions: count(standing, "addition"),
    toCome: job?.to_come ?? [],
    // A button that was melted again with more metal is none any more.
    hasButton: button >= 0 && additions === 0,
    proved: Boolean(job?.assay) || (water > button && Boolean(job?.proof)),
  };
}

/** The step that the work is at: one of STEPS, or null without an open job. */
export function stepNow(view) {
  const job = view?.job;
  if (!job?.open) return null;
  if (view.weighing) return OF_WEIGHING[view.weighing.what] ?? "take";
  const has = tally(job);
  if (has.hasButton) return has.proved ? "account" : "prove";
  if (has.lots === 0) return "take";
  if (has.toCome.length > 0) return "weigh";
  return has.additions > 0 ? "melt" : "plan";
}

/** Every step with its state: done, now, left out or to come. */
export function rail(view) {
  const job = view?.job;
  const current = stepNow(view);
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

/** Short cautions for the work at hand; the warnings of the service come first. */
export function cautions(view) {
  const of = {
    melt: [
      "Molten metal: eyes, hands and lungs covered, a dry mould, air drawn off at the source.",
      "Unknown old metal may hold cadmium: do not melt what may.",
      "Out of the flame's red heat before pickle or water: acid and steam are thrown.",
    ],
    prove: ["A dry, cold button before water; wet metal spits in the next melt."],
  }[stepNow(view)] ?? [];
  const warnings = view?.job?.open ? view.job.warnings ?? [] : [];
  const local = of.length > 0 ? ["Local codes and licensed practice come before this page."] : [];
  return { warnings, cautions: [...of, ...local] };
}
