// The line to the service: questions, orders, and one event stream a bench.
//
// A browser opens six connections to one address, so the pages of one browser share the stream:
// whoever holds the lock of the bench has it, and passes every event on. Another takes over when
// that page is closed.

import { token } from "./keep.js";

// A device that was paired has a cookie instead, which no script sees.
const secret = location.protocol === "https:" ? "" : token();
/** Longer than this without an event, and the service is asked whether it is there. */
const QUIET = 20_000;
/** How long to wait before trying a lost line again. */
const AGAIN = 1_000;
/** An answer takes the service at most fifteen seconds. */
const LIMIT = 18_000;

/** What the service refused: { code, happened, means, mend, passes }. */
export class Refused extends Error {
  constructor(body) {
    super([body.happened, body.means, body.mend].filter(Boolean).join(" "));
    Object.assign(this, body);
  }
}

async function ask(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, {
      ...options,
      headers: { ...(secret && { authorization: `Bearer ${secret}` }), ...options.headers },
      signal: AbortSignal.timeout(LIMIT),
    });
  } catch {
    throw new Refused({
      code: "service-gone",
      happened: "The service does not answer.",
      means: "Whether the order was carried out is not known here; what is recorded stands in the job file.",
      mend: "Wait until this page shows the bench again, and look before you repeat it.",
      passes: true,
    });
  }
  const body = await answer.json().catch(() => ({}));
  if (body.code === "not-paired") location.assign(`/page/pair.html#${location.pathname}`);
  if (!answer.ok) throw new Refused({ code: "refused", happened: `The service answered ${answer.status}.`, ...body });
  return body;
}

export const get = (path) => ask(path);

const base = (bench) => `/v1/bench/${encodeURIComponent(bench)}`;

export const view = (bench) => get(base(bench));
export const recipes = (bench) => get(`${base(bench)}/recipes`);

/** Gives an order; gives { text, warning }. */
export const order = (bench, body) => ask(`${base(bench)}/order`, {
  method: "POST",
  headers: { "content-type": "application/json" },
  body: JSON.stringify(body),
});

/** Follows a bench for as long as the page is open: `heard(event, data)`, `lost(why)`. */
export function follow(bench, heard, lost) {
  const name = `panbell ${bench}`;
  const others = "BroadcastChannel" in window ? new BroadcastChannel(name) : null;
  let last = performance.now();
  const hear = (event, data) => { last = performance.now(); heard(event, data); };
  const lose = (why) => { last = performance.now(); lost(why); };
  others?.addEventListener("message", ({ data: [event, data] }) => {
    if (event === "lost") lose(data); else hear(event, data);
  });
  const lead = () => stream(bench, (event, data) => {
    hear(event, data);
    others?.postMessage([event, data]);
  }, (why) => {
    lose(why);
    others?.postMessage(["lost", why]);
  });
  const look = () => view(bench).then((whole) => hear("state", whole), (why) => lose(why));
  if (navigator.locks && others) {
    navigator.locks.request(name, () => { lead(); return new Promise(() => {}); });
    look();
  } else {
    lead();
  }
  setInterval(() => { if (performance.now() - last > QUIET) look(); }, 5_000);
}

function stream(bench, heard, lost) {
  let source;
  const open = () => {
    source = new EventSource(`${base(bench)}/events${secret && `?token=${secret}`}`);
    for (const event of ["state", "reading", "bell"]) {
      source.addEventListener(event, ({ data }) => heard(event, JSON.parse(data)));
    }
    source.addEventListener("error", () => {
      view(bench).catch(lost);
      // The browser tries again by itself and says what it heard last, but not after a refusal.
      if (source.readyState === EventSource.CLOSED) setTimeout(open, AGAIN);
    });
  };
  open();
}
