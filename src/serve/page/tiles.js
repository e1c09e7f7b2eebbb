// The tiles of the orders that the service would take. A tile is one node as long as its order is
// offered, so that the keyboard stays on it; it acts only once it has stood in its place, so that a
// press meant for what stood there before is none.

import { arrange, at, el, mark, put } from "./dom.js";
import { ANSWERS, about, deeds } from "./deeds.js";
import { hint, isSameTap } from "./keys.js";
import { SEEN } from "./sheets.js";

/** A tile that has become another one, or has moved, is not meant by a press sooner than this. */
const STANDS = 300;
/** A second press within so long is a yes to what the first was asked. */
const TWICE = 6_000;

/** Builds them; `does(deed, confirm)` is called for a press that counts. Gives { show(view, busy), press, main, of }. */
export function tilesOf(does, { asked: cry, redraw }) {
  const nodes = new Map();
  const places = { main: at("likeliest"), rest: at("offers"), answers: at("hold-answers") };
  let list = [], view = null, busy = false, asked = null;
  const now = () => performance.now();

  const forget = () => {
    if (asked) { clearTimeout(asked.timer); asked = null; cry(""); }
  };
  const make = (key) => {
    const label = el("span"), says = el("small"), kbd = el("kbd", { "aria-hidden": "true" });
    const node = el("button", { type: "button", onclick: (event) => { if (!isSameTap(event)) press(key, event.timeStamp); } }, label, says, kbd);
    return { node, label, says, kbd, sign: "", since: Infinity };
  };
  const draw = (deed, place, number, isOffered) => {
    const tile = nodes.get(deed.key) ?? make(deed.key);
    nodes.set(deed.key, tile);
    const { node, label, says, kbd } = tile;
    const isAsked = asked?.key === deed.key;
    put(label, isAsked ? `Press again: ${deed.says} is set aside` : deed.label);
    put(says, isAsked ? "" : deed.says);
    says.hidden = !says.textContent;
    const keyed = deed.hint ?? (deed.main ? "next" : null);
    put(kbd, keyed === null ? "" : /^[1-3]$/.test(keyed) ? keyed : hint(keyed));
    kbd.hidden = !kbd.textContent;
    node.className = place === "answers" ? "big" : place === "main" ? "main" : "";
    node.classList.toggle("asked", isAsked);
    mark(node, "data-offer", isOffered ? deed.key : null);
    mark(node, "data-waits", isOffered ? null : deed.key);
    mark(node, "data-said", ANSWERS.includes(deed.key) ? deed.key : null);
    mark(node, "data-sure", isAsked && asked.isSeen ? "yes" : null);
    mark(node, "aria-disabled", busy || !isOffered ? "true" : null);
    const sign = JSON.stringify([place, number, isOffered, deed.label, deed.says, deed.action.confirm ?? null]);
    if (sign !== tile.sign) {
      tile.sign = sign;
      tile.since = Infinity;
      mark(node, "data-ready", null);
      requestAnimationFrame(() => {
        const since = now();
        tile.since = since;
        setTimeout(() => { if (tile.since === since) mark(node, "data-ready", "yes"); }, STANDS);
      });
    }
    return node;
  };

  /** Shows what is offered; `extra` are nodes that are no orders. */
  function show(next, isBusy, extra = []) {
    const on = document.activeElement;
    const was = [...nodes.values()].some(({ node }) => node === on);
    if (next !== null) {
      view = next;
      // Nothing is offered while a record is written: what was offered stands there and waits.
      if (view.actions?.length) list = deeds(view);
      busy = isBusy || !view.actions?.length;
    } else {
      list = [];
      busy = true;
    }
    if (asked) {
      const deed = list.find((it) => it.key === asked.key);
      if (!deed || about(deed.action, view) !== asked.about) forget();
    }
    const isQuestion = view?.hold?.cause === "pan";
    const main = list.find((it) => it.main);
    const answers = isQuestion ? list.filter((it) => ANSWERS.includes(it.key)) : [];
    const rest = list.filter((it) => it !== main && !answers.includes(it));
    const all = { main: main && !answers.includes(main) ? [main] : [], rest, answers };
    // The place for taking is kept as long as something is weighed, whether it can be taken now or not.
    const ghost = waiting();
    if (ghost) (ghost.main && all.main.length === 0 ? all.main : all.rest).push(ghost);
    const shown = new Set();
    for (const [place, into] of Object.entries(places)) {
      arrange(into, [...all[place].map((deed, number) => {
        shown.add(deed.key);
        return draw(deed, place, number, deed !== ghost);
      }), ...(place === "rest" ? extra : [])]);
    }
    for (const key of nodes.keys()) if (!shown.has(key)) nodes.delete(key);
    if (was && document.activeElement !== on) {
      if (on.isConnected) on.focus({ preventScroll: true });
      // Not to another order: what follows would be meant for the one that is gone.
      else at("next-says").focus({ preventScroll: true });
    }
  }

  function waiting() {
    if (!view?.weighing || list.length === 0 || list.some((it) => it.key === "take")) return null;
    const isAddition = view.weighing.what === "addition";
    return {
      key: "take", action: {}, label: isAddition ? "Take it as it is" : "Take it now", says: "once it is at rest",
      main: !isAddition && !list.some((it) => it.main), hint: "take",
    };
  }

  /** A press on a tile, or of its key, at that moment. */
  function press(key, when) {
    const deed = list.find((it) => it.key === key), tile = nodes.get(key);
    if (!deed || !tile || busy || when - tile.since < STANDS) return false;
    if (deed.by !== "twice") { forget(); does(deed); return true; }
    const means = about(deed.action, view);
    if (asked?.key === key && asked.about === means) {
      // It has to be read before it can be meant.
      if (when - asked.since < SEEN) return false;
      forget();
      does(deed);
      return true;
    }
    forget();
    asked = { key, about: means, since: Infinity, timer: setTimeout(forget, TWICE) };
    const own = asked;
    cry(`Press again: ${deed.says} is set aside`);
    requestAnimationFrame(() => requestAnimationFrame(() => {
      own.since = now();
      setTimeout(() => { own.isSeen = true; redraw(); }, SEEN);
    }));
    return true;
  }

  return {
    show,
    press,
    forget,
    main: () => list.find((it) => it.main)?.key ?? null,
    isTile: (node) => [...nodes.values()].some((tile) => tile.node === node),
    keyOf: (node) => [...nodes].find(([, tile]) => tile.node === node)?.[0] ?? null,
  };
}
