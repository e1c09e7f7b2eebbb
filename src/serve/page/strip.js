// The last 90 seconds as a line on a strip, with the window as a hatched band. Drawn at most ten
// times a second, on the scale of the beam when there is a window.

import { height, REACH, shown } from "./beam.js";
import { mass } from "./words.js";

const SECONDS = 90, MOST = 4000, APART = 100;

/** Builds the strip on a canvas; gives `take(view)`, and `gap()` where nothing is known. */
export function strip(canvas) {
  const trace = [];
  let now = null, key = "", last = 0, waiting = 0;
  const pen = canvas.getContext("2d");

  const paint = () => {
    waiting = 0;
    last = performance.now();
    const { clientWidth: width, clientHeight: tall } = canvas;
    if (!width || !tall) return;
    const scale = Math.min(devicePixelRatio || 1, 2);
    if (canvas.width !== Math.round(width * scale)) canvas.width = Math.round(width * scale);
    if (canvas.height !== Math.round(tall * scale)) canvas.height = Math.round(tall * scale);
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, width, tall);
    const style = getComputedStyle(canvas);
    const ink = style.color, brass = style.getPropertyValue("--brass");
    const begins = last - SECONDS * 1000;
    while (trace.length > MOST || (trace.length && trace[0].at < begins)) trace.shift();
    const x = (at) => (at - begins) / (SECONDS * 1000) * width;
    // Against a window only what was weighed for it means anything; else it is the whole pan.
    const value = (sample) => (now?.window ? (sample.key === key ? sample.net : null) : sample.gross);
    const y = scaleOf(trace, value, now, tall);
    pen.lineWidth = 1;
    if (now?.window) band(pen, y, now, width, ink, brass);
    pen.strokeStyle = ink;
    pen.globalAlpha = 0.35;
    for (let back = 0; back <= SECONDS; back += 10) {
      const line = Math.round(x(last - back * 1000)) + 0.5;
      pen.beginPath();
      pen.moveTo(line, tall - (back % 30 ? 4 : 8));
      pen.lineTo(line, tall);
      pen.stroke();
    }
    pen.globalAlpha = 1;
    pen.lineWidth = 2;
    pen.lineJoin = "round";
    pen.beginPath();
    let joined = false;
    for (const sample of trace) {
      const height = value(sample);
      if (height === null) { joined = false; continue; }
      if (joined) pen.lineTo(x(sample.at), y(height)); else pen.moveTo(x(sample.at), y(height));
      joined = true;
    }
    pen.stroke();
    const end = trace.at(-1);
    if (end && value(end) !== null) {
      pen.beginPath();
      pen.arc(Math.min(x(end.at), width - 4), y(value(end)), 4, 0, 7);
      pen.fillStyle = ink;
      pen.fill();
    }
  };
  const soon = () => {
    if (waiting) return;
    waiting = setTimeout(() => requestAnimationFrame(paint), Math.max(0, APART - (performance.now() - last)));
  };
  const add = (sample) => { trace.push({ at: performance.now(), ...sample }); soon(); };
  new ResizeObserver(soon).observe(canvas);
  setInterval(soon, 1000);
  return {
    take(view) {
      now = shown(view);
      key = `${view.weighing?.what} ${view.weighing?.name} ${view.job?.weighed.length}`;
      // A scale has one unit: what is shown in another leaves a gap, and what comes after it begins anew.
      const gross = mass(view.pan?.shown), isOther = Boolean(gross) && gross.unit !== view.unit;
      if (isOther) trace.length = 0;
      const value = (it) => (it && !isOther && it.unit === view.unit ? it.value : null);
      add({ key, net: value(now.net), gross: value(gross) });
    },
    gap() { add({ key, net: null, gross: null }); },
    repaint: soon,
    /** What is drawn, oldest first: { at, key, net, gross }, all in the bench's unit. */
    trace: () => trace,
  };
}

function scaleOf(trace, value, now, tall) {
  const room = 8;
  if (now?.window) {
    return (net) => {
      const up = height(net, now.window, now.division) / REACH;
      return tall / 2 - up * (tall / 2 - room);
    };
  }
  const known = trace.map(value).filter((mass) => mass !== null);
  const least = Math.min(0, ...known), most = Math.max(least + 1, ...known);
  return (net) => tall - room - (net - least) / (most - least) * (tall - 2 * room);
}

function band(pen, y, { window }, width, ink, brass) {
  const top = y(window.upper) - 4, foot = y(window.lower) + 4;
  pen.save();
  pen.beginPath();
  pen.rect(0, top, width, foot - top);
  pen.clip();
  pen.strokeStyle = brass || ink;
  pen.globalAlpha = 0.6;
  pen.beginPath();
  for (let at = -40; at < width; at += 7) { pen.moveTo(at, foot); pen.lineTo(at + (foot - top), top); }
  pen.stroke();
  pen.restore();
  pen.strokeStyle = brass || ink;
  pen.beginPath();
  for (const line of [top, foot]) { pen.moveTo(0, line); pen.lineTo(width, line); }
  pen.stroke();
  pen.setLineDash([8, 5]);
  pen.strokeStyle = ink;
  pen.beginPath();
  pen.moveTo(0, y(window.aim));
  pen.lineTo(width, y(window.aim));
  pen.stroke();
  pen.setLineDash([]);
}
