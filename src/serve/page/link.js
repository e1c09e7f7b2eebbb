// The line to the service: questions, orders, and one event stream a bench.
//
// A browser opens six connections to one address, so the pages of one browser share the stream:
// whoever holds the lock of the bench has it, and passes every event on. Another takes over when
// that page is closed, or when nothing is heard of it any more.
//
// A line that is cut is often not told: nothing comes, and that is all. So the service beats every
// second, and three seconds without anything, or with what is older than that, make the line lost. It is
// then opened anew here, without what was missed: an old event is never wanted back.

import { Clock, OLD, Order } from "./clock.js";
import { token } from "./keep.js";

// A device that was paired has a cookie instead, which no script sees.
const secret = location.protocol === "https:" ? "" : token();
/** An answer takes the service at most fifteen seconds. */
const LIMIT = 18_000;
/** So long an order is asked about again while its answer does not come. */
const ASKED = 90_000;
/** How long a stream is given to bring something, at first and at the most. */
const PATIENCE = [4_000, 20_000];
/** How soon a stream that broke is tried again. */
const AGAIN = 500;
const LOOK = 250;

/** What the service refused: { code, happened, means, mend, passes, confirm }. */
export class Refused extends Error {
  constructor(body) {
    super([body.happened, body.means, body.mend].filter(Boolean).join(" "));
    Object.assign(this, body);
  }
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

async function ask(path, options = {}, signal = AbortSignal.timeout(LIMIT)) {
  let answer, body;
  try {
    answer = await fetch(path, {
      ...options,
      headers: { ...(secret && { authorization: `Bearer ${secret}` }), ...options.headers },
      signal,
    });
    body = await answer.text();
  } catch {
    throw new Refused({
      code: "service-gone",
      happened: "The service does not answer.",
      means: "What is recorded stands in the job file.",
      mend: "Wait until this page shows the bench again.",
      passes: true,
    });
  }
  try { body = JSON.parse(body); } catch { body = {}; }
  if (body.code === "not-paired") location.assign(`/page/pair.html#${location.pathname}`);
  if (!answer.ok) throw new Refused({ code: "refused", happened: `The service answered ${answer.status}.`, ...body });
  return body;
}

export const get = (path, limit = LIMIT) => ask(path, {}, AbortSignal.timeout(limit));

const base = (bench) => `/v1/bench/${encodeURIComponent(bench)}`;

export const recipes = (bench) => get(`${base(bench)}/recipes`);

/** An id that no other order has. */
function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** What does not say whether an order was carried out, when the same one was sent before. */
const UNSURE = ["service-gone", "order-unknown", "bench-slow", "bench-writing"];

/**
 * Gives an order, once: under one id it is sent until it is answered, so that the network can lose
 * it or its answer and it happens once or not at all. `unsure()` is called when it is not known yet.
 */
export async function order(bench, body, on, { unsure, isFresh }) {
  const text = JSON.stringify({ ...body, on: { id: newId(), ...on } });
  const began = performance.now();
  for (let tries = 0; ; tries += 1) {
    const stop = new AbortController(), from = performance.now();
    // On a line that is lost no answer is waited for.
    const watch = setInterval(() => {
      const waited = performance.now() - from;
      if (waited > LIMIT || (waited > OLD + 1_000 && !isFresh())) stop.abort();
    }, LOOK);
    try {
      return await ask(`${base(bench)}/order`, {
        method: "POST", headers: { "content-type": "application/json" }, body: text,
      }, stop.signal);
    } catch (why) {
      const isOpen = why.code === "service-gone" || why.code === "order-unknown" || (tries > 0 && UNSURE.includes(why.code));
      if (!isOpen) throw why;
      if (performance.now() - began > ASKED) {
        throw new Refused({
          code: "order-unknown",
          happened: "The service did not answer, so it is not known whether this order was carried out.",
          means: "It is not sent again by itself.",
          mend: "Look at what is recorded before you repeat it.",
        });
      }
      unsure();
    } finally {
      clearInterval(watch);
    }
    await pause(Math.min(300 * 2 ** tries, 3_000));
  }
}

/**
 * Follows a bench for as long as the page is open: `heard(event, data)` of what is news,
 * `turned(isLost, why)` when the line is lost or found, `whole()` gives what is known by now.
 */
export function follow(bench, { heard, turned, whole }) {
  const name = `panbell ${bench}`;
  const others = "BroadcastChannel" in window ? new BroadcastChannel(name) : null;
  const clock = new Clock(), news = new Order(), began = performance.now();
  // `told` is when another page was last heard of, `quiet` when anything came.
  let newest = null, isLost = null, why = null, told = began, quiet = began, id = null;
  const age = (t) => clock.age(t, performance.now());
  const isFresh = () => newest !== null && age(newest) <= OLD;
  const look = () => {
    const lost = !isFresh();
    if (lost === isLost || (isLost === null && lost && performance.now() - began < OLD && !why)) return;
    isLost = lost;
    if (!lost) why = null;
    turned(lost, why);
  };
  const lose = (body) => {
    newest = null;
    why = body;
    if (isLost) turned(true, why);
    look();
  };
  /** Something that came by the own stream, or was passed on. */
  const take = (event, data, itsId) => {
    quiet = performance.now();
    if (event === "beat") {
      if (news.run === null || data.t < (newest ?? 0)) return;
    } else {
      if (!news.takes(itsId, data.t, event === "state")) return;
      id = itsId;
    }
    newest = data.t;
    // What is too old to be shown is not shown for a moment either.
    if (isFresh() || event === "state") heard(event, data);
    look();
  };
  const pass = (...message) => others?.postMessage(message);
  const line = stream(bench, {
    came(event, data, itsId, sent, number) {
      const now = performance.now();
      if (sent !== null) clock.opened(sent, now, data.t); else clock.came(now, data.t);
      take(event, data, itsId);
      pass("event", event, data, itsId, clock.slack, number);
    },
    lose(body) { lose(body); pass("lost", body); },
    isFresh,
  });
  others?.addEventListener("message", ({ data: [kind, ...rest] }) => {
    if (line.isOpen) {
      // Another page was opened, and has yet to hear how the bench stands.
      if (kind === "hello" && isFresh()) pass("event", "state", { ...whole(), t: newest }, id, clock.slack, line.number);
      return;
    }
    if (kind === "hello") return;
    told = performance.now();
    if (kind === "lost") { lose(rest[0]); return; }
    if (kind !== "event") return;
    const [event, data, itsId, slack, number] = rest;
    clock.passed(told, data.t, slack, number);
    take(event, data, itsId);
  });
  // With locks one page has the stream for all; without, each has its own.
  const lead = (steal) => navigator.locks.request(name, steal ? { steal: true } : {}, () => {
    line.open();
    return new Promise(() => {});
  }).catch(() => {
    // Taken over by another page, which had not heard of this one.
    line.close();
    lead(false);
  });
  const shares = Boolean(navigator.locks && others);
  if (shares) { lead(false); pass("hello"); } else line.open();

  let wall = Date.now(), then = performance.now();
  setInterval(() => {
    const now = performance.now();
    // Both clocks go alike unless the device slept: then all that stands here is old.
    if (Math.abs(Date.now() - wall - (now - then)) > 1_500) { newest = null; line.again(); }
    [wall, then] = [Date.now(), now];
    look();
    if (line.isOpen) {
      if (isLost) pass("trying");
      line.look(now);
      return;
    }
    const patience = 2 * OLD + Math.random() * OLD;
    if (shares && !isFresh() && document.visibilityState === "visible" && now - Math.max(told, quiet) > patience) {
      told = now;
      lead(true);
    }
  }, LOOK);
  addEventListener("online", () => line.again());
  return { isFresh, age, isNewer: (view) => news.isNewer(view?.t) };
}

/** The stream of one page: opened, watched, and opened anew as long as it is wanted. */
function stream(bench, { came, lose, isFresh }) {
  let source = null, isOpen = false, sent = 0, heardAt = 0, patience = PATIENCE[0], due = null, number = "";
  const close = () => {
    clearTimeout(due);
    due = null;
    source?.close();
    source = null;
    isOpen = false;
  };
  const open = () => {
    close();
    isOpen = true;
    sent = performance.now();
    heardAt = sent;
    number = newId();
    let first = true;
    const own = new EventSource(`${base(bench)}/events${secret && `?token=${secret}`}`);
    source = own;
    for (const event of ["state", "reading", "bell", "beat"]) {
      own.addEventListener(event, ({ data, lastEventId }) => {
        if (source !== own) return;
        heardAt = performance.now();
        // Only of the first is it known when it was asked for.
        came(event, JSON.parse(data), lastEventId, first ? sent : null, number);
        first = false;
        if (isFresh()) [patience] = PATIENCE;
      });
    }
    own.addEventListener("error", () => {
      if (source !== own) return;
      // The browser would come back by itself for what was missed, which is old.
      own.close();
      due = setTimeout(open, AGAIN);
      get(base(bench), OLD).catch((why) => { if (source === own || !isFresh()) lose(why); });
    });
  };
  return {
    open,
    close,
    get isOpen() { return isOpen; },
    get number() { return number; },
    again() { if (isOpen) open(); },
    /** A line on which nothing comes, or what is old by now, is opened anew. */
    look(now) {
      if (due) return;
      const isSilent = now - heardAt > patience, isBehind = now - sent > patience && !isFresh();
      if (!isSilent && !isBehind) return;
      patience = Math.min(patience * 1.5, PATIENCE[1]);
      open();
    },
  };
}
