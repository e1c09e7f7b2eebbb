// The page: which bench, what is heard of it, and what is shown of that.

import { at, el, put, refill } from "./dom.js";
import { beam } from "./beam.js";
import { OLD } from "./clock.js";
import { FORMS, askForm, statement } from "./forms.js";
import { change, dress, settings } from "./keep.js";
import { listen } from "./keys.js";
import { follow, order } from "./link.js";
import { overview } from "./overview.js";
import { prefs } from "./prefs.js";
import { cautions, rail } from "./rail.js";
import { SEEN, openSheet } from "./sheets.js";
import { player, standing } from "./sound.js";
import { strip } from "./strip.js";
import { tilesOf } from "./tiles.js";
import { triangle } from "./triangle.js";
import { capital, chance, fromAfar, lostHold, parts, seconds } from "./words.js";

/** Orders whose answer stays to be read. */
const TOLD = ["take", "withdraw", "assay", "reweigh"];
/** Sentences are read out no oftener than this. */
const CALM = 3_000;
/** An order that changed nothing that is shown is over so long after its answer. */
const SETTLED = 1_500;
const NOT_KNOWN = "It is not known yet whether this was done: the service does not answer. The same order is sent again until it does, and happens once.";

/** Begins; the page is covered until all of it is here. */
export function start() {
  dress();
  const named = /^\/bench\/(.+)$/.exec(location.pathname);
  if (named) benchPage(decodeURIComponent(named[1])); else overview();
  document.body.classList.remove("loading");
  document.body.dataset.runs = "yes";
}

function benchPage(name) {
  put(at("bench-name"), name);
  put(at("heading"), `Bench ${name}`);
  document.title = `${name} · panbell`;
  const showBeam = beam(at("beam")), showTriangle = triangle(at("triangle"));
  const chart = strip(at("strip")), sound = player(settings);
  // `read`: when the balance was last read, by the service's clock; null when it never was. `mark`: of what is drawn.
  const page = {
    view: null, read: undefined, mark: "", isNews: false, lost: null, why: null, busy: false, settles: null, said: null,
    spoken: 0, sentence: "", cry: "", weighed: "", account: false,
  };
  let frame = 0;
  const soon = () => { frame ||= requestAnimationFrame(() => { frame = 0; show(); }); };

  const link = follow(name, {
    heard(event, data) {
      if (event === "bell") {
        sound.strike(data.bell);
        if (data.bell === "recorded") tell({ text: data.text, warning: false });
        return;
      }
      if (event === "beat") page.read = data.age == null ? null : data.t - data.age;
      else if (event === "reading") page.read = data.t - (data.age_ms ?? 0);
      if (event === "state") take(data);
      else if (event === "reading" && page.view) {
        const { weighing, sentence, t: _, ...pan } = data;
        Object.assign(page.view, { pan, weighing, sentence });
      }
      hear(data.t);
      if (event !== "beat") chart.take(known());
      soon();
    },
    turned(lost, why) {
      if (lost && page.lost === false) { chart.gap(); sound.lose(); }
      page.lost = lost;
      page.why = why;
      openSheet()?.look(page.view ?? {}, lost);
      soon();
    },
    whole: () => ({ ...page.view, read: page.read }),
  });

  /** How long ago the balance was read, at the worst, in milliseconds. */
  const readAge = () => (page.read == null ? Infinity : link.age(page.read));
  /** Whether what is shown of the pan was read too long ago to be shown as current. */
  const isAged = () => page.view?.pan?.shown != null && readAge() > OLD;

  /** A whole state that is news. */
  function take(view) {
    const age = view.pan?.age_ms ?? view.age;
    if (view.read !== undefined) page.read = view.read;
    else if (age != null) page.read = view.t - age;
    page.view = view;
    page.isNews = true;
    if (page.settles) { clearTimeout(page.settles); settle(); }
    const sheet = openSheet(), title = sheet?.dialog.querySelector("h2")?.textContent;
    if (sheet && !sheet.look(view, page.lost)) tell({ text: `“${title}” was put away: the bench does not take that order any more.`, warning: true });
  }

  /** What is known of the bench now: nothing of the pan while the line is lost or the balance silent. */
  const known = () => (page.lost !== false || !page.view || isAged()
    ? { ...page.view, pan: {}, weighing: page.view?.weighing && { ...page.view.weighing, side: null, fineness_ppt: null, u_ppt: null, p_lawful: null } }
    : page.view);

  /** What an event of this moment sounds like. */
  function hear(t) {
    if (!page.view) return;
    const isRead = page.view.pan?.shown != null && !page.view.hold;
    sound.hear(standing(known()), { age: isRead ? Math.min(readAge(), OLD) : link.age(t), told: link.age(t), counts: Boolean(page.view.weighing) });
  }

  function show() {
    const view = known();
    page.mark = page.view?.mark ?? "";
    showBeam(view);
    showTriangle(view);
    showWords(view);
    showRail(view);
    showCover();
    showTiles();
    showKept(view);
    if (page.account && page.view && !page.view.job?.open && !openSheet()) {
      page.account = false;
      statement(page.view);
    }
  }

  function showWords(view) {
    // What was said of the weighing before is old when the next one begins.
    const weighed = view.weighing ? `${view.weighing.what} ${view.weighing.name}` : page.weighed;
    if (weighed !== page.weighed) Object.assign(page, { weighed, said: page.said?.warning ? page.said : null });
    put(at("unit"), view.unit_name ?? "");
    const job = view.job;
    const line = job ? `${job.open ? "Ticket" : "Closed:"} ${job.ticket}${job.client ? `, ${job.client}` : ""}: ${job.target.replace(" ppt", " ‰")} ${job.colour}` : "No ticket open";
    put(at("job-line"), line);
    at("job-line").title = line;
    const isOld = page.lost !== false || isAged();
    const sentence = isOld ? "" : view.sentence ?? "";
    // Within the window what the hands must do stands at the end.
    const isWithin = view.weighing?.side === "within";
    page.sentence = sentence;
    refill(at("sentence"), [sentence, isWithin], () => fromAfar(sentence, isWithin).map((text, place) => [text, place === 1 ? "large" : "rest"])
      .filter(([text]) => text !== "").map(([some, size]) => el("span", { class: size },
        ...parts(some, view.unit_name).map(([text, number]) => (number && size === "large" ? el("strong", {}, text) : text)))));
    const weighing = view.weighing;
    const figure = (id, text) => { const node = at(id); put(node, text ?? ""); node.parentElement.hidden = !text; };
    put(at("net-says"), view.fine_digit ? "On the pan; its last digit is not for payment" : "On the pan");
    put(at("net"), view.pan?.net ?? view.pan?.shown ?? "–");
    figure("aim", weighing?.aim);
    figure("lower", weighing?.lower);
    figure("upper", weighing?.upper);
    figure("chance", weighing?.aim && chance(weighing.p_lawful));
    figure("fineness", weighing?.fineness_ppt && `${weighing.fineness_ppt} ‰${weighing.u_ppt ? ` ± ${weighing.u_ppt}` : ""}`);
    put(at("strip-says"), weighing?.aim ? "the last 90 seconds, the window hatched" : "the last 90 seconds");
    speak(view);
  }

  /** The sentence for those who hear the page: calmly, but at once when it is over or held. */
  function speak(view) {
    const urgent = page.lost ? "The service is lost." : view.hold ? `Hold. ${view.hold.why} ${view.hold.mend}`
      : view.weighing?.side === "over" ? page.sentence : "";
    // Over: once, not with every grain.
    const sign = page.lost ? "lost" : view.hold ? view.hold.why : view.weighing?.side === "over" ? "over" : "";
    if (sign !== page.cry) {
      page.cry = sign;
      put(at("cry"), urgent);
    }
    const wait = CALM - (performance.now() - page.spoken);
    if (at("say").textContent === page.sentence) return;
    if (wait > 0) { setTimeout(soon, wait); return; }
    page.spoken = performance.now();
    put(at("say"), page.sentence);
  }

  function showRail(view) {
    const steps = rail(view);
    refill(at("rail"), steps, () => steps.map(({ label, state }) => el("li", {
      class: `step ${state.replace(" ", "-")}`, ...(state === "now" ? { "aria-current": "step" } : {}),
    }, el("span", { class: "notch", "aria-hidden": "true" }), el("span", {}, label), el("span", { class: "unseen" }, `: ${state}`))));
  }

  /** What covers the bench: [word, why, what to do]; null when nothing does. */
  function cover() {
    if (page.lost) { const { why, mend } = lostHold(page.why); return ["Not connected", why, mend]; }
    if (!page.view || page.lost === null || (page.read === undefined && page.view.pan?.shown != null)) return ["One moment", "The bench is being asked how it stands.", ""];
    if (page.view.hold) return ["Hold", page.view.hold.why, page.view.hold.mend];
    if (!isAged()) return null;
    const age = readAge();
    const when = Number.isFinite(age) ? `${seconds(age)} ago` : "some time ago";
    return ["Silent", `The balance was last read ${when}, showing ${page.view.pan.shown}. What lies on the pan now is not known.`, "Wait until it sends again, or see to its cable."];
  }

  function showCover() {
    const covers = cover();
    at("cover").hidden = !covers;
    document.body.classList.toggle("held", Boolean(covers));
    put(at("hold-word"), covers?.[0] ?? "");
    put(at("hold-why"), covers?.[1] ?? "");
    put(at("hold-mend"), covers?.[2] ?? "");
    for (const node of document.querySelectorAll("#beam, #sentence, #figures, .strip")) node.inert = Boolean(covers);
  }

  function showTiles() {
    const isThere = page.view && page.lost === false;
    const job = page.view?.job;
    const account = isThere && job && !job.open && job.statement
      ? [shows.statement] : [];
    tiles.show(isThere ? page.view : null, page.busy, account);
    const { warnings, cautions: care } = cautions(page.view);
    refill(at("cautions"), [warnings, care], () => [
      ...warnings.map((text) => el("li", { class: "warning" }, text)), ...care.map((text) => el("li", {}, text))]);
    at("said").hidden = !page.said;
    if (page.said) {
      put(at("said-text"), page.said.text);
      at("said").classList.toggle("warning", page.said.warning);
    }
  }

  const shows = { statement: el("button", { type: "button", "data-shows": "statement", onclick: () => statement(page.view) }, "Show the statement") };

  function showKept(view) {
    const job = view.job;
    const rows = [...(job?.weighed ?? []).map((it) => ({ ...it, state: it.withdrawn ? "withdrawn" : "kept" })),
      ...(job?.open ? job.to_come : []).map((it) => ({ name: it.name, mass: it.mass ? `≈ ${it.mass}` : "–", state: "to come" }))];
    refill(at("weighed"), rows, () => rows.map(({ name: what, mass, state }) => el("li", { class: state.replace(" ", "-") },
      el("span", { class: "what" }, capital(what)), state === "withdrawn" ? el("s", { class: "mass" }, mass) : el("span", { class: "mass" }, mass),
      state === "kept" ? null : el("span", { class: "word" }, state))));
    const sums = job ? [["Client", job.client], ["Melt", job.melt], ["Fineness", job.fineness_ppt && `${job.fineness_ppt} ‰`],
      ["By assay", job.assay && `${job.assay.fineness_ppt} ± ${Number(job.assay.u_ppt)} ‰`],
      ["Density", job.proof && `${(Number(job.proof.density) / 1000).toFixed(2)} g/cm³, ${job.proof.verdict}`],
    ].filter(([, value]) => value) : [];
    refill(at("sums"), sums, () => sums.map(([label, value]) => el("div", {}, el("dt", {}, label), el("dd", {}, value))));
  }

  function tell(said) {
    page.said = said && { ...said, text: capital(said.text) };
    soon();
  }

  /** No order is taken before what the last one made of the bench was drawn and could be seen. */
  function settle() {
    page.settles = null;
    requestAnimationFrame(() => setTimeout(() => { page.busy = false; soon(); }, SEEN));
    soon();
  }

  /** Sends an order, once; throws what was refused. */
  async function send(body, { confirm, says = (text) => tell({ text, warning: true }) } = {}) {
    if (page.busy) throw new Error("The order before this one is not done yet.");
    page.busy = true;
    soon();
    const { job } = page.view;
    const on = { ...(job?.open && { ticket: job.ticket }), ...(page.mark && { seen: page.mark }), ...(confirm && { confirm }) };
    let isUnsure = false;
    page.isNews = false;
    try {
      const reply = await order(name, body, on, {
        isFresh: link.isFresh,
        unsure() { isUnsure = true; says(NOT_KNOWN); },
      });
      // Of a weighing that begins, the answer is the sentence of that moment, which soon is old.
      tell(TOLD.includes(body.order) || isUnsure ? reply : null);
    } catch (why) {
      // The state that it was refused on may be here sooner than the stream tells of it.
      if (why.bench && link.isNewer(why.bench)) take(why.bench);
      throw why;
    } finally {
      // What the order made of the bench comes by the stream; what changed nothing is told nothing of.
      if (page.isNews) settle(); else page.settles = setTimeout(settle, SETTLED);
    }
  }

  const give = (body, how) => send(body, how).catch((why) => {
    tell({ text: why.message, warning: true });
    put(at("cry"), why.message);
    if (why.confirm) askAgain(body, why);
  });

  /** What was not known to ask for a yes, asks for one. */
  function askAgain(body, why) {
    askForm((_, how) => send(body, { ...how, confirm: how.confirm ?? why.confirm }), { key: null, label: "Do it all the same", action: { order: body } });
  }

  function does(deed) {
    if (deed.by === "sheet") FORMS[deed.key](send, page.view, deed.action, () => { page.account = true; soon(); });
    else if (deed.by === "asked") askForm(send, deed);
    else if (deed.by === "unknown") tell({ text: "This page does not know what that order must be told.", warning: true });
    else give(deed.action.order, { confirm: deed.action.confirm });
    openSheet()?.look(page.view, page.lost);
    soon();
  }

  let question = "";
  const tiles = tilesOf(does, {
    /** A tile asks for a second press; nothing when it does not any more. */
    asked(text) {
      if (text) put(at("cry"), text); else if (at("cry").textContent === question) put(at("cry"), "");
      question = text || question;
      soon();
    },
    redraw: () => soon(),
  });

  listen({
    sheet: openSheet,
    bench({ means, button, target, key, when }) {
      if (button) {
        const own = tiles.keyOf(button);
        if (own) tiles.press(own, when); else button.click();
        return;
      }
      // The order that the keyboard was on is gone: its key means nothing else.
      if (target.id === "next-says" && (key === "Enter" || key === " ")) return;
      if (!page.view || page.lost !== false) return;
      const place = ["1", "2", "3"].indexOf(means);
      const wanted = means === "next" ? tiles.main() : place >= 0 ? ["back", "tared", "anew"][place] : means;
      if (wanted) tiles.press(wanted, when);
    },
  });
  at("said-away").addEventListener("click", () => tell(null));
  tools(sound, () => { chart.repaint(); soon(); });
  // Numbers grow old without anything that happens.
  setInterval(() => { if (page.view) soon(); }, 250);
  const asleep = () => { if (document.visibilityState === "visible") navigator.wakeLock?.request("screen").catch(() => {}); };
  document.addEventListener("visibilitychange", asleep);
  document.addEventListener("pointerdown", asleep, { once: true });
  soon();
}

/** Sound and settings, on every page. */
function tools(sound, again) {
  const button = at("sound");
  const show = () => {
    const off = settings().silent || !sound.awake;
    button.setAttribute("aria-pressed", String(!off));
    button.classList.toggle("is-off", off);
    put(button.querySelector("span"), settings().silent ? "Silent" : sound.awake ? "Sound on" : "Touch for sound");
  };
  const wake = () => { sound.wake(); setTimeout(show, 200); };
  // The touch that wakes the sound must not silence it.
  let was = false;
  for (const touch of ["pointerdown", "keydown"]) {
    addEventListener(touch, (event) => {
      if (button.contains(event.target)) was = sound.awake;
      wake();
    }, true);
  }
  button.addEventListener("click", () => { change({ silent: was && !settings().silent }); sound.level(); show(); });
  at("set").addEventListener("click", () => prefs({ sounded: () => { sound.level(); show(); }, dressed: again, keyed: again }));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
  show();
}
