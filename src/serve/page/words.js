// Words and numbers as people read them. Pure: no page, no clock.

/** "12.46 g" as { digits, value, unit }; null for anything else. */
export function mass(text) {
  const found = /^([+-]?[0-9]+(?:\.[0-9]+)?) (\S.*)$/.exec(text ?? "");
  return found && { digits: found[1], value: Number(found[1]), unit: found[2] };
}

/** A saying cut where a sentence ends; the pieces together are the saying. */
export const sentences = (text) => (text === "" ? [] : text.split(/(?<=[.?!])(?= +\P{Ll})/u));

/**
 * A saying as [before, large, after], which together are the saying: what is read from afar is its
 * first sentence, up to a colon, or its last one, where that says what the hands must do.
 */
export function fromAfar(text, isLast) {
  const all = sentences(text);
  if (isLast) return [all.slice(0, -1).join(""), all.at(-1) ?? "", ""];
  const first = /^.{8,}?:(?= )/.exec(all[0] ?? "")?.[0] ?? all[0] ?? "";
  return ["", first, text.slice(first.length)];
}

/** A saying cut into [text, isNumber] parts: the first mass in it is the number that matters. */
export function parts(text, unitName) {
  const number = new RegExp(`[0-9]+(?:\\.[0-9]+)? (?:${escaped(unitName)}|[a-z]{1,3}\\b)`);
  const found = number.exec(text);
  if (!found) return [[text, false]];
  const end = found.index + found[0].length;
  return [[text.slice(0, found.index), false], [found[0], true], [text.slice(end), false]]
    .filter(([part]) => part !== "");
}

const escaped = (text) => (text || "grams").replace(/[^a-zA-Z0-9 ]/g, "\\$&");

/** A chance from 0 to 1 as per cent that never rounds up to certainty. */
export function chance(text) {
  if (text == null) return "";
  const value = Number(text);
  if (value === 1 || value === 0) return `${value * 100} %`;
  const decimals = value > 0.99 || value < 0.01 ? 2 : 1;
  const step = 10 ** decimals;
  const cut = Math.min(Math.max(Math.floor(value * 100 * step) / step, 1 / step), 100 - 1 / step);
  return `${cut.toFixed(decimals)} %`;
}

/** A composition "Au 750 Ag 125 unknown 125" as { Au: 750, ... }, per mille. */
export function composition(text) {
  const words = (text ?? "").split(" ").filter(Boolean);
  const made = {};
  for (let place = 0; place + 1 < words.length; place += 2) made[words[place]] = Number(words[place + 1]);
  return made;
}

/** Two compositions melted together, so much of each. */
export function melted(one, ofOne, other, ofOther) {
  const whole = ofOne + ofOther, made = {};
  if (!(whole > 0)) return made;
  for (const name of new Set([...Object.keys(one), ...Object.keys(other)])) {
    made[name] = ((one[name] ?? 0) * ofOne + (other[name] ?? 0) * ofOther) / whole;
  }
  return made;
}

/** The warnings of several recipes: what is said of `all` of them, and what is left of each to say. */
export function shared(recipes) {
  const each = recipes.map(({ warnings }) => warnings ?? []);
  const all = each.length > 1 ? each[0].filter((warning) => each.every((own) => own.includes(warning))) : [];
  return { all, each: each.map((own) => own.filter((warning) => !all.includes(warning))) };
}

/** A line of a statement as its label and what stands against it, where it has both. */
export function cells(line) {
  const found = /^(\s*\S.*?)(\s{2,})(\S.*)$/.exec(line);
  return found ? [found[1], found[2], found[3]] : [line];
}

/** A word with a capital. */
export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** So many seconds, in words. */
export const seconds = (ms) => {
  const whole = Math.floor(ms / 1000);
  return whole === 1 ? "1 second" : whole < 120 ? `${whole} seconds` : `${Math.floor(whole / 60)} minutes`;
};

/** Why nothing is shown of a bench that cannot be reached, and what to do. */
export function lostHold(why) {
  if (why?.code === "token-missing" || why?.code === "token-wrong") {
    return { why: "This device has not been let in.", mend: "Open the page by the whole address that the service gives at the bench." };
  }
  if (why?.code === "bench-unknown") return { why: why.happened, mend: why.mend };
  return {
    why: "The service does not answer; what the pan shows is not known here.",
    mend: "Hands off. What is recorded is safe in the job file, and this page goes on by itself when the service is back.",
  };
}
