// The page: which bench, what is heard of it, and what is shown of that.

import { at, el, put, refill } from "./dom.js";
import { beam } from "./beam.js";
import { FORMS, statement } from "./forms.js";
import { dress, settings, change } from "./keep.js";
import { hint, listen } from "./keys.js";
import { follow, get, order } from "./link.js";
import { overview } from "./overview.js";
import { prefs } from "./prefs.js";
import { player, standing } from "./sound.js";
import { cautions, offers, rail } from "./steps.js";
import { strip } from "./strip.js";
import { triangle } from "./triangle.js";
import { capital, chance, lostHold, parts, plain, split } from "./words.js";

dress();
/** Orders whose answer stays to be read. */
const TOLD = ["take", "withdraw", "assay"];
/** A second press within so long withdraws. */
const TWICE = 4_000;
/** Sentences are read out no oftener than this. */
const CALM = 3_000;

const named = /^\/bench\/(.+)$/.exec(location.pathname);
if (named) bench(decodeURIComponent(named[1])); else overview();

function bench(name) {
  put(at("bench-name"), name);
  put(at("heading"), `Bench ${name}`);
  document.title = `${name} · panbell`;
  const showBeam = beam(at("beam")), showTriangle = triangle(at("triangle"));
  const chart = strip(at("strip")), sound = player(settings);
  const page = { view: null, lost: null, busy: false, asked: null, said: null, spoken: 0, sentence: "", cry: "", weighed: "" };
  let frame = 0;
  const soon = () => { frame ||= requestAnimationFrame(() => { frame = 0; show(); }); };

  follow(name, (event, data) => {
    page.lost = null;
    if (event === "bell") {
      sound.strike(data.bell);
      if (data.bell === "recorded") told({ text: data.text, warning: false });
      return;
    }
    if (event === "state") page.view = data;
    else if (page.view) {
      const { weighing, sentence, ...pan } = data;
      Object.assign(page.view, { pan, weighing, sentence });
    }
    chart.take(page.view);
    soon();
  }, (why) => {
    if (!page.lost) chart.gap();
    page.lost = why;
    soon();
  });

  /** What is shown: nothing of the pan is current while the line is lost. */
  const current = () => page.lost || !page.view
    ? { ...page.view, pan: {}, weighing: page.view?.weighing && { ...page.view.weighing, side: null, fineness_ppt: null, u_ppt: null, p_lawful: null } }
    : page.view;

  function show() {
    const view = current();
    sound.hear(standing(page.view, Boolean(page.lost)));
    showBeam(view);
    showTriangle(view);
    showWords(view);
    showRail(view);
    showHold();
    showOffers();
    showKept(view);
  }

  function showWords(view) {
    // What was said of the weighing before is old when the next one begins.
    const weighed = view.weighing ? `${view.weighing.what} ${view.weighing.name}` : page.weighed;
    if (weighed !== page.weighed) Object.assign(page, { weighed, said: null });
    put(at("unit"), view.unit_name ?? "");
    const job = view.job;
    put(at("job-line"), job ? `${job.open ? "Ticket" : "Closed:"} ${job.ticket}${job.client ? `, ${job.client}` : ""}: ${job.target.replace(" ppt", " ‰")} ${job.colour}` : "No ticket open");
    const sentence = plain(page.lost ? "" : view.sentence);
    const [first, rest] = split(sentence);
    page.sentence = sentence;
    refill(at("sentence"), [sentence], () => [
      ...parts(first, view.unit_name).map(([text, number]) => (number ? el("strong", {}, text) : text)),
      rest && el("span", { class: "rest" }, ` ${rest}`),
    ].filter(Boolean));
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
    const urgent = page.lost ? "The service is lost." : view.hold ? `Hold. ${view.hold.why} ${plain(view.hold.mend)}`
      : view.weighing?.side === "over" ? page.sentence : "";
    // Over: once, not with every grain.
    const mark = page.lost ? "lost" : view.hold ? view.hold.why : view.weighing?.side === "over" ? "over" : "";
    if (mark !== page.cry) {
      page.cry = mark;
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

  function showHold() {
    const hold = page.lost ? lostHold(page.lost) : page.view?.hold;
    const covered = Boolean(hold) || !page.view;
    at("cover").hidden = !covered;
    document.body.classList.toggle("held", covered);
    put(at("hold-word"), !page.view && !page.lost ? "One moment" : page.lost ? "Not connected" : "Hold");
    put(at("hold-why"), hold ? plain(hold.why) : "The bench is being asked how it stands.");
    put(at("hold-mend"), hold ? plain(hold.mend) : "");
    const question = !page.lost && hold?.cause === "pan";
    refill(at("hold-answers"), [question], () => (question ? ANSWERS : []).map(([said, label, says], place) => el("button", {
      type: "button", class: "big", "data-said": said, onclick: () => give({ order: "answer", said }),
    }, el("span", {}, label), el("small", {}, says), el("kbd", { "aria-hidden": "true" }, String(place + 1)))));
    const below = [...document.querySelectorAll("#beam, #sentence, #figures, .strip")];
    for (const node of below) node.inert = covered;
  }

  function showOffers() {
    const list = page.view && !page.lost ? offers(page.view) : [];
    const asked = page.asked?.key;
    refill(at("offers"), [list, asked, page.busy, settings().keys], () => list.map((offer) => el("button", {
      type: "button", class: offer.main ? "main" : "", "data-offer": offer.key, disabled: page.busy, onclick: () => act(offer),
    }, el("span", {}, asked === offer.key ? offer.twice : offer.label), offer.says && asked !== offer.key ? el("small", {}, offer.says) : null,
    offer.main || offer.hint ? el("kbd", { "aria-hidden": "true" }, hint(offer.main && !offer.hint ? "next" : offer.hint)) : null)));
    const { warnings, cautions: care } = cautions(page.view);
    refill(at("cautions"), [warnings, care], () => [
      ...warnings.map((text) => el("li", { class: "warning" }, text)), ...care.map((text) => el("li", {}, text))]);
    at("said").hidden = !page.said;
    if (page.said) {
      put(at("said-text"), page.said.text);
      at("said").classList.toggle("warning", page.said.warning);
    }
  }

  function showKept(view) {
    const job = view.job;
    const rows = [...(job?.weighed ?? []).map((it) => ({ ...it, state: it.withdrawn ? "withdrawn" : "kept" })),
      ...(job?.open ? job.to_come : []).map((it) => ({ name: it.name, mass: it.mass ? `≈ ${it.mass}` : "–", state: "to come" }))];
    refill(at("weighed"), rows, () => rows.map(({ name, mass, state }) => el("li", { class: state.replace(" ", "-") },
      el("span", { class: "what" }, capital(name)), state === "withdrawn" ? el("s", { class: "mass" }, mass) : el("span", { class: "mass" }, mass),
      state === "kept" ? null : el("span", { class: "word" }, state))));
    const sums = job ? [["Melt", job.melt], ["Fineness", job.fineness_ppt && `${job.fineness_ppt} ‰`],
      ["By assay", job.assay && `${job.assay.fineness_ppt} ± ${Number(job.assay.u_ppt)} ‰`],
      ["Density", job.proof && `${(Number(job.proof.density) / 1000).toFixed(2)} g/cm³, ${job.proof.verdict}`],
    ].filter(([, value]) => value) : [];
    refill(at("sums"), sums, () => sums.map(([label, value]) => el("div", {}, el("dt", {}, label), el("dd", {}, value))));
  }

  function told(said) {
    page.said = said && { ...said, text: capital(plain(said.text)) };
    soon();
  }

  /** Sends an order; throws what was refused. */
  async function send(body) {
    page.busy = true;
    soon();
    try {
      const reply = await order(name, body);
      // The answer may come before the event that tells the same.
      page.view = await get(`/v1/bench/${encodeURIComponent(name)}`).catch(() => page.view);
      if (body.order === "close") statement(page.view);
      // Of a weighing that begins, the answer is the sentence of that moment, which soon is old.
      told(TOLD.includes(body.order) ? reply : null);
    } finally {
      page.busy = false;
      soon();
    }
  }

  const give = (body) => send(body).catch((why) => {
    told({ text: why.message, warning: true });
    put(at("cry"), why.message);
  });

  function act(offer) {
    if (page.busy) return;
    if (offer.form) { FORMS[offer.form](send, page.view); return; }
    if (offer.twice && page.asked?.key !== offer.key) {
      clearTimeout(page.asked?.timer);
      page.asked = { key: offer.key, timer: setTimeout(() => { page.asked = null; soon(); }, TWICE) };
      put(at("cry"), offer.twice);
      soon();
      return;
    }
    clearTimeout(page.asked?.timer);
    page.asked = null;
    give(offer.order);
  }

  listen((action) => {
    if (!page.view || page.lost) return false;
    if (/^[1-3]$/.test(action)) {
      const answer = page.view.hold?.cause === "pan" && ANSWERS[Number(action) - 1];
      if (answer) give({ order: "answer", said: answer[0] });
      return Boolean(answer);
    }
    const list = offers(page.view);
    const offer = action === "next" ? list.find((it) => it.main) : list.find((it) => it.key === action);
    if (offer) act(offer);
    return true;
  });
  at("said-away").addEventListener("click", () => told(null));
  tools(sound, () => { chart.repaint(); soon(); });
  const asleep = () => { if (document.visibilityState === "visible") navigator.wakeLock?.request("screen").catch(() => {}); };
  document.addEventListener("visibilitychange", asleep);
  document.addEventListener("pointerdown", asleep, { once: true });
  soon();
}

const ANSWERS = [
  ["back", "Put back", "the dish was lifted and is back"],
  ["tared", "Tared", "the balance’s tare key was pressed"],
  ["anew", "Begin anew", "from what is on the pan now"],
];

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
    button.addEventListener(touch, () => { was = sound.awake; });
    document.addEventListener(touch, wake);
  }
  button.addEventListener("click", () => { change({ silent: was && !settings().silent }); sound.level(); show(); });
  at("set").addEventListener("click", () => prefs({ sounded: () => { sound.level(); show(); }, dressed: again, keyed: again }));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
  show();
}
