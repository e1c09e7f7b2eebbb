// Fetches the style and the program of the page until they are here, whole: what was cut off or lost is
// asked for again. Until then the page is covered. Stands in the page itself.
(() => {
  "use strict";
  const says = document.getElementById("boot-says");
  const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });
  const read = async (path) => {
    for (let wait = 500; ; wait = Math.min(2 * wait, 8000)) {
      const stop = new AbortController();
      let timer = 0;
      // As long as something comes it may be slow.
      const comes = () => { clearTimeout(timer); timer = setTimeout(() => stop.abort(), 6000); };
      try {
        comes();
        const answer = await fetch(path, { signal: stop.signal, cache: "no-cache" });
        if (!answer.ok) throw new Error(String(answer.status));
        const parts = [], reader = answer.body.getReader();
        for (;;) {
          const { done, value } = await reader.read();
          if (done) return await new Blob(parts).text();
          comes();
          parts.push(value);
        }
      } catch {
        says.textContent = "A part of the page did not come. It is asked for again; nothing is shown until it is here.";
        await pause(wait);
      } finally {
        clearTimeout(timer);
      }
    }
  };
  const again = async () => { await read(location.pathname); location.reload(); };
  const add = (tag, text, type) => {
    const node = document.createElement(tag);
    if (type) node.type = type;
    node.textContent = text;
    document.head.append(node);
  };
  const run = async () => {
    const [style, program] = await Promise.all([read("/page/bench.css"), read("/page/bench.js")]);
    // The page itself was cut off.
    if (!document.getElementById("whole")) { await again(); return; }
    add("style", style);
    add("script", program, "module");
    await pause(5000);
    // The service has become another one since the page was given.
    if (!document.body.dataset.runs) await again();
  };
  if (document.readyState === "loading") {
    const late = setTimeout(again, 15000);
    document.addEventListener("DOMContentLoaded", () => { clearTimeout(late); run(); });
  } else run();
})();
