// How old what comes over the line is. The service says of each event when it told it (`t`, its own
// milliseconds); here only their coming is known. Pure: no page, no clock of its own.

/** Older than this, in milliseconds, nothing is shown as current: three seconds, less what looking and drawing take. */
export const OLD = 2_700;

/**
 * The service's clock as it is known here, by the moments of this page (performance.now()). What a
 * stream brings was told no later than it came, and no sooner than the stream was asked for: between
 * the two lies the truth, and the worst of it is what counts.
 */
export class Clock {
  /** At the least and at the most so much is added to a moment of the service. */
  #least = -Infinity;
  #most = Infinity;
  /** What whoever passes events on may be off by, and by which of its clocks; null for one's own events. */
  #passed = null;

  /** The first event of a stream that was asked for at `sent`. */
  opened(sent, came, t) {
    this.#passed = null;
    const [least, most] = [sent - t, came - t];
    if (least <= this.#most && most >= this.#least) {
      this.#least = Math.max(this.#least, least);
      this.#most = Math.min(this.#most, most);
    } else {
      // One of the clocks stood still, as in a device that slept, or the service is another.
      [this.#least, this.#most] = [least, most];
    }
  }

  came(came, t) {
    this.#passed = null;
    this.#most = Math.min(this.#most, came - t);
    if (this.#most < this.#least) this.#least = -Infinity;
  }

  /** An event that another page passed on, with what that is off by and which stream it has. */
  passed(came, t, slack, stream) {
    if (this.#passed?.stream !== stream) this.#most = Infinity;
    this.#passed = { slack, stream };
    this.#most = Math.min(this.#most, came - t);
  }

  /** How much older than it looks something can be; Infinity while nothing is known. */
  get slack() { return this.#passed ? this.#passed.slack : this.#most - this.#least; }

  /** How old, at the worst, something of `t` is at `now`. */
  age(t, now) { return now - t - this.#most + this.slack; }
}

/** What is newer than what is known: by the run of the service, then by number, then by moment. */
export class Order {
  #run = null;
  #gone = new Set();
  #number = -1;
  #t = -1;

  /** Whether an event is news; then it is what is known. A whole state may come again. */
  takes(id, t, isWhole) {
    const [run, number] = split(id);
    if (this.#gone.has(run)) return false;
    if (run !== this.#run) {
      if (this.#run !== null) this.#gone.add(this.#run);
      this.#run = run;
      this.#number = -1;
      this.#t = -1;
    }
    if (number < this.#number || (number === this.#number && !isWhole)) return false;
    this.#number = number;
    this.#t = Math.max(this.#t, t ?? -1);
    return true;
  }

  /** Whether a state that came outside the stream is news, by its moment. */
  isNewer(t) { return t != null && t >= this.#t; }

  get run() { return this.#run; }
}

function split(id) {
  const place = (id ?? "").lastIndexOf(".");
  return place < 0 ? ["", Number.NaN] : [id.slice(0, place), Number(id.slice(place + 1))];
}
