// The beam: its tip must come to rest in a slot cut in a post. How high it stands is `height`,
// which is pure; the drawing moves only while it must.

import { draw, el, put } from "./dom.js";
import { mass } from "./words.js";

/** Half the height of the slot and how far the tip can stray, in degrees. */
export const SLOT = 4.4, REACH = 15.5;
/** So many powers of ten of divisions from the window is as far as the beam can tilt. */
const DECADES = 4;
/** Room that stays above and below the tip inside the slot, in degrees. */
const EDGE = 1.1;

/**
 * How high the tip stands, in degrees above the middle of the slot: inside the window with the
 * mass, outside it by powers of ten of the division, so that the last one shows like the first gram.
 */
export function height(net, window, division) {
  const { lower, upper } = window;
  const away = (distance) =>
    SLOT + Math.min(Math.log10(1 + distance / division), DECADES) / DECADES * (REACH - SLOT);
  // Exact decimals became binary numbers on their way here: half a division forgives that.
  const near = division / 1000;
  if (net < lower - near) return -away(lower - net);
  if (net > upper + near) return away(net - upper);
  return within(net, window);
}

function within(net, { lower, upper }) {
  const half = (upper - lower) / 2;
  return half > 0 ? (net - lower - half) / half * (SLOT - EDGE) : 0;
}

/** What the beam shows of a bench. */
export function shown(view) {
  const net = mass(view?.pan?.net ?? (view?.weighing ? null : view?.pan?.shown));
  const weighing = view?.weighing;
  const edges = ["lower", "aim", "upper"].map((name) => mass(weighing?.[name]));
  const division = mass(view?.division)?.value ?? 0.01;
  const window = edges.every(Boolean)
    ? { lower: edges[0].value, aim: edges[1].value, upper: edges[2].value } : null;
  const side = weighing?.side ?? null;
  return {
    net, window, division, side,
    texts: window && edges.map((edge) => `${edge.digits} ${edge.unit}`),
    steady: Boolean(view?.pan?.steady),
    heard: net !== null,
    height: window && net ? height(net.value, window, division) : 0,
    aim: window ? within(window.aim, window) : 0,
    full: net ? Math.min(Math.abs(net.value) / (window?.upper || 40), 1.15) : 0,
  };
}

// The box is 1060 wide.
const PIVOT = [300, 172], LEFT = 196, RIGHT = 452, FACE = RIGHT + 16, BACK = FACE + 82, ENTER = 44;

const on = (degrees, radius) => {
  const angle = degrees * Math.PI / 180;
  return [PIVOT[0] + radius * Math.cos(angle), PIVOT[1] - radius * Math.sin(angle)];
};
const dot = (point) => point.map((part) => part.toFixed(1)).join(" ");

/** A piece of the post between two heights. */
function piece(from, to) {
  return `M${dot(on(from, FACE))}A${FACE} ${FACE} 0 0 0 ${dot(on(to, FACE))}L${dot(on(to, BACK))}` +
    `A${BACK} ${BACK} 0 0 1 ${dot(on(from, BACK))}Z`;
}

/** Builds the drawing in an element; gives `show(view)`. */
export function beam(into) {
  const calm = matchMedia("(prefers-reduced-motion: reduce)"), narrow = matchMedia("(max-width: 40rem)");
  const arm = draw("g", { class: "arm" });
  const pan = draw("g", { class: "pan" });
  const tip = draw("path", { class: "tip", d: `M${RIGHT - 110} -3 H${RIGHT - 44} L${RIGHT - 48} -10 L${RIGHT + 6} 0 L${RIGHT - 48} 10 L${RIGHT - 44} 3 H${RIGHT - 110} Z` });
  const heap = draw("path", { class: "heap", d: "M-62 0 Q-30 -44 0 -46 Q34 -44 62 0 Z" });
  const words = ["lower", "aim", "upper"].map((name) => draw("text", { class: `edge ${name}` }));
  const aim = draw("path", { class: "aim" });
  const slot = draw("g", { class: "slot" }, draw("path", { class: "cut", d: piece(-SLOT, SLOT) }), aim, ...words);
  const middle = PIVOT[0] - LEFT;
  const motion = draw("text", { class: "motion", x: middle, y: 34, "text-anchor": "middle" });
  const rest = draw("path", { class: "still", d: `M${middle - 40} 52 h80` });
  const shake = draw("path", { class: "shake", d: `M${middle - 40} 52 q6.7 -14 13.3 0 t13.3 0 t13.3 0 t13.3 0 t13.3 0 t13.3 0` });
  const side = ["over", "under"].map((word) => {
    const [x, y] = on(word === "over" ? REACH - 1 : -REACH + 1, BACK + 14);
    return draw("text", { class: "side", "data-side": word, x, y: y + 8 }, word);
  });

  // The tip slides in the bar, so it lies under it.
  arm.append(tip,
    draw("path", { class: "bar", d: `M${-LEFT} -6 L-26 -13 L26 -13 L${RIGHT - 36} -5 V5 L26 13 L-26 13 L${-LEFT} 6 Z` }),
    draw("path", { class: "inlay", d: `M${-LEFT + 12} 2 L-22 6 L22 6 L${RIGHT - 44} 2` }),
    draw("circle", { class: "eye", r: 9, cx: -LEFT, cy: 0 }),
  );
  pan.append(
    draw("path", { class: "chain", d: "M0 6 L-66 88 M0 6 L66 88 M0 6 V88" }),
    draw("g", { transform: "translate(0 89)" }, heap),
    draw("path", { class: "bowl", d: "M-80 88 H80 Q66 118 22 120 H-22 Q-66 118 -80 88 Z" }),
    draw("path", { class: "line", d: "M-62 98 Q-42 112 0 113 M-42 98 Q-22 106 12 107" }),
  );
  // What moves lies on a sheet of its own, so that the hatching under it is not drawn again.
  const box = "0 0 1060 352";
  const title = draw("title", {});
  const still = draw("svg", { viewBox: box, role: "img" }, title, patterns(),
    draw("path", { class: "ground", d: "M14 342 H1046" }),
    draw("path", { class: "ground fine", d: hatch(14, 1040, 342, 8) }),
    draw("path", { class: "column", d: `M${PIVOT[0] - 10} 190 L${PIVOT[0] - 18} 318 H${PIVOT[0] - 60} L${PIVOT[0] - 74} 342 H${PIVOT[0] + 74} L${PIVOT[0] + 60} 318 H${PIVOT[0] + 18} L${PIVOT[0] + 10} 190 Z` }),
    draw("path", { class: "column", d: `M${dot(on(-REACH - 0.6, FACE + 20))}L${FACE + PIVOT[0] - 34} 342 H${FACE + PIVOT[0] + 84} L${dot(on(-REACH - 0.6, BACK - 8))}Z` }),
    post(), draw("path", { class: "level-mark", d: `M${dot(on(0, FACE))}h34` }), slot, ...side, rest, shake, motion);
  const moving = draw("svg", { viewBox: box, "aria-hidden": "true", class: "moving" },
    arm, draw("path", { class: "knife", d: `M${PIVOT[0]} ${PIVOT[1] - 6} l20 34 h-40 Z` }), pan);
  const whole = el("div", { class: "beam" }, still, moving);
  into.replaceChildren(whole);

  let angle = 0, reach = 0, wanted = { height: 0, reach: 0 }, frame = 0, before = 0;
  const set = () => {
    arm.setAttribute("transform", `translate(${PIVOT}) rotate(${(-angle).toFixed(3)})`);
    tip.setAttribute("transform", `translate(${reach.toFixed(1)} 0)`);
    const [x, y] = on(angle, -LEFT);
    pan.setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
  };
  const move = (time) => {
    const pace = 1 - Math.exp(-Math.min(time - before, 100) / 70);
    before = time;
    angle += (wanted.height - angle) * pace;
    reach += (wanted.reach - reach) * pace;
    const there = Math.abs(wanted.height - angle) < 0.01 && Math.abs(wanted.reach - reach) < 0.2;
    if (there) ({ height: angle, reach } = wanted);
    set();
    frame = there ? 0 : requestAnimationFrame(move);
  };
  set();

  return function show(view) {
    const it = shown(view);
    wanted = { height: it.height, reach: it.side === "within" ? ENTER : 0 };
    if (calm.matches) {
      ({ height: angle, reach } = wanted);
      set();
    } else if (!frame && (wanted.height !== angle || wanted.reach !== reach)) {
      before = performance.now();
      frame = requestAnimationFrame(move);
    }
    whole.dataset.side = it.side ?? "none";
    whole.dataset.window = it.window ? "yes" : "no";
    whole.dataset.heard = it.heard ? "yes" : "no";
    heap.setAttribute("transform", `scale(${Math.sqrt(it.full).toFixed(3)})`);
    rest.style.display = it.heard && it.steady ? "" : "none";
    shake.style.display = it.heard && !it.steady ? "" : "none";
    put(motion, !it.heard ? "" : it.steady ? "at rest" : "in motion");
    slot.style.display = it.window ? "" : "none";
    if (it.window) {
      aim.setAttribute("d", `M${dot(on(it.aim, FACE - 2))}L${dot(on(it.aim, BACK))}`);
      const apart = [-SLOT - 0.3, 0, SLOT + 0.3];
      words.forEach((word, place) => {
        const [x, y] = on(place === 1 ? 0 : apart[place], BACK + 14);
        word.setAttribute("x", x.toFixed(1));
        word.setAttribute("y", (y + 8).toFixed(1));
        const text = `${place === 1 ? "aim " : ""}${it.texts[place]}`;
        put(word, text);
        // What is right of the post has room for so much and is never cut.
        const most = narrow.matches ? 34 : place === 1 ? 26 : 22;
        const size = `${Math.min(most, (1056 - x) / (0.62 * text.length)).toFixed(1)}px`;
        if (word.style.fontSize !== size) word.style.fontSize = size;
      });
    }
    put(title, described(it));
  };
}

function described(it) {
  if (!it.heard) return "A balance beam; nothing is heard from the balance.";
  if (!it.window) return `A balance beam, level; the pan is ${it.steady ? "at rest" : "in motion"}.`;
  const where = { under: "below the slot", within: "in the slot", over: "above the slot" }[it.side] ?? "below the slot";
  return `A balance beam; its tip stands ${where}.`;
}

function hatch(from, to, y, step) {
  let path = "";
  for (let x = from; x < to; x += step) path += `M${x + 6} ${y}l-6 7`;
  return path;
}

/** The post: an arc about the pivot, hatched, with a mark for each power of ten. */
function post() {
  const group = draw("g", { class: "post" },
    draw("path", { class: "face", d: piece(-REACH - 1.2, REACH + 1.2) }),
    draw("path", { class: "shade", d: piece(-REACH - 1.2, REACH + 1.2) }));
  for (const sign of [-1, 1]) {
    for (let tens = 1; tens <= DECADES; tens += 1) {
      const height = sign * (SLOT + tens / DECADES * (REACH - SLOT));
      group.append(draw("path", { class: "tick", d: `M${dot(on(height, FACE))}L${dot(on(height, FACE + (tens === DECADES ? 34 : 22)))}` }));
      for (const part of [2, 4, 6, 8]) {
        const fine = sign * (SLOT + (tens - 1 + Math.log10(part)) / DECADES * (REACH - SLOT));
        group.append(draw("path", { class: "tick fine", d: `M${dot(on(fine, FACE))}L${dot(on(fine, FACE + 10))}` }));
      }
    }
  }
  return group;
}

function patterns() {
  const lines = (id, space, angle) => draw("pattern", {
    id, width: space, height: space, patternUnits: "userSpaceOnUse", patternTransform: `rotate(${angle})`,
  }, draw("path", { class: "ink", d: `M0 0V${space}` }));
  return draw("defs", {}, lines("hatch", 6, 45), lines("wide", 9, -45),
    draw("pattern", { id: "grain", width: 9, height: 8, patternUnits: "userSpaceOnUse" },
      draw("circle", { class: "grain", cx: 2, cy: 2, r: 1.3 }), draw("circle", { class: "grain", cx: 6.5, cy: 6, r: 1.3 })));
}
