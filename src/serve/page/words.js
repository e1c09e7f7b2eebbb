// Words and numbers as people read them. Pure: no page, no clock.

/** "12.46 g" as { digits, value, unit }; null for anything else. */
export function mass(text) {
  const found = /^([+-]?[0-9]+(?:\.[0-9]+)?) (\S.*)$/.exec(text ?? "");
  return found && { digits: found[1], value: Number(found[1]), unit: found[2] };
}

/** A sentence of the service without the names of commands, which nobody types here. */
export function plain(text) {
  return (text ?? "")
    .replace(/[:,] panbell answer [a-z]+(?:, [a-z]+ or [a-z]+)?/g, "")
    .replace(/(?:[:,]| \() ?panbell [a-zA-Z -]+\)?/g, "")
    .replace(/^Hold: /, "");
}

/** A saying cut in two: what must be read from afar, and what explains it. */
export function split(text) {
  // What the hands must do comes before what the figures say.
  const hands = /^(.*) (Hands off: [^.]*\.)$/.exec(text);
  if (hands) return [hands[2], hands[1]];
  const found = /^(.{8,}?)(?:: |\. )(?=.)/.exec(text);
  if (!found) return [text, ""];
  const rest = text.slice(found[0].length);
  return [`${found[1]}.`, capital(rest)];
}

/** A sentence cut into [text, isNumber] parts: the first mass in it is the number that matters. */
export function parts(text, unitName) {
  const number = new RegExp(`[0-9]+(?:\\.[0-9]+)? (?:${escaped(unitName)}|[a-z]{1,3}\\b)`);
  const found = number.exec(text);
  if (!found) return [[text, false]];
  const end = found.index + found[0].length;
  return [[text.slice(0, found.index), false], [found[0], true], [text.slice(end), false]]
    .filter(([part]) => part !== "");
}

function escaped(text) {
  return (text || "grams").replace(/[^a-zA-Z0-9 ]/g, "\\$&");
}

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
  for (let at = 0; at + 1 < words.length; at += 2) made[words[at]] = Number(words[at + 1]);
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

/** A word with a capital. */
export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** Why nothing is shown of a bench that cannot be reached, and what to do. */
export function lostHold(why) {
  if (why?.code === "token-missing" || why?.code === "token-wrong") {
    return { why: "This device has not been let in.", mend: "Open the page by the address that the service gives: panbell page prints it." };
  }
  if (why?.code === "bench-unknown") return { why: why.happened, mend: why.mend };
  return {
    why: "The service does not answer; what the pan shows is not known here.",
    mend: "Hands off. What is recorded is safe in the job file, and this page goes on by itself when the service is back.",
  };
}
